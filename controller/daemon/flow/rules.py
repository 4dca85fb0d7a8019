"""Rules for the meter: what its figures mean against the computed flow, and whether it is alive.

The thresholds are our choice; they stand here and in docs/watching.md. A flow is wrong when it lies
outside the error of the hydraulics, with that of the meter, the tap and the counting added, and is
also a clear share away. Where the flow is not known within a factor of ten nothing is found.
trend.py judges a set against its own past weeks.
"""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections.abc import Callable, Collection
from dataclasses import dataclass
from math import exp, hypot, log

from controller.clock import Clock
from controller.errors import require_range
from controller.garden.model import FlowFinding
from controller.units import gal_min_from_m3_s, m3_from_l

FIND_AT = 3.0  # standard errors, of the computed flow and the meter together; our choice
LEAST_SHARE = 0.20  # a smaller difference is never found, however sure the figures; our choice
METER_ERROR = 0.03  # standard error of a small turbine meter's litres a pulse; from memory
TAP_VARIES = 0.08  # of the flow, from one opening to the next, over a season; our choice
COUNTS_OFF = 2.0  # a pulse of the meter more or less at either end of a stretch
LEAST_COUNTS = 20.0  # pulses of the meter, computed or counted, below which nothing is judged
LEAST_S = 10.0  # and so long a stretch; our choice
NEXT_TO_NOTHING = 0.1  # of the computed flow: the valve has not opened; our choice
STILL_RUNS = 0.1  # of the flow before it shut: the valve has not closed; our choice
STILL_COUNTS = (
    10.0  # pulses of the meter while all is shut, before anything is reported; our choice
)
BELIEVABLE = 2.0  # times what an open tap gives; what counts faster is not water; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputedFlow:
    """What the pipes should give with a set of zones open. `error` is a relative standard error.

    `low_l_s` and `high_l_s` are the flows with the supply at its lowest and its highest (a barrel
    near empty and full); without them it is steady.
    """

    flow_l_s: float
    error: float
    low_l_s: float | None = None
    high_l_s: float | None = None

    @property
    def lowest_l_s(self) -> float:
        """Flow with the supply at its lowest. [L/s]"""
        return self.flow_l_s if self.low_l_s is None else min(self.low_l_s, self.flow_l_s)

    @property
    def highest_l_s(self) -> float:
        """Flow with the supply at its highest. [L/s]"""
        return self.flow_l_s if self.high_l_s is None else max(self.high_l_s, self.flow_l_s)

    @property
    def far(self) -> float:
        """How far the logarithm of the flow may be off before anything is found. [-]

        The error of pipes and meter stays the same; the tap varies anew at every opening, so that
        over a season its worst comes on top.
        """
        return FIND_AT * hypot(self.error, METER_ERROR) + TAP_VARIES

    @property
    def passing_l_s(self) -> tuple[float, float]:
        """The least and the most flow that pass, however finely the meter counts. [L/s]"""
        return (
            self.lowest_l_s * min(1.0 - LEAST_SHARE, exp(-self.far)),
            self.highest_l_s * max(1.0 + LEAST_SHARE, exp(self.far)),
        )

    @property
    def is_known(self) -> bool:
        """Whether the flow is known well enough to judge by: within a factor of ten."""
        return self.far < -log(NEXT_TO_NOTHING)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeteredStretch:
    """What the meter counted over a stretch in which the open set stayed the same.

    `starts_at_l_s` is the meter's least flow: below it, the meter may stand still. `stretches` is
    how many stretches were added up.
    """

    litres: float
    seconds: float
    litres_per_pulse: float
    starts_at_l_s: float = 0.0
    stretches: int = 1

    @property
    def flow_l_s(self) -> float:
        """Mean flow. [L/s]"""
        return self.litres / self.seconds if self.seconds > 0.0 else 0.0


