"""Degree days for the stages; soil temperature and emergence for what was sown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import erf, exp, pi, sqrt

from controller.errors import OutOfRange, require_range
from crops.entry import EMERGENCE_SOIL_C, USUAL_GDD_UPPER_C

# The lowest and highest temperature usual for a date, where the garden has normals.
NormalTemps = Callable[[date], tuple[float, float] | None]
NormalSpread = Callable[[date], float]  # the standard deviation of both
AIR_RANGE_C = (-90.0, 60.0)  # our choice: beyond any weather station's record
SOIL_DAYS = 5  # our choice: so many days before sowing the soil's warmth is followed from
SOIL_FOLLOWS = 0.35  # of the way to the surface's temperature in a day; see `soil_temperature_c`
# From January on, in the north: what the sun adds if its radiation is unknown. Our choice.
_SUN_BY_MONTH_C = (0.0, 0.0, 0.5, 1.0, 1.5, 1.5, 1.5, 1.5, 0.5, 0.5, 0.0, 0.0)


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


def usual_degree_days(
    *,
    tmin_c: float,
    tmax_c: float,
    spread_c: float,
    base_c: float,
    upper_c: float = USUAL_GDD_UPPER_C,
) -> float:
    """Mean degree days of days whose temperatures vary around these means from year to year.

    Parameters
    ----------
    tmin_c, tmax_c : float
        Mean lowest and highest air temperature of that day of the year, -90 to 60. [°C]
    spread_c : float
        Standard deviation of each, from day to day and year to year, 0 to 20. [°C]
    base_c, upper_c : float
        As for `degree_days`. [°C]

    Returns
    -------
    float
        More than `degree_days` of the means near the base, less near the upper limit: warm days
        count in full, cold days count as 0. [°C day]

    Raises
    ------
    OutOfRange
        As `degree_days`, and if the spread is outside its range.

    Source
    ------
    The mean of a normal variable cut off at two limits (a textbook integral); that both
    temperatures are normal is our choice.

    Examples
    --------
    >>> round(usual_degree_days(tmin_c=5, tmax_c=15, spread_c=4, base_c=10), 2)
    2.7
    """
    require_range("spread_c", spread_c, 0.0, 20.0)
    plain = degree_days(tmin_c=tmin_c, tmax_c=tmax_c, base_c=base_c, upper_c=upper_c)
    if not spread_c:
        return plain
    return (
        sum(
            _mean_above(mean_c - base_c, spread_c) - _mean_above(mean_c - upper_c, spread_c)
            for mean_c in (tmin_c, tmax_c)
        )
        / 2.0
    )


def _mean_above(over: float, spread: float) -> float:
    """Mean of the part above 0 of a normal variable with mean `over`."""
    z = over / spread
    share = 0.5 * (1.0 + erf(z / sqrt(2.0)))
    return over * share + spread * exp(-z * z / 2.0) / sqrt(2.0 * pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What makes the soil at seed depth warmer or colder than the air.

    `holds` is the share of the surface's temperature swing that an organic mulch keeps out,
    `film_c` the warming by a film [°C], `sun_share` the share of the sun's warming that reaches the
    soil (half in heavy, wet soil), `south` whether the place lies south of the equator.
    """

    holds: float = 0.0
    film_c: float = 0.0
    sun_share: float = 1.0
    south: bool = False


OPEN_GROUND = Ground()


def sun_warming_c(
    *,
    day: date,
    tmin_c: float,
    tmax_c: float,
    solar_mj_m2: float | None,
    south: bool = False,
) -> float:
    """How much the sun warms a bare surface above the mean air temperature.

    Parameters
    ----------
    day : date
        The day; its month stands in where the sun is not known.
    tmin_c, tmax_c : float
        Lowest and highest air temperature. [°C]
    solar_mj_m2 : float or None
        Solar radiation of the day, if known. [MJ/m2]
    south : bool
        Whether the place lies south of the equator.

    Returns
    -------
    float
        Degrees above the mean; below 0 on dark days. [°C]

    Raises
    ------
    Nothing.

    Source
    ------
    Bare-soil term of the USDA watershed models (EPIC): (0.8 Rs - 14)/20 of half the day's range,
    from memory; kept within half of that half range, and the figures by the month: our choice.

    Examples
    --------
    >>> sun_warming_c(day=date(2031, 4, 1), tmin_c=2, tmax_c=12, solar_mj_m2=20)
    0.5
    """
    if solar_mj_m2 is not None:
        share = min(max((0.8 * solar_mj_m2 - 14.0) / 20.0, -0.5), 0.5)
        return share * (tmax_c - tmin_c) / 2.0
    return _SUN_BY_MONTH_C[(day.month + (5 if south else -1)) % 12]


