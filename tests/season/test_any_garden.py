"""Gardens drawn at random, planned on real days with holes in them: no account leaks or leaves its
range, whatever stands where. The weather is Wageningen's (tests/support/stationyears.py)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date, timedelta
from random import Random

import pytest
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone
from support.given import NOTHING_GIVEN
from support.longrecord import record
from support.mornings import catalogue
from support.tables import CROP_NAMES, SOIL_NAMES

from controller.demand.plants.observations import EVENTS
from controller.demand.records import DayInput, LedgerDay, Observation
from controller.demand.soil.mulch import KINDS
from controller.garden.model import Bed, Coefficients, Garden, Planting, UnlikeRows, Watering, Zone
from controller.garden.plumbing import Face, Opening, Row, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.plan import Grounds, Installation, Span, plan_garden
from controller.timetable.unwritten import Record
from controller.units import m3_s_from_l_min

DAY = timedelta(days=1)
NUMBERS = [f.name for f in fields(LedgerDay) if f.type == "float"]


def any_row(rng: Random) -> Row:
    drilling = replace(
        a_row().drilling,
        every_m=rng.choice([0.1, 0.15, 0.3, 0.9]),
        first_m=0.05,
        group=rng.choice([1, 1, 3]),
        walls=rng.choice(list(Walls)),
        face=rng.choice(list(Face)),
    )
    return a_row(
        rng.uniform(3.0, 15.0),
        ground_width_m=rng.choice([0.2, 0.6, 1.2, 3.0]),
        drilling=drilling,
        wetted_width_m=rng.choice([None, None, 0.1, 2.0]),
    )


def any_plantings(rng: Random, first: date, rows: tuple[int, ...]) -> list[Planting]:
    """One after the other on a row, with gaps and without, begun before or after `first`."""
    found, start = [], first - rng.randint(0, 200) * DAY
    while start < first + 120 * DAY and rng.random() < 0.9:
        length = rng.randint(1, 160)
        found.append(
            Planting(
                crop=rng.choice(CROP_NAMES),
                start=start,
                until=start + length * DAY,
                transplanted=rng.random() < 0.5,
                rows=rows,
                supported=rng.random() < 0.2,
                by_warmth=rng.random() < 0.3,
                plant_lines=rng.randint(1, 3),
                spacing_m=rng.choice([None, 0.05, 1.0]),
                emerges_days=rng.choice([None, None, 0, 20]),
            )
        )
        start += (length + 1 + rng.choice([0, 0, 5, 40])) * DAY
    return found


def any_zone(rng: Random, number: int, first: date) -> Zone:
    rows = tuple(any_row(rng) for _ in range(rng.randint(1, 3)))
    if len(rows) > 1 and rng.random() < 0.2:
        rows = (*rows[:-1], replace(rows[-1], plugged=True))
    plantings = [p for n in range(1, len(rows) + 1) for p in any_plantings(rng, first, (n,))]
    throttled = Opening(alone_flow_m3_s=m3_s_from_l_min(rng.uniform(0.5, 2.0)))
    return a_zone(
        f"z{number}",
        17 + number,
        rows=rows,
        plantings=tuple(sorted(plantings, key=lambda p: p.start)),
        unlike_rows=rng.choice(list(UnlikeRows)),
        opening=rng.choice([throttled, Opening(angle_deg=0.0)]),
        refill_at=rng.choice([None, 0.1, 0.9]),
        bed=Bed(
            name=f"bed {number}",
            soil=rng.choice(SOIL_NAMES),
            mulch=rng.choice(list(KINDS)),
            mulch_cover=rng.random(),
            exposure=rng.uniform(0.5, 1.6),
            holds_rain=rng.random() < 0.3,
            rooting_limit_m=rng.choice([None, 0.1, 0.3]),
        ),
    )


def any_garden(rng: Random, first: date) -> Garden:
    window = replace(EVERY_DAY, weekdays=rng.choice([frozenset(range(7)), frozenset({1, 4})]))
    garden = a_garden(
        *(any_zone(rng, number, first) for number in range(3)),
        watering=Watering(
            windows=(window,),
            coefficients=rng.choice(list(Coefficients)),
            forecast_trust=rng.random(),
            settling_days=rng.choice([0, 7]),
        ),
    )
    salt = rng.choice([None, None, 0.7, 3.0])
    return replace(garden, supply=replace(garden.supply, salt_ds_m=salt))


def any_days(rng: Random, begins: date, first: date) -> Mapping[date, DayInput]:
    """Days of the record with some rain unknown, a cloudburst here and there; then a forecast."""
    days, day = {}, begins
    while day <= first + 20 * DAY:
        found = record()[day]
        if rng.random() < 0.1:
            found = replace(found, rain_mm=None)
        if rng.random() < 0.03:
            found = replace(found, rain_mm=rng.uniform(0.0, 200.0))
        if day >= first:
            chance = rng.choice([None, rng.uniform(0.0, 100.0)])
            found = replace(found, measured=False, rain_chance_pct=chance)
        days[day] = found
        day += DAY
    return days


def check(day: LedgerDay) -> None:
    assert all(math.isfinite(getattr(day, name)) for name in NUMBERS)
    into = day.rain_mm - day.rain_unused_mm - day.runoff_mm + day.watered_mm - day.passed_mm
    out = day.used_mm + day.drained_mm + day.handed_over_mm
    assert day.depletion_mm == approx(day.start_depletion_mm - into + out, abs=1e-9)
    assert 0.0 <= day.depletion_mm <= day.taw_mm
    assert 0.0 <= day.stress <= 1.0
    assert 0.0 <= day.used_mm <= day.etc_mm + 1e-9
    assert min(day.transpired_mm, day.evaporated_mm, day.drained_mm, day.runoff_mm) >= 0.0
    assert 0.01 <= day.wetted_fraction <= 1.0


@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_no_garden_on_any_days_leaks_or_leaves_its_range(seed: int) -> None:
    days_seen = 0
    for number in range(400 if seed else 25):
        rng = Random(1000 * seed + number)
        first = date(rng.randint(1977, 1998), rng.randint(1, 12), rng.randint(1, 28))
        garden = any_garden(rng, first)
        begins = first - rng.randint(2, 90) * DAY
        days = any_days(rng, begins, first)
        grounds, lines = Grounds(garden, catalogue()), Lines(garden)
        given = replace(
            NOTHING_GIVEN,
            fallen_mm={begins + rng.randint(0, 100) * DAY: rng.uniform(0.0, 20.0)},
            observations=tuple(
                Observation(
                    zone=zone.name,
                    day=begins + rng.randint(0, 100) * DAY,
                    event=rng.choice(list(EVENTS)),
                )
                for zone in garden.zones
            ),
        )
        begun = rng.choice([None, None, first - 20 * DAY, date.min])
        given = replace(given, record=Record(begun=begun, daemon_from=begun))
        plan = plan_garden(
            Installation(garden, grounds, lines), days, Span(first=first, count=15), given=given
        )
        before: dict[tuple[str, str], LedgerDay] = {}
        for day in plan.ledger:
            check(day)
            last = before.get((day.zone, day.part))
            assert last is None or day.start_depletion_mm == last.depletion_mm
            before[day.zone, day.part] = day
        assert all(dose.net_mm > 0.0 for dose in plan.doses)
        days_seen += len(plan.ledger)
    assert days_seen > 4000