def passing_shares(computed: ComputedFlow) -> tuple[float, float]:
    """The least and the most share of the computed flow that pass, without the error of counting.

    0 and infinity where the computed flow is 0.
    """
    if computed.flow_l_s <= 0.0:
        return 0.0, float("inf")
    least, most = (flow_l_s / computed.flow_l_s for flow_l_s in computed.passing_l_s)
    return least, most


def passing_l(
    computed: ComputedFlow, seconds: float, litres_per_pulse: float, stretches: int = 1
) -> tuple[float, float]:
    """The least and the most litres over a stretch that pass. [L]

    Our own rule: `FIND_AT` standard errors of pipes and meter on the logarithm of the flow and the
    tap's `TAP_VARIES`, at least `LEAST_SHARE`, and `COUNTS_OFF` pulses of the meter for each of the
    `stretches` put together; below the flow of the supply at its lowest, and above that at its
    highest. OutOfRange if the stretch or the meter's pulse is not above zero and finite.
    """
    require_range("seconds", seconds, 1e-9, 1e9)
    require_range("litres_per_pulse", litres_per_pulse, 1e-9, 1e9)
    off_l = COUNTS_OFF * litres_per_pulse * stretches
    least_l_s, most_l_s = computed.passing_l_s
    return max(0.0, least_l_s * seconds - off_l), most_l_s * seconds + off_l


def find_while_open(seen: MeteredStretch, computed: ComputedFlow) -> FlowFinding | None:
    """What is wrong with the flow of an open set; None where nothing is, or it cannot be judged.

    Every finding lies outside what passes. Too little is not looked for where the meter may stand
    still at a flow that passes.
    """
    if seen.seconds < LEAST_S or not computed.is_known:
        return None
    least, most = passing_l(computed, seen.seconds, seen.litres_per_pulse, seen.stretches)
    if seen.litres > most:
        return FlowFinding.BURST if _is_countable(seen.litres, seen) else None
    due_l = computed.lowest_l_s * seen.seconds
    too_slow = least <= seen.starts_at_l_s * seen.seconds
    if seen.litres >= least or too_slow or not _is_countable(due_l, seen):
        return None
    nearly_none = seen.litres <= NEXT_TO_NOTHING * due_l
    return FlowFinding.NOT_OPENED if nearly_none else FlowFinding.CLOGGED


def is_enough(seen: MeteredStretch, computed: ComputedFlow) -> bool:
    """Whether enough was seen that a flow without a finding is a good one."""
    due_l = computed.flow_l_s * seen.seconds
    return seen.seconds >= LEAST_S and computed.is_known and _is_countable(due_l, seen)


def _is_countable(litres: float, seen: MeteredStretch) -> bool:
    """Whether these litres are enough pulses to judge by."""
    return litres >= LEAST_COUNTS * seen.litres_per_pulse


def flow_while_open(seen: MeteredStretch, computed: ComputedFlow) -> float | None:
    """The flow that a flow after shutting is compared with; None where it is unknown. [L/s]

    The lesser of what the meter saw and what was computed; the computed flow where the meter saw
    less than passes, or too little to count.
    """
    due_l_s = computed.flow_l_s if computed.is_known else None
    if seen.seconds < LEAST_S or not _is_countable(seen.litres, seen):
        return due_l_s
    if due_l_s is None:
        return seen.flow_l_s
    least, _ = passing_l(computed, seen.seconds, seen.litres_per_pulse)
    return min(seen.flow_l_s, due_l_s) if seen.litres >= least else due_l_s


def find_while_shut(
    seen: MeteredStretch, before_l_s: float | None, *, soon: bool
) -> FlowFinding | None:
    """What is wrong while all is shut.

    `before_l_s` is the flow while the set that shut last was open, None where it is unknown. `soon`
    after it shut, a flow may be its valve; later any flow is a leak.
    """
    if seen.litres < STILL_COUNTS * seen.litres_per_pulse or seen.seconds <= 0.0:
        return None
    if not soon:
        return FlowFinding.LEAK
    goes_on = before_l_s is not None and seen.flow_l_s >= STILL_RUNS * before_l_s
    return FlowFinding.NOT_CLOSED if goes_on else None


