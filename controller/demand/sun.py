"""Where the sun stands on a day of the year, how long, and what it sends to the top of the air."""

from __future__ import annotations

from datetime import date
from math import acos, cos, pi, radians, sin, tan

from controller.errors import require_range

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 (1998), eq. 21; 1367 W/m2
LATITUDE_RANGE_DEG = (-90.0, 90.0)


def day_of_year(day: date) -> int:
    """The number J of a day in its year: 1 on 1 January, 365 or 366 on 31 December.

    Parameters
    ----------
    day : date
        Any date.

    Returns
    -------
    int
        Day of the year.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, annex 2, Table 2.5.

    Examples
    --------
    >>> day_of_year(date(2031, 9, 3))
    246
    """
    return day.timetuple().tm_yday


def nearness(day_of_year: int) -> float:
    """How much nearer the sun is than on average, as it counts for radiation.

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
    >>> round(nearness(246), 3)
    0.985
    """
    return 1.0 + 0.033 * cos(_year_angle_rad(day_of_year))


def declination_rad(day_of_year: int) -> float:
    """How far north of the equator the sun stands overhead.

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
    """The angle the earth turns from the sun's noon to its setting.

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
    """Hours from the rising to the setting of the middle of the sun, over a flat horizon.

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
    An almanac's day is some minutes longer: it begins with the sun's upper rim, and the air bends
    its light.

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
    """What the sun sends in a day to a level place above the air.

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
    return max(24.0 * 60.0 / pi * SOLAR_CONSTANT_MJ_M2_MIN * nearness(day_of_year) * height, 0.0)


def _year_angle_rad(day_of_year: int) -> float:
    require_range("day_of_year", day_of_year, 1, 366)
    return 2.0 * pi * day_of_year / 365.0
