"""What a flow meter's figures mean beside what the pipes should give: a judge without memory.

The thresholds are ours and are said here and in docs/watching.md. A flow is found wrong when it
lies outside what the hydraulics can be off by, the meter's and the tap's own unsteadiness and the
counting added, and is a clear share away besides.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, hypot

from controller.errors import require_range
from controller.garden.model import FlowFinding
from controller.units import gal_min_from_m3_s, m3_from_l

FIND_AT = 3.0  # standard errors, of the reckoned flow and the meter together; our choice
LEAST_SHARE = 0.20  # a smaller difference is never found, however sure the figures; our choice
METER_ERROR = 0.03  # standard error of a small turbine meter's litres a pulse; from memory
TAP_VARIES = 0.08  # of the flow, from one opening to the next, over a season; our choice
COUNTS_OFF = 2.0  # a pulse of the meter more or less at either end of a stretch
LEAST_COUNTS = 20.0  # pulses of the meter, reckoned or counted, below which nothing is judged
LEAST_S = 10.0  # and so long a stretch; our choice
NEXT_TO_NOTHING = 0.1  # of the reckoned flow: the valve has not opened; our choice
STILL_RUNS = 0.1  # of the flow before it shut: the valve has not closed; our choice
STILL_COUNTS = 10.0  # pulses of the meter while all is shut, before anything is said; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoned:
    """What the pipes should give with a set of zones open. `error` is a relative standard error."""

    flow_l_s: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the meter counted over a stretch in which the open set stayed the same."""

    litres: float
    seconds: float
    litres_per_pulse: float

    @property
    def flow_l_s(self) -> float:
        """Mean flow. [L/s]"""
        return self.litres / self.seconds if self.seconds > 0.0 else 0.0


def passing_l(reckoned: Reckoned, seconds: float, litres_per_pulse: float) -> tuple[float, float]:
    """From how few to how many litres over a stretch nothing is found.

    Parameters
    ----------
    reckoned : Reckoned
        Flow of the open set and its error.
    seconds : float
        Length of the stretch. [s]
    litres_per_pulse : float
        The meter's. [L]

    Returns
    -------
    tuple of float
        Least and most litres that pass. [L]

    Raises
    ------
    OutOfRange
        If the stretch or the meter's pulse is not above zero and finite.

    Source
    ------
    Our own rule: `FIND_AT` standard errors of pipes and meter on the logarithm of the flow and the
    tap's `TAP_VARIES`, at least `LEAST_SHARE`, and `COUNTS_OFF` pulses of the meter.
    """
    require_range("seconds", seconds, 1e-9, 1e9)
    require_range("litres_per_pulse", litres_per_pulse, 1e-9, 1e9)
    litres = reckoned.flow_l_s * seconds
    # Pipes and meter are off once for good; the tap varies anew at every opening, so that over a
    # season its worst comes on top of them.
    far = FIND_AT * hypot(reckoned.error, METER_ERROR) + TAP_VARIES
    off_l = COUNTS_OFF * litres_per_pulse
    least = litres * min(1.0 - LEAST_SHARE, exp(-far)) - off_l
    most = litres * max(1.0 + LEAST_SHARE, exp(far)) + off_l
    return max(0.0, least), most


def judge_open(seen: Seen, reckoned: Reckoned) -> FlowFinding | None:
    """What is wrong with the flow of an open set; None where nothing is, or too little was seen."""
    if seen.seconds < LEAST_S:
        return None
    due_l = reckoned.flow_l_s * seen.seconds
    least, most = passing_l(reckoned, seen.seconds, seen.litres_per_pulse)
    if seen.litres > most and seen.litres >= LEAST_COUNTS * seen.litres_per_pulse:
        return FlowFinding.BURST
    if due_l < LEAST_COUNTS * seen.litres_per_pulse:
        return None
    if seen.litres <= NEXT_TO_NOTHING * due_l:
        return FlowFinding.NOT_OPENED
    return FlowFinding.CLOGGED if seen.litres < least else None


def is_enough(seen: Seen, reckoned: Reckoned) -> bool:
    """Whether so much was seen that a flow without a finding is a good one."""
    due_l = reckoned.flow_l_s * seen.seconds
    return seen.seconds >= LEAST_S and due_l >= LEAST_COUNTS * seen.litres_per_pulse


def judge_shut(seen: Seen, before: Reckoned | None) -> FlowFinding | None:
    """What is wrong when all is shut.

    `before` is the flow of the set that shut last, soon after it shut; later it is None, and any
    flow that goes on is a leak.
    """
    if seen.litres < STILL_COUNTS * seen.litres_per_pulse or seen.seconds <= 0.0:
        return None
    if before is None:
        return FlowFinding.LEAK
    return FlowFinding.NOT_CLOSED if seen.flow_l_s >= STILL_RUNS * before.flow_l_s else None


def flow_words(flow_l_s: float, *, us: bool) -> str:
    """A flow in the gardener's units, as in "7.4 L/min"."""
    if us:
        return f"{gal_min_from_m3_s(m3_from_l(flow_l_s)):.2f} gal/min"
    return f"{60.0 * flow_l_s:.2f} L/min"


def found_words(finding: FlowFinding, seen: Seen, reckoned: Reckoned | None, *, us: bool) -> str:
    """A finding with its figures, as the keeper reads it."""
    metered = f"{flow_words(seen.flow_l_s, us=us)} by the meter over {_time(seen.seconds)}"
    if finding is FlowFinding.LEAK:
        return f"all is shut, and yet {metered}"
    assert reckoned is not None, "every other finding is held against a reckoned flow"
    due = flow_words(reckoned.flow_l_s, us=us)
    if finding is FlowFinding.NOT_CLOSED:
        return f"shut, and yet {metered} ({due} while it was open)"
    least, most = passing_l(reckoned, seen.seconds, seen.litres_per_pulse)
    passing = (
        f"{flow_words(least / seen.seconds, us=us)} to {flow_words(most / seen.seconds, us=us)}"
    )
    what = {
        FlowFinding.CLOGGED: "clearly too little",
        FlowFinding.BURST: "clearly too much: a burst, or an end that has popped off",
        FlowFinding.NOT_OPENED: "next to nothing",
    }[finding]
    return f"{what}: {metered}, {due} reckoned ({passing} would pass)"


def _time(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"
