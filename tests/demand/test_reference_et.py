"""Reference ET: the rungs in their order, what is refused, and what holds for any weather."""

from __future__ import annotations

from datetime import date, timedelta
from math import isfinite
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.atmosphere import (
    saturation_vapour_pressure_kpa,
    vapour_from_rh_max_kpa,
    vapour_from_rh_mean_kpa,
    vapour_from_rh_range_kpa,
)
from controller.demand.climate.radiation import day_of_year, extraterrestrial_mj_m2
from controller.demand.climate.reference_et import Note, penman_monteith_mm_day, reference_et
from controller.errors import OutOfRange

JULY = date(2031, 7, 10)
SITE: dict[str, Any] = {"latitude_deg": 47.0, "elevation_m": 400.0}
PLAIN: dict[str, Any] = {"day": JULY, **SITE, "tmin_c": 14.0, "tmax_c": 27.0}
# Every humidity there is, each with another vapour pressure behind it, best rung first.
HUMIDITIES: list[tuple[str, float, float, str]] = [
    ("vapour_pressure_kpa", 1.50, 1.50, "vapour pressure"),
    ("dewpoint_c", 12.0, saturation_vapour_pressure_kpa(12.0), "dew point"),
    (
        "rh_min_pct",  # with rh_max_pct below
        41.0,
        vapour_from_rh_range_kpa(tmin_c=14.0, tmax_c=27.0, rh_max_pct=88.0, rh_min_pct=41.0),
        "highest and lowest humidity",
    ),
    (
        "rh_max_pct",
        88.0,
        vapour_from_rh_max_kpa(tmin_c=14.0, rh_max_pct=88.0),
        "highest humidity",
    ),
    (
        "rh_mean_pct",
        66.0,
        vapour_from_rh_mean_kpa(tmin_c=14.0, tmax_c=27.0, rh_mean_pct=66.0),
        "mean humidity",
    ),
]


@pytest.mark.parametrize("first", range(6))
def test_vapour_stands_on_the_best_rung_there_is(first: Any) -> None:
    given_here: dict[str, Any] = {name: value for name, value, _, _ in HUMIDITIES[first:]}
    found = reference_et(**PLAIN, **given_here)
    if first < 5:
        _, _, vapour, rung = HUMIDITIES[first]
    else:
        vapour, rung = saturation_vapour_pressure_kpa(14.0), "dew point taken as Tmin"
    assert found.humidity_rung == rung
    # The same vapour, handed over outright, gives the same answer.
    outright = reference_et(**PLAIN, vapour_pressure_kpa=vapour)
    assert found.eto_mm_day == approx(outright.eto_mm_day, abs=1e-12)


def test_the_lowest_humidity_alone_gives_no_vapour_but_is_kept() -> None:
    found = reference_et(**PLAIN, rh_min_pct=33.0)
    assert found.humidity_rung == "dew point taken as Tmin"
    assert found.rh_min_pct == 33.0


def test_the_lowest_humidity_follows_from_the_vapour_where_it_was_not_measured() -> None:
    # Eq. 64: 100 e0(Tmin)/e0(Tmax). PRINTED, FAO-56 Table 2.3: e0 of 14 and 27 degrees are 1.599
    # and 3.565 kPa.
    assert reference_et(**PLAIN).rh_min_pct == approx(100 * 1.599 / 3.565, abs=0.03)


def test_sun_stands_on_the_best_rung_there_is() -> None:
    found = reference_et(**PLAIN, solar_mj_m2=22.0, sunshine_h=3.0)
    assert (found.radiation_rung, found.solar_mj_m2) == ("measured", 22.0)
    found = reference_et(**PLAIN, sunshine_h=3.0)
    assert found.radiation_rung == "sunshine hours"
    above = extraterrestrial_mj_m2(latitude_deg=47.0, day_of_year=day_of_year(JULY))
    assert 0.25 * above < found.solar_mj_m2 < 0.40 * above
    inland, coast = reference_et(**PLAIN), reference_et(**PLAIN, coastal=True)
    assert (inland.radiation_rung, coast.radiation_rung) == (
        "temperatures, inland",
        "temperatures, coast",
    )
    assert coast.solar_mj_m2 == approx(inland.solar_mj_m2 * 0.19 / 0.16, rel=1e-12)


