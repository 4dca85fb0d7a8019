"""The sun beside pvlib (0.13 and later): its parts, then a whole day added up minute by minute."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pvlib import irradiance, solarposition

from controller.demand.climate.radiation import (
    day_length_h,
    day_of_year,
    declination_rad,
    extraterrestrial_mj_m2,
    inverse_relative_distance,
    sunset_angle_rad,
)

SOLAR_CONSTANT_W_M2 = 0.0820 * 1e6 / 60  # FAO-56's 0.0820 MJ/m2/min is 1366.7 W/m2
LATITUDES = (-60.0, -35.0, 0.0, 30.0, 45.0, 55.0, 65.0)
DAYS = [date(2031, month, day) for month in range(1, 13) for day in (6, 21)]


@pytest.mark.parametrize("number", [1, 60, 172, 246, 355, 366])
def test_nearness_is_that_of_the_standardized_equation(number: int) -> None:
    theirs = irradiance.get_extra_radiation(number, solar_constant=1.0, method="asce")
    assert inverse_relative_distance(number) == pytest.approx(theirs, abs=1e-12)


def test_declination_is_within_the_simple_formulas_of_the_almanac() -> None:
    numbers = np.arange(1, 366)
    ours = np.array([declination_rad(int(n)) for n in numbers])
    cooper = solarposition.declination_cooper69(numbers)
    spencer = solarposition.declination_spencer71(numbers)
    # The same sine as Cooper (1969), its figures rounded to 0.409 and 1.39: under 0.002 rad.
    assert np.abs(ours - cooper).max() < 0.002
    # Spencer (1971) has the uneven year too: a plain sine is up to 1.5 degrees off in autumn.
    assert np.abs(ours - spencer).max() < 0.026


@pytest.mark.parametrize("latitude_deg", LATITUDES)
def test_a_day_added_up_over_its_hours_gives_ra_and_the_day_length(latitude_deg: float) -> None:
    # pvlib's zenith from our own declination: holds the integral (eq. 21) and the limits (eq. 25).
    hours = np.arange(-180.0, 180.0, 0.05) + 0.025
    for number in range(5, 366, 24):
        zenith = solarposition.solar_zenith_analytical(
            np.radians(latitude_deg), np.radians(hours), declination_rad(number)
        )
        up = np.cos(zenith) > 0
        normal = irradiance.get_extra_radiation(
            number, solar_constant=SOLAR_CONSTANT_W_M2, method="asce"
        )
        added = normal * np.cos(zenith)[up].sum() * (86400 * 0.05 / 360) / 1e6
        found = extraterrestrial_mj_m2(latitude_deg=latitude_deg, day_of_year=number)
        assert found == pytest.approx(added, rel=1e-5)
        length = day_length_h(latitude_deg=latitude_deg, day_of_year=number)
        assert length == pytest.approx(up.sum() * 0.05 / 15, abs=0.007)
        angle = sunset_angle_rad(latitude_deg=latitude_deg, day_of_year=number)
        assert length == pytest.approx(24 / np.pi * angle, abs=1e-12)


# How far the plain sine for the declination takes FAO-56 from the sun's true place, by latitude:
# Ra in MJ/m2, day length in hours. RECORDED from the comparison (largest seen 0.17, 0.76, 0.91 and
# 0.07, 0.18, 0.37) and rounded up; an error of ours in a sign or a day would be far larger.
@pytest.mark.parametrize(
    ("latitude_deg", "ra_off_mj_m2", "length_off_h"),
    [(0.0, 0.25, 0.10), (45.0, 0.9, 0.25), (65.0, 1.1, 0.45)],
)
def test_ra_and_day_length_follow_the_true_sun(
    latitude_deg: float, ra_off_mj_m2: float, length_off_h: float
) -> None:
    for day in DAYS:
        minutes = pd.date_range(
            pd.Timestamp(day, tz="UTC") + pd.Timedelta("2min"), periods=360, freq="4min"
        )
        zenith = solarposition.get_solarposition(minutes, latitude_deg, 0.0)["zenith"].to_numpy()
        up = np.cos(np.radians(zenith)).clip(0)
        normal = irradiance.get_extra_radiation(
            pd.Timestamp(day), solar_constant=SOLAR_CONSTANT_W_M2, method="nrel"
        )
        where: dict[str, Any] = {"latitude_deg": latitude_deg, "day_of_year": day_of_year(day)}
        added = float(normal) * up.sum() * 240 / 1e6
        assert extraterrestrial_mj_m2(**where) == pytest.approx(added, abs=ra_off_mj_m2), day
        assert day_length_h(**where) == pytest.approx((up > 0).sum() / 15, abs=length_off_h), day
