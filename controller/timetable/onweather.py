"""From rows of weather and the logbook's word to a timetable: one chain for daemon and paper."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from controller.garden.model import Garden
from controller.hydraulics.lines import Lines
from controller.timetable.climate import climate_words
from controller.timetable.days import account_begins, demand_days
from controller.timetable.jobs import Given, Grounds
from controller.timetable.normals import Normals
from controller.timetable.plan import assume_before, assumed_words, plan_garden
from controller.timetable.records import Timetable
from controller.weather.day import WeatherDay


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Every row of weather known, the rank of its sources, and what is normal in this garden.

    `remarks` go before what the days have to say, `credits` after it.
    """

    rows: tuple[WeatherDay, ...]
    order: tuple[str, ...] = ()
    normals: Normals | None = None
    remarks: tuple[str, ...] = ()
    credits: tuple[str, ...] = ()


def plan_on(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    weather: Weather,
    given: Given,
    *,
    first: date,
    last: date,
    today: date,
    kept_from: date | None,
    not_before_utc: datetime | None = None,
) -> Timetable:
    """Plan the days from `first` to `last` on this weather.

    `kept_from` is the day the logbook was begun (None: there is none); the days before are taken as
    watered. `today` parts what has been from what is foretold.
    """
    kept_from = first if kept_from is None else min(kept_from, first)
    demand = demand_days(
        weather.rows,
        garden.site,
        first=account_begins(weather.rows, first=first, kept_from=kept_from),
        last=last,
        today=today,
        order=weather.order,
        rain_gauge_mm=given.fallen_mm,
        normals=weather.normals,
        climate=garden.weather.climate,
    )
    days, normals = demand.days, weather.normals
    return plan_garden(
        garden,
        grounds,
        lines,
        days,
        first=first,
        count=(last - first).days + 1,
        given=assume_before(
            garden, grounds, lines, days, given, kept_from=kept_from, normals=normals
        ),
        not_before_utc=not_before_utc,
        normals=normals,
        remarks=(
            *weather.remarks,
            *demand.remarks,
            *climate_words(garden, (d for d in days.values() if d.day >= first), normals),
            *weather.credits,
            *assumed_words(days, kept_from),
        ),
    )
