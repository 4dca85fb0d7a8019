"""The health and metrics addresses over real HTTP; the metrics by the library's own parser."""

from __future__ import annotations

import http.client
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from prometheus_client.openmetrics import parser as open_format
from prometheus_client.parser import text_string_to_metric_families
from support.clock import HandClock
from support.until import until as _until

from controller.daemon.host.metrics_page import CLIENTS, PATIENCE_S, YIELDS_AFTER_S, HealthPage
from controller.daemon.host.status import BoardNow, Facts
from controller.errors import DaemonError

OPEN_TEXT = "application/openmetrics-text; version=1.0.0"


def _facts(clock: HandClock) -> Facts:
    return Facts(
        at_mono_s=clock.mono_s() - 3.0,
        litres={"leeks": 41.5, 'odd "zone"\\': 1.0},
        pulses={("leeks", "metered"): 3, ("leeks", "timed"): 1},
        reported={"flow: burst": 2, "valve": 1},
        open_lines=2,
        planned_mono_s=clock.mono_s() - 60.0,
        litres_by="meter",
        starts_in_last_day=4,
        board=BoardNow(disk_free_mb=1500.0, memory_mb=61.0, heat_c=47.5, weak_supply=False),
    )


class Page:
    def __init__(self) -> None:
        self.clock = HandClock()
        self.facts: Facts | None = _facts(self.clock)
        self.silent: tuple[str, ...] = ()
        self.page = HealthPage(
            "127.0.0.1",
            0,
            facts=lambda: self.facts,
            silent=lambda: self.silent,
            clock=self.clock,
        )

    def ask(self, path: str, method: str = "GET", accept: str = "") -> tuple[int, str, str]:
        line = http.client.HTTPConnection("127.0.0.1", self.page.port, timeout=30.0)
        try:
            line.request(method, path, headers={"Accept": accept} if accept else {})
            answer = line.getresponse()
            return answer.status, answer.getheader("Content-Type", ""), answer.read().decode()
        finally:
            line.close()

    def figures(self) -> dict[tuple[str, tuple[str, ...]], float]:
        status, _, text = self.ask("/metrics")
        assert status == 200
        return {
            (sample.name, tuple(sorted(sample.labels.values()))): sample.value
            for family in text_string_to_metric_families(text)
            for sample in family.samples
        }


