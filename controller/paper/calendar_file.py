"""The openings by hand as an iCalendar file (RFC 5545), so that a phone reminds of them.

Each opening has the same name in every file of its garden: a newer file takes the place of an
older one, event by event. An opening of the older file that is no longer planned is written as
cancelled, for a calendar does not forget what a file no longer has.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterator
from datetime import date, datetime, timedelta
from typing import Any

from icalendar import Alarm, Calendar, Event

from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.paper.amounts import Units
from controller.paper.rounds import hand_minutes, opening_words
from controller.paper.text import clock_time, open_time
from controller.timetable.records import Pulse, Timetable

PRODUCT = "-//Rowgate//watering by hand//EN"
# The phone reminds so long before an opening, and when it is to be shut; our choice.
AHEAD = timedelta(minutes=5)
_ZONE = "X-ROWGATE-ZONE"


def calendar_text(
    timetable: Timetable,
    garden: Garden,
    *,
    written_utc: datetime,
    zones: Collection[str],
    twelve_hours: bool,
    older: str | None = None,
) -> str:
    """The calendar of these zones, with what stays of an older file of the same garden.

    Raises
    ------
    InputError
        If `older` is not such a file.
    """
    calendar: Any = Calendar()  # what the library's components hold has many types
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"{garden.site.name}: water by hand")
    stamp = written_utc.replace(microsecond=0)
    events = [
        _event(pulse, number, garden, stamp, twelve_hours) for pulse, number in _numbered(timetable)
    ]
    planned = {str(event["uid"]) for event in events}
    if older is not None:
        kept = (e for e in _events_of(older) if str(e["uid"]) not in planned)
        events += (_kept(e, timetable, garden, stamp, zones) for e in kept)
    for event in sorted(events, key=lambda e: (e["dtstart"].dt, str(e["uid"]))):
        calendar.add_component(event)
    if events:
        days = [event["dtstart"].dt.date() for event in events]
        year = timedelta(days=366)  # the rules of a year before and after are enough
        calendar.add_missing_timezones(min(days) - year, max(days) + year)
    text: str = calendar.to_ical().decode("utf-8")
    return text


def _numbered(timetable: Timetable) -> Iterator[tuple[Pulse, int]]:
    """The openings by hand, each with its number among those of its zone and day."""
    met: dict[tuple[str, date], int] = defaultdict(int)
    for pulse in sorted(timetable.pulses, key=lambda p: p.opens_utc):
        if pulse.valve is ValveKind.HAND:
            met[pulse.zone, pulse.day] += 1
            yield pulse, met[pulse.zone, pulse.day]


def _event(pulse: Pulse, number: int, garden: Garden, stamp: datetime, twelve_hours: bool) -> Any:
    zone, zone_info = garden.zone(pulse.zone), garden.site.zone_info
    minutes = hand_minutes(pulse.open_s)
    opens = pulse.opens_utc.astimezone(zone_info).replace(microsecond=0)
    lasts = (
        timedelta(seconds=round(pulse.open_s)) if minutes is None else timedelta(minutes=minutes)
    )
    shuts = (pulse.opens_utc + lasts).astimezone(zone_info).replace(microsecond=0)
    time = open_time(pulse.open_s) if minutes is None else f"{minutes} min"
    name = f"{garden.site.name}|{pulse.zone}|{pulse.day.isoformat()}|{number}"
    event: Any = Event()
    event.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_URL, f'rowgate:{name}')}")
    event.add("dtstamp", stamp)
    event.add("sequence", _sequence(stamp))
    event.add("dtstart", opens)
    event.add("dtend", shuts)
    event.add("summary", f"Water {pulse.zone}: {time}, until {clock_time(shuts, twelve_hours)}")
    told = [
        f"open to: {opening_words(zone, us=garden.us_units)}",
        f"amount: {Units(garden.us_units).volume(pulse.litres)}",
        *([f"keeper: {zone.bed.keeper}"] if zone.bed.keeper else []),
    ]
    event.add("description", "\n".join(told))
    event.add("location", zone.bed.name)
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    event.add(_ZONE, pulse.zone)
    event.add_component(_alarm(f"Open {pulse.zone}", -AHEAD, related="START"))
    event.add_component(_alarm(f"Shut {pulse.zone}", timedelta(), related="END"))
    return event


def _alarm(words: str, trigger: timedelta, *, related: str) -> Any:
    alarm: Any = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", words)
    alarm.add("trigger", trigger, parameters={"RELATED": related})
    return alarm


def _sequence(stamp: datetime) -> int:
    """A number that grows with time, as the revisions of an event must (RFC 5545, 3.8.7.4)."""
    return int(stamp.timestamp() // 60)


def _events_of(older: str) -> list[Any]:
    """The events of an older file that this module wrote."""
    try:
        calendar: Any = Calendar.from_ical(older)
        if str(calendar.get("prodid", "")) == PRODUCT:
            known = ("uid", "dtstart", _ZONE)
            return [e for e in calendar.walk("VEVENT") if all(key in e for key in known)]
    except (ValueError, KeyError, IndexError):
        pass
    raise InputError("the file is there, and is no calendar of Rowgate's; name another one")


def _kept(
    event: Any, timetable: Timetable, garden: Garden, stamp: datetime, zones: Collection[str]
) -> Any:
    """An older event as it is, or cancelled if the new plan of its day and zone is without it."""
    start = event["dtstart"].dt
    day = start.astimezone(garden.site.zone_info).date()
    if str(event[_ZONE]) not in zones or not timetable.first <= day <= timetable.last:
        return event
    if str(event.get("status", "")) == "CANCELLED":
        return event
    gone: Any = Event()
    for key in ("uid", "dtstart", "dtend", "summary", "location", _ZONE):
        if key in event:
            gone[key] = event[key]
    gone.add("dtstamp", stamp)
    gone.add("sequence", _sequence(stamp))
    gone.add("status", "CANCELLED")
    gone.add("transp", "TRANSPARENT")
    return gone
