"""A bed on its first day: as dry as the weather before it left it, and what to water it in with.

The gardens are invented, the days those of Wageningen: the spring of 1976 was dry, that of 1983
wet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import pytest
from pytest import approx
from support.given import NOTHING_GIVEN
from support.longrecord import garden_of, kept, record, strip
from support.mornings import a_plan, catalogue

from controller.demand.records import DayInput
from controller.garden.model import Coefficients, Garden, Planting
from controller.paper.plan_rows import water_in_rows
from controller.paper.printout import timetable_text
from controller.timetable.need.jobs import Given
from controller.timetable.records import Timetable

DAY = timedelta(days=1)
DRY, WET = 1976, 1983


def lettuce(year: int, **more: object) -> Planting:
    fields = {"start": date(year, 5, 10), "until": date(year, 7, 20), **more}
    return Planting(crop="lettuce", **fields)  # type: ignore[arg-type]


def spinach(year: int) -> Planting:
    """A crop before it, over in good time."""
    return Planting(crop="spinach", start=date(year, 1, 1), until=date(year, 3, 20))


@cache
def days(year: int) -> Mapping[date, DayInput]:
    """From New Year on, where accounts begin."""
    return {day: each for day, each in record().items() if day.year == year}


def planned(garden: Garden, year: int, given: Given = NOTHING_GIVEN, count: int = 21) -> Timetable:
    return a_plan(garden, days(year), first=date(year, 5, 10), count=count, given=given)


def rain_mm(year: int) -> float:
    month = (date(year, 5, 10) - n * DAY for n in range(1, 31))
    return sum(days(year)[day].rain_mm or 0.0 for day in month)


@pytest.mark.parametrize("coefficients", list(Coefficients))
def test_after_a_dry_spring_it_is_given_what_the_bed_lacks(coefficients: Coefficients) -> None:
    """The reported fault: taken as full, it was given 3 mm; with a crop before it, 18."""
    assert rain_mm(DRY) < 5.0
    alone = garden_of(kept("a", (strip(),), [lettuce(DRY)]), coefficients=coefficients)
    after = garden_of(
        kept("a", (strip(),), [spinach(DRY), lettuce(DRY)]), coefficients=coefficients
    )
    timetable, same = planned(alone, DRY), planned(after, DRY)
    first = timetable.doses[0]
    assert first.day == date(DRY, 5, 11)
    loam = catalogue().soil("loam", ())
    # WORKED: bare ground without rain loses nearly all that its top can (Tew of FAO-56, eq. 73).
    assert first.why.depletion_mm == approx(loam.tew_mm, rel=0.1)
    assert [(d.day, d.net_mm) for d in timetable.doses] == [
        (d.day, approx(d.net_mm, abs=0.1)) for d in same.doses
    ]
    # From then on it is never short.
    assert timetable.short == ()


def test_after_a_wet_spring_it_needs_next_to_nothing() -> None:
    assert rain_mm(WET) > 100.0
    timetable = planned(garden_of(kept("a", (strip(),), [lettuce(WET)])), WET)
    assert timetable.water_in == ()
    assert timetable.doses[0].why.depletion_mm < 4.0
    assert timetable.short == ()


def test_the_day_says_how_much_to_water_in_and_a_note_of_it_is_enough() -> None:
    garden = garden_of(kept("a", (strip(),), [lettuce(DRY)]))
    timetable = planned(garden, DRY)
    (found,) = timetable.water_in
    row = next(r for r in timetable.ledger if r.crop)
    assert (found.zone, found.day, found.crop) == ("a", date(DRY, 5, 10), "lettuce")
    # What the ground under the line lacks on the eve, and the litres that a dose of it would be.
    eve = next(r for r in timetable.ledger if r.day == date(DRY, 5, 9))
    assert found.lacking_mm == approx(eve.depletion_mm)
    dose = timetable.doses[0]
    wet_m2 = row.ground_m2 * row.wetted_fraction
    assert found.litres == approx(found.lacking_mm * wet_m2 / dose.evenness)
    noted = replace(NOTHING_GIVEN, litres={("a", found.day): found.litres})
    after = planned(garden, DRY, noted)
    assert after.water_in == ()
    assert next(r for r in after.ledger if r.crop).stress == 1.0
    assert after.doses[0].why.depletion_mm < 7.0 < dose.why.depletion_mm


def test_it_is_said_in_the_gardener_s_units_and_in_rows() -> None:
    garden = garden_of(kept("a", (strip(),), [lettuce(DRY)]))
    timetable = planned(garden, DRY)
    (found,) = timetable.water_in
    text = " ".join(timetable_text(timetable, garden).split())
    assert f"a: lettuce is set out; water it in by hand with {found.litres:.1f} L" in text
    us = replace(garden, us_units=True)
    lines = timetable_text(planned(us, DRY), us).splitlines()
    # WORKED: a US gallon is 3.785 L.
    assert f"{found.litres / 3.785411784:.2f} gal" in " ".join(lines) and max(map(len, lines)) <= 80
    dark = {
        day: replace(each, rain_mm=None) if date(DRY, 4, 28) <= day < date(DRY, 5, 10) else each
        for day, each in days(DRY).items()
    }
    unknown = timetable_text(a_plan(garden, dark, first=date(DRY, 5, 10)), garden)
    assert "rain unknown on 12 d before" in " ".join(unknown.split())
    (row,) = water_in_rows(planned(garden, DRY))
    assert (row["zone"], row["date"], row["crop"]) == ("a", "1976-05-10", "lettuce")
    assert row["litres"] == approx(found.litres, abs=0.006)


def test_what_was_watered_before_it_is_set_out_counts() -> None:
    """A bed soaked through on the eve needs no watering in."""
    garden = garden_of(kept("a", (strip(),), [lettuce(DRY)]))
    soaked = replace(NOTHING_GIVEN, litres={("a", date(DRY, 5, 9)): 80.0})
    timetable = planned(garden, DRY, soaked)
    assert not [w for w in timetable.water_in if w.lacking_mm > 5.0]


def test_a_seedbed_gets_what_its_top_lacks_on_the_day_it_is_sown() -> None:
    sown = lettuce(DRY, transplanted=False)
    timetable = planned(garden_of(kept("a", (strip(),), [sown])), DRY)
    assert timetable.water_in == ()
    first = timetable.doses[0]
    assert first.day == date(DRY, 5, 10) and first.why.depletion_mm > 15.0


def test_the_pulses_do_not_depend_on_when_a_plan_begins() -> None:
    garden = garden_of(kept("a", (strip(),), [lettuce(DRY)]))
    whole = a_plan(garden, days(DRY), first=date(DRY, 4, 1), count=60)
    part = planned(garden, DRY, count=21)
    assert [p for p in whole.pulses if p.day <= part.last] == list(part.pulses)
    assert whole.water_in == part.water_in


def test_more_rain_in_spring_never_makes_it_due() -> None:
    garden = garden_of(kept("a", (strip(),), [lettuce(DRY)]))
    gone = date(DRY, 5, 9) - 3 * DAY
    for more in (5.0, 15.0, 40.0):
        wetter = {**days(DRY), gone: replace(days(DRY)[gone], rain_mm=more)}
        was = planned(garden, DRY, count=2).doses
        now = a_plan(garden, wetter, first=date(DRY, 5, 10), count=2).doses
        assert sum(d.net_mm for d in now) <= sum(d.net_mm for d in was) + 1e-9
