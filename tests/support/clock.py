"""A clock whose hands the test turns."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta


class HandClock:
    """Wall and monotonic time, moved only by the test; the two can be moved apart."""

    def __init__(self, now_utc: datetime = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)) -> None:
        self.wall, self.mono, self.is_synced, self.boot = now_utc, 1000.0, True, "boot-1"

    def now_utc(self) -> datetime:
        return self.wall

    def mono_s(self) -> float:
        return self.mono

    def synced(self) -> bool:
        return self.is_synced

    def boot_id(self) -> str:
        return self.boot

    def advance(self, seconds: float) -> None:
        """Time passes: both clocks move."""
        self.wall += timedelta(seconds=seconds)
        self.mono += seconds

    def step_wall(self, seconds: float) -> None:
        """Somebody sets the wall clock; no time passes."""
        self.wall += timedelta(seconds=seconds)
