"""Whether a zone is due, how many litres, and how they soak in."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from pytest import approx

from controller.timetable.flooding import FLOODING_EFFICIENCY, against_flooding
from controller.timetable.need.dose import (
    Soaking,
    even_litres,
    full_roots_m,
    need_of,
    refill_share,
    soaking_of,
)
from controller.timetable.records import Dose, Pulse, Timetable, Why
from controller.wording.say import say
from crops.catalogue import Crop, load

CATALOGUE = load()


def _need(missing_mm: float, *, expected: float = 5.0, doubt: int = 0) -> float | None:
    found = need_of(
        missing_mm=missing_mm,
        raw_mm=18.0,
        refill_at=0.5,
        expected_etc_mm=expected,
        rain_doubt_days=doubt,
    )
    return None if found is None else found.net_mm


@pytest.mark.parametrize(
    ("missing_mm", "expected", "doubt", "due"),
    [
        (8.9, 5.0, 0, False),
        (9.0, 5.0, 0, True),  # half of 18 mm
        (8.0, 10.1, 0, True),  # it would pass 18 mm before the next chance
        (9.0, 5.0, 1, False),  # rain unknown yesterday: wait
        (14.0, 5.0, 2, True),  # but not into the stress
        (9.0, 5.0, 2, False),  # nor on two days
        (9.0, 5.0, 3, True),  # long in doubt: water, and say so
        (8.0, 10.0, 0, False),  # 18 mm is all it has, and that it may use
        (0.0, 99.0, 0, False),
        (0.8, 17.5, 0, True),  # less than a millimetre is missing, and tomorrow would be short
    ],
)
def test_a_zone_is_due_by_what_is_gone_and_what_is_coming(
    missing_mm: float, expected: float, doubt: int, due: bool
) -> None:
    assert _need(missing_mm, expected=expected, doubt=doubt) == (missing_mm if due else None)


def test_ground_that_holds_a_millimetre_is_due_at_eight_tenths_of_it() -> None:
    found = need_of(
        missing_mm=0.8, raw_mm=1.0, refill_at=0.8, expected_etc_mm=0.0, rain_doubt_days=0
    )
    assert found is not None and found.net_mm == 0.8


def test_a_need_says_why() -> None:
    def words(missing_mm: float, expected_mm: float, doubt: int) -> str:
        found = need_of(
            missing_mm=missing_mm,
            raw_mm=18.0,
            refill_at=0.5,
            expected_etc_mm=expected_mm,
            rain_doubt_days=doubt,
        )
        assert found is not None
        return say(found.reason, us=False)

    assert words(9.0, 5.0, 0) == "the allowed share is used up"
    assert words(8.0, 10.1, 0) == "it would run short before the next chance"
    assert words(14.0, 5.0, 1) == ("it would run short before the next chance, and rain is unknown")


def _crop(root_m: float = 1.0, share: float = 0.5) -> Crop:
    return replace(CATALOGUE.crop("leek"), root_min_m=root_m, depletion_fraction=share)


# Our choice (dose.REFILL_AT): half of what is readily available in the initial stage, 0.6 in
# development, 0.8 from then on; 0.6 at most with roots under 0.6 m or a share p of 0.3 or less.
@pytest.mark.parametrize(
    ("root_m", "p", "shares"),
    [
        (1.0, 0.5, (0.5, 0.6, 0.8, 0.8)),
        (0.6, 0.5, (0.5, 0.6, 0.8, 0.8)),
        (0.59, 0.5, (0.5, 0.6, 0.6, 0.6)),
        (1.0, 0.3, (0.5, 0.6, 0.6, 0.6)),
        (1.0, 0.31, (0.5, 0.6, 0.8, 0.8)),
    ],
)
def test_shallow_and_tender_crops_are_refilled_sooner(
    root_m: float, p: float, shares: tuple[float, ...]
) -> None:
    crop = _crop(root_m, p)
    stages = ("initial", "development", "mid", "late")
    assert tuple(refill_share(crop, s, root_depth_m=root_m) for s in stages) == shares


def test_a_bed_that_ends_above_the_roots_ends_them() -> None:
    crop = _crop(0.8)
    assert full_roots_m(crop, None) == 0.8
    assert full_roots_m(crop, 0.3) == 0.3
    assert full_roots_m(crop, 2.0) == 0.8


def test_net_depth_over_an_area_through_an_efficiency_is_litres() -> None:
    # WORKED: 5 mm on 9.0 m x 0.9 m at 0.85: 5 * 8.1 / 0.85 = 47.647 L.
    assert even_litres(net_mm=5.0, ground_m2=8.1, evenness=0.85) == approx(47.647, abs=5e-4)


def test_a_basin_fills_at_the_rate_the_soil_does_not_take() -> None:
    # WORKED: 0.4 L/s on 2 m2 is 0.2 mm/s, less 0.1 mm/s of intake: 10 mm in 100 s, 40 L.
    soaking = Soaking(strip_m2=2.0, intake_mm_s=0.1, basin_mm=10.0)
    assert soaking.seconds_to_full(0.4, 0.0) == approx(100.0)
    assert soaking.litres_at_once(0.4) == approx(40.0)
    assert soaking.standing_after(0.0, 0.4, 50.0) == approx(5.0)
    assert soaking.seconds_to_soak(5.0) == approx(50.0)


def test_what_stands_already_shortens_the_pulse_and_a_full_basin_takes_none() -> None:
    soaking = Soaking(strip_m2=2.0, intake_mm_s=0.1, basin_mm=10.0)
    # WORKED: it gains 0.1 mm/s (above): 4 mm stand, 6 are left, 60 s.
    assert soaking.seconds_to_full(0.4, 4.0) == approx(60.0)
    assert soaking.seconds_to_full(0.4, 11.0) == 0.0
    # WORKED: at 0.1 L/s, 0.05 mm/s, the soil takes twice what comes: 4 mm are 2 after 40 s, and
    # nothing after 100.
    assert soaking.standing_after(4.0, 0.1, 40.0) == approx(2.0)
    assert soaking.standing_after(4.0, 0.1, 100.0) == 0.0


@pytest.mark.parametrize("intake_mm_s", [0.3, 0.2])
def test_a_soil_that_keeps_up_never_fills_its_basin(intake_mm_s: float) -> None:
    soaking = Soaking(strip_m2=2.0, intake_mm_s=intake_mm_s, basin_mm=10.0)
    assert soaking.seconds_to_full(0.4, 0.0) == float("inf")


def test_intake_by_the_hour_is_taken_by_the_second() -> None:
    # WORKED: 36 mm/h are 0.01 mm/s.
    soil = replace(CATALOGUE.soil("loam"), intake_mm_h=36.0)
    found = soaking_of(1.5, soil, 12.0)
    assert (found.strip_m2, found.basin_mm) == (1.5, 12.0)
    assert found.intake_mm_s == approx(0.01)


def test_the_saving_against_flooding_is_computed_from_stated_efficiencies() -> None:
    """Reported savings of three quarters and more: `common practice, no source`.

    The tool's own figure follows from 60 % for surface watering (FAO Irrigation Water Management
    Training Manual 4, from memory) and the timetable's own evenness and line losses, and is
    smaller.
    """
    day = date(2031, 7, 1)
    why = Why(
        account="", stage="", eto_mm=5, method="", kc=1, depletion_mm=10, allowed_mm=9, raw_mm=18,
        rain_mm=0, rain_unknown_days=0, stand_in_days=0,
    )  # fmt: skip
    dose = Dose(
        zone="a", day=day, net_mm=9.0, ground_m2=10.0, evenness=0.9, line_litres=1.0, pulses=2,
        litres=102.0, already_litres=0.0, why=why,
    )  # fmt: skip
    from datetime import UTC, datetime

    from controller.garden.plumbing import ValveKind

    opens = datetime(2031, 7, 1, 3, tzinfo=UTC)
    pulses = tuple(
        Pulse(
            zone="a", day=day, slot=i, opens_utc=opens, closes_utc=opens, open_s=60.0, litres=51.0,
            valve=ValveKind.RELAY, relay_line=17,
        )
        for i in (1, 2)
    )  # fmt: skip
    found = against_flooding(
        Timetable(first=day, last=day, pulses=pulses, doses=(dose,), not_fitted=(), ledger=())
    )
    assert found is not None
    # WORKED: 102 L less 2 L of line, times 0.9: 90 L net; flooding takes 90 / 0.6 = 150 L.
    assert (found.net_litres, found.flooding_litres) == (approx(90.0), approx(150.0))
    assert found.saved_fraction == approx(1 - 102 / 150)
    assert FLOODING_EFFICIENCY < found.efficiency < 0.9
    assert 0.0 < found.saved_fraction < 0.75