def flow_words(flow_l_s: float, *, us: bool) -> str:
    """A flow in the gardener's units, as in "7.4 L/min"."""
    if us:
        return f"{gal_min_from_m3_s(m3_from_l(flow_l_s)):.2f} gal/min"
    return f"{60.0 * flow_l_s:.2f} L/min"


def found_words(
    finding: FlowFinding,
    seen: MeteredStretch,
    computed: ComputedFlow | None,
    before_l_s: float | None = None,
    *,
    us: bool,
) -> str:
    """Text of a finding for the keeper; `before_l_s` is that of `find_while_shut`."""
    metered = f"{flow_words(seen.flow_l_s, us=us)} by the meter over {_time(seen.seconds)}"
    if finding is FlowFinding.MISCOUNTED and computed is None:
        return f"{metered}, and no tap gives so much: it is not water that is counted"
    if finding is FlowFinding.LEAK:
        return f"all is shut, and yet {metered}"
    if finding is FlowFinding.NOT_CLOSED:
        was = "" if before_l_s is None else f" ({flow_words(before_l_s, us=us)} while it was open)"
        return f"shut, and yet {metered}{was}"
    assert computed is not None, "every other finding is held against a computed flow"
    what = {
        FlowFinding.CLOGGED: "clearly too little",
        FlowFinding.BURST: "clearly too much: a burst, or an end that has popped off",
        FlowFinding.NOT_OPENED: "next to nothing",
        FlowFinding.MISCOUNTED: "clearly too little, of all that ran: a meter that counts a part, "
        "the tap, or a filter ahead of all zones",
    }[finding]
    passing = passing_words(computed, seen.seconds, seen.litres_per_pulse, us=us)
    due = flow_words(computed.flow_l_s, us=us)
    return f"{what}: {metered}, {due} computed ({passing} would pass)"


def unknown_words(zones: Collection[str], computed: ComputedFlow, *, us: bool) -> str:
    """Text: the flow of a set is not known well enough to judge, and what to do."""
    return (
        f"the flow of {', '.join(sorted(zones))} is not known well enough to compare "
        f"({flow_words(computed.flow_l_s, us=us)} computed, and a tenth or ten times that may be "
        "right): measure it (rowgate note run), or let the meter see it on a week of days; until "
        "then no flow holds it"
    )


def passing_words(
    computed: ComputedFlow, seconds: float, litres_per_pulse: float, *, us: bool
) -> str:
    """Text of the flows that pass, as in "9.59 L/min to 14.41 L/min"."""
    least, most = passing_l(computed, seconds, litres_per_pulse)
    return f"{flow_words(least / seconds, us=us)} to {flow_words(most / seconds, us=us)}"


def _time(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"


SILENT_AFTER = 3  # zones in a row that surely watered without one count: the meter is dead
SAMPLES_S = 3 * 3600.0  # of samples, and all since the earliest valve that is open opened
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
        """Sample the count now; wherever the open set changes, and every second or so between."""
        with self._lock:
            now, count = self._clock.mono_s(), self._count()
            if self._at and now <= self._at[-1]:
                self._counts[-1] = count
                return
            self._at.append(now)
            self._counts.append(count)
            if len(self._at) <= _MOST_SAMPLES:
                return
            self._forget_before(min(now - SAMPLES_S, self.keep_from_mono_s))
            if len(self._at) > _MOST_SAMPLES:
                self._at = [*self._at[:-1:2], self._at[-1]]
                self._counts = [*self._counts[:-1:2], self._counts[-1]]

    def litres_between(self, from_mono_s: float, to_mono_s: float) -> float:
        """Litres that passed the meter between two moments, interpolated linearly. [L]"""
        with self._lock:
            counts = self._at_moment(to_mono_s) - self._at_moment(from_mono_s)
        return max(0.0, counts) * self.litres_per_pulse

    def watered(self, zone: str, *, metered_l: float, timed_l: float, zones: int) -> bool:
        """A pulse of a zone is over; True where it shows that the meter is dead, or alive again.

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
