"""One thread that writes, and a queue before it.

Whoever wants something written waits until it is committed, but never longer than the time-out; a
piece of work whose asker has given up is dropped, unless its commit is already under way. When
nobody waits, the store may be tended, a small step at a time.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, Generic, Protocol, TypeVar

from controller.errors import LogbookError


class Store(Protocol):
    """What the writer needs of an open logbook."""

    def is_the_file_there(self) -> bool:
        """Whether the path still names the file that is open."""

    def begin(self) -> None:
        """Begin a transaction."""

    def commit(self) -> None:
        """Commit it; on disk when this returns."""

    def rollback(self) -> None:
        """Take it back."""

    def close(self) -> None:
        """Close the file."""


S = TypeVar("S", bound=Store)
T = TypeVar("T")


class _Job:
    """One piece of work, the promise of its result, and whether anybody still waits for it."""

    def __init__(self, work: Callable[[Any], Any]) -> None:
        self.work, self.promise = work, Future[Any]()
        self._lock, self._given_up, self._committing = threading.Lock(), False, False

    def give_up(self) -> bool:
        """The asker leaves; True if nothing will be written, False if the commit is under way."""
        with self._lock:
            self._given_up = not self._committing
            return self._given_up

    def may_begin(self) -> bool:
        """Whether anybody still waits."""
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
        tend: Callable[[S], bool] | None = None,
        is_spoilt: Callable[[Exception], bool] | None = None,
    ) -> None:
        """`tend` does one small step and says whether another may follow at once; after an error
        that `is_spoilt` the store is closed, and the next piece of work opens it anew."""
        self._connect, self._timeout_s = connect, timeout_s
        self._tend, self._is_spoilt = tend, is_spoilt
        self._queue: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._closed = self._anew = False

    def do(self, work: Callable[[S], T], *, within_s: float | None = None) -> T:
        """Run the work in a transaction and give back its result once that is on disk.

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
        """Have the next piece of work close the store and open it again; from any thread."""
        self._anew = True

    def answers(self, within_s: float) -> bool:
        """Whether the thread takes up work and comes back from it in time, also with an error.

        The work writes nothing, so that a full disk is no silence; a disk that hangs is.
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
        """Let what was asked finish, then end the thread; no longer than the time-out."""
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
                    store = self._tended(store)
                job = None  # with all that it had to write
        finally:
            if store is not None:
                store.close()
            with self._lock:
                self._thread = None
                if not self._queue.empty() and not self._closed:
                    self._start()

    def _serve(self, job: _Job, store: S | None) -> tuple[S | None, bool]:
        """Do one job; the store to go on with, and whether the thread may."""
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
            return self._unless_spoilt(store, error), True
        except BaseException as error:  # noqa: BLE001 - the thread ends here, its asker must not
            job.promise.set_exception(LogbookError(f"the logbook's writer was stopped: {error!r}"))
            return store, False
        job.promise.set_result(result)
        return store, True

    def _tended(self, store: S | None) -> S | None:
        """Tend the store while nobody waits; the store to go on with."""
        if self._tend is None or store is None:
            return store
        try:
            while self._queue.empty() and self._tend(store):
                pass
        except Exception as error:  # noqa: BLE001 - nobody asked for it; the next work will tell
            return self._unless_spoilt(store, error)
        return store

    def _unless_spoilt(self, store: S | None, error: Exception) -> S | None:
        if store is None or self._is_spoilt is None or not self._is_spoilt(error):
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
