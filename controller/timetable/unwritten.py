"""Assumed water of past days without a record.

Each zone has one rule. A relay zone goes by the daemon's own record. A hand zone goes as printed
(the sheet counts as done, unless a note says otherwise) or as confirmed (only notes count). Days
before the first record count as done as planned: the plants lived.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

from controller.garden.model import Garden, HandWater, Zone
from controller.garden.plumbing import ValveKind
from controller.messages import Message, Value

_DAY = timedelta(days=1)
# If nobody notes water for so many days, they may have been away; our choice.
SILENT_DAYS = 31


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """The days of which a logbook has records.

    `begun` is its first day (None: there is no logbook). `daemon_from` is the first day of a daemon
    (None: there never was one), and `watched` are the days on which one ran. `printed_litres` were
    on its sheet for hand valves then, and nobody noted them.
    """

    begun: date | None = None
    daemon_from: date | None = None
    watched: Collection[date] = ()
    printed_litres: Mapping[tuple[str, date], float] = field(default_factory=dict)

    def assumed_as_planned(self, zone: Zone, garden: Garden, day: date) -> bool:
        """Whether a past day without a record counts as done as planned."""
        if self.begun is None or day < self.begun:
            return True
        if zone.valve.kind is ValveKind.RELAY:
            return self.daemon_from is None or day < self.daemon_from
        return hand_water(zone, garden) is HandWater.AS_PRINTED and day not in self.watched

    def printed(self, zone: Zone, garden: Garden, day: date) -> float:
        """Litres on the daemon's sheet for a hand zone that count as given. [L]"""
        if zone.valve.kind is not ValveKind.HAND:
            return 0.0
        if hand_water(zone, garden) is not HandWater.AS_PRINTED:
            return 0.0
        return self.printed_litres.get((zone.name, day), 0.0)

    def gaps(self, before: date) -> list[tuple[date, date]]:
        """Stretches without a daemon, from its first day to the day `before`."""
        found: list[tuple[date, date]] = []
        known = sorted(day for day in self.watched if day < before)
        for one, other in pairwise((*known, before)):
            if other - one > _DAY:
                found.append((one + _DAY, other - _DAY))
        return found


NO_RECORD = Record()


def hand_water(zone: Zone, garden: Garden) -> HandWater:
    """The zone's own rule, or the garden's."""
    return garden.watering.hand_water if zone.hand_water is None else zone.hand_water


def zones_as_printed(garden: Garden) -> frozenset[str]:
    """The zones whose hand valves count as printed."""
    return frozenset(
        zone.name for zone in garden.zones if hand_water(zone, garden) is HandWater.AS_PRINTED
    )


def record_messages(
    garden: Garden,
    record: Record,
    *,
    first: date,
    today: date | None = None,
    litres: Collection[tuple[str, date]] = (),
) -> list[Message]:
    """Messages on how this garden counts water without a record, and on days without a daemon.

    `litres` names the zones and days with recorded water. A month without any in hand zones gives
    one message for all of them with the same rule.
    """
    today = first if today is None else today
    rules: dict[Message, list[str]] = {}
    for zone in garden.zones:
        rules.setdefault(_rule(zone, garden, record), []).append(zone.name)
    messages = []
    for rule, names in rules.items():
        whose: Value = "" if len(rules) == 1 else Message("record.whose", {"zones": tuple(names)})
        silent = _silent_since(names, garden, record, today, litres)
        messages.append(Message("record.rule", {"whose": whose, "rule": rule, "silent": silent}))
    for begins, ends in record.gaps(first):
        one = begins == ends
        days = {"day": str(begins), "first": str(begins), "last": str(ends)}
        messages.append(Message("record.gap_day" if one else "record.gap", days))
    return messages


def _silent_since(
    names: Collection[str],
    garden: Garden,
    record: Record,
    today: date,
    litres: Collection[tuple[str, date]],
) -> Value:
    """Message that nobody noted water for a month; empty if somebody did."""
    from_day = today - SILENT_DAYS * _DAY
    # A bed that was bare on one of those days may have needed no water.
    standing = {
        zone.name
        for zone in garden.zones
        if zone.name in names and zone.valve.kind is ValveKind.HAND
        if any(p.start <= from_day and today <= p.until for p in zone.plantings)
    }
    if record.begun is None or not standing:
        return ""
    printed = [key for key in record.printed_litres if key[0] in zones_as_printed(garden)]
    written = [day for zone, day in (*litres, *printed) if zone in standing and day < today]
    last = max(record.begun, *written, date.min)
    days = (today - last).days
    if days < SILENT_DAYS:
        return ""
    return Message("record.silent", {"days": days, "since": str(last)})


def _rule(zone: Zone, garden: Garden, record: Record) -> Message:
    if zone.valve.kind is ValveKind.RELAY and record.daemon_from is not None:
        day = str(record.daemon_from)
        return Message("record.daemon_since" if record.begun else "record.daemon", {"day": day})
    by_sheet = zone.valve.kind is ValveKind.RELAY or record.begun is None
    if by_sheet or hand_water(zone, garden) is not HandWater.AS_CONFIRMED:
        return Message("record.as_printed")
    return Message("record.as_confirmed", {"day": str(record.begun)})
