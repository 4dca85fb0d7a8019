"""Rows of one zone under different crops: an account each, one valve for all."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.mornings import a_plan, ledger_of, mornings
from support.said import reasons_of, said

from controller.demand.records import LedgerDay, Observation
from controller.garden.model import Garden, Planting, UnlikeRows, Watering
from controller.garden.plumbing import Opening, Row
from controller.garden.show import show_depth
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.uniformity import real_uniformity
from controller.timetable.need.need import PartNeed, depth_of, mixed_crops_reasons
from controller.timetable.records import Timetable
from controller.units import m3_s_from_l_min

DAY = timedelta(days=1)
SPRING = date(2031, 5, 1)
TODAY = SPRING + 50 * DAY
DAYS = even_days(SPRING, SPRING + 120 * DAY, eto_mm=4.0)
# A crop with deep roots beside one with shallow ones; both well on in the season.
TOMATO = Planting(crop="tomato", start=SPRING, until=SPRING + 140 * DAY, rows=(1,))
LETTUCE = Planting(crop="lettuce", start=SPRING, until=SPRING + 140 * DAY, rows=(2,))


def both(
    *plantings: Planting,
    unlike_rows: UnlikeRows = UnlikeRows.NEEDIEST,
    rows: tuple[Row, ...] | None = None,
    **watering: object,
) -> Garden:
    zone = a_zone(
        rows=rows or (a_row(8.0), a_row(8.0)),
        plantings=plantings or (TOMATO, LETTUCE),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(2.0)),
        unlike_rows=unlike_rows,
    )
    return a_garden(zone, watering=Watering(windows=(EVERY_DAY,), **watering))  # type: ignore[arg-type]


@dataclass(frozen=True)
class OfPart:
    """As much of a part as a depth is made of."""

    name: str
    ground_m2: float
    rows: tuple[int, ...]
    line_fraction: float = 1.0


def needs_of(*nets_mm: float, due: tuple[bool, ...] = (True, True)) -> dict[int, PartNeed]:
    return {
        n: PartNeed(
            part=PARTS[n],  # type: ignore[arg-type]
            net_mm=net_mm,
            urgency=1.0,
            strip_missing_mm=net_mm,
            due=due[n],
        )
        for n, net_mm in enumerate(nets_mm)
    }


PARTS = (OfPart("row 1", 3.0, (1,)), OfPart("rows 2 and 3", 1.0, (2, 3)))
FOUR = replace(a_zone(), rows=(a_row(length_m=4.0, ground_width_m=1.0),))


def account_of(*shares: float) -> SimpleNamespace:
    return SimpleNamespace(parts=PARTS, shares=shares)


# WORKED: four square metres, three of row 1, which needs 6 mm, 18 L; the others need 10 mm, 10 L.
# By its share of the flow each asks for 18 / 0.7 and 10 / 0.3 L of the whole.
@pytest.mark.parametrize(
    ("shares", "litres", "whose"),
    [
        ((0.7, 0.3), 10.0 / 0.3, 1),
        ((0.5, 0.5), 18.0 / 0.5, 0),
        # Of rows 2 and 3 a quarter of the flow is due; under 0.4 of that they would flood row 1.
        ((0.9, 0.1), 10.0 / 0.1, 1),
        ((0.95, 0.05), 10.0 / 0.1, 1),
    ],
)
def test_a_dose_for_the_neediest_brings_each_its_own_by_its_share_of_the_flow(
    shares: tuple[float, float], litres: float, whose: int
) -> None:
    needs = needs_of(6.0, 10.0)
    zone = replace(FOUR, unlike_rows=UnlikeRows.NEEDIEST)
    depth_mm, chosen = depth_of(zone, account_of(*shares), needs)  # type: ignore[arg-type]
    assert depth_mm == approx(litres / 4.0) and chosen is needs[whose]
    # For the mean it is what all miss together, 28 L, whoever is the neediest.
    mean = replace(FOUR, unlike_rows=UnlikeRows.MEAN)
    depth_mm, chosen = depth_of(mean, account_of(*shares), needs)  # type: ignore[arg-type]
    assert depth_mm == approx(7.0) and chosen is needs[whose]
    # Who is not due asks for nothing of the neediest's dose.
    one = needs_of(6.0, 10.0, due=(True, False))
    depth_mm, chosen = depth_of(zone, account_of(*shares), one)  # type: ignore[arg-type]
    assert depth_mm == approx(18.0 / shares[0] / 4.0) and chosen is one[0]


# WORKED: a dose of 8 mm is 32 L. With half of the flow row 1 gets 16 L, 5.33 mm, and the others 16
# mm; said from half a millimetre of difference on (our choice).
@pytest.mark.parametrize(
    ("nets_mm", "words"),
    [
        ((5.84, 16.0), "; row 1 gets 0.5 mm less than it lacks"),
        ((5.8, 16.0), ""),
        ((4.8, 16.0), "; row 1 gets 0.5 mm more than it lacks"),
        ((4.86, 16.0), ""),
        ((5.33, 18.0), "; rows 2 and 3 get 2 mm less than they lack"),
        ((5.33, 15.0), ""),  # those that it is for
    ],
)
def test_what_the_others_get_or_lack_is_said_from_half_a_millimetre_on(
    nets_mm: tuple[float, float], words: str
) -> None:
    zone, needs = replace(FOUR, unlike_rows=UnlikeRows.NEEDIEST), needs_of(*nets_mm)
    found = mixed_crops_reasons(
        zone,
        account_of(0.5, 0.5),  # type: ignore[arg-type]  # what is read of it
        needs,
        8.0,
        needs[1],
    )
    assert "; ".join(said(found)) == "for rows 2 and 3" + words


def parts(timetable: Timetable) -> set[str]:
    return {day.part for day in timetable.ledger}


def test_rows_under_the_same_plantings_are_one_part_and_others_have_their_own() -> None:
    three = (a_row(8.0), a_row(8.0), a_row(8.0))
    alike = replace(TOMATO, rows=(1, 3))
    assert parts(a_plan(both(alike, LETTUCE, rows=three), DAYS, first=TODAY)) == {
        "rows 1 and 3",
        "row 2",
    }
    whole = replace(TOMATO, rows=())
    assert parts(a_plan(both(whole, rows=three), DAYS, first=TODAY)) == {""}


@pytest.mark.parametrize("unlike_rows", list(UnlikeRows))
@pytest.mark.parametrize("second_ft", [8.0, 14.0])
def test_every_litre_lands_on_one_part_or_another(
    unlike_rows: UnlikeRows, second_ft: float
) -> None:
    rows = (a_row(8.0), a_row(second_ft, ground_width_m=0.45))
    garden = both(unlike_rows=unlike_rows, rows=rows)
    last = SPRING + 60 * DAY
    plans, given = mornings(garden, DAYS, first=SPRING, last=last)
    ground = {"row 1": rows[0].ground_m2, "row 2": rows[1].ground_m2}
    credited = math.fsum(d.watered_mm * ground[d.part] for d in plans[last].ledger)
    assert sum(given.litres.values()) > 100.0
    assert credited == approx(math.fsum(given.litres.values()), abs=1e-9)
    # And each row's part of it is what its holes give.
    flow = Lines(garden).open_set(frozenset("a")).zones["a"]
    shares = [row.flow_m3_s / flow.flow_m3_s for row in flow.rows]
    for part, share in zip(ground, shares, strict=True):
        mine = math.fsum(d.watered_mm * ground[part] for d in plans[last].ledger if d.part == part)
        assert mine == approx(share * credited, rel=1e-9)


def a_dose_day(garden: Garden) -> tuple[Timetable, date]:
    """The first plan after seven weeks that gives a dose."""
    plans, _ = mornings(garden, DAYS, first=SPRING, last=TODAY + 5 * DAY)
    return next((plan, day) for day, plan in plans.items() if day >= TODAY and plan.doses)


def test_the_neediest_row_is_filled_and_what_the_other_gets_beyond_is_named() -> None:
    plan, day = a_dose_day(both())
    tomato, lettuce = (ledger_of(plan, part=p)[day - DAY] for p in ("row 1", "row 2"))
    assert lettuce.wet_depletion_mm >= 0.5 * lettuce.raw_mm
    assert tomato.wet_depletion_mm < 0.5 * tomato.raw_mm
    # The rows and their ground are alike, so the zone's depth is the needier one's own.
    (dose,) = plan.doses
    missing = [day.wetted_fraction * day.wet_depletion_mm for day in (lettuce, tomato)]
    assert dose.net_mm == approx(missing[0], rel=1e-6)
    beyond = show_depth(missing[0] - missing[1], False)
    assert f"for row 2; row 1 gets {beyond} more than it lacks" in reasons_of(dose.why)


def test_the_mean_gives_what_all_rows_miss_together() -> None:
    plan, day = a_dose_day(both(unlike_rows=UnlikeRows.MEAN))
    evenings = [ledger_of(plan, part=p)[day - DAY] for p in ("row 1", "row 2")]
    missing = [evening.wetted_fraction * evening.wet_depletion_mm for evening in evenings]
    (dose,) = plan.doses
    assert dose.net_mm == approx(sum(missing) / 2.0, rel=1e-9)
    assert min(missing) + 0.5 < dose.net_mm < max(missing)
    # Row 1 is the tomato's, which lacks more when either is due.
    more, less = (show_depth(abs(m - dose.net_mm), False) for m in missing)
    first, second = ("less", "more") if missing[0] > missing[1] else ("more", "less")
    assert "; for the mean of its rows; " in reasons_of(dose.why)
    assert f"row 1 gets {more} {first} than it lacks" in reasons_of(dose.why)
    assert f"row 2 gets {less} {second} than it lacks" in reasons_of(dose.why)


def test_the_neediest_gets_its_depth_by_its_own_rows_share_of_the_flow() -> None:
    # A row of half the flow on the same ground: its holes are half as many.
    sparse = replace(a_row(8.0).drilling, every_m=2 * a_row().drilling.every_m)
    garden = both(rows=(a_row(8.0), a_row(8.0, drilling=sparse)))
    plan, day = a_dose_day(garden)
    evening, after = (ledger_of(plan, part="row 2")[d] for d in (day - DAY, day))
    missing_mm = evening.wetted_fraction * evening.wet_depletion_mm
    assert after.watered_mm == approx(
        missing_mm / plan.doses[0].evenness + _line_mm(plan, garden, row=1), rel=0.02
    )
    # Its account is credited with what it missed, and the rest has passed.
    assert after.watered_mm - after.passed_mm == approx(missing_mm, rel=0.02)


def test_the_neediest_is_dosed_by_the_evenness_of_its_own_rows() -> None:
    # The zone's own evenness holds the sparse row against the other; within it nothing is uneven.
    small = replace(a_row(8.0).drilling, bore_m=0.5 * a_row().drilling.bore_m)
    garden = both(rows=(a_row(8.0), a_row(8.0, drilling=small)))
    plan, _ = a_dose_day(garden)
    (dose,) = plan.doses
    assert "for row 2" in reasons_of(dose.why)
    flow = Lines(garden).open_set(frozenset("a")).zones["a"]
    assert flow.evenness < 0.5 < 0.95 < flow.rows[1].evenness
    assert dose.evenness == approx(real_uniformity(flow.rows[1].holes, garden.watering))


def _line_mm(plan: Timetable, garden: Garden, *, row: int) -> float:
    """What filled the line, as far as that row got it."""
    flow = Lines(garden).open_set(frozenset("a")).zones["a"]
    share = flow.rows[row].flow_m3_s / flow.flow_m3_s
    (dose,) = plan.doses
    litres = len([p for p in plan.pulses if p.zone == "a"]) * dose.line_litres
    return litres * share / garden.zones[0].rows[row].ground_m2


def test_a_row_that_gives_nothing_does_not_flood_its_neighbour() -> None:
    dry = a_row(8.0, inlet_height_m=60.0, middle_height_m=60.0, far_height_m=60.0)
    garden = both(rows=(a_row(8.0), dry))
    plans, _ = mornings(garden, DAYS, first=SPRING, last=TODAY)
    thirsty = ledger_of(plans[TODAY], part="row 2")[TODAY]
    assert thirsty.watered_mm == 0.0 and thirsty.wet_depletion_mm > 0.85 * thirsty.taw_mm
    for dose in (dose for plan in plans.values() for dose in plan.doses):
        assert dose.net_mm <= 2.5 * thirsty.taw_mm


def test_a_row_that_dries_down_is_not_what_a_zone_is_watered_for() -> None:
    onion = Planting(
        crop="onion_dry", start=SPRING, until=SPRING + 140 * DAY, rows=(1,),
        stage_days=(10, 15, 20, 30),
    )  # fmt: skip
    fallen = Observation(zone="a", day=SPRING + 46 * DAY, event="tops fallen")
    # A basin for the whole dose: in one pulse, the line is filled once.
    garden = both(onion, LETTUCE, basin_mm=20.0)
    plans, _ = mornings(garden, DAYS, first=SPRING, last=TODAY, seen=[fallen])
    after = [d for day, plan in plans.items() if day >= fallen.day for d in plan.doses]
    assert after and all("for row 2" in reasons_of(dose.why) for dose in after)
    dries = ledger_of(plans[TODAY], part="row 1")
    assert dries[TODAY].phase == "dry-down"
    # What it gets with the other's water is said, and is what its account is credited with.
    for dose in after:
        assert f"; row 1, drying down, gets {show_depth(dose.net_mm, False)}" in reasons_of(
            dose.why
        )
        day = dries[dose.day]
        assert day.watered_mm - day.passed_mm == approx(dose.net_mm, rel=0.05)


def test_rows_where_nothing_stands_are_said_to_get_their_share() -> None:
    five = tuple(a_row(8.0) for _ in range(5))
    garden = both(TOMATO, rows=five)
    plans, _ = mornings(garden, DAYS, first=SPRING, last=TODAY)
    doses = [dose for plan in plans.values() for dose in plan.doses]
    assert len(doses) > 3
    for dose in doses:
        gets = show_depth(dose.net_mm, False)
        assert f"rows 2, 3, 4 and 5, where nothing grows, get {gets}" in reasons_of(dose.why)


def test_what_was_seen_of_one_crop_leaves_the_other_as_it_was() -> None:
    seen = Observation(zone="a", day=SPRING + 30 * DAY, event="full", crop="lettuce")
    _, given = mornings(both(), DAYS, first=SPRING, last=TODAY - DAY)
    before = a_plan(both(), DAYS, first=TODAY, given=given)
    after = a_plan(both(), DAYS, first=TODAY, given=replace(given, observations=(seen,)))

    def until_yesterday(plan: Timetable, part: str) -> dict[date, LedgerDay]:
        return {d: day for d, day in ledger_of(plan, part=part).items() if d < TODAY}

    assert until_yesterday(before, "row 1") == until_yesterday(after, "row 1")
    old, new = until_yesterday(before, "row 2"), until_yesterday(after, "row 2")
    assert {d for d in old if old[d] != new[d]} == {d for d in old if d >= seen.day}


def test_what_was_seen_of_no_crop_of_the_zone_is_said_once() -> None:
    seen = (
        Observation(zone="a", day=SPRING + 30 * DAY, event="full", crop="lettuce"),
        Observation(zone="a", day=SPRING + 30 * DAY, event="full", crop="quinoa"),
    )
    plan = a_plan(both(), DAYS, first=TODAY, given=replace(NOTHING_GIVEN, observations=seen))
    left = [remark for remark in said(plan.remarks) if "does not count: " in remark]
    assert len(left) == 1 and "no quinoa grows there" in left[0]
