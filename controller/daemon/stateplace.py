"""Small things that keep the state folder or wrap the clock: the lock, an overruled moment."""

from __future__ import annotations

import contextlib
import fcntl
import os
from datetime import datetime
from pathlib import Path
from typing import Self

from controller.clock import Clock
from controller.errors import DaemonError

OVERRULED_NAME = "overruled-rows-utc"
SYNC_EVERY_S = 10.0


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
        """Whether the folder of this name is locked by us; one that was made anew is locked now."""
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
    """A newest row in the future, against which a steady clock was believed; kept for restarts."""

    def __init__(self, state_dir: Path) -> None:
        self._path = state_dir / OVERRULED_NAME

    def keep(self, newest_row_utc: datetime) -> None:
        """Remember it; a disk that does not take it costs a day of doubt after the next start."""
        with contextlib.suppress(OSError):
            self._path.write_text(newest_row_utc.isoformat(), encoding="ascii")

    def less(self, newest_utc: datetime | None, now_utc: datetime) -> datetime | None:
        """The newest row, or None where it lies ahead and was overruled before."""
        if newest_utc is None or newest_utc <= now_utc:
            return newest_utc
        try:
            overruled = datetime.fromisoformat(self._path.read_text(encoding="ascii").strip())
        except (OSError, ValueError):
            return newest_utc
        return None if newest_utc <= overruled else newest_utc


class CalmClock:
    """A clock that asks whether it is set only every few seconds: the asking is not cheap."""

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
        """What the clock said a few seconds ago at most."""
        if self.mono_s() - self._asked_mono_s >= SYNC_EVERY_S:
            self._asked_mono_s = self.mono_s()
            self._synced = self._clock.synced()
        return self._synced

    def boot_id(self) -> str:
        """Names the boot."""
        return self._clock.boot_id()
