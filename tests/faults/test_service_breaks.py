"""Whatever breaks inside the daemon, it ends with every line off and says so by its exit code."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon_faults import TINY_GARDEN, FaultyPins, run_here
from support.until import until

from controller.daemon import engine_thread, service
from controller.daemon.control import server
from controller.daemon.control.protocol import BUSY, SHUT_BUT_BUSY, ask
from controller.daemon.control.server import ControlServer
from controller.daemon.engine import Engine
from controller.daemon.host.process import Health
from controller.daemon.service import LOGBOOK_NAME
from controller.errors import DaemonError, LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.valves.closer import Closer


class Run:
    """The daemon in a thread of the test's process; signals are not for it."""

    def __init__(self, folder: Path, runtime: Path | None = None) -> None:
        self.folder, self.runtime = folder, runtime or folder
        self.pins = FaultyPins(HandClock())
        (folder / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
        self.code: int | None = None
        self.fault: Exception | None = None
        self._thread = threading.Thread(target=self._run)

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        try:
            self.code = run_here(self.folder, runtime=self.runtime, driver=self.pins)
        except (DaemonError, LogbookError) as fault:
            self.fault = fault

    def until(self, true: Callable[[], object]) -> None:
        until(true, alive=self._thread.is_alive)

    def answers(self) -> bool:
        try:
            return bool(ask(self.runtime, {"ask": "status"})["ok"])
        except DaemonError:
            return False

    def ended(self) -> None:
        self._thread.join(60.0)
        assert not self._thread.is_alive()


@pytest.fixture(autouse=True)
def rests_shortly(monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine's next look, which many a fault here waits for, comes soon."""
    monkeypatch.setattr(engine_thread, "REST_S", 0.3)


@pytest.fixture
def run(tmp_path: Path) -> Run:
    return Run(tmp_path)


def test_a_mistake_of_the_steward_ends_the_daemon_with_the_valves_shut(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    assert ask(run.folder, {"ask": "open", "zone": "leeks", "seconds": 300})["ok"]

    def breaks(self: Engine) -> None:
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(Engine, "tick", breaks)
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


def test_other_lines_where_no_thread_can_be_begun_end_the_daemon_with_all_off(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New lines want a closer of their own. Without one nothing is kept open, or opened."""
    monkeypatch.setattr("controller.daemon.engine.GARDEN_EVERY_S", 0.1)
    garden = TINY_GARDEN + '[board]\nclock = "battery"\n'  # believed, so that plans are made
    (run.folder / "garden.toml").write_text(garden, encoding="utf-8")
    run.start()
    run.until(run.answers)

    def refuses(thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", refuses)
    text = garden.replace("relay = 17", "relay = 18")
    (run.folder / "garden.toml").write_text(text, encoding="utf-8")
    run.ended()
    assert run.code == 1
    assert [run.pins.read(line) for line in (17, 18)] == [False, False]
    assert not run.pins.moves  # no line was ever on
    with Questions(run.folder / LOGBOOK_NAME) as questions:
        assert any("mistake" in h.words for h in questions.happenings())


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

    monkeypatch.setattr("controller.daemon.engine_thread.write_down", refuses)
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
        patch.setattr(Engine, "tick", lambda self: 1 / 0)
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
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    run.ended()


def test_a_deleted_lock_lets_no_second_daemon_in(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    for path in run.folder.glob("*lock*"):
        path.unlink()
    second = Run(run.folder, tmp_path / "other")
    second.start()
    second.ended()
    assert "there can be only one" in str(second.fault)
    assert not second.pins.moves
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    run.ended()


def test_two_daemons_with_one_runtime_folder_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folders = tmp_path / "first", tmp_path / "second"
    for folder in folders:
        folder.mkdir()
    first, second = (Run(folder, tmp_path / "run") for folder in folders)
    first.start()
    first.until(first.answers)
    second.start()
    second.ended()
    assert "there can be only one" in str(second.fault)
    assert str(tmp_path / "run") in str(second.fault)
    assert first.answers()
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    first.ended()


@contextmanager
def _busy(monkeypatch: pytest.MonkeyPatch, answered_s: float = 0.5) -> Iterator[None]:
    """The engine is held up, as by a large plan; who asks waits so long."""
    busy, free, real = threading.Event(), threading.Event(), Engine.tick

    def held_up(self: Engine) -> None:
        busy.set()
        free.wait(120.0)
        real(self)

    with monkeypatch.context() as patch:
        patch.setattr(server, "ANSWERED_WITHIN_S", answered_s)
        patch.setattr(Engine, "tick", held_up)
        assert busy.wait(60.0)
        try:
            yield
        finally:
            free.set()


def test_what_was_answered_with_busy_is_not_done_later(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    with _busy(monkeypatch):
        for request in (
            {"ask": "open", "zone": "leeks", "seconds": 300},
            {"ask": "hold", "hours": 5},
        ):
            assert ask(run.folder, request) == {"ok": False, "words": BUSY}
    run.until(run.answers)
    status = ask(run.folder, {"ask": "status"})
    assert status["open"] == [] and status["holds"] == []
    assert not run.pins.moves
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    run.ended()


def test_a_close_shuts_at_once_however_busy_and_is_seen_to_later(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.start()
    run.until(run.answers)
    assert ask(run.folder, {"ask": "open", "zone": "leeks", "seconds": 300})["ok"]
    with _busy(monkeypatch, answered_s=2.0):  # the valve is shut within that, by another thread
        assert ask(run.folder, {"ask": "close", "zone": "leeks"})["words"] == SHUT_BUT_BUSY
        assert [m.on for m in run.pins.moves] == [True, False]
    run.until(lambda: ask(run.folder, {"ask": "status"})["open"] == [])
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    run.ended()


def test_a_control_socket_that_hangs_stops_the_watchdogs_feed(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    moved: list[str] = []
    real = Health.alive

    def noted(self: Health, who: str, at_mono_s: float | None = None) -> None:
        moved.append(who)
        real(self, who, at_mono_s)

    monkeypatch.setattr(Health, "alive", noted)
    monkeypatch.setitem(service.SILENCE_S, "control", 2.0)
    monkeypatch.setattr(service, "CONTROL_EVERY_S", 0.1)
    monkeypatch.setattr(service, "LOOK_EVERY_S", 0.1)
    run.start()
    run.until(run.answers)
    begun = moved.count("control")
    # It moves whenever it is asked to: by itself it would twelve times in a minute.
    run.until(lambda: moved.count("control") >= begun + 20)
    let_go = threading.Event()
    monkeypatch.setattr(ControlServer, "_round", lambda self: let_go.wait(120.0))
    run.until(lambda: any("no response: control" in r.message for r in caplog.records))
    let_go.set()
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    run.ended()
