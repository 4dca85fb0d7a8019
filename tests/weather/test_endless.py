"""A question ends at its limit, whatever the server and the network do.

What a server can do without end, by the grammar of HTTP/1.1 (RFC 9112): lines of a head, interim
answers (RFC 9110, 15.2), chunks with extensions (7.1.1), trailers (7.1.2), a body.
"""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path

import pytest
import requests
from support.weather_server import EndlessServer

from controller.clock import SystemClock
from controller.errors import NoWeather
from controller.weather.online import client
from controller.weather.online.client import Fetcher
from controller.weather.online.limits import RetryPolicy
from controller.weather.online.services import Place, Service, service

# real time: real sockets, whose limits are in seconds of the kernel

HERE = Place(latitude_deg=40.5, longitude_deg=-4.2, elevation_m=640.0, timezone="Europe/Madrid")
OK = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
CHUNKED = OK + b"Transfer-Encoding: chunked\r\n\r\n"
LIMIT_S = 0.4
LEFT_WITHIN_S = 20.0  # of a machine that is busy; who is not left goes on for ever

WAYS = {
    "status line": (b"HTTP/1.1 200 ", b"O"),
    "one header": (OK + b"X-Long: ", b"x"),
    "many headers": (OK, b"X-Other: 1\r\n"),
    "interim answers": (b"", b"HTTP/1.1 100 Continue\r\n\r\n"),
    "headers of an interim answer": (b"HTTP/1.1 100 Continue\r\n", b"X-Other: 1\r\n"),
    "early hints": (b"", b"HTTP/1.1 103 Early Hints\r\nLink: </a>\r\n\r\n"),
    "a body without a length": (OK + b"\r\n", b"[[[[[[[["),
    "chunks": (CHUNKED, b"1\r\n[\r\n"),
    "a chunk's extension": (CHUNKED + b"1;", b"x=y;"),
    "trailers": (CHUNKED + b"2\r\n{}\r\n0\r\n", b"X-Other: 1\r\n"),
    "empty blocks of a packed body": (
        OK
        + b"Content-Encoding: gzip\r\n\r\n"
        + bytes([0x1F, 0x8B, 8, 0, 0, 0, 0, 0, 0, 3]),  # a gzip header (RFC 1952, 2.3)
        b"\x00\x00\x00\xff\xff",  # a stored block of no bytes, not the last (RFC 1951, 3.2.4)
    ),
    "a refusal": (b"HTTP/1.1 500 Sorry\r\nContent-Type: text/plain\r\n\r\n", b"sorry "),
}


def _service(url: str, folder: Path) -> Service:
    session = requests.Session()
    session.trust_env = False
    return service(
        "open-meteo",
        folder,
        SystemClock(),
        base_url=url,
        fetcher=Fetcher(
            SystemClock(),
            session=session,
            policy=RetryPolicy(overall_s=LIMIT_S, read_s=0.2),
            sleep=lambda _: None,
        ),
    )


@pytest.mark.parametrize("way", WAYS)
def test_a_server_that_trickles_without_end_is_left_at_the_limit(way: str, tmp_path: Path) -> None:
    head, again = WAYS[way]
    with EndlessServer(head, again, pause_s=0.02).running() as server:
        began = time.monotonic()
        with pytest.raises(NoWeather, match="no earlier answer is kept"):
            _service(server.url, tmp_path).days(HERE, past_days=2, forecast_days=3)
        assert time.monotonic() - began < LEFT_WITHIN_S
    assert not [t for t in threading.enumerate() if t.name == "weather question"]


@pytest.mark.parametrize("way", WAYS)
def test_a_server_that_pours_without_end_costs_little(way: str, tmp_path: Path) -> None:
    head, again = WAYS[way]
    with EndlessServer(head, again * 50).running() as server:
        with pytest.raises(NoWeather):
            online = _service(server.url, tmp_path)
            fetcher = online._client._fetcher
            assert isinstance(fetcher, Fetcher)
            fetcher._policy = RetryPolicy(overall_s=30.0)  # size has to end it
            began = time.monotonic()
            online.days(HERE, past_days=2, forecast_days=3)
        assert time.monotonic() - began < 10.0
        # Four tries, each of no more than the limit and what the two sockets hold in between.
        assert server.asked <= 4
        assert server.sent < server.asked * 8_000_000


def test_a_name_that_is_never_looked_up_holds_up_nobody_for_good(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    let_go = threading.Event()

    def hangs(*_: object, **__: object) -> list[object]:
        let_go.wait(120.0)
        raise socket.gaierror("let go")

    monkeypatch.setattr(socket, "getaddrinfo", hangs)
    monkeypatch.setattr(client, "GRACE_S", 0.05)
    online = _service("http://weather.invalid/v1/forecast", tmp_path)
    try:
        for _ in range(client.MOST_HANGING):
            began = time.monotonic()
            with pytest.raises(NoWeather, match="its name is not looked up"):
                online.days(HERE, past_days=2, forecast_days=3)
            assert time.monotonic() - began < LEFT_WITHIN_S
        # Nor do the threads that hang grow in number.
        with pytest.raises(NoWeather, match="holds up 4 earlier questions"):
            online.days(HERE, past_days=2, forecast_days=3)
    finally:
        let_go.set()
        for thread in client.Fetcher._hanging:
            thread.join(30.0)
    with pytest.raises(NoWeather, match="cannot be reached"):
        online.days(HERE, past_days=2, forecast_days=3)
