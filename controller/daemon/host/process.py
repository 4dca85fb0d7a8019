"""The process: its end, signals, log and folders.

The state folder holds the logbook, and people of a group may write there. What decides which pins
are driven, and by which garden, lies in a folder of the daemon's own. On a desktop computer both
are one.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import logging
import os
import signal
import stat
import sys
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from queue import Empty, SimpleQueue
from types import FrameType
from typing import Any, Self

from controller.clock import Clock
from controller.errors import DaemonError


class Ending:
    """Whether the process is to end, why, and with which exit code; any thread may request it.

    So may a signal, whatever line the main thread is at: an Event has a lock, and a thread that
    holds it would wait for itself. A SimpleQueue can be put into at any moment.
    """

    def __init__(self) -> None:
        self.requested = False
        self.shut = threading.Event()  # the valves have been driven shut for the last time
        self.why = "the daemon ends"
        self.exit_code = 0
        self._wakes: SimpleQueue[None] = SimpleQueue()

    def wake_main(self) -> None:
        """Make the main thread look now."""
        self._wakes.put(None)

    def rest(self, at_most_s: float) -> None:
        """Wait until a wake, or one since the last rest, or for so long at most."""
        with contextlib.suppress(Empty):
            self._wakes.get(timeout=at_most_s)
            while True:
                self._wakes.get_nowait()

    def request(self, why: str) -> None:
        """End the process, for this reason."""
        self.why = why
        self.requested = True
        self.wake_main()

    def fail(self, why: str) -> None:
        """End the process with exit code 1."""
        self.exit_code = 1
        self.request(why)


class Signals:
    """SIGTERM, SIGINT and SIGHUP end the daemon, in the main thread, the only place for signals."""

    def __init__(self, end: Callable[[str], None]) -> None:
        self._end = end
        self._before: dict[int, Any] = {}

    def __enter__(self) -> None:
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
                self._before[number] = signal.signal(number, self._came)

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _came(self, number: int, frame: FrameType | None) -> None:
        self._end(f"told to end by {signal.Signals(number).name}")


def give_back_memory() -> None:
    """Give the memory of a plan back to the system, where the C library can (glibc)."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)


def log_to_stderr() -> None:
    """Log to stderr, in UTC, unless somebody set up logging already."""
    root = logging.getLogger()
    if not root.handlers:
        handler = logging.StreamHandler(sys.stderr)
        line = logging.Formatter("%(asctime)sZ %(levelname)s %(name)s: %(message)s")
        line.converter = time.gmtime
        handler.setFormatter(line)
        root.addHandler(handler)
        root.setLevel(logging.INFO)
        logging.getLogger("apscheduler").setLevel(logging.WARNING)


OVERRULED_NAME = "overruled-rows-utc"
WEATHER_CACHE = "weather-cache"
SYNC_EVERY_S = 10.0
_LOG = logging.getLogger("rowgate")


def make_folder(folder: Path, mode: int = 0o777) -> None:
    """Make a folder where there is none; DaemonError where it cannot be had."""
    try:
        folder.mkdir(mode, parents=True, exist_ok=True)
    except OSError as fault:
        raise DaemonError(f"{folder} cannot be made: {fault.strerror or fault}") from fault


def warn_of_others(own: Path) -> None:
    """Warn where others could replace the file that the stop step believes."""
    if stat.S_IMODE(own.stat().st_mode) & (stat.S_IWGRP | stat.S_IWOTH):
        _LOG.warning(
            "%s: others may write in this folder, so they may remove the list of lines that the "
            "stop step drives off; --own names a folder for the daemon alone",
            own,
        )


def leave_to_others(state: Path, own: Path, names: Iterable[str]) -> None:
    """Remove from the state folder what an older Rowgate kept there and now keeps in our own
    folder.

    None of it is read: everybody who may write a note could have written it. People's own `plan`
    keeps its weather there.
    """
    if state.samefile(own):
        return
    for name in (*names, OVERRULED_NAME, "daemon.lock"):
        with contextlib.suppress(OSError):
            (state / name).unlink()
            _LOG.info("%s: removed; it lies in %s now", state / name, own)
    with contextlib.suppress(OSError):
        (state / WEATHER_CACHE).mkdir()


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """Where the daemon keeps its files."""

    state: Path  # the logbook, and what people may write as well
    runtime: Path  # the control socket
    own: Path  # what nobody but the daemon may write


class OneDaemon:
    """The lock on a folder; the kernel lets it go when the process ends, however it ends.

    The folder itself is locked, and no file in it: a file could be deleted, and locked anew by
    another daemon.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: int | None = None

    def __enter__(self) -> Self:
        try:
            self._file = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        except OSError as fault:
            raise DaemonError(f"{self._folder}: {fault.strerror or fault}") from fault
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            self.__exit__()
            raise DaemonError(
                f"a daemon runs on {self._folder} already; there can be only one"
            ) from fault
        return self

    def holds(self) -> bool:
        """Whether we hold the lock of the folder; lock it now if it was made anew."""
        try:
            there = self._folder.stat()
        except OSError:
            return False
        if self._file is None or os.path.samestat(there, os.fstat(self._file)):
            return self._file is not None
        fresh = OneDaemon(self._folder)
        try:
            fresh.__enter__()
        except DaemonError:
            return False
        self.__exit__()
        self._file = fresh._file
        return True

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            os.close(self._file)
            self._file = None


class Overruled:
    """A newest row in the future that a steady clock overruled; kept for restarts."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / OVERRULED_NAME

    def keep(self, newest_row_utc: datetime) -> None:
        """Remember it; a disk that does not take it costs a day of doubt after the next start."""
        with contextlib.suppress(OSError):
            self._path.write_text(newest_row_utc.isoformat(), encoding="ascii")

    def unless_overruled(self, newest_utc: datetime | None, now_utc: datetime) -> datetime | None:
        """The newest row, or None where it lies ahead and was overruled before."""
        if newest_utc is None or newest_utc <= now_utc:
            return newest_utc
        try:
            overruled = datetime.fromisoformat(self._path.read_text(encoding="ascii").strip())
        except (OSError, ValueError):
            return newest_utc
        return None if newest_utc <= overruled else newest_utc


class CalmClock:
    """A clock that asks only every few seconds whether it is set, for that is not cheap."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._asked_mono_s = float("-inf")
        self._synced = False

    def now_utc(self) -> datetime:
        """Wall-clock time, aware, UTC."""
        return self._clock.now_utc()

    def mono_s(self) -> float:
        """The monotonic clock. [s]"""
        return self._clock.mono_s()

    def synced(self) -> bool:
        """The clock's answer, a few seconds old at most."""
        if self.mono_s() - self._asked_mono_s >= SYNC_EVERY_S:
            self._asked_mono_s = self.mono_s()
            self._synced = self._clock.synced()
        return self._synced

    def boot_id(self) -> str:
        """Names the boot."""
        return self._clock.boot_id()
