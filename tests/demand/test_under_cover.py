"""A day of weather under a cover."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.under_cover import (
    day_under,
    days_under,
    rain_under,
    shelter_on,
)
from controller.demand.records import DayInput
from controller.garden.model import Cover

FIRST, LAST = date(2031, 3, 1), date(2031, 10, 31)
DAY = timedelta(days=1)
GLASS = Cover(kind="glasshouse", eto_factor=0.65, rain_factor=0.0, is_film=True)
TUNNEL = replace(GLASS, kind="high tunnel", eto_factor=0.75, begins=FIRST, until=LAST)
CLOTH = Cover(kind="shade cloth", eto_factor=0.60, rain_factor=1.0)
FLEECE = Cover(kind="row cover", eto_factor=0.85, rain_factor=0.8, warmer_c=3.0)
OUTSIDE = DayInput(
    day=date(2031, 7, 6),
    eto_mm=6.0,
    method="given",
    rain_mm=10.0,
    wind_2m_m_s=3.5,
    rh_min_pct=35.0,
    tmin_c=12.0,
    tmax_c=26.0,
    rain_chance_pct=70.0,
    snow_mm=5.0,
    normal_eto_mm=5.0,
)


def test_under_glass_a_share_of_the_eto_no_rain_and_still_moist_air() -> None:
    under = day_under([GLASS], OUTSIDE)
    # WORKED: 0.65 x 6.0 = 3.9, 0.65 x 5.0 = 3.25.
    assert under.eto_mm == approx(3.9) and under.normal_eto_mm == approx(3.25)
    assert (under.rain_mm, under.snow_mm) == (0.0, 0.0)
    assert (under.wind_2m_m_s, under.rh_min_pct) == (1.0, 60.0)
    assert (under.tmin_c, under.tmax_c) == (12.0, 26.0)
    assert (under.day, under.method, under.rain_chance_pct) == (OUTSIDE.day, "given", 70.0)


def test_under_fleece_some_rain_and_warmer_days_in_the_outside_s_air() -> None:
    under = day_under([FLEECE], OUTSIDE)
    # WORKED: 0.85 x 6.0 = 5.1, 0.8 x 10 = 8, 0.8 x 5 = 4, 12 + 3 and 26 + 3.
    assert under.eto_mm == approx(5.1)
    assert (under.rain_mm, under.snow_mm) == (approx(8.0), approx(4.0))
    assert (under.tmin_c, under.tmax_c) == (15.0, 29.0)
    assert (under.wind_2m_m_s, under.rh_min_pct) == (3.5, 35.0)


def test_covers_that_stand_together_multiply() -> None:
    under = day_under([TUNNEL, CLOTH], OUTSIDE)
    # WORKED: 0.75 x 0.60 x 6.0 = 2.7.
    assert under.eto_mm == approx(2.7) and under.rain_mm == 0.0 and under.wind_2m_m_s == 1.0
    assert day_under([FLEECE, CLOTH], OUTSIDE).rain_mm == approx(8.0)


def test_a_cover_stands_from_its_first_day_to_its_last_and_no_longer() -> None:
    for day, stands in [(FIRST - DAY, False), (FIRST, True), (LAST, True), (LAST + DAY, False)]:
        outside = replace(OUTSIDE, day=day)
        found = day_under([TUNNEL], outside)
        assert (shelter_on([TUNNEL], day) is not None) is stands
        # WORKED: 0.75 x 6.0.
        assert (found.eto_mm, found.rain_mm) == ((approx(4.5), 0.0) if stands else (6.0, 10.0))
        assert (found is outside) is not stands


def test_rain_nobody_measured_is_none_where_none_passes() -> None:
    unknown = replace(OUTSIDE, rain_mm=None, tmin_c=None, tmax_c=None, normal_eto_mm=None)
    assert day_under([GLASS], unknown).rain_mm == 0.0
    found = day_under([FLEECE], unknown)
    assert found.rain_mm is None and found.tmin_c is None and found.normal_eto_mm is None


def test_rain_of_a_gauge_or_forecast_is_multiplied_day_by_day() -> None:
    rain = {FIRST - DAY: 4.0, FIRST: 4.0, LAST: 2.0}
    assert rain_under([TUNNEL], rain) == {FIRST - DAY: 4.0, FIRST: 0.0, LAST: 0.0}
    # WORKED: 0.8 x 10.
    assert rain_under([FLEECE], {FIRST: 10.0}) == {FIRST: approx(8.0)}
    assert rain_under([], rain) is rain


def test_without_covers_nothing_is_made_anew() -> None:
    days = {OUTSIDE.day: OUTSIDE}
    assert days_under([], days) is days
    assert day_under([], OUTSIDE) is OUTSIDE


@given(
    covers=st.lists(st.sampled_from([GLASS, TUNNEL, CLOTH, FLEECE]), unique=True),
    eto_mm=st.floats(0.0, 15.0),
    rain_mm=st.none() | st.floats(0.0, 300.0),
    ahead=st.integers(-400, 400),
)
def test_no_cover_here_adds_eto_or_rain(
    covers: list[Cover], eto_mm: float, rain_mm: float | None, ahead: int
) -> None:
    outside = replace(OUTSIDE, eto_mm=eto_mm, rain_mm=rain_mm, day=OUTSIDE.day + ahead * DAY)
    under = day_under(covers, outside)
    assert 0.0 <= under.eto_mm <= eto_mm
    if rain_mm is not None:
        assert under.rain_mm is not None and 0.0 <= under.rain_mm <= rain_mm
    assert days_under(covers, {outside.day: outside}) == {outside.day: under}
