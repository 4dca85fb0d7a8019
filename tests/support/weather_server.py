"""A weather service on the loopback that says what the test scripted; its weather is invented.

The shape of a good answer and of an error follow the documentation of Open-Meteo's forecast
interface (open-meteo.com/en/docs): one list for each variable beside `time`, units in
`daily_units`, errors as {"error": true, "reason": "..."}. Answers of the other services are in
support.weather_answers.
"""

from __future__ import annotations

import contextlib
import gzip
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

UNITS = {
    "time": "iso8601",
    "temperature_2m_min": "°C",
    "temperature_2m_max": "°C",
    "dew_point_2m_mean": "°C",
    "relative_humidity_2m_min": "%",
    "relative_humidity_2m_max": "%",
    "wind_speed_10m_mean": "m/s",
    "shortwave_radiation_sum": "MJ/m²",
    "precipitation_sum": "mm",
    "precipitation_probability_max": "%",
}
USUAL: dict[str, float] = {
    "temperature_2m_min": 12.4,
    "temperature_2m_max": 27.1,
    "dew_point_2m_mean": 8.9,
    "relative_humidity_2m_min": 31,
    "relative_humidity_2m_max": 79,
    "wind_speed_10m_mean": 2.1,
    "shortwave_radiation_sum": 24.9,
    "precipitation_sum": 0.4,
    "precipitation_probability_max": 8,
}


def forecast(today: date, past_days: int = 2, forecast_days: int = 3) -> dict[str, Any]:
    """A good answer, every day alike."""
    count = past_days + forecast_days
    first = today - timedelta(days=past_days)
    return {
        "latitude": 40.5,
        "longitude": -4.25,
        "generationtime_ms": 0.4,
        "utc_offset_seconds": 7200,
        "timezone": "Europe/Madrid",
        "timezone_abbreviation": "GMT+2",
        "elevation": 640.0,
        "daily_units": dict(UNITS),
        "daily": {
            "time": [(first + timedelta(days=n)).isoformat() for n in range(count)],
            **{name: [value] * count for name, value in USUAL.items()},
        },
    }


@dataclass(frozen=True, kw_only=True)
class Reply:
    """One answer of the stand-in. `lost` leaves out that many bytes of what its length promises."""

    body: bytes
    status: int = 200
    kind: str = "application/json; charset=utf-8"
    headers: dict[str, str] = field(default_factory=dict)
    lost: int = 0
    pause_s: float = 0.0  # after each ten bytes
    chunked: bool = False  # sent in chunks, without a length

    def with_(self, **headers: str) -> Reply:
        """The same with more headers; an underscore stands for a dash."""
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        return replace(self, headers={**self.headers, **names})

    def packed(self) -> Reply:
        """The same, packed with gzip."""
        return replace(self, body=gzip.compress(self.body)).with_(Content_Encoding="gzip")


def good(answer: Any, kind: str = "application/json; charset=utf-8") -> Reply:
    """The usual reply."""
    return Reply(body=json.dumps(answer).encode("utf-8"), kind=kind)


def error(status: int, reason: str, **headers: str) -> Reply:
    """An error in the documented shape."""
    body = json.dumps({"error": True, "reason": reason}).encode("utf-8")
    return Reply(body=body, status=status).with_(**headers)


def problem(status: int, title: str, detail: str) -> Reply:
    """An error as problem details (RFC 9457)."""
    told = {"title": title, "status": status, "detail": detail, "correlationId": "0"}
    body = json.dumps(told).encode("utf-8")
    return Reply(body=body, status=status, kind="application/problem+json")


UNCHANGED = Reply(body=b"", status=304)


