"""Remedies for zones that are short of water: changes to the garden file, smallest first.

Each change has steps, from the smallest on, and is tried alone. The caller simulates the season
with it; this module has the changes, their zones and their order.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from controller.garden.model import MOST_TURNS, MOST_VISITS, Garden, UnlikeRows, Window, Zone
from controller.garden.plumbing import ValveKind
from controller.messages import Message, Quantity
from controller.units import gal_from_m3, l_from_m3, m3_from_gal, m3_from_l

# The steps of each change, all our choice: what a gardener would try, and the last step.
CAP_FACTORS = (1.1, 1.25, 1.5, 2.0, 3.0, 5.0, 10.0, 30.0)
OPEN_FACTORS = (1.5, 2.0, 3.0, 4.0)
PULSE_FACTORS = (0.5, 0.2)
MORE_OPEN = 4
MORE_VISITS = 3
TURN_FACTORS = (1.5, 2.0, 3.0, 5.0)
LONGER_H = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
SECOND_H = (1.0, 2.0, 3.0)
EVENING, MORNING = time(18), time(5)  # when another window begins
MANY_ZONES = 30  # more are tried two steps at a time
_LONGEST_WINDOW_S = 23.5 * 3600.0
_WEEK = frozenset(range(7))


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One change to the garden, with its message for a zone, such as "most_open = 3"."""

    apply: Callable[[Garden], Garden]
    message: Callable[[Zone], Message]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """The steps of one change, smallest first, and its zones; `key` is that of the file."""

    key: str
    zones: frozenset[str]
    steps: Sequence[Step]


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """The remedy for one zone.

    `change` is the smallest change that helps, None if none does. `together`: only all `tried`
    changes together help. `stopped`: the search ended early.
    """

    change: Message | None = None
    key: str = ""
    together: bool = False
    tried: tuple[Message, ...] = ()
    stopped: bool = False


class OutOfTime(Exception):
    """No further simulation is allowed."""


def search(
    garden: Garden,
    reasons: Mapping[str, Collection[Message]],
    kept_by: Callable[[Garden, frozenset[str]], frozenset[str]],
) -> dict[str, Help]:
    """The remedy for each zone that is short for these reasons.

    `kept_by(changed garden, zones)` gives the zones that are no longer short. It raises OutOfTime
    when no further simulation is allowed.
    """
    pending, found = frozenset(reasons), dict[str, Help]()
    tried: dict[str, list[Message]] = {name: [] for name in reasons}
    climbed: list[Ladder] = []
    stopped = False
    try:
        for ladder in ladders(garden, reasons):
            climbed.append(ladder)
            for step in ladder.steps:
                asked = pending & ladder.zones
                if not asked:
                    break
                for name in kept_by(step.apply(garden), asked):
                    found[name] = Help(change=step.message(garden.zone(name)), key=ladder.key)
                pending -= frozenset(found)
            for name in pending & ladder.zones:
                tried[name].append(ladder.steps[-1].message(garden.zone(name)))
        several = frozenset(name for name in pending if len(tried[name]) > 1)
        if several:
            every = garden
            for ladder in climbed:
                every = ladder.steps[-1].apply(every)
            for name in kept_by(every, several):
                found[name] = Help(together=True, tried=tuple(tried[name]))
            pending -= frozenset(found)
    except OutOfTime:
        stopped = True
    for name in pending - frozenset(found):
        found[name] = Help(tried=tuple(tried[name]), stopped=stopped)
    return found


