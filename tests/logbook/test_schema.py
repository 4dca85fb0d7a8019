"""Opening a logbook: new, old, newer, damaged."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database
from support.clock import HandClock
from support.logbook import DAY, a_pulse

from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.schema import MIGRATIONS, SET, migrate

STEPS = [migration.name for migration in MIGRATIONS.pending(Database(memory=True))]
TABLES = {
    "weather",
    "ledger",
    "pulses",
    "readings",
    "notes",
    "holds",
    "happenings",
    "measurements",
    "fits",
    "observations",
    "tended",
    "watched_days",
    "flow_stretches",
    "rows_set_aside",
    "entries",
}


def _first_step(path: Path, clock: HandClock) -> None:
    """A logbook as the first version left it, with one closed pulse in it."""
    db = Database(sqlite3.connect(path))
    db.enable_wal()
    names = [migration.name for migration in MIGRATIONS.pending(db)]
    migrate(db, clock, stop_before=names[1])
    db.table("pulses").insert(
        {
            "key": "a|2031-05-31|1",
            "zone": "a",
            "day": "2031-05-31",
            "slot": 1,
            "valve": "relay",
            "state": "closed",
            "closed_utc": "2031-05-31T05:00:00.000000Z",
            "open_s": 60.0,
            "litres": 4.5,
            "how_known": "timed",
        }
    )
    db.close()


def _names(path: Path, kind: str) -> set[str]:
    with sqlite3.connect(path) as connection:
        rows = connection.execute("SELECT name FROM sqlite_master WHERE type = ?", [kind])
        return {name for (name,) in rows if not name.startswith("sqlite_")}


def _steps(path: Path) -> list[tuple[str, str]]:
    with sqlite3.connect(path) as connection:
        return connection.execute(
            "SELECT name, applied_at FROM _sqlite_migrations WHERE migration_set = ? ORDER BY id",
            [SET],
        ).fetchall()


def test_a_new_logbook_has_every_table_and_each_is_strict(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    Logbook(path, HandClock()).close()
    assert _names(path, "table") == TABLES | {"_sqlite_migrations"}
    with sqlite3.connect(path) as connection:
        strict = {row[1]: row[5] for row in connection.execute("PRAGMA table_list")}
    assert all(strict[table] == 1 for table in TABLES)


def test_a_new_logbook_records_its_steps_at_our_clock(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    Logbook(path, HandClock()).close()
    assert [at for _, at in _steps(path)] == ["2031-06-01T04:00:00.000000Z"] * len(STEPS)


def test_it_is_in_write_ahead_mode_and_syncs_every_commit(tmp_path: Path) -> None:
    with Logbook(tmp_path / "logbook.db", HandClock()) as book:

        def pragma(name: str) -> object:
            return book._do(lambda b: next(iter(b.db.execute(f"PRAGMA {name}")))[0])

        assert pragma("journal_mode") == "wal"
        assert pragma("synchronous") == 2  # FULL


def test_a_first_version_is_brought_up_to_date_and_keeps_its_rows(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    _first_step(path, clock)
    assert len(_steps(path)) == 1
    assert "pulses_by_day" not in _names(path, "index")
    clock.advance(60.0)
    Logbook(path, clock).close()
    assert [at[:16] for _, at in _steps(path)] == [
        "2031-06-01T04:00",
        *["2031-06-01T04:01"] * (len(STEPS) - 1),
    ]
    new = tmp_path / "new.db"
    Logbook(new, clock).close()
    assert _names(path, "table") == _names(new, "table")
    assert _names(path, "index") == _names(new, "index")
    with Questions(path) as ask:
        assert sum(ask.litres_by_zone_day().values()) == 4.5


def test_what_models_said_was_kept_as_measured_and_is_no_longer(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    _first_step(path, clock)
    with sqlite3.connect(path) as db:
        db.executemany(
            "INSERT INTO weather (day, source, kept_utc, measured, rain_mm) VALUES (?, ?, ?, ?, 9)",
            [
                ("2031-05-30", "open-meteo analysis", "2031-05-31T00:00:00.000000Z", 1),
                ("2031-05-30", "open-meteo forecast", "2031-05-29T00:00:00.000000Z", 0),
                ("2031-05-30", "station.csv", "2031-05-28T00:00:00.000000Z", 1),
            ],
        )
    db.close()

    def kinds() -> list[tuple[str, bool, bool]]:
        with Questions(path) as ask:
            return [(d.source, d.measured, d.modelled) for d in ask.weather_rows()]

    wanted = [
        ("open-meteo model", False, True),
        ("open-meteo forecast", False, False),
        ("station.csv", True, False),
    ]
    assert kinds() == wanted  # also before anybody has brought it up to date
    assert len(_steps(path)) == 1
    Logbook(path, clock).close()
    assert len(_steps(path)) == len(STEPS)
    assert kinds() == wanted


def test_opening_an_up_to_date_logbook_changes_nothing(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    Logbook(path, clock).close()
    before = path.read_bytes()
    clock.advance(60.0)
    Logbook(path, clock).close()
    assert path.read_bytes() == before


def test_a_logbook_of_each_step_is_brought_up_to_date(tmp_path: Path) -> None:
    clock, new = HandClock(), tmp_path / "new.db"
    Logbook(new, clock).close()
    names = [name for name, _ in _steps(new)]
    for count in range(1, len(names)):
        path = tmp_path / f"step-{count}.db"
        db = Database(sqlite3.connect(path))
        migrate(db, clock, stop_before=names[count])
        db.close()
        assert len(_steps(path)) == count
        Logbook(path, clock).close()
        assert [name for name, _ in _steps(path)] == names
        assert _names(path, "table") == _names(new, "table")


def test_a_failing_step_leaves_the_logbook_as_it_was(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    _first_step(path, clock)
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE INDEX pulses_by_end ON pulses (day)")  # in the step's way
    with pytest.raises(LogbookError, match="pulses_by_end"):
        Logbook(path, clock)
    assert len(_steps(path)) == 1
    assert _names(path, "index") - {"idx__sqlite_migrations_migration_set_name"} == {
        "pulses_by_end"
    }


def test_a_newer_logbook_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    Logbook(path, clock).close()
    with sqlite3.connect(path) as connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, ?, ?)",
            [SET, "99 moisture probes", "2040-01-01T00:00:00.000000Z"],
        )
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogbookError, match=r"a newer Rowgate wrote it .*99 moisture probes"):
        Logbook(path, clock)
    with pytest.raises(LogbookError, match="a newer Rowgate"):
        Questions(path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.glob("*damaged*")] == []


def test_a_newer_logbook_that_was_not_closed_is_left_as_it_was_too(tmp_path: Path) -> None:
    clock, running, path = HandClock(), tmp_path / "running.db", tmp_path / "logbook.db"
    Logbook(running, clock).close()
    connection = sqlite3.connect(running)
    connection.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, ?, ?)",
        [SET, "99 moisture probes", "2040-01-01T00:00:00.000000Z"],
    )
    connection.commit()
    wal = tmp_path / "logbook.db-wal"
    path.write_bytes(running.read_bytes())  # as a power cut would leave the two files
    wal.write_bytes((tmp_path / "running.db-wal").read_bytes())
    connection.close()
    before = path.read_bytes(), wal.read_bytes()
    with pytest.raises(LogbookError, match="a newer Rowgate"):
        Logbook(path, clock)
    assert (path.read_bytes(), wal.read_bytes()) == before


def test_what_lies_beside_a_damaged_logbook_goes_with_it(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    path.write_bytes(b"no database at all, only words" * 100)
    (tmp_path / "logbook.db-wal").write_bytes(b"its last commits")
    with Logbook(path, HandClock()) as book:
        assert book.set_aside is not None
        beside = book.set_aside.with_name(book.set_aside.name + "-wal")
    assert beside.read_bytes() == b"its last commits"


def _spoil_header(path: Path) -> None:
    path.write_bytes(b"no database at all, only words" * 100)


def _spoil_page(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(4096 * 2)
        file.write(b"\xff" * 4096)


def _cut_short(path: Path) -> None:
    os.truncate(path, 4096 * 3)


@pytest.mark.parametrize("spoil", [_spoil_header, _spoil_page, _cut_short])
def test_a_damaged_logbook_is_kept_aside_and_a_new_one_begun(tmp_path: Path, spoil: Any) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as book:
        book.intend(a_pulse())
    spoil(path)
    damaged = path.read_bytes()
    with Logbook(path, clock) as book:
        assert book.set_aside == tmp_path / "logbook-damaged-2031-06-01T040000Z.db"
        assert book.set_aside.read_bytes() == damaged
        with Questions(path) as ask:
            assert ask.unfinished() == []
            (event,) = ask.happenings()
        assert event.kind == "logbook damaged"
        assert "logbook-damaged-2031-06-01T040000Z.db" in event.words
        assert book.intend(a_pulse()) == 1


def test_two_damaged_logbooks_of_one_second_are_both_kept(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    for _ in range(2):
        _spoil_header(path)
        Logbook(path, clock).close()
    assert len(list(tmp_path.glob("logbook-damaged-*.db"))) == 2


def test_a_sound_logbook_is_not_set_aside(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    Logbook(path, clock).close()
    with Logbook(path, clock) as book:
        assert book.set_aside is None
    assert [p.name for p in tmp_path.iterdir()] == ["logbook.db"]


def test_an_empty_file_becomes_a_logbook(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    path.touch()
    with Logbook(path, HandClock()) as book:
        assert book.plan_day(DAY, [a_pulse()]) == 1


def test_a_missing_folder_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="see that its folder is there"):
        Logbook(tmp_path / "no" / "logbook.db", HandClock())


def test_reading_where_there_is_no_logbook_makes_none(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="there is none yet"):
        Questions(tmp_path / "logbook.db")
    assert list(tmp_path.iterdir()) == []
