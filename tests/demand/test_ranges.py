"""Each equation takes what can be, to its edges, and refuses what lies beyond by name and range.

The limits are the module's own, each with its source there; a value that is no number is refused
like one that is too great.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from controller.demand.climate import atmosphere, radiation, snow, usual_et
from controller.demand.climate import radiation as sun
from controller.demand.plants import canopy, degree_days, stages
from controller.demand.soil import daily_balance, mulch, salinity, soil_water
from controller.errors import OutOfRange

STRAW = mulch.mulch_of("straw", 0.5)
DAY = date(2031, 6, 1)
TEMP, SALT, HEIGHT, SUN = (-60.0, 60.0), (0.0, 60.0), (0.0, 30.0), (0.0, 60.0)
AIR, PLACE, SHARE = (-90.0, 60.0), (-450.0, 6000.0), (0.0, 1.0)
Bounds = dict[str, tuple[float, float]]
EQUATIONS: list[tuple[Callable[..., Any], dict[str, Any], Bounds]] = [
    (atmosphere.air_pressure_kpa, {"elevation_m": 100.0}, {"elevation_m": PLACE}),
    (atmosphere.psychrometric_kpa_per_c, {"pressure_kpa": 100.0}, {"pressure_kpa": (40.0, 110.0)}),
    (atmosphere.saturation_vapour_pressure_kpa, {"air_temp_c": 20.0}, {"air_temp_c": TEMP}),
    (
        atmosphere.vapour_from_rh_range_kpa,
        {"tmin_c": 10.0, "tmax_c": 20.0, "rh_max_pct": 80.0, "rh_min_pct": 40.0},
        {"rh_max_pct": (40.0, 100.0), "rh_min_pct": (0.0, 80.0)},
    ),
    (
        atmosphere.vapour_from_rh_max_kpa,
        {"tmin_c": 10.0, "rh_max_pct": 80.0},
        {"rh_max_pct": (0.0, 100.0)},
    ),
    (
        atmosphere.vapour_from_rh_mean_kpa,
        {"tmin_c": 10.0, "tmax_c": 20.0, "rh_mean_pct": 60.0},
        {"rh_mean_pct": (0.0, 100.0)},
    ),
    (
        atmosphere.rh_min_from_vapour_pct,
        {"vapour_pressure_kpa": 1.0, "tmax_c": 20.0},
        {"vapour_pressure_kpa": (0.0, 20.0)},
    ),
    (
        atmosphere.wind_at_2m_m_s,
        {"wind_m_s": 2.0, "height_m": 10.0},
        {"wind_m_s": (0.0, 60.0), "height_m as wind_height_m": (0.25, 100.0)},
    ),
    (
        canopy.cover_at_full_size,
        {"spread_m": 0.4, "spacing_m": 0.4, "line_gap_m": 0.4},
        {"spread_m": HEIGHT, "spacing_m": (0.001, 100.0), "line_gap_m": (0.001, 100.0)},
    ),
    (
        canopy.canopy_on,
        {
            "kcb_table": 0.8,
            "kcb_mid_table": 1.0,
            "kc_max": 1.2,
            "height_m": 0.5,
            "cover_full": 0.5,
            "full_height_m": 1.0,
        },
        {
            "kcb_table": (0.0, 3.0),
            "kcb_mid_table": (0.0, 3.0),
            "kc_max": (0.0, 3.0),
            "height_m": HEIGHT,
            "cover_full": SHARE,
            "full_height_m": HEIGHT,
        },
    ),
    (
        daily_balance.kc_max,
        {"kcb": 0.5, "wind_2m_m_s": 2.0, "rh_min_pct": 45.0, "height_m": 0.5},
        {"wind_2m_m_s": (0.0, 60.0), "rh_min_pct": (0.0, 100.0), "height_m": (0.0, 100.0)},
    ),
    (mulch.mulch_of, {"name": "straw", "cover": 0.5}, {"cover as mulch_cover": SHARE}),
    (
        mulch.mulch_of,
        {"name": "plastic", "cover": 0.5, "rain_share": 0.5},
        {"rain_share as mulch_rain": SHARE},
    ),
    (
        mulch.kc_under_mulch,
        {"kc": 0.7, "kcb": 0.2, "mulch": STRAW},
        {"kc": (0.0, 3.0), "kcb": (0.0, 3.0)},
    ),
    (
        radiation.clear_sky_mj_m2,
        {"extraterrestrial_mj_m2": 30.0, "elevation_m": 100.0},
        {"extraterrestrial_mj_m2": SUN, "elevation_m": PLACE},
    ),
    (
        radiation.solar_from_sunshine_mj_m2,
        {"sunshine_h": 5.0, "day_length_h": 12.0, "extraterrestrial_mj_m2": 30.0},
        {"sunshine_h": (0.0, 24.0), "day_length_h": (0.0, 24.0), "extraterrestrial_mj_m2": SUN},
    ),
    (
        radiation.solar_from_temperatures_mj_m2,
        {
            "tmin_c": 10.0,
            "tmax_c": 20.0,
            "extraterrestrial_mj_m2": 30.0,
            "clear_sky_mj_m2": 25.0,
            "coastal": False,
        },
        {
            "tmin_c": (-60.0, 20.0),
            "tmax_c": (10.0, 60.0),
            "extraterrestrial_mj_m2": SUN,
            "clear_sky_mj_m2": SUN,
        },
    ),
    (radiation.net_shortwave_mj_m2, {"solar_mj_m2": 20.0}, {"solar_mj_m2": SUN}),
    (radiation.black_body_mj_m2, {"air_temp_c": 20.0}, {"air_temp_c": TEMP}),
    (
        radiation.net_longwave_mj_m2,
        {
            "tmin_c": 10.0,
            "tmax_c": 20.0,
            "vapour_pressure_kpa": 1.0,
            "solar_mj_m2": 15.0,
            "clear_sky_mj_m2": 25.0,
        },
        {"vapour_pressure_kpa": (0.0, 20.0), "solar_mj_m2": SUN, "clear_sky_mj_m2": SUN},
    ),
    (
        soil_water.runoff_mm,
        {"rain_mm": 30.0, "curve_number": 75.0},
        {"rain_mm": (0.0, 2000.0), "curve_number": (1.0, 100.0)},
    ),
    (salinity.water_class, {"water_ds_m": 1.0}, {"water_ds_m": SALT}),
    (
        salinity.leaching_share,
        {"water_ds_m": 1.0, "soil_ds_m": 2.0},
        {"water_ds_m": SALT, "soil_ds_m": SALT},
    ),
    (
        salinity.root_zone_salt_ds_m,
        {"water_ds_m": 1.0, "leaching_share": 0.2},
        {"water_ds_m": SALT, "leaching_share": (1e-4, 1.0)},
    ),
    (
        salinity.salt_stress,
        {
            "soil_ds_m": 2.0,
            "threshold_ds_m": 1.0,
            "slope_pct_per_ds_m": 19.0,
            "yield_response": 1.15,
        },
        {
            "soil_ds_m": SALT,
            "threshold_ds_m": SALT,
            "slope_pct_per_ds_m": (0.0, 100.0),
            "yield_response": (0.1, 5.0),
        },
    ),
    (
        salinity.leaching_owed_mm,
        {"entered_mm": 5.0, "drained_mm": 1.0, "share": 0.2, "owed_mm": 1.0},
        {
            "entered_mm": (0.0, 1e6),
            "drained_mm": (0.0, 1e6),
            "share": SHARE,
            "owed_mm": (0.0, 1e6),
        },
    ),
    (
        usual_et.season_tmean_c,
        {"day": DAY, "latitude_deg": 40.0, "elevation_m": 100.0},
        {"latitude_deg": (-90.0, 90.0), "elevation_m": PLACE},
    ),
    (snow.snow_share, {"tmean_c": 0.0}, {"tmean_c": TEMP}),
    (
        snow.snow_day,
        {"precipitation_mm": 5.0, "lying_mm": 5.0, "tmin_c": 1.0, "tmax_c": 3.0},
        {"precipitation_mm": (0.0, 2000.0), "lying_mm": (0.0, math.inf)},
    ),
    (
        soil_water.taw_mm,
        {"field_capacity": 0.3, "wilting_point": 0.1, "root_depth_m": 0.5},
        {"field_capacity": (0.1, 1.0), "wilting_point": (0.0, 0.3), "root_depth_m": (0.0, 5.0)},
    ),
    (
        soil_water.raw_mm,
        {"taw_mm": 100.0, "depletion_fraction": 0.5},
        {"taw_mm": (0.0, 5000.0), "depletion_fraction": SHARE},
    ),
    (
        soil_water.depletion_fraction_adjusted,
        {"depletion_fraction": 0.5, "etc_mm_day": 5.0},
        {"depletion_fraction": SHARE, "etc_mm_day": (0.0, 100.0)},
    ),
    (soil_water.rain_unused_mm, {"rain_mm": 1.0, "eto_mm_day": 5.0}, {"rain_mm": (0.0, 2000.0)}),
    (
        stages.climate_shift,
        {"wind_2m_m_s": 2.0, "rh_min_pct": 45.0, "height_m": 0.5},
        {"wind_2m_m_s": (0.0, 60.0), "rh_min_pct": (0.0, 100.0), "height_m": (0.0, 100.0)},
    ),
    (
        sun.sunset_angle_rad,
        {"latitude_deg": 40.0, "day_of_year": 100},
        {"latitude_deg": (-90.0, 90.0), "day_of_year": (1, 366)},
    ),
    (
        degree_days.degree_days,
        {"tmin_c": 5.0, "tmax_c": 20.0, "base_c": 10.0, "upper_c": 30.0},
        {"tmin_c": AIR, "tmax_c": AIR},
    ),
    (
        degree_days.usual_degree_days,
        {"tmin_c": 5.0, "tmax_c": 20.0, "spread_c": 3.0, "base_c": 10.0},
        {"spread_c": (0.0, 20.0)},
    ),
    (
        degree_days.soil_temperature_c,
        {
            "before_c": 10.0,
            "day": DAY,
            "tmin_c": 5.0,
            "tmax_c": 20.0,
            "solar_mj_m2": 20.0,
            "snow": False,
            "ground": degree_days.OPEN_GROUND,
        },
        {"tmin_c": AIR, "tmax_c": AIR},
    ),
    (
        degree_days.emergence_rate,
        {"soil_c": 12.0, "emergence_days": (36, 14, 9, 8, 6)},
        {"soil_c": AIR},
    ),
]
CASES = [
    pytest.param(equation, sound, name, bounds, id=f"{equation.__name__}-{name}")
    for equation, sound, limits in EQUATIONS
    for name, bounds in limits.items()
]


@pytest.mark.parametrize(("equation", "sound", "name", "bounds"), CASES)
def test_what_can_be_is_taken_to_its_edges_and_what_cannot_is_refused_by_name(
    equation: Callable[..., Any], sound: dict[str, Any], name: str, bounds: tuple[float, float]
) -> None:
    argument, _, said = name.partition(" as ")
    low, high = bounds
    for edge in bounds:
        equation(**{**sound, argument: edge})
    for beyond in (low - 1e-3, high + 1e-3, math.nan):
        if beyond == high:
            continue  # nothing is beyond infinity
        with pytest.raises(OutOfRange) as refused:
            equation(**{**sound, argument: beyond})
        found = refused.value
        if argument in ORDERED:
            assert found.name in (argument, ORDERED[argument])
        else:
            assert (found.name, found.low, found.high) == (said or argument, low, high)


# Of a pair whose order counts, the other may be the one that is named.
ORDERED = {
    "tmax_c": "tmin_c",
    "rh_max_pct": "rh_min_pct",
    "field_capacity": "wilting_point",
}


@pytest.mark.parametrize(
    ("base_c", "upper_c", "name"),
    [
        (-90.1, 30.0, "base_c"),
        (60.1, 60.0, "base_c"),
        (10.0, 60.1, "upper_c"),
        (10.0, 10.0, "upper_c"),
        (10.0, 9.9, "upper_c"),
        (math.nan, 30.0, "base_c"),
        (10.0, math.nan, "upper_c"),
    ],
)
def test_warmth_is_counted_from_a_base_to_a_limit_above_it(
    base_c: float, upper_c: float, name: str
) -> None:
    with pytest.raises(OutOfRange) as refused:
        degree_days.degree_days(tmin_c=5.0, tmax_c=20.0, base_c=base_c, upper_c=upper_c)
    assert refused.value.name == name
    assert degree_days.degree_days(tmin_c=5.0, tmax_c=20.0, base_c=-90.0, upper_c=60.0) == 102.5
