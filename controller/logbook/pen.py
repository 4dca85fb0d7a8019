"""What all writing rests on: the writer thread, one moment for each transaction, plain errors."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from controller.clock import Clock
from controller.errors import LogbookError
from controller.logbook.care import Care
from controller.logbook.door import sweep
from controller.logbook.faults import is_damage, plain
from controller.logbook.files import number_pulses_apart
from controller.logbook.opening import open_book
from controller.logbook.records import utc_text
from controller.logbook.schema import Book
from controller.logbook.writer import Writer

T = TypeVar("T")
Row = dict[str, Any]
# The check at opening reads all of the file: a big one on a slow card takes its time. Our choice.
OPENING_WITHIN_S = 60.0
BUSY_SHARE = 0.8  # of the time-out: a lock is reported by SQLite before the asker gives up


class Pen:
    """An open logbook file and the one thread that writes in it."""

    def __init__(self, path: Path, clock: Clock, *, timeout_s: float = 5.0) -> None:
        self.path, self.clock = Path(path), clock
        self._wait_s = BUSY_SHARE * timeout_s
        self._first_file: tuple[int, int] | None = None
        self.times_opened = 0  # what was known before the last time may be of another file
        # Whether the file at the path is another than at our start: lost, or set aside in mid-run.
        # What was learnt of the old one is then no longer so; best start anew.
        self.replaced = False
        self._writer: Writer[Book] = Writer(
            self._open,
            timeout_s=timeout_s,
            tend=Care(clock).step,
            is_spoilt=self._is_damage,
        )
        try:
            # Where a damaged logbook lies now, if this one was begun in its place.
            self.set_aside: Path | None = self._do(
                lambda book: book.set_aside, within_s=max(timeout_s, OPENING_WITHIN_S)
            )
        except LogbookError:
            self._writer.close()
            raise

    def close(self) -> None:
        """Finish what was asked and close the file."""
        self._writer.close()

    def answers(self, within_s: float) -> bool:
        """Whether the writing thread moves: it answers in time, be it with an error."""
        return self._writer.answers(within_s)

    def doubt(self) -> None:
        """A reader has found damage: the next work looks at all of the file first."""
        self._writer.open_anew()

    def set_bad_rows_aside(self) -> None:
        """Set the rows aside that are not what they can be; at an opening it is done anyway."""
        self.write(lambda book, now: sweep(book.db.conn, now))

    def write(self, work: Callable[[Book, str], T]) -> T:
        """Run the work in one transaction, at one moment; back when it is on disk."""
        now = utc_text(self.clock.now_utc())
        return self._do(lambda book: work(book, now))

    def _open(self) -> Book:
        book = open_book(self.path, self.clock, wait_s=self._wait_s)
        self.times_opened += 1
        if self._first_file is None:
            self._first_file = book.file_id
        elif book.file_id != self._first_file:
            self.replaced, self.set_aside = True, book.set_aside or self.set_aside
            number_pulses_apart(book.db.conn, self.clock)
            if book.set_aside is None:
                _say_lost(book, self.clock)
        return book

    def _is_damage(self, error: Exception) -> bool:
        """Whether the file has shown damage; then the next work looks at all of it first."""
        return isinstance(error, sqlite3.Error) and is_damage(error)

    def _do(self, work: Callable[[Book], T], *, within_s: float | None = None) -> T:
        try:
            return self._writer.do(work, within_s=within_s)
        except (sqlite3.Error, OSError) as error:
            raise plain(error, self.path) from error


def _say_lost(book: Book, clock: Clock) -> None:
    book.db.table("happenings").insert(
        {
            "at_utc": utc_text(clock.now_utc()),
            "kind": "logbook lost",
            "words": "the logbook was taken away while the daemon ran; this one lies in its place, "
            "and knows nothing of what was given before it was begun",
        }
    )
    book.db.commit()


def insert(book: Book, table: str, row: Row) -> int:
    """Insert a row; the number it got."""
    new_id = book.db.table(table).insert(row).last_rowid
    if new_id is None:
        raise LogbookError(f"the row for {table} got no number")
    return int(new_id)
