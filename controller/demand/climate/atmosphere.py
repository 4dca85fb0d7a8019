"""The air over the garden: pressure by elevation, water vapour, wind at 2 m."""

from __future__ import annotations

from math import exp, log

from controller.errors import require_range

# The ranges are ours: wider than weather gets where gardens are, narrow enough to catch a wrong
# unit (degrees Fahrenheit, kilometres an hour).
AIR_TEMP_RANGE_C = (-60.0, 60.0)
ELEVATION_RANGE_M = (-450.0, 6000.0)
VAPOUR_RANGE_KPA = (0.0, 20.0)  # air at 60 °C holds 19.9
WIND_RANGE_M_S = (0.0, 60.0)
WIND_HEIGHT_RANGE_M = (0.25, 100.0)


def air_pressure_kpa(elevation_m: float) -> float:
    """Mean pressure of the air at a height above the sea.

    Parameters
    ----------
    elevation_m : float
        Height above the sea, -450 to 6000. [m]

    Returns
    -------
    float
        Air pressure. [kPa]

    Raises
    ------
    OutOfRange
        If the height is outside that range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 7, for air of 20 °C.

    Examples
    --------
    >>> round(air_pressure_kpa(1800.0), 1)
    81.8
    """
    require_range("elevation_m", elevation_m, *ELEVATION_RANGE_M)
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def psychrometric_kpa_per_c(pressure_kpa: float) -> float:
    """The psychrometric constant at an air pressure.

    Parameters
    ----------
    pressure_kpa : float
        Air pressure, 40 to 110. [kPa]

    Returns
    -------
    float
        Psychrometric constant. [kPa/°C]

    Raises
    ------
    OutOfRange
        If the pressure is outside that range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 8.

    Examples
    --------
    >>> round(psychrometric_kpa_per_c(81.8), 3)
    0.054
    """
    require_range("pressure_kpa", pressure_kpa, 40.0, 110.0)
    return 0.665e-3 * pressure_kpa


def saturation_vapour_pressure_kpa(air_temp_c: float) -> float:
    """Saturation vapour pressure at an air temperature.

    Parameters
    ----------
    air_temp_c : float
        Air temperature, -60 to 60. [°C]

    Returns
    -------
    float
        Saturation vapour pressure. [kPa]

    Raises
    ------
    OutOfRange
        If the temperature is outside that range, or not a number.

    Notes
    -----
    With the dew point as temperature it gives the vapour pressure itself (eq. 14).

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 11. Eq. 48 prints 0.611 for 0.6108, a slip.

    Examples
    --------
    >>> round(saturation_vapour_pressure_kpa(24.5), 3)
    3.075
    """
    require_range("air_temp_c", air_temp_c, *AIR_TEMP_RANGE_C)
    return 0.6108 * exp(17.27 * air_temp_c / (air_temp_c + 237.3))


def day_saturation_kpa(*, tmin_c: float, tmax_c: float) -> float:
    """Mean saturation vapour pressure of a day, from its highest and lowest temperature.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day. [°C]
    tmax_c : float
        Highest temperature of the day. [°C]

    Returns
    -------
    float
        Mean saturation vapour pressure. [kPa]

    Raises
    ------
    OutOfRange
        If a temperature is outside -60 to 60, or not a number.

    Notes
    -----
    The curve bends upward, so its value at the mean temperature would be too low.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 12.

    Examples
    --------
    >>> round(day_saturation_kpa(tmin_c=15.0, tmax_c=24.5), 2)
    2.39
    """
    low, high = saturation_vapour_pressure_kpa(tmin_c), saturation_vapour_pressure_kpa(tmax_c)
    return (low + high) / 2.0


def saturation_slope_kpa_per_c(air_temp_c: float) -> float:
    """Slope of the saturation vapour pressure curve.

    Parameters
    ----------
    air_temp_c : float
        Air temperature, -60 to 60. [°C]

    Returns
    -------
    float
        Slope of the curve. [kPa/°C]

    Raises
    ------
    OutOfRange
        If the temperature is outside that range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 13.

    Examples
    --------
    >>> round(saturation_slope_kpa_per_c(20.0), 3)
    0.145
    """
    return 4098.0 * saturation_vapour_pressure_kpa(air_temp_c) / (air_temp_c + 237.3) ** 2


