"""Fit the day's doses into what the windows allow and the supply can feed.

A morning is played through: valves open and close one event at a time, and after each event the
network is asked anew what every open zone gets. A zone's flow thus is always that of the set open
together, never that of the zone alone. Nothing here is random; the same jobs give the same pulses.

Who goes first: the zone that has used up most of what it may. A zone joins those already open only
if each of them keeps its stated share of the flow it has alone and no hole falls dry by it.
Hand valves are turned one at a time, on whole minutes, with a minute to walk between them.
No pulse is opened that could not fill its line, at the flow of the set, and water after that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from controller.errors import NoSolution
from controller.garden.model import ValveKind
from controller.timetable.job import Flows, Job
from controller.timetable.moments import ceil_to, seconds_after, whole_second
from controller.timetable.records import NotFitted, Pulse
from controller.timetable.smallest import filling_s, smallest_pulse_s, too_little, why_too_short

__all__ = ["WALK_S", "Flows", "Job", "Packed", "pack"]

WALK_S = 60.0  # between two hand valves; our choice
_TINY_L = 1e-6
_TENTH = 10.0
_MOST_EVENTS = 200_000  # a day of this many is a mistake of ours, not a garden


@dataclass(slots=True)
class _Play:
    """A job while the morning is played."""

    job: Job
    left_l: float
    slot: int
    standing_mm: float = 0.0
    open_since_s: float | None = None
    fill_left_l: float = 0.0
    passed_l: float = 0.0
    target_l: float = 0.0
    too_little: str | None = None
    together: set[str] = field(default_factory=set)
    each_stretch_l: float = 0.0  # kept back for every stretch that has not begun


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """What found a place, and what did not."""

    pulses: tuple[Pulse, ...]
    not_fitted: tuple[NotFitted, ...]


def pack(
    jobs: Sequence[Job],
    flows: Flows,
    *,
    most_open: int,
    least_share: float,
) -> Packed:
    """Play the day through and return its pulses in order of opening.

    A dose that, its line once full, would run shorter than its valve's shortest pulse waits for
    another day. What the cap, the windows or the
    supply leave over is returned with its reason.
    """
    not_fitted: list[NotFitted] = []
    plays: list[_Play] = []
    for job in sorted(jobs, key=lambda j: (-j.urgency, j.zone)):
        play = _admit(job, flows, not_fitted)
        if play is not None:
            plays.append(play)
    pulses: list[Pulse] = []
    if plays:
        start = whole_second(min(s.begins_utc for p in plays for s in p.job.stretches))
        _Morning(plays, flows, start, most_open, least_share, pulses).play()
        for play in plays:
            if play.left_l > _TINY_L:
                reason = play.too_little or "the windows closed first"
                not_fitted.append(_left_over(play.job, play.left_l, reason))
    pulses.sort(key=lambda p: (p.opens_utc, p.zone))
    return Packed(pulses=tuple(pulses), not_fitted=tuple(not_fitted))


def _admit(job: Job, flows: Flows, not_fitted: list[NotFitted]) -> _Play | None:
    """Refuse what cannot be given at all, and cut what the daily cap does not leave."""
    if not job.stretches:
        held = job.hold_reason
        reason = "no window on this day" if held is None else f"held: {held or 'no reason given'}"
        not_fitted.append(_left_over(job, job.even_litres, reason))
        return None
    alone = flows.flow_l_s(job.zone, frozenset((job.zone,)))
    if alone <= _TINY_L:
        not_fitted.append(_left_over(job, job.even_litres, "the supply does not reach this zone"))
        return None
    stays_open = flows.stays_open(frozenset((job.zone,)))
    if stays_open is not None:
        not_fitted.append(_left_over(job, job.even_litres, f"even alone, {stays_open}"))
        return None
    wanted = job.even_litres
    if wanted + job.line_litres > job.cap_litres:
        fits = max(0.0, job.cap_litres - job.line_litres)
        not_fitted.append(_left_over(job, wanted - fits, "the zone's daily cap"))
        wanted = fits
    if wanted <= _TINY_L:
        return None
    refused = why_too_short(
        even_litres=wanted,
        line_litres=job.line_litres,
        flow_l_s=alone,
        shortest_pulse_s=job.shortest_pulse_s,
        longest_open_s=job.longest_open_s,
        longest_window_s=max((s.ends_utc - s.begins_utc).total_seconds() for s in job.stretches),
    )
    if refused is not None:
        not_fitted.append(_left_over(job, wanted, refused))
        return None
    # What runs out of the line after a pulse wants room in the basin, too; half of it at most.
    basin_mm = job.soaking.basin_mm
    room_mm = max(0.5 * basin_mm, basin_mm - job.line_litres / job.soaking.strip_m2)
    job = replace(job, soaking=replace(job.soaking, basin_mm=room_mm))
    kept = wanted / len(job.stretches) if job.spread else 0.0
    return _Play(job=job, left_l=wanted, slot=job.first_slot, each_stretch_l=kept)


def _left_over(job: Job, litres: float, reason: str) -> NotFitted:
    return NotFitted(zone=job.zone, day=job.day, litres=litres, reason=reason)


class _Morning:
    """The playing itself; times are seconds after `start`."""

    def __init__(
        self,
        plays: Sequence[_Play],
        flows: Flows,
        start: datetime,
        most_open: int,
        least_share: float,
        pulses: list[Pulse],
    ) -> None:
        self._plays, self._flows, self._start = plays, flows, start
        self._most_open, self._least_share, self._pulses = most_open, least_share, pulses
        self._hand_free_s = 0.0
        self._spans = {
            play.job.zone: [
                (seconds_after(s.begins_utc, start), seconds_after(s.ends_utc, start))
                for s in play.job.stretches
            ]
            for play in plays
        }

    def play(self) -> None:
        now = 0.0
        for _ in range(_MOST_EVENTS):
            self._open_what_may(now)
            following = self._next_event(now)
            if following is None:
                return
            self._let_pass(following - now)
            now = following
            self._close_what_must(now)
        raise NoSolution("a day's valve events", 0, _MOST_EVENTS, len(self._open_set()))

    def _open_set(self) -> frozenset[str]:
        return frozenset(p.job.zone for p in self._plays if p.open_since_s is not None)

    def _open_what_may(self, now: float) -> None:
        for play in self._plays:
            together = self._open_set()
            if len(together) >= self._most_open or self._ready_at(play, now) != now:
                continue
            joined = together | {play.job.zone}
            if together and not (self._all_fed(joined) and self._can_fill(play, now, joined)):
                continue
            self._open(play, now, joined)

    def _ready_at(self, play: _Play, now: float) -> float | None:
        """The earliest moment, now or later, at which this zone may open; None for never."""
        if play.open_since_s is not None or play.left_l <= _TINY_L or play.too_little:
            return None
        job, at = play.job, now
        if play.standing_mm > 0.0:
            at = now + job.soaking.seconds_to_soak(play.standing_mm)
        hand = job.valve is ValveKind.HAND
        if hand:
            at = max(at, self._hand_free_s)
        smallest_s = self._smallest_s(play, frozenset((job.zone,)))
        for begins, ends in self._spans[job.zone]:
            moment = ceil_to(max(at, begins), 60.0 if hand else 1.0, self._start)
            if moment + smallest_s <= ends and self._now_l(play, moment) > _TINY_L:
                return moment
        return None

    def _now_l(self, play: _Play, now: float) -> float:
        """What may still be given before the next stretch begins."""
        if not play.each_stretch_l:
            return play.left_l
        to_come = sum(begins > now for begins, _ in self._spans[play.job.zone])
        return play.left_l - to_come * play.each_stretch_l

    def _smallest_s(self, play: _Play, together: frozenset[str]) -> float:
        """The shortest pulse of this zone at the flow it has in this set."""
        return smallest_pulse_s(
            line_litres=play.job.line_litres,
            flow_l_s=self._flows.flow_l_s(play.job.zone, together),
            shortest_pulse_s=play.job.shortest_pulse_s,
        )

    def _can_fill(self, play: _Play, now: float, joined: frozenset[str]) -> bool:
        """Whether there is time for the smallest pulse at the flow of the set."""
        ends = next(e for b, e in self._spans[play.job.zone] if b <= now < e)
        room_s = min(ends - now, play.job.longest_open_s)
        return self._smallest_s(play, joined) <= room_s

    def _all_fed(self, joined: frozenset[str]) -> bool:
        if self._flows.stays_open(joined) is not None:
            return False
        for zone in joined:
            alone = frozenset((zone,))
            if self._flows.flow_l_s(zone, joined) < self._least_share * self._flows.flow_l_s(
                zone, alone
            ):
                return False
            if self._flows.dry_holes(zone, joined) > self._flows.dry_holes(zone, alone):
                return False
        return True

    def _open(self, play: _Play, now: float, joined: frozenset[str]) -> None:
        flow = self._flows.flow_l_s(play.job.zone, joined)
        room_s = play.job.longest_open_s - play.job.line_litres / flow
        at_once_l = min(play.job.soaking.litres_at_once(flow), room_s * flow)
        now_l = self._now_l(play, now)
        pulses = max(1, math.ceil(now_l / at_once_l - 1e-9))
        play.target_l = now_l / pulses
        play.open_since_s, play.passed_l = now, 0.0
        play.fill_left_l = play.job.line_litres
        play.standing_mm = 0.0
        if play.job.valve is ValveKind.HAND:
            self._hand_free_s = math.inf
        for other in self._plays:
            if other.open_since_s is not None:
                other.together |= joined - {other.job.zone}

    def _next_event(self, now: float) -> float | None:
        together, moments = self._open_set(), []
        for play in self._plays:
            if play.open_since_s is None:
                ready = self._ready_at(play, now)
                if ready is not None and math.isfinite(ready) and ready > now:
                    moments.append(ready)
                continue
            flow = self._flows.flow_l_s(play.job.zone, together)
            fill_s = play.fill_left_l / flow
            moments.append(now + fill_s + play.target_l / flow)
            moments.append(now + fill_s + play.job.soaking.seconds_to_full(flow, play.standing_mm))
            moments.append(self._must_shut_by(play))
        return min((m for m in moments if math.isfinite(m)), default=None)

    def _must_shut_by(self, play: _Play) -> float:
        assert play.open_since_s is not None
        ends = next(e for b, e in self._spans[play.job.zone] if b <= play.open_since_s < e)
        return min(ends, play.open_since_s + play.job.longest_open_s)

    def _let_pass(self, seconds: float) -> None:
        together = self._open_set()
        for play in self._plays:
            soaking = play.job.soaking
            if play.open_since_s is None:
                play.standing_mm = soaking.standing_after(play.standing_mm, 0.0, seconds)
                if play.standing_mm < 1e-9:
                    play.standing_mm = 0.0
                continue
            flow = self._flows.flow_l_s(play.job.zone, together)
            passed = flow * seconds
            filling = min(play.fill_left_l, passed)
            play.fill_left_l -= filling
            spread = passed - filling
            play.passed_l += passed
            play.target_l -= spread
            play.left_l -= spread
            play.standing_mm = soaking.standing_after(play.standing_mm, flow, spread / flow)

    def _close_what_must(self, now: float) -> None:
        for play in self._plays:
            if play.open_since_s is None:
                continue
            full = play.standing_mm >= play.job.soaking.basin_mm - 1e-9
            if play.target_l <= _TINY_L or full or now >= self._must_shut_by(play) - 1e-9:
                self._close(play, now)

    def _close(self, play: _Play, now: float) -> None:
        assert play.open_since_s is not None
        job, open_s = play.job, now - play.open_since_s
        # A tenth of a second is what a relay can be asked for; the litres follow the rounded time.
        rounded = round(open_s * _TENTH) / _TENTH
        opens = self._start + timedelta(seconds=play.open_since_s)
        self._pulses.append(
            Pulse(
                zone=job.zone,
                day=job.day,
                slot=play.slot,
                opens_utc=opens,
                closes_utc=opens + timedelta(seconds=rounded),
                open_s=rounded,
                litres=play.passed_l * rounded / open_s if open_s > 0 else 0.0,
                valve=job.valve,
                relay_line=job.relay_line,
                together=tuple(sorted(play.together)),
            )
        )
        run_out_l = job.line_litres - play.fill_left_l
        play.standing_mm += run_out_l / job.soaking.strip_m2
        play.slot += 1
        play.open_since_s, play.together = None, set()
        alone_l_s = self._flows.flow_l_s(job.zone, frozenset((job.zone,)))
        if play.left_l <= alone_l_s * 0.05:
            play.left_l = 0.0  # less than a twentieth of a second's water
        else:
            fill_s = filling_s(line_litres=job.line_litres, flow_l_s=alone_l_s)
            play.too_little = too_little(play.left_l, fill_s, alone_l_s, job.shortest_pulse_s)
        if job.valve is ValveKind.HAND:
            self._hand_free_s = now + WALK_S
