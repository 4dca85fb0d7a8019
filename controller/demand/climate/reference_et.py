"""Reference evapotranspiration of a day by the FAO-56 Penman-Monteith equation, from what is known.

What was not measured is estimated as in FAO-56 (1998), chapter 3. The result says from what each
variable was taken, best first:

- vapour: vapour pressure > dew point > highest and lowest humidity > highest > mean > dew point
  taken as the lowest temperature (which in arid places is 2 to 3 °C too high);
- radiation: measured > sunshine hours > the swing of the temperatures, at most clear sky;
- wind: measured, brought to 2 m > 2 m/s, the mean of some 2000 stations.

With temperatures alone all three are estimated and the same equation is used: FAO-56 finds that
usually somewhat better than the Hargreaves equation. So did we, at four of five European stations
(tests/published/test_station_years.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from controller.demand.climate.atmosphere import (
    AIR_TEMP_RANGE_C,
    air_pressure_kpa,
    day_saturation_kpa,
    psychrometric_kpa_per_c,
    rh_min_from_vapour_pct,
    saturation_slope_kpa_per_c,
    saturation_vapour_pressure_kpa,
    vapour_from_rh_max_kpa,
    vapour_from_rh_mean_kpa,
    vapour_from_rh_range_kpa,
    wind_at_2m_m_s,
)
from controller.demand.climate.radiation import (
    SOLAR_RANGE_MJ_M2,
    clear_sky_mj_m2,
    day_length_h,
    day_of_year,
    extraterrestrial_mj_m2,
    net_longwave_mj_m2,
    net_shortwave_mj_m2,
    solar_from_sunshine_mj_m2,
    solar_from_temperatures_mj_m2,
)
from controller.errors import require_range
from controller.units import MM_PER_MJ_M2

USUAL_WIND_M_S = 2.0  # FAO-56 (1998), chapter 3: the mean of some 2000 stations
# FAO-56 (1998), chapter 3: air stirs by its own warmth, so the equation gets no less than this.
LEAST_WIND_M_S = 0.5
# Ours: a dew point of 41 °C, above any recorded; hectopascals stand out.
MEASURED_VAPOUR_RANGE_KPA = (0.0, 8.0)
# Measured radiation above this share of clear sky gets a remark. FAO-56, annex 5: clear days should
# agree within a few per cent (the figure from memory).
ODD_CLEAR_SHARE = 1.05


class Note(StrEnum):
    """What was odd in the weather of a day, and how it is counted."""

    SATURATED = "saturated"  # more vapour than the air can hold
    CALM = "calm"  # less wind than `LEAST_WIND_M_S`: counted as that
    SUN_ALL_DAY = "sun all day"  # more sunshine than the day is long
    SUN_ABOVE_AIR = "sun above the air"  # more sun measured than there: cut to that
    SUN_ABOVE_CLEAR_SKY = "sun above a clear sky"  # an instrument to look at


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceEt:
    """Reference ET of a day, how it was computed, and the weather used."""

    eto_mm_day: float
    method: str  # "penman-monteith", with what was estimated
    humidity_rung: str
    radiation_rung: str
    wind_rung: str
    wind_2m_m_s: float
    rh_min_pct: float
    solar_mj_m2: float
    notes: tuple[Note, ...] = ()


def reference_et(
    *,
    day: date,
    latitude_deg: float,
    elevation_m: float,
    tmin_c: float,
    tmax_c: float,
    dewpoint_c: float | None = None,
    rh_max_pct: float | None = None,
    rh_min_pct: float | None = None,
    rh_mean_pct: float | None = None,
    vapour_pressure_kpa: float | None = None,
    wind_m_s: float | None = None,
    wind_height_m: float = 2.0,
    solar_mj_m2: float | None = None,
    sunshine_h: float | None = None,
    coastal: bool = False,
) -> ReferenceEt:
    """Reference ET of one day, from its two temperatures and all else that was measured.

    Parameters
    ----------
    day : date
        The day.
    latitude_deg : float
        Latitude, -90 to 90, south negative. [deg]
    elevation_m : float
        Height above the sea, -450 to 6000. [m]
    tmin_c : float
        Lowest temperature of the day, not above `tmax_c`. [°C]
    tmax_c : float
        Highest temperature of the day, -60 to 60. [°C]
    dewpoint_c : float, optional
        Dew point, the day's mean or the morning's, -60 to 60. [°C]
    rh_max_pct : float, optional
        Highest relative humidity, 0 to 100. [%]
    rh_min_pct : float, optional
        Lowest relative humidity, 0 to 100; alone it does not give the vapour. [%]
    rh_mean_pct : float, optional
        Mean relative humidity, 0 to 100. [%]
    vapour_pressure_kpa : float, optional
        Actual vapour pressure, 0 to 8. [kPa]
    wind_m_s : float, optional
        Mean wind, 0 to 60. [m/s]
    wind_height_m : float
        Height the wind was measured at. [m]
    solar_mj_m2 : float, optional
        Solar radiation of the day, 0 to 60; what is above Ra is cut to Ra. [MJ/m2]
    sunshine_h : float, optional
        Bright sunshine, 0 to 24. [h]
    coastal : bool
        Whether a large body of water near by narrows the range of temperatures.

    Returns
    -------
    ReferenceEt
        `eto_mm_day` is never below 0: dew is not counted. `rh_min_pct` is as measured, else from
        the vapour pressure (eq. 63, 64); `wind_2m_m_s` is as measured, even under the 0.5 m/s that
        the equation takes at least.

    Raises
    ------
    OutOfRange
        If a value is outside its range or not a number, or the lowest temperature is above the
        highest.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 6 and chapters 3 and 4; for the day G = 0 (eq. 42).

    Examples
    --------
    Example 18 of that paper prints 3.9 mm/day (3.88 before rounding):

    >>> found = reference_et(
    ...     day=date(2031, 7, 6), latitude_deg=50.8, elevation_m=100.0, tmin_c=12.3, tmax_c=21.5,
    ...     rh_max_pct=84.0, rh_min_pct=63.0, wind_m_s=10 / 3.6, wind_height_m=10.0,
    ...     sunshine_h=9.25,
    ... )
    >>> round(found.eto_mm_day, 2), found.method
    (3.88, 'penman-monteith (sun from sunshine hours)')
    """
    require_range("tmax_c", tmax_c, *AIR_TEMP_RANGE_C)
    require_range("tmin_c", tmin_c, AIR_TEMP_RANGE_C[0], tmax_c)
    known = _Known(
        tmin_c, tmax_c, dewpoint_c, rh_max_pct, rh_min_pct, rh_mean_pct, vapour_pressure_kpa
    )
    vapour_kpa, humidity_rung = _vapour(known)
    saturation_kpa = day_saturation_kpa(tmin_c=tmin_c, tmax_c=tmax_c)
    number = day_of_year(day)
    above_mj_m2 = extraterrestrial_mj_m2(latitude_deg=latitude_deg, day_of_year=number)
    clear_mj_m2 = clear_sky_mj_m2(extraterrestrial_mj_m2=above_mj_m2, elevation_m=elevation_m)
    notes: list[Note] = []
    if vapour_kpa > saturation_kpa:
        notes.append(Note.SATURATED)
    if solar_mj_m2 is not None:
        sun_mj_m2 = _measured_sun_mj_m2(solar_mj_m2, above_mj_m2, clear_mj_m2, notes)
        radiation_rung = "measured"
    elif sunshine_h is not None:
        length_h = day_length_h(latitude_deg=latitude_deg, day_of_year=number)
        sun_mj_m2 = solar_from_sunshine_mj_m2(
            sunshine_h=sunshine_h, day_length_h=length_h, extraterrestrial_mj_m2=above_mj_m2
        )
        radiation_rung = _SUNSHINE
        if sunshine_h > length_h:
            notes.append(Note.SUN_ALL_DAY)
    else:
        sun_mj_m2 = solar_from_temperatures_mj_m2(
            tmin_c=tmin_c,
            tmax_c=tmax_c,
            extraterrestrial_mj_m2=above_mj_m2,
            clear_sky_mj_m2=clear_mj_m2,
            coastal=coastal,
        )
        radiation_rung = f"temperatures, {'coast' if coastal else 'inland'}"
    wind_2m_m_s, wind_rung = USUAL_WIND_M_S, f"taken as {USUAL_WIND_M_S:g} m/s"
    if wind_m_s is not None:
        wind_2m_m_s = wind_at_2m_m_s(wind_m_s, height_m=wind_height_m)
        wind_rung = f"measured at {wind_height_m:g} m"
        if wind_2m_m_s < LEAST_WIND_M_S:
            notes.append(Note.CALM)
    outgoing_mj_m2 = net_longwave_mj_m2(
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        vapour_pressure_kpa=vapour_kpa,
        solar_mj_m2=sun_mj_m2,
        clear_sky_mj_m2=clear_mj_m2,
    )
    eto = penman_monteith_mm_day(
        tmean_c=(tmin_c + tmax_c) / 2.0,
        elevation_m=elevation_m,
        net_radiation_mj_m2=net_shortwave_mj_m2(sun_mj_m2) - outgoing_mj_m2,
        wind_2m_m_s=max(wind_2m_m_s, LEAST_WIND_M_S),
        deficit_kpa=max(saturation_kpa - vapour_kpa, 0.0),
    )
    if rh_min_pct is None:
        rh_min_pct = rh_min_from_vapour_pct(vapour_pressure_kpa=vapour_kpa, tmax_c=tmax_c)
    return ReferenceEt(
        eto_mm_day=max(eto, 0.0),
        method=_method(humidity_rung, radiation_rung, wind_known=wind_m_s is not None),
        humidity_rung=humidity_rung,
        radiation_rung=radiation_rung,
        wind_rung=wind_rung,
        wind_2m_m_s=wind_2m_m_s,
        rh_min_pct=rh_min_pct,
        solar_mj_m2=sun_mj_m2,
        notes=tuple(notes),
    )


def penman_monteith_mm_day(
    *,
    tmean_c: float,
    elevation_m: float,
    net_radiation_mj_m2: float,
    wind_2m_m_s: float,
    deficit_kpa: float,
) -> float:
    """The FAO Penman-Monteith equation as printed, without limits.

    Parameters
    ----------
    tmean_c : float
        Mean of the day's highest and lowest temperature. [°C]
    elevation_m : float
        Height above the sea. [m]
    net_radiation_mj_m2 : float
        Net radiation Rn of the day, less the heat G that the soil takes up, which is about 0 over a
        day (eq. 42). [MJ/m2]
    wind_2m_m_s : float
        Wind at 2 m. [m/s]
    deficit_kpa : float
        Saturation vapour pressure less the actual. [kPa]

    Returns
    -------
    float
        Reference ET; below 0 where the equation finds dew. [mm/day]

    Raises
    ------
    OutOfRange
        If the temperature or the height is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 6.

    Examples
    --------
    FAO-56, Example 18: 3.88.

    >>> air = {"tmean_c": 16.9, "wind_2m_m_s": 2.078, "deficit_kpa": 0.589}
    >>> round(penman_monteith_mm_day(elevation_m=100.0, net_radiation_mj_m2=13.28, **air), 2)
    3.88
    """
    slope = saturation_slope_kpa_per_c(tmean_c)
    gamma = psychrometric_kpa_per_c(air_pressure_kpa(elevation_m))
    from_radiation = MM_PER_MJ_M2 * slope * net_radiation_mj_m2
    from_air = gamma * 900.0 / (tmean_c + 273.0) * wind_2m_m_s * deficit_kpa
    return (from_radiation + from_air) / (slope + gamma * (1.0 + 0.34 * wind_2m_m_s))


@dataclass(slots=True)
class _Known:
    """Measured temperatures and humidity of a day."""

    tmin_c: float
    tmax_c: float
    dewpoint_c: float | None
    rh_max_pct: float | None
    rh_min_pct: float | None
    rh_mean_pct: float | None
    vapour_pressure_kpa: float | None


_NO_HUMIDITY = "dew point taken as Tmin"
_SUNSHINE = "sunshine hours"


def _vapour(known: _Known) -> tuple[float, str]:
    """Actual vapour pressure from the best measurement there is, and the name of that."""
    for name in ("rh_max_pct", "rh_min_pct", "rh_mean_pct"):
        value = getattr(known, name)
        if value is not None:
            require_range(name, value, 0.0, 100.0)
    tmin_c, tmax_c = known.tmin_c, known.tmax_c
    if known.vapour_pressure_kpa is not None:
        vapour_kpa = require_range(
            "vapour_pressure_kpa", known.vapour_pressure_kpa, *MEASURED_VAPOUR_RANGE_KPA
        )
        return vapour_kpa, "vapour pressure"
    if known.dewpoint_c is not None:
        dewpoint_c = require_range("dewpoint_c", known.dewpoint_c, *AIR_TEMP_RANGE_C)
        return saturation_vapour_pressure_kpa(dewpoint_c), "dew point"
    if known.rh_max_pct is not None and known.rh_min_pct is not None:
        vapour_kpa = vapour_from_rh_range_kpa(
            tmin_c=tmin_c,
            tmax_c=tmax_c,
            rh_max_pct=known.rh_max_pct,
            rh_min_pct=known.rh_min_pct,
        )
        return vapour_kpa, "highest and lowest humidity"
    if known.rh_max_pct is not None:
        vapour_kpa = vapour_from_rh_max_kpa(tmin_c=tmin_c, rh_max_pct=known.rh_max_pct)
        return vapour_kpa, "highest humidity"
    if known.rh_mean_pct is not None:
        vapour_kpa = vapour_from_rh_mean_kpa(
            tmin_c=tmin_c, tmax_c=tmax_c, rh_mean_pct=known.rh_mean_pct
        )
        return vapour_kpa, "mean humidity"
    return saturation_vapour_pressure_kpa(tmin_c), _NO_HUMIDITY


def _measured_sun_mj_m2(
    solar_mj_m2: float, above_mj_m2: float, clear_mj_m2: float, notes: list[Note]
) -> float:
    """Measured radiation, cut to what is possible; what is odd goes to `notes`."""
    require_range("solar_mj_m2", solar_mj_m2, *SOLAR_RANGE_MJ_M2)
    if solar_mj_m2 > above_mj_m2:
        notes.append(Note.SUN_ABOVE_AIR)
    elif solar_mj_m2 > ODD_CLEAR_SHARE * clear_mj_m2:
        notes.append(Note.SUN_ABOVE_CLEAR_SKY)
    return min(solar_mj_m2, above_mj_m2)


def _method(humidity_rung: str, radiation_rung: str, *, wind_known: bool) -> str:
    """The equation, and in brackets what was not measured."""
    filled = []
    if humidity_rung == _NO_HUMIDITY:
        filled.append(humidity_rung)
    if radiation_rung != "measured":
        from_sunshine = radiation_rung == _SUNSHINE
        filled.append(f"sun from {_SUNSHINE if from_sunshine else 'temperatures'}")
    if not wind_known:
        filled.append(f"wind {USUAL_WIND_M_S:g} m/s")
    return f"penman-monteith ({', '.join(filled)})" if filled else "penman-monteith"
