"""The calendar of openings by hand, against RFC 5545 and by two readers."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from dateutil import tz
from icalendar import Calendar
from support.gardens import a_garden, a_zone

from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.paper.calendar_file import AHEAD, calendar_text
from controller.timetable.records import Pulse, Timetable

DAY = timedelta(days=1)
FIRST = date(2031, 7, 1)
NOW = datetime(2031, 7, 1, 6, 0, tzinfo=UTC)
GARDEN = a_garden(a_zone("h", relay=None), a_zone("äußere Beete, links", relay=None), a_zone("b"))
ZONES = frozenset(zone.name for zone in GARDEN.zones)


def a_pulse(zone: str, opens_utc: datetime, *, minutes: float = 10.0) -> Pulse:
    relay = GARDEN.zone(zone).valve.relay_line
    return Pulse(
        zone=zone, day=opens_utc.date(), slot=7, opens_utc=opens_utc,
        closes_utc=opens_utc + timedelta(minutes=minutes), open_s=60.0 * minutes, litres=20.0,
        valve=ValveKind.HAND if relay is None else ValveKind.RELAY, relay_line=relay,
    )  # fmt: skip


def a_sheet(*pulses: Pulse, last: date = FIRST + 6 * DAY) -> Timetable:
    return Timetable(first=FIRST, last=last, pulses=pulses, doses=(), not_fitted=(), ledger=())


def written(
    sheet: Timetable,
    *,
    garden: Garden = GARDEN,
    now: datetime = NOW,
    zones: frozenset[str] = ZONES,
    older: str | None = None,
) -> str:
    return calendar_text(
        sheet, garden, written_utc=now, zones=zones, twelve_hours=False, older=older
    )


def events(text: str) -> list[Any]:
    calendar: Any = Calendar.from_ical(text)
    return list(calendar.walk("VEVENT"))


EVENING = datetime(2031, 7, 1, 15, 0, tzinfo=UTC)  # 17:00 in Zurich
TWO = a_sheet(
    a_pulse("h", EVENING),
    a_pulse("h", EVENING + timedelta(hours=1)),
    a_pulse("äußere Beete, links", EVENING + DAY),
    a_pulse("b", EVENING),
)


def test_the_file_is_made_as_rfc_5545_has_it() -> None:
    text = written(TWO)
    # PRINTED, RFC 5545, 3.1: lines end with CR LF and should be no longer than 75 octets.
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    # PRINTED, 3.6: prodid and version are required, once; 3.6.1: uid and dtstamp in each event.
    assert text.count("\r\nPRODID:") == text.count("\r\nVERSION:2.0\r\n") == 1
    for event in events(text):
        assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY"} <= {*event}
        # 3.6.6: an alarm that is displayed has its action, its trigger and words.
        assert len(event.walk("VALARM")) == 2
        for alarm in event.walk("VALARM"):
            assert {"ACTION", "TRIGGER", "DESCRIPTION"} <= {*alarm}
    # 3.2.19: a time zone that is named must be defined in the file.
    assert {*re.findall(r";TZID=([^:]+):", text)} == {*re.findall(r"\r\nTZID:(.+)\r\n", text)}


def test_openings_by_hand_are_there_in_the_garden_s_time_and_no_relay_s() -> None:
    found = events(written(TWO))
    assert [str(e["summary"]) for e in found] == [
        "Water h: 10 min, until 17:10",
        "Water h: 10 min, until 18:10",
        "Water äußere Beete, links: 10 min, until 17:10",
    ]
    assert [e["dtstart"].dt for e in found] == [
        EVENING,
        EVENING + timedelta(hours=1),
        EVENING + DAY,
    ]
    assert found[0]["dtstart"].params["TZID"] == "Europe/Zurich"
    assert found[0]["dtend"].dt == EVENING + timedelta(minutes=10)
    before, at_end = (alarm["trigger"] for alarm in found[0].walk("VALARM"))
    assert (before.dt, before.params["RELATED"]) == (-AHEAD, "START")
    assert (at_end.dt, at_end.params["RELATED"]) == (timedelta(), "END")


@pytest.mark.parametrize("zone", ["Europe/Zurich", "America/New_York", "Australia/Adelaide"])
def test_the_time_zone_in_the_file_is_right_by_a_second_reader(zone: str) -> None:
    """dateutil reads the rules that the file carries, and knows no other."""
    garden = replace(GARDEN, site=replace(GARDEN.site, timezone=zone))
    year = [a_pulse("h", datetime(2031, 1, 5, 9, tzinfo=UTC) + n * 21 * DAY) for n in range(17)]
    text = written(a_sheet(*year, last=date(2031, 12, 31)), garden=garden)
    block = re.search(r"BEGIN:VTIMEZONE.*END:VTIMEZONE", text, re.S)
    assert block is not None
    rules = tz.tzical(io.StringIO(block[0].replace("\r\n", "\n"))).get(zone)
    starts = re.findall(r"BEGIN:VEVENT.*?DTSTART;TZID=[^:]+:(\d{8}T\d{6})", text, re.S)
    assert len(starts) == len(year)
    for pulse, start in zip(year, starts, strict=True):
        local = datetime.strptime(start, "%Y%m%dT%H%M%S").replace(tzinfo=rules)
        assert local.astimezone(UTC) == pulse.opens_utc


def test_a_newer_file_replaces_the_events_of_an_older_one() -> None:
    older = written(TWO)
    later = NOW + timedelta(hours=3)
    moved = a_sheet(a_pulse("h", EVENING + timedelta(minutes=20), minutes=12))
    newer = written(moved, now=later, older=older)
    was = {str(e["uid"]): e for e in events(older)}
    now = {str(e["uid"]): e for e in events(newer)}
    assert {*was} == {*now}  # nothing comes twice, nothing is forgotten
    states = [str(e["status"]) for e in events(newer)]
    assert sorted(states) == ["CANCELLED", "CANCELLED", "CONFIRMED"]
    (kept,) = (e for e in now.values() if str(e["status"]) == "CONFIRMED")
    assert kept["dtstart"].dt == EVENING + timedelta(minutes=20)
    # RFC 5545, 3.8.7.4: the sequence number of a revision grows.
    for uid, event in now.items():
        assert event["sequence"] > was[uid]["sequence"]
        assert event["dtstamp"].dt == later


def test_events_of_other_zones_and_other_days_stay() -> None:
    older = written(TWO)
    none = written(a_sheet(), zones=frozenset("h"), older=older)
    states = {str(e["x-rowgate-zone"]): str(e["status"]) for e in events(none)}
    assert states == {"h": "CANCELLED", "äußere Beete, links": "CONFIRMED"}
    short = written(a_sheet(last=FIRST), older=older)
    states = {str(e["x-rowgate-zone"]): str(e["status"]) for e in events(short)}
    assert states == {"h": "CANCELLED", "äußere Beete, links": "CONFIRMED"}
    again = written(a_sheet(last=FIRST), older=short, now=NOW + DAY)
    assert [e.to_ical() for e in events(again)] == [e.to_ical() for e in events(short)]


@pytest.mark.parametrize(
    "older",
    ["", "no calendar", written(TWO).replace("Rowgate", "Somebody"), "BEGIN:VCALENDAR\r\n"],
)
def test_a_file_of_somebody_else_is_not_written_over(older: str) -> None:
    with pytest.raises(InputError, match="no calendar of Rowgate's"):
        written(TWO, older=older)
