"""The whole daemon with a meter, a switch and a health address: real threads, HTTP, mock pins."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families
from support.daemon_faults import TINY_GARDEN, run_here
from support.pins import HandInputs
from support.until import until

from controller.daemon.control.protocol import ask
from controller.errors import DaemonError

METER_PIN, RAIN_PIN = 5, 6
WATCHED = f"""
[meter]
pin = {METER_PIN}
pulses_per = "400 per L"

[[sensor]]
kind = "rain switch"
pin = {RAIN_PIN}

[health]
port = %d
"""


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


class Run:
    """The daemon in a thread of the test's process."""

    def __init__(self, folder: Path, inputs: HandInputs | None) -> None:
        self.folder, self.inputs, self.port = folder, inputs, _free_port()
        text = TINY_GARDEN + WATCHED % self.port
        (folder / "garden.toml").write_text(text, encoding="utf-8")
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        run_here(self.folder, inputs=self.inputs)

    def until(self, true: Callable[[], object]) -> None:
        until(true, alive=self._thread.is_alive)

    def status(self) -> dict[str, object]:
        try:
            return ask(self.folder, {"ask": "status"})
        except DaemonError:
            return {}

    def get(self, path: str) -> tuple[int, str]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30.0)
        try:
            line.request("GET", path)
            answer = line.getresponse()
            return answer.status, answer.read().decode()
        except ConnectionError:
            return 0, ""
        finally:
            line.close()


@pytest.fixture
def end(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Run], None]]:
    """Ends the daemon as a signal would; signals themselves are for processes."""
    from controller.daemon import service

    made = []
    before = service._Service.__init__

    def remembered(self: service._Service, *args: object, **more: object) -> None:
        before(self, *args, **more)  # type: ignore[arg-type]
        made.append(self)

    monkeypatch.setattr(service._Service, "__init__", remembered)

    def ends(run: Run) -> None:
        for one in made:
            one._ending.request("the test is over")
        run._thread.join(60.0)
        assert not run._thread.is_alive()

    yield ends


def test_the_daemon_counts_a_meter_and_shows_it(tmp_path: Path, end: Callable[[Run], None]) -> None:
    inputs = HandInputs()
    run = Run(tmp_path, inputs)
    try:
        run.until(lambda: run.status().get("ok") and run.get("/health")[0] == 200)
        assert run.status()["litres_by"] == "meter"
        assert ask(tmp_path, {"ask": "open", "zone": "leeks", "seconds": 2})["ok"]
        # real time: the line is open for two seconds of the daemon's own clock
        for _ in range(200):
            inputs.pulse(METER_PIN, time.monotonic(), for_s=0.0)
            time.sleep(0.003)

        def shown() -> bool:
            families = text_string_to_metric_families(run.get("/metrics")[1])
            figures = {s.name: s.value for f in families for s in f.samples}
            return figures.get("rowgate_litres_total", 0.0) > 0.1

        run.until(shown)
        inputs.put(RAIN_PIN, True, time.monotonic())
        run.until(lambda: run.status().get("shut_by") == "the rain switch is wet")
        assert json.loads(run.get("/health")[1]) == {"ok": True, "silent": []}
    finally:
        end(run)
    assert run.get("/health")[0] == 0


def test_the_pin_librarys_own_inputs_are_watched(
    tmp_path: Path, end: Callable[[Run], None]
) -> None:
    run = Run(tmp_path, None)
    try:
        run.until(lambda: run.status().get("ok"))
        status = run.status()
        assert status["litres_by"] == "meter"
        assert status["inputs_unread"] == []
        assert status["starts_in_last_day"] == 1
    finally:
        end(run)
