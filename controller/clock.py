"""The time. Nothing else in Rowgate asks the operating system what time it is."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

SYNC_FLAG = Path("/run/systemd/timesync/synchronized")
# A wall clock at or after this is nobody's; nothing of ours computes near the last year there is.
LATEST_UTC = datetime(2200, 1, 1, tzinfo=UTC)
_FOLD = timedelta(days=3650)
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Clock(Protocol):
    """What the rest of the house knows of time."""

    def now_utc(self) -> datetime:
        """Wall-clock time, aware, UTC. It may jump; never subtract two of these to time a valve."""

    def mono_s(self) -> float:
        """Seconds on a clock that only goes forward, also while the board sleeps. [s]

        Every deadline and duration uses it.
        """

    def synced(self) -> bool:
        """Whether the wall clock is known to be set from a trusted source."""

    def boot_id(self) -> str:
        """Names the boot: `mono_s` of two processes may be compared only within one."""


class SystemClock:
    """The board's own clock."""

    def now_utc(self) -> datetime:
        """Wall-clock time of this board, aware, UTC; folded into ten years after `LATEST_UTC`."""
        try:
            return folded(datetime.now(UTC))
        except (ValueError, OverflowError):  # a year of five digits
            return LATEST_UTC

    def mono_s(self) -> float:
        """The kernel's clock since the boot, the same for all processes of one boot. [s]

        The other one, on which threads wait, stands still while the board sleeps: a deadline by it
        would come too late by the whole sleep. A thread that waits wakes late all the same, by as
        much as it had still to wait; so whoever shuts valves waits a second at most.

        Source
        ------
        clock_gettime(2): CLOCK_BOOTTIME "is identical to CLOCK_MONOTONIC, except that it also
        includes any time that the system is suspended".
        """
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    def synced(self) -> bool:
        """True once the time service has set the clock (its flag file, else the kernel's state)."""
        if SYNC_FLAG.exists():
            return True
        return _kernel_says_synced()

    def boot_id(self) -> str:
        """The kernel's id of this boot, or "unknown" where the kernel does not tell."""
        try:
            return BOOT_ID.read_text(encoding="ascii").strip()
        except OSError:
            return "unknown"


def slept_s() -> float:
    """How long the board has slept since its boot: the two clocks of the kernel apart. [s]"""
    return time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()


def folded(now_utc: datetime) -> datetime:
    """The same, or a moment of 2200 to 2209 in place of a later one; it goes on at the same pace.

    At the year 9999 a day more is no date any more. What stands after `LATEST_UTC` is not
    believed, so which of its days it is matters to nobody.
    """
    late = now_utc - LATEST_UTC
    return now_utc if late < timedelta() else LATEST_UTC + late % _FOLD


def _kernel_says_synced() -> bool:
    """Ask adjtimex(2), read-only: TIME_ERROR (5) means unsynchronised; False if it cannot tell."""
    import ctypes

    try:
        # The C library of this process: asking for its file's name would start ldconfig each time.
        libc = ctypes.CDLL(None, use_errno=True)
        buffer = ctypes.create_string_buffer(512)  # struct timex is 208 bytes; modes = 0 reads only
        state = int(libc.adjtimex(buffer))
    except (OSError, AttributeError):
        return False
    return 0 <= state < 5
