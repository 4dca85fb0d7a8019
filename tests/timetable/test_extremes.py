"""Spells that dry far above usual, and frost: what is marked, what is held, what is said."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import pytest
from pytest import approx
from support.gardens import a_garden
from support.mornings import a_plan
from support.said import said
from support.stationyears import (
    ASTURIAS,
    MUNICH,
    RONDA,
    SWEDEN,
    WAGENINGEN,
    Station,
    days_of,
)

from controller.demand.records import DayInput
from controller.inputs.climatology import Normals, normals_from
from controller.inputs.days import demand_days
from controller.timetable.extremes import frost_days, frost_messages, heat_messages

TODAY = date(2031, 7, 10)
DAY = timedelta(days=1)


def a_day(ahead: int, **more: object) -> DayInput:
    plain = {"day": TODAY + ahead * DAY, "eto_mm": 4.0, "normal_eto_mm": 3.6, "rung": "station"}
    plain |= {"method": "penman-monteith", "rain_mm": 0.0, "tmin_c": 12.0, "tmax_c": 24.0}
    return DayInput(**(plain | more))  # type: ignore[arg-type]


def table(*days: DayInput) -> dict[date, DayInput]:
    return {d.day: d for d in days}


def test_a_spell_is_one_remark_with_its_worst_day() -> None:
    days = table(
        a_day(0),
        a_day(1, eto_mm=6.9, tmax_c=33.5, rung="forecast"),
        a_day(2, eto_mm=7.4, tmax_c=35.0, rung="forecast"),
    )
    assert said(heat_messages(days, TODAY)) == (
        "2031-07-11 to 2031-07-12: dries far more than usual, up to 35 C; reference ET up to "
        "7.4 mm, usual by the season's table is 3.6 mm",
    )
    (words,) = said(heat_messages(days, TODAY), us=True)
    assert "up to 95 F; reference ET up to 0.29 in" in words


def test_two_spells_are_two_remarks_and_what_is_long_over_is_none() -> None:
    hot = {"eto_mm": 6.9}
    days = table(a_day(-3, **hot), a_day(-1, **hot), a_day(0), a_day(1, **hot))
    found = said(heat_messages(days, TODAY))
    assert [words.split(":")[0] for words in found] == ["2031-07-09", "2031-07-11"]


def test_ordinary_days_stand_ins_and_winter_days_are_not_marked() -> None:
    days = table(
        a_day(0, eto_mm=6.0),
        a_day(1, eto_mm=7.0, rung="season"),
        a_day(2, eto_mm=1.9, normal_eto_mm=0.9),
        a_day(3, eto_mm=9.0, normal_eto_mm=None),
    )
    assert heat_messages(days, TODAY) == ()


def test_without_normals_what_was_usual_of_late_counts_where_it_is_more() -> None:
    days = table(*(a_day(-i, eto_mm=5.0) for i in range(1, 31)), a_day(0, eto_mm=8.0))
    assert heat_messages(days, TODAY) == ()
    (words,) = said(heat_messages({**days, TODAY: a_day(0, eto_mm=9.0)}, TODAY))
    assert words.endswith("reference ET 9 mm, usual in the days before is 5 mm")


# Days marked of a hundred, April to September, without normals. RECORDED.
@pytest.mark.parametrize(
    ("station", "marked_pct"),
    [(WAGENINGEN, 3.0), (ASTURIAS, 0.0), (SWEDEN, 5.9), (MUNICH, 0.8), (RONDA, 0.0)],
    ids=lambda v: v.name if isinstance(v, Station) else "",
)
def test_on_station_years_few_days_are_marked(station: Station, marked_pct: float) -> None:
    rows = [w for w in days_of(station) if w.day.year >= 1995]
    days = demand_days(rows, station.site, last=rows[-1].day, climate=station.climate).days
    assert _marked_pct(days, None) == approx(marked_pct, abs=0.5)


def test_with_normals_some_days_in_a_hundred_are_marked() -> None:
    site = WAGENINGEN.site
    rows = [w for w in days_of(WAGENINGEN) if 1995 <= w.day.year <= 1999]
    normals = normals_from([w for w in days_of(WAGENINGEN) if w.day.year < 1995], site)
    days = demand_days(rows, site, last=rows[-1].day, normals=normals).days
    # RECORDED, as the shares without normals above.
    assert _marked_pct(days, normals) == approx(6, abs=0.5)
    hot = next(d for d in days if heat_messages(days, d, normals=normals))
    (words,) = said(heat_messages(days, hot, normals=normals)[:1])
    assert "usual here is" in words


def _marked_pct(days: Mapping[date, DayInput], normals: Normals | None) -> float:
    summer = [d for d in days if 4 <= d.month <= 9]
    marked = 0
    for day in summer:
        until = {day - i * DAY: found for i in range(31) if (found := days.get(day - i * DAY))}
        words = said(heat_messages(until, day, normals=normals))
        marked += any(f"{day}" in w.split(":")[0] for w in words)
    return 100.0 * marked / len(summer)


def test_frost_tonight_or_tomorrow_holds_the_days_around_it() -> None:
    def held(*tmins: float | None) -> tuple[int, ...]:
        days = table(*(a_day(i, tmin_c=t) for i, t in enumerate(tmins)))
        return tuple((d - TODAY).days for d in frost_days(days, today=TODAY, hold_below_c=0.0))

    assert held(4.0, 3.0, 2.0) == ()
    assert held(0.0, 3.0, 2.0) == (0,)
    assert held(4.0, -1.0, 2.0) == (0, 1)  # today's water would freeze in the pipes
    assert held(-2.0, -1.0, 2.0) == (0, 1)
    assert held(4.0, 3.0, -5.0) == ()  # the day after tomorrow is too far to hold for
    assert held(None, None) == ()
    assert held() == ()


def test_no_bound_holds_nothing_and_another_bound_is_kept() -> None:
    days = table(a_day(0, tmin_c=-8.0), a_day(1, tmin_c=1.5))
    assert frost_days(days, today=TODAY, hold_below_c=None) == ()
    assert frost_messages(days, today=TODAY, last=TODAY + 3 * DAY, hold_below_c=None) == ()
    warm = table(a_day(0, tmin_c=3.0), a_day(1, tmin_c=1.5))
    assert frost_days(warm, today=TODAY, hold_below_c=2.0) == (TODAY, TODAY + DAY)


def test_frost_says_how_cold_what_is_held_and_what_to_do() -> None:
    days = table(a_day(0, tmin_c=5.0), a_day(1, tmin_c=-2.5, rung="forecast"))
    found = frost_messages(days, today=TODAY, last=TODAY + 3 * DAY, hold_below_c=0.0)
    assert said(found) == (
        "frost: -2.5 C forecast for 2031-07-11; nothing is watered on 2031-07-10 and 2031-07-11. "
        "Drain the pipes that are above ground",
    )
    (words,) = said(found, us=True)
    assert "27.5 F forecast" in words
    normal = table(a_day(0, tmin_c=-1.0, rung="normal"), a_day(1))
    (words,) = said(frost_messages(normal, today=TODAY, last=TODAY + 3 * DAY, hold_below_c=0.0))
    assert words.startswith(
        "frost: -1 C expected for 2031-07-10; nothing is watered on 2031-07-10."
    )


def test_frost_that_a_forecast_has_later_is_said_with_the_days_it_may_take() -> None:
    def later_frost(last: int, *tmins: float, rung: str = "forecast") -> tuple[str, ...]:
        days = table(*(a_day(i, tmin_c=t, rung=rung) for i, t in enumerate(tmins)))
        until = TODAY + last * DAY
        return said(frost_messages(days, today=TODAY, last=until, hold_below_c=0.0))

    assert later_frost(4, 5.0, 4.0, 3.0, -1.0, 2.0) == (
        "frost: -1 C forecast for 2031-07-13; if it comes, what is listed for "
        "2031-07-12, 2031-07-13 is left out, and does not count as given. Print the plan again "
        "that morning",
    )
    # Tomorrow's frost holds tomorrow; the day after tomorrow is left to be seen.
    tonight, later = later_frost(4, 5.0, -1.0, -2.0, 3.0, 2.0)
    assert "nothing is watered on 2031-07-10 and 2031-07-11" in tonight
    assert "listed for 2031-07-12 is left" in later
    # The evening before a frost is at stake, though the frost is past the last day.
    assert "listed for 2031-07-12 is left" in later_frost(2, 5.0, 4.0, 3.0, -1.0)[0]
    assert later_frost(1, 5.0, 4.0, 3.0, -1.0) == ()
    assert (
        later_frost(4, 5.0, 4.0, 3.0, -1.0, 2.0, rung="normal") == ()
    )  # usual cold is no forecast


def test_a_plan_says_them_in_the_gardens_own_units_and_of_its_own_days() -> None:
    days = table(
        *(a_day(n) for n in range(-5, 0)),
        a_day(0, eto_mm=7.4, tmax_c=35.0, rung="forecast"),
        a_day(1, tmin_c=-1.0, rung="forecast"),
        a_day(2, eto_mm=7.4, tmax_c=35.0, rung="forecast"),
    )
    garden = a_garden()
    words = said(a_plan(garden, days, first=TODAY).remarks)
    # WORKED: 35 °C are 95 °F, -1 °C 30.2 °F.
    (hot,) = [found for found in words if "dries far more than usual" in found]
    assert hot.startswith("2031-07-10: ") and "up to 35 C" in hot
    (cold,) = [found for found in words if found.startswith("frost: ")]
    assert "-1 C" in cold
    us = said(a_plan(garden, days, first=TODAY).remarks, us=True)
    assert any("up to 95 F" in words for words in us)
    assert any(words.startswith("frost: 30.2 F") for words in us)