def vapour_from_rh_range_kpa(
    *, tmin_c: float, tmax_c: float, rh_max_pct: float, rh_min_pct: float
) -> float:
    """Vapour pressure from the day's highest and lowest relative humidity.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature, which goes with the highest humidity. [°C]
    tmax_c : float
        Highest temperature, which goes with the lowest humidity. [°C]
    rh_max_pct : float
        Highest relative humidity, 0 to 100. [%]
    rh_min_pct : float
        Lowest relative humidity, 0 to `rh_max_pct`. [%]

    Returns
    -------
    float
        Actual vapour pressure. [kPa]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 17. Example 5 prints it without the division by 2.

    Examples
    --------
    >>> humidity = {"rh_max_pct": 82.0, "rh_min_pct": 54.0}
    >>> round(vapour_from_rh_range_kpa(tmin_c=18.0, tmax_c=25.0, **humidity), 2)
    1.7
    """
    require_range("rh_max_pct", rh_max_pct, 0.0, 100.0)
    require_range("rh_min_pct", rh_min_pct, 0.0, rh_max_pct)
    low, high = saturation_vapour_pressure_kpa(tmin_c), saturation_vapour_pressure_kpa(tmax_c)
    return (low * rh_max_pct + high * rh_min_pct) / 200.0


def vapour_from_rh_max_kpa(*, tmin_c: float, rh_max_pct: float) -> float:
    """Vapour pressure from the day's highest relative humidity alone.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day. [°C]
    rh_max_pct : float
        Highest relative humidity, 0 to 100. [%]

    Returns
    -------
    float
        Actual vapour pressure. [kPa]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 18.

    Examples
    --------
    >>> round(vapour_from_rh_max_kpa(tmin_c=18.0, rh_max_pct=82.0), 2)
    1.69
    """
    require_range("rh_max_pct", rh_max_pct, 0.0, 100.0)
    return saturation_vapour_pressure_kpa(tmin_c) * rh_max_pct / 100.0


def vapour_from_rh_mean_kpa(*, tmin_c: float, tmax_c: float, rh_mean_pct: float) -> float:
    """Vapour pressure from the day's mean relative humidity: the least accurate of the three.

    Parameters
    ----------
    tmin_c : float
        Lowest temperature of the day. [°C]
    tmax_c : float
        Highest temperature of the day. [°C]
    rh_mean_pct : float
        Mean relative humidity, 0 to 100. [%]

    Returns
    -------
    float
        Actual vapour pressure. [kPa]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 19.

    Examples
    --------
    >>> round(vapour_from_rh_mean_kpa(tmin_c=18.0, tmax_c=25.0, rh_mean_pct=68.0), 2)
    1.78
    """
    require_range("rh_mean_pct", rh_mean_pct, 0.0, 100.0)
    return day_saturation_kpa(tmin_c=tmin_c, tmax_c=tmax_c) * rh_mean_pct / 100.0


def rh_min_from_vapour_pct(*, vapour_pressure_kpa: float, tmax_c: float) -> float:
    """Lowest relative humidity of the day, from the actual vapour pressure.

    Parameters
    ----------
    vapour_pressure_kpa : float
        Actual vapour pressure, 0 to 20. [kPa]
    tmax_c : float
        Highest temperature of the day. [°C]

    Returns
    -------
    float
        Lowest relative humidity, at most 100. [%]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 63; with the vapour of air saturated at the lowest
    temperature it is eq. 64.

    Examples
    --------
    >>> round(rh_min_from_vapour_pct(vapour_pressure_kpa=1.409, tmax_c=21.5), 1)
    54.9
    """
    require_range("vapour_pressure_kpa", vapour_pressure_kpa, *VAPOUR_RANGE_KPA)
    return min(100.0 * vapour_pressure_kpa / saturation_vapour_pressure_kpa(tmax_c), 100.0)


def wind_at_2m_m_s(wind_m_s: float, *, height_m: float) -> float:
    """Wind speed at 2 m over short grass, from the height at which it was measured.

    Parameters
    ----------
    wind_m_s : float
        Mean wind, 0 to 60. [m/s]
    height_m : float
        Height of the anemometer over the ground, 0.25 to 100. [m]

    Returns
    -------
    float
        Wind at 2 m. [m/s]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    The equation gives 1.0002 at 2 m; wind measured there is returned unchanged.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 47.

    Examples
    --------
    >>> round(wind_at_2m_m_s(3.2, height_m=10.0), 1)
    2.4
    """
    require_range("wind_m_s", wind_m_s, *WIND_RANGE_M_S)
    require_range("wind_height_m", height_m, *WIND_HEIGHT_RANGE_M)
    if height_m == 2.0:
        return wind_m_s
    return wind_m_s * 4.87 / log(67.8 * height_m - 5.42)
