"""Radiation at the ground: limits, directions, and the dark."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.climate.radiation import (
    black_body_mj_m2,
    clear_sky_mj_m2,
    net_longwave_mj_m2,
    net_shortwave_mj_m2,
    solar_from_sunshine_mj_m2,
    solar_from_temperatures_mj_m2,
)
from controller.errors import OutOfRange

radiations = st.floats(0, 45)
DAY = {"tmin_c": 12.0, "tmax_c": 24.0}


def test_clear_sky_by_height() -> None:
    # WORKED, eq. 37: 40 x (0.75 + 2e-5 x 1500) = 40 x 0.78 = 31.2.
    assert clear_sky_mj_m2(extraterrestrial_mj_m2=40.0, elevation_m=1500.0) == approx(
        31.2, abs=1e-9
    )


@pytest.mark.parametrize(
    ("sunshine", "worked"),
    # WORKED, eq. 35 with Ra 40, N 12: a quarter, a half, three quarters of Ra; then N at most.
    [(0.0, 10.0), (6.0, 20.0), (12.0, 30.0), (13.0, 30.0)],
)
def test_sunshine_gives_between_a_quarter_and_three_quarters_of_ra(
    sunshine: float, worked: float
) -> None:
    found = solar_from_sunshine_mj_m2(
        sunshine_h=sunshine, day_length_h=12.0, extraterrestrial_mj_m2=40.0
    )
    assert found == approx(worked, abs=1e-9)


def test_a_night_of_a_day_gives_no_sun() -> None:
    dark = {"day_length_h": 0.0, "extraterrestrial_mj_m2": 0.0}
    assert solar_from_sunshine_mj_m2(sunshine_h=0.0, **dark) == 0.0


def test_temperatures_give_sun_by_their_swing_up_to_a_clear_sky() -> None:
    sky = {"extraterrestrial_mj_m2": 40.0, "clear_sky_mj_m2": 30.0}
    nine_apart = {"tmin_c": 11.0, "tmax_c": 20.0}
    # WORKED, eq. 50: 0.16 x 3 x 40 = 19.2 inland, 0.19 x 3 x 40 = 22.8 at the coast.
    inland = solar_from_temperatures_mj_m2(**nine_apart, **sky, coastal=False)
    coast = solar_from_temperatures_mj_m2(**nine_apart, **sky, coastal=True)
    assert (inland, coast) == (approx(19.2, abs=1e-9), approx(22.8, abs=1e-9))
    desert = solar_from_temperatures_mj_m2(tmin_c=4.0, tmax_c=40.0, **sky, coastal=True)
    assert desert == 30.0


@given(radiations, radiations)
def test_clouds_and_vapour_keep_warmth_in(one: float, other: float) -> None:
    dull, bright = sorted((one, other))
    sky = {**DAY, "clear_sky_mj_m2": 30.0}
    lost = [
        net_longwave_mj_m2(vapour_pressure_kpa=1.2, solar_mj_m2=sun, **sky)
        for sun in (dull, bright)
    ]
    assert lost[0] <= lost[1] + 1e-12
    moist = net_longwave_mj_m2(vapour_pressure_kpa=1.8, solar_mj_m2=30.0, **sky)
    dry = net_longwave_mj_m2(vapour_pressure_kpa=0.6, solar_mj_m2=30.0, **sky)
    assert moist < dry


@given(st.floats(30, 60))
def test_more_than_clear_sky_counts_as_clear_sky(solar: float) -> None:
    sky = {**DAY, "vapour_pressure_kpa": 1.2, "clear_sky_mj_m2": 30.0}
    clear = net_longwave_mj_m2(solar_mj_m2=30.0, **sky)
    assert net_longwave_mj_m2(solar_mj_m2=solar, **sky) == clear


def test_in_polar_night_the_sky_is_taken_as_half_clear() -> None:
    night = {"tmin_c": -20.0, "tmax_c": -12.0, "vapour_pressure_kpa": 0.1}
    dark = net_longwave_mj_m2(solar_mj_m2=0.0, clear_sky_mj_m2=0.0, **night)
    half = net_longwave_mj_m2(solar_mj_m2=5.0, clear_sky_mj_m2=10.0, **night)
    assert dark == approx(half, abs=1e-12)
    assert dark > 0


def test_grass_throws_back_under_a_quarter_of_the_sun() -> None:
    assert net_shortwave_mj_m2(20.0) == approx(15.4, abs=1e-9)  # WORKED, eq. 38: 0.77 x 20


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: net_shortwave_mj_m2(250.0), "solar_mj_m2"),
        (lambda: net_shortwave_mj_m2(float("nan")), "solar_mj_m2"),
        (lambda: black_body_mj_m2(293.0), "air_temp_c"),
        (lambda: clear_sky_mj_m2(extraterrestrial_mj_m2=-1.0, elevation_m=0.0), "extraterr"),
        (
            lambda: solar_from_sunshine_mj_m2(
                sunshine_h=25.0, day_length_h=12.0, extraterrestrial_mj_m2=30.0
            ),
            "sunshine_h",
        ),
        (
            lambda: solar_from_temperatures_mj_m2(
                tmin_c=20.0,
                tmax_c=10.0,
                extraterrestrial_mj_m2=30.0,
                clear_sky_mj_m2=22.0,
                coastal=False,
            ),
            "tmin_c",
        ),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_name(call: Any, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        call()
