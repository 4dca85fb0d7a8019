"""The air: what holds for any air, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.atmosphere import (
    air_pressure_kpa,
    day_saturation_kpa,
    psychrometric_kpa_per_c,
    rh_min_from_vapour_pct,
    saturation_slope_kpa_per_c,
    saturation_vapour_pressure_kpa,
    vapour_from_rh_max_kpa,
    vapour_from_rh_mean_kpa,
    vapour_from_rh_range_kpa,
    wind_at_2m_m_s,
)
from controller.errors import OutOfRange

temps = st.floats(-50, 50)
NAN = float("nan")


@given(temps)
def test_the_slope_is_that_of_the_saturation_curve(temp: float) -> None:
    step = 1e-3
    rise = saturation_vapour_pressure_kpa(temp + step) - saturation_vapour_pressure_kpa(temp - step)
    # The printed 4098 is 17.27 x 237.3 = 4098.17, rounded.
    assert saturation_slope_kpa_per_c(temp) == approx(rise / (2 * step), rel=1e-4)


@given(temps, temps)
def test_a_day_of_two_temperatures_holds_more_vapour_than_its_mean(
    one: float, other: float
) -> None:
    tmin, tmax = sorted((one, other))
    of_the_mean = saturation_vapour_pressure_kpa((tmin + tmax) / 2)
    assert day_saturation_kpa(tmin_c=tmin, tmax_c=tmax) >= of_the_mean * (1 - 1e-12)


@given(temps, temps, st.floats(0, 100))
def test_vapour_at_full_humidity_is_saturation(one: float, other: float, share: float) -> None:
    tmin, tmax = sorted((one, other))
    full = day_saturation_kpa(tmin_c=tmin, tmax_c=tmax)
    both = {"rh_max_pct": 100.0, "rh_min_pct": 100.0}
    assert vapour_from_rh_range_kpa(tmin_c=tmin, tmax_c=tmax, **both) == approx(full)
    assert vapour_from_rh_mean_kpa(tmin_c=tmin, tmax_c=tmax, rh_mean_pct=100.0) == approx(full)
    some = vapour_from_rh_mean_kpa(tmin_c=tmin, tmax_c=tmax, rh_mean_pct=share)
    assert some <= full * (1.0 + 1e-12)
    at_night = saturation_vapour_pressure_kpa(tmin)
    assert vapour_from_rh_max_kpa(tmin_c=tmin, rh_max_pct=100.0) == approx(at_night)


def test_lowest_humidity_is_that_of_the_vapour_at_the_highest_temperature() -> None:
    # WORKED, eq. 63: the vapour is that of saturated air at 10 degrees, so 100 % there.
    vapour = saturation_vapour_pressure_kpa(10.0)
    assert rh_min_from_vapour_pct(vapour_pressure_kpa=vapour, tmax_c=10.0) == approx(100, abs=1e-9)
    assert rh_min_from_vapour_pct(vapour_pressure_kpa=vapour, tmax_c=5.0) == 100.0
    # PRINTED, FAO-56 Table 2.3: e0 of 10 and 25 degrees are 1.228 and 3.168 kPa.
    found = rh_min_from_vapour_pct(vapour_pressure_kpa=vapour, tmax_c=25.0)
    assert found == approx(100 * 1.228 / 3.168, abs=0.03)


def test_pressure_at_the_sea_and_in_the_mountains() -> None:
    # PRINTED, FAO-56 (1998), annex 2, Table 2.1 (from memory): 101.3 kPa at 0 m, 90.0 at 1000 m,
    # 79.8 at 2000 m, 70.5 (here 70.49) at 3000 m.
    for height, printed in [(0, 101.3), (1000, 90.0), (2000, 79.8), (3000, 70.5)]:
        assert air_pressure_kpa(height) == approx(printed, abs=0.05)


@given(st.floats(0, 60))
def test_wind_at_2_m_stays_what_it_is_and_from_higher_up_lessens(wind: float) -> None:
    assert wind_at_2m_m_s(wind, height_m=2.0) == wind
    assert wind_at_2m_m_s(wind, height_m=10.0) == approx(0.748 * wind, rel=1e-3)
    assert wind_at_2m_m_s(wind, height_m=1.0) >= wind


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: air_pressure_kpa(9000.0), "elevation_m"),
        (lambda: psychrometric_kpa_per_c(1013.0), "pressure_kpa"),
        (lambda: saturation_vapour_pressure_kpa(75.0), "air_temp_c"),
        (lambda: saturation_vapour_pressure_kpa(NAN), "air_temp_c"),
        (lambda: saturation_slope_kpa_per_c(-80.0), "air_temp_c"),
        (lambda: vapour_from_rh_max_kpa(tmin_c=5.0, rh_max_pct=101.0), "rh_max_pct"),
        (lambda: vapour_from_rh_mean_kpa(tmin_c=5.0, tmax_c=9.0, rh_mean_pct=-1.0), "rh_mean_pct"),
        (
            lambda: vapour_from_rh_range_kpa(
                tmin_c=5.0, tmax_c=9.0, rh_max_pct=60.0, rh_min_pct=70.0
            ),
            "rh_min_pct",
        ),
        (lambda: wind_at_2m_m_s(-1.0, height_m=2.0), "wind_m_s"),
        (lambda: wind_at_2m_m_s(3.0, height_m=0.05), "wind_height_m"),
        (lambda: rh_min_from_vapour_pct(vapour_pressure_kpa=-1.0, tmax_c=20.0), "vapour_pres"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_name(call: Any, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        call()
