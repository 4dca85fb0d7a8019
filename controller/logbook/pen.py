"""What all writing rests on: the writer thread, one moment for each transaction, plain errors."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from controller.clock import Clock
from controller.errors import LogbookError
from controller.logbook.faults import plain
from controller.logbook.records import utc_text
from controller.logbook.schema import Book, open_book
from controller.logbook.writer import Writer

T = TypeVar("T")
Row = dict[str, Any]
BUSY_SHARE = 0.8  # of the time-out: a lock is reported by SQLite before the asker gives up


class Pen:
    """An open logbook file and the one thread that writes in it."""

    def __init__(self, path: Path, clock: Clock, *, timeout_s: float = 5.0) -> None:
        self.path, self.clock = Path(path), clock
        self._writer: Writer[Book] = Writer(
            lambda: open_book(self.path, clock, wait_s=BUSY_SHARE * timeout_s), timeout_s=timeout_s
        )
        try:
            # Where a damaged logbook lies now, if this one was begun in its place.
            self.set_aside: Path | None = self._do(lambda book: book.set_aside)
        except LogbookError:
            self._writer.close()
            raise

    def close(self) -> None:
        """Finish what was asked and close the file."""
        self._writer.close()

    def write(self, work: Callable[[Book, str], T]) -> T:
        """Run the work in one transaction, at one moment; back when it is on disk."""
        now = utc_text(self.clock.now_utc())
        return self._do(lambda book: work(book, now))

    def _do(self, work: Callable[[Book], T]) -> T:
        try:
            return self._writer.do(work)
        except (sqlite3.Error, OSError) as error:
            raise plain(error, self.path) from error


def insert(book: Book, table: str, row: Row) -> int:
    """Insert a row; the number it got."""
    new_id = book.db.table(table).insert(row).last_rowid
    if new_id is None:
        raise LogbookError(f"the row for {table} got no number")
    return int(new_id)
