"""The meter's counts as litres between two moments, and whether the meter is alive at all."""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections.abc import Callable

from controller.clock import Clock
from controller.daemon.flowwatch import LEAST_COUNTS

SILENT_AFTER = 3  # zones in a row that surely watered without one count: the meter is dead
KEPT_S = 3 * 3600.0  # of samples, and all since the earliest valve that is open opened
_MOST_SAMPLES = 20_000  # a second apart they last five hours; past that every other one goes


class Metering:
    """Samples of the meter's count on the monotonic clock. Thread-safe: the bank's threads sample.

    `count` gives the counts since the start; only differences are used. Below `least_flow_l_s` the
    meter may stand still: what flows more slowly by computation says nothing of it.
    """

    def __init__(
        self,
        clock: Clock,
        litres_per_pulse: float,
        count: Callable[[], int],
        *,
        least_flow_l_s: float = 0.0,
    ) -> None:
        self._clock, self.litres_per_pulse, self._count = clock, litres_per_pulse, count
        self.least_flow_l_s = least_flow_l_s
        self._lock = threading.Lock()
        self._at: list[float] = []
        self._counts: list[int] = []
        self._without: list[str] = []  # zones that should have given counts and gave none, in a row
        self.dead = False
        self.keep_from_mono_s = float("inf")  # what lies later is still asked for, however old
        self.sample()

    def sample(self) -> None:
        """Look at the count now; wherever the open set changes, and every second or so between."""
        with self._lock:
            now, count = self._clock.mono_s(), self._count()
            if self._at and now <= self._at[-1]:
                self._counts[-1] = count
                return
            self._at.append(now)
            self._counts.append(count)
            if len(self._at) <= _MOST_SAMPLES:
                return
            self._forget_before(min(now - KEPT_S, self.keep_from_mono_s))
            if len(self._at) > _MOST_SAMPLES:
                self._at = [*self._at[:-1:2], self._at[-1]]
                self._counts = [*self._counts[:-1:2], self._counts[-1]]

    def litres_between(self, from_mono_s: float, to_mono_s: float) -> float:
        """Litres that passed the meter between two moments, straight lines between samples. [L]"""
        with self._lock:
            counts = self._at_moment(to_mono_s) - self._at_moment(from_mono_s)
        return max(0.0, counts) * self.litres_per_pulse

    def watered(self, zone: str, *, metered_l: float, timed_l: float, zones: int) -> bool:
        """A pulse of a zone is over; True where the meter is found dead, or alive again, by it.

        Dead: so many pulses in a row, of two zones at least where the garden has two, should have
        given plenty of counts and gave none. One count brings it back.
        """
        was = self.dead
        if metered_l > 0.0:
            self._without.clear()
            self.dead = False
        elif timed_l >= LEAST_COUNTS * self.litres_per_pulse:
            self._without = [*self._without, zone][-50:]
            enough = len(self._without) >= SILENT_AFTER
            self.dead = was or (enough and len(set(self._without)) >= min(2, zones))
        return self.dead != was

    def _forget_before(self, mono_s: float) -> None:
        keep = max(0, bisect_right(self._at, mono_s) - 1)
        del self._at[:keep], self._counts[:keep]

    def _at_moment(self, mono_s: float) -> float:
        place = bisect_right(self._at, mono_s)
        if place == 0:
            return float(self._counts[0])
        if place == len(self._at):
            return float(self._counts[-1])
        t0, t1 = self._at[place - 1], self._at[place]
        c0, c1 = self._counts[place - 1], self._counts[place]
        return c0 + (c1 - c0) * (mono_s - t0) / (t1 - t0)