def ladders(garden: Garden, reasons: Mapping[str, Collection[Message]]) -> list[Ladder]:
    """The changes to try for these zones: figures of the file first, then the windows."""

    def zones_of(*codes: str) -> list[Zone]:
        return [
            zone
            for zone in garden.zones
            if any(reason.code in codes for reason in reasons.get(zone.name, ()))
        ]

    most_open = garden.watering.most_open
    closed = zones_of("left.windows_closed", "left.window_too_short")
    relays = sum(zone.valve.kind is ValveKind.RELAY for zone in garden.zones)
    crowded = [zone for zone in closed if zone.valve.kind is ValveKind.RELAY]
    most = range(most_open + 1, min(relays, most_open + MORE_OPEN) + 1)
    mean = [z for z in garden.zones if z.name in reasons and z.unlike_rows is UnlikeRows.MEAN]
    days = zones_of("left.no_window")
    capped, short_open = zones_of("left.over_cap"), zones_of("left.open_too_short")
    over, turned = zones_of("left.hand_visits"), zones_of("left.hand_turns")
    turns, visits = garden.watering.hand_turns, garden.watering.hand_visits
    more_turns = [n for f in TURN_FACTORS if (n := math.ceil(f * turns)) <= MOST_TURNS]
    more_visits = range(visits + 1, min(visits + MORE_VISITS, MOST_VISITS) + 1)
    too_little, held = zones_of("left.too_little"), zones_of("left.held")
    found = (
        ("unlike_rows", mean, [_for_the_neediest(mean)]),
        ("daily_cap", capped, [_cap(garden, capped, f) for f in CAP_FACTORS]),
        ("longest_open", short_open, [_open(short_open, f) for f in OPEN_FACTORS]),
        ("shortest_pulse", too_little, [_pulse(garden, too_little, f) for f in PULSE_FACTORS]),
        ("hand_turns", turned, [_hand_turns(count) for count in more_turns]),
        ("hand_visits", over, [_hand_visits(count) for count in more_visits]),
        ("window", days, _more_days(garden, days)),
        ("most_open", crowded, [_most_open(count) for count in most]),
        ("window", closed, [_longer(garden, closed, hours) for hours in LONGER_H]),
        ("window", closed, _second(garden, closed)),
        ("hold", held, [_without_holds(held)]),
    )
    apart = 2 if len(garden.zones) > MANY_ZONES else 1  # the last step is always one of them
    return [
        Ladder(key=key, zones=frozenset(z.name for z in zones), steps=steps[::-apart][::-1])
        for key, zones, steps in found
        if zones and steps
    ]


def _for_the_neediest(zones: Sequence[Zone]) -> Step:
    return Step(
        apply=_of_zones(zones, lambda zone: replace(zone, unlike_rows=UnlikeRows.NEEDIEST)),
        message=lambda zone: Message("help.neediest"),
    )


def _cap(garden: Garden, zones: Sequence[Zone], factor: float) -> Step:
    def cap_m3(zone: Zone) -> float:
        raised_m3 = factor * zone.daily_cap_m3
        if garden.us_units:
            return m3_from_gal(math.ceil(gal_from_m3(raised_m3)))
        return m3_from_l(math.ceil(l_from_m3(raised_m3)))

    return Step(
        apply=_of_zones(zones, lambda zone: replace(zone, daily_cap_m3=cap_m3(zone))),
        message=lambda zone: Message(
            "help.daily_cap", {"cap": Quantity(cap_m3(garden.zone(zone.name)), "volume")}
        ),
    )


def _open(zones: Sequence[Zone], factor: float) -> Step:
    def longest_s(zone: Zone) -> float:
        return math.ceil(factor * zone.valve.longest_open_s)

    def longer(zone: Zone) -> Zone:
        return replace(zone, valve=replace(zone.valve, longest_open_s=longest_s(zone)))

    return Step(
        apply=_of_zones(zones, longer),
        message=lambda zone: Message(
            "help.longest_open", {"longest": Quantity(longest_s(zone), "duration")}
        ),
    )


def _pulse(garden: Garden, zones: Sequence[Zone], factor: float) -> Step:
    def shortest_s(zone: Zone) -> float:
        own_s = zone.valve.shortest_pulse_s
        return factor * (garden.watering.shortest_pulse_s if own_s is None else own_s)

    def shorter(zone: Zone) -> Zone:
        return replace(zone, valve=replace(zone.valve, shortest_pulse_s=shortest_s(zone)))

    return Step(
        apply=_of_zones(zones, shorter),
        message=lambda zone: Message(
            "help.shortest_pulse", {"shortest": Quantity(shortest_s(zone), "duration")}
        ),
    )


def _most_open(count: int) -> Step:
    return Step(
        apply=lambda garden: replace(garden, watering=replace(garden.watering, most_open=count)),
        message=lambda zone: Message("help.most_open", {"count": count}),
    )


def _hand_turns(count: int) -> Step:
    return Step(
        apply=lambda garden: replace(garden, watering=replace(garden.watering, hand_turns=count)),
        message=lambda zone: Message("help.hand_turns", {"count": count}),
    )


def _hand_visits(count: int) -> Step:
    return Step(
        apply=lambda garden: replace(garden, watering=replace(garden.watering, hand_visits=count)),
        message=lambda zone: Message("help.hand_visits", {"count": count}),
    )


def _longer(garden: Garden, zones: Sequence[Zone], hours: float) -> Step:
    """Steps by which the windows of these zones' valves close later."""

    def longer(window: Window) -> Window:
        had_s = _lasts_s(window)
        lasts_s = max(had_s, min(had_s + 3600.0 * hours, _LONGEST_WINDOW_S))
        return replace(window, closes=_later(window.opens, lasts_s))

    def message(zone: Zone) -> Message:
        windows = tuple(
            Message("help.window", {"opens": w.opens, "closes": longer(w).closes})
            for w in garden.watering.windows
            if zone.valve.kind in w.valves
        )
        more = Quantity(3600.0 * hours, "duration")
        return Message("help.longer_windows", {"more": more, "windows": windows})

    return Step(apply=_of_windows(zones, longer), message=message)


