"""Position of the sun, solar radiation at the ground, net radiation."""

from __future__ import annotations

from datetime import date
from math import acos, cos, pi, radians, sin, sqrt, tan

from controller.demand.climate.atmosphere import (
    AIR_TEMP_RANGE_C,
    ELEVATION_RANGE_M,
    VAPOUR_RANGE_KPA,
)
from controller.errors import require_range

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 (1998), eq. 21; 1367 W/m2
LATITUDE_RANGE_DEG = (-90.0, 90.0)


def day_of_year(day: date) -> int:
    """The number J of a day in its year: 1 on 1 January, 365 or 366 on 31 December.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, annex 2, Table 2.5.

    Examples
    --------
    >>> day_of_year(date(2031, 9, 3))
    246
    """
    return day.timetuple().tm_yday


def inverse_relative_distance(day_of_year: int) -> float:
    """Inverse relative distance between the earth and the sun, dr.

    Parameters
    ----------
    day_of_year : int
        Day of the year, 1 to 366.

    Returns
    -------
    float
        Inverse square of the relative distance from the earth to the sun.

    Raises
    ------
    OutOfRange
        If the day is outside 1 to 366.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 23.

    Examples
    --------
    >>> round(inverse_relative_distance(246), 3)
    0.985
    """
    return 1.0 + 0.033 * cos(_year_angle_rad(day_of_year))


def declination_rad(day_of_year: int) -> float:
    """Declination of the sun.

    Parameters
    ----------
    day_of_year : int
        Day of the year, 1 to 366.

    Returns
    -------
    float
        Solar declination, south negative. [rad]

    Raises
    ------
    OutOfRange
        If the day is outside 1 to 366.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 24.

    Examples
    --------
    >>> round(declination_rad(246), 2)
    0.12
    """
    return 0.409 * sin(_year_angle_rad(day_of_year) - 1.39)


def sunset_angle_rad(*, latitude_deg: float, day_of_year: int) -> float:
    """Sunset hour angle.

    Parameters
    ----------
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    day_of_year : int
        Day of the year, 1 to 366.

    Returns
    -------
    float
        Sunset hour angle: 0 where the sun does not rise, pi where it does not set. [rad]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 25; beyond the polar circles its cosine is cut to -1..1.

    Examples
    --------
    >>> round(sunset_angle_rad(latitude_deg=-20.0, day_of_year=246), 3)
    1.527
    """
    require_range("latitude_deg", latitude_deg, *LATITUDE_RANGE_DEG)
    cosine = -tan(radians(latitude_deg)) * tan(declination_rad(day_of_year))
    return acos(min(max(cosine, -1.0), 1.0))


def day_length_h(*, latitude_deg: float, day_of_year: int) -> float:
    """Day length: from sunrise to sunset of the centre of the sun, over a flat horizon.

    Parameters
    ----------
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    day_of_year : int
        Day of the year, 1 to 366.

    Returns
    -------
    float
        Day length, 0 to 24. [h]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    The day of an almanac is some minutes longer: it begins with the upper rim of the sun, and the
    air refracts its light.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 34.

    Examples
    --------
    >>> round(day_length_h(latitude_deg=-20.0, day_of_year=246), 1)
    11.7
    """
    return 24.0 / pi * sunset_angle_rad(latitude_deg=latitude_deg, day_of_year=day_of_year)


def extraterrestrial_mj_m2(*, latitude_deg: float, day_of_year: int) -> float:
    """Extraterrestrial radiation of a day on a level surface, Ra.

    Parameters
    ----------
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    day_of_year : int
        Day of the year, 1 to 366.

    Returns
    -------
    float
        Extraterrestrial radiation Ra of the day, 0 in polar night. [MJ/m2]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 21.

    Examples
    --------
    >>> round(extraterrestrial_mj_m2(latitude_deg=-20.0, day_of_year=246), 1)
    32.2
    """
    sunset = sunset_angle_rad(latitude_deg=latitude_deg, day_of_year=day_of_year)
    latitude, declination = radians(latitude_deg), declination_rad(day_of_year)
    height = sunset * sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * sin(
        sunset
    )
    # Rounding can leave a trace below zero at the edge of polar night.
    return max(
        24.0
        * 60.0
        / pi
        * SOLAR_CONSTANT_MJ_M2_MIN
        * inverse_relative_distance(day_of_year)
        * height,
        0.0,
    )


