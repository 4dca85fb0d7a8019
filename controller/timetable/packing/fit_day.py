"""Packing of a day's doses into its windows, within what the supply can feed.

The day is simulated event by event: a valve opens or closes, and then the network gives the flow of
every open zone. So a zone's flow is always that of the open set, never that of the zone alone.
Nothing is random: the same jobs give the same pulses.

The zone with the highest depletion over its readily available water goes first. A zone joins the
open set only if each zone of the set keeps its stated share of its flow alone, and no more holes
are dry. Hand valves are turned one at a time, on whole minutes, with a minute to walk between them,
in rounds (by_hand.py); if the windows are too short for that, the neediest goes first there, too.
A pulse begins only if it can fill its line at the flow of the set, and water after that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from controller.garden.plumbing import ValveKind
from controller.messages import Message
from controller.timetable.need.pulse_length import filling_s, too_little, why_too_short
from controller.timetable.packing.by_hand import (
    MINUTE_S,
    NO_LIMITS,
    HandLimits,
    least_minutes,
    most_minutes,
    within_turns,
)
from controller.timetable.packing.day_simulation import TINY_L, WALK_S, DaySimulation
from controller.timetable.packing.job import Flows, Job, JobState, whole_second
from controller.timetable.records import NotFitted, Pulse

__all__ = ["WALK_S", "Flows", "Job", "Packed", "pack"]

NO_WINDOW = Message("left.no_window")
WINDOWS_CLOSED = Message("left.windows_closed")
# Zones that are equally urgent to so many digits go by name: rounding errors of their accounts must
# not decide, nor flows that are known to a part in ten million.
_URGENCY_DIGITS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """The pulses of a day, and the water that did not fit."""

    pulses: tuple[Pulse, ...]
    not_fitted: tuple[NotFitted, ...]


@dataclass(frozen=True, slots=True)
class GivenOnDay:
    """Total of a zone's pulses on a day."""

    litres: float
    stored_litres: float  # of them, those credited to the account of the driest quarter


NOTHING_ON_DAY = GivenOnDay(0.0, 0.0)


def given_on_day(packed: Packed) -> dict[str, GivenOnDay]:
    """Total of each zone's pulses on one day."""
    pulses: dict[str, list[Pulse]] = {}
    for pulse in packed.pulses:
        pulses.setdefault(pulse.zone, []).append(pulse)
    return {
        zone: GivenOnDay(sum(p.litres for p in mine), sum(p.stored_litres or 0.0 for p in mine))
        for zone, mine in pulses.items()
    }


class DaysGone:
    """A cache of past days' own timetables, valid as long as their jobs are the same.

    A daemon plans several times a day on an account of months. The cache of one day is small.
    """

    def __init__(self) -> None:
        self._days: dict[date, tuple[int, dict[str, GivenOnDay]]] = {}
        self._network: object = None

    def given(
        self,
        day: date,
        jobs: Sequence[Job],
        flows: Flows,
        *,
        network: object,
        most_open: int,
        least_share: float,
        by_hand: HandLimits = NO_LIMITS,
    ) -> dict[str, GivenOnDay]:
        """Total of each zone's pulses on that day; `flows` are those of `network`."""
        if network is not self._network:
            self._days, self._network = {}, network
        packed_from = hash((most_open, least_share, by_hand, tuple(jobs)))
        cached = self._days.get(day)
        if cached is None or cached[0] != packed_from:
            packed = pack(
                jobs, flows, most_open=most_open, least_share=least_share, by_hand=by_hand
            )
            cached = self._days[day] = (packed_from, given_on_day(packed))
        return cached[1]


def pack(
    jobs: Sequence[Job],
    flows: Flows,
    *,
    most_open: int,
    least_share: float,
    by_hand: HandLimits = NO_LIMITS,
) -> Packed:
    """Simulate the day and return its pulses in order of opening.

    A dose that would run, in a full line, shorter than its valve's shortest pulse waits for another
    day. Water that does not fit into the cap, the windows or the supply is returned with its
    reason. `by_hand` limits the visits of a day, and the turns of a visit.
    """
    in_rounds = _packed(jobs, flows, most_open, least_share, by_hand, by_urgency=False)
    hands = {job.zone for job in jobs if job.valve is ValveKind.HAND}
    if any(left.zone in hands and left.reason == WINDOWS_CLOSED for left in in_rounds.not_fitted):
        return _packed(jobs, flows, most_open, least_share, by_hand, by_urgency=True)
    return in_rounds


