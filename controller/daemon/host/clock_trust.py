"""Whether the wall clock may be trusted. Openings by plan wait for it; closing never asks.

Every reason not to trust it is one sentence for a gardener. There are four: the clock was never set
from a trusted source; it jumped against the monotonic clock; it shows a time before the logbook's
newest row; it shows a time that cannot be right.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from controller.clock import LATEST_UTC, Clock

JUMP_S = 2.0  # more than this between two looks is a step, not drift; our choice
SETTLE_S = 600.0  # after a jump the clock must run on in step for so long; our choice
# A clock may be a little behind the newest row: a correction of a second is no journey in time.
BACK_S = 2.0
# Longer than any winter: a newest row older than this says the clock ran ahead. Our choice.
FAR_AHEAD = timedelta(days=400)
EARLIEST_UTC = datetime(2025, 1, 1, tzinfo=UTC)  # before this program was written
# Rows of a future that never came would stop watering for ever, and a garden that rested for two
# years could never start. A set clock that disagrees with the rows is trusted after a day.
LONG_UNTRUSTED_S = 86_400.0
OVERRULED_NAME = "overruled-rows-utc"
SYNC_EVERY_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFinding:
    """What one look at the clock found."""

    trusted: bool
    why: str  # it is not trusted; "" where it is
    jumped_s: float  # how far the wall clock stepped since the last look; 0 for none
    changed: bool  # whether `trusted` differs from the look before


class ClockTrust:
    """Compares the two clocks at every look, and the wall clock with the logbook's newest row.

    `overruled` is called with a newest row that a long-steady clock was trusted against. With
    `keeps_time` the board has a battery clock, which no time source needs to set.
    """

    def __init__(
        self,
        clock: Clock,
        newest_row_utc: datetime | None,
        overruled: Callable[[datetime], None] = lambda newest_row_utc: None,
        *,
        keeps_time: bool = False,
    ) -> None:
        self._clock, self._newest, self._overruled = clock, newest_row_utc, overruled
        self._keeps_time = keeps_time
        self._offset_s = self._offset()
        self._steady_since_mono_s = clock.mono_s()
        self._settling = False
        self._trusted: bool | None = None
        self.why = "the clock has not been looked at yet"

    @property
    def trusted(self) -> bool:
        """Whether the last look trusted the clock."""
        return bool(self._trusted)

    def look(self) -> ClockFinding:
        """Compare the clocks; cheap enough for every tick."""
        offset, mono = self._offset(), self._clock.mono_s()
        jumped = offset - self._offset_s
        self._offset_s = offset
        if abs(jumped) > JUMP_S:
            self._settling, self._steady_since_mono_s = True, mono
        else:
            jumped = 0.0
        self.why = self._why_not(mono)
        trusted = not self.why
        changed = trusted != self._trusted
        self._trusted = trusted
        return ClockFinding(trusted=trusted, why=self.why, jumped_s=jumped, changed=changed)

    def saw_row(self, at_utc: datetime) -> None:
        """Take in a row written while the clock is trusted: time does not go back before it."""
        if self._trusted and (self._newest is None or at_utc > self._newest):
            self._newest = at_utc

    def _why_not(self, mono_s: float) -> str:
        if not self._keeps_time and not self._clock.synced():
            self._steady_since_mono_s = mono_s
            return (
                "the clock has not been set from a time source (a board with a battery clock "
                'says so: clock = "battery" in [board])'
            )
        now, steady_s = self._clock.now_utc(), mono_s - self._steady_since_mono_s
        if now < EARLIEST_UTC:
            return f"the clock says {now:%Y-%m-%d}, which is before Rowgate was written"
        if now >= LATEST_UTC:
            return f"the clock says {now:%Y} or later, which cannot be"
        if self._settling and steady_s < SETTLE_S:
            return (
                "the clock was moved; plans wait until it has run on for "
                f"{SETTLE_S / 60:.0f} minutes"
            )
        self._settling = False
        return self._against_rows(now, steady_s)

    def _against_rows(self, now: datetime, steady_s: float) -> str:
        if self._newest is None:
            return ""
        apart = now - self._newest
        if -timedelta(seconds=BACK_S) <= apart <= FAR_AHEAD:
            return ""
        if steady_s >= LONG_UNTRUSTED_S:
            self._overruled(self._newest)
            self._newest = None  # begins anew with the next row
            return ""
        side = "before" if apart < timedelta() else "long after"
        return (
            f"the clock says {now:%Y-%m-%d %H:%M} UTC, {side} the logbook's newest row of "
            f"{self._newest:%Y-%m-%d %H:%M} UTC"
        )

    def _offset(self) -> float:
        return self._clock.now_utc().timestamp() - self._clock.mono_s()


class Overruled:
    """A newest row in the future that a steady clock overruled; kept for restarts."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / OVERRULED_NAME

    def keep(self, newest_row_utc: datetime) -> None:
        """Remember it; a disk that does not take it costs a day without water after a start."""
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