def _year_angle_rad(day_of_year: int) -> float:
    require_range("day_of_year", day_of_year, 1, 366)
    return 2.0 * pi * day_of_year / 365.0


ALBEDO = 0.23  # of the grass that the reference stands for: FAO-56 (1998), eq. 38
STEFAN_BOLTZMANN_MJ_M2_K4 = 4.903e-9  # for a day: FAO-56 (1998), eq. 39
KELVIN = 273.16  # as FAO-56 (1998), eq. 39 has it, though 0 °C is 273.15 K
KRS_INLAND, KRS_COAST = 0.16, 0.19  # FAO-56 (1998), eq. 50
# In polar night clouds are unknown: half a clear sky. FAO-56, chapter 4, takes 0.4 to 0.6 for
# nights in humid places (from memory).
DARK_CLEAR_SHARE = 0.5
SOLAR_RANGE_MJ_M2 = (0.0, 60.0)  # ours: Ra is never above 50; watts a square metre stand out


def clear_sky_mj_m2(*, extraterrestrial_mj_m2: float, elevation_m: float) -> float:
    """Solar radiation of a day under a clear sky, Rso.

    Parameters
    ----------
    extraterrestrial_mj_m2 : float
        Radiation above the air, 0 to 60. [MJ/m2]
    elevation_m : float
        Height above the sea, -450 to 6000. [m]

    Returns
    -------
    float
        Clear-sky radiation Rso. [MJ/m2]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 37.

    Examples
    --------
    FAO-56, Example 18: 30.90.

    >>> round(clear_sky_mj_m2(extraterrestrial_mj_m2=41.09, elevation_m=100.0), 2)
    30.9
    """
    require_range("extraterrestrial_mj_m2", extraterrestrial_mj_m2, *SOLAR_RANGE_MJ_M2)
    require_range("elevation_m", elevation_m, *ELEVATION_RANGE_M)
    return (0.75 + 2e-5 * elevation_m) * extraterrestrial_mj_m2


def solar_from_sunshine_mj_m2(
    *, sunshine_h: float, day_length_h: float, extraterrestrial_mj_m2: float
) -> float:
    """Solar radiation from the hours of bright sunshine.

    Parameters
    ----------
    sunshine_h : float
        Bright sunshine, 0 to 24; more than the day is long counts as the whole day. [h]
    day_length_h : float
        Length of the day, 0 to 24. [h]
    extraterrestrial_mj_m2 : float
        Radiation above the air, 0 to 60. [MJ/m2]

    Returns
    -------
    float
        Solar radiation Rs. [MJ/m2]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 35 with the constants for places without their own.

    Examples
    --------
    FAO-56, Example 18: 22.07.

    >>> hours = {"sunshine_h": 9.25, "day_length_h": 16.1}
    >>> round(solar_from_sunshine_mj_m2(**hours, extraterrestrial_mj_m2=41.09), 1)
    22.1
    """
    require_range("sunshine_h", sunshine_h, 0.0, 24.0)
    require_range("day_length_h", day_length_h, 0.0, 24.0)
    require_range("extraterrestrial_mj_m2", extraterrestrial_mj_m2, *SOLAR_RANGE_MJ_M2)
    share = min(sunshine_h / day_length_h, 1.0) if day_length_h > 0.0 else 0.0
    return (0.25 + 0.50 * share) * extraterrestrial_mj_m2


def solar_from_temperatures_mj_m2(
    *,
    tmin_c: float,
    tmax_c: float,
    extraterrestrial_mj_m2: float,
    clear_sky_mj_m2: float,
    coastal: bool,
) -> float:
    """Solar radiation from the range of the day's temperatures, which is widest on clear days.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day, not above `tmax_c`. [°C]
    tmax_c : float
        Highest temperature of the day. [°C]
    extraterrestrial_mj_m2 : float
        Radiation above the air, 0 to 60. [MJ/m2]
    clear_sky_mj_m2 : float
        Clear-sky radiation, the upper limit of the result. [MJ/m2]
    coastal : bool
        Whether a large body of water near by narrows that range.

    Returns
    -------
    float
        Solar radiation Rs. [MJ/m2]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    Meant for sums over several days: single days are rough. Not for small islands.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 50.

    Examples
    --------
    >>> sun = {"extraterrestrial_mj_m2": 40.6, "clear_sky_mj_m2": 30.6}
    >>> round(solar_from_temperatures_mj_m2(tmin_c=14.8, tmax_c=26.6, **sun, coastal=False), 1)
    22.3
    """
    require_range("tmax_c", tmax_c, *AIR_TEMP_RANGE_C)
    require_range("tmin_c", tmin_c, AIR_TEMP_RANGE_C[0], tmax_c)
    require_range("extraterrestrial_mj_m2", extraterrestrial_mj_m2, *SOLAR_RANGE_MJ_M2)
    require_range("clear_sky_mj_m2", clear_sky_mj_m2, *SOLAR_RANGE_MJ_M2)
    krs = KRS_COAST if coastal else KRS_INLAND
    return min(krs * sqrt(tmax_c - tmin_c) * extraterrestrial_mj_m2, clear_sky_mj_m2)


