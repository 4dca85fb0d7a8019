"""Supplies: what a barrel's fall does, and what a regulator leaves."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pytest import approx

from controller.errors import InputError
from controller.garden.model import Supply, SupplyKind
from controller.hydraulics.supplies import at_level, planning_curve, supply_states

# 4 ft of water over the tap, 5 gal in 60 s from the open tap.
BARREL = Supply(
    static_head_m=1.2192,
    test_head_m=0.0,
    test_flow_m3_s=3.15451e-4,
    kind=SupplyKind.BARREL,
    falls_to_m=0.3048,
)


def test_a_barrel_is_reckoned_at_start_middle_and_end() -> None:
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
