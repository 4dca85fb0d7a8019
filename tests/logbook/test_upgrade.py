"""The daemon over a logbook of an older Rowgate, of a newer one, and over one that is damaged."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database
from support.clock import HandClock
from support.daemon_faults import TINY_GARDEN
from support.pins import RecordingPins

from controller.clock import SystemClock
from controller.daemon.host.process import Folders
from controller.daemon.service import LOGBOOK_NAME, StandIns, run_service
from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.schema import MIGRATIONS, SET, migrate

# real time: the daemon that runs on these logbooks stamps by the board's clock


@pytest.fixture
def pins() -> RecordingPins:
    return RecordingPins(HandClock())


def _run(folder: Path, pins: RecordingPins, *, stop: bool) -> int:
    """The daemon in this thread; told to end by a signal as soon as it is ready, if `stop`."""
    (folder / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    environ = dict(os.environ)
    listener = None
    if stop:
        listener = _Manager(folder / "notify")
        environ["NOTIFY_SOCKET"] = str(folder / "notify")
    try:
        return run_service(
            folder / "garden.toml",
            Folders(state=folder, runtime=folder / "run", own=folder),
            stand_ins=StandIns(driver=pins),
            environ=environ,
        )
    finally:
        if listener is not None:
            listener.end()


class _Manager:
    """The service manager's end: stops the daemon once it is ready."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._socket.settimeout(60.0)
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()

    def _listen(self) -> None:
        while b"READY=1" not in self._socket.recv(4096):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    def end(self) -> None:
        self._thread.join(60.0)
        self._socket.close()


def _old_logbook(path: Path, steps: int) -> None:
    db = Database(sqlite3.connect(path))
    names = [migration.name for migration in MIGRATIONS.pending(db)]
    migrate(db, SystemClock(), stop_before=names[steps])
    db.close()


@pytest.mark.parametrize("steps", [1, 2, 3, 4, 5])
def test_a_daemon_brings_an_older_logbook_up_to_date_and_runs(
    tmp_path: Path, pins: RecordingPins, steps: int
) -> None:
    _old_logbook(tmp_path / LOGBOOK_NAME, steps)
    assert _run(tmp_path, pins, stop=True) == 0
    with sqlite3.connect(tmp_path / LOGBOOK_NAME) as connection:
        (count,) = connection.execute(
            "SELECT count(*) FROM _sqlite_migrations WHERE migration_set = ?", [SET]
        ).fetchone()
    assert count == len(list(MIGRATIONS.pending(Database(memory=True))))


def test_a_daemon_older_than_the_logbook_ends_with_every_line_off_and_changes_nothing(
    tmp_path: Path, pins: RecordingPins
) -> None:
    path = tmp_path / LOGBOOK_NAME
    Logbook(path, SystemClock()).close()
    with sqlite3.connect(path) as connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, ?, ?)",
            [SET, "99 moisture probes", "2040-01-01T00:00:00.000000Z"],
        )
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogbookError, match=r"a newer Rowgate .* nothing in it was changed"):
        _run(tmp_path, pins, stop=False)
    assert pins._on and not any(pins._on.values())  # taken, and driven off
    assert not any(move.on for move in pins.moves)
    assert path.read_bytes() == before


def _spoil(path: Path) -> None:
    path.write_bytes(b"no database at all, only words" * 1000)


def _spoil_a_page(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(4096 * 2)
        file.write(b"\xff" * 4096)


@pytest.mark.parametrize("spoil", [_spoil, _spoil_a_page])
def test_a_damaged_logbook_keeps_no_daemon_from_keeping_valves_shut(
    tmp_path: Path, pins: RecordingPins, spoil: Any
) -> None:
    path = tmp_path / LOGBOOK_NAME
    Logbook(path, SystemClock()).close()
    spoil(path)
    assert _run(tmp_path, pins, stop=True) == 0
    assert pins._on and not any(pins._on.values())
    assert len(list(tmp_path.glob("logbook-damaged-*.db"))) == 1
    with Questions(path) as ask:
        assert "logbook damaged" in [event.kind for event in ask.happenings()]
