"""What is normal in this garden: means by the day of the year, from years of its own weather.

A monthly climate table (`timetable/monthly.py`) fills the days of the year that have none.

Each day of the year gets the mean of all days up to `HALF_WINDOW_DAYS` before and after it, of all
years. 29 February counts as 28 February.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import sqrt

from controller.errors import OutOfRange
from controller.garden.model import Site
from controller.timetable.reference import eto_of
from controller.weather.day import WeatherDay

# Half a month to each side: from 23 station years a year left out is then foretold as well as with
# any width (a day's error 1.09 mm), from two years better than with a narrower window (1.13 mm
# against 1.20 at 3 days; tests/timetable/test_normals.py).
HALF_WINDOW_DAYS = 15
# A day of the year has a normal if so many days of at least `LEAST_YEARS` years lie in its window;
# our choice. One year alone foretold worse there (1.16 mm) than the season's table (1.11 mm).
LEAST_DAYS, LEAST_YEARS = 20, 2
HIGH_DEVIATIONS = 2.0  # standard deviations above the mean: some 2 in 100 days; our choice
# Of days around a monthly table's means: our choice, 3.4 to 4.3 °C from April to August at
# Wageningen (tests/timetable/test_normals.py).
USUAL_SPREAD_C = 4.0
_YEAR = 365


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalDay:
    """What is normal on one day of the year; None where it is not known.

    `of_table`: it is from a monthly climate table, which alone tells wind, humidity and rain.
    """

    eto_mm: float
    eto_high_mm: float | None
    tmin_c: float
    tmax_c: float
    temp_spread_c: float | None = None  # standard deviation of both; None of a monthly table
    wind_2m_m_s: float | None = None
    rh_min_pct: float | None = None
    rain_mm: float | None = None
    of_table: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Normals:
    """Normals by day of the year; None where too few days of too few years tell one."""

    by_number: tuple[NormalDay | None, ...]  # 365, of 1 January first
    years: int  # calendar years with a day in them; 0: a monthly climate table alone

    def on(self, day: date) -> NormalDay | None:
        """What is normal on that day of the year."""
        return self.by_number[_number(day)]

    def eto_mm(self, day: date) -> float | None:
        """Normal reference ET of the day. [mm]"""
        found = self.on(day)
        return None if found is None else found.eto_mm

    def eto_high_mm(self, day: date) -> float | None:
        """Reference ET that is far above normal on that day; None where no years tell. [mm]"""
        found = self.on(day)
        return None if found is None else found.eto_high_mm

    def filled_by(self, table: Normals | None) -> Normals:
        """The same with a monthly climate table's days where there is none."""
        if table is None:
            return self
        pairs = zip(self.by_number, table.by_number, strict=True)
        return replace(self, by_number=tuple(own or other for own, other in pairs))

    def temperatures(self, day: date) -> tuple[float, float] | None:
        """Normal lowest and highest temperature of the day. [°C]"""
        found = self.on(day)
        return None if found is None else (found.tmin_c, found.tmax_c)

    def temp_spread_c(self, day: date) -> float:
        """Standard deviation of the day's temperatures around the normal ones. [°C]"""
        found = self.on(day)
        own = None if found is None else found.temp_spread_c
        return USUAL_SPREAD_C if own is None else own


def normals_from(days: Iterable[WeatherDay], site: Site) -> Normals | None:
    """Normals out of days that have been, one row a day; None where no day of the year has one.

    Days without both temperatures, forecasts, and days that no weather can have are left out.
    """
    sums = [_Sums() for _ in range(_YEAR)]
    years: set[int] = set()
    for weather in days:
        try:
            eto = None if weather.foretold else eto_of(weather, site)
        except OutOfRange:
            continue
        if eto is None or weather.tmin_c is None or weather.tmax_c is None:
            continue
        sums[_number(weather.day)].add(
            weather.day.year, eto.eto_mm_day, weather.tmin_c, weather.tmax_c
        )
        years.add(weather.day.year)
    by_number = tuple(
        _normal([sums[(n + off) % _YEAR] for off in range(-HALF_WINDOW_DAYS, HALF_WINDOW_DAYS + 1)])
        for n in range(_YEAR)
    )
    return Normals(by_number=by_number, years=len(years)) if any(by_number) else None


class _Sums:
    """Sums over the days of one day of the year."""

    def __init__(self) -> None:
        self.count = 0
        self.eto = self.eto_squared = self.tmin = self.tmax = self.temps_squared = 0.0
        self.years: set[int] = set()

    def add(self, year: int, eto_mm: float, tmin_c: float, tmax_c: float) -> None:
        self.count += 1
        self.eto += eto_mm
        self.eto_squared += eto_mm * eto_mm
        self.tmin += tmin_c
        self.tmax += tmax_c
        self.temps_squared += tmin_c * tmin_c + tmax_c * tmax_c
        self.years.add(year)


def _normal(window: Sequence[_Sums]) -> NormalDay | None:
    count = sum(s.count for s in window)
    if count < LEAST_DAYS or len(set().union(*(s.years for s in window))) < LEAST_YEARS:
        return None
    mean = sum(s.eto for s in window) / count
    variance = max(sum(s.eto_squared for s in window) / count - mean * mean, 0.0)
    tmin_c, tmax_c = sum(s.tmin for s in window) / count, sum(s.tmax for s in window) / count
    squares = sum(s.temps_squared for s in window) / count - tmin_c * tmin_c - tmax_c * tmax_c
    return NormalDay(
        eto_mm=mean,
        eto_high_mm=mean + HIGH_DEVIATIONS * sqrt(variance),
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        temp_spread_c=sqrt(max(squares, 0.0) / 2.0),
    )


def _number(day: date) -> int:
    """The place of a day in a year of 365 days, from 0; 29 February is 28 February."""
    number = day.timetuple().tm_yday - 1
    is_leap = day.year % 4 == 0 and (day.year % 100 != 0 or day.year % 400 == 0)
    return number - 1 if is_leap and number >= 59 else number
