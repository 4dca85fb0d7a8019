"""Warmth as plants count it: degree days for the stages, and the soil's for what was sown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from itertools import pairwise

from controller.errors import OutOfRange, require_range
from crops.entry import EMERGENCE_SOIL_C, USUAL_GDD_UPPER_C

# The lowest and highest temperature usual for a date, where the garden has normals.
NormalTemps = Callable[[date], tuple[float, float] | None]
AIR_RANGE_C = (-90.0, 60.0)  # our choice: beyond any weather station's record
SOIL_DAYS = 7  # our choice: the days of air over which soil at seed depth is averaged


def degree_days(
    *, tmin_c: float, tmax_c: float, base_c: float, upper_c: float = USUAL_GDD_UPPER_C
) -> float:
    """Growing degree days of one day, both temperatures clipped before they are averaged.

    Parameters
    ----------
    tmin_c : float
        Lowest air temperature of the day, -90 to 60. [°C]
    tmax_c : float
        Highest, likewise. [°C]
    base_c : float
        Temperature below which the plant does not develop. [°C]
    upper_c : float
        Temperature above which more heat brings no more development, above `base_c`. [°C]

    Returns
    -------
    float
        Degree days, from 0 to `upper_c - base_c`. [°C day]

    Raises
    ------
    OutOfRange
        If a temperature is outside its range, or not a number.

    Notes
    -----
    Other conventions clip the mean only, or follow a sine curve through the day; their sums differ,
    so a crop's sum is good only with the convention it was made with.

    Source
    ------
    Oregon State University Extension, EM 9305: averaging with horizontal cut-offs.

    Examples
    --------
    >>> degree_days(tmin_c=18, tmax_c=32, base_c=10)
    14.0
    """
    low, high = AIR_RANGE_C
    if not (low <= tmin_c <= high and low <= tmax_c <= high and low <= base_c < upper_c <= high):
        require_range("tmin_c", tmin_c, low, high)
        require_range("tmax_c", tmax_c, low, high)
        require_range("base_c", base_c, low, high)
        require_range("upper_c", upper_c, base_c, high)
        raise OutOfRange("upper_c", upper_c, base_c, high)
    least = min(max(tmin_c, base_c), upper_c)
    most = min(max(tmax_c, base_c), upper_c)
    return (least + most) / 2.0 - base_c


def soil_temperature_c(mean_air_c: Sequence[float]) -> float | None:
    """Warmth of the soil at seed depth, guessed from the air of the days before.

    Parameters
    ----------
    mean_air_c : sequence of float
        Mean air temperature of each day, the newest last; only the last 7 count. [°C]

    Returns
    -------
    float or None
        Their mean; None of no days at all. [°C]

    Raises
    ------
    Nothing.

    Source
    ------
    Our choice: soil a finger deep follows the air with a lag of some days. Open soil in the sun is
    warmer than this, soil under a thick mulch in spring colder. A thermometer in the bed, or the
    day the plants were seen, is better.
    """
    last = mean_air_c[-SOIL_DAYS:]
    return sum(last) / len(last) if last else None


def emergence_rate(soil_c: float, emergence_days: Sequence[float]) -> float:
    """The share of the way from sowing to emergence that one day at this soil temperature makes.

    Parameters
    ----------
    soil_c : float
        Temperature of the soil at seed depth. [°C]
    emergence_days : sequence of float
        Days to emergence in soil of 10, 15, 20 and 25 °C; 0 where nothing comes up.

    Returns
    -------
    float
        Share per day: the rates 1/days of the table, straight lines between its temperatures, the
        last one held above 25 °C, nothing below the coldest at which plants come up. [1/day]

    Raises
    ------
    OutOfRange
        If the temperature is not between -90 and 60.

    Source
    ------
    Days: vegetable germination table, attributed to J. F. Harrington, University of California
    (attribution from memory). Interpolating rates, not days: our choice, as rates grow about evenly
    with warmth.

    Examples
    --------
    >>> emergence_rate(20.0, (14, 9, 8, 6))
    0.125
    """
    require_range("soil_c", soil_c, *AIR_RANGE_C)
    known = [(at, 1.0 / n) for at, n in zip(EMERGENCE_SOIL_C, emergence_days, strict=True) if n]
    if not known or soil_c < known[0][0]:
        return 0.0
    for (cold_c, slow), (warm_c, fast) in pairwise(known):
        if soil_c <= warm_c:
            return slow + (soil_c - cold_c) / (warm_c - cold_c) * (fast - slow)
    return known[-1][1]
