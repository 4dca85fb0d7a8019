"""Zones that go short of water are named, with the reason."""

from __future__ import annotations

from datetime import date, timedelta

from support.gardens import a_garden, a_row, a_zone

from controller.hydraulics.lines import Lines
from controller.timetable.jobs import Grounds
from controller.timetable.onweather import Weather, plan_on
from controller.timetable.plan import NOTHING_GIVEN
from crops.catalogue import load

FIRST = date(2031, 7, 7)


def test_a_zone_whose_rows_are_all_plugged_is_short_and_says_why() -> None:
    garden = a_garden(a_zone("dry", rows=(a_row(plugged=True),)), a_zone("fed", relay=18))
    found = plan_on(
        garden,
        Grounds(garden, load()),
        Lines(garden),
        Weather(rows=()),
        NOTHING_GIVEN,
        first=FIRST,
        last=FIRST + timedelta(days=2),
        today=FIRST,
    )
    assert {pulse.zone for pulse in found.pulses} == {"fed"}
    assert [(short.zone, short.reason) for short in found.short] == [
        ("dry", "all its rows are plugged")
    ]
