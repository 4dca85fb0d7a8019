"""A morning played through: valves open and close one event at a time.

After each event the network is asked anew what every open zone gets. A valve that travels belongs
to the open set from the moment it is told to open until it is quite shut; its water is that of
pulse_length.py, at the flow of the set.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from heapq import heappop, heappush

from controller.errors import NoSolution
from controller.garden.plumbing import ValveKind
from controller.timetable.need.dose import Soaking
from controller.timetable.need.pulse_length import (
    filling_s,
    least_told_s,
    smallest_pulse_s,
    too_little,
    water_s,
)
from controller.timetable.packing.job import Flows, FlowsForeseen, Job, ceil_to, seconds_after
from controller.timetable.records import Pulse

WALK_S = 60.0  # between two hand valves; our choice
TINY_L = 1e-6
_TINY_S = 1e-9
_GRID_SLACK_S = 1e-6  # more than a moment may lie before what it was rounded up from
_TENTH = 10.0
# A set that has refused so many is asked which others it would, for about the price of five sets.
_FORESEE_AFTER = 1
_MOST_EVENTS = 200_000  # a day of this many is a mistake of ours, not a garden


@dataclass(slots=True, eq=False)
class Play:
    """A job while the morning is played."""

    job: Job
    soaking: Soaking  # the job's, with room in the basin for what runs out of the line
    left_l: float
    slot: int
    at: int = 0  # its place in the order of who goes first
    standing_mm: float = 0.0
    open_since_s: float | None = None  # told to open
    shut_at_s: float = 0.0  # quite shut, after its travel
    opening_s: float = 0.0  # of its opening, before its water counts
    fill_left_l: float = 0.0
    passed_l: float = 0.0
    target_l: float = 0.0
    too_little: str | None = None
    together: set[str] = field(default_factory=set)
    each_stretch_l: float = 0.0  # kept back for every stretch that has not begun
    # While it waits, dry and shut: the end of the stretch in which it may open at any moment of the
    # grid, or the moment from which on it may; and the open set that it could not join.
    may_until_s: float | None = None
    not_before_s: float = 0.0
    refused: frozenset[str] | None = None

    def waits_anew(self) -> None:
        """Nothing is known of when it may open."""
        self.may_until_s, self.not_before_s, self.refused = None, 0.0, None

    def shuts_in_s(self, now: float, flow_l_s: float) -> float:
        """When to tell it to shut, so that target and basin get no more than they want. [s]"""
        soaking, fill_s = self.soaking, self.fill_left_l / flow_l_s
        water_left_s = fill_s + min(
            self.target_l / flow_l_s, soaking.seconds_to_full(flow_l_s, self.standing_mm)
        )
        assert self.open_since_s is not None
        least_s = self.open_since_s + least_told_s(self.job.opens_in_s) - now
        return max(least_s, self.opening_s + water_left_s - self.job.closes_in_s / 2.0)

    def run(self, flow_l_s: float, seconds: float) -> None:
        """Let its water flow for so long; the first fills the line."""
        passed = flow_l_s * seconds
        filling = min(self.fill_left_l, passed)
        self.fill_left_l -= filling
        spread = passed - filling
        self.passed_l += passed
        self.target_l -= spread
        self.left_l -= spread
        self.standing_mm = self.soaking.standing_after(
            self.standing_mm, flow_l_s, spread / flow_l_s
        )


def _place(play: Play) -> int:
    return play.at


class _Waiting:
    """Relay zones that wait, dry and shut. One is asked anew only when something changes for it.

    `due` are those that may open at any second of the clock, in order of who goes first;
    `unsorted` those of which nothing is known yet.
    """

    def __init__(self, plays: Iterable[Play] = ()) -> None:
        self.unsorted = list(plays)
        self.due: list[Play] = []
        self._fresh: list[Play] = []  # of those due, what was not when the last set refused all
        self._refused_by: frozenset[str] | None = None
        self._all_due_until_s = math.inf  # so long, at least
        self._later: list[tuple[float, int, Play]] = []  # a heap, by when each may open

    def sort(
        self,
        now: float,
        grid_s: float,
        ready: Callable[[Play, float, float], float | None],
        least_s: Mapping[str, float],
    ) -> None:
        """Put each where it belongs now; `ready` and `least_s` are the morning's."""
        later, unsorted = self._later, self.unsorted
        while later and later[0][0] <= now:
            unsorted.append(heappop(later)[2])
        if grid_s > self._all_due_until_s:
            unsorted += self.due
            self.due, self._fresh, self._refused_by = [], [], None
            self._all_due_until_s = math.inf
        self.unsorted = []
        for play in unsorted:
            ready(play, now, grid_s)
            if play.may_until_s is not None:
                insort(self.due, play, key=_place)
                insort(self._fresh, play, key=_place)
                until_s = play.may_until_s - least_s[play.job.zone] - _GRID_SLACK_S
                self._all_due_until_s = min(self._all_due_until_s, until_s)
            elif play.not_before_s <= now:
                self.unsorted.append(play)
            elif play.not_before_s < math.inf:
                heappush(later, (play.not_before_s, play.at, play))

    def to_try(self, together: frozenset[str]) -> list[Play]:
        """Those due that this open set may not have refused."""
        return list(self._fresh if together == self._refused_by else self.due)

    def refused_by(self, together: frozenset[str]) -> None:
        """This open set has refused all that are due."""
        self._refused_by = together
        self._fresh = []

    def let_go(self, play: Play) -> None:
        """It opens: it is none of them."""
        for waiting in (self.due, self._fresh):
            at = bisect_left(waiting, play.at, key=_place)
            if waiting[at : at + 1] == [play]:
                del waiting[at]
        if play in self.unsorted:
            self.unsorted.remove(play)

    def next_s(self) -> float | None:
        """When the first of those that are not due may open; None for never."""
        return self._later[0][0] if self._later else None