def test_wind_is_brought_to_2_m_or_taken_as_usual() -> None:
    found = reference_et(**PLAIN, wind_m_s=4.0, wind_height_m=10.0)
    assert found.wind_rung == "measured at 10 m"
    assert found.wind_2m_m_s == approx(4.0 * 0.748, abs=0.002)  # PRINTED factor, Table 2.9
    found = reference_et(**PLAIN)
    assert (found.wind_2m_m_s, found.wind_rung) == (2.0, "taken as 2 m/s")


def test_a_calm_day_counts_as_half_a_metre_a_second_and_says_so() -> None:
    calm, half = reference_et(**PLAIN, wind_m_s=0.0), reference_et(**PLAIN, wind_m_s=0.5)
    assert calm.eto_mm_day == half.eto_mm_day
    assert calm.wind_2m_m_s == 0.0
    assert calm.notes == (Note.CALM,)
    assert half.notes == ()


MEASURED = {"dewpoint_c": 12.0, "solar_mj_m2": 22.0, "wind_m_s": 2.0}


@pytest.mark.parametrize(
    ("known", "method"),
    [
        (MEASURED, "penman-monteith"),
        (
            {"dewpoint_c": 12.0},
            "penman-monteith (sun from temperatures, wind 2 m/s)",
        ),
        (
            {"sunshine_h": 7.0, "wind_m_s": 2.0, "rh_mean_pct": 60.0},
            "penman-monteith (sun from sunshine hours)",
        ),
        (
            {},
            "penman-monteith (dew point taken as Tmin, sun from temperatures, wind 2 m/s)",
        ),
    ],
)
def test_the_method_names_what_was_filled_in(known: Any, method: str) -> None:
    assert reference_et(**PLAIN, **known).method == method


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({"tmin_c": 28.0}, "tmin_c"),
        ({"tmin_c": float("nan")}, "tmin_c"),
        ({"tmax_c": 84.0}, "tmax_c"),  # degrees Fahrenheit
        ({"dewpoint_c": 61.0}, "dewpoint_c"),
        ({"rh_max_pct": 104.0}, "rh_max_pct"),
        ({"rh_min_pct": -1.0}, "rh_min_pct"),
        ({"rh_mean_pct": float("nan")}, "rh_mean_pct"),
        ({"rh_max_pct": 50.0, "rh_min_pct": 60.0}, "rh_min_pct"),
        ({"vapour_pressure_kpa": 14.0}, "vapour_pressure_kpa"),  # hectopascals
        ({"wind_m_s": -0.1}, "wind_m_s"),
        ({"wind_m_s": 2.0, "wind_height_m": 0.0}, "wind_height_m"),
        ({"solar_mj_m2": 280.0}, "solar_mj_m2"),  # watts a square metre
        ({"sunshine_h": 25.0}, "sunshine_h"),
        ({"latitude_deg": 95.0}, "latitude_deg"),
        ({"elevation_m": 12000.0}, "elevation_m"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_name(
    changed: dict[str, float] | dict[str, Any], name: str
) -> None:
    with pytest.raises(OutOfRange, match=f"^{name}: found"):
        reference_et(**{**PLAIN, **changed})


def test_more_sun_than_a_clear_sky_gives_is_remarked_on() -> None:
    assert reference_et(**PLAIN, solar_mj_m2=29.0).notes == ()  # Rso is 31.5
    assert reference_et(**PLAIN, solar_mj_m2=36.0).notes == (Note.SUN_ABOVE_CLEAR_SKY,)
    cut = reference_et(**PLAIN, solar_mj_m2=50.0)
    above = extraterrestrial_mj_m2(latitude_deg=47.0, day_of_year=day_of_year(JULY))
    assert cut.solar_mj_m2 == above
    assert cut.notes == (Note.SUN_ABOVE_AIR,)


def test_more_sunshine_than_day_is_taken_as_sun_all_day() -> None:
    found = reference_et(**PLAIN, sunshine_h=20.0)
    assert found.notes == (Note.SUN_ALL_DAY,)
    assert found.solar_mj_m2 == approx(
        0.75 * extraterrestrial_mj_m2(latitude_deg=47.0, day_of_year=day_of_year(JULY)), rel=1e-12
    )


def test_over_full_air_is_taken_as_saturated() -> None:
    # WORKED: at 14 and 27 degrees the air holds (1.599 + 3.565)/2 = 2.58 kPa.
    found = reference_et(**PLAIN, vapour_pressure_kpa=2.7)
    assert found.notes == (Note.SATURATED,)
    assert found.rh_min_pct < 100


@pytest.mark.parametrize("known", [{}, {"solar_mj_m2": 0.0}, {"sunshine_h": 0.0}])
def test_polar_night_and_polar_day_have_an_answer(known: dict[str, Any] | dict[str, float]) -> None:
    pole: dict[str, Any] = {
        "latitude_deg": 80.0,
        "elevation_m": 10.0,
        "tmin_c": -30.0,
        "tmax_c": -21.0,
    }
    night = reference_et(day=date(2031, 12, 21), **pole, **known)
    assert night.solar_mj_m2 == 0
    assert 0 <= night.eto_mm_day < 0.5
    summer: dict[str, Any] = {**pole, "tmin_c": 0.0, "tmax_c": 8.0}
    assert reference_et(day=date(2031, 6, 21), **summer).eto_mm_day > 1


maybe = {
    "dewpoint_c": st.floats(-40, 40),
    "rh_max_pct": st.floats(50, 100),
    "rh_min_pct": st.floats(0, 50),
    "rh_mean_pct": st.floats(0, 100),
    "vapour_pressure_kpa": st.floats(0, 8),
    "wind_m_s": st.floats(0, 40),
    "solar_mj_m2": st.floats(0, 50),
    "sunshine_h": st.floats(0, 24),
}


@given(
    st.integers(0, 365),
    st.floats(-90, 90),
    st.floats(-430, 6000),
    st.tuples(st.floats(-45, 50), st.floats(-45, 50)),
    st.fixed_dictionaries({}, optional=maybe),
)
@example(354, 90.0, 0.0, (-40.0, -40.0), {"solar_mj_m2": 0.0})
def test_et_is_never_negative_and_always_a_number(
    number: int, latitude: float, elevation: float, temps: Any, known: Any
) -> None:
    found = reference_et(
        day=date(2032, 1, 1) + timedelta(days=number),
        latitude_deg=latitude,
        elevation_m=elevation,
        tmin_c=min(temps),
        tmax_c=max(temps),
        **known,
    )
    assert found.eto_mm_day >= 0
    assert isfinite(found.eto_mm_day)
    assert 0 <= found.rh_min_pct <= 100
    assert found.solar_mj_m2 >= 0


@given(st.floats(5, 28), st.floats(5, 28))
def test_more_sun_takes_more_water_in_summer(one: float, other: float) -> None:
    # Not so in winter: with Rso under about 15 MJ/m2 a clearer sky costs more warmth than it gives.
    dull, bright = sorted((one, other))
    known: dict[str, Any] = {"dewpoint_c": 12.0, "wind_m_s": 2.0}
    less = reference_et(**PLAIN, **known, solar_mj_m2=dull).eto_mm_day
    more = reference_et(**PLAIN, **known, solar_mj_m2=bright).eto_mm_day
    assert less <= more + 1e-12


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0.5, 20))
def test_a_greater_deficit_takes_more_water(one: float, other: float, wind: float) -> None:
    small, great = sorted((one, other))
    air = {"tmean_c": 20.0, "elevation_m": 400.0, "net_radiation_mj_m2": 12.0, "wind_2m_m_s": wind}
    less = penman_monteith_mm_day(**air, deficit_kpa=small)
    more = penman_monteith_mm_day(**air, deficit_kpa=great)
    assert less <= more
    assert less < more or great - small < 1e-9


@given(st.floats(0.6, 2.5), st.floats(0.6, 2.5), st.floats(1, 8))
def test_drier_air_takes_more_water_on_a_summer_day(one: float, other: float, wind: float) -> None:
    # Not so in the driest calm air: there a little vapour saves more warmth than it slows drying.
    dry, moist = sorted((one, other))
    known: dict[str, Any] = {"solar_mj_m2": 20.0, "wind_m_s": wind}
    more = reference_et(**PLAIN, **known, vapour_pressure_kpa=dry).eto_mm_day
    less = reference_et(**PLAIN, **known, vapour_pressure_kpa=moist).eto_mm_day
    assert more >= less - 1e-12
