"""Watches the meter from opening to opening: which stretches to judge, which zones to name.

A finding is reported once a day for each zone it names, a change against past weeks once a
fortnight. The monitor knows nothing of the bank or the plan; its caller acts on a finding.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.clock import Clock
from controller.daemon.flow.litres import Counted, Credit
from controller.daemon.flow.rules import (
    LEAST_COUNTS,
    LEAST_S,
    ComputedFlow,
    MeteredStretch,
    Metering,
    find_while_open,
    find_while_shut,
    flow_while_open,
    found_words,
    is_enough,
    unknown_words,
)
from controller.daemon.flow.trend import (
    Past,
    TapLossOf,
    by_set,
    can_compare,
    changed_words,
    changes,
    day_share,
    reference_flow,
)
from controller.garden.model import Action, FlowFinding, Garden, Meter
from controller.garden.plumbing import ValveKind
from controller.logbook.records import FlowStretch
from controller.units import l_from_m3

SETTLES_S = 5.0  # after any change of the open set, before a stretch is judged; our choice
STILL_AFTER_S = 15.0  # after the last valve has shut and travelled; our choice
LEAK_AFTER_S = 600.0  # from then on what flows is a leak, and no longer a valve; our choice
LEAK_STRETCH_S = 3600.0
DEFAULT_ACTIONS: Mapping[FlowFinding, Action] = {
    FlowFinding.CLOGGED: Action.NOTE,
    FlowFinding.BURST: Action.HOLD_ZONE,
    FlowFinding.NOT_OPENED: Action.HOLD_ZONE,
    FlowFinding.NOT_CLOSED: Action.SHUT_MASTER,
    FlowFinding.LEAK: Action.NOTE,
    FlowFinding.CHANGED: Action.NOTE,
    FlowFinding.MISCOUNTED: Action.NOTE,
}
CHANGED_AGAIN = timedelta(days=14)  # a change that lasts is reported again; our choice
# Reported while it flows; too little is reported when the stretch is over.
_AT_ONCE = frozenset({FlowFinding.BURST, FlowFinding.NOT_OPENED})
_WHILE_SHUT = frozenset({FlowFinding.NOT_CLOSED, FlowFinding.LEAK})
_NOBODY_ELSE = (
    "; no other zone was seen right that day, and a meter that counts a part, or the tap, looks "
    "the same"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipes:
    """What the garden's pipes are computed to do, as the monitor asks it."""

    compute: Callable[[frozenset[str]], ComputedFlow]  # the flow of an open set, and its error
    fill_s: Callable[[str, frozenset[str]], float]  # to fill a zone's empty line within a set
    tap_loss_of: TapLossOf = lambda _: 0.0  # the share of its head that the tap loses to a set
    line_l: Callable[[str], float] = lambda _: 0.0  # what a zone's line holds
    most_l_s: float = float("inf")  # what the open tap gives


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A finding, the zones it may be about (none: the garden), what to do, and its words."""

    finding: FlowFinding
    zones: tuple[str, ...]
    action: Action
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weak:
    """A stretch that gave clearly too little."""

    zones: frozenset[str]
    seen: MeteredStretch
    computed: ComputedFlow
    day: date


@dataclass(slots=True, kw_only=True)
class _Tally:
    """Totals of the openings of a set that were each too short to judge."""

    metered_l: float = 0.0
    timed_l: float = 0.0
    seconds: float = 0.0
    fill_l: float = 0.0
    openings: int = 0


def action_of(finding: FlowFinding, garden: Garden, meter: Meter) -> Action:
    """What a finding does: by the garden file, else by our defaults.

    Where there are hand valves, water that runs while all relays are off may be a person's: it is
    only noted, unless a person wrote otherwise into the file.
    """
    filled_in = any(filled.key == finding.value.replace(" ", "_") for filled in garden.filled)
    by_hand = any(zone.valve.kind is ValveKind.HAND for zone in garden.zones)
    if by_hand and finding in _WHILE_SHUT and (filled_in or finding not in meter.actions):
        return Action.NOTE
    return meter.actions.get(finding, DEFAULT_ACTIONS[finding])


class FlowMonitor:
    """Judges one garden's meter, about once a second.

    `reported` are the findings that the logbook has already: of today, and changes of the last
    days. `past` keeps what was seen; `report` is called with what cannot be judged.
    """

    def __init__(
        self,
        garden: Garden,
        metering: Metering,
        clock: Clock,
        *,
        pipes: Pipes,
        reported: Iterable[tuple[FlowFinding, str, date]] = (),
        past: Past | None = None,
        report: Callable[[str], None] = lambda _: None,
    ) -> None:
        meter = garden.meter
        assert meter is not None, "a garden without a meter has nothing to judge"
        self._garden, self._meter, self._metering, self._clock = garden, meter, metering, clock
        self._pipes, self._past, self._report = pipes, past or Past(), report
        self._reported = set(reported)
        self.credit = Credit(meter.litres_per_pulse, self.band, pipes.most_l_s)
        self._doses: dict[frozenset[str], _Tally] = {}
        self._weak_sets: set[tuple[frozenset[str], date]] = set()
        self._sets: dict[frozenset[str], dict[date, float]] = {}
        self._sets_of: date | None = None
        self.unknown: dict[frozenset[str], str] = {}  # sets that cannot be judged, in words
        self._good: set[tuple[str, date]] = set()  # zones whose flow was right on that day
        self._open: frozenset[str] = frozenset()
        self._last: frozenset[str] = frozenset()  # the set before it
        self._from_mono_s = self._changed_mono_s = self._looked_mono_s = clock.mono_s()
        self._reference_now: ComputedFlow | None = None  # of the set that is open
        self._before_l_s: float | None = None  # flow of the set that shut last
        self._soon = False  # after it shut, what goes on may be its valve
        self._weak: list[_Weak] = []  # what gave too little, and nobody knows yet how the tap does
        # Not opened, by a meter that did not count at all: it may be the meter that is dead.
        self._unproved: list[Found] = []

    def look(self, open_zones: Collection[str], today: date) -> list[Found]:
        """Judge what has flowed; call it whenever the open set may have changed, and between."""
        self._metering.sample()
        late: list[Found] = []
        if self._sets_of != today:
            self._sets, self._sets_of = by_set(self._past.stretches(today)), today
            self._forget(today)
            late = self._clogged(today)
        now, opened = self._clock.mono_s(), frozenset(open_zones)
        found = late
        if opened != self._open:
            if self._open:
                found += self._find_while_open(self._looked_mono_s, today, ended=True)
                found += self._keep(self._looked_mono_s, today)
                found += self._clogged(today)
            self._begin(opened, now)
        elif opened:
            found += self._find_while_open(now, today, ended=False)
        else:
            found += self._find_while_shut(now, today)
        self._looked_mono_s = now
        return found + self._find_in_totals(today)

    def _forget(self, today: date) -> None:
        """Forget what was reported, and seen right, on days that no longer count."""
        self._reported = {one for one in self._reported if today - one[2] < CHANGED_AGAIN}
        yesterday = today - timedelta(days=1)  # what gave too little then is judged today
        self._good = {one for one in self._good if one[1] >= yesterday}
        self._weak_sets = {one for one in self._weak_sets if one[1] >= yesterday}

    def band(self, zones: frozenset[str]) -> ComputedFlow:
        """What a set is judged by."""
        return reference_flow(self._pipes.compute(zones), self._sets.get(zones, {}))

    def ended(self, counted: Counted) -> None:
        """An opening is over: judge what it gave with the other openings of its set.

        This serves openings that are each too short to judge. While the lines fill, it cannot find
        that too much flowed.
        """
        tally = self._doses.setdefault(counted.zones, _Tally())
        tally.metered_l += counted.metered_l
        tally.timed_l += counted.timed_l
        tally.seconds += counted.seconds
        tally.fill_l += sum(self._pipes.line_l(zone) for zone in counted.zones)
        tally.openings += 1

    def _begin(self, opened: frozenset[str], now: float) -> None:
        """Begin a stretch, and set from when it may be judged."""
        valves = {zone.name: zone.valve for zone in self._garden.zones}
        master = self._garden.master
        if opened:
            warm_s = max(
                (
                    self._pipes.fill_s(zone, opened) + valves[zone].opens_in_s
                    for zone in opened - self._open
                ),
                default=0.0,
            )
            travel_s = max((valves[z].closes_in_s for z in self._open - opened), default=0.0)
            self._from_mono_s = now + max(warm_s, travel_s) + SETTLES_S
            self._reference_now = self._reference(opened)
        else:
            self._soon, self._reference_now = True, None
            travel_s = max((valves[z].closes_in_s for z in self._open if z in valves), default=0.0)
            lags_s = 0.0 if master is None else master.lags_s + master.valve.closes_in_s
            self._from_mono_s = now + STILL_AFTER_S + travel_s + lags_s
        self._changed_mono_s = now
        self._last, self._open = self._open, opened

    def _seen(self, until_mono_s: float) -> MeteredStretch:
        seconds = until_mono_s - self._from_mono_s
        return MeteredStretch(
            litres=self._metering.litres_between(self._from_mono_s, until_mono_s)
            if seconds > 0.0
            else 0.0,
            seconds=max(0.0, seconds),
            litres_per_pulse=self._meter.litres_per_pulse,
            starts_at_l_s=self._meter.least_flow_l_s,
        )

    def _reference(self, opened: frozenset[str]) -> ComputedFlow:
        """What this set is judged by; where that is not enough, report it once."""
        computed = reference_flow(self._pipes.compute(opened), self._sets.get(opened, {}))
        if computed.is_known:
            self.unknown.pop(opened, None)
        elif opened not in self.unknown:
            words = unknown_words(opened, computed, us=self._garden.us_units)
            self.unknown[opened] = words
            self._report(words)
        return computed

    def _keep(self, until_mono_s: float, today: date) -> list[Found]:
        """A stretch is over: keep what was seen, and find what has changed against the past."""
        seen = self._seen(until_mono_s)
        self._before_l_s = flow_while_open(
            seen, self._reference_now or self._pipes.compute(self._open)
        )
        counted = seen.litres >= LEAST_COUNTS * seen.litres_per_pulse
        computed_l_s = self._pipes.compute(self._open).flow_l_s
        absurd = self.credit.is_absurd(seen.litres, seen.seconds)
        if self._metering.dead or absurd or not counted or seen.seconds < LEAST_S:
            return []
        if computed_l_s <= 0.0:
            return []
        stretch = FlowStretch(
            day=today,
            zones=self._open,
            seconds=seen.seconds,
            litres=seen.litres,
            computed_l_s=computed_l_s,
        )
        self._past.keep(stretch)
        self._sets = by_set(self._past.stretches(today))
        return self._changed(today)

    def _changed(self, today: date) -> list[Found]:
        """What differs from past weeks, reported once a fortnight while it lasts."""
        names = {zone.name for zone in self._garden.zones}
        now = {zones: days for zones, days in self._sets.items() if zones <= names}
        found = []
        for change in changes(now, self._pipes.tap_loss_of):
            zones = tuple(sorted(change.zones | (change.others if change.either else frozenset())))
            lately = {
                zone
                for finding, zone, day in self._reported
                if finding is FlowFinding.CHANGED and today - day < CHANGED_AGAIN
            }
            if set(zones or ("",)) <= lately:
                continue
            self._reported |= {(FlowFinding.CHANGED, zone, today) for zone in zones or ("",)}
            # The tap's own weakness must not hold the garden.
            action = action_of(FlowFinding.CHANGED, self._garden, self._meter)
            found.append(
                Found(
                    finding=FlowFinding.CHANGED,
                    zones=zones,
                    action=action if change.zones else Action.NOTE,
                    words=changed_words(change),
                )
            )
        return found

    def _find_while_open(self, until_mono_s: float, today: date, *, ended: bool) -> list[Found]:
        seen = self._seen(until_mono_s)
        if seen.seconds <= 0.0:
            return []
        if self.credit.is_absurd(seen.litres, seen.seconds):
            return self._new_findings(FlowFinding.MISCOUNTED, (), seen, None, today)
        computed = self._reference_now or self._pipes.compute(self._open)
        finding = find_while_open(seen, computed)
        proved = self._proved(seen)
        if finding is None:
            if ended and is_enough(seen, computed):
                self._doses.pop(self._open, None)  # what was judged right needs it no more
                self._good |= {(zone, today) for zone in self._open}
            return proved
        if self._metering.dead or not (ended or finding in _AT_ONCE):
            return proved
        return [*proved, *self._found(finding, self._open, seen, computed, today)]

    def _find_in_totals(self, today: date) -> list[Found]:
        """Judge the totals of openings that were each too short to judge."""
        found: list[Found] = []
        weak = len(self._weak)
        for zones, tally in list(self._doses.items()):
            computed = self.band(zones)
            if self._metering.dead or not computed.is_known or computed.flow_l_s <= 0.0:
                del self._doses[zones]
                continue
            seen = MeteredStretch(
                litres=tally.metered_l,
                seconds=tally.timed_l / computed.flow_l_s,
                litres_per_pulse=self._meter.litres_per_pulse,
                starts_at_l_s=self._meter.least_flow_l_s,
                stretches=tally.openings,
            )
            if self.credit.is_absurd(tally.metered_l, tally.seconds):
                counted = replace(seen, seconds=max(tally.seconds, LEAST_S))
                found += self._new_findings(FlowFinding.MISCOUNTED, (), counted, None, today)
                del self._doses[zones]
                continue
            if not is_enough(seen, computed):
                continue
            del self._doses[zones]
            # A line that fills takes more than it gives: too much is what it cannot hold either.
            beyond = replace(seen, litres=max(0.0, seen.litres - tally.fill_l))
            finding = find_while_open(seen, computed)
            if finding is FlowFinding.BURST:
                finding = find_while_open(beyond, computed)
            if finding is not None:
                found += self._found(finding, zones, seen, computed, today)
            else:
                self._good |= {(zone, today) for zone in zones}
        return [*found, *self._clogged(today)] if len(self._weak) > weak else found

    def _found(
        self,
        finding: FlowFinding,
        zones: frozenset[str],
        seen: MeteredStretch,
        computed: ComputedFlow,
        today: date,
    ) -> list[Found]:
        """Act on a finding about an open set; too little waits for the day's other sets."""
        if finding is FlowFinding.CLOGGED:
            self._weak_sets.add((zones, today))
            self._weak.append(_Weak(zones=zones, seen=seen, computed=computed, day=today))
            return []
        new = self._new_findings(
            finding, tuple(sorted(self._suspects(zones, today))), seen, computed, today
        )
        if finding is FlowFinding.NOT_OPENED and seen.litres <= 0.0:
            self._unproved += [found for found in new if found.action is not Action.NOTE]
            new = [replace(found, action=Action.NOTE) for found in new]
        return new

    def _suspects(self, opened: frozenset[str], day: date) -> frozenset[str]:
        """The zones of a set that were not seen right on that day; all of them if all were."""
        return frozenset(z for z in opened if (z, day) not in self._good) or opened

    def _clogged(self, today: date) -> list[Found]:
        """Find what is clogged, once the day's other sets show how the tap does, or the day is
        over.

        What the other sets lack as well is the tap's.
        """
        found, waiting = [], []
        for weak in self._weak:
            tap = day_share(self._sets, weak.zones, weak.day)
            if tap is None and weak.day == today and can_compare(self._sets, weak.zones):
                waiting.append(weak)
                continue
            computed, tap = weak.computed, min(1.0, tap or 1.0)
            under_it = replace(
                computed, flow_l_s=tap * computed.flow_l_s, low_l_s=tap * computed.lowest_l_s
            )
            if find_while_open(weak.seen, under_it) is None or self._all_weak(weak):
                found += self._new_findings(
                    FlowFinding.MISCOUNTED, (), weak.seen, computed, weak.day
                )
                continue
            suspects = tuple(sorted(self._suspects(weak.zones, weak.day)))
            new = self._new_findings(FlowFinding.CLOGGED, suspects, weak.seen, computed, weak.day)
            if not any(day == weak.day and zone not in weak.zones for zone, day in self._good):
                new = [replace(one, words=f"{one.words}{_NOBODY_ELSE}") for one in new]
            found += new
        self._weak = waiting
        return found

    def _all_weak(self, weak: _Weak) -> bool:
        """Whether a set without these zones was as weak that day, and no zone was right."""
        others = any(day == weak.day and not zones & weak.zones for zones, day in self._weak_sets)
        return others and not any(day == weak.day for _, day in self._good)

    def _proved(self, seen: MeteredStretch) -> list[Found]:
        """Findings noted while the meter stood still, now that it counts for other zones."""
        if self._metering.dead:
            self._unproved = []
        if seen.litres < LEAST_COUNTS * seen.litres_per_pulse:
            return []
        proved = [found for found in self._unproved if not self._open & set(found.zones)]
        self._unproved = []
        words = (
            "next to nothing came when it should have been open, and the meter counts for others"
        )
        return [replace(found, words=words) for found in proved]

    def _find_while_shut(self, now: float, today: date) -> list[Found]:
        if self._soon and now - self._changed_mono_s >= LEAK_AFTER_S:
            self._soon, self._last, self._from_mono_s = False, frozenset(), now
        if now - self._from_mono_s > LEAK_STRETCH_S:
            self._from_mono_s = now
        seen = self._seen(now)
        if self.credit.is_absurd(seen.litres, seen.seconds):
            return self._new_findings(FlowFinding.MISCOUNTED, (), seen, None, today)
        finding = find_while_shut(seen, self._before_l_s, soon=self._soon)
        if finding is None:
            return []
        return self._new_findings(finding, tuple(sorted(self._last)), seen, None, today)

    def _new_findings(
        self,
        finding: FlowFinding,
        zones: tuple[str, ...],
        seen: MeteredStretch,
        computed: ComputedFlow | None,
        today: date,
    ) -> list[Found]:
        keys = {(finding, zone, today) for zone in zones or ("",)}
        if keys <= self._reported:
            return []
        self._reported |= keys
        words = found_words(finding, seen, computed, self._before_l_s, us=self._garden.us_units)
        if len(zones) > 1:
            words += "; open together, one of them or all"
        if finding in _WHILE_SHUT and any(
            zone.valve.kind is ValveKind.HAND for zone in self._garden.zones
        ):
            words += "; or somebody is watering by hand"
        action = action_of(finding, self._garden, self._meter)
        return [Found(finding=finding, zones=zones, action=action, words=words)]


def fill_seconds(volume_m3: float, flow_l_s: float) -> float:
    """Time to fill a line at a flow; infinite where nothing flows. [s]"""
    litres = l_from_m3(volume_m3)
    if litres <= 0.0:
        return 0.0
    return litres / flow_l_s if flow_l_s > 0.0 else float("inf")
