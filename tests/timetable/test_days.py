"""From days of weather to days of demand: gaps are named, stood in for, never filled in silence."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from pytest import approx
from support.gardens import a_garden

from controller.errors import NoWeather
from controller.timetable.days import CLIMATE_DAYS, demand_days, eto_of
from controller.weather.day import WeatherDay

SITE = a_garden().site
BEGINS = date(2031, 6, 1)
DAY = timedelta(days=1)


def a_day(ahead: int, **more: object) -> WeatherDay:
    plain = WeatherDay(
        day=BEGINS + ahead * DAY,
        tmin_c=11.0 + ahead % 3,
        tmax_c=24.0 + ahead % 5,
        rh_min_pct=40.0,
        rh_max_pct=92.0,
        wind_m_s=1.5 + 0.1 * ahead,
        solar_mj_m2=21.0,
        rain_mm=0.0,
        source="station",
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def test_every_day_is_there_in_order_up_to_the_last() -> None:
    found = demand_days([a_day(i) for i in range(5)], SITE, last=BEGINS + 9 * DAY)
    assert list(found.days) == [BEGINS + i * DAY for i in range(10)]


def test_a_measured_day_has_its_own_reference_et() -> None:
    weather = a_day(0)
    eto = eto_of(weather, SITE)
    found = demand_days([weather], SITE, last=BEGINS)
    assert eto is not None
    assert found.days[BEGINS].eto_mm == eto.eto_mm_day
    assert found.days[BEGINS].method == eto.method


def test_a_gap_is_named_and_stood_in_for_by_the_days_before_and_its_rain_is_unknown() -> None:
    weather = [a_day(i) for i in range(12) if i not in (8, 9)]
    found = demand_days(weather, SITE, last=BEGINS + 11 * DAY)
    gap = found.days[BEGINS + 8 * DAY]
    before = [found.days[BEGINS + i * DAY].eto_mm for i in range(1, 8)]
    assert gap.eto_mm == approx(sum(before) / 7)
    assert gap.rain_mm is None
    assert not gap.measured
    assert gap.method == "stand-in: mean of 7 days"
    assert "2031-06-09, 2031-06-10: no usable weather" in found.remarks[0]


def test_a_day_with_rain_and_no_temperatures_keeps_its_rain() -> None:
    weather = [a_day(0), a_day(1, tmin_c=None, rain_mm=7.0), a_day(2)]
    found = demand_days(weather, SITE, last=BEGINS + 2 * DAY)
    assert found.days[BEGINS + DAY].rain_mm == 7.0
    assert found.days[BEGINS + DAY].method.startswith("stand-in")


def test_missing_rain_is_not_zero_rain() -> None:
    found = demand_days([a_day(0, rain_mm=None)], SITE, last=BEGINS)
    assert found.days[BEGINS].rain_mm is None


def test_the_gardens_own_gauge_outranks_the_source() -> None:
    found = demand_days([a_day(0, rain_mm=3.0)], SITE, last=BEGINS, rain_gauge_mm={BEGINS: 9.5})
    assert found.days[BEGINS].rain_mm == 9.5


def test_an_impossible_day_is_named_and_treated_as_missing() -> None:
    weather = [a_day(0), a_day(1, tmin_c=90.0, tmax_c=95.0), a_day(2)]
    found = demand_days(weather, SITE, last=BEGINS + 2 * DAY)
    assert found.days[BEGINS + DAY].method.startswith("stand-in")
    assert found.remarks[0].startswith("2031-06-02: ")


def test_wind_and_humidity_for_the_crop_are_means_of_the_days_up_to_it() -> None:
    weather = [a_day(i) for i in range(60)]
    found = demand_days(weather, SITE, last=BEGINS + 59 * DAY)
    last = [eto_of(w, SITE) for w in weather[-CLIMATE_DAYS:]]
    assert found.days[BEGINS + 59 * DAY].wind_2m_m_s == approx(
        sum(e.wind_2m_m_s for e in last if e is not None) / CLIMATE_DAYS
    )


def test_without_any_temperatures_there_is_no_ledger() -> None:
    with pytest.raises(NoWeather, match="no day up to 2031-06-01 has both temperatures"):
        demand_days([a_day(0, tmin_c=None)], SITE, last=BEGINS)


def test_a_stand_in_does_not_reach_across_half_a_season() -> None:
    with pytest.raises(NoWeather, match="no measured day within 45 days"):
        demand_days([a_day(0)], SITE, last=BEGINS + 60 * DAY)
