"""A garden planned as a daemon does it: a plan each morning, and what it gave written down."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

from controller.demand.records import DayInput, LedgerDay, Observation
from controller.garden.model import Garden
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.plan import Given, Grounds, Installation, Span, plan_garden
from controller.timetable.records import Timetable
from crops.catalogue import Catalogue, load
from support.given import NOTHING_GIVEN

DAY = timedelta(days=1)


@cache
def catalogue() -> Catalogue:
    return load()


@cache
def _lines(garden: Garden) -> Lines:
    return Lines(garden)


def a_plan(
    garden: Garden,
    days: Mapping[date, DayInput],
    *,
    first: date,
    count: int = 1,
    given: Given = NOTHING_GIVEN,
) -> Timetable:
    return plan_garden(
        Installation(garden, Grounds(garden, catalogue()), _lines(garden)),
        days,
        Span(first=first, count=count),
        given=given,
    )


def mornings(
    garden: Garden,
    days: Mapping[date, DayInput],
    *,
    first: date,
    last: date,
    given: Given = NOTHING_GIVEN,
    seen: Iterable[Observation] = (),
) -> tuple[dict[date, Timetable], Given]:
    """Each morning's plan of its day, what was planned being given; then all that was given.

    What is seen of the plants is known from the morning of its day on.
    """
    plans: dict[date, Timetable] = {}
    day = first
    while day <= last:
        known = tuple(each for each in seen if each.day <= day)
        plans[day] = a_plan(garden, days, first=day, given=replace(given, observations=known))
        litres = dict(given.litres)
        for zone in garden.zones:
            litres[zone.name, day] = math.fsum(
                p.litres for p in plans[day].pulses if p.zone == zone.name
            )
        given = replace(given, litres=litres, observations=known)
        day += DAY
    return plans, given


def ledger_of(timetable: Timetable, *, part: str = "") -> dict[date, LedgerDay]:
    return {d.day: d for d in timetable.ledger if d.part == part}
