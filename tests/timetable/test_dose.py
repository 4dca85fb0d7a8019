"""Whether a zone is due, how many litres, and how they soak in."""

from __future__ import annotations

from datetime import date

import pytest
from pytest import approx

from controller.timetable.dose import Soaking, even_litres, need_of
from controller.timetable.flooding import FLOODING_EFFICIENCY, against_flooding
from controller.timetable.records import Dose, Pulse, Timetable, Why


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
        (9.0, 5.0, 3, True),  # long in doubt: water, and say so
        (0.0, 99.0, 0, False),
    ],
)
def test_a_zone_is_due_by_what_is_gone_and_what_is_coming(
    missing_mm: float, expected: float, doubt: int, due: bool
) -> None:
    assert _need(missing_mm, expected=expected, doubt=doubt) == (missing_mm if due else None)


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


def test_a_soil_that_keeps_up_never_fills_its_basin() -> None:
    soaking = Soaking(strip_m2=2.0, intake_mm_s=0.3, basin_mm=10.0)
    assert soaking.seconds_to_full(0.4, 0.0) == float("inf")


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

    from controller.garden.model import ValveKind

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
