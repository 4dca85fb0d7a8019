"""What one part needs on a morning, from evenings set by hand, so that each figure can be WORKED.

Leeks in loam; the line wets 0.4 of the ground, open to the sun. Last evening 16 mm were missing
there, of 20 mm readily available; Kcb was 0.6 and cover 0.3, and the ground would have lost 0.9 of
the reference ET of 5 mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import pytest
from pytest import approx
from support.plots import SPRING, ground, ledger_over, planted, plot
from support.plots import day as weather
from support.said import reasons_of

from controller.demand.plants.stages import CourseDay, Settling
from controller.demand.records import LedgerDay
from controller.demand.soil.ground import Part
from controller.garden.model import Coefficients, Watering
from controller.timetable.need.need import Outlook, PartNeed, need_of_part
from crops.catalogue import Soil, load

CATALOGUE = load()
CROPS = CATALOGUE.crop
LOAM = CATALOGUE.soil("loam")  # 0.26 / 0.12; TEW 20 mm
DAY = timedelta(days=1)
TODAY = SPRING + 10 * DAY
STANDS = CourseDay(stage="mid", position=80.0, day_of_planting=11)
SEEDBED = replace(STANDS, stage="initial", phase="seedbed")


@dataclass
class At:
    """A course that stands where it is put."""

    where: CourseDay
    ends: date = TODAY + 50 * DAY

    def on(self, day: date) -> CourseDay:
        return self.where


def a_part(where: CourseDay = STANDS, *, mulch: str = "none", soil: Soil = LOAM) -> Part:
    part = ground(
        plot(planted("leek", 0, 100), mulch=mulch, mulch_cover=1.0),
        soil,
        CROPS,
        [weather(n) for n in range(10)],
        line_fraction=0.4,
        under_canopy=False,
    )
    (facts,) = part.plantings
    return replace(part, plantings=(replace(facts, course=At(where)),))  # type: ignore[arg-type]


def evenings(*last: Mapping[str, object], **all_of: object) -> list[LedgerDay]:
    """Ten of them; the last ones as given, the very last the day before today."""
    part = ground(
        plot(planted("leek", 0, 100)),
        LOAM,
        CROPS,
        run := [weather(n) for n in range(10)],
        coefficients=Coefficients.DUAL,
        line_fraction=0.4,
    )
    rows = ledger_over(part, run, {})
    plain = {
        "eto_mm": 5.0, "wet_depletion_mm": 16.0, "raw_mm": 20.0, "wet_kc": 0.9, "kcb": 0.6,
        "cover": 0.3, "kc_max_base": 1.2, "dry_days": 4.0, "stage": "mid", "exposure": 1.0,
        "surface_depletion_mm": 0.0, **all_of,
    }  # fmt: skip
    rows = [replace(row, **plain) for row in rows]  # type: ignore[arg-type]
    for number, changed in enumerate(reversed(last), 1):
        rows[-number] = replace(rows[-number], **changed)  # type: ignore[arg-type]
    return rows


def needed(
    account: Sequence[LedgerDay],
    part: Part | None = None,
    *,
    eto_mm: Sequence[float] = (),
    leach: float = 0.0,
    trust: float = 0.5,
    **outlook: object,
) -> PartNeed:
    plain: dict[str, object] = {
        "day": TODAY,
        "days": {TODAY + n * DAY: weather(10 + n, eto_mm=mm) for n, mm in enumerate(eto_mm)},
        "coming_mm": 0.0,
        "fallen_mm": 0.0,
        "wait_days": 1,
        "rain_doubt_days": 0,
        "refill_at": None,
    }
    found = need_of_part(
        part or a_part(),
        account,
        Outlook(**{**plain, **outlook}),  # type: ignore[arg-type]
        Watering(windows=(), forecast_trust=trust),
        leach=leach,
    )
    assert found is not None
    return found


def test_a_crop_is_due_at_its_share_and_gets_what_its_wetted_ground_lacks() -> None:
    # WORKED: 0.6 of 20 mm, leeks being shallow (dose.REFILL_AT); 16 mm of 0.4 of the ground are
    # 6.4 mm.
    need = needed(evenings())
    assert need.due and not need.spread and not need.dries
    assert (need.strip_missing_mm, need.allowed_mm) == (16.0, 12.0)
    assert need.net_mm == need.missing_mm == approx(6.4)
    assert need.urgency == approx(0.8)
    assert reasons_of(need) == "the allowed share is used up"
    waits = needed(evenings(wet_depletion_mm=11.9, wet_kc=0.0))
    assert not waits.due and reasons_of(waits) == "" and waits.net_mm == approx(0.4 * 11.9)


def test_the_gardeners_own_share_goes_before_the_crops_and_the_first_year_between() -> None:
    at = evenings(wet_depletion_mm=10.0, wet_kc=0.0)
    assert not needed(at).due
    young = a_part(replace(STANDS, refill_at=0.5))
    assert needed(at, young).due and needed(at, young).allowed_mm == 10.0
    assert not needed(at, young, refill_at=0.6).due
    assert needed(at, refill_at=0.5).due


def test_what_the_gauge_caught_today_is_missing_no_more() -> None:
    need = needed(evenings(wet_kc=0.0), fallen_mm=4.5)
    assert not need.due and need.strip_missing_mm == 11.5
    assert needed(evenings(), fallen_mm=17.0).strip_missing_mm == 0.0


def test_ground_that_holds_nothing_readily_is_all_urgency() -> None:
    assert needed(evenings(raw_mm=0.0)).urgency == 1.0


def test_a_bed_waits_only_as_long_as_the_days_to_come_let_it() -> None:
    # WORKED: 10 mm are missing; today and tomorrow, 5 and 7 mm of reference ET at 0.9, are 10.8 mm:
    # past the 20. At 0.8 they are 9.6, and it may wait.
    low = {"wet_depletion_mm": 10.0}
    assert needed(evenings(**low), eto_mm=(5.0, 7.0), wait_days=2).due
    assert not needed(evenings(**low, wet_kc=0.8), eto_mm=(5.0, 7.0), wait_days=2).due
    assert not needed(evenings(**low), eto_mm=(5.0, 7.0), wait_days=1).due
    # Of a day that nobody forecasts it is taken to use what it did last: 0.9 x (5 + 6) is 9.9.
    last = {**low, "eto_mm": 6.0}
    assert not needed(evenings(**last), eto_mm=(5.0,), wait_days=2).due
    assert needed(evenings(**last, wet_kc=0.92), eto_mm=(5.0,), wait_days=2).due
    # An exposed bed uses more: 1.25 x 9.9.
    assert needed(evenings(**last, exposure=1.25), eto_mm=(5.0,), wait_days=2).due


# WORKED: after a dose the open wet ground loses all there is energy for (FAO-56, eq. 71 with Kr 1).
# few is the lesser of 0.4 and 1 - 0.3; Ke the lesser of Kc max - 0.6 and 0.4 Kc max; and the wet
# ground's own Kc is (0.6 + Ke) / 0.4.
@pytest.mark.parametrize(
    ("evening", "mulch", "once_wet_mm"),
    [
        ({}, "none", 13.5),  # Kc max 1.2: Ke 0.48, 2.7 x 5 mm
        ({"dry_days": 0.0}, "none", 13.0),  # daily wetted, 1.1: Ke 0.44, 2.6 x 5
        ({"kcb": 1.18}, "none", 15.375),  # Kc max 1.18 + 0.05: 1.23 / 0.4 x 5
        ({}, "straw", 10.5),  # half of Ke: 0.84 / 0.4 x 5
        ({"cover": 0.8}, "none", 10.5),  # few 0.2: Ke 0.24
        ({"wet_kc": 3.0}, "none", 15.0),  # never less than it was
        ({"exposure": 1.2}, "none", 16.2),
        ({"coefficients": "single"}, "none", 4.5),  # that Kc knows no wetting: 0.9 x 5
    ],
)
def test_rain_to_come_lowers_a_dose_as_far_as_the_wetted_ground_can_spare_it(
    evening: dict[str, object], mulch: str, once_wet_mm: float
) -> None:
    at, part = evenings(**evening), a_part(mulch=mulch)
    # 0.5 of 8 mm counts as long as 20 mm less the day's loss are more than that.
    some = needed(at, part, coming_mm=8.0)
    assert some.net_mm == approx(0.4 * (16.0 - min(4.0, 20.0 - once_wet_mm)))
    most = needed(at, part, coming_mm=80.0)
    spared_mm = min(20.0 - once_wet_mm, 16.0)
    assert most.net_mm == approx(0.4 * (16.0 - spared_mm))
    assert reasons_of(most).endswith("for rain that is likely")


def test_how_much_less_is_said_over_the_whole_ground() -> None:
    # WORKED: 0.5 of 8 mm, over 0.4 of the ground, is 1.6 mm.
    assert reasons_of(needed(evenings(), coming_mm=8.0)) == (
        "the allowed share is used up; less 1.6 mm for rain that is likely"
    )
    assert "in for rain" in reasons_of(needed(evenings(), coming_mm=8.0), us=True)


def test_a_dose_that_rain_takes_whole_is_none() -> None:
    # WORKED: 40 mm readily available less 13.5 spare 26.5; 0.5 of 32 mm takes all of 16.
    need = needed(evenings(raw_mm=40.0), coming_mm=32.0, refill_at=0.4)
    assert not need.due and need.net_mm == 0.0
    assert needed(evenings(raw_mm=40.0), coming_mm=31.0, refill_at=0.4).due


def test_what_is_owed_to_salt_is_of_this_planting_alone_and_over_the_wetted_ground() -> None:
    # WORKED: 8 mm given less 2 that passed are 15 mm of the wet 0.4; a fifth is 3, and 1 drained:
    # 2 mm are owed. 16 + 2 over 0.4 of the ground are 7.2 mm. What was given before the planting
    # owes nothing.
    given = {"watered_mm": 8.0, "passed_mm": 2.0, "wet_drained_mm": 1.0}
    before = {"account": "bare", "watered_mm": 80.0, "passed_mm": 0.0}
    need = needed(evenings(before, given, {}), leach=0.2)
    assert need.net_mm == approx(7.2)
    assert reasons_of(need) == "the allowed share is used up; with 0.8 mm to wash out salt"
    assert need.strip_missing_mm == 16.0
    assert "salt" not in reasons_of(needed(evenings(before, given, {}), leach=0.0))
    assert "salt" not in reasons_of(needed(evenings(before, {}, {}), leach=0.2))


@pytest.mark.parametrize(("wait_days", "extra_mm"), [(1, 20.875), (2, 20.875)])
def test_no_more_is_owed_at_once_than_the_days_own_use_and_a_steady_share(
    wait_days: int, extra_mm: float
) -> None:
    # WORKED: the day uses 13.5 mm once wet; that, and a quarter (0.2 / 0.8) of 16 + 13.5 mm.
    given = {"watered_mm": 400.0, "passed_mm": 0.0}
    need = needed(
        evenings(given, {}), leach=0.2, wait_days=wait_days, eto_mm=(5.0, 5.0), refill_at=0.8
    )
    assert need.net_mm == approx(0.4 * (16.0 + extra_mm))


def test_what_dries_down_gets_nothing_however_dry_and_bare_ground_asks_nothing() -> None:
    need = needed(evenings(), a_part(replace(STANDS, stopped=True)))
    assert (need.due, need.net_mm, need.urgency, need.dries) == (False, 0.0, 0.0, True)
    bare = replace(a_part(), plantings=())
    outlook = Outlook(
        day=TODAY, days={}, coming_mm=0.0, fallen_mm=0.0, wait_days=1, rain_doubt_days=0,
        refill_at=None,
    )  # fmt: skip
    watering = Watering(windows=())
    assert need_of_part(bare, evenings(), outlook, watering, leach=0.0) is None
    assert need_of_part(a_part(), [], outlook, watering, leach=0.0) is None
    # Set out this morning into a bed of its own account: watered in by hand.
    assert need_of_part(a_part(), evenings(crop=None), outlook, watering, leach=0.0) is None


# What was just set out.


def settling(days_left: int = 3, **more: object) -> Part:
    return a_part(replace(STANDS, settling=Settling(days_left=days_left, **more)))  # type: ignore[arg-type]


def test_what_was_just_set_out_is_watered_from_one_millimetre_on() -> None:
    # `stages.SETTLING_LEAST_MM`: our choice.
    some = evenings(wet_depletion_mm=1.0)
    need = needed(some, settling(3))
    assert need.due and need.net_mm == approx(0.4)
    assert reasons_of(need) == "it is settling in, 3 more days"
    assert reasons_of(needed(some, settling(2))) == "it is settling in, 2 more days"
    assert reasons_of(needed(some, settling(1))) == "it is settling in"
    assert not needed(evenings(wet_depletion_mm=0.99), settling(3)).due


PERENNIAL = {"at_most_days_between": 3, "roots_m": 0.2}


def test_a_perennial_just_set_out_is_due_at_a_quarter_of_what_its_roots_reach() -> None:
    # WORKED: 0.2 m of loam hold 28 mm; a quarter is 7. It was watered yesterday.
    wet = {"watered_mm": 5.0}

    def due(missing_mm: float, wait_days: int = 1, **row: object) -> bool:
        at = evenings({**wet, "wet_depletion_mm": missing_mm, **row})
        return needed(at, settling(3, **PERENNIAL), wait_days=wait_days).due

    assert due(7.0) and not due(6.9)
    # Where the next chance is in two days, half of what is used till then counts: 0.9 x 5 mm.
    assert due(2.5, wait_days=2) and not due(2.4, wait_days=2)


def test_a_perennial_just_set_out_is_watered_every_third_day_unless_rain_did_it() -> None:
    part = settling(3, **PERENNIAL)
    dry: dict[str, object] = {"wet_depletion_mm": 3.0, "wet_kc": 0.0}
    wet = {**dry, "watered_mm": 2.0}

    def due(*last: Mapping[str, object], wait_days: int = 1) -> bool:
        return needed(evenings(*last, wet_kc=0.0), part, wait_days=wait_days).due

    # WORKED: watered three days ago, two dry days since.
    assert due(wet, dry, dry) and not due(wet, dry) and not due(wet)
    assert due(wet, dry, wait_days=2)  # the next chance would be the fourth
    # Rain that enters counts from the 7 mm on at which it would be due.
    soaked = {**dry, "rain_mm": 9.0, "rain_unused_mm": 1.0, "runoff_mm": 1.0}
    assert not due(wet, dry, soaked)
    assert due(wet, dry, {**soaked, "runoff_mm": 1.1})
    # It was watered in on its first day: the third day after that is due, not the second.
    start = {"day": SPRING}
    assert due(start, dry, dry) and not due(start, dry)


# Seedbeds.


def test_a_seedbed_gets_what_its_top_lacks_from_two_millimetres_on() -> None:
    # 2 mm: extension services' practice, no source (need.SEEDBED_LEAST_MM).
    top: dict[str, object] = {"surface_depletion_mm": 2.0, "wet_depletion_mm": 2.0}
    need = needed(evenings(**top), a_part(SEEDBED), eto_mm=(4.9,))
    assert need.due and not need.spread
    assert (need.strip_missing_mm, need.allowed_mm, need.urgency) == (2.0, 2.0, 2.0)
    assert need.net_mm == approx(0.8)
    assert reasons_of(need) == "the top is kept moist until seedlings show"
    almost = evenings(**{**top, "surface_depletion_mm": 1.9})
    assert not needed(almost, a_part(SEEDBED), eto_mm=(4.9,)).due
    caught = needed(evenings(**top), a_part(SEEDBED), eto_mm=(4.9,), fallen_mm=0.5)
    assert not caught.due and caught.strip_missing_mm == 1.5
    assert needed(evenings(**top), a_part(SEEDBED), eto_mm=(4.9,), fallen_mm=9.0).net_mm == 0.0


def test_a_seedbed_gets_what_is_missing_below_its_top_where_that_is_more() -> None:
    # WORKED: half of 20 mm may go in the initial stage; 10 are gone.
    at = evenings(wet_depletion_mm=10.0, surface_depletion_mm=3.0, wet_kc=0.0, kcb=0.0)
    need = needed(at, a_part(SEEDBED), eto_mm=(1.0,))
    assert need.due and need.strip_missing_mm == 10.0
    assert reasons_of(need).endswith(", and the ground below it")
    less = needed(at, a_part(SEEDBED), eto_mm=(1.0,), fallen_mm=1.0)
    assert less.strip_missing_mm == 2.0  # 9 mm are gone below: it may wait, the top may not
    # The gardener's own share goes before it, and so does that of a perennial's first year.
    assert needed(at, a_part(SEEDBED), eto_mm=(1.0,), refill_at=0.6).strip_missing_mm == 3.0
    first_year = a_part(replace(SEEDBED, refill_at=0.6))
    assert needed(at, first_year, eto_mm=(1.0,)).strip_missing_mm == 3.0
    # Once wet it loses 2.7 x 5 mm (above), and 7 are gone: past the 20 before the next chance.
    soon = evenings(wet_depletion_mm=7.0, surface_depletion_mm=3.0)
    assert needed(soon, a_part(SEEDBED), eto_mm=(4.9,)).strip_missing_mm == 7.0


# WORKED: FAO-56 (1998), eq. 73 over 0.1 m: 1000 x (0.07 - 0.5 x 0.06) x 0.1 is 4 mm.
POOR = replace(LOAM, field_capacity=0.07, wilting_point=0.06)


@pytest.mark.parametrize(("soil", "on_strip_mm"), [(LOAM, 6.0), (POOR, 4.0)])
def test_a_single_coefficient_seedbed_lacks_what_its_roots_do_and_at_most_its_top(
    soil: Soil, on_strip_mm: float
) -> None:
    # WORKED: 6 mm are gone from the wetted ground, under the 10 that may; a layer that dries holds
    # 20 mm of it, or only 4. Over 0.4 of the ground.
    at = evenings(wet_depletion_mm=6.0, coefficients="single", surface_depletion_mm=1.0)
    need = needed(at, a_part(SEEDBED, soil=soil), eto_mm=(4.0,))
    assert need.due and need.net_mm == approx(0.4 * on_strip_mm)
    # Sown this morning into a bed of its own account: its top alone is known.
    sown = needed(evenings(crop=None, surface_depletion_mm=3.0), a_part(SEEDBED), eto_mm=(4.0,))
    assert sown.strip_missing_mm == 3.0


def test_on_a_hot_day_of_two_windows_a_seedbed_is_given_the_days_own_loss_too() -> None:
    # WORKED: 2 mm and, once wet, 2.7 x 1.2 x 5 mm (the exposure of the bed).
    top: dict[str, object] = {"surface_depletion_mm": 2.0, "wet_depletion_mm": 2.0}
    at, part = evenings(**top, exposure=1.2), a_part(SEEDBED)
    hot = needed(at, part, eto_mm=(5.0,), windows=2)
    assert hot.spread and hot.strip_missing_mm == approx(2.0 + 16.2)
    once = needed(at, part, eto_mm=(5.0,), windows=1)
    assert once.spread and once.strip_missing_mm == 2.0
    mild = needed(at, part, eto_mm=(4.99,), windows=2)
    assert not mild.spread and mild.strip_missing_mm == 2.0
    # Of a day that nobody forecasts it is taken to be like the last.
    assert needed(at, part, windows=2).strip_missing_mm == approx(2.0 + 16.2)
