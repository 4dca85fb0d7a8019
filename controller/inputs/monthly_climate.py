"""Normals from a monthly climate table, with messages on the climate in use.

Daily values lie on a smooth curve that keeps the mean of every month: the slope of the periodic
cubic spline through the sums at the ends of the months (a histospline). Straight lines from middle
to middle would cut off the summer's peak. The reference ET of each day is then computed from its
own figures. Rain is spread evenly over its month (our choice): only sums of it are used, and a
curve might fall below 0.

The rain of a table is usual, not known, so it is not credited to any bed.

Without weather, the climate is the most important choice of a garden file: two climate classes
further, the water of the same month may be twice as much.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import pairwise

from controller.demand.records import DayInput
from controller.garden.model import Garden, Site
from controller.inputs.climatology import (
    NormalDay,
    Normals,
    StandIns,
    eto_of,
    season_label,
)
from controller.messages import Message, Quantity, Value
from controller.weather.day import LIMITS, VALUES, WeatherDay
from controller.weather.files.monthly_table import MONTHS, YEAR, MonthlyTable
from controller.weather.source_priority import CLIMATE_TABLE, DAYS_BEFORE, SEASON

_LENGTHS = tuple(monthrange(YEAR, month)[1] for month in range(1, 13))
_ROUNDS = 60  # each round halves the error at least: this is below the precision of a float


def daily_from_months(means: Sequence[float]) -> list[float]:
    """A smooth year of 365 days whose months have these means, 1 January first.

    January first, in any unit. Near a sharp turn days may lie a little outside the months' range.

    Source
    ------
    The slope of a periodic cubic spline through the sums at the months' ends keeps the sums and has
    no kink (histospline: Boneva, Kendall, Stefanov 1971, from memory). Its use here is our choice.

    Examples
    --------
    >>> year = daily_from_months([1, 1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1])
    >>> round(sum(year[:31]) / 31, 6), round(max(year), 2)
    (1.0, 6.15)
    """
    # The value of the curve at the beginning of month n; the spline's second derivative has no
    # step: (e[n-1] + 2 e[n]) / h[n-1] + (2 e[n] + e[n+1]) / h[n] = 3 (m[n-1] / h[n-1] + m[n] /
    # h[n]).
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
    """Sum of one month's curve from its beginning to the share `u` of it; `mean` at 1."""
    squared = u * u
    return (
        first * (u - 2.0 * squared + squared * u)
        + last * (squared * u - squared)
        + mean * (3.0 * squared - 2.0 * squared * u)
    )


def normals_of_months(table: MonthlyTable, site: Site) -> Normals:
    """The normals of each day of the year by a monthly climate table.

    Raises
    ------
    OutOfRange
        If a day gives no reference ET; this does not happen with a table that was read without
        faults.
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
    """The value within the limits of its figure; the curve may pass beyond them."""
    limit = LIMITS[name]
    return min(max(value, limit.low), limit.high)


DRIEST, DAMPEST = "arid", "very humid"
_YEAR = 2031  # any year: normals do not depend on it
_DAY = timedelta(days=1)


def climate_in_force(garden: Garden, normals: Normals | None) -> Message:
    """The climate that stands in for unknown weather at this garden."""
    days = [date(_YEAR, 1, 1) + n * _DAY for n in range(365)]
    climate = garden.weather.climate

    def monthly(stand_ins: StandIns) -> list[float]:
        return [
            _mean(stand_ins.usual_mm(d) for d in days if d.month == month) for month in range(1, 13)
        ]

    etos_mm = monthly(_stand_ins(garden, normals, climate))
    at = max(range(12), key=lambda n: etos_mm[n])
    known = [] if normals is None else [n for d in days if (n := normals.on(d)) is not None]
    tables = [found for found in known if found.of_table]
    sources = []
    if normals is not None and len(known) > len(tables):
        sources.append(Message("climate.normals", {"years": normals.years}))
    if tables:
        sources.append(Message("climate.table", {"name": str(garden.weather.climate_table)}))
    peak: dict[str, Value] = {"month": MONTHS[at], "eto": Quantity(etos_mm[at], "depth")}
    if len(known) == len(days):
        rain = _usual_rain(sum(found.rain_mm or 0.0 for found in tables))
        return Message("climate.of_garden", {"sources": tuple(sources), **peak, "rain": rain})
    sources.append(season_label(climate))
    others = []
    for name in (DRIEST, DAMPEST):
        if name != climate:
            eto = Quantity(monthly(_stand_ins(garden, None, name))[at], "depth")
            others.append(Message("climate.eto_if", {"eto": eto, "climate": name}))
    found = {"sources": tuple(sources), "others": tuple(others)}
    return Message("climate.of_class", {**found, **peak})


def climate_messages(
    garden: Garden, days: Iterable[DayInput], normals: Normals | None
) -> tuple[Message, ...]:
    """Messages on days of a plan that stand on a climate class or table."""
    by_class: list[DayInput] = []
    by_table: list[DayInput] = []
    for found in days:
        normal = None if normals is None else normals.on(found.day)
        if found.rung == SEASON or (found.rung == DAYS_BEFORE and normal is None):
            by_class.append(found)
        elif normal is not None and normal.of_table and found.rung in (CLIMATE_TABLE, DAYS_BEFORE):
            by_table.append(found)
    messages = []
    if by_class:
        climate = garden.weather.climate
        usual_mm = _class_mm(garden, climate, by_class)
        etos = [Message("climate.eto", {"eto": Quantity(usual_mm, "depth")})]
        for name in (DRIEST, DAMPEST):
            if usual_mm > 0.0 and name != climate:
                times = _class_mm(garden, name, by_class) / usual_mm
                etos.append(Message("climate.times_if", {"times": times, "climate": name}))
        values: dict[str, Value] = {
            "climate": climate,
            "days": len(by_class),
            "etos": tuple(etos),
        }
        messages.append(Message("climate.class_stands_in", values))
    if by_table and normals is not None:
        eto_mm = _mean(found.eto_mm for found in by_table)
        fallen = (normals.on(found.day) for found in by_table if found.rain_mm is None)
        rain = _usual_rain(sum(n.rain_mm or 0.0 for n in fallen if n is not None))
        messages.append(
            Message(
                "climate.table_stands_in",
                {"days": len(by_table), "eto": Quantity(eto_mm, "depth"), "rain": rain},
            )
        )
    return tuple(messages)


def _class_mm(garden: Garden, climate: str, days: Sequence[DayInput]) -> float:
    """Mean reference ET of these days by the season's table for that climate. [mm]"""
    return _mean(_stand_ins(garden, None, climate).usual_mm(found.day) for found in days)


def _usual_rain(rain_mm: float) -> Value:
    """Message that usual rain is not credited; empty if the table has no rain."""
    if rain_mm <= 0.0:
        return ""
    return Message("climate.usual_rain", {"rain": Quantity(rain_mm, "rough depth")})


def _stand_ins(garden: Garden, normals: Normals | None, climate: str) -> StandIns:
    return StandIns(site=garden.site, normals=normals, climate=climate)


def _mean(values: Iterable[float]) -> float:
    kept = list(values)
    return sum(kept) / len(kept) if kept else 0.0
