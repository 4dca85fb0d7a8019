"""Supplies: what a barrel's fall does, and what a regulator leaves."""

from __future__ import annotations

from dataclasses import replace
from json import dumps, loads

import pytest
from pytest import approx
from support.hydraulics_gardens import a_garden, a_zone
from support.wording import kept

from controller.errors import InputError
from controller.garden.plumbing import BeforeRegulator, Pump, Supply, SupplyKind
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.measurements import Bucket
from controller.hydraulics.calibration.result import described, fitted_from_dict
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supplies import (
    at_level,
    planning_curve,
    supply_states,
    with_readings,
)

# 4 ft of water over the tap, 5 gal in 60 s from the open tap.
BARREL = Supply(
    static_head_m=1.2192,
    test_head_m=0.0,
    test_flow_m3_s=3.15451e-4,
    kind=SupplyKind.BARREL,
    falls_to_m=0.3048,
)


def test_a_barrel_is_computed_at_start_middle_and_end() -> None:
    states = supply_states(BARREL)
    # WORKED: 4 ft down to 1 ft, the middle at 2 ft 6 in.
    assert states.start.static_head_m == approx(1.2192)
    assert states.middle.static_head_m == approx(0.762)
    assert states.end.static_head_m == approx(0.3048)
    assert planning_curve(BARREL) == states.middle


def test_the_open_tap_of_a_barrel_gives_less_by_the_root_of_the_level() -> None:
    # WORKED: Torricelli: a quarter of the level is half the flow.
    states = supply_states(BARREL)
    assert states.end.flow_m3_s() == approx(0.5 * states.start.flow_m3_s())
    assert states.start.flow_m3_s() == approx(BARREL.test_flow_m3_s)


def test_levels_share_the_loss_by_flow() -> None:
    states = supply_states(replace(BARREL, test_head_m=0.3))
    for level in (states.middle, states.end):
        assert level.k == approx(states.start.k)
        lost = [curve.static_head_m - curve.head_m(1e-4) for curve in (level, states.start)]
        assert lost[0] == approx(lost[1])


def test_an_emptied_barrel_still_has_a_curve() -> None:
    states = supply_states(replace(BARREL, falls_to_m=0.0))
    assert 0.0 < states.end.flow_m3_s() < 0.04 * states.start.flow_m3_s()


def test_mains_have_one_curve() -> None:
    mains = Supply(static_head_m=35.0, test_head_m=17.5, test_flow_m3_s=5e-4)
    states = supply_states(mains)
    assert states.start == states.middle == states.end == planning_curve(mains)


def test_a_regulator_falls_far_less_than_the_mains_before_it() -> None:
    # 50 psi mains with 8 gal/min at 25 psi; set to 25 psi, with 23 psi left behind it at 3 gal/min.
    mains = Supply(static_head_m=35.2, test_head_m=17.6, test_flow_m3_s=5.05e-4)
    behind = Supply(
        static_head_m=17.6,
        test_head_m=16.2,
        test_flow_m3_s=1.89e-4,
        kind=SupplyKind.REGULATOR,
    )
    flow = 1.5e-4
    fall = [c.static_head_m - c.head_m(flow) for c in map(planning_curve, (behind, mains))]
    # WORKED: 1.4 m * (1.5/1.89)^2 = 0.88 m against 17.6 m * (1.5/5.05)^2 = 1.55 m.
    assert fall == approx([0.882, 1.553], abs=2e-3)


def test_a_test_that_reads_more_than_the_still_tap_is_refused() -> None:
    with pytest.raises(InputError, match="less pressure than the still tap"):
        supply_states(replace(BARREL, test_head_m=1.3))


def test_a_level_has_to_be_above_the_tap() -> None:
    with pytest.raises(ValueError, match="level_m"):
        at_level(planning_curve(BARREL), 0.0)


PUMP = Supply(
    static_head_m=28.0,
    test_head_m=28.0,
    test_flow_m3_s=6e-4,
    kind=SupplyKind.PUMP,
    pump=Pump(
        on_head_m=21.0,
        off_head_m=35.0,
        tank_m3=0.08,
        pre_charge_head_m=19.5,
        shut_off_head_m=44.0,
    ),
)
BEHIND = Supply(
    static_head_m=18.0,
    test_head_m=15.0,
    test_flow_m3_s=3e-4,
    exponent=1.0,
    kind=SupplyKind.REGULATOR,
    before=BeforeRegulator(
        static_head_m=35.0,
        test_head_m=0.0,
        test_flow_m3_s=8e-4,
        open_loss_m=4.0,
        open_flow_m3_s=4e-4,
    ),
)


