"""Precipitation of cold days is stored as snow and enters the water balance when it melts.

No water is lost: precipitation is what reached the ground plus the change of the snow. Drift and
sublimation are not computed.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.demand.climate.atmosphere import AIR_TEMP_RANGE_C
from controller.errors import require_range

# All snow at or below the first mean temperature, all rain from the second on, in proportion
# between: common in degree-day computations of snow (from memory); these two are our choice.
ALL_SNOW_C, ALL_RAIN_C = 0.0, 2.0
# Water melted by a day of mean temperature one degree above freezing. Snow hydrology gives 2 to
# 5 mm (from memory); a middle figure, our choice.
MELT_MM_PER_C_DAY = 3.0
MELTS_ABOVE_C = 0.0
MOST_MM = 2000.0  # our choice: more in one day, or lying, is no reading


@dataclass(frozen=True, slots=True, kw_only=True)
class SnowDay:
    """One day of snow, as water."""

    reached_mm: float  # as rain and as melt
    melted_mm: float
    fell_as_snow_mm: float
    lying_mm: float  # at the end of the day


def snow_share(tmean_c: float) -> float:
    """The share of a day's precipitation that falls as snow.

    Parameters
    ----------
    tmean_c : float
        Mean of the day's highest and lowest temperature, -60 to 60. [°C]

    Returns
    -------
    float
        1 where all of it is snow, 0 where all is rain.

    Raises
    ------
    OutOfRange
        If the temperature is outside that range, or not a number.

    Source
    ------
    From memory: two temperatures with a straight line between; their figures are our choice.

    Examples
    --------
    >>> snow_share(0.5)
    0.75
    """
    require_range("tmean_c", tmean_c, *AIR_TEMP_RANGE_C)
    return min(max((ALL_RAIN_C - tmean_c) / (ALL_RAIN_C - ALL_SNOW_C), 0.0), 1.0)


def snow_day(
    *, precipitation_mm: float, lying_mm: float, tmin_c: float | None, tmax_c: float | None
) -> SnowDay:
    """Water that reaches the ground on a day, from its precipitation and the snow that lay.

    Parameters
    ----------
    precipitation_mm : float
        What fell, as water, 0 to 2000. [mm]
    lying_mm : float
        Snow that lay at the beginning of the day, as water, 0 or more. [mm]
    tmin_c : float, optional
        Lowest temperature of the day. [°C]
    tmax_c : float, optional
        Highest temperature of the day. [°C]

    Returns
    -------
    SnowDay
        Today's snow may melt today. Without both temperatures precipitation is taken as rain, and
        the snow stays.

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Degree-day melt, from memory; see the constants.

    Examples
    --------
    A day of 3 °C melts 9 mm of the 20 that lay, and its own 4 mm are rain:

    >>> found = snow_day(precipitation_mm=4.0, lying_mm=20.0, tmin_c=1.0, tmax_c=5.0)
    >>> found.reached_mm, found.lying_mm
    (13.0, 11.0)
    """
    require_range("precipitation_mm", precipitation_mm, 0.0, MOST_MM)
    require_range("lying_mm", lying_mm, 0.0, float("inf"))
    if tmin_c is None or tmax_c is None:
        return SnowDay(
            reached_mm=precipitation_mm, melted_mm=0.0, fell_as_snow_mm=0.0, lying_mm=lying_mm
        )
    tmean_c = (tmin_c + tmax_c) / 2.0
    as_snow_mm = precipitation_mm * snow_share(tmean_c)
    on_ground_mm = lying_mm + as_snow_mm
    melted_mm = min(on_ground_mm, MELT_MM_PER_C_DAY * max(tmean_c - MELTS_ABOVE_C, 0.0))
    return SnowDay(
        reached_mm=precipitation_mm - as_snow_mm + melted_mm,
        melted_mm=melted_mm,
        fell_as_snow_mm=as_snow_mm,
        lying_mm=on_ground_mm - melted_mm,
    )