class WeatherServer:
    """Gives its replies in order; the last one over and over. Paths may have replies of their own.

    `date_utc`, where set, tells the time it puts into its answers.
    """

    def __init__(self) -> None:
        self.replies: list[Reply] = []
        self.by_path: dict[str, list[Reply]] = {}
        self.asked: list[dict[str, str]] = []
        self.paths: list[str] = []
        self.agents: list[str] = []
        self.headers: list[Mapping[str, str]] = []
        self.date_utc: Callable[[], datetime] | None = None
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        self.root = f"http://127.0.0.1:{self._server.server_port}"
        self.url = f"{self.root}/v1/forecast"

    def say(self, *replies: Reply) -> None:
        """From now on."""
        self.replies = list(replies)

    def say_at(self, path: str, *replies: Reply) -> None:
        """From now on, to questions at that path."""
        self.by_path[path] = list(replies)

    def next_reply(self, path: str) -> Reply:
        """The one whose turn it is."""
        replies = self.by_path.get(path, self.replies)
        return replies.pop(0) if len(replies) > 1 else replies[0]

    @contextlib.contextmanager
    def running(self) -> Iterator[WeatherServer]:
        """Serve until left."""
        thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.005}, daemon=True
        )
        thread.start()
        try:
            yield self
        finally:
            self._server.shutdown()
            thread.join()
            self._server.server_close()


def _handler(server: WeatherServer) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        disable_nagle_algorithm = True  # head and body go out apart; neither waits for the other

        def do_GET(self) -> None:
            query = parse_qs(urlsplit(self.path).query)
            path = urlsplit(self.path).path
            server.asked.append({name: values[0] for name, values in query.items()})
            server.paths.append(path)
            server.agents.append(self.headers["User-Agent"])
            server.headers.append(dict(self.headers))
            self._give(server.next_reply(path))

        def _give(self, reply: Reply) -> None:
            self.close_connection = True
            self.send_response_only(reply.status)
            if server.date_utc is not None:
                self.send_header("Date", format_datetime(server.date_utc(), usegmt=True))
            self.send_header("Connection", "close")
            if reply.status != 304:
                self.send_header("Content-Type", reply.kind)
                if reply.chunked:
                    self.send_header("Transfer-Encoding", "chunked")
                else:
                    self.send_header("Content-Length", str(len(reply.body)))
            for name, value in reply.headers.items():
                self.send_header(name, value)
            self.end_headers()
            sent = _in_chunks(reply.body) if reply.chunked else reply.body
            sent = sent[: len(sent) - reply.lost]
            with contextlib.suppress(OSError):  # the other side may hang up
                if not reply.pause_s:
                    self.wfile.write(sent)
                    return
                for at in range(0, len(sent), 10):
                    self.wfile.write(sent[at : at + 10])
                    self.wfile.flush()
                    time.sleep(reply.pause_s)  # real time: a server that trickles

        def log_message(self, *_: object) -> None:
            """Keep the test's output clean."""

    return Handler


def _in_chunks(body: bytes) -> bytes:
    """As HTTP/1.1 sends what it does not know the length of (RFC 9112, 7.1)."""
    pieces = [body[at : at + 1000] for at in range(0, len(body), 1000)]
    return b"".join(b"%x\r\n%s\r\n" % (len(p), p) for p in pieces) + b"0\r\n\r\n"


class EndlessServer:
    """Begins an answer with `head`, then says `again` for ever, every `pause_s`; counts bytes."""

    def __init__(self, head: bytes, again: bytes, *, pause_s: float = 0.0) -> None:
        self._head, self._again, self._pause_s = head, again, pause_s
        self.sent = 0
        self.asked = 0
        self._ended = threading.Event()
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}/v1/forecast"

    @contextlib.contextmanager
    def running(self) -> Iterator[EndlessServer]:
        """Serve until left."""
        thread = threading.Thread(target=self._serve, daemon=True)
        thread.start()
        try:
            yield self
        finally:
            self._ended.set()
            with contextlib.suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            self._socket.close()
            thread.join()

    def _serve(self) -> None:
        while not self._ended.is_set():
            try:
                line, _ = self._socket.accept()
            except OSError:
                return
            self.asked += 1
            with line, contextlib.suppress(OSError):  # the other side may hang up
                line.settimeout(0.2)
                line.recv(65_536)
                line.sendall(self._head)
                while not self._ended.is_set():
                    line.sendall(self._again)
                    self.sent += len(self._again)
                    if self._pause_s:
                        self._ended.wait(self._pause_s)
