"""Watering windows as stretches of real time, without the holds.

There is one rule for both changes of the clocks. A local time that does not exist (spring) is the
moment of the jump; one that comes twice (autumn) is the first. So a window does not vanish because
its start was skipped, and it does not run twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from controller.garden.model import Hold, Watering, Window
from controller.garden.plumbing import ValveKind
from controller.messages import Message, Quantity

_DAY = timedelta(days=1)
FURTHEST_WINDOW_DAYS = 14  # we look no further ahead for a window; our choice


@dataclass(frozen=True, slots=True, order=True)
class Stretch:
    """A stretch of real time, without its end."""

    begins_utc: datetime
    ends_utc: datetime

    @property
    def seconds(self) -> float:
        """Its length. [s]"""
        return (self.ends_utc - self.begins_utc).total_seconds()


@lru_cache(maxsize=1024)
def utc_from_local(local: datetime, zone: ZoneInfo) -> datetime:
    """UTC of a naive local time, by the module's rule for skipped and doubled times.

    On whole seconds for a skipped time.

    Source
    ------
    Our choice: the jump for a skipped time, the first for a doubled one.

    Examples
    --------
    >>> rome = ZoneInfo("Europe/Rome")  # clocks change on 30 March and 26 October 2031
    >>> utc_from_local(datetime(2031, 3, 30, 2, 30), rome).isoformat()  # skipped
    '2031-03-30T01:00:00+00:00'
    >>> utc_from_local(datetime(2031, 10, 26, 2, 30), rome).isoformat()  # doubled
    '2031-10-26T00:30:00+00:00'
    """
    first = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) == local:
        return first
    # Skipped: with the offset after the jump it lies before the jump, and the other way round.
    low, high = local.replace(tzinfo=zone, fold=1).astimezone(UTC), first
    before = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) // 2
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)


def allowed(
    watering: Watering, zone_name: str, valve: ValveKind, day: date, zone_info: ZoneInfo
) -> list[Stretch]:
    """The stretches in which this zone may water, in order, for windows that begin on this day.

    Overlapping windows are joined, and holds are cut out.
    """
    windows = []
    for window in watering.windows:
        if day.weekday() in window.weekdays and valve in window.valves:
            past_midnight = window.closes <= window.opens
            begins = utc_from_local(datetime.combine(day, window.opens), zone_info)
            ends = utc_from_local(
                datetime.combine(day + _DAY if past_midnight else day, window.closes), zone_info
            )
            if ends > begins:
                windows.append(Stretch(begins, ends))
    return _without(_merged(windows), hold_stretches(watering.holds, zone_name, zone_info))


def clock_change_messages(
    watering: Watering, zone_info: ZoneInfo, first: date, last: date
) -> list[Message]:
    """Messages on windows that a change of the clocks makes longer or shorter."""
    messages: list[Message] = []
    day = first
    while day <= last:
        midnights = (datetime.combine(day + n * _DAY, time(), tzinfo=zone_info) for n in (0, 2))
        if len({midnight.utcoffset() for midnight in midnights}) > 1:
            for window in watering.windows:
                if day.weekday() in window.weekdays:
                    messages += _change_messages(window, day, zone_info)
        day += _DAY
    return list(dict.fromkeys(messages))


def _change_messages(window: Window, day: date, zone_info: ZoneInfo) -> list[Message]:
    opens = datetime.combine(day, window.opens)
    closes = datetime.combine(day, window.closes)
    if closes <= opens:
        closes += _DAY
    lasts = utc_from_local(closes, zone_info) - utc_from_local(opens, zone_info)
    if lasts == closes - opens:
        return []
    return [
        Message(
            "windows.clock_change",
            {
                "opens": f"{opens:%H:%M}",
                "closes": f"{closes:%H:%M}",
                "day": str(day),
                "lasts": Quantity(max(lasts, timedelta(0)).total_seconds(), "hours"),
                "usual": Quantity((closes - opens).total_seconds(), "hours"),
            },
        )
    ]


def hold_stretches(holds: Iterable[Hold], zone_name: str, zone_info: ZoneInfo) -> list[Stretch]:
    """The holds of this zone, as real time."""
    return [
        Stretch(utc_from_local(hold.begins, zone_info), utc_from_local(hold.ends, zone_info))
        for hold in holds
        if not hold.zones or zone_name in hold.zones
    ]


def hold_in_force(
    watering: Watering, zone_name: str, day: date, zone_info: ZoneInfo
) -> Hold | None:
    """The first hold of this zone on this local day, if any."""
    if not watering.holds:
        return None
    begins = utc_from_local(datetime.combine(day, time()), zone_info)
    ends = utc_from_local(datetime.combine(day + _DAY, time()), zone_info)
    for hold in watering.holds:
        for held in hold_stretches([hold], zone_name, zone_info):
            if held.begins_utc < ends and held.ends_utc > begins:
                return hold
    return None


def days_to_next_window(
    watering: Watering, valve: ValveKind, day: date, *, at_most: int = FURTHEST_WINDOW_DAYS
) -> int:
    """Days from `day` to the next later day with a window for this kind of valve.

    1 to `at_most`, which is the answer if there is no window before. [days]

    Source
    ------
    The calendar; the limit is our choice.

    Examples
    --------
    >>> from datetime import time
    >>> monday = Window(opens=time(5), closes=time(8), weekdays=frozenset({0}))
    >>> days_to_next_window(Watering(windows=(monday,)), ValveKind.RELAY, date(2031, 6, 26))
    4
    """
    for ahead in range(1, at_most):
        weekday = (day + ahead * _DAY).weekday()
        if any(weekday in w.weekdays and valve in w.valves for w in watering.windows):
            return ahead
    return at_most


def windows_on(watering: Watering, valve: ValveKind, day: date) -> int:
    """Number of windows for this kind of valve that begin on this day.

    Source
    ------
    The calendar.

    Examples
    --------
    >>> from datetime import time
    >>> monday = Window(opens=time(5), closes=time(8), weekdays=frozenset({0}))
    >>> windows_on(Watering(windows=(monday,)), ValveKind.RELAY, date(2031, 6, 30))
    1
    """
    return sum(day.weekday() in w.weekdays and valve in w.valves for w in watering.windows)


def _merged(stretches: Iterable[Stretch]) -> list[Stretch]:
    merged: list[Stretch] = []
    for stretch in sorted(stretches):
        if merged and stretch.begins_utc <= merged[-1].ends_utc:
            last = merged.pop()
            merged.append(Stretch(last.begins_utc, max(last.ends_utc, stretch.ends_utc)))
        else:
            merged.append(stretch)
    return merged


def _without(stretches: Sequence[Stretch], cut: Iterable[Stretch]) -> list[Stretch]:
    left = list(stretches)
    for hole in cut:
        remaining: list[Stretch] = []
        for s in left:
            if hole.begins_utc >= s.ends_utc or hole.ends_utc <= s.begins_utc:
                remaining.append(s)
                continue
            if hole.begins_utc > s.begins_utc:
                remaining.append(Stretch(s.begins_utc, hole.begins_utc))
            if hole.ends_utc < s.ends_utc:
                remaining.append(Stretch(hole.ends_utc, s.ends_utc))
        left = remaining
    return left
