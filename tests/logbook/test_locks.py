"""Other processes at the file: SQLite's locks must outlive our own looks at it.

A process loses all its locks on a file as soon as it closes any descriptor of that file
(fcntl(2), and sqlite.org/howtocorrupt.html, section 2.2). Then another one that comes and goes
takes itself for the last, deletes the log beside the file, and what is written after is lost.
"""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

from support.clock import HandClock

from controller.logbook.files import read_shared
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions

COUNT = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1])
print(connection.execute("SELECT count(*) FROM notes").fetchone()[0])
connection.close()
"""


def _seen_by_another_process(path: Path) -> int:
    ran = subprocess.run(
        [sys.executable, "-c", COUNT, str(path)], capture_output=True, text=True, check=True
    )
    return int(ran.stdout)


def _left_by_a_power_cut(folder: Path) -> Path:
    """A logbook with its log beside it, as a process leaves it that had no time to close."""
    path, left = folder / "logbook.db", folder / "left"
    left.mkdir()
    with Logbook(path, HandClock()) as book:
        for number in range(20):
            book.note(f"words {number}")
        for name in ("logbook.db", "logbook.db-wal"):
            shutil.copy(folder / name, left / name)
    assert (left / "logbook.db-wal").stat().st_size > 10_000
    return left / "logbook.db"


def test_what_is_written_after_another_process_came_and_went_is_there(tmp_path: Path) -> None:
    path = _left_by_a_power_cut(tmp_path)
    with Logbook(path, HandClock()) as book:
        before = _seen_by_another_process(path)
        assert before >= 20
        book.note("after it went")
        assert _seen_by_another_process(path) == before + 1
        with Questions(path):  # a reader of our own that goes, too
            pass
        book.note("and again")
        assert _seen_by_another_process(path) == before + 2
    assert _seen_by_another_process(path) == before + 2


def test_a_second_book_of_the_same_process_costs_the_first_no_lock(tmp_path: Path) -> None:
    path = _left_by_a_power_cut(tmp_path)
    with Logbook(path, HandClock()) as book:
        with Logbook(path, HandClock()):
            pass
        before = _seen_by_another_process(path)
        book.note("after both went")
        assert _seen_by_another_process(path) == before + 1


def test_a_file_is_read_whether_or_not_it_is_open_here(tmp_path: Path) -> None:
    path = tmp_path / "some.db"
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("CREATE TABLE one (two)")
    connection.commit()
    shared = read_shared(path, 100), read_shared(path.with_name("some.db-wal"))
    log = path.with_name("some.db-wal").read_bytes()
    assert shared == (path.read_bytes()[:100], log)
    connection.close()
    assert read_shared(path, 100) == path.read_bytes()[:100]
    assert read_shared(tmp_path / "none") == b""