def _packed(
    jobs: Sequence[Job],
    flows: Flows,
    most_open: int,
    least_share: float,
    limits: HandLimits,
    *,
    by_urgency: bool,
) -> Packed:
    not_fitted: list[NotFitted] = []
    states: list[JobState] = []
    for job in sorted(jobs, key=lambda j: (-round(j.urgency, _URGENCY_DIGITS), j.zone)):
        state = _admit(job, flows, not_fitted)
        if state is not None:
            states.append(state)
    states, left_out = within_turns(states, limits)
    not_fitted += (_left_over(state.job, state.left_l, reason) for state, reason in left_out)
    pulses: list[Pulse] = []
    if states:
        start = whole_second(min(s.begins_utc for p in states for s in p.job.stretches))
        DaySimulation(
            states, flows, start, most_open, least_share, pulses, limits, by_urgency=by_urgency
        ).run()
        for state in states:
            if state.left_l > TINY_L:
                reason = state.too_little or state.kept_back or WINDOWS_CLOSED
                not_fitted.append(_left_over(state.job, state.left_l, reason))
    pulses.sort(key=lambda p: (p.opens_utc, p.zone))
    return Packed(pulses=tuple(pulses), not_fitted=tuple(not_fitted))


def _admit(job: Job, flows: Flows, not_fitted: list[NotFitted]) -> JobState | None:
    """Refuse a job that is impossible on this day, and cut one at its daily cap."""
    if not job.stretches:
        reason = job.held or NO_WINDOW
        not_fitted.append(_left_over(job, job.even_litres, reason))
        return None
    alone = flows.flow_l_s(job.zone, frozenset((job.zone,)))
    if alone <= TINY_L:
        not_fitted.append(_left_over(job, job.even_litres, Message("left.no_supply")))
        return None
    stays_open = flows.stays_open(frozenset((job.zone,)))
    if stays_open is not None:
        reason = Message("left.stays_open", {"doubt": stays_open})
        not_fitted.append(_left_over(job, job.even_litres, reason))
        return None
    due_litres = job.even_litres
    if due_litres + job.line_litres > job.cap_litres:
        fits = max(0.0, job.cap_litres - job.line_litres)
        not_fitted.append(_left_over(job, due_litres - fits, Message("left.over_cap")))
        due_litres = fits
    if due_litres <= TINY_L:
        return None
    hand = job.valve is ValveKind.HAND
    fill_s = filling_s(line_litres=job.line_litres, flow_l_s=alone)
    shortest_s = job.shortest_pulse_s
    if hand:  # a minute at least, with the line filled
        shortest_s = max(shortest_s, MINUTE_S - fill_s)
    refused = why_too_short(
        even_litres=math.inf if hand else due_litres,
        line_litres=job.line_litres,
        flow_l_s=alone,
        shortest_pulse_s=shortest_s,
        longest_open_s=job.longest_open_s,
        opens_in_s=job.opens_in_s,
        closes_in_s=job.closes_in_s,
        longest_window_s=max((s.ends_utc - s.begins_utc).total_seconds() for s in job.stretches),
    )
    if hand and refused is None:
        refused = _too_little_by_hand(job, due_litres, alone, fill_s)
    if refused is not None:
        not_fitted.append(_left_over(job, due_litres, refused))
        return None
    # What runs out of the line after a pulse needs room in the basin, too: half of it at most.
    basin_mm = job.soaking.basin_mm
    room_mm = max(0.5 * basin_mm, basin_mm - job.line_litres / job.soaking.strip_m2)
    reserved_l = due_litres / len(job.stretches) if job.spread else 0.0
    state = JobState(
        job=job,
        soaking=replace(job.soaking, basin_mm=room_mm),
        left_l=due_litres,
        slot=job.first_slot,
        each_stretch_l=reserved_l,
    )
    if hand and most_minutes(state, alone) < least_minutes(job, alone):
        not_fitted.append(_left_over(job, due_litres, Message("left.over_cap")))
        return None
    return state


def _too_little_by_hand(
    job: Job, due_litres: float, flow_l_s: float, fill_s: float
) -> Message | None:
    """Why a dose is too small to turn a valve for; None if it is large enough.

    A dose under half a minute waits, unless its crop would run short: then a minute is given.
    """
    takes_s = fill_s + due_litres / flow_l_s
    if takes_s < MINUTE_S / 2.0 and job.needed_litres <= 0.0:
        return Message("left.under_half_a_minute")
    return too_little(due_litres, fill_s, flow_l_s, job.shortest_pulse_s)


def _left_over(job: Job, litres: float, reason: Message) -> NotFitted:
    return NotFitted(zone=job.zone, day=job.day, litres=litres, reason=reason)
