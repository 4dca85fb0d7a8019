"""Accounts carried on the way to an assumed past are those a plan would carry itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from support.gardens import a_garden, a_row, a_zone, even_days
from support.mornings import catalogue

from controller.demand.records import Observation
from controller.garden.model import Garden, Planting
from controller.hydraulics.lines import Lines
from support.given import NOTHING_GIVEN
from controller.timetable.plan import Given, Grounds, assume_before, plan_garden

DAY = timedelta(days=1)
TODAY = date(2031, 7, 1)
BEGINS = TODAY - 60 * DAY


def garden() -> Garden:
    """A crop older than the weather, one sown since, two on one valve, and one yet to come."""
    until = date(2031, 10, 10)

    def sown(crop: str, start: date, **more: object) -> Planting:
        return Planting(crop=crop, start=start, until=until, transplanted=False, **more)  # type: ignore[arg-type]

    return a_garden(
        a_zone("old", 17, plantings=(Planting(crop="leek", start=date(2031, 4, 1), until=until),)),
        a_zone("sown", 22, plantings=(sown("carrot", BEGINS + 9 * DAY),)),
        a_zone(
            "unlike",
            23,
            rows=(a_row(8.0), a_row(6.0)),
            plantings=(
                Planting(crop="kale", start=BEGINS + 5 * DAY, until=until, rows=(1,)),
                sown("beet", TODAY - 4 * DAY, rows=(2,)),
            ),
        ),
        a_zone("to come", 24, plantings=(sown("beet", TODAY + DAY),)),
    )


@pytest.mark.parametrize("kept_for_days", [0, 3, 20, 59, 60])
def test_accounts_carried_once_are_the_accounts_carried_twice(kept_for_days: int) -> None:
    ours = garden()
    grounds, lines = Grounds(ours, catalogue()), Lines(ours)
    days = even_days(BEGINS, TODAY + 3 * DAY, eto_mm=4.0)
    days[TODAY - 2 * DAY] = replace(days[TODAY - 2 * DAY], rain_mm=7.0)
    known = replace(
        NOTHING_GIVEN,
        litres={("old", TODAY - n * DAY): 9.0 for n in range(1, kept_for_days + 1, 3)},
        observations=(Observation(zone="old", day=TODAY - 10 * DAY, event="full"),),
    )
    kept_from = TODAY - kept_for_days * DAY
    given = assume_before(ours, grounds, lines, days, known, kept_from=kept_from)
    assert bool(given.carried) == (kept_for_days < 59)

    def planned(given: Given) -> object:
        return plan_garden(ours, grounds, lines, days, first=TODAY, count=3, given=given)

    again = planned(given)
    assert planned(replace(given, carried={})) == again
    assert planned(given) == again  # what was handed in is not used up
