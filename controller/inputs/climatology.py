"""The normals of this garden, with stand-ins for days without temperatures.

The normal of a day of the year is the mean of all days up to `HALF_WINDOW_DAYS` before and after
it, in all years. 29 February counts as 28 February. A monthly climate table (`monthly_climate.py`)
fills the days of the year without a normal.

A day without temperatures gets the usual reference ET: the normal of this garden, else its monthly
climate table, else the season's table. This is moved by half of the mean difference between the
last known days and what is usual on them. On station years of five places this is nearer than the
mean of those days alone, for gaps of all lengths, and in the first days nearer than the usual value
alone. Normals soon stand alone; the season's table is moved as long as there are known days within
reach, because it does not know the place (tests/season/test_ladder_drill.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from math import sqrt
from pathlib import Path

from controller.demand.climate.radiation import clear_sky_mj_m2, day_of_year, extraterrestrial_mj_m2
from controller.demand.climate.reference_et import USUAL_WIND_M_S, ReferenceEt, reference_et
from controller.demand.climate.usual_et import climate_of, season_eto_mm_day
from controller.errors import OutOfRange
from controller.garden.model import Garden, Site
from controller.messages import Message
from controller.weather.day import WeatherDay
from controller.weather.files.reader import WeatherFile, read_weather
from controller.weather.source_priority import CLIMATE_TABLE, DAYS_BEFORE, NORMAL, SEASON

_DAYS_REMEMBERED = 20_000  # some fifty years, so that a plan computes only new days


@lru_cache(maxsize=_DAYS_REMEMBERED)
def eto_of(weather: WeatherDay, site: Site) -> ReferenceEt | None:
    """Reference ET of one day of weather; None if a temperature is missing.

    Raises
    ------
    OutOfRange
        If a figure is impossible.
    """
    if weather.tmin_c is None or weather.tmax_c is None:
        return None
    return reference_et(
        day=weather.day,
        latitude_deg=site.latitude_deg,
        elevation_m=site.elevation_m,
        tmin_c=weather.tmin_c,
        tmax_c=weather.tmax_c,
        dewpoint_c=weather.dewpoint_c,
        rh_max_pct=weather.rh_max_pct,
        rh_min_pct=weather.rh_min_pct,
        rh_mean_pct=weather.rh_mean_pct,
        vapour_pressure_kpa=weather.vapour_pressure_kpa,
        wind_m_s=weather.wind_m_s,
        wind_height_m=weather.wind_height_m,
        solar_mj_m2=weather.solar_mj_m2,
        sunshine_h=weather.sunshine_h,
        coastal=site.coastal,
    )


def clear_sky_of(site: Site) -> Callable[[date], float]:
    """Clear-sky radiation of this place by date, for checks of a sensor. [MJ/m2]"""

    def clear_sky(day: date) -> float:
        above_the_air = extraterrestrial_mj_m2(
            latitude_deg=site.latitude_deg, day_of_year=day_of_year(day)
        )
        return clear_sky_mj_m2(extraterrestrial_mj_m2=above_the_air, elevation_m=site.elevation_m)

    return clear_sky


def read_station(path: Path, garden: Garden) -> WeatherFile:
    """Read the garden's station file, with its kind, wind height and clear sky.

    Raises
    ------
    WeatherFileError
        If the file cannot be read as weather.
    """
    return read_weather(
        path,
        kind=garden.weather.file_kind,
        wind_height_m=garden.weather.wind_height_m,
        clear_sky_mj_m2=clear_sky_of(garden.site),
        timezone=garden.site.timezone,
    )


# Half a month to each side: from 23 station years a year left out is then predicted as well as with
# any width (a day's error 1.09 mm), from two years better than with a narrower window (1.13 mm
# against 1.20 at 3 days; tests/inputs/test_normals.py).
HALF_WINDOW_DAYS = 15
# A day of the year has a normal if so many days of at least `LEAST_YEARS` years lie in its window;
# our choice. One year alone predicted worse there (1.16 mm) than the season's table (1.11 mm).
LEAST_DAYS, LEAST_YEARS = 20, 2
HIGH_DEVIATIONS = 2.0  # standard deviations above the mean: some 2 in 100 days; our choice
# Of days around a monthly table's means: our choice, 3.4 to 4.3 °C from April to August at
# Wageningen (tests/inputs/test_normals.py).
USUAL_SPREAD_C = 4.0
_YEAR = 365


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalDay:
    """The normals of one day of the year; None for an unknown figure.

    `of_table`: from a monthly climate table; only such a table gives wind, humidity and rain.
    """

    eto_mm: float
    eto_high_mm: float | None
    tmin_c: float
    tmax_c: float
    temp_spread_c: float | None = None  # standard deviation of both; None for a monthly table
    wind_2m_m_s: float | None = None
    rh_min_pct: float | None = None
    rain_mm: float | None = None
    of_table: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Normals:
    """Normals by day of the year; None for a day of the year with too few days or years."""

    by_number: tuple[NormalDay | None, ...]  # 365, of 1 January first
    years: int  # calendar years with data; 0: a monthly climate table alone

    def on(self, day: date) -> NormalDay | None:
        """The normals of that day of the year."""
        return self.by_number[_number(day)]

    def eto_mm(self, day: date) -> float | None:
        """Normal reference ET of the day. [mm]"""
        found = self.on(day)
        return None if found is None else found.eto_mm

    def eto_high_mm(self, day: date) -> float | None:
        """Reference ET that is far above normal on that day; None if it is unknown. [mm]"""
        found = self.on(day)
        return None if found is None else found.eto_high_mm

    def filled_by(self, table: Normals | None) -> Normals:
        """The same, with the days of a monthly climate table where a normal is missing."""
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
    """Normals from past days, one row a day; None if no day of the year gets one.

    Days without both temperatures, forecasts, and days with impossible figures are left out.
    """
    sums = [_Sums() for _ in range(_YEAR)]
    years: set[int] = set()
    for weather in days:
        try:
            eto = None if weather.is_forecast else eto_of(weather, site)
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
    """Index of a day in a year of 365 days, from 0; 29 February counts as 28 February."""
    number = day.timetuple().tm_yday - 1
    is_leap = day.year % 4 == 0 and (day.year % 100 != 0 or day.year % 400 == 0)
    return number - 1 if is_leap and number >= 59 else number


MEAN_OF_DAYS = 7  # number of known days for a stand-in; our choice
MEAN_WITHIN_DAYS = 21  # all within so many days before the last of them; our choice
REACH_DAYS = 45  # they count for so many days after the last of them; our choice
MOVED = 0.5  # share of their difference from usual that is added
NEAR_DAYS = 4  # for so many days after the last known day the rung is DAYS_BEFORE
WARMTH_DAYS = 14  # for so many days, without normals, their mean temperatures stand; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownDay:
    """A day with weather, and its reference ET."""

    weather: WeatherDay
    eto: ReferenceEt


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIn:
    """The stand-in for a day without weather."""

    eto_mm: float
    method: str
    rung: str
    tmin_c: float | None = None
    tmax_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIns:
    """The stand-ins of one site."""

    site: Site
    normals: Normals | None
    climate: str

    def on(self, day: date, before: Sequence[KnownDay]) -> StandIn:
        """The stand-in for a day; `before` are the last known days before it, oldest first."""
        recent = _recent(day, before)
        lag_days = (day - recent[-1].weather.day).days if recent else None
        near = lag_days is not None and lag_days <= NEAR_DAYS
        normal = None if self.normals is None else self.normals.on(day)
        eto_mm = self.usual_mm(day)
        method = f"stand-in: season's table, {self.climate}"
        if self.normals is not None and normal is not None:
            method = f"stand-in: normal of {self.normals.years} years"
            if normal.of_table:
                method = "stand-in: monthly climate table"
        if near or (recent and normal is None):
            away_mm = _mean([k.eto.eto_mm_day - self.usual_mm(k.weather.day) for k in recent])
            eto_mm = max(eto_mm + MOVED * away_mm, 0.0)
            method += f", moved half way by {len(recent)} day{'s' if len(recent) > 1 else ''}"
        tmin_c, tmax_c = self._temperatures(day, recent if near or normal is None else [])
        return StandIn(
            eto_mm=eto_mm,
            method=method,
            rung=DAYS_BEFORE if near else _rung_of(normal),
            tmin_c=tmin_c,
            tmax_c=tmax_c,
        )

    def _temperatures(
        self, day: date, recent: Sequence[KnownDay]
    ) -> tuple[float | None, float | None]:
        """Lowest and highest temperature: the normals, moved in the same way; else recent means."""
        normal = None if self.normals is None else self.normals.temperatures(day)
        lows = [k.weather.tmin_c or 0.0 for k in recent]  # a known day has both
        highs = [k.weather.tmax_c or 0.0 for k in recent]
        if normal is None:
            near = recent and (day - recent[-1].weather.day).days <= WARMTH_DAYS
            return (_mean(lows), _mean(highs)) if near else (None, None)
        assert self.normals is not None
        away = [
            (low - usual[0], high - usual[1])
            for low, high, k in zip(lows, highs, recent, strict=True)
            if (usual := self.normals.temperatures(k.weather.day)) is not None
        ]
        if not away:
            return normal
        return (
            normal[0] + MOVED * _mean([low for low, _ in away]),
            normal[1] + MOVED * _mean([high for _, high in away]),
        )

    def usual_mm(self, day: date) -> float:
        """Usual reference ET of a day: the normal, else by the season's table. [mm]"""
        normal_mm = None if self.normals is None else self.normals.eto_mm(day)
        return _season_mm(day, self.site, self.climate) if normal_mm is None else normal_mm

    def temp_spread_c(self, day: date) -> float:
        """Standard deviation of temperatures around the stand-in; 0 without normals. [°C]"""
        return 0.0 if self.normals is None else self.normals.temp_spread_c(day)

    def wind_2m_m_s(self, day: date) -> float:
        """Usual wind, for the climate adjustment of Kc on days without a measurement. [m/s]"""
        normal = None if self.normals is None else self.normals.on(day)
        found = None if normal is None else normal.wind_2m_m_s
        return USUAL_WIND_M_S if found is None else found

    def rh_min_pct(self, day: date) -> float:
        """Usual lowest humidity, likewise: of the climate table, else of the climate class. [%]"""
        of_class = climate_of(self.climate).rh_min_pct
        normal = None if self.normals is None else self.normals.on(day)
        found = None if normal is None else normal.rh_min_pct
        return of_class if found is None else found

    def label(self, rung: str) -> Message:
        """The name of the stand-in of that rung."""
        return {
            DAYS_BEFORE: Message("stand_in.days_before"),
            NORMAL: Message("stand_in.normal"),
            CLIMATE_TABLE: Message("stand_in.climate_table"),
            SEASON: season_label(self.climate),
        }[rung]


def season_label(climate: str) -> Message:
    """The name of the season's table of a climate class."""
    vowel = climate[0] in "aeiou"
    return Message("stand_in.season_an" if vowel else "stand_in.season", {"climate": climate})


def _rung_of(normal: NormalDay | None) -> str:
    if normal is None:
        return SEASON
    return CLIMATE_TABLE if normal.of_table else NORMAL


@lru_cache(maxsize=2_000)  # a plan needs the same year of days several times a day
def _season_mm(day: date, site: Site, climate: str) -> float:
    """Reference ET of that day by the season's table. [mm]"""
    return season_eto_mm_day(
        day,
        latitude_deg=site.latitude_deg,
        elevation_m=site.elevation_m,
        climate=climate,
        coastal=site.coastal,
    )


def _recent(day: date, before: Sequence[KnownDay]) -> list[KnownDay]:
    """The known days that count for a stand-in on `day`; empty if they are too long ago."""
    if not before or (day - before[-1].weather.day).days > REACH_DAYS:
        return []
    newest = before[-1].weather.day
    last = before[-MEAN_OF_DAYS:]
    return [k for k in last if (newest - k.weather.day).days <= MEAN_WITHIN_DAYS]


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
