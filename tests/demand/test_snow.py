"""Snow: what falls on cold days lies, melts by degree-days, and no water is made or lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.snow import snow_day, snow_share
from controller.errors import OutOfRange

temp_c = st.floats(-40.0, 45.0)
depth_mm = st.floats(0.0, 300.0)


@given(fell=depth_mm, lay=depth_mm, temps=st.lists(temp_c, min_size=2, max_size=2))
def test_no_water_is_made_or_lost(fell: float, lay: float, temps: list[float]) -> None:
    day = snow_day(precipitation_mm=fell, lying_mm=lay, tmin_c=min(temps), tmax_c=max(temps))
    assert day.reached_mm + day.lying_mm == approx(fell + lay, abs=1e-9)
    assert min(day.reached_mm, day.lying_mm, day.melted_mm, day.fell_as_snow_mm) >= 0.0


@given(days=st.lists(st.tuples(depth_mm, temp_c, st.floats(0.0, 20.0)), max_size=30))
def test_over_a_winter_what_fell_is_what_reached_the_ground_and_what_lies(
    days: list[tuple[float, float, float]],
) -> None:
    lying = reached = 0.0
    for fell, tmin, swing in days:
        day = snow_day(precipitation_mm=fell, lying_mm=lying, tmin_c=tmin, tmax_c=tmin + swing)
        lying, reached = day.lying_mm, reached + day.reached_mm
    assert reached + lying == approx(sum(fell for fell, _, _ in days), abs=1e-6)


@given(fell=depth_mm, temps=st.lists(temp_c, min_size=2, max_size=2))
def test_warmer_never_leaves_more_snow(fell: float, temps: list[float]) -> None:
    cold, warm = (
        snow_day(precipitation_mm=fell, lying_mm=50.0, tmin_c=t, tmax_c=t) for t in sorted(temps)
    )
    assert warm.lying_mm <= cold.lying_mm + 1e-9


def test_snow_waits_for_the_thaw() -> None:
    # WORKED: 8 mm fall at -4 °C and lie; a day of 2 °C melts 3 mm/°C * 2 °C = 6; then the rest.
    frost = snow_day(precipitation_mm=8.0, lying_mm=0.0, tmin_c=-6.0, tmax_c=-2.0)
    assert (frost.reached_mm, frost.lying_mm) == (0.0, 8.0)
    thaw = snow_day(precipitation_mm=0.0, lying_mm=frost.lying_mm, tmin_c=0.0, tmax_c=4.0)
    assert (thaw.reached_mm, thaw.lying_mm) == (6.0, 2.0)
    rest = snow_day(precipitation_mm=0.0, lying_mm=thaw.lying_mm, tmin_c=0.0, tmax_c=4.0)
    assert (rest.reached_mm, rest.lying_mm) == (2.0, 0.0)


def test_between_the_two_thresholds_part_of_it_is_snow() -> None:
    assert [snow_share(t) for t in (-3.0, 0.0, 0.5, 1.0, 2.0, 9.0)] == [1.0, 1.0, 0.75, 0.5, 0, 0]


def test_without_temperatures_it_rains_and_what_lies_stays() -> None:
    day = snow_day(precipitation_mm=5.0, lying_mm=7.0, tmin_c=None, tmax_c=3.0)
    assert (day.reached_mm, day.lying_mm) == (5.0, 7.0)


def test_what_no_weather_has_is_refused() -> None:
    with pytest.raises(OutOfRange, match="precipitation_mm: found -1"):
        snow_day(precipitation_mm=-1.0, lying_mm=0.0, tmin_c=0.0, tmax_c=5.0)
    with pytest.raises(OutOfRange, match="lying_mm: found nan"):
        snow_day(precipitation_mm=1.0, lying_mm=float("nan"), tmin_c=0.0, tmax_c=5.0)
