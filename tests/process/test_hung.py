"""Threads that never come back: who notices, and that the lines go off all the same."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from controller.daemon.service import SILENCE_S
from controller.valves.closer import HANGS_S
from process.audit import LATE_S
from process.manager import ON_LEVEL, WATCHDOG_S, Manager
from process.measure import hung_engine, hung_line
from process.recorder import PERSIST, RELEASED
from process.season import BEGINS, a_plot, its_weather

pytestmark = [pytest.mark.slow, pytest.mark.alone]


def test_a_line_that_hangs_holds_up_no_other_and_the_process_ends(tmp_path: Path) -> None:
    found = hung_line(tmp_path)
    assert -0.1 < found["another past its deadline"] < LATE_S
    # The bank is held up for 0.65 s at most; the rest is the machine's. It was 2.5 s and more.
    assert found["another closed by a person"] < 0.65 + LATE_S and found["answered"] < 4.0
    assert found["told"] == 1.0
    assert found["code"] == 1.0
    assert found["opens again after the next start"] == 1.0
    # It hangs for five seconds before the process ends itself; the manager's stop step comes after.
    assert found["another shut for the end"] < HANGS_S + 3.0
    assert found["ended"] < WATCHDOG_S
    assert 0.0 < found["hung line off"] < WATCHDOG_S + 5.0


def test_a_steward_that_hangs_is_noticed_by_the_watchdog(tmp_path: Path) -> None:
    found = hung_engine(tmp_path)
    assert found["line_late"] < LATE_S
    # It looks at the garden file every half minute; then its own silence, then the watchdog's.
    assert found["aborted"] < 30.0 + SILENCE_S["engine"] + WATCHDOG_S + 20.0
    assert found["code"] != 0.0


@pytest.mark.parametrize("mode", [PERSIST, RELEASED])
def test_a_garden_file_on_a_dead_disk_leaves_no_line_on(tmp_path: Path, mode: str) -> None:
    manager = Manager(
        tmp_path,
        garden=a_plot("leeks", "kale"),
        weather=its_weather(),
        wall_s=BEGINS.timestamp(),
        mode=mode,
    )
    try:
        manager.started()
        assert manager.ask(ask="open", zone="leeks", seconds=300.0)["ok"]
        manager.kill()  # and the stop step is lost
        manager.until(lambda: manager.recorder.changes()[-1].what == "gone")
        assert manager.on() is (mode == PERSIST)
        before = len(manager.recorder.changes())
        manager.disk_dies()
        manager.start()

        def taken() -> set[int]:
            return {c.line for c in manager.recorder.changes()[before:] if c.what == "output"}

        manager.until(lambda: taken() == {4, 5})
        assert not manager.on()
        time.sleep(1.0)
        assert not manager.hear().ready
        manager.disk_answers()
        manager.until(lambda: manager.hear().ready)
        first = [c for c in manager.recorder.changes()[before:] if c.what == "output"]
        held = manager.recorder.changes()[manager.recorder.changes().index(first[-1]) :]
        # Held at off by one hand from then on: never let go, never an input, never on.
        assert {c.level for c in held} == {1 - ON_LEVEL}
        assert {c.what for c in held} == {"output", "write"} and len(first) == 2
        assert manager.terminate() == 0
    finally:
        manager.close()
