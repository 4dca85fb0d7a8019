"""Twenty-four years of Wageningen's days, and invented gardens that stand through them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from functools import cache

from controller.demand.records import DayInput
from controller.garden.model import Bed, Coefficients, Garden, Planting, Watering, Zone
from controller.garden.plumbing import Opening, Row, Supply, Walls
from controller.inputs.days import demand_days
from controller.timetable.records import Timetable
from controller.units import head_m_from_psi, m3_s_from_gal_min, m3_s_from_l_min
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone
from support.mornings import a_plan
from support.stationyears import RONDA, WAGENINGEN, days_of

FIRST, LAST = date(1976, 1, 1), date(1999, 12, 31)
YEARS = range(FIRST.year, LAST.year + 1)


@cache
def record() -> Mapping[date, DayInput]:
    """Every day of the record; days without weather of their own stand in as in any garden."""
    return demand_days(days_of(WAGENINGEN), WAGENINGEN.site, first=FIRST, last=LAST).days


def yearly(
    crop: str,
    start: tuple[int, int],
    until: tuple[int, int],
    *,
    years: Iterable[int] = YEARS,
    **more: object,
) -> list[Planting]:
    """The same planting each year."""
    return [
        Planting(
            crop=crop,
            start=date(year, *start),
            until=date(year, *until),
            **more,  # type: ignore[arg-type]
        )
        for year in years
    ]


def strip(ground_width_m: float = 0.6, **more: object) -> Row:
    """A row of 3 m, a hole every 6 in, whose ground is so wide."""
    return a_row(10.0, ground_width_m=ground_width_m, **more)


def groups(ground_width_m: float = 1.2) -> Row:
    """Four holes at each plant, plants 0.9 m apart."""
    drilling = replace(a_row().drilling, every_m=0.9, first_m=0.45, group=4)
    return strip(ground_width_m, drilling=drilling)


def whole_bed(ground_width_m: float = 0.6) -> Row:
    """Drilled through both walls, which wets all of it."""
    return strip(ground_width_m, drilling=replace(a_row().drilling, walls=Walls.BOTH))


def kept(name: str, rows: tuple[Row, ...], plantings: list[Planting], **bed: object) -> Zone:
    """A throttled zone, so that pulses are minutes and their rounding is small."""
    return a_zone(
        name,
        relay=None,
        rows=rows,
        plantings=tuple(sorted(plantings, key=lambda p: p.start)),
        bed=Bed(name=f"bed {name}", soil="loam", **bed),  # type: ignore[arg-type]
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(3.0)),
        daily_cap_m3=2.0,
    )


def garden_of(
    *zones: Zone, coefficients: Coefficients = Coefficients.DUAL, refill_at: float = 0.5
) -> Garden:
    return a_garden(
        *zones,
        site=WAGENINGEN.site,
        supply=Supply(
            static_head_m=head_m_from_psi(50),
            test_head_m=head_m_from_psi(25),
            test_flow_m3_s=m3_s_from_gal_min(20),
        ),
        watering=Watering(
            windows=(EVERY_DAY,), coefficients=coefficients, basin_mm=40.0, refill_at=refill_at
        ),
    )


def all_years(garden: Garden) -> Timetable:
    """The whole record in one plan: every day's doses from last evening's account."""
    return a_plan(garden, record(), first=FIRST, count=(LAST - FIRST).days + 1)


@cache
def dry_summer() -> Mapping[date, DayInput]:
    """Ronda's year 2013 as if no rain had fallen: its file has none to tell of."""
    days = (day.with_(rain_mm=0.0) for day in days_of(RONDA))
    first, last = date(2013, 2, 1), date(2013, 12, 31)
    return demand_days(days, RONDA.site, first=first, last=last, climate=RONDA.climate).days


def one_dry_summer(garden: Garden) -> Timetable:
    return a_plan(garden, dry_summer(), first=date(2013, 2, 1), count=330)