def net_shortwave_mj_m2(solar_mj_m2: float) -> float:
    """Net short-wave radiation of the reference grass.

    Parameters
    ----------
    solar_mj_m2 : float
        Solar radiation of the day, 0 to 60. [MJ/m2]

    Returns
    -------
    float
        Net short-wave radiation Rns. [MJ/m2]

    Raises
    ------
    OutOfRange
        If the radiation is outside that range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 38.

    Examples
    --------
    FAO-56, Example 16: 16.9.

    >>> round(net_shortwave_mj_m2(21.9), 1)
    16.9
    """
    require_range("solar_mj_m2", solar_mj_m2, *SOLAR_RANGE_MJ_M2)
    return (1.0 - ALBEDO) * solar_mj_m2


def black_body_mj_m2(air_temp_c: float) -> float:
    """Radiation of a black body in a day.

    Parameters
    ----------
    air_temp_c : float
        Its temperature, -60 to 60. [°C]

    Returns
    -------
    float
        Radiation by the law of Stefan and Boltzmann. [MJ/m2]

    Raises
    ------
    OutOfRange
        If the temperature is outside that range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, annex 2, Table 2.8.

    Examples
    --------
    >>> round(black_body_mj_m2(20.0), 2)
    36.21
    """
    require_range("air_temp_c", air_temp_c, *AIR_TEMP_RANGE_C)
    return float(STEFAN_BOLTZMANN_MJ_M2_K4 * (air_temp_c + KELVIN) ** 4)


def net_longwave_mj_m2(
    *,
    tmin_c: float,
    tmax_c: float,
    vapour_pressure_kpa: float,
    solar_mj_m2: float,
    clear_sky_mj_m2: float,
) -> float:
    """Net outgoing long-wave radiation; vapour and clouds reduce it.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day. [°C]
    tmax_c : float
        Highest temperature of the day. [°C]
    vapour_pressure_kpa : float
        Actual vapour pressure, 0 to 20. [kPa]
    solar_mj_m2 : float
        Solar radiation. [MJ/m2]
    clear_sky_mj_m2 : float
        Clear-sky radiation. [MJ/m2]

    Returns
    -------
    float
        Net outgoing long-wave radiation Rnl. [MJ/m2]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    The share of clear-sky radiation is kept at 1 or less; where there is no sun at all, it is 0.5.
    ASCE-EWRI (2005) also keeps it at 0.3 or more in the same equation; FAO-56 does not, nor do we.
    On darker days this loss is therefore smaller, and may fall below 0.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 39.

    Examples
    --------
    FAO-56, Example 18: 3.71.

    >>> sun = {"solar_mj_m2": 22.07, "clear_sky_mj_m2": 30.90}
    >>> round(net_longwave_mj_m2(tmin_c=12.3, tmax_c=21.5, vapour_pressure_kpa=1.409, **sun), 2)
    3.71
    """
    require_range("vapour_pressure_kpa", vapour_pressure_kpa, *VAPOUR_RANGE_KPA)
    require_range("solar_mj_m2", solar_mj_m2, *SOLAR_RANGE_MJ_M2)
    require_range("clear_sky_mj_m2", clear_sky_mj_m2, *SOLAR_RANGE_MJ_M2)
    share = DARK_CLEAR_SHARE
    if clear_sky_mj_m2 > 0.0:
        share = min(solar_mj_m2 / clear_sky_mj_m2, 1.0)
    radiated = (black_body_mj_m2(tmax_c) + black_body_mj_m2(tmin_c)) / 2.0
    return radiated * (0.34 - 0.14 * sqrt(vapour_pressure_kpa)) * (1.35 * share - 0.35)
