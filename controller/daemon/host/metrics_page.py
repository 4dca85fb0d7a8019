"""The health and metrics addresses over HTTP: what is silent, and what was counted.

Only this module uses prometheus_client, which knows the open text exposition formats. It only reads
the last page of facts and asks what is silent. It answers GET, a few clients at a time, each for a
few seconds at most, from the connection to the last byte. A fault here disturbs nothing else.
"""

from __future__ import annotations

import contextlib
import json
import logging
import threading
from collections.abc import Callable, Iterable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socket import SHUT_RDWR, socket
from typing import Any

from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder

from controller.clock import Clock
from controller.daemon.host.status import Facts
from controller.errors import DaemonError

CLIENTS = 4  # at once; more are turned away, all our choice
LOOK_S = 0.5  # between two looks whether to listen on
PATIENCE_S = 5.0  # with a whole question and its answer
YIELDS_AFTER_S = 1.0  # where all places are taken, the one that is asked longest goes
_FREE_WITHIN_S = 0.5  # the place of one that was cut off
_LOG = logging.getLogger("rowgate.healthpage")


class HealthPage:
    """Listens at an address in a thread of its own.

    `facts` gives the last page, or None while there is none; `silent` gives what has not moved for
    too long. Both must return at once.
    """

    def __init__(
        self,
        address: str,
        port: int,
        *,
        facts: Callable[[], Facts | None],
        silent: Callable[[], tuple[str, ...]],
        clock: Clock,
    ) -> None:
        asked = _Asked(facts, silent, clock)
        try:
            self._server = _Server((address, port), asked)
        except (OSError, OverflowError) as fault:
            raise DaemonError(f"the health address {address}:{port}: {fault}") from fault
        self.port = int(self._server.server_address[1])
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(LOOK_S,), name="health page", daemon=True
        )
        try:
            self._thread.start()
        except RuntimeError as fault:  # no thread to be had
            self._server.server_close()
            raise DaemonError(f"the health address {address}:{port}: {fault}") from fault

    def stop(self) -> None:
        """Stop listening; requests under way end with the process."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(PATIENCE_S)


class _Asked:
    """The answer of each address."""

    def __init__(
        self,
        facts: Callable[[], Facts | None],
        silent: Callable[[], tuple[str, ...]],
        clock: Clock,
    ) -> None:
        self._facts, self._silent, self.clock = facts, silent, clock
        self._registry = CollectorRegistry(auto_describe=False)
        self._registry.register(self)

    def answer(self, path: str, accept: str) -> tuple[int, str, bytes]:
        """Status, kind of content, and content."""
        path = path.split("?", 1)[0]
        if path == "/health":
            silent = self._silent()
            body = json.dumps({"ok": not silent, "silent": list(silent)}) + "\n"
            return (503 if silent else 200), "application/json", body.encode()
        if path == "/metrics":
            encode, kind = choose_encoder(accept)
            return 200, kind, encode(self._registry)
        return 404, "text/plain; charset=utf-8", b"here are /health and /metrics\n"

    def collect(self) -> Iterable[Metric]:
        """Every metric, from the last page of facts; this is what the library asks for."""
        silent = GaugeMetricFamily(
            "rowgate_silent", "Parts of the daemon that do not respond", labels=["who"]
        )
        for who in self._silent():
            silent.add_metric([who], 1.0)
        yield silent
        facts, now = self._facts(), self.clock.mono_s()
        if facts is None:
            return
        litres = CounterMetricFamily(
            "rowgate_litres", "Litres given since the start", labels=["zone"]
        )
        for zone, value in sorted(facts.litres.items()):
            litres.add_metric([zone], value)
        pulses = CounterMetricFamily(
            "rowgate_pulses", "Openings that ended since the start", labels=["zone", "how_known"]
        )
        for (zone, how), count in sorted(facts.pulses.items()):
            pulses.add_metric([zone, how], count)
        reported = CounterMetricFamily(
            "rowgate_told", "Faults and events reported since the start", labels=["kind"]
        )
        for kind, count in sorted(facts.reported.items()):
            reported.add_metric([kind], count)
        since = GaugeMetricFamily(
            "rowgate_since_seconds", "Seconds since it last came about", labels=["what"]
        )
        moments = (
            ("plan", facts.planned_mono_s),
            ("weather", facts.weather_mono_s),
            ("beat", facts.at_mono_s),
        )
        for what, at in moments:
            if at is not None:
                since.add_metric([what], max(0.0, now - at))
        yield from (litres, pulses, reported, since)
        board = facts.board
        plain: tuple[tuple[str, str, float | None], ...] = (
            ("rowgate_open_lines", "Lines through which water may run", facts.open_lines),
            ("rowgate_clock_believed", "1 while the clock is trusted", facts.clock_trusted),
            ("rowgate_litres_metered", "1 while litres go by a meter", facts.litres_by == "meter"),
            ("rowgate_starts_last_day", "Starts within a day", facts.starts_in_last_day),
            ("rowgate_disk_free_bytes", "Free where the logbook lies", _bytes(board.disk_free_mb)),
            ("rowgate_memory_bytes", "Memory of the daemon", _bytes(board.memory_mb)),
            ("rowgate_board_celsius", "Temperature of the board", board.heat_c),
            ("rowgate_weak_supply", "1 while the board's supply is too weak", board.weak_supply),
        )
        for name, words, figure in plain:
            if figure is not None:
                yield GaugeMetricFamily(name, words, value=float(figure))


class _Server(ThreadingHTTPServer):
    """A few threads at most, none of which keeps the process from ending."""

    daemon_threads = True
    allow_reuse_address = True
    request_queue_size = 8

    def __init__(self, address: tuple[str, int], asked: _Asked) -> None:
        self.asked = asked
        self._slots = threading.BoundedSemaphore(CLIENTS)
        self._lock = threading.Lock()
        self._since: dict[socket, float] = {}  # who is served, from which moment on
        super().__init__(address, _Handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        """Serve it in a thread, if one is free."""
        if not (self._slots.acquire(blocking=False) or self._yielded()):
            self.shutdown_request(request)
            return
        with self._lock:
            self._since[request] = self.asked.clock.mono_s()
        try:
            super().process_request(request, client_address)
        except RuntimeError as fault:  # no thread to be had
            self._done(request)
            self.shutdown_request(request)
            _LOG.warning("an asker is turned away: %s", fault)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Serve it, and free the place."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._done(request)

    def _done(self, request: socket) -> None:
        with self._lock:
            del self._since[request]
        self._slots.release()

    def service_actions(self) -> None:
        """Between two looks for clients: cut off a client that takes too long."""
        self._cut_off(PATIENCE_S, CLIENTS)

    def _yielded(self) -> bool:
        """Whether the slowest client gave its place to a new one."""
        return self._cut_off(YIELDS_AFTER_S, 1) and self._slots.acquire(timeout=_FREE_WITHIN_S)

    def _cut_off(self, after_s: float, at_most: int) -> bool:
        """Cut off clients served for longer, the longest first; whether there was one."""
        now = self.asked.clock.mono_s()
        with self._lock:
            oldest = sorted(self._since.items(), key=lambda served: served[1])[:at_most]
            slow = [request for request, since in oldest if now - since >= after_s]
        for request in slow:
            with contextlib.suppress(OSError):  # it ended this moment
                request.shutdown(SHUT_RDWR)
        return bool(slow)

    def handle_error(self, request: socket | tuple[bytes, socket], client_address: Any) -> None:
        """Log at most a line of a client that went away or sent nonsense."""
        _LOG.debug("an asker at %s", client_address, exc_info=True)


class _Handler(BaseHTTPRequestHandler):
    """GET only; one answer, then the connection ends."""

    server: _Server
    timeout = PATIENCE_S
    server_version, sys_version = "rowgate", ""

    def do_GET(self) -> None:
        """Answer a GET request."""
        try:
            accept = self.headers.get("Accept", "")
            status, kind, body = self.server.asked.answer(self.path, accept)
        except Exception:  # noqa: BLE001 - a page must not matter to anybody else
            _LOG.exception("%.200r", self.path)
            status, kind, body = 500, "text/plain; charset=utf-8", b"the log says more\n"
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Log no requests: they come every few seconds."""


def _bytes(megabytes: float | None) -> float | None:
    return None if megabytes is None else megabytes * 1e6
