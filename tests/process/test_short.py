"""The recorder and the fast clock are what they say; one life of the daemon from end to end."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.hydraulics.network.garden_lines import Lines
from controller.logbook.records import PulseState
from process.audit import LATE_S, audit, rows_of
from process.deaths import Death
from process.manager import ON_LEVEL, ON_PATH, Manager
from process.onpath.timepage import TimePage
from process.recorder import PERSIST, RELEASED, Recorder
from process.season import BEGINS, Haste, a_plot, garden_of, its_weather

DRIVES_AND_DIES = """
import lgpio, os, signal
chip = lgpio.gpiochip_open(19)
for line in (4, 5):
    lgpio.gpio_claim_output(chip, line, 1)
lgpio.gpio_write(chip, 4, 0)
print(lgpio.gpio_read(chip, 4), lgpio.gpio_read(chip, 5), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""
WAITS = """
import sys, threading, time
from controller.clock import SystemClock
clock = SystemClock()
begun, real = clock.mono_s(), time.monotonic()
print("ready", flush=True)
threading.Event().wait(3600.0)
print(clock.mono_s() - begun, time.monotonic() - real, clock.now_utc().year)
"""


def _python(script: str, folder: Path, **environment: str) -> subprocess.Popen[str]:
    path = os.pathsep.join((str(ON_PATH), str(ON_PATH.parents[2])))
    return subprocess.Popen(
        [sys.executable, "-c", script],
        env=os.environ | {"PYTHONPATH": path} | environment,
        stdout=subprocess.PIPE,
        text=True,
        cwd=folder,
    )


@pytest.mark.parametrize(("mode", "left"), [(PERSIST, 0), (RELEASED, None)])
def test_a_dead_process_leaves_its_lines_as_the_kernel_would(
    tmp_path: Path, mode: str, left: int | None
) -> None:
    recorder = Recorder(tmp_path, mode=mode)
    try:
        child = _python(DRIVES_AND_DIES, tmp_path, ROWGATE_RECORDER=str(recorder.socket))
        out, _ = child.communicate(timeout=30.0)
        assert out.split() == ["0", "1"]
        ends = time.monotonic() + 10.0
        while not [c for c in recorder.changes() if c.what == "gone"]:
            assert time.monotonic() < ends
            time.sleep(0.01)
        assert recorder.levels()[4] == left
        assert [s.line for s in recorder.spans(ON_LEVEL)] == [4]
    finally:
        recorder.close()


def test_a_line_that_another_process_holds_is_busy(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, mode=PERSIST)
    try:
        holder = _python(
            DRIVES_AND_DIES.replace("os.kill", "import time; time.sleep(60); os.kill"),
            tmp_path,
            ROWGATE_RECORDER=str(recorder.socket),
        )
        assert holder.stdout is not None and holder.stdout.readline() == "0 1\n"
        assert recorder.ask("output 4 1") == "GPIO busy"
        assert recorder.ask("write 9 1") == "GPIO not allocated"
        holder.kill()
        holder.communicate(timeout=10.0)
    finally:
        recorder.close()


def test_a_waiting_thread_sees_time_that_was_let_pass(tmp_path: Path) -> None:
    page = TimePage.new(tmp_path / "time", wall_s=BEGINS.timestamp(), rate=1.0)
    child = _python(WAITS, tmp_path, ROWGATE_TIME_PAGE=str(page.path))
    assert child.stdout is not None and child.stdout.readline() == "ready\n"
    time.sleep(0.2)
    page.turn(by_s=1800.0)
    page.turn(rate=10_000.0)
    passed_s, real_s, year = child.communicate(timeout=30.0)[0].split()
    assert float(passed_s) >= 3600.0
    assert float(real_s) < 10.0
    assert year == str(BEGINS.year)


def test_a_waiting_thread_does_not_see_the_time_the_board_slept(tmp_path: Path) -> None:
    page = TimePage.new(tmp_path / "time", wall_s=BEGINS.timestamp(), rate=1.0)
    child = _python(WAITS.replace("3600.0", "0.5"), tmp_path, ROWGATE_TIME_PAGE=str(page.path))
    assert child.stdout is not None and child.stdout.readline() == "ready\n"
    page.turn(asleep_s=7200.0)
    passed_s, real_s, _ = child.communicate(timeout=30.0)[0].split()
    assert float(real_s) >= 0.5
    assert float(passed_s) >= 7200.5
    assert page.now().awake_s == pytest.approx(page.mono_s() - 7200.0, abs=0.5)
    page.reboot()
    assert page.now().slept_s == 0.0


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    found = Manager(
        tmp_path,
        garden=a_plot("leeks", "kale"),
        weather=its_weather(),
        wall_s=BEGINS.timestamp(),
        rate=5.0,
    )
    yield found
    found.close()


def test_killed_under_water_it_is_dry_by_the_stop_step_and_waters_on(manager: Manager) -> None:
    haste = Haste(manager)

    def go_on_until_on() -> bool:
        haste.go_on()
        return manager.on()

    manager.started()
    manager.until(go_on_until_on)
    manager.until(lambda: manager.ask(ask="status")["open"])  # and that is on disk
    killed_s = time.monotonic()
    manager.kill()
    assert manager.on()  # this kernel leaves the line as it was
    assert manager.stop_step() == 0
    seen_to_s = time.monotonic()
    assert not manager.on()
    manager.started()
    status = manager.ask(ask="status")
    assert status["ok"] and status["pins"] == "lgpio"
    manager.until(go_on_until_on)
    manager.until(lambda: not manager.on())
    manager.hear()
    assert manager.terminate() == 0

    death = Death("SIGKILL", killed_s, seen_to_s, True, True, -9)
    found = audit(manager, [death], 5.0, Lines(garden_of(a_plot("leeks", "kale"))))
    states = [p.row.state for p in found.pulses]
    assert PulseState.CUT in states and PulseState.CLOSED in states
    assert max(found.late_s) < LATE_S
    assert not [r for r in rows_of(manager.logbook) if r.state is PulseState.OPEN]
    told = json.loads((manager.own / "lines.json").read_text("utf-8"))
    assert {line["number"] for line in told["lines"]} == {4, 5}
