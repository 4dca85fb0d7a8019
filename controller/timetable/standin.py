"""What stands in for a day's reference ET where nobody has its temperatures.

What is usual on that day (normal in this garden, else by its monthly climate table, else by the
season's table), moved half way by how
far the last days that had weather were from what is usual on theirs. On station years of five
places that is nearer than the mean of those days alone, at every length of a gap, and than what is
usual alone in the first days; normals come to stand alone soon, the table is helped as long as the
days reach, because it does not know the place (tests/season/test_ladder_drill.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from controller.demand.eto import USUAL_WIND_M_S, ReferenceEt
from controller.demand.season import climate_of, season_eto_mm_day
from controller.garden.model import Site
from controller.timetable.normals import NormalDay, Normals
from controller.weather.day import WeatherDay
from controller.weather.ladder import CLIMATE_TABLE, DAYS_BEFORE, NORMAL, SEASON

MEAN_OF_DAYS = 7  # how many known days a stand-in looks back on; our choice
MEAN_WITHIN_DAYS = 21  # and how long before the last of them they may lie; our choice
REACH_DAYS = 45  # so long after the last of them they count at all; our choice
MOVED = 0.5  # how much of their distance from usual is taken over
NEAR_DAYS = 4  # so long after the last known day the days before are the rung
WARMTH_DAYS = 14  # so long, without normals, their mean temperatures stand; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownDay:
    """A day that has weather, and its reference ET."""

    weather: WeatherDay
    eto: ReferenceEt


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIn:
    """A day without weather."""

    eto_mm: float
    method: str
    rung: str
    tmin_c: float | None = None
    tmax_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIns:
    """What stands in at one site."""

    site: Site
    normals: Normals | None
    climate: str

    def on(self, day: date, before: Sequence[KnownDay]) -> StandIn:
        """The stand-in for that day; `before` are the last known days before it, oldest first."""
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
        """Lowest and highest temperature: normal, moved like the rest; else of the days before."""
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
        """What is usual on that day: normal here, else by the season's table. [mm]"""
        normal_mm = None if self.normals is None else self.normals.eto_mm(day)
        return _season_mm(day, self.site, self.climate) if normal_mm is None else normal_mm

    def temp_spread_c(self, day: date) -> float:
        """How far days swing around what stands in; 0 where no normals tell. [°C]"""
        return 0.0 if self.normals is None else self.normals.temp_spread_c(day)

    def wind_2m_m_s(self, day: date) -> float:
        """Usual wind, as the climate adjustment of Kc takes it where none was measured. [m/s]"""
        normal = None if self.normals is None else self.normals.on(day)
        found = None if normal is None else normal.wind_2m_m_s
        return USUAL_WIND_M_S if found is None else found

    def rh_min_pct(self, day: date) -> float:
        """Usual lowest humidity, likewise: by the climate table, else of the climate class. [%]"""
        of_class = climate_of(self.climate).rh_min_pct
        normal = None if self.normals is None else self.normals.on(day)
        found = None if normal is None else normal.rh_min_pct
        return of_class if found is None else found

    def words(self, rung: str) -> str:
        """What stands in on that rung, as a remark says it."""
        return "reference ET stands in as " + {
            DAYS_BEFORE: "what is usual, moved by the days before",
            NORMAL: "what is normal here",
            CLIMATE_TABLE: "what the monthly climate table has",
            SEASON: season_words(self.climate),
        }.get(rung, rung)


def season_words(climate: str) -> str:
    """The season's table of a climate class, by its name."""
    return f"the season's table for {'an' if climate[0] in 'aeiou' else 'a'} {climate} climate"


def _rung_of(normal: NormalDay | None) -> str:
    if normal is None:
        return SEASON
    return CLIMATE_TABLE if normal.of_table else NORMAL


@lru_cache(maxsize=2_000)  # a plan asks for the same year of days several times a day
def _season_mm(day: date, site: Site, climate: str) -> float:
    """The season's table on that day. [mm]"""
    return season_eto_mm_day(
        day,
        latitude_deg=site.latitude_deg,
        elevation_m=site.elevation_m,
        climate=climate,
        coastal=site.coastal,
    )


def _recent(day: date, before: Sequence[KnownDay]) -> list[KnownDay]:
    """The known days that a stand-in for `day` looks back on; none where they lie too far back."""
    if not before or (day - before[-1].weather.day).days > REACH_DAYS:
        return []
    newest = before[-1].weather.day
    last = before[-MEAN_OF_DAYS:]
    return [k for k in last if (newest - k.weather.day).days <= MEAN_WITHIN_DAYS]


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
