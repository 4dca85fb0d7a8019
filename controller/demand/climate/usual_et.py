"""The last resort: usual reference ET in a climate at a latitude on a day of the year.

No weather is used. FAO-56, Table 2 prints ranges of reference ET by region and temperature. The
usual temperature is estimated roughly from the latitude, and extraterrestrial radiation spreads the
printed ranges over the year. The figure keeps plants alive; it is no measurement, and a day that is
computed from it says so. Compared with station years (tests/demand/test_usual_et.py) its sum from
April to September was off by -24 to +9 % at five places taken as sub-humid, by -4 % at a semi-arid
and by -9 % at a very humid one; for arid and humid places there was no station.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import cos, pi

from controller.demand.climate.atmosphere import ELEVATION_RANGE_M
from controller.demand.climate.radiation import (
    LATITUDE_RANGE_DEG,
    day_of_year,
    extraterrestrial_mj_m2,
)
from controller.errors import InputError, require_range
from controller.units import MM_PER_MJ_M2

_WARMTH_C = (10.0, 20.0, 30.0)  # "cool", "moderate", "warm" of Table 2
# FAO-56 (1998), Table 2, from memory: lowest and highest mean ETo [mm/day] at those three.
_TABLE_2 = {
    ("tropics", "humid"): ((2.0, 3.0), (3.0, 5.0), (5.0, 7.0)),
    ("tropics", "arid"): ((2.0, 4.0), (4.0, 6.0), (6.0, 8.0)),
    ("temperate", "humid"): ((1.0, 2.0), (2.0, 4.0), (4.0, 7.0)),
    ("temperate", "arid"): ((1.0, 3.0), (4.0, 7.0), (6.0, 9.0)),
}
# Extraterrestrial radiation when a place of the region has that temperature [MJ/m2 a day]: our
# choice. It turns the printed figures into shares of radiation, so that spring gets more than
# autumn.
_SUN_AT = {"tropics": (28.0, 33.0, 38.0), "temperate": (25.0, 38.0, 40.0)}
# Below the coolest column the share falls by so much a degree, to no less than that part of it: the
# slope of the sub-humid row between its first two columns; our choice.
_COLDER_PER_C, _COLDEST = 0.03, 0.5
# Tropics and subtropics up to the first latitude, temperate from the second; our choice.
_TROPICS_TO_DEG, _TEMPERATE_FROM_DEG = 25.0, 35.0
# How warm it is, from memory of the means by latitude, and rough: the year's mean at sea level is
# 27 °C less a share of the latitude squared; half the year's swing grows with the latitude, less
# by the sea; the warmest day comes a month after midsummer; 6.5 °C less for 1000 m.
_EQUATOR_C, _COOLS_C_PER_DEG2 = 27.0, 0.0068
_SWING_C_PER_DEG, _SWING_BY_THE_SEA = 0.22, 0.7
_WARMEST_DAY = 201
_LAPSE_C_PER_M = 0.0065


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """A climate class: its row of Table 2, its place in the printed range, its driest humidity."""

    row: str
    place_in_range: float  # 0 at the lowest figure printed, 1 at the highest; our choice
    rh_min_pct: float  # FAO-56 (1998), Table 16


CLIMATES: Mapping[str, Climate] = {
    "arid": Climate(row="arid", place_in_range=0.8, rh_min_pct=20.0),
    "semi-arid": Climate(row="arid", place_in_range=0.4, rh_min_pct=30.0),
    "sub-humid": Climate(row="humid", place_in_range=0.75, rh_min_pct=45.0),
    "humid": Climate(row="humid", place_in_range=0.5, rh_min_pct=70.0),
    "very humid": Climate(row="humid", place_in_range=0.25, rh_min_pct=80.0),
}


def climate_of(name: str) -> Climate:
    """The class of that name.

    Raises
    ------
    InputError
        If there is none.

    Examples
    --------
    >>> climate_of("semi-arid").rh_min_pct
    30.0
    """
    if name not in CLIMATES:
        raise InputError(f"climate: found {name!r}; allowed is {', '.join(CLIMATES)}")
    return CLIMATES[name]


def season_eto_mm_day(
    day: date, *, latitude_deg: float, elevation_m: float, climate: str, coastal: bool = False
) -> float:
    """Usual reference ET on a day of the year in a climate, without any weather.

    Parameters
    ----------
    day : date
        The day.
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    elevation_m : float
        Height above the sea, -450 to 6000. [m]
    climate : str
        One of `CLIMATES`.
    coastal : bool
        Whether a large body of water near by tempers the seasons.

    Returns
    -------
    float
        Usual reference ET. [mm/day]

    Raises
    ------
    InputError
        If there is no such climate.
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, Table 2 (from memory), spread over the year by
    extraterrestrial radiation (eq. 21) and a rough temperature; see the constants.

    Examples
    --------
    >>> place = {"latitude_deg": 45.0, "elevation_m": 200.0}
    >>> round(season_eto_mm_day(date(2031, 7, 15), **place, climate="sub-humid"), 1)
    4.2
    """
    found = climate_of(climate)
    tmean_c = season_tmean_c(
        day, latitude_deg=latitude_deg, elevation_m=elevation_m, coastal=coastal
    )
    sun_mm = MM_PER_MJ_M2 * extraterrestrial_mj_m2(
        latitude_deg=latitude_deg, day_of_year=day_of_year(day)
    )
    span_deg = _TEMPERATE_FROM_DEG - _TROPICS_TO_DEG
    temperate = min(max((abs(latitude_deg) - _TROPICS_TO_DEG) / span_deg, 0.0), 1.0)
    share = temperate * _share_of_sun("temperate", found, tmean_c)
    share += (1.0 - temperate) * _share_of_sun("tropics", found, tmean_c)
    return share * sun_mm


def season_tmean_c(
    day: date, *, latitude_deg: float, elevation_m: float, coastal: bool = False
) -> float:
    """Usual mean temperature on a day of the year, roughly, from the latitude alone.

    Parameters
    ----------
    day : date
        The day.
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    elevation_m : float
        Height above the sea, -450 to 6000. [m]
    coastal : bool
        Whether a large body of water near by tempers the seasons.

    Returns
    -------
    float
        Mean temperature of the day. [°C]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    From memory of means by latitude; the figures are our choice.

    Examples
    --------
    >>> round(season_tmean_c(date(2031, 7, 20), latitude_deg=45.0, elevation_m=200.0), 1)
    21.8
    """
    require_range("latitude_deg", latitude_deg, *LATITUDE_RANGE_DEG)
    require_range("elevation_m", elevation_m, *ELEVATION_RANGE_M)
    mean_c = _EQUATOR_C - _COOLS_C_PER_DEG2 * latitude_deg**2 - _LAPSE_C_PER_M * elevation_m
    swing_c = _SWING_C_PER_DEG * latitude_deg * (_SWING_BY_THE_SEA if coastal else 1.0)
    # South of the equator the latitude's own sign turns the year round.
    return mean_c + swing_c * cos(2.0 * pi * (day_of_year(day) - _WARMEST_DAY) / 365.0)


def _share_of_sun(region: str, climate: Climate, tmean_c: float) -> float:
    """Table 2 as a share of extraterrestrial radiation: linear between its three columns.

    Above the warmest the share stays; below the coolest it falls with the temperature.
    """
    shares = [
        (low + climate.place_in_range * (high - low)) / (MM_PER_MJ_M2 * sun)
        for (low, high), sun in zip(_TABLE_2[region, climate.row], _SUN_AT[region], strict=True)
    ]
    coolest_c = _WARMTH_C[0]
    if tmean_c < coolest_c:
        return shares[0] * max(1.0 - _COLDER_PER_C * (coolest_c - tmean_c), _COLDEST)
    for (t0, t1), (s0, s1) in zip(pairwise(_WARMTH_C), pairwise(shares), strict=True):
        if tmean_c <= t1:
            return s0 + (s1 - s0) * (tmean_c - t0) / (t1 - t0)
    return shares[-1]
