"""From a monthly climate table to what is usual on each day of the year.

Days between the months' middles lie on a smooth curve that keeps every month's mean: the slope of
the periodic cubic spline through the sums at the months' ends (a histospline). Straight lines from
middle to middle would cut the summer's top off. Each day's reference ET is then reckoned from the
day's own figures. Rain is spread evenly over its month (our choice): it is only ever summed up, so
nothing is won by a curve that might fall below zero.

Like everything that is usual and not known, the rain of a table is credited to no bed.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

from controller.garden.model import Site
from controller.timetable.normals import NormalDay, Normals
from controller.timetable.reference import eto_of
from controller.weather.checks import LIMITS
from controller.weather.day import VALUES, WeatherDay
from controller.weather.monthly import YEAR, MonthlyTable

_LENGTHS = tuple(monthrange(YEAR, month)[1] for month in range(1, 13))
_ROUNDS = 60  # each round leaves less than half of the error: far beyond what a float can tell


def daily_from_months(means: Sequence[float]) -> list[float]:
    """A smooth year of 365 days whose months have these means, 1 January first.

    Parameters
    ----------
    means : sequence of float
        The mean of each month, January first.

    Returns
    -------
    list of float
        The mean of each day. Near a sharp turn days may pass a little beyond what months have.

    Raises
    ------
    OutOfRange
        Never: a monthly table has been checked.

    Source
    ------
    The slope of a periodic cubic spline through the sums at the months' ends keeps the sums and has
    no kink (histospline: Boneva, Kendall, Stefanov 1971, from memory). Its use here is our choice.
    """
    # What the curve has where month n begins, by the spline's condition that its bend has no step:
    # (e[n-1] + 2 e[n]) / h[n-1] + (2 e[n] + e[n+1]) / h[n] = 3 (m[n-1] / h[n-1] + m[n] / h[n]).
    edges = [(means[n - 1] + means[n]) / 2.0 for n in range(12)]
    for _ in range(_ROUNDS):
        for n in range(12):
            before, after = 1.0 / _LENGTHS[n - 1], 1.0 / _LENGTHS[n]
            wanted = 3.0 * (means[n - 1] * before + means[n] * after)
            wanted -= edges[n - 1] * before + edges[(n + 1) % 12] * after
            edges[n] = wanted / (2.0 * (before + after))
    days: list[float] = []
    for n, length in enumerate(_LENGTHS):
        first, last, mean = edges[n], edges[(n + 1) % 12], means[n]
        sums = [_sum_to(k / length, first, last, mean) for k in range(length + 1)]
        days += [length * (b - a) for a, b in pairwise(sums)]
    return days


def _sum_to(u: float, first: float, last: float, mean: float) -> float:
    """The curve of one month summed from its beginning to the part `u` of it; `mean` at 1."""
    squared = u * u
    return (
        first * (u - 2.0 * squared + squared * u)
        + last * (squared * u - squared)
        + mean * (3.0 * squared - 2.0 * squared * u)
    )


def normals_of_months(table: MonthlyTable, site: Site) -> Normals:
    """What is usual on each day of the year by a monthly climate table.

    Raises
    ------
    OutOfRange
        If reference ET cannot be reckoned of a day; a table that was read without faults has none.
    """
    curves = {
        name: daily_from_months([v for day in table.days if (v := day.value(name)) is not None])
        for name in VALUES
        if all(day.value(name) is not None for day in table.days)
    }
    rain = [
        mm / length
        for mm, length in zip(table.rain_mm, _LENGTHS, strict=False)
        for _ in range(length)
    ]
    first = table.days[0]
    by_number = []
    for number in range(sum(_LENGTHS)):
        figures = {name: _held(name, curve[number]) for name, curve in curves.items()}
        figures["tmin_c"] = min(figures["tmin_c"], figures["tmax_c"])
        weather = WeatherDay(
            day=date(YEAR, 1, 1) + timedelta(days=number),
            wind_height_m=first.wind_height_m,
            source=first.source,
            measured=False,
        ).with_(**figures)
        eto = eto_of(weather, site)
        assert eto is not None  # both temperatures are there
        by_number.append(
            NormalDay(
                eto_mm=eto.eto_mm_day,
                eto_high_mm=None,
                tmin_c=figures["tmin_c"],
                tmax_c=figures["tmax_c"],
                wind_2m_m_s=eto.wind_2m_m_s,
                rh_min_pct=eto.rh_min_pct,
                rain_mm=rain[number] if rain else None,
                of_table=True,
            )
        )
    return Normals(by_number=tuple(by_number), years=0)


def _held(name: str, value: float) -> float:
    """Inside what the figure can be, where the curve passes beyond it."""
    limit = LIMITS[name]
    return min(max(value, limit.low), limit.high)