@pytest.fixture(autouse=True)
def ends_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that is stopped does not look for half a second whether it is to listen on."""
    monkeypatch.setattr("controller.daemon.host.metrics_page.LOOK_S", 0.01)


@pytest.fixture
def page() -> Iterator[Page]:
    with _open() as opened:
        yield opened


@contextmanager
def _open() -> Iterator[Page]:
    opened = Page()
    try:
        yield opened
    finally:
        opened.page.stop()


def test_all_moving_is_200(page: Page) -> None:
    status, kind, text = page.ask("/health")
    assert (status, kind) == (200, "application/json")
    assert json.loads(text) == {"ok": True, "silent": []}


def test_somebody_silent_is_503_and_named(page: Page) -> None:
    page.silent = ("logbook", "engine")
    status, _, text = page.ask("/health")
    assert status == 503
    assert json.loads(text) == {"ok": False, "silent": ["logbook", "engine"]}


def test_the_librarys_own_parser_reads_the_figures(page: Page) -> None:
    page.silent = ("closer",)
    figures = page.figures()
    assert figures["rowgate_litres_total", ("leeks",)] == 41.5
    assert figures["rowgate_litres_total", ('odd "zone"\\',)] == 1.0
    assert figures["rowgate_pulses_total", ("leeks", "metered")] == 3.0
    assert figures["rowgate_told_total", ("flow: burst",)] == 2.0
    assert figures["rowgate_since_seconds", ("plan",)] == 60.0
    assert figures["rowgate_since_seconds", ("beat",)] == 3.0
    assert ("rowgate_since_seconds", ("weather",)) not in figures  # it never came
    assert figures["rowgate_open_lines", ()] == 2.0
    assert figures["rowgate_disk_free_bytes", ()] == 1.5e9
    assert figures["rowgate_memory_bytes", ()] == 6.1e7
    assert figures["rowgate_board_celsius", ()] == 47.5
    assert figures["rowgate_weak_supply", ()] == 0.0
    assert figures["rowgate_starts_last_day", ()] == 4.0
    assert figures["rowgate_litres_metered", ()] == 1.0
    assert figures["rowgate_silent", ("closer",)] == 1.0


def test_the_open_exposition_format_is_spoken_where_asked_for(page: Page) -> None:
    status, kind, text = page.ask("/metrics", accept=OPEN_TEXT)
    assert status == 200
    assert kind.startswith("application/openmetrics-text")
    assert text.endswith("# EOF\n")
    names = {f.name for f in open_format.text_string_to_metric_families(text)}  # type: ignore[no-untyped-call]
    assert {"rowgate_litres", "rowgate_pulses", "rowgate_told", "rowgate_silent"} <= names


def test_before_the_first_page_of_facts_only_silence_is_told(page: Page) -> None:
    page.facts, page.silent = None, ("engine",)
    assert page.figures() == {("rowgate_silent", ("engine",)): 1.0}


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "HEAD", "BREW"])
def test_nothing_but_get_is_answered(page: Page, method: str) -> None:
    assert page.ask("/health", method)[0] == 501


@pytest.mark.parametrize("path", ["/", "/status", "/health/", "/../etc/passwd", "/metricsx"])
def test_other_addresses_are_404(page: Page, path: str) -> None:
    assert page.ask(path)[0] == 404


def test_a_question_behind_the_address_changes_nothing(page: Page) -> None:
    assert page.ask("/health?verbose=1")[0] == 200


def test_a_page_that_breaks_is_500_and_the_next_is_served(page: Page) -> None:
    page.facts = "not facts"  # type: ignore[assignment]
    assert page.ask("/metrics")[0] == 500
    page.facts = _facts(page.clock)
    assert page.ask("/metrics")[0] == 200


def test_askers_who_say_nothing_take_no_more_than_their_places(page: Page) -> None:
    idle = [socket.create_connection(("127.0.0.1", page.page.port)) for _ in range(CLIENTS + 6)]
    try:
        threads = [t for t in threading.enumerate() if "process_request_thread" in t.name]
        assert len(threads) <= CLIENTS
    finally:
        for line in idle:
            line.close()
    for _ in range(50):  # the places are free again once the idle have gone
        try:
            assert page.ask("/health")[0] == 200
            return
        except (ConnectionError, http.client.HTTPException):
            continue
    pytest.fail("no place became free")


def test_four_slow_askers_keep_nobody_out(page: Page) -> None:
    slow = [socket.create_connection(("127.0.0.1", page.page.port)) for _ in range(CLIENTS)]
    try:
        for line in slow:
            line.sendall(b"GET /health HT")
        _until(lambda: len(page.page._server._since) == CLIENTS)
        page.clock.advance(YIELDS_AFTER_S)
        for _ in range(CLIENTS + 1):
            assert page.ask("/health")[0] == 200
    finally:
        for line in slow:
            line.close()


def test_a_question_has_so_long_for_all_of_it(page: Page) -> None:
    with socket.create_connection(("127.0.0.1", page.page.port), timeout=30.0) as line:
        for letter in b"GET /health HTTP/1.0":  # a byte now and then: never silent for long
            line.sendall(bytes([letter]))
            page.clock.advance(PATIENCE_S / 40)
        _until(lambda: page.page._server._since)
        page.clock.advance(PATIENCE_S)
        assert line.recv(1) == b""
    _until(lambda: not page.page._server._since)


def test_where_no_thread_can_be_begun_an_asker_is_turned_away_and_the_next_served(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", none_left)
        for _ in range(CLIENTS + 1):
            with pytest.raises((ConnectionError, http.client.HTTPException)):
                page.ask("/health")
    assert page.ask("/health")[0] == 200


@pytest.mark.parametrize(
    "nonsense", [b"\x00\xff\r\n\r\n", b"GET\r\n\r\n", b"G" * 70_000, b"GET / HTTP/9.9\r\n\r\n"]
)
def test_nonsense_hurts_nobody(page: Page, nonsense: bytes) -> None:
    with socket.create_connection(("127.0.0.1", page.page.port), timeout=30.0) as line:
        line.sendall(nonsense)
        line.shutdown(socket.SHUT_WR)
        try:
            while line.recv(4096):
                pass
        except ConnectionError:
            pass
    assert page.ask("/health")[0] == 200


def test_an_address_that_is_taken_is_said(page: Page) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(DaemonError, match=str(port)):
            HealthPage("127.0.0.1", port, facts=lambda: None, silent=lambda: (), clock=HandClock())


def test_without_a_thread_to_be_had_the_address_is_let_go_and_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def none_left(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with socket.socket() as other:  # a port that is free
        other.bind(("127.0.0.1", 0))
        port = other.getsockname()[1]
    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", none_left)
        with pytest.raises(DaemonError, match=rf":{port}: can't start new thread"):
            HealthPage("127.0.0.1", port, facts=lambda: None, silent=lambda: (), clock=HandClock())
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=30.0)


def test_once_stopped_it_listens_no_more() -> None:
    with _open() as opened:
        port = opened.page.port
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=1.0)
