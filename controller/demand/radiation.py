"""What of the sun's radiation reaches the ground, and what the ground keeps of it."""

from __future__ import annotations

from math import sqrt

from controller.demand.air import AIR_TEMP_RANGE_C, ELEVATION_RANGE_M, VAPOUR_RANGE_KPA
from controller.errors import require_range

ALBEDO = 0.23  # of the grass that the reference stands for: FAO-56 (1998), eq. 38
STEFAN_BOLTZMANN_MJ_M2_K4 = 4.903e-9  # for a day: FAO-56 (1998), eq. 39
KELVIN = 273.16  # as FAO-56 (1998), eq. 39 has it, though 0 °C is 273.15 K
KRS_INLAND, KRS_COAST = 0.16, 0.19  # FAO-56 (1998), eq. 50
# In polar night nothing tells the clouds: half a clear sky. FAO-56, chapter 4, takes 0.4 to 0.6 for
# nights in humid places (from memory).
DARK_CLEAR_SHARE = 0.5
SOLAR_RANGE_MJ_M2 = (0.0, 60.0)  # ours: Ra is never above 50; watts a square metre stand out


def clear_sky_mj_m2(*, extraterrestrial_mj_m2: float, elevation_m: float) -> float:
    """Radiation that reaches the ground in a day under a clear sky.

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
    """Solar radiation from how far the day's temperatures lie apart: clear days swing widest.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day, not above `tmax_c`. [°C]
    tmax_c : float
        Highest temperature of the day. [°C]
    extraterrestrial_mj_m2 : float
        Radiation above the air, 0 to 60. [MJ/m2]
    clear_sky_mj_m2 : float
        Clear-sky radiation, which the answer never passes. [MJ/m2]
    coastal : bool
        Whether a large water near by tempers the swing.

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
    """
    require_range("tmax_c", tmax_c, *AIR_TEMP_RANGE_C)
    require_range("tmin_c", tmin_c, AIR_TEMP_RANGE_C[0], tmax_c)
    require_range("extraterrestrial_mj_m2", extraterrestrial_mj_m2, *SOLAR_RANGE_MJ_M2)
    require_range("clear_sky_mj_m2", clear_sky_mj_m2, *SOLAR_RANGE_MJ_M2)
    krs = KRS_COAST if coastal else KRS_INLAND
    return min(krs * sqrt(tmax_c - tmin_c) * extraterrestrial_mj_m2, clear_sky_mj_m2)


def net_shortwave_mj_m2(solar_mj_m2: float) -> float:
    """What grass keeps of the sun's radiation.

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
    """
    require_range("solar_mj_m2", solar_mj_m2, *SOLAR_RANGE_MJ_M2)
    return (1.0 - ALBEDO) * solar_mj_m2


def black_body_mj_m2(air_temp_c: float) -> float:
    """What a black body of that temperature radiates in a day.

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
    """What the ground loses to the sky as heat, less under vapour and clouds.

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
    ASCE-EWRI (2005) also keeps it at 0.3 or more in the same equation; FAO-56 does not, and neither
    do we: on days darker than that this loss comes out smaller, and at last below 0.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 39.
    """
    require_range("vapour_pressure_kpa", vapour_pressure_kpa, *VAPOUR_RANGE_KPA)
    require_range("solar_mj_m2", solar_mj_m2, *SOLAR_RANGE_MJ_M2)
    require_range("clear_sky_mj_m2", clear_sky_mj_m2, *SOLAR_RANGE_MJ_M2)
    share = DARK_CLEAR_SHARE
    if clear_sky_mj_m2 > 0.0:
        share = min(solar_mj_m2 / clear_sky_mj_m2, 1.0)
    radiated = (black_body_mj_m2(tmax_c) + black_body_mj_m2(tmin_c)) / 2.0
    return radiated * (0.34 - 0.14 * sqrt(vapour_pressure_kpa)) * (1.35 * share - 0.35)