def _more_days(garden: Garden, zones: Sequence[Zone]) -> list[Step]:
    """Steps with the windows of these zones' valves on more days, spread over the week."""
    windows = _usable(garden, zones)
    had = frozenset[int]().union(*(window.weekdays for window in windows))
    if not had or all(window.weekdays == _WEEK for window in windows):
        return []
    days, steps = had, []
    while True:
        if days != _WEEK:
            days |= {max(sorted(_WEEK - days), key=lambda day: _apart(day, days))}
        steps.append(_on_days(zones, days))
        if days == _WEEK:
            return steps


def _on_days(zones: Sequence[Zone], days: frozenset[int]) -> Step:
    message = Message(
        "help.every_day" if days == _WEEK else "help.weekdays",
        {"days": tuple(Quantity(day, "weekday") for day in sorted(days))},
    )
    return Step(
        apply=_of_windows(zones, lambda window: replace(window, weekdays=days)),
        message=lambda zone: message,
    )


def _apart(day: int, days: Collection[int]) -> int:
    """Days to the nearest of these weekdays."""
    return min(min((day - other) % 7, (other - day) % 7) for other in days)


def _second(garden: Garden, zones: Sequence[Zone]) -> list[Step]:
    """A step with another window on the same days: in the evening, or else in the morning."""
    windows = _usable(garden, zones)
    most_s = 3600.0 * max(SECOND_H)
    free = [t for t in (EVENING, MORNING) if not any(_touches(w, t, most_s) for w in windows)]
    if not windows or not free:
        return []
    days = frozenset[int]().union(*(window.weekdays for window in windows))
    kinds = frozenset(zone.valve.kind for zone in zones)
    return [
        _another(
            Window(
                opens=free[0], closes=_later(free[0], 3600.0 * hours), weekdays=days, valves=kinds
            )
        )
        for hours in SECOND_H
    ]


def _another(window: Window) -> Step:
    def apply(garden: Garden) -> Garden:
        watering = garden.watering
        return replace(garden, watering=replace(watering, windows=(*watering.windows, window)))

    message = Message("help.another_window", {"opens": window.opens, "closes": window.closes})
    return Step(apply=apply, message=lambda zone: message)


def _without_holds(zones: Sequence[Zone]) -> Step:
    """A step without the holds of these zones."""
    names = frozenset(zone.name for zone in zones)

    def apply(garden: Garden) -> Garden:
        left = []
        for hold in garden.watering.holds:
            others = (hold.zones or {zone.name for zone in garden.zones}) - names
            if others:
                left.append(replace(hold, zones=frozenset(others)))
        return replace(garden, watering=replace(garden.watering, holds=tuple(left)))

    return Step(apply=apply, message=lambda zone: Message("help.no_hold"))


def _of_zones(zones: Sequence[Zone], change: Callable[[Zone], Zone]) -> Callable[[Garden], Garden]:
    names = {zone.name for zone in zones}

    def apply(garden: Garden) -> Garden:
        changed = tuple(change(z) if z.name in names else z for z in garden.zones)
        return replace(garden, zones=changed)

    return apply


def _of_windows(
    zones: Sequence[Zone], change: Callable[[Window], Window]
) -> Callable[[Garden], Garden]:
    """Apply a change to the windows of these zones' valves."""
    kinds = {zone.valve.kind for zone in zones}

    def apply(garden: Garden) -> Garden:
        watering = garden.watering
        changed = tuple(change(w) if kinds & w.valves else w for w in watering.windows)
        return replace(garden, watering=replace(watering, windows=changed))

    return apply


def _usable(garden: Garden, zones: Sequence[Zone]) -> list[Window]:
    kinds = {zone.valve.kind for zone in zones}
    return [window for window in garden.watering.windows if kinds & window.valves]


def _touches(window: Window, begins: time, lasts_s: float) -> bool:
    """Whether a window of that time would overlap this one on any day."""
    apart_s = (_second_of_day(begins) - _second_of_day(window.opens)) % 86400.0
    return apart_s <= _lasts_s(window) or 86400.0 - apart_s <= lasts_s


def _lasts_s(window: Window) -> float:
    """Length of a window; one that ends at its beginning is a whole day. [s]"""
    return (_second_of_day(window.closes) - _second_of_day(window.opens)) % 86400.0 or 86400.0


def _second_of_day(at: time) -> float:
    return 3600.0 * at.hour + 60.0 * at.minute + at.second


def _later(at: time, seconds: float) -> time:
    return (datetime.combine(date(2031, 1, 1), at) + timedelta(seconds=seconds)).time()
