"""Event simulation of one day's watering.

After each event the network gives the flow of every open zone. A slow valve belongs to the open set
from the command to open until it is completely shut; its water is that of pulse_length.py, at the
flow of the set.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from heapq import heappop, heappush

from controller.errors import NoSolution
from controller.garden.plumbing import ValveKind
from controller.messages import Message
from controller.timetable.need.pulse_length import (
    filling_s,
    least_open_s,
    smallest_pulse_s,
    too_little,
    water_s,
)
from controller.timetable.packing.by_hand import (
    MINUTE_S,
    NO_LIMITS,
    HandLimits,
    HandRounds,
    least_minutes,
    most_minutes,
    pulses_of,
    water_of_minutes_l,
)
from controller.timetable.packing.job import (
    Flows,
    FlowsForeseen,
    Job,
    JobState,
    ceil_to,
    seconds_after,
)
from controller.timetable.records import Pulse

WALK_S = 60.0  # between two hand valves; our choice
TINY_L = 1e-6
_TINY_S = 1e-9
_GRID_SLACK_S = 1e-6  # more than the time by which rounding may move an event
_TENTH = 10.0
# A set that refused so many zones is tested against all others, at the cost of about five sets.
_FORESEE_AFTER = 1
_MOST_EVENTS = 200_000  # a day with more events is an error of ours, not a garden


def _place(state: JobState) -> int:
    return state.at


class _Waiting:
    """Relay zones that wait, dry and shut. A zone is tested again only when its state changes.

    `due` are those that may open at any second of the clock, in their order; `unsorted` are those
    that have not been tested yet.
    """

    def __init__(self, states: Iterable[JobState] = ()) -> None:
        self.unsorted = list(states)
        self.due: list[JobState] = []
        self._fresh: list[JobState] = []  # those that became due after the last set refused all
        self._refused_by: frozenset[str] | None = None
        self._all_due_until_s = math.inf  # so long, at least
        self._later: list[tuple[float, int, JobState]] = []  # a heap, by the time of opening

    def sort(
        self,
        now: float,
        grid_s: float,
        ready: Callable[[JobState, float, float], float | None],
        least_s: Mapping[str, float],
    ) -> None:
        """Sort each by its state now; `ready` and `least_s` are functions of the simulation."""
        later, unsorted = self._later, self.unsorted
        while later and later[0][0] <= now:
            unsorted.append(heappop(later)[2])
        if grid_s > self._all_due_until_s:
            unsorted += self.due
            self.due, self._fresh, self._refused_by = [], [], None
            self._all_due_until_s = math.inf
        self.unsorted = []
        for state in unsorted:
            ready(state, now, grid_s)
            if state.may_until_s is not None:
                insort(self.due, state, key=_place)
                insort(self._fresh, state, key=_place)
                until_s = state.may_until_s - least_s[state.job.zone] - _GRID_SLACK_S
                self._all_due_until_s = min(self._all_due_until_s, until_s)
            elif state.not_before_s <= now:
                self.unsorted.append(state)
            elif state.not_before_s < math.inf:
                heappush(later, (state.not_before_s, state.at, state))

    def to_try(self, together: frozenset[str]) -> list[JobState]:
        """Due zones that this open set has not refused."""
        return list(self._fresh if together == self._refused_by else self.due)

    def refused_by(self, together: frozenset[str]) -> None:
        """Note that this open set has refused all due zones."""
        self._refused_by = together
        self._fresh = []

    def let_go(self, state: JobState) -> None:
        """Remove a zone that opens."""
        for waiting in (self.due, self._fresh):
            at = bisect_left(waiting, state.at, key=_place)
            if waiting[at : at + 1] == [state]:
                del waiting[at]
        if state in self.unsorted:
            self.unsorted.remove(state)

    def next_s(self) -> float | None:
        """Time at which the first of the others may open; None for never."""
        return self._later[0][0] if self._later else None


class DaySimulation:
    """The simulation; times are seconds after `start`.

    An event tests only zones whose water moves. Zones that wait, dry and shut, are not tested.
    """

    def __init__(
        self,
        states: Sequence[JobState],
        flows: Flows,
        start: datetime,
        most_open: int,
        least_share: float,
        pulses: list[Pulse],
        limits: HandLimits = NO_LIMITS,
        *,
        by_urgency: bool = False,
    ) -> None:
        # Zones that are open, or may open again.
        self._states, self._flows, self._start = list(states), flows, start
        for at, state in enumerate(states):
            state.at = at
        # Open, shutting, or with standing water; in the same order.
        self._moving: list[JobState] = []
        self._hands = [state for state in states if state.job.valve is ValveKind.HAND]
        self._waiting = _Waiting(state for state in states if state.job.valve is not ValveKind.HAND)
        self._most_open, self._pulses = most_open, pulses
        self._foreseen = flows if isinstance(flows, FlowsForeseen) else None
        self._least_share = least_share
        self._hand_free_s = 0.0
        self._rounds = HandRounds(limits, self._alone_l_s, self._hands, by_urgency=by_urgency)
        # Of each zone alone: the flow it has and must keep, its dry holes; its shortest pulse, and
        # its closing travel.
        self._alone = {
            state.job.zone: flows.flow_l_s(state.job.zone, frozenset((state.job.zone,)))
            for state in states
        }
        self._least_l_s = {zone: least_share * alone for zone, alone in self._alone.items()}
        self._dry = {zone: flows.dry_holes(zone, frozenset((zone,))) for zone in self._alone}
        self._least_s = {
            state.job.zone: self._smallest_s(state, frozenset((state.job.zone,)))
            + state.job.closes_in_s
            for state in states
        }
        self._spans = {
            state.job.zone: [
                (seconds_after(s.begins_utc, start), seconds_after(s.ends_utc, start))
                for s in state.job.stretches
            ]
            for state in states
        }

    def _alone_l_s(self, zone: str) -> float:
        return self._alone[zone]

    def run(self) -> None:
        """Run until nothing more can open; the pulses go to the list given at the start."""
        now = 0.0
        for _ in range(_MOST_EVENTS):
            self._open_what_may(now)
            following = self._next_event(now)
            if following is None:
                return
            self._let_pass(now, following - now)
            now = following
            self._close_what_must(now)
            self._put_to_rest(now)
        raise NoSolution("a day's valve events", 0, _MOST_EVENTS, len(self._open_set(now)))

    def _put_to_rest(self, now: float) -> None:
        """Remove completely shut zones from the open set, for good or until they open again."""
        moving = []
        for state in self._moving:
            if state.open_since_s is not None or state.shut_at_s > now + _TINY_S:
                moving.append(state)
            elif state.left_l <= TINY_L or state.too_little is not None:
                self._states.remove(state)
                if state.job.valve is ValveKind.HAND:
                    self._hands.remove(state)
            elif state.standing_mm > 0.0:
                moving.append(state)
            elif state.job.valve is not ValveKind.HAND:
                self._waiting.unsorted.append(state)
        self._moving = moving

    def _open_set(self, now: float) -> frozenset[str]:
        """All zones that are not completely shut."""
        return frozenset(
            p.job.zone
            for p in self._moving
            if p.open_since_s is not None or p.shut_at_s > now + _TINY_S
        )

    def _open_what_may(self, now: float) -> None:
        together = self._open_set(now)
        if len(together) >= self._most_open:
            return
        grid_s, waiting = self._grid_s(now), self._waiting
        waiting.sort(now, grid_s, self._ready, self._least_s)
        others = self._others()
        due: list[JobState] = []
        if grid_s == now:
            due = waiting.to_try(together)
        asked = sorted(due + others, key=_place) if others else due
        if self._hands:
            asked = self._rounds.in_order(asked, now, lambda s: self._ready(s, now, grid_s))
        settled, refused = grid_s == now, 0
        hopeless: Callable[[str], bool] | None = None
        for state in asked:
            if state.refused == together or (
                state.may_until_s is None and self._ready(state, now, grid_s) != now
            ):
                continue
            if hopeless is not None and hopeless(state.job.zone):
                state.refused = together
                continue
            joined = together | {state.job.zone}
            if together and not self._all_fed(joined):
                state.refused = together
                refused += 1
                if refused == _FORESEE_AFTER and self._foreseen is not None:
                    hopeless = self._foreseen.refused_by(together, self._least_share)
                continue
            settled = False
            if together and not self._can_fill(state, now, joined):
                continue
            self._open(state, now, joined)
            together, refused, hopeless = joined, 0, None
            if len(together) >= self._most_open:
                break
        if settled:
            waiting.refused_by(together)

    def _others(self) -> list[JobState]:
        """Those that are shut of which nothing is remembered: hand valves, and where water moves or
        stands."""
        found = [state for state in self._hands if state.open_since_s is None]
        found += self._waiting.unsorted
        found += (
            state
            for state in self._moving
            if state.open_since_s is None and state.job.valve is not ValveKind.HAND
        )
        return found

    def _grid_s(self, now: float) -> float:
        """The next whole second of the clock."""
        return ceil_to(now, 1.0, self._start)

    def _ready(self, state: JobState, now: float, grid_s: float) -> float | None:
        """As `_ready_at`, cached for zones that wait dry and shut."""
        if state.not_before_s > now:
            return state.not_before_s
        if state.may_until_s is not None and grid_s + self._least_s[state.job.zone] <= (
            state.may_until_s
        ):
            return grid_s
        ready = self._ready_at(state, now)
        waits = state.standing_mm == 0.0 and state.shut_at_s <= now and state.open_since_s is None
        if waits and state.job.valve is not ValveKind.HAND:
            state.may_until_s, state.not_before_s = None, 0.0
            if ready is None:
                state.not_before_s = math.inf
            elif ready == grid_s:
                state.may_until_s = self._stretch_ends_s(state, ready)
            elif ready > now:
                state.not_before_s = ready
        return ready

    def _ready_at(self, state: JobState, now: float) -> float | None:
        """The earliest time, now or later, at which this zone may open; None for never."""
        if state.open_since_s is not None or state.left_l <= TINY_L or state.too_little:
            return None
        job, at = state.job, max(now, state.shut_at_s)
        if state.standing_mm > 0.0:
            at = max(at, now + state.soaking.seconds_to_soak(state.standing_mm))
        hand = job.valve is ValveKind.HAND
        if hand:
            at = max(at, self._hand_free_s)
            if self._at_its_cap(state):
                return None
        least_s = self._least_s[job.zone]
        for begins, ends in self._spans[job.zone]:
            if max(at, begins) + least_s > ends + _GRID_SLACK_S:
                continue
            moment = ceil_to(max(at, begins), MINUTE_S if hand else 1.0, self._start)
            if hand:
                moment = ceil_to(self._rounds.may_from(state, moment), MINUTE_S, self._start)
            if moment + least_s <= ends and self._now_l(state, moment) > self._worth_l(state):
                return moment
        return None

    def _at_its_cap(self, state: JobState) -> bool:
        """Whether its daily cap has no room for a minute more."""
        job, alone = state.job, self._alone[state.job.zone]
        if most_minutes(state, alone) >= least_minutes(job, alone):
            return False
        state.kept_back = Message("left.over_cap")
        return True

    def _worth_l(self, state: JobState) -> float:
        """A pulse begins for more than this. By hand, half a minute's water after the first. [L]"""
        if state.job.valve is not ValveKind.HAND or state.slot == state.job.first_slot:
            return TINY_L
        return self._alone[state.job.zone] * MINUTE_S / 2.0

    def _now_l(self, state: JobState, now: float) -> float:
        """Water that may still be given before the next stretch begins. [L]"""
        if not state.each_stretch_l:
            return state.left_l
        to_come = sum(begins > now for begins, _ in self._spans[state.job.zone])
        return state.left_l - to_come * state.each_stretch_l

    def _smallest_s(self, state: JobState, together: frozenset[str]) -> float:
        """The shortest pulse of this zone at its flow in this set. [s]"""
        flow = self._flows.flow_l_s(state.job.zone, together)
        if state.job.valve is ValveKind.HAND:
            return least_minutes(state.job, flow) * MINUTE_S if flow > TINY_L else math.inf
        return smallest_pulse_s(
            line_litres=state.job.line_litres,
            flow_l_s=flow,
            shortest_pulse_s=state.job.shortest_pulse_s,
            opens_in_s=state.job.opens_in_s,
            closes_in_s=state.job.closes_in_s,
        )

    def _can_fill(self, state: JobState, now: float, joined: frozenset[str]) -> bool:
        """Whether there is time for the smallest pulse at the flow of the set."""
        ends_s = self._stretch_ends_s(state, now)
        room_s = min(ends_s - state.job.closes_in_s - now, state.job.longest_open_s)
        return self._smallest_s(state, joined) <= room_s

    def _all_fed(self, joined: frozenset[str]) -> bool:
        for zone in joined:
            if self._flows.flow_l_s(zone, joined) < self._least_l_s[zone]:
                return False
            if self._flows.dry_holes(zone, joined) > self._dry[zone]:
                return False
        return self._flows.stays_open(joined) is None

    def _open(self, state: JobState, now: float, joined: frozenset[str]) -> None:
        flow, job = self._flows.flow_l_s(state.job.zone, joined), state.job
        room_s = water_s(
            open_s=job.longest_open_s, opens_in_s=job.opens_in_s, closes_in_s=job.closes_in_s
        )
        room_l = room_s * flow - job.line_litres
        at_once_l = min(state.soaking.litres_at_once(flow), room_l)
        now_l = self._now_l(state, now)
        if job.valve is ValveKind.HAND:
            to_end_s = self._stretch_ends_s(state, now) - job.closes_in_s - now
            state.least_min = least_minutes(job, flow)
            state.most_min = most_minutes(state, flow, room_s=to_end_s)
            minutes, _ = pulses_of(state, now_l, flow)
            state.target_l = water_of_minutes_l(job, min(minutes, state.most_min), flow)
        else:
            pulses = max(1, math.ceil(now_l / at_once_l - 1e-9))
            state.target_l = now_l / pulses
        state.open_since_s, state.passed_l = now, 0.0
        state.opening_s = job.opens_in_s / 2.0
        state.fill_left_l = job.line_litres
        state.standing_mm = 0.0
        state.waits_anew()
        if job.valve is ValveKind.HAND:
            self._hand_free_s = math.inf
            self._rounds.opens(state, now)
        if state not in self._moving:
            insort(self._moving, state, key=_place)
            self._waiting.let_go(state)
        for other in self._moving:
            if other.open_since_s is not None:
                other.together |= joined - {other.job.zone}

    def _next_event(self, now: float) -> float | None:
        together, moments = self._open_set(now), []
        # While no more zones may open, the next event is that one shuts.
        full = len(together) >= self._most_open
        if not full:
            ready = self._next_ready(now)
            if ready is not None:
                moments.append(ready)
        for state in self._moving:
            if state.open_since_s is None:
                if state.shut_at_s > now + _TINY_S:
                    moments.append(state.shut_at_s)
                continue
            flow = self._flows.flow_l_s(state.job.zone, together)
            moments.append(now + state.shuts_in_s(now, flow))
            moments.append(self._must_shut_by(state))
        return min((m for m in moments if math.isfinite(m)), default=None)

    def _next_ready(self, now: float) -> float | None:
        """Time after now at which the first shut zone may open."""
        grid_s = self._grid_s(now)
        if self._waiting.due and grid_s > now:
            return grid_s  # none is earlier
        readies = [self._ready(state, now, grid_s) for state in self._others()]
        readies.append(self._waiting.next_s())
        return min((r for r in readies if r is not None and now < r < math.inf), default=None)

    def _must_shut_by(self, state: JobState) -> float:
        assert state.open_since_s is not None
        ends_s = self._stretch_ends_s(state, state.open_since_s)
        return min(ends_s - state.job.closes_in_s, state.open_since_s + state.job.longest_open_s)

    def _stretch_ends_s(self, state: JobState, moment: float) -> float:
        """When the stretch ends in which this zone may open at that moment."""
        return next(e for b, e in self._spans[state.job.zone] if b <= moment < e)

    def _let_pass(self, now: float, seconds: float) -> None:
        together = self._open_set(now)
        if seconds < 0.0:
            # The flow rose as another shut, and half of a slow valve's way back was all it still
            # had to give: its command to shut lies before now. All tests of now are repeated.
            self._moving = list(self._states)
            self._waiting = _Waiting()
            for state in self._states:
                state.waits_anew()
        for state in self._moving:
            if state.open_since_s is None:
                state.standing_mm = state.soaking.standing_after(state.standing_mm, 0.0, seconds)
                if state.standing_mm < 1e-9:
                    state.standing_mm = 0.0
                continue
            dry_s = min(state.opening_s, seconds)
            state.opening_s -= dry_s
            state.run(self._flows.flow_l_s(state.job.zone, together), seconds - dry_s)

    def _close_what_must(self, now: float) -> None:
        together = self._open_set(now)
        for state in self._moving:
            if state.open_since_s is None:
                continue
            flow = self._flows.flow_l_s(state.job.zone, together)
            if state.shuts_in_s(now, flow) <= _TINY_S or now >= self._must_shut_by(state) - _TINY_S:
                self._close(state, now, flow)

    def _close(self, state: JobState, now: float, flow: float) -> None:
        """Give the command to shut; the water of its closing travel counts at once."""
        assert state.open_since_s is not None
        job, open_s = state.job, now - state.open_since_s
        state.run(flow, job.closes_in_s / 2.0)
        water = _water_s(job, open_s)
        # The step of a relay is a tenth of a second; the litres are those of the rounded time.
        # No time is rounded below the opening travel: there a step is a large part of the water.
        rounded = max(round(open_s * _TENTH) / _TENTH, least_open_s(job.opens_in_s))
        opens = self._start + timedelta(seconds=state.open_since_s)
        self._pulses.append(
            Pulse(
                zone=job.zone,
                day=job.day,
                slot=state.slot,
                opens_utc=opens,
                closes_utc=opens + timedelta(seconds=rounded),
                open_s=rounded,
                litres=state.passed_l * _water_s(job, rounded) / water if water > 0.0 else 0.0,
                valve=job.valve,
                relay_line=job.relay_line,
                together=tuple(sorted(state.together)),
                line_litres=job.line_litres - state.fill_left_l,
                uniformity=job.uniformity,
                visit=state.visit,
            )
        )
        run_out_l = job.line_litres - state.fill_left_l
        state.standing_mm += run_out_l / state.soaking.strip_m2
        state.slot += 1
        state.open_since_s, state.together = None, set()
        state.shut_at_s = now + job.closes_in_s
        alone_l_s = self._alone[job.zone]
        # Less than half the step of its timing: a tenth of a second, or a minute by hand.
        least_s = MINUTE_S / 2.0 if job.valve is ValveKind.HAND else 0.05
        if state.left_l <= alone_l_s * least_s:
            state.left_l = 0.0
        else:
            fill_s = filling_s(line_litres=job.line_litres, flow_l_s=alone_l_s)
            state.too_little = too_little(state.left_l, fill_s, alone_l_s, job.shortest_pulse_s)
        if job.valve is ValveKind.HAND:
            self._hand_free_s = now + WALK_S
            self._rounds.shuts(state, now)


def _water_s(job: Job, open_s: float) -> float:
    return water_s(open_s=open_s, opens_in_s=job.opens_in_s, closes_in_s=job.closes_in_s)
