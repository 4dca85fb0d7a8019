"""Perennials just set out get their water while their roots are small; old ones by their roots."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from support.findings import words_of
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.mornings import a_plan, catalogue, mornings

from controller.check.zone_checks import of_plantings, perennials
from controller.demand.records import DayInput
from controller.garden.model import Garden, Planting, Watering, Window
from controller.garden.plumbing import Opening
from controller.timetable.need.jobs import allowed_mm
from controller.timetable.plan import Grounds
from controller.units import m3_s_from_l_min
from controller.wording.say import say
from crops.catalogue import load
from crops.firstyears import FirstYears

DAY = timedelta(days=1)
SPRING = date(2031, 4, 10)
SET_OUT = ("asparagus", "grape", "rhubarb", "raspberry", "blueberry", "strawberry")


def bed_of(crop: str, windows: tuple[Window, ...] = (EVERY_DAY,), **more: object) -> Garden:
    fields = {"start": SPRING, "until": date(2035, 10, 31), **more}
    zone = a_zone(
        plantings=(Planting(crop=crop, **fields),),  # type: ignore[arg-type]
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(1.0)),
        rows=(a_row(ground_width_m=1.0),),
    )
    return a_garden(zone, watering=Watering(windows=windows))


def watered(garden: Garden, days: int, *, eto_mm: float = 3.0, first: date = SPRING) -> list[int]:
    """The days from `first` on that bring a dose, dry weather after a soaking on the eve."""
    weather = soaked(even_days(first - DAY, first + (days + 10) * DAY, eto_mm=eto_mm))
    plans, _ = mornings(garden, weather, first=first, last=first + days * DAY)
    return [(day - first).days for day, plan in plans.items() if plan.pulses]


def first_watered(garden: Garden, most: int) -> int:
    """The first of these days; those after it are not planned."""
    weather = soaked(even_days(SPRING - DAY, SPRING + (most + 10) * DAY, eto_mm=3.0))
    given = NOTHING_GIVEN
    for number in range(most + 1):
        day = SPRING + number * DAY
        plans, given = mornings(garden, weather, first=day, last=day, given=given)
        if plans[day].pulses:
            return number
    raise AssertionError(f"nothing in {most} days")


def soaked(days: dict[date, DayInput]) -> dict[date, DayInput]:
    """The same days, the first with rain enough to fill the ground."""
    eve = min(days)
    return {**days, eve: replace(days[eve], rain_mm=60.0)}


def young_of(crop: str) -> FirstYears:
    young = load().crop(crop).first_years
    assert young is not None
    return young


@pytest.mark.parametrize("crop", SET_OUT)
def test_what_was_set_out_is_kept_moist(crop: str) -> None:
    given = watered(bed_of(crop), 45)
    moist = young_of(crop).moist_days
    assert 1 <= given[0] <= 3
    settling = [day for day in given if day < moist]
    gaps = [after - before for before, after in pairwise(settling)]
    assert max(gaps) <= 3
    # then by its roots: not every day, and not after weeks
    later = [day for day in given if day >= moist]
    assert later[0] - settling[-1] <= 12
    # strawberries, whose few roots stay shallow, may want it daily in their first weeks
    assert len(later) < (45 - moist) / 1.5 or crop == "strawberry"


@pytest.mark.parametrize("crop", SET_OUT)
def test_the_longer_it_stands_the_longer_it_waits(crop: str) -> None:
    young = young_of(crop)
    firsts = [
        first_watered(bed_of(crop, years_before=before), 70)
        for before in (0, *range(1, young.years), None)
    ]
    assert firsts == sorted(firsts)
    assert firsts[0] <= 3
    assert firsts[-1] > firsts[0] or crop == "strawberry"
    if young.years > 1:
        assert firsts[1] < firsts[-1]


def test_rain_counts_while_it_settles_in() -> None:
    garden = bed_of("raspberry")
    days = soaked(even_days(SPRING - DAY, SPRING + 20 * DAY, eto_mm=3.0))
    wet = SPRING + DAY
    days[wet] = replace(days[wet], rain_mm=30.0)
    plans, _ = mornings(garden, days, first=SPRING, last=SPRING + 12 * DAY)
    given = [(day - SPRING).days for day, plan in plans.items() if plan.doses]
    assert given[0] > 3


def test_where_water_comes_on_few_days_none_is_missed() -> None:
    windows = (replace(EVERY_DAY, weekdays=frozenset((1, 5))),)  # Tuesdays, Saturdays
    given = watered(bed_of("grape", windows=windows), 21)
    days = [SPRING + n * DAY for n in range(1, 22) if (SPRING + n * DAY).weekday() in (1, 5)]
    assert [SPRING + n * DAY for n in given] == days


def test_set_out_in_autumn_it_waits_for_spring() -> None:
    out, spring = date(2030, 10, 20), date(2031, 3, 15)
    garden = bed_of("raspberry", start=out, grows_from=spring)
    days = even_days(out - DAY, date(2031, 6, 20), eto_mm=2.0)
    first = next(d for d in a_plan(garden, days, first=out, count=5).doses)
    assert first.day <= out + 3 * DAY
    rows = {row.day: row for row in a_plan(garden, days, first=date(2031, 6, 1)).ledger}
    assert rows[spring - DAY].stage == "initial"
    assert rows[date(2031, 6, 1)].stage == "mid"


@pytest.mark.parametrize("years_before", [0, 2])
def test_what_is_shown_as_watered_at_is_what_it_is_watered_at(years_before: int) -> None:
    garden = bed_of("raspberry", years_before=years_before)
    days = soaked(even_days(SPRING - DAY, SPRING + 90 * DAY, eto_mm=4.0))
    plan = a_plan(garden, days, first=SPRING, count=80)
    evenings = {row.day: row for row in plan.ledger}
    shown = 0
    for dose in plan.doses:
        evening = evenings.get(dose.day - DAY)
        if evening is None or evening.crop is None or evening.phase:
            continue
        grounds = Grounds(garden, catalogue())
        assert allowed_mm(evening, garden, grounds) == pytest.approx(dose.why.allowed_mm)
        shown += 1
    assert shown > 0


def said(planting: Planting, **site: Any) -> tuple[list[str], list[str]]:
    """What `check` takes it as, and its cautions of it."""
    garden = bed_of(planting.crop)
    garden = replace(
        garden,
        site=replace(garden.site, **site),
        zones=(replace(garden.zones[0], plantings=(planting,)),),
    )
    grounds = Grounds(garden, catalogue())
    taken = [say(age, us=False) for _, age in perennials(garden, grounds)]
    return taken, [words_of(f) for f in of_plantings(garden.zones[0], grounds)]


GRAPE = Planting(crop="grape", start=SPRING, until=date(2035, 10, 31))


@pytest.mark.parametrize(
    ("planting", "words"),
    [
        (
            GRAPE,
            "newly set out, roots 20 cm deep, kept moist for 21 days; as established from 2034",
        ),
        (replace(GRAPE, years_before=None), "established, with all its roots from the first day"),
        (replace(GRAPE, years_before=3), "established, with all its roots from the first day"),
        (replace(GRAPE, years_before=1), "in growing year 2 in 2031, as established from 2033 on"),
        (replace(GRAPE, transplanted=False), "newly sown, roots 20 cm deep; as established from"),
        (
            replace(GRAPE, start=date(2030, 11, 2), grows_from=date(2031, 3, 15)),
            "kept moist for 21 days, at rest until 2031-03-15; as established from 2034 on",
        ),
    ],
)
def test_check_says_what_it_is_taken_as(planting: Planting, words: str) -> None:
    taken, cautions = said(planting)
    assert words in taken[0]
    assert not any("set out on" in caution for caution in cautions)


def test_check_says_whose_figures_stand_in() -> None:
    taken, _ = said(replace(GRAPE, crop="mint"))
    assert taken[0].endswith("first years as of a perennial herb")


def test_check_asks_for_the_spring_of_what_was_set_out_in_autumn() -> None:
    autumn = replace(GRAPE, start=date(2030, 10, 20))
    assert any("from = 2031-03-15" in words for words in said(autumn)[1])
    assert any("from = 2031-03-15" in w for w in said(replace(autumn, start=date(2031, 1, 9)))[1])
    south = replace(GRAPE, start=date(2031, 5, 20))
    assert any("from = 2031-09-15" in words for words in said(south, latitude_deg=-38.0)[1])
    assert not any("from =" in words for words in said(south)[1])


def test_an_annual_that_is_said_to_be_established_is_remarked_on() -> None:
    leek = Planting(crop="leek", start=SPRING, until=date(2031, 10, 1), years_before=None)
    taken, cautions = said(leek)
    assert taken == []
    assert any("Leek is no perennial" in words for words in cautions)
