"""Crops that will find too little water are named: from when, how much, and why."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan, catalogue

from controller.garden.model import Garden, Hold, Planting, Watering
from controller.garden.plumbing import Opening
from controller.hydraulics.network.garden_lines import Lines
from controller.messages import verbatim
from controller.timetable.need.jobs import NOTHING_GIVEN, Grounds
from controller.timetable.notices import is_short, shortages
from controller.timetable.plan import Installation, Span, Weather, plan_on
from controller.timetable.records import NotFitted, Short, Timetable
from controller.units import m3_s_from_l_min
from controller.wording.say import say

DAY = timedelta(days=1)
SET_OUT = date(2031, 6, 1)
LETTUCE = Planting(crop="lettuce", start=SET_OUT, until=SET_OUT + 75 * DAY)
DAYS = even_days(SET_OUT - 10 * DAY, SET_OUT + 80 * DAY, eto_mm=5.0)
SATURDAYS = replace(EVERY_DAY, weekdays=frozenset({5}))


def said_reason(short: Short) -> str:
    return "" if short.reason is None else say(short.reason, us=False)


def beds(*windows: object, **zone: object) -> Garden:
    zone = {"opening": Opening(alone_flow_m3_s=m3_s_from_l_min(3.0)), **zone}
    salad = a_zone("salad", 17, plantings=(LETTUCE,), **zone)
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
    assert said_reason(short) == "no window on this day"


def test_a_bed_that_gets_its_water_is_not() -> None:
    assert season(beds()).short == ()


def test_a_cap_and_a_hold_are_named_as_the_reason() -> None:
    capped = season(beds(daily_cap_m3=0.004))
    assert [said_reason(s) for s in capped.short] == ["the zone's daily cap is reached"]
    garden = beds()
    hold = Hold(
        begins=datetime(2031, 6, 21),
        ends=datetime(2031, 7, 5),
        reason="the tap is off",
    )
    held = season(replace(garden, watering=replace(garden.watering, holds=(hold,))))
    (short,) = held.short
    assert said_reason(short) == "held: the tap is off"
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
        Installation(garden, Grounds(garden, catalogue()), Lines(garden)),
        Weather(rows=()),
        NOTHING_GIVEN,
        Span.between(first=SET_OUT, last=SET_OUT + 2 * DAY, today=SET_OUT),
    )
    assert {pulse.zone for pulse in found.pulses} == {"fed"}
    assert [(short.zone, said_reason(short)) for short in found.short] == [
        ("dry", "all its rows are plugged")
    ]


def test_what_kept_water_back_later_is_not_why_a_crop_was_short_before() -> None:
    rows = [r for r in season(beds()).ledger if r.crop and r.phase == ""][:5]
    dry = [replace(r, stress=s) for r, s in zip(rows, (1.0, 0.9, 0.5, 0.7, 0.98), strict=True)]
    worst = dry[2].day

    def reason(*left: NotFitted) -> str:
        (short,) = shortages(dry, left, first=rows[0].day)
        # 0.98 is where a shortage begins (our choice).
        assert (short.first, short.days) == (dry[1].day, 3)
        assert (short.least_stress, short.worst_day) == (0.5, worst)
        return said_reason(short)

    def back(day: date, zone: str = "salad", why: str = "no window") -> NotFitted:
        return NotFitted(zone=zone, day=day, litres=1.0, reason=verbatim(why))

    assert reason() == ""
    assert reason(back(worst)) == reason(back(worst - DAY)) == "no window"
    assert reason(back(worst + DAY)) == ""
    assert reason(back(worst, zone="another")) == ""
    assert reason(back(worst - DAY), back(worst, why="the cap")) == "no window"
    (later,) = shortages(dry, (), first=worst)
    assert (later.first, later.days) == (worst, 2)
    asked = sum(r.kcb * r.eto_mm * r.exposure - r.transpired_mm for r in dry[2:4])
    assert later.lost_mm == approx(max(asked, 0.0))


def test_seedbeds_what_dries_down_and_the_first_day_are_never_short() -> None:
    row = next(r for r in season(beds()).ledger if r.crop and r.phase == "")
    assert is_short(replace(row, stress=0.97, day_of_planting=2))
    for not_short in (
        {"stress": 0.98},
        {"crop": None},
        {"day_of_planting": 1},
        {"phase": "seedbed"},
        {"phase": "dry-down"},
    ):
        plain = {"stress": 0.5, "day_of_planting": 2}
        assert not is_short(replace(row, **{**plain, **not_short}))  # type: ignore[arg-type]
    # By the single coefficient a crop lacks what it asks for less what it used.
    single = replace(row, stress=0.5, day_of_planting=9, coefficients="single", etc_mm=5.0)
    (short,) = shortages([replace(single, used_mm=2.0)], (), first=row.day)
    assert short.lost_mm == 3.0