class Morning:
    """The playing itself; times are seconds after `start`.

    An event asks only those zones whose water moves: what waits, dry and shut, waits on unasked.
    """

    def __init__(
        self,
        plays: Sequence[Play],
        flows: Flows,
        start: datetime,
        most_open: int,
        least_share: float,
        pulses: list[Pulse],
    ) -> None:
        # Those that are open, or may open again.
        self._plays, self._flows, self._start = list(plays), flows, start
        for at, play in enumerate(plays):
            play.at = at
        self._moving: list[Play] = []  # open, shutting, or with water standing; in the same order
        self._hands = [play for play in plays if play.job.valve is ValveKind.HAND]
        self._waiting = _Waiting(play for play in plays if play.job.valve is not ValveKind.HAND)
        self._most_open, self._pulses = most_open, pulses
        self._foreseen = flows if isinstance(flows, FlowsForeseen) else None
        self._least_share = least_share
        self._hand_free_s = 0.0
        # Of each zone alone: the flow it has and must keep, its dry holes; its shortest pulse, and
        # the travel back after it.
        self._alone = {
            play.job.zone: flows.flow_l_s(play.job.zone, frozenset((play.job.zone,)))
            for play in plays
        }
        self._least_l_s = {zone: least_share * alone for zone, alone in self._alone.items()}
        self._dry = {zone: flows.dry_holes(zone, frozenset((zone,))) for zone in self._alone}
        self._least_s = {
            play.job.zone: self._smallest_s(play, frozenset((play.job.zone,)))
            + play.job.closes_in_s
            for play in plays
        }
        self._spans = {
            play.job.zone: [
                (seconds_after(s.begins_utc, start), seconds_after(s.ends_utc, start))
                for s in play.job.stretches
            ]
            for play in plays
        }

    def play(self) -> None:
        """Until nothing more can open; the pulses are those handed over at the start."""
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
        """Let go of what is quite shut: for good, or until it may open again."""
        moving = []
        for play in self._moving:
            if play.open_since_s is not None or play.shut_at_s > now + _TINY_S:
                moving.append(play)
            elif play.left_l <= TINY_L or play.too_little is not None:
                self._plays.remove(play)
                if play.job.valve is ValveKind.HAND:
                    self._hands.remove(play)
            elif play.standing_mm > 0.0:
                moving.append(play)
            elif play.job.valve is not ValveKind.HAND:
                self._waiting.unsorted.append(play)
        self._moving = moving

    def _open_set(self, now: float) -> frozenset[str]:
        """All that is not quite shut."""
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
        due: list[Play] = []
        if grid_s == now:
            due = waiting.to_try(together)
        asked = sorted(due + others, key=_place) if others else due
        settled, refused = grid_s == now, 0
        hopeless: Callable[[str], bool] | None = None
        for play in asked:
            if play.refused == together or (
                play.may_until_s is None and self._ready(play, now, grid_s) != now
            ):
                continue
            if hopeless is not None and hopeless(play.job.zone):
                play.refused = together
                continue
            joined = together | {play.job.zone}
            if together and not self._all_fed(joined):
                play.refused = together
                refused += 1
                if refused == _FORESEE_AFTER and self._foreseen is not None:
                    hopeless = self._foreseen.refused_by(together, self._least_share)
                continue
            settled = False
            if together and not self._can_fill(play, now, joined):
                continue
            self._open(play, now, joined)
            together, refused, hopeless = joined, 0, None
            if len(together) >= self._most_open:
                break
        if settled:
            waiting.refused_by(together)

    def _others(self) -> list[Play]:
        """Those that are shut of which nothing is remembered: hand valves, and where water moves or
        stands."""
        found = [play for play in self._hands if play.open_since_s is None]
        found += self._waiting.unsorted
        found += (
            play
            for play in self._moving
            if play.open_since_s is None and play.job.valve is not ValveKind.HAND
        )
        return found

    def _grid_s(self, now: float) -> float:
        """The next whole second of the clock."""
        return ceil_to(now, 1.0, self._start)

    def _ready(self, play: Play, now: float, grid_s: float) -> float | None:
        """As `_ready_at`, remembered for what waits dry and shut."""
        if play.not_before_s > now:
            return play.not_before_s
        if play.may_until_s is not None and grid_s + self._least_s[play.job.zone] <= (
            play.may_until_s
        ):
            return grid_s
        ready = self._ready_at(play, now)
        waits = play.standing_mm == 0.0 and play.shut_at_s <= now and play.open_since_s is None
        if waits and play.job.valve is not ValveKind.HAND:
            play.may_until_s, play.not_before_s = None, 0.0
            if ready is None:
                play.not_before_s = math.inf
            elif ready == grid_s:
                play.may_until_s = self._stretch_ends_s(play, ready)
            elif ready > now:
                play.not_before_s = ready
        return ready

    def _ready_at(self, play: Play, now: float) -> float | None:
        """The earliest moment, now or later, at which this zone may open; None for never."""
        if play.open_since_s is not None or play.left_l <= TINY_L or play.too_little:
            return None
        job, at = play.job, max(now, play.shut_at_s)
        if play.standing_mm > 0.0:
            at = max(at, now + play.soaking.seconds_to_soak(play.standing_mm))
        hand = job.valve is ValveKind.HAND
        if hand:
            at = max(at, self._hand_free_s)
        least_s = self._least_s[job.zone]
        for begins, ends in self._spans[job.zone]:
            if max(at, begins) + least_s > ends + _GRID_SLACK_S:
                continue
            moment = ceil_to(max(at, begins), 60.0 if hand else 1.0, self._start)
            if moment + least_s <= ends and self._now_l(play, moment) > TINY_L:
                return moment
        return None

    def _now_l(self, play: Play, now: float) -> float:
        """What may still be given before the next stretch begins."""
        if not play.each_stretch_l:
            return play.left_l
        to_come = sum(begins > now for begins, _ in self._spans[play.job.zone])
        return play.left_l - to_come * play.each_stretch_l

    def _smallest_s(self, play: Play, together: frozenset[str]) -> float:
        """The shortest pulse of this zone at the flow it has in this set."""
        return smallest_pulse_s(
            line_litres=play.job.line_litres,
            flow_l_s=self._flows.flow_l_s(play.job.zone, together),
            shortest_pulse_s=play.job.shortest_pulse_s,
            opens_in_s=play.job.opens_in_s,
            closes_in_s=play.job.closes_in_s,
        )

    def _can_fill(self, play: Play, now: float, joined: frozenset[str]) -> bool:
        """Whether there is time for the smallest pulse at the flow of the set."""
        ends_s = self._stretch_ends_s(play, now)
        room_s = min(ends_s - play.job.closes_in_s - now, play.job.longest_open_s)
        return self._smallest_s(play, joined) <= room_s

    def _all_fed(self, joined: frozenset[str]) -> bool:
        for zone in joined:
            if self._flows.flow_l_s(zone, joined) < self._least_l_s[zone]:
                return False
            if self._flows.dry_holes(zone, joined) > self._dry[zone]:
                return False
        return self._flows.stays_open(joined) is None

    def _open(self, play: Play, now: float, joined: frozenset[str]) -> None:
        flow, job = self._flows.flow_l_s(play.job.zone, joined), play.job
        room_s = water_s(
            open_s=job.longest_open_s, opens_in_s=job.opens_in_s, closes_in_s=job.closes_in_s
        )
        room_l = room_s * flow - job.line_litres
        at_once_l = min(play.soaking.litres_at_once(flow), room_l)
        now_l = self._now_l(play, now)
        pulses = max(1, math.ceil(now_l / at_once_l - 1e-9))
        play.target_l = now_l / pulses
        play.open_since_s, play.passed_l = now, 0.0
        play.opening_s = job.opens_in_s / 2.0
        play.fill_left_l = job.line_litres
        play.standing_mm = 0.0
        play.waits_anew()
        if job.valve is ValveKind.HAND:
            self._hand_free_s = math.inf
        if play not in self._moving:
            insort(self._moving, play, key=_place)
            self._waiting.let_go(play)
        for other in self._moving:
            if other.open_since_s is not None:
                other.together |= joined - {other.job.zone}

    def _next_event(self, now: float) -> float | None:
        together, moments = self._open_set(now), []
        # While no more may be open, nothing can happen but that one shuts.
        full = len(together) >= self._most_open
        if not full:
            ready = self._next_ready(now)
            if ready is not None:
                moments.append(ready)
        for play in self._moving:
            if play.open_since_s is None:
                if play.shut_at_s > now + _TINY_S:
                    moments.append(play.shut_at_s)
                continue
            flow = self._flows.flow_l_s(play.job.zone, together)
            moments.append(now + play.shuts_in_s(now, flow))
            moments.append(self._must_shut_by(play))
        return min((m for m in moments if math.isfinite(m)), default=None)

    def _next_ready(self, now: float) -> float | None:
        """When the first of those that are shut may open, after now."""
        grid_s = self._grid_s(now)
        if self._waiting.due and grid_s > now:
            return grid_s  # none is earlier
        readies = [self._ready(play, now, grid_s) for play in self._others()]
        readies.append(self._waiting.next_s())
        return min((r for r in readies if r is not None and now < r < math.inf), default=None)

    def _must_shut_by(self, play: Play) -> float:
        assert play.open_since_s is not None
        ends_s = self._stretch_ends_s(play, play.open_since_s)
        return min(ends_s - play.job.closes_in_s, play.open_since_s + play.job.longest_open_s)

    def _stretch_ends_s(self, play: Play, moment: float) -> float:
        """When the stretch ends in which this zone may open at that moment."""
        return next(e for b, e in self._spans[play.job.zone] if b <= moment < e)

    def _let_pass(self, now: float, seconds: float) -> None:
        together = self._open_set(now)
        if seconds < 0.0:
            # The flow rose as another shut, and half of a slow valve's way back was all it still
            # had to give: it is told a moment before now. All that was known of now is asked anew.
            self._moving = list(self._plays)
            self._waiting = _Waiting()
            for play in self._plays:
                play.waits_anew()
        for play in self._moving:
            if play.open_since_s is None:
                play.standing_mm = play.soaking.standing_after(play.standing_mm, 0.0, seconds)
                if play.standing_mm < 1e-9:
                    play.standing_mm = 0.0
                continue
            dry_s = min(play.opening_s, seconds)
            play.opening_s -= dry_s
            play.run(self._flows.flow_l_s(play.job.zone, together), seconds - dry_s)

    def _close_what_must(self, now: float) -> None:
        together = self._open_set(now)
        for play in self._moving:
            if play.open_since_s is None:
                continue
            flow = self._flows.flow_l_s(play.job.zone, together)
            if play.shuts_in_s(now, flow) <= _TINY_S or now >= self._must_shut_by(play) - _TINY_S:
                self._close(play, now, flow)

    def _close(self, play: Play, now: float, flow: float) -> None:
        """Tell it to shut; what still passes on its way counts at once."""
        assert play.open_since_s is not None
        job, open_s = play.job, now - play.open_since_s
        play.run(flow, job.closes_in_s / 2.0)
        water = _water_s(job, open_s)
        # A tenth of a second is what a relay can be asked for; the litres follow the rounded time.
        # None is rounded into its opening travel, where a tenth would be much of the water.
        rounded = max(round(open_s * _TENTH) / _TENTH, least_told_s(job.opens_in_s))
        opens = self._start + timedelta(seconds=play.open_since_s)
        self._pulses.append(
            Pulse(
                zone=job.zone,
                day=job.day,
                slot=play.slot,
                opens_utc=opens,
                closes_utc=opens + timedelta(seconds=rounded),
                open_s=rounded,
                litres=play.passed_l * _water_s(job, rounded) / water if water > 0.0 else 0.0,
                valve=job.valve,
                relay_line=job.relay_line,
                together=tuple(sorted(play.together)),
                line_litres=job.line_litres - play.fill_left_l,
                uniformity=job.uniformity,
            )
        )
        run_out_l = job.line_litres - play.fill_left_l
        play.standing_mm += run_out_l / play.soaking.strip_m2
        play.slot += 1
        play.open_since_s, play.together = None, set()
        play.shut_at_s = now + job.closes_in_s
        alone_l_s = self._alone[job.zone]
        if play.left_l <= alone_l_s * 0.05:
            play.left_l = 0.0  # less than a twentieth of a second's water
        else:
            fill_s = filling_s(line_litres=job.line_litres, flow_l_s=alone_l_s)
            play.too_little = too_little(play.left_l, fill_s, alone_l_s, job.shortest_pulse_s)
        if job.valve is ValveKind.HAND:
            self._hand_free_s = now + WALK_S


def _water_s(job: Job, open_s: float) -> float:
    return water_s(open_s=open_s, opens_in_s=job.opens_in_s, closes_in_s=job.closes_in_s)