def soil_temperature_c(
    before_c: float | None,
    *,
    day: date,
    tmin_c: float,
    tmax_c: float,
    solar_mj_m2: float | None = None,
    snow: bool = False,
    ground: Ground = OPEN_GROUND,
) -> float:
    """Mean soil temperature of a day at 3 to 5 cm, from the air and the day before.

    Parameters
    ----------
    before_c : float or None
        The same of the day before; None: the soil starts with the surface temperature. [°C]
    day : date
        The day.
    tmin_c, tmax_c : float
        Lowest and highest air temperature, -90 to 60. [°C]
    solar_mj_m2 : float or None
        Solar radiation of the day, if known. [MJ/m2]
    snow : bool
        Whether there is snow: soil under it does not freeze.
    ground : Ground
        What lies on it.

    Returns
    -------
    float
        Soil temperature; its error is about 2 °C. [°C]

    Raises
    ------
    OutOfRange
        If a temperature is outside its range, or not a number.

    Source
    ------
    The form, yesterday's soil mixed with a surface from air, sun and cover, is that of the USDA
    watershed models (EPIC; Williams et al. 1984, from memory). The share of 0.35 a day is our
    choice: by a damping depth of 0.12 m for the daily wave soil at 3 to 5 cm follows the air within
    one or two days; a mean of a week suits 10 to 20 cm.

    Examples
    --------
    >>> round(soil_temperature_c(8.0, day=date(2031, 4, 1), tmin_c=4.0, tmax_c=16.0), 2)
    9.05
    """
    require_range("tmin_c", tmin_c, *AIR_RANGE_C)
    require_range("tmax_c", tmax_c, *AIR_RANGE_C)
    sun_c = ground.sun_share * sun_warming_c(
        day=day, tmin_c=tmin_c, tmax_c=tmax_c, solar_mj_m2=solar_mj_m2, south=ground.south
    )
    bare_c = (tmin_c + tmax_c) / 2.0 + sun_c + ground.film_c
    if before_c is None:
        return max(bare_c, 0.0) if snow else bare_c
    surface_c = ground.holds * before_c + (1.0 - ground.holds) * bare_c
    soil_c = before_c + SOIL_FOLLOWS * (surface_c - before_c)
    return max(soil_c, 0.0) if snow else soil_c


def emergence_rate(
    soil_c: float, emergence_days: Sequence[float], base_c: float | None = None
) -> float:
    """Rate of emergence: the share of the way from sowing that one day at this temperature makes.

    Parameters
    ----------
    soil_c : float
        Temperature of the soil at seed depth. [°C]
    emergence_days : sequence of float
        Days to emergence in soil of 5, 10, 15, 20 and 25 °C; 0 if none came up or nobody tried.
    base_c : float or None
        Temperature at which the rate is 0, below the coldest entry; None: 0 below that entry. [°C]

    Returns
    -------
    float
        Share per day: the rates 1/days of the table, straight lines between its temperatures, the
        last one held above 25 °C; below the coldest entry straight to 0 at the base. [1/day]

    Raises
    ------
    OutOfRange
        If the temperature is not between -90 and 60.

    Source
    ------
    Days: vegetable germination table, J. F. Harrington and P. A. Minges (1954), University of
    California (attribution from memory). Thermal time, a rate of (T - base)/S, with bases fitted to
    it: Bierhuizen and Wagenvoort (1974), from memory; that heat may be summed over changing
    temperatures: Brewster, Onions and other vegetable alliums. The line below the coldest entry is
    our choice: a table that ends is not a seed that stops.

    Examples
    --------
    >>> emergence_rate(20.0, (36, 14, 9, 8, 6))
    0.125
    >>> emergence_rate(11.0, (0, 0, 16, 11, 8), 7.0)
    0.03125
    """
    require_range("soil_c", soil_c, *AIR_RANGE_C)
    known = [(at, 1.0 / n) for at, n in zip(EMERGENCE_SOIL_C, emergence_days, strict=True) if n]
    if not known:
        return 0.0
    coldest_c, slowest = known[0]
    if soil_c < coldest_c:
        if base_c is None:
            return 0.0
        return slowest * max(soil_c - base_c, 0.0) / (coldest_c - base_c)
    for (cold_c, slow), (warm_c, fast) in pairwise(known):
        if soil_c <= warm_c:
            return slow + (soil_c - cold_c) / (warm_c - cold_c) * (fast - slow)
    return known[-1][1]
