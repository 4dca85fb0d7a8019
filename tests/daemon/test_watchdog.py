"""What the service manager hears, and when it hears nothing."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon_faults import Locked

from controller.daemon.host.process import WATCHDOG_EVERY_S, Health, LogbookBeat, sd_notify
from controller.errors import LogbookError
from controller.logbook.logbook import Logbook


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.setblocking(False)
        yield heard


def _heard(manager: socket.socket) -> list[str]:
    words = []
    while True:
        try:
            words.append(manager.recv(4096).decode())
        except BlockingIOError:
            return words


def test_a_message_reaches_the_socket_named(manager: socket.socket, tmp_path: Path) -> None:
    assert sd_notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "notify")})
    assert _heard(manager) == ["READY=1"]


def test_an_abstract_socket_is_reached() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind("\0rowgate-test-abstract")
        heard.settimeout(5.0)
        assert sd_notify("STOPPING=1", {"NOTIFY_SOCKET": "@rowgate-test-abstract"})
        assert heard.recv(100) == b"STOPPING=1"


def test_without_a_manager_nothing_is_said_and_nothing_breaks(tmp_path: Path) -> None:
    assert not sd_notify("READY=1", {})
    assert not sd_notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "nobody")})


def test_the_watchdog_hears_only_while_everybody_moves(
    manager: socket.socket, tmp_path: Path
) -> None:
    environ, clock = {"NOTIFY_SOCKET": str(tmp_path / "notify")}, HandClock()
    health = Health(clock, {"closer": 5.0, "engine": 30.0})
    assert health.send_alive(environ) == ()
    clock.advance(WATCHDOG_EVERY_S)
    health.alive("closer")
    assert health.send_alive(environ) == ()
    assert _heard(manager) == ["WATCHDOG=1"] * 2
    clock.advance(5.1)
    health.alive("engine")
    assert health.send_alive(environ) == ("closer",)
    assert _heard(manager) == []
    health.alive("closer")
    assert health.send_alive(environ) == ()
    assert _heard(manager) == ["WATCHDOG=1"]


def test_a_message_does_not_come_more_often_than_needed(
    manager: socket.socket, tmp_path: Path
) -> None:
    environ, clock = {"NOTIFY_SOCKET": str(tmp_path / "notify")}, HandClock()
    health = Health(clock, {"closer": 5.0})
    for _ in range(10):
        clock.advance(0.5)
        health.alive("closer", clock.mono_s())
        health.send_alive(environ)
    assert len(_heard(manager)) <= 2


def test_the_logbooks_writer_moves_also_when_it_answers_with_an_error() -> None:
    answers, moved = iter([True, False, True]), list[int]()
    beat = LogbookBeat(lambda within_s: next(answers), lambda: moved.append(1))
    for _ in range(3):
        beat.round()
    assert len(moved) == 2


def test_a_locked_or_full_logbook_answers_and_one_that_hangs_does_not(tmp_path: Path) -> None:
    hanging, let_go = threading.Event(), threading.Event()

    def hang(book: object, now: str) -> None:
        hanging.set()
        let_go.wait(120.0)

    with Logbook(tmp_path / "logbook.db", HandClock(), timeout_s=1.0) as book:
        assert book.answers(30.0)
        with Locked(book.path):
            assert book.answers(30.0)
        full = "PRAGMA max_page_count=1"
        book.write(lambda b, now: b.db.execute(full))
        with pytest.raises(LogbookError, match="full"):
            for _ in range(100):
                book.happening("fill", "x" * 3000)
        assert book.answers(30.0)
        asker = threading.Thread(target=lambda: _quietly(lambda: book.write(hang)))
        asker.start()
        assert hanging.wait(30.0)
        assert not book.answers(0.1)  # a disk that hangs
        let_go.set()
        asker.join(30.0)
        assert book.answers(30.0)
    assert not book.answers(0.1)  # closed


def test_asking_the_writer_writes_nothing(tmp_path: Path) -> None:
    with Logbook(tmp_path / "logbook.db", HandClock()) as book:
        log = book.path.with_name(book.path.name + "-wal")
        before = (book.path.read_bytes(), log.read_bytes() if log.exists() else b"")
        for _ in range(50):
            assert book.answers(30.0)
        assert before == (book.path.read_bytes(), log.read_bytes() if log.exists() else b"")


def _quietly(work: Callable[[], object]) -> None:
    with contextlib.suppress(LogbookError):
        work()
