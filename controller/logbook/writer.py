"""The writing thread: one transaction for each call, one moment for each transaction, plain errors.

A caller waits until its work is committed, but never longer than the time-out. Work whose caller
has given up is dropped, unless its commit is under way. When nothing waits, the store is
maintained, a small step at a time. Nothing is tried again here: the caller gets the error.
"""

from __future__ import annotations

import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar

from controller.clock import Clock
from controller.errors import LogbookError
from controller.logbook.entries import ENTRIES
from controller.logbook.files import is_damage, number_pulses_apart, plain
from controller.logbook.maintenance import Maintenance, open_book
from controller.logbook.records import utc_text
from controller.logbook.row_rules import sweep
from controller.logbook.schema import Book


class Store(Protocol):
    """The methods the writer needs of an open logbook."""

    def is_the_file_there(self) -> bool:
        """Whether the path still names the file that is open."""

    def begin(self) -> None:
        """Begin a transaction."""

    def commit(self) -> None:
        """Commit it; on disk when this returns."""

    def rollback(self) -> None:
        """Undo the transaction."""

    def close(self) -> None:
        """Close the file."""


S = TypeVar("S", bound=Store)
T = TypeVar("T")


class _Job:
    """One piece of work, the promise of its result, and whether its caller still waits."""

    def __init__(self, work: Callable[[Any], Any]) -> None:
        self.work, self.promise = work, Future[Any]()
        self._lock, self._given_up, self._committing = threading.Lock(), False, False

    def give_up(self) -> bool:
        """Give up waiting; True if nothing will be written, False if the commit is under way."""
        with self._lock:
            self._given_up = not self._committing
            return self._given_up

    def may_begin(self) -> bool:
        """Whether the caller still waits."""
        return not self._given_up

    def may_commit(self) -> bool:
        """Whether to commit; from a yes on, it is too late to give up."""
        with self._lock:
            self._committing = not self._given_up
            return self._committing


