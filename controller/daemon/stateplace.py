"""Small things that lie in the state folder or wrap the clock: the lock, an overruled moment."""

from __future__ import annotations

import contextlib
import fcntl
import os
from datetime import datetime
from pathlib import Path

from controller.clock import Clock
from controller.errors import DaemonError

LOCK_NAME = "daemon.lock"
OVERRULED_NAME = "overruled-rows-utc"
SYNC_EVERY_S = 10.0


class OneDaemon:
    """The lock on a state folder; the kernel lets it go when the process ends, however it ends."""

    def __init__(self, state_dir: Path) -> None:
        self._path = state_dir / LOCK_NAME
        self._file: int | None = None

    def __enter__(self) -> None:
        try:
            self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        except OSError as fault:
            raise DaemonError(f"{self._path}: {fault.strerror or fault}") from fault
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            self.__exit__()
            raise DaemonError(
                f"a daemon runs on {self._path.parent} already; there can be only one"
            ) from fault

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
