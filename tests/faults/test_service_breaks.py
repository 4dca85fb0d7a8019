"""Whatever breaks inside the daemon, it ends with every line off and says so by its exit code."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from support.daemon_faults import TINY_GARDEN, FaultyPins

from controller.clock import SystemClock
from controller.daemon.control import ask
from controller.daemon.service import LOGBOOK_NAME, run_service
from controller.daemon.steward import Steward
from controller.errors import DaemonError, LogbookError
from controller.logbook.ask import Questions
from controller.logbook.write import Logbook
from controller.valves.closer import Closer


class Run:
    """The daemon in a thread of the test's process; signals are not for it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.pins = folder, FaultyPins(SystemClock())
        (folder / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
        self.code: int | None = None
        self.fault: Exception | None = None
        self._thread = threading.Thread(target=self._run)

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        try:
            self.code = run_service(
                garden_path=self.folder / "garden.toml",
                state_dir=self.folder,
                runtime_dir=self.folder,
                pins="mock",
                driver=self.pins,
                environ={},
            )
        except (DaemonError, LogbookError) as fault:
            self.fault = fault

    def until(self, true: Callable[[], object]) -> None:
        ends = time.monotonic() + 20.0
        while not true():
            assert time.monotonic() < ends and self._thread.is_alive(), "it did not come about"
            time.sleep(0.01)

    def answers(self) -> bool:
        try:
            return bool(ask(self.folder, {"ask": "status"})["ok"])
        except DaemonError:
            return False

    def ended(self) -> None:
        self._thread.join(20.0)
        assert not self._thread.is_alive()


@pytest.fixture
def run(tmp_path: Path) -> Run:
    return Run(tmp_path)


def test_a_mistake_of_the_steward_ends_the_daemon_with_the_valves_shut(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    assert ask(run.folder, {"ask": "open", "zone": "leeks", "seconds": 300})["ok"]

    def breaks(self: Steward) -> None:
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(Steward, "tick", breaks)
    run.ended()
    assert run.code == 1
    assert [m.on for m in run.pins.moves] == [True, False]


def test_a_closer_that_hangs_ends_the_daemon_with_the_valves_shut(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    assert ask(run.folder, {"ask": "open", "zone": "leeks", "seconds": 300})["ok"]
    monkeypatch.setattr(Closer, "round", lambda self: ())  # it moves no more
    monkeypatch.setattr(Closer, "last_beat_mono_s", 0.0)
    run.ended()
    assert run.code == 1
    assert [m.on for m in run.pins.moves] == [True, False]


def test_a_logbook_that_cannot_be_opened_ends_the_daemon_after_all_lines_are_off(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(self: Logbook, *_: object, **__: object) -> None:
        raise LogbookError("the disk is full")

    monkeypatch.setattr(Logbook, "__init__", refuses)
    run.start()
    run.ended()
    assert isinstance(run.fault, LogbookError)
    assert run.pins.read(17) is False  # taken, and off


def test_what_a_crash_left_and_nobody_can_write_down_ends_the_daemon_in_words(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuses(*_: object) -> None:
        raise LogbookError("the disk is full; make room, then try again")

    monkeypatch.setattr("controller.daemon.mind.write_down", refuses)
    run.start()
    run.ended()
    assert run.code == 1
    assert not run.pins.moves
    (said,) = [r for r in caplog.records if "cannot go on" in r.message]
    assert "make room" in said.message and said.exc_info is None


def test_a_line_that_is_not_off_at_the_start_is_written_down(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.pins.fails_off.add(17)
    run.start()
    run.until(run.answers)
    status = ask(run.folder, {"ask": "status"})
    assert status["barred"] == [{"zone": "leeks", "state": "stuck"}]
    assert not ask(run.folder, {"ask": "open", "zone": "leeks", "seconds": 30})["ok"]
    run.pins.fails_off.clear()
    with monkeypatch.context() as patch:
        patch.setattr(Steward, "tick", lambda self: 1 / 0)
        run.ended()
    with Questions(run.folder / LOGBOOK_NAME) as questions:
        assert any(h.kind == "valve" and h.zone == "leeks" for h in questions.happenings())


def test_the_same_folder_cannot_be_kept_twice(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run.start()
    run.until(run.answers)
    second = Run(run.folder)
    second.start()
    second.ended()
    assert isinstance(second.fault, DaemonError)
    assert run.answers()
    monkeypatch.setattr(Steward, "tick", lambda self: 1 / 0)
    run.ended()