class Writer(Generic[S]):
    """Runs work on its own connection, one transaction each, in the order asked.

    A thread that died is replaced at the next piece of work; a connection is opened in the thread
    that uses it, and opened again when the file is no longer the one at the path.
    """

    def __init__(
        self,
        connect: Callable[[], S],
        *,
        timeout_s: float,
        maintain: Callable[[S], bool] | None = None,
        is_damaged: Callable[[Exception], bool] | None = None,
    ) -> None:
        """`maintain` does one small step; whether another may follow at once. After an error that
        `is_damaged` the store is closed, and the next piece of work opens it anew."""
        self._connect, self._timeout_s = connect, timeout_s
        self._maintain, self._is_damaged = maintain, is_damaged
        self._queue: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._closed = self._anew = False

    def do(self, work: Callable[[S], T], *, within_s: float | None = None) -> T:
        """Run the work in a transaction; its result, once that is on disk.

        `within_s` takes the place of the time-out.

        Raises
        ------
        LogbookError
            If it takes longer than the time-out, or the writer was closed or died.
        """
        job, within_s = _Job(work), within_s or self._timeout_s
        with self._lock:
            if self._closed:
                raise LogbookError("the logbook is closed; nothing more is written")
            self._queue.put(job)
            if self._thread is None:
                self._start()
        try:
            result: T = job.promise.result(within_s)
        except TimeoutError:
            outcome = (
                "it was dropped"
                if job.give_up()
                else "the disk is slow to take it, so it may be there later"
            )
            raise LogbookError(
                f"the logbook did not take it within {within_s:g} s; {outcome}"
            ) from None
        return result

    def open_anew(self) -> None:
        """Make the next piece of work close the store and open it again; from any thread."""
        self._anew = True

    def answers(self, within_s: float) -> bool:
        """Whether the thread takes up work and returns in time, also with an error.

        The work writes nothing, so a full disk still answers; a disk that hangs does not.
        """
        job = _Job(lambda _: None)
        with self._lock:
            if self._closed:
                return False
            self._queue.put(job)
            if self._thread is None:
                self._start()
        try:
            job.promise.result(within_s)
        except TimeoutError:
            job.give_up()
            return False
        except Exception:  # noqa: BLE001 - whatever it says, it has answered
            return True
        return True

    def close(self) -> None:
        """Finish the waiting work, then end the thread, within the time-out."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            thread = self._thread
            self._queue.put(None)
        if thread is not None:
            thread.join(self._timeout_s)

    def _start(self) -> None:
        # A daemon thread: a disk that hangs must not keep the program from ending.
        self._thread = threading.Thread(target=self._run, name="logbook", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        store: S | None = None
        try:
            while True:
                job = self._queue.get()
                if job is None:
                    return
                if job.may_begin():
                    store, alive = self._serve(job, store)
                    if not alive:
                        return
                    store = self._maintained(store)
                job = None  # with all that it had to write
        finally:
            if store is not None:
                store.close()
            with self._lock:
                self._thread = None
                if not self._queue.empty() and not self._closed:
                    self._start()

    def _serve(self, job: _Job, store: S | None) -> tuple[S | None, bool]:
        """Do one job; the store to go on with, and whether the thread may go on."""
        try:
            if store is not None and (self._anew or not store.is_the_file_there()):
                store.close()
                store = None
            self._anew = False
            if store is None:
                store = self._connect()
            result = _in_one_transaction(job, store)
        except Exception as error:  # noqa: BLE001 - handed to whoever asked, who raises it
            job.promise.set_exception(error)
            return self._unless_damaged(store, error), True
        except BaseException as error:  # noqa: BLE001 - the thread ends here, its caller must not
            job.promise.set_exception(LogbookError(f"the logbook's writer was stopped: {error!r}"))
            return store, False
        job.promise.set_result(result)
        return store, True

    def _maintained(self, store: S | None) -> S | None:
        """Maintain the store while nothing waits; the store to go on with."""
        if self._maintain is None or store is None:
            return store
        try:
            while self._queue.empty() and self._maintain(store):
                pass
        except Exception as error:  # noqa: BLE001 - nobody asked for it; the next work will show
            return self._unless_damaged(store, error)
        return store

    def _unless_damaged(self, store: S | None, error: Exception) -> S | None:
        if store is None or self._is_damaged is None or not self._is_damaged(error):
            return store
        store.close()
        return None


def _in_one_transaction(job: _Job, store: Store) -> Any:
    store.begin()
    try:
        result = job.work(store)
        if job.may_commit():
            store.commit()
        else:
            store.rollback()
    except BaseException:
        store.rollback()
        raise
    return result


Row = dict[str, Any]
# The check at opening reads all of the file: a big one on a slow card takes its time. Our choice.
OPENING_WITHIN_S = 60.0
BUSY_SHARE = 0.8  # of the time-out: a lock is reported by SQLite before the caller gives up


class LogbookWriter:
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
            maintain=Maintenance(clock).step,
            is_damaged=self._is_damage,
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
        """Finish the waiting work and close the file."""
        self._writer.close()

    def answers(self, within_s: float) -> bool:
        """Whether the writing thread answers in time, also with an error."""
        return self._writer.answers(within_s)

    def check_again(self) -> None:
        """Take in that a reader found damage: the next work checks all of the file first."""
        self._writer.open_anew()

    def set_bad_rows_aside(self) -> None:
        """Set impossible rows aside; opening a logbook does so anyway."""
        self.write(lambda book, now: sweep(book.db.conn, now))

    def write(self, work: Callable[[Book, str], T]) -> T:
        """Run the work in one transaction, at one moment; it returns once that is on disk."""
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
                _note_lost(book, self.clock)
        return book

    def _is_damage(self, error: Exception) -> bool:
        """Whether the file has shown damage; then the next work checks all of it first."""
        return isinstance(error, sqlite3.Error) and is_damage(error)

    def _do(self, work: Callable[[Book], T], *, within_s: float | None = None) -> T:
        try:
            return self._writer.do(work, within_s=within_s)
        except (sqlite3.Error, OSError) as error:
            raise plain(error, self.path) from error


def _note_lost(book: Book, clock: Clock) -> None:
    book.db.table("happenings").insert(
        {
            "at_utc": utc_text(clock.now_utc()),
            "kind": "logbook lost",
            "words": "the logbook was taken away while the daemon ran; this one lies in its place, "
            "and knows nothing of what was given before it was begun",
        }
    )
    book.db.commit()


def enter(
    book: Book, now: str, source: str, row: int, *, who: str = "", takes_back: int | None = None
) -> int:
    """Give a person's note its number; LogbookError if what it takes back does not stand."""
    if takes_back is not None:
        _require_standing(book, takes_back, source)
    return insert(
        book,
        ENTRIES,
        {"written_utc": now, "source": source, "row": row, "who": who, "takes_back": takes_back},
    )


def write_note(book: Book, now: str, table: str, row: Row, corrects: int | None = None) -> int:
    """Insert a person's note into its table; the number of its entry."""
    row_id = insert(book, table, row)
    return enter(book, now, table, row_id, who=row["who"], takes_back=corrects)


def _require_standing(book: Book, number: int, source: str) -> None:
    """Refuse to take back what is no note, was taken back, or is a note of another kind."""
    found = book.db.conn.execute(
        "SELECT source, row FROM entries WHERE id = ?", [number]
    ).fetchone()
    if found is None:
        raise LogbookError(f"no note has the number {number}")
    if found[0] == ENTRIES:
        raise LogbookError(f"{number} is the withdrawal of {found[1]}; write that note anew")
    if source not in (ENTRIES, found[0]):
        raise LogbookError(f"{number} is a note of another kind; withdraw it, and write this one")
    back = book.db.conn.execute("SELECT id FROM entries WHERE takes_back = ?", [number]).fetchone()
    if back is not None:
        raise LogbookError(f"note {number} was taken back already, by note {back[0]}")


def insert(book: Book, table: str, row: Row) -> int:
    """Insert a row; the number it got."""
    new_id = book.db.table(table).insert(row).last_rowid
    if new_id is None:
        raise LogbookError(f"the row for {table} got no number")
    return int(new_id)
