"""Crops that will find too little water are named: from when, how much, and why."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan, catalogue

from controller.garden.model import Garden, Hold, Opening, Planting, Watering
from controller.hydraulics.lines import Lines
from controller.timetable.jobs import NOTHING_GIVEN, Grounds
from controller.timetable.onweather import Weather, plan_on
from controller.timetable.records import Timetable
from controller.units import m3_s_from_l_min

DAY = timedelta(days=1)
SET_OUT = date(2031, 6, 1)
LETTUCE = Planting(crop="lettuce", start=SET_OUT, until=SET_OUT + 75 * DAY)
DAYS = even_days(SET_OUT - 10 * DAY, SET_OUT + 80 * DAY, eto_mm=5.0)
SATURDAYS = replace(EVERY_DAY, weekdays=frozenset({5}))


def beds(*windows: object, **zone: object) -> Garden:
    zone = {"opening": Opening(alone_flow_m3_s=m3_s_from_l_min(3.0)), **zone}
    salad = a_zone("salad", 17, plantings=(LETTUCE,), **zone)  # type: ignore[arg-type]
    return a_garden(salad, watering=Watering(windows=windows or (EVERY_DAY,)))  # type: ignore[arg-type]


def season(garden: Garden, count: int = 42) -> Timetable:
    return a_plan(garden, DAYS, first=SET_OUT, count=count, given=NOTHING_GIVEN)


def test_a_bed_that_may_be_watered_on_saturdays_only_is_named() -> None:
    """The reported fault: short on 29 of 41 days, and not a word of it."""
    timetable = season(beds(SATURDAYS))
    (short,) = timetable.short
    rows = [r for r in timetable.ledger if r.crop and r.stress < 0.98 and r.day > SET_OUT]
    assert (short.zone, short.first, short.days) == ("salad", rows[0].day, len(rows))
    assert short.days > 15
    assert short.least_stress == min(r.stress for r in rows)
    # WORKED: what Kcb asks for, less what was drawn.
    asked = sum(r.kcb * r.eto_mm - r.transpired_mm for r in rows)
    assert short.lost_mm == approx(asked) and asked > 5.0
    assert short.reason == "no window on this day"


def test_a_bed_that_gets_its_water_is_not() -> None:
    assert season(beds()).short == ()


def test_a_cap_and_a_hold_are_named_as_the_reason() -> None:
    capped = season(beds(daily_cap_m3=0.004))
    assert [s.reason for s in capped.short] == ["the zone's daily cap"]
    garden = beds()
    hold = Hold(
        begins=datetime(2031, 6, 21),
        ends=datetime(2031, 7, 5),
        reason="the tap is off",
    )
    held = season(replace(garden, watering=replace(garden.watering, holds=(hold,))))
    (short,) = held.short
    assert short.reason == "held: the tap is off"
    assert SET_OUT + 20 * DAY < short.first < SET_OUT + 34 * DAY


def test_the_day_on_which_it_is_set_out_is_none() -> None:
    """It is watered in by hand; the ground was bare and dry before."""
    early = replace(LETTUCE, crop="spinach", start=SET_OUT - 40 * DAY, until=SET_OUT - 20 * DAY)
    zone = a_zone("salad", 17, plantings=(early, LETTUCE), rows=(a_row(),))
    days = even_days(SET_OUT - 41 * DAY, SET_OUT + 5 * DAY, eto_mm=6.0)
    timetable = a_plan(a_garden(zone), days, first=SET_OUT - DAY, count=4, given=NOTHING_GIVEN)
    (first,) = [r for r in timetable.ledger if r.day == SET_OUT]
    assert first.stress < 0.98
    assert not [s for s in timetable.short if s.first == SET_OUT]


def test_a_zone_whose_rows_are_all_plugged_is_short_and_says_why() -> None:
    garden = a_garden(a_zone("dry", rows=(a_row(plugged=True),)), a_zone("fed", relay=18))
    found = plan_on(
        garden,
        Grounds(garden, catalogue()),
        Lines(garden),
        Weather(rows=()),
        NOTHING_GIVEN,
        first=SET_OUT,
        last=SET_OUT + 2 * DAY,
        today=SET_OUT,
    )
    assert {pulse.zone for pulse in found.pulses} == {"fed"}
    assert [(short.zone, short.reason) for short in found.short] == [
        ("dry", "all its rows are plugged")
    ]
