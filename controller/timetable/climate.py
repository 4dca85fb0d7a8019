"""Which climate is in force where there is no weather, and what it does: for `check` and the plan.

Without weather it is the largest single choice of a garden file: the same month's water may come to
twice as much in the next class but one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.garden.model import Garden
from controller.garden.show import show_depth
from controller.timetable.normals import Normals
from controller.timetable.standin import StandIns, season_words
from controller.units import in_from_mm
from controller.weather.ladder import CLIMATE_TABLE, DAYS_BEFORE, SEASON
from controller.weather.monthly import MONTHS

DRIEST, DAMPEST = "arid", "very humid"
_YEAR = 2031  # any year: what is usual does not ask for it
_DAY = timedelta(days=1)
_SET = "set climate or climate_table in [weather]"


def climate_in_force(garden: Garden, normals: Normals | None) -> str:
    """What stands in at this garden where no weather is known, and what it does; one sentence."""
    days = [date(_YEAR, 1, 1) + n * _DAY for n in range(365)]
    us, climate = garden.us_units, garden.weather.climate

    def monthly(stand_ins: StandIns) -> list[float]:
        return [
            _mean(stand_ins.usual_mm(d) for d in days if d.month == month) for month in range(1, 13)
        ]

    etos_mm = monthly(_stand_ins(garden, normals, climate))
    at = max(range(12), key=lambda n: etos_mm[n])
    peak = f"reference ET is greatest in {MONTHS[at]}, {show_depth(etos_mm[at], us)} a day"
    known = [] if normals is None else [n for d in days if (n := normals.on(d)) is not None]
    tables = [found for found in known if found.of_table]
    sources = []
    if normals is not None and len(known) > len(tables):
        sources.append(f"what is normal here in {normals.years} years")
    if tables:
        sources.append(f"the climate table {garden.weather.climate_table}")
    if len(known) == len(days):
        rain = _rain_words(sum(found.rain_mm or 0.0 for found in tables), us)
        return f"{', then '.join(sources)}: {peak}{rain}"
    sources.append(season_words(climate))
    others = [
        f"{show_depth(monthly(_stand_ins(garden, None, name))[at], us)} if {name}"
        for name in (DRIEST, DAMPEST)
        if name != climate
    ]
    return f"{', then '.join(sources)}: {peak} ({', '.join(others)}); {_SET}"


def climate_words(
    garden: Garden, days: Iterable[DayInput], normals: Normals | None
) -> tuple[str, ...]:
    """One remark where days of a plan stand on a climate class or table; nothing where none do."""
    by_class: list[DayInput] = []
    by_table: list[DayInput] = []
    for found in days:
        normal = None if normals is None else normals.on(found.day)
        if found.rung == SEASON or (found.rung == DAYS_BEFORE and normal is None):
            by_class.append(found)
        elif normal is not None and normal.of_table and found.rung in (CLIMATE_TABLE, DAYS_BEFORE):
            by_table.append(found)
    us, words = garden.us_units, []
    if by_class:
        climate = garden.weather.climate
        usual_mm = _class_mm(garden, climate, by_class)
        others = [
            f"{_class_mm(garden, name, by_class) / usual_mm:.1f} times that if {name}"
            for name in (DRIEST, DAMPEST)
            if usual_mm > 0.0 and name != climate
        ]
        words.append(
            f"climate {climate} stands in on {_days(by_class)}: "
            f"{', '.join((f'ETo {show_depth(usual_mm, us)} a day', *others))}; {_SET}"
        )
    if by_table and normals is not None:
        eto_mm = _mean(found.eto_mm for found in by_table)
        fallen = (normals.on(found.day) for found in by_table if found.rain_mm is None)
        rain = _rain_words(sum(n.rain_mm or 0.0 for n in fallen if n is not None), us)
        words.append(
            f"the climate table stands in on {_days(by_table)}: ETo {show_depth(eto_mm, us)} a "
            f"day{rain}"
        )
    return tuple(words)


def _class_mm(garden: Garden, climate: str, days: Sequence[DayInput]) -> float:
    """Mean reference ET of these days by the season's table for that climate. [mm]"""
    return _mean(_stand_ins(garden, None, climate).usual_mm(found.day) for found in days)


def _rain_words(rain_mm: float, us: bool) -> str:
    """That usual rain is not counted; nothing where the table has none."""
    if rain_mm <= 0.0:
        return ""
    shown = f"{in_from_mm(rain_mm):.1f} in" if us else f"{rain_mm:.0f} mm"
    return f"; its usual rain, {shown}, is not counted before it has fallen"


def _stand_ins(garden: Garden, normals: Normals | None, climate: str) -> StandIns:
    return StandIns(site=garden.site, normals=normals, climate=climate)


def _days(found: Sequence[DayInput]) -> str:
    return "1 day" if len(found) == 1 else f"{len(found)} days"


def _mean(values: Iterable[float]) -> float:
    kept = list(values)
    return sum(kept) / len(kept) if kept else 0.0
