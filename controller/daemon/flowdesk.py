"""Watching the meter from opening to opening: which stretches to judge, and whom a finding names.

A finding is told once a day for each zone it names. It knows nothing of the logbook, the bank or
the plan; what a finding does is done by whoever asked.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from controller.clock import Clock
from controller.daemon.flowwatch import (
    LEAST_COUNTS,
    Reckoned,
    Seen,
    found_words,
    is_enough,
    judge_open,
    judge_shut,
)
from controller.daemon.metering import Metering
from controller.garden.model import Action, FlowFinding, Garden, Meter, SupplyKind, ValveKind
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
}
# Told while it flows; too little is told when the stretch is over.
_AT_ONCE = frozenset({FlowFinding.BURST, FlowFinding.NOT_OPENED})
_WHILE_SHUT = frozenset({FlowFinding.NOT_CLOSED, FlowFinding.LEAK})

ReckonOf = Callable[[frozenset[str]], Reckoned]
FillOf = Callable[[str, frozenset[str]], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A finding, the zones it may be about (none: the garden), what to do, and its words."""

    finding: FlowFinding
    zones: tuple[str, ...]
    action: Action
    words: str


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


class FlowDesk:
    """One garden's meter, looked at about once a second.

    `reckon` gives the flow of a set and its error, `fill_s` how long a zone's empty line takes to
    fill within a set. `told` are the findings of today that the logbook has already.
    """

    def __init__(
        self,
        garden: Garden,
        meter: Meter,
        metering: Metering,
        clock: Clock,
        *,
        reckon: ReckonOf,
        fill_s: FillOf,
        told: Iterable[tuple[FlowFinding, str, date]] = (),
    ) -> None:
        self._garden, self._meter, self._metering, self._clock = garden, meter, metering, clock
        self._reckon, self._fill_s = reckon, fill_s
        self._told = set(told)
        self._good: set[tuple[str, date]] = set()  # zones whose flow was right on that day
        self._open: frozenset[str] = frozenset()
        self._last: frozenset[str] = frozenset()  # the set before it
        self._from_mono_s = self._changed_mono_s = self._looked_mono_s = clock.mono_s()
        self._before: Reckoned | None = None  # of the set that shut last
        # Not opened, by a meter that did not count at all: it may be the meter that is dead.
        self._unproved: list[Found] = []

    def look(self, open_zones: Collection[str], today: date) -> list[Found]:
        """Judge what has flowed; called wherever the open set may have changed, and between."""
        self._metering.sample()
        now, opened = self._clock.mono_s(), frozenset(open_zones)
        found: list[Found] = []
        if opened != self._open:
            if self._open:
                found += self._judge_open(self._looked_mono_s, today, ended=True)
            self._begin(opened, now)
        elif opened:
            found += self._judge_open(now, today, ended=False)
        else:
            found += self._judge_shut(now, today)
        self._looked_mono_s = now
        return found

    def _begin(self, opened: frozenset[str], now: float) -> None:
        """A new stretch: when it may be judged from."""
        valves = {zone.name: zone.valve for zone in self._garden.zones}
        master = self._garden.master
        if opened:
            warm_s = max(
                (
                    self._fill_s(zone, opened) + valves[zone].opens_in_s
                    for zone in opened - self._open
                ),
                default=0.0,
            )
            travel_s = max((valves[z].closes_in_s for z in self._open - opened), default=0.0)
            self._from_mono_s = now + max(warm_s, travel_s) + SETTLES_S
        else:
            self._before = self._reckon(self._open)
            travel_s = max((valves[z].closes_in_s for z in self._open if z in valves), default=0.0)
            lags_s = 0.0 if master is None else master.lags_s + master.valve.closes_in_s
            self._from_mono_s = now + STILL_AFTER_S + travel_s + lags_s
        self._changed_mono_s = now
        self._last, self._open = self._open, opened

    def _seen(self, until_mono_s: float) -> Seen:
        seconds = until_mono_s - self._from_mono_s
        return Seen(
            litres=self._metering.litres_between(self._from_mono_s, until_mono_s)
            if seconds > 0.0
            else 0.0,
            seconds=max(0.0, seconds),
            litres_per_pulse=self._meter.litres_per_pulse,
        )

    def _judge_open(self, until_mono_s: float, today: date, *, ended: bool) -> list[Found]:
        seen = self._seen(until_mono_s)
        if seen.seconds <= 0.0:
            return []
        reckoned = self._reckon(self._open)
        finding = judge_open(seen, reckoned)
        if finding is FlowFinding.CLOGGED and self._garden.supply.kind is SupplyKind.BARREL:
            return []  # a barrel gives less and less; the flow was reckoned for a full one
        proved = self._proved(seen)
        if finding is None:
            if ended and is_enough(seen, reckoned):
                self._good |= {(zone, today) for zone in self._open}
            return proved
        if self._metering.dead or not (ended or finding in _AT_ONCE):
            return proved
        suspects = {zone for zone in self._open if (zone, today) not in self._good} or self._open
        told = self._tell(finding, tuple(sorted(suspects)), seen, reckoned, today)
        if finding is FlowFinding.NOT_OPENED and seen.litres <= 0.0:
            self._unproved += [found for found in told if found.action is not Action.NOTE]
            told = [replace(found, action=Action.NOTE) for found in told]
        return [*proved, *told]

    def _proved(self, seen: Seen) -> list[Found]:
        """What was only noted while the meter was still, now that it counts for other zones."""
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

    def _judge_shut(self, now: float, today: date) -> list[Found]:
        soon = self._before is not None and now - self._changed_mono_s < LEAK_AFTER_S
        if not soon and self._before is not None:
            self._before, self._last, self._from_mono_s = None, frozenset(), now
        if now - self._from_mono_s > LEAK_STRETCH_S:
            self._from_mono_s = now
        seen = self._seen(now)
        finding = judge_shut(seen, self._before)
        if finding is None:
            return []
        return self._tell(finding, tuple(sorted(self._last)), seen, self._before, today)

    def _tell(
        self,
        finding: FlowFinding,
        zones: tuple[str, ...],
        seen: Seen,
        reckoned: Reckoned | None,
        today: date,
    ) -> list[Found]:
        keys = {(finding, zone, today) for zone in zones or ("",)}
        if keys <= self._told:
            return []
        self._told |= keys
        words = found_words(finding, seen, reckoned, us=self._garden.us_units)
        if len(zones) > 1:
            words += "; open together, one of them or all"
        if finding in _WHILE_SHUT and any(
            zone.valve.kind is ValveKind.HAND for zone in self._garden.zones
        ):
            words += "; or somebody is watering by hand"
        action = action_of(finding, self._garden, self._meter)
        return [Found(finding=finding, zones=zones, action=action, words=words)]


def fill_seconds(volume_m3: float, flow_l_s: float) -> float:
    """Time to fill a line at a flow; for ever where nothing flows. [s]"""
    litres = l_from_m3(volume_m3)
    if litres <= 0.0:
        return 0.0
    return litres / flow_l_s if flow_l_s > 0.0 else float("inf")
