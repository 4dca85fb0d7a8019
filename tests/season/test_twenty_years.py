"""A whole open station record, 1976 to 1999, run through plan and ledger with automatic refills.

The weather is Wageningen's as the crop library pcse has it (tests/support/stationyears.py); the
gardens are invented.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import fields
from datetime import date
from functools import cache

import pytest
from pytest import approx
from support.longrecord import (
    LAST,
    all_years,
    garden_of,
    groups,
    kept,
    strip,
    whole_bed,
    yearly,
)
from support.mornings import catalogue

from controller.demand.records import LedgerDay
from controller.garden.model import Coefficients, Planting, Zone
from controller.timetable.records import Timetable

pytestmark = pytest.mark.slow


def zones() -> list[Zone]:
    """Strips and whole beds, mulches, sown and set out, a perennial, and rows of unlike crops."""
    return [
        kept("leek", (strip(0.6),), yearly("leek", (4, 20), (9, 30))),
        kept(
            "salad",
            (whole_bed(),),
            [
                *yearly("lettuce", (4, 1), (6, 10)),
                *yearly("spinach", (7, 15), (9, 30), transplanted=False),
            ],
        ),
        kept(
            "tomato",
            (strip(1.0),),
            yearly("tomato_staked", (5, 15), (9, 30), supported=True),
            mulch="straw",
        ),
        kept("melon", (strip(1.2),), yearly("melon", (5, 20), (9, 15)), mulch="plastic"),
        kept("pumpkin", (groups(),), yearly("pumpkin", (5, 20), (9, 20), transplanted=False)),
        kept(
            "strawberry",
            (strip(0.5),),
            [Planting(crop="strawberry", start=date(1976, 4, 1), until=LAST)],
            holds_rain=True,
        ),
        kept("onion", (strip(0.4),), yearly("onion_dry", (4, 1), (8, 31), transplanted=False)),
        kept(
            "unlike",
            (strip(0.6), strip(0.6), strip(0.4)),
            [
                *yearly("kale", (4, 10), (9, 30), rows=(1, 3)),
                *yearly("carrot", (4, 10), (8, 15), rows=(2,), transplanted=False),
            ],
        ),
    ]


@cache
def run(coefficients: Coefficients) -> Timetable:
    return all_years(garden_of(*zones(), coefficients=coefficients))


def accounts(timetable: Timetable) -> dict[tuple[str, str], list[LedgerDay]]:
    found: dict[tuple[str, str], list[LedgerDay]] = defaultdict(list)
    for day in timetable.ledger:
        found[day.zone, day.part].append(day)
    return found


def entered_mm(day: LedgerDay) -> float:
    rain_mm = day.rain_mm - day.rain_unused_mm - day.runoff_mm
    return rain_mm + day.watered_mm - day.passed_mm


BOTH = pytest.mark.parametrize("coefficients", list(Coefficients))


@BOTH
def test_every_day_of_every_account_closes_and_so_does_the_whole(
    coefficients: Coefficients,
) -> None:
    days = 0
    for account in accounts(run(coefficients)).values():
        before = None
        for day in account:
            into = entered_mm(day)
            out = day.used_mm + day.drained_mm + day.handed_over_mm
            assert day.depletion_mm == approx(day.start_depletion_mm - into + out, abs=1e-9)
            if before is not None:
                assert (day.day - before.day).days == 1
                assert day.start_depletion_mm == before.depletion_mm
            if coefficients is Coefficients.DUAL and day.crop is not None:
                assert day.used_mm == approx(day.transpired_mm + day.evaporated_mm, abs=1e-9)
            before, days = day, days + 1
        into = math.fsum(entered_mm(d) for d in account)
        out = math.fsum(d.used_mm + d.drained_mm + d.handed_over_mm for d in account)
        missing = account[-1].depletion_mm - account[0].start_depletion_mm
        assert out - into == approx(missing, abs=1e-6)
    assert days > 75_000


@BOTH
def test_no_figure_leaves_its_range_in_twenty_four_years(coefficients: Coefficients) -> None:
    numbers = [f.name for f in fields(LedgerDay) if f.type == "float"]
    assert len(numbers) > 25
    for day in run(coefficients).ledger:
        assert all(math.isfinite(getattr(day, name)) for name in numbers)
        assert 0.0 <= day.depletion_mm <= day.taw_mm
        assert 0.0 <= day.stress <= 1.0
        assert 0.0 <= day.used_mm <= day.etc_mm + 1e-9
        assert 0.0 <= day.kc < 1.45
        assert 0.0 <= day.cover <= 0.99
        assert 0.01 <= day.exposed_fraction <= 1.0
        assert 0.01 <= day.wetted_fraction <= 1.0
        assert 0.0 <= day.surface_depletion_mm <= catalogue().soil("loam").tew_mm + 1e-9
        assert min(day.watered_mm, day.drained_mm, day.runoff_mm, day.rain_unused_mm) >= 0.0


@BOTH
def test_every_litre_of_twenty_four_years_is_in_an_account(coefficients: Coefficients) -> None:
    timetable = run(coefficients)
    for zone in zones():
        given = math.fsum(p.litres for p in timetable.pulses if p.zone == zone.name)
        mine = [d for d in timetable.ledger if d.zone == zone.name]
        assert given > 1000.0
        assert math.fsum(d.watered_mm * d.ground_m2 for d in mine) == approx(given, abs=1e-6)


@BOTH
def test_crops_that_are_watered_as_they_need_hardly_ever_run_short(
    coefficients: Coefficients,
) -> None:
    """But where onions, beans or pumpkins are left to dry; seeds feel the top alone."""
    for (_, part), account in accounts(run(coefficients)).items():
        waiting = ("dry-down", "seedbed")
        planted = [d for d in account if d.crop is not None and d.phase not in waiting]
        # The row beside another crop is watered for whichever is needier.
        short = sum(d.stress < 0.95 for d in planted) / len(planted)
        assert short < 0.02, (account[0].zone, part)
