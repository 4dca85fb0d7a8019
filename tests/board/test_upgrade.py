"""A newer Rowgate over an older logbook; an older one over a newer logbook, which it refuses."""

from __future__ import annotations

import sqlite3
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlite_utils import Database

from board import guest
from board.machine import Board
from controller.logbook.schema import MIGRATIONS, SET, migrate

pytestmark = pytest.mark.board
FIRST = "2 indexes for the questions asked at every tick"  # the logbook of the first Rowgate
INSTALL_AGAIN = (
    "/opt/rowgate/bin/pip install --no-index --find-links $HOME/wheels --force-reinstall "
    "--no-deps rowgate"
)


class _Then:
    """The morning before, by the clock of the board."""

    def now_utc(self) -> datetime:
        return datetime(2031, 6, 20, 6, 0, tzinfo=UTC)

    def mono_s(self) -> float:
        return 1000.0

    def synced(self) -> bool:
        return True

    def boot_id(self) -> str:
        return "an older boot"


def _old_logbook(path: Path) -> bytes:
    db = Database(path)
    names = [migration.name for migration in MIGRATIONS.pending(db)]
    migrate(db, _Then(), stop_before=names[names.index(FIRST) + 1])
    db.execute(
        "INSERT INTO pulses (key, zone, day, slot, valve, relay_line, state, planned_utc, "
        "planned_opens_utc, planned_open_s, planned_litres, intended_utc, opened_utc, "
        "opened_mono_s, boot_id, closed_utc, open_s, litres, how_known) VALUES "
        "('leeks|2031-06-20|1', 'leeks', '2031-06-20', 1, 'relay', 4, 'closed', "
        "'2031-06-20T05:00:00.000000Z', '2031-06-20T05:30:00.000000Z', 80.0, 14.0, "
        "'2031-06-20T05:30:00.000000Z', '2031-06-20T05:30:00.000000Z', 500.0, 'an older boot', "
        "'2031-06-20T05:31:20.000000Z', 80.0, 14.0, 'timed')"
    )
    db.execute(
        "INSERT INTO notes (at_utc, words, who) VALUES "
        "('2031-06-20T05:40:00.000000Z', 'leeks look well', 'nobody')"
    )
    db.conn.commit()
    db.close()
    return path.read_bytes()


def _stopped(board: Board) -> None:
    board.run("systemctl stop rowgate", within_s=90)
    board.run("rm -f /var/lib/rowgate/logbook.db-wal /var/lib/rowgate/logbook.db-shm")


def test_an_older_logbook_is_brought_up_to_date_and_loses_nothing(
    due: Board, tmp_path: Path
) -> None:
    _stopped(due)
    due.put(_old_logbook(tmp_path / "old.db"), guest.LOGBOOK, mode=0o660)
    due.run(INSTALL_AGAIN, within_s=240)
    due.run(f"chown rowgate:rowgate {guest.LOGBOOK}; systemctl start rowgate", within_s=150)
    known = {migration.name for migration in MIGRATIONS.pending(Database(memory=True))}
    asked = f"SELECT name FROM _sqlite_migrations WHERE migration_set = '{SET}'"
    assert {row["name"] for row in guest.rows(due, asked)} == known
    (pulse,) = guest.pulses(due, "day = '2031-06-20'")
    assert (pulse["litres"], pulse["open_s"], pulse["how_known"]) == (14.0, 80.0, "timed")
    assert guest.rows(due, "SELECT words FROM notes") == [{"words": "leeks look well"}]
    assert guest.is_whole(due)
    assert guest.status(due)["plan_fault"] == ""


def test_a_newer_logbook_is_refused_and_left_as_it_is_and_no_line_opens(
    due: Board, tmp_path: Path
) -> None:
    _stopped(due)
    newer = tmp_path / "newer.db"
    newer.write_bytes(due.get(guest.LOGBOOK))
    with sqlite3.connect(newer) as db:
        db.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, ?, ?)",
            [SET, "99 of a later year", "2031-06-20T06:00:00.000000Z"],
        )
    db.close()
    data = newer.read_bytes()
    due.run(f"rm {guest.LOGBOOK}")
    due.put(data, guest.LOGBOOK, mode=0o660)
    due.run(f"chown rowgate:rowgate {guest.LOGBOOK}")
    with due.watch(guest.NUMBERS) as watch:
        due.run("systemctl start rowgate", within_s=150, check=False)
        begun_s = time.monotonic()
        while guest.journal(due).count("a newer Rowgate wrote it") < 2:  # it is tried again
            assert time.monotonic() - begun_s < 180, guest.journal(due)
            time.sleep(2)
        assert watch.openings(guest.is_on) == []
        assert all(watch.state(line) != guest.ON for line in guest.NUMBERS)
    assert due.get(guest.LOGBOOK) == data