def test_a_tank_holds_the_middle_until_the_pump_gives_less() -> None:
    curve = planning_curve(PUMP)
    # WORKED: 44 m shut, 28 m at 6e-4: 44 - 16 (Q/6e-4)^2.
    assert curve.head_m(1e-4) == approx(28.0)
    assert curve.head_m(9e-4) == approx(44.0 - 16.0 * 2.25)
    assert curve.flow_m3_s(0.0) == approx(6e-4 * (44.0 / 16.0) ** 0.5)
    assert curve.limited_from_m3_s() == approx(6e-4, rel=1e-6)


def test_a_full_tank_gives_its_pressure_whatever_the_pump_can() -> None:
    states = supply_states(PUMP)
    assert states.start.head_m(2e-3) == approx(35.0)
    assert states.end.head_m(1e-4) == approx(21.0)
    # WORKED: 44 - 16 (9e-4/6e-4)^2 = 8 m.
    assert states.end.head_m(9e-4) == approx(8.0)


def test_behind_a_regulator_the_mains_rule_past_its_drop_out() -> None:
    curve = planning_curve(BEHIND)
    # WORKED: 18 - 1e4 Q, and 35 - (35/6.4e-7 + 4/1.6e-7) Q^2.
    assert curve.head_m(2e-4) == approx(16.0)
    assert curve.head_m(6e-4) == approx(35.0 - 79_687_500.0 * 3.6e-7)
    assert curve.flow_m3_s(0.0) == approx((35.0 / 79_687_500.0) ** 0.5)


def test_a_gauge_that_reads_high_read_all_heads_of_a_regulator_high() -> None:
    same = with_readings(BEHIND, static_head_m=18.0, test_flow_m3_s=3e-4)
    assert same == BEHIND
    high = with_readings(BEHIND, static_head_m=18.0 * 1.1, test_flow_m3_s=3e-4)
    for flow in (1e-4, 6e-4):
        # Its mains' test is a bucket at no pressure: all heads go in step.
        assert planning_curve(high).head_m(flow) == approx(
            1.1 * planning_curve(BEHIND).head_m(flow)
        )


def test_a_tank_found_at_another_pressure_says_nothing_of_its_pump() -> None:
    low = with_readings(PUMP, static_head_m=25.0, test_flow_m3_s=6e-4)
    assert planning_curve(low).head_m(1e-4) == approx(25.0)
    assert planning_curve(low).limit == planning_curve(PUMP).limit
    # No tank stands higher than its pump lifts.
    assert planning_curve(with_readings(PUMP, static_head_m=50.0, test_flow_m3_s=6e-4))


@pytest.mark.parametrize("supply", [PUMP, BEHIND], ids=["pump", "regulator"])
def test_what_was_fitted_of_a_kinked_supply_is_kept_whole(supply: Supply) -> None:
    garden = a_garden(a_zone("ash"), supply=supply)
    flow = Lines(garden).open_set(frozenset(["ash"])).supply_flow_m3_s
    bucket = Bucket(zones=frozenset(["ash"]), zone="ash", volume_m3=0.9 * flow * 60, time_s=60.0)
    fitted = fit(garden, [bucket])
    back = fitted_from_dict(loads(dumps(kept(fitted))))
    assert back.corrections.supply == fitted.corrections.supply
    assert back.corrections.supply is not None
    assert back.corrections.supply.limit is not None
    # And what was kept before there were limits reads as it did.
    old = kept(fit(a_garden(a_zone("ash")), []))
    del old["corrections"]["supply"]["limit"]
    assert fitted_from_dict(old).corrections.supply is not None


def test_marks_of_older_field_tests_stand_and_a_new_tank_makes_its_own() -> None:
    # Before there were pumps the mark was of the supply's text, which must not have grown.
    assert "pump" not in repr(BARREL).lower().replace("supplykind.pump", "")
    assert PUMP.pump is not None
    tank = replace(PUMP, pump=replace(PUMP.pump, shut_off_head_m=50.0))
    marks = [described(a_garden(supply=supply))["supply"] for supply in (PUMP, tank, BARREL)]
    assert len(set(marks)) == 3
