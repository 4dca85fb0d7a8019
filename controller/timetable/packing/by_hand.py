"""Rules for valves that a person turns: whole minutes, few visits, few turns.

A hand opening takes whole minutes, one at least. A dose is divided into as few pulses as the soil
takes in, of nearly equal minutes, so that none is a leftover. A visit is the openings of one keeper
without a long pause. While one zone soaks, the keeper turns the next valve: the one with the
longest way to go comes first, so that the visit ends soonest. They wait a quarter of an hour for a
zone to soak, and longer only for a crop that would run short before the next round.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from controller.garden.plumbing import ValveKind
from controller.messages import Message
from controller.timetable.need.pulse_length import filling_s, smallest_pulse_s, water_s
from controller.timetable.packing.job import Job, JobState

MINUTE_S = 60.0
# Who has to wait longer than this between two valves goes home, and the visit ends; our choice.
VISIT_PAUSE_S = 900.0
# For a crop that would run short before the next round they wait so long; our choice: 10 mm soak
# into a clay loam in little more than an hour, and an open row gives more than that in a minute.
NEEDY_PAUSE_S = 7200.0
_NEARLY = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLimits:
    """What one keeper is asked at most: visits a day, and turns (openings) a visit."""

    visits: int = 1
    turns: int = 12


NO_LIMITS = HandLimits(visits=1_000_000, turns=1_000_000)


def is_by_hand(state: JobState) -> bool:
    """Whether a person turns its valve."""
    return state.job.valve is ValveKind.HAND


def least_minutes(job: Job, flow_l_s: float) -> int:
    """Minutes of the smallest useful pulse: it fills the line, and runs the shortest pulse.

    Parameters
    ----------
    job : Job
        The job of a hand valve.
    flow_l_s : float
        Flow, above 0. [L/s]

    Returns
    -------
    int
        1 or more. [min]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # of a job, what counts here
    >>> job = Example(line_litres=9.0, shortest_pulse_s=5.0, opens_in_s=0.0, closes_in_s=0.0)
    >>> least_minutes(job, 0.1), least_minutes(job, 1.0)
    (2, 1)
    """
    smallest_s = smallest_pulse_s(
        line_litres=job.line_litres,
        flow_l_s=flow_l_s,
        shortest_pulse_s=job.shortest_pulse_s,
        opens_in_s=job.opens_in_s,
        closes_in_s=job.closes_in_s,
    )
    return max(1, math.ceil(smallest_s / MINUTE_S - _NEARLY))


def whole_minutes(seconds: float) -> int:
    """The nearest whole minutes; half a minute counts as one.

    Source
    ------
    Our choice: the day's own water use takes up what rounding adds, or it drains, by the account.

    Examples
    --------
    >>> [whole_minutes(seconds) for seconds in (29.0, 30.0, 89.0, 90.0)]
    [0, 1, 1, 2]
    """
    return math.floor(seconds / MINUTE_S + 0.5 + _NEARLY)


def most_minutes(state: JobState, flow_l_s: float, *, room_s: float = math.inf) -> int:
    """Minutes that the valve may be open now: its longest opening, the daily cap, the window.

    `room_s` is the time until it must be shut [s].
    """
    most_s = min(state.job.longest_open_s, room_s, _cap_s(state, flow_l_s))
    return math.floor(most_s / MINUTE_S + _NEARLY)


def _cap_s(state: JobState, flow_l_s: float) -> float:
    """Time that the daily cap leaves. [s]"""
    travel_s = (state.job.opens_in_s - state.job.closes_in_s) / 2.0
    return max(0.0, state.job.cap_litres - state.given_l) / flow_l_s + travel_s


def pulses_of(state: JobState, left_l: float, flow_l_s: float) -> tuple[int, int]:
    """Minutes of the next pulse and the number of pulses of the rest of a dose.

    Parameters
    ----------
    state : JobState
        The job of a hand valve, with its soaking.
    left_l : float
        What is left to give, beside what fills the line. [L]
    flow_l_s : float
        Flow, above 0. [L/s]

    Returns
    -------
    tuple of int
        Minutes, and pulses; each 1 or more.

    Source
    ------
    Our choice: the fewest pulses that the basin and the longest opening allow, as equal as whole
    minutes can be. Where the basin is full in less than the smallest pulse, that pulse it is.
    """
    job = state.job
    fill_s = filling_s(line_litres=job.line_litres, flow_l_s=flow_l_s)
    travel_s = (job.opens_in_s - job.closes_in_s) / 2.0
    least = least_minutes(job, flow_l_s)
    hard = max(least, most_minutes(state, flow_l_s))
    capped = math.floor(_cap_s(state, flow_l_s) / MINUTE_S + _NEARLY)
    soaks_s = fill_s + state.soaking.seconds_to_full(flow_l_s, 0.0) + travel_s
    most = hard
    if math.isfinite(soaks_s):
        most = min(hard, max(least, math.floor(soaks_s / MINUTE_S + _NEARLY)))
    each_s = max(1.0, most * MINUTE_S - fill_s - travel_s)  # of water, in the longest pulse
    pulses = max(1, math.floor((left_l / flow_l_s - MINUTE_S / 2.0) / each_s))
    while True:
        total_s = left_l / flow_l_s + pulses * (fill_s + travel_s)
        wanted = min(whole_minutes(total_s), capped)
        minutes = math.ceil(max(wanted, pulses * least) / pulses)
        if minutes <= most:
            return minutes, pulses
        pulses += 1


def chain_s(state: JobState, flow_l_s: float) -> float:
    """Time that the rest of a dose takes, with the pauses in which it soaks away. [s]"""
    minutes, pulses = pulses_of(state, state.left_l, flow_l_s)
    open_s = minutes * MINUTE_S
    fill_s = filling_s(line_litres=state.job.line_litres, flow_l_s=flow_l_s)
    stands_mm = state.soaking.standing_after(0.0, flow_l_s, max(0.0, open_s - fill_s))
    return pulses * open_s + (pulses - 1) * state.soaking.seconds_to_soak(stands_mm)


def water_of_minutes_l(job: Job, minutes: int, flow_l_s: float) -> float:
    """Litres that an opening of so many minutes gives beside what fills the line. [L]"""
    seconds = water_s(
        open_s=minutes * MINUTE_S, opens_in_s=job.opens_in_s, closes_in_s=job.closes_in_s
    )
    return max(0.0, seconds * flow_l_s - job.line_litres)


class HandRounds:
    """The visits of each keeper on one day, as far as the day has come.

    With `by_urgency` the neediest zone goes first, for a day whose windows are too short.
    """

    def __init__(
        self,
        limits: HandLimits,
        alone_l_s: Callable[[str], float],
        hands: Iterable[JobState],
        *,
        by_urgency: bool,
    ):
        self._limits, self._alone_l_s, self._by_urgency = limits, alone_l_s, by_urgency
        self._unturned: dict[str, set[str]] = {}  # zones of each keeper without a turn as yet
        for state in hands:
            self._unturned.setdefault(state.job.keeper, set()).add(state.job.zone)
        self._visits: dict[str, int] = {}
        self._turns: dict[str, int] = {}  # of the last visit
        self._shut_s: dict[str, float] = {}
        self._keeper: str | None = None  # who turned the last valve

    def opens(self, state: JobState, now: float) -> None:
        """Count a turn, and a visit if it begins one."""
        keeper = state.job.keeper
        if not self._in_visit(keeper, now, _pause_s(state)):
            self._visits[keeper] = self._visits.get(keeper, 0) + 1
            self._turns[keeper] = 0
        self._turns[keeper] += 1
        state.visit = self._visits[keeper]
        self._unturned[keeper].discard(state.job.zone)
        self._keeper = keeper

    def shuts(self, state: JobState, now: float) -> None:
        """Remember when the valve was shut."""
        self._shut_s[state.job.keeper] = now

    def _in_visit(self, keeper: str, at: float, pause_s: float = VISIT_PAUSE_S) -> bool:
        shut_s = self._shut_s.get(keeper)
        return shut_s is not None and at - shut_s <= pause_s + _NEARLY

    def may_from(self, state: JobState, at: float) -> float:
        """The earliest time, `at` or later, at which the limits let this zone open.

        Infinite if they do not; `kept_back` of the state then says why. Seedbeds, and plants just
        set out, have rules of their own.
        """
        state.kept_back = None
        keeper = state.job.keeper
        if state.job.own_rule:
            return at
        full, pause_s = False, _pause_s(state)
        visits_left = self._limits.visits - self._visits.get(keeper, 0)
        # Each zone has its first turn before any has another.
        unturned = self._unturned[keeper] - {state.job.zone}
        kept = max(0, len(unturned) - visits_left * self._limits.turns)
        if state.slot == state.job.first_slot:
            kept = 0
        if self._in_visit(keeper, at, pause_s):
            if self._turns[keeper] + kept < self._limits.turns:
                return at
            full = True
            at = self._shut_s[keeper] + pause_s + MINUTE_S
        if visits_left > 0:
            return at
        state.kept_back = _turns_used(self._limits) if full else _visits_used(self._limits)
        return math.inf

    def in_order(
        self,
        asked: Sequence[JobState],
        now: float,
        ready: Callable[[JobState], float | None],
    ) -> list[JobState]:
        """These zones, with the hand valves among them in the order of the round.

        While a keeper's round goes on, no other keeper begins one.
        """
        hands = [state for state in asked if is_by_hand(state)]
        if len(hands) > 1:
            if self._keeper is not None and self._in_visit(self._keeper, now):
                ends_s = self._shut_s[self._keeper] + VISIT_PAUSE_S
                mine = [state for state in hands if state.job.keeper == self._keeper]
                if any((r := ready(state)) is not None and r <= ends_s for state in mine):
                    hands = mine
            if not self._by_urgency:
                hands = self._by_length(hands)
        found, following = [], iter(hands)
        for state in asked:
            if not is_by_hand(state):
                found.append(state)
            elif (turned := next(following, None)) is not None:
                found.append(turned)
        return found

    def _by_length(self, hands: Sequence[JobState]) -> list[JobState]:
        """The keepers in the order of their neediest zone, each one's longest way to go first."""
        first: dict[str, int] = {}
        for state in hands:
            first.setdefault(state.job.keeper, state.at)
        return sorted(
            hands,
            key=lambda state: (
                first[state.job.keeper],
                -round(chain_s(state, self._alone_l_s(state.job.zone)), 3),
                state.at,
            ),
        )


def _pause_s(state: JobState) -> float:
    """How long its keeper waits for this zone. [s]"""
    given_l = state.job.even_litres - state.left_l
    return NEEDY_PAUSE_S if given_l + _NEARLY < state.job.needed_litres else VISIT_PAUSE_S


def _visits_used(limits: HandLimits) -> Message:
    return Message("left.hand_visits", {"visits": limits.visits})


def _turns_used(limits: HandLimits) -> Message:
    return Message("left.hand_turns", {"turns": limits.turns})


def within_turns(
    states: Sequence[JobState], limits: HandLimits
) -> tuple[list[JobState], list[tuple[JobState, Message]]]:
    """The zones, neediest first, that have a turn in the day's visits, and the others."""
    fits: list[JobState] = []
    left_out: list[tuple[JobState, Message]] = []
    turns: Counter[str] = Counter()
    for state in states:
        if is_by_hand(state):
            if not state.job.own_rule and turns[state.job.keeper] >= limits.turns * limits.visits:
                left_out.append((state, _turns_used(limits)))
                continue
            turns[state.job.keeper] += 1
        fits.append(state)
    return fits, left_out
