"""What stands in for a day's reference ET where nobody has its temperatures.

Measured on 24 station years (tests/season/test_ladder_drill.py): for the first days of a gap what
is normal, moved half way by the days before, is nearest; soon after, what is normal; and without
normals the mean of the days before serves for about a fortnight, then the season's table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from controller.demand.eto import ReferenceEt
from controller.demand.season import season_eto_mm_day
from controller.garden.model import Site
from controller.timetable.normals import Normals
from controller.weather.day import WeatherDay
from controller.weather.ladder import DAYS_BEFORE, NORMAL, SEASON

MEAN_OF_DAYS = 7  # how many known days a stand-in looks back on; our choice
MEAN_WITHIN_DAYS = 45  # and how far back they may lie; our choice
NEAR_NORMAL_DAYS = 4  # so long after the last known day a normal is moved by the days before
NEAR_DAYS = 14  # so long, without normals, their mean stands


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


@dataclass(slots=True, kw_only=True)
class StandIns:
    """What stands in at one site; remembers the season's table, day by day of the year."""

    site: Site
    normals: Normals | None
    climate: str
    _season_mm: dict[date, float] = field(default_factory=dict)

    def on(self, day: date, before: Sequence[KnownDay]) -> StandIn:
        """The stand-in for that day; `before` are the last known days before it, oldest first."""
        recent = [k for k in before if (day - k.weather.day).days <= MEAN_WITHIN_DAYS]
        recent = recent[-MEAN_OF_DAYS:]
        lag_days = (day - recent[-1].weather.day).days if recent else None
        normal = None if self.normals is None else self.normals.on(day)
        if normal is not None and self.normals is not None:
            moved = self._moved(day, recent) if lag_days and lag_days <= NEAR_NORMAL_DAYS else None
            return moved or StandIn(
                eto_mm=normal.eto_mm,
                method=f"stand-in: normal of {self.normals.years} years",
                rung=NORMAL,
                tmin_c=normal.tmin_c,
                tmax_c=normal.tmax_c,
            )
        if lag_days is not None and lag_days <= NEAR_DAYS:
            eto_mm, tmin_c, tmax_c = _means(recent)
            return StandIn(
                eto_mm=eto_mm,
                method=f"stand-in: mean of {len(recent)} days",
                rung=DAYS_BEFORE,
                tmin_c=tmin_c,
                tmax_c=tmax_c,
            )
        return StandIn(
            eto_mm=self.season_mm(day),
            method=f"stand-in: season's table, {self.climate}",
            rung=SEASON,
        )

    def usual_mm(self, day: date) -> float:
        """What is usual on that day: normal here, else by the season's table. [mm]"""
        normal_mm = None if self.normals is None else self.normals.eto_mm(day)
        return self.season_mm(day) if normal_mm is None else normal_mm

    def season_mm(self, day: date) -> float:
        """The season's table on that day. [mm]"""
        if day not in self._season_mm:
            self._season_mm[day] = season_eto_mm_day(
                day,
                latitude_deg=self.site.latitude_deg,
                elevation_m=self.site.elevation_m,
                climate=self.climate,
                coastal=self.site.coastal,
            )
        return self._season_mm[day]

    def words(self, rung: str) -> str:
        """What stands in on that rung, as a remark says it."""
        return "reference ET stands in as " + {
            DAYS_BEFORE: "the mean of the days before"
            if self.normals is None
            else "what is normal here, moved half way by the days before",
            NORMAL: "what is normal here",
            SEASON: f"the season's table for a {self.climate} climate",
        }.get(rung, rung)

    def _moved(self, day: date, recent: Sequence[KnownDay]) -> StandIn | None:
        """What is normal on that day, plus half of how far the days before were from theirs."""
        assert self.normals is not None
        normal = self.normals.on(day)
        theirs = [n for k in recent if (n := self.normals.on(k.weather.day)) is not None]
        if normal is None or len(theirs) < len(recent):
            return None
        eto_mm, tmin_c, tmax_c = _means(recent)
        count = len(theirs)
        return StandIn(
            eto_mm=max(normal.eto_mm + (eto_mm - sum(n.eto_mm for n in theirs) / count) / 2.0, 0.0),
            method=f"stand-in: normal of {self.normals.years} years, moved by {count} days",
            rung=DAYS_BEFORE,
            tmin_c=normal.tmin_c + (tmin_c - sum(n.tmin_c for n in theirs) / count) / 2.0,
            tmax_c=normal.tmax_c + (tmax_c - sum(n.tmax_c for n in theirs) / count) / 2.0,
        )


def _means(days: Sequence[KnownDay]) -> tuple[float, float, float]:
    count = len(days)
    return (
        sum(k.eto.eto_mm_day for k in days) / count,
        sum(k.weather.tmin_c or 0.0 for k in days) / count,  # a known day has both
        sum(k.weather.tmax_c or 0.0 for k in days) / count,
    )
