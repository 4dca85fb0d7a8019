"""A copy made beside a writer, without one, onto a name that is taken, of a damaged logbook."""

from __future__ import annotations

import sqlite3
import threading
from datetime import timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.logbook import DAY, a_ledger_day, a_pulse, close

from controller.errors import LogbookError
from controller.logbook.files import UNFINISHED, copy_logbook
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import HowKnown
from controller.logbook.schema import SET


def a_logbook(path: Path) -> Path:
    """Two pulses on two days, a ledger day of a zone in two parts, a note."""
    with Logbook(path, HandClock()) as logbook:
        for day in (DAY, DAY + timedelta(days=1)):
            number = logbook.intend(a_pulse(day=day))
            close(logbook, number, 60.0, 5.0, HowKnown.TIMED)
        logbook.missed(logbook.intend(a_pulse(2)), "its time went by")
        logbook.keep_ledger([a_ledger_day(part="1"), a_ledger_day(part="2")])
        logbook.note("all well")
    return path


def _names(folder: Path) -> list[str]:
    """The files; what SQLite keeps beside a logbook that was read comes and goes."""
    return [p.name for p in folder.iterdir() if not p.name.startswith("logbook.db-")]


def test_a_copy_holds_what_the_logbook_holds(tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    held = copy_logbook(a_logbook(tmp_path / "logbook.db"), copy)
    assert (held.first_day, held.last_day) == (DAY, DAY + timedelta(days=1))
    assert (held.pulses, held.litres, held.ledger_days, held.notes) == (2, 10.0, 1, 1)
    assert held.size_bytes == copy.stat().st_size
    assert sorted(_names(tmp_path)) == ["copy.db", "logbook.db"]
    with sqlite3.connect(tmp_path / "logbook.db") as one, sqlite3.connect(copy) as other:
        assert list(one.iterdump()) == list(other.iterdump())


def test_a_copy_has_no_log_beside_it_and_becomes_a_logbook_again(tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    copy_logbook(a_logbook(tmp_path / "logbook.db"), copy)
    with sqlite3.connect(copy) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    with Logbook(copy, HandClock()) as logbook, Questions(copy) as ask:
        assert sum(ask.litres_by_zone_day().values()) == 10.0
        with pytest.raises(LogbookError, match="runs once, or never"):
            logbook.intend(a_pulse())


def test_what_is_only_in_the_log_beside_the_file_is_in_the_copy(tmp_path: Path) -> None:
    path, copy = tmp_path / "logbook.db", tmp_path / "copy.db"
    with Logbook(path, HandClock()) as logbook:
        logbook.note("not in the file itself yet")
        held = copy_logbook(path, copy)
    assert held.notes == 1


def test_a_copy_made_while_another_thread_writes_is_of_one_moment(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    ending = threading.Event()
    with Logbook(path, HandClock()) as logbook:

        def keep_writing() -> None:
            # Each transaction keeps both parts of a day: a copy never has one of them alone.
            number = 0
            while not ending.is_set():
                day = DAY + timedelta(days=number)
                logbook.keep_ledger([a_ledger_day(day=day, part=part) for part in "12"])
                number += 1

        writer = threading.Thread(target=keep_writing)
        writer.start()
        try:
            copies = [tmp_path / f"copy-{number}.db" for number in range(8)]
            counts = [copy_logbook(path, copy).ledger_days for copy in copies]
        finally:
            ending.set()
            writer.join()
    assert counts == sorted(counts)
    for copy in copies:
        with sqlite3.connect(copy) as connection:
            (rows,) = connection.execute("SELECT count(*) FROM ledger").fetchone()
            (days,) = connection.execute("SELECT count(DISTINCT day) FROM ledger").fetchone()
        assert rows == 2 * days


def test_a_file_that_is_there_is_never_replaced(tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    copy.write_text("last year's", encoding="utf-8")
    with pytest.raises(LogbookError, match="is there already; name another file"):
        copy_logbook(a_logbook(tmp_path / "logbook.db"), copy)
    assert copy.read_text(encoding="utf-8") == "last year's"


def test_a_copy_that_is_being_made_is_not_written_over(tmp_path: Path) -> None:
    part = tmp_path / f"copy.db{UNFINISHED}"
    part.write_text("another's", encoding="utf-8")
    with pytest.raises(LogbookError, match="if nobody makes one, delete it"):
        copy_logbook(a_logbook(tmp_path / "logbook.db"), tmp_path / "copy.db")
    assert part.read_text(encoding="utf-8") == "another's"


def test_without_a_logbook_nothing_is_made(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="nothing to copy"):
        copy_logbook(tmp_path / "logbook.db", tmp_path / "copy.db")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("page", [2, 4])
def test_a_damaged_logbook_gives_no_copy_and_says_so(tmp_path: Path, page: int) -> None:
    path = a_logbook(tmp_path / "logbook.db")
    with path.open("r+b") as file:
        file.seek(4096 * page)
        file.write(b"\xff" * 4096)
    with pytest.raises(LogbookError, match=r"not sound|does not read|damaged"):
        copy_logbook(path, tmp_path / "copy.db")
    assert _names(tmp_path) == ["logbook.db"]


def test_what_is_no_logbook_gives_no_copy(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    path.write_bytes(b"no database at all, only words" * 300)
    with pytest.raises(LogbookError, match="damaged"):
        copy_logbook(path, tmp_path / "copy.db")
    assert _names(tmp_path) == ["logbook.db"]


def test_a_newer_logbook_is_left_to_a_newer_rowgate(tmp_path: Path) -> None:
    path = a_logbook(tmp_path / "logbook.db")
    with sqlite3.connect(path) as connection:
        connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, ?, ?)",
            [SET, "99 moisture probes", "2040-01-01T00:00:00.000000Z"],
        )
    connection.close()
    with pytest.raises(LogbookError, match="a newer Rowgate"):
        copy_logbook(path, tmp_path / "copy.db")


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="cannot be written"):
        copy_logbook(a_logbook(tmp_path / "logbook.db"), tmp_path / "no" / "copy.db")
