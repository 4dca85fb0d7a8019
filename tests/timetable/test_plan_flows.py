"""A plan made with the rows' curves is the plan made with the whole tree, hole by hole."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

import pytest
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN

from controller.garden.model import Garden, Watering
from controller.garden.plumbing import Opening
from controller.hydraulics.network.garden_lines import Lines
from controller.messages import Message
from controller.timetable import plan
from controller.timetable.need.jobs import Grounds
from controller.timetable.plan import Installation, Span
from controller.timetable.records import Timetable
from controller.units import l_from_m3
from crops.catalogue import load

CATALOGUE = load()
FIRST, DAY = date(2031, 7, 1), timedelta(days=1)


class HoleByHole:
    """What packing asks, from the whole tree."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        return l_from_m3(self._lines.open_set(together).zones[zone].flow_m3_s)

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        return self._lines.open_set(together).zones[zone].dry_holes

    def stays_open(self, together: frozenset[str]) -> Message | None:
        return None  # no valve of these beds asks for pressure to shut


def random_beds(seed: int) -> Garden:
    """Two to ten zones of one to three rows, tilted, throttled, by relay and hand."""
    rng = Random(seed)
    zones = []
    for i in range(rng.randint(2, 10)):
        loss_k = rng.choice([0.0, 10 ** rng.uniform(1, 5), 10 ** rng.uniform(3, 5)])
        zones.append(
            a_zone(
                f"z{i}",
                relay=None if rng.random() < 0.2 else 2 + i,
                rows=tuple(
                    a_row(
                        rng.choice([6, 8, 11, 12, 16, 20]),
                        far_height_m=rng.choice([0.0, rng.uniform(-0.05, 0.05)]),
                    )
                    for _ in range(rng.randint(1, 3))
                ),
                rise_m=rng.uniform(-0.3, 0.3),
                main_run_m=rng.choice([0.0, 5.0, 12.0, 20.0]),
                opening=Opening(loss_k=loss_k),
            )
        )
    watering = Watering(
        windows=(EVERY_DAY,),
        least_share=rng.choice([0.1, 0.3, 0.5, 0.8]),
        most_open=rng.randint(1, 5),
    )
    return a_garden(*zones, watering=watering)


def planned(garden: Garden, count: int) -> Timetable:
    return plan.plan_garden(
        Installation(garden, Grounds(garden, CATALOGUE), Lines(garden)),
        even_days(FIRST - 3 * DAY, FIRST + count * DAY),
        Span(first=FIRST, count=count),
        given=NOTHING_GIVEN,
    )


def compare(garden: Garden, count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same pulses at the same tenths of a second, and the same litres."""
    curves = planned(garden, count)
    monkeypatch.setattr(plan, "NetworkFlows", HoleByHole)
    holes = planned(garden, count)
    assert curves.pulses
    assert len(curves.pulses) == len(holes.pulses)
    for mine, theirs in zip(curves.pulses, holes.pulses, strict=True):
        assert (mine.key, mine.together) == (theirs.key, theirs.together)
        # A time that falls between two tenths may be rounded either way.
        assert abs((mine.opens_utc - theirs.opens_utc).total_seconds()) < 0.11
        assert mine.open_s == approx(theirs.open_s, abs=0.11)
        per_s = theirs.litres / theirs.open_s
        assert mine.litres == approx(theirs.litres, rel=1e-5, abs=0.11 * per_s)
    assert len(curves.not_fitted) == len(holes.not_fitted)


@pytest.mark.parametrize("seed", range(5))
def test_curves_and_holes_make_the_same_plan(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    compare(random_beds(seed), 2, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 160))
def test_sixty_more_weeks_are_planned_alike(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    compare(random_beds(seed), 7, monkeypatch)
