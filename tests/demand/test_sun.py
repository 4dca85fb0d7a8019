"""The sun: what holds for any place and day."""

from __future__ import annotations

from datetime import date
from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.radiation import (
    day_length_h,
    day_of_year,
    declination_rad,
    extraterrestrial_mj_m2,
    inverse_relative_distance,
    sunset_angle_rad,
)
from controller.errors import OutOfRange

latitudes = st.floats(-90, 90)
numbers = st.integers(1, 366)


@given(latitudes, numbers)
def test_no_day_is_longer_than_a_day_and_no_sun_is_below_none(latitude: float, number: int) -> None:
    where: dict[str, Any] = {"latitude_deg": latitude, "day_of_year": number}
    assert 0 <= day_length_h(**where) <= 24
    assert 0 <= extraterrestrial_mj_m2(**where) < 50


@given(latitudes, numbers)
def test_day_and_night_of_the_two_halves_of_the_earth_add_up(latitude: float, number: int) -> None:
    north = day_length_h(latitude_deg=latitude, day_of_year=number)
    south = day_length_h(latitude_deg=-latitude, day_of_year=number)
    # WORKED: where it is day on one half it is night at the same latitude of the other.
    assert north + south == approx(24, abs=1e-6)


@pytest.mark.parametrize("number", [1, 80, 172, 266, 355])
def test_the_equator_has_twelve_hours_every_day(number: int) -> None:
    # WORKED, FAO-56 (1998), eq. 25 and 34: tan(0) leaves pi/2, half of 24 h.
    assert day_length_h(latitude_deg=0.0, day_of_year=number) == approx(12, abs=1e-9)


def test_beyond_the_polar_circle_the_sun_stays_up_or_down() -> None:
    summer: dict[str, Any] = {"latitude_deg": 75.0, "day_of_year": 172}
    winter: dict[str, Any] = {"latitude_deg": 75.0, "day_of_year": 355}
    # WORKED: half a turn to either side of noon.
    assert sunset_angle_rad(**summer) == approx(pi, abs=1e-12)
    assert day_length_h(**summer) == approx(24, abs=1e-9)
    assert extraterrestrial_mj_m2(**summer) > 40
    assert sunset_angle_rad(**winter) == 0
    assert extraterrestrial_mj_m2(**winter) == 0


def test_the_year_has_its_turning_points_where_the_calendar_has_them() -> None:
    tilt = {n: declination_rad(n) for n in range(1, 366)}
    # PRINTED: FAO-56 (1998), eq. 24 (0.409), and the calendar: days 172 and 355.
    assert max(tilt, key=tilt.__getitem__) == approx(172, abs=1)  # 21 June
    assert min(tilt, key=tilt.__getitem__) == approx(355, abs=1)  # 21 December
    assert max(tilt.values()) == approx(0.409, abs=1e-4)
    near = {n: inverse_relative_distance(n) for n in range(1, 366)}
    assert min(near, key=near.__getitem__) in (182, 183)  # farthest in early July


@pytest.mark.parametrize(
    ("day", "number"),
    [(date(2031, 1, 1), 1), (date(2031, 12, 31), 365), (date(2032, 12, 31), 366)],
)
def test_days_are_counted_from_new_year(day: date, number: int) -> None:
    assert day_of_year(day) == number


@pytest.mark.parametrize(("latitude", "number"), [(91.0, 100), (float("nan"), 100)])
def test_no_place_lies_beyond_the_poles(latitude: Any, number: int) -> None:
    with pytest.raises(OutOfRange, match="latitude_deg"):
        extraterrestrial_mj_m2(latitude_deg=latitude, day_of_year=number)


@pytest.mark.parametrize("number", [0, 367])
def test_no_year_has_such_a_day(number: int) -> None:
    with pytest.raises(OutOfRange, match="day_of_year"):
        day_length_h(latitude_deg=40.0, day_of_year=number)
