"""What was measured takes the place of what was computed."""

from __future__ import annotations

from pytest import approx
from support.gardens import a_garden, a_zone
from support.hydraulics_rows import NO_EFFECTS

from controller.garden.plumbing import Opening
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.units import m3_s_from_l_min

ALONE = frozenset("a")


def test_a_measured_valve_loss_takes_the_place_of_the_tables() -> None:
    plain = Lines(a_garden(a_zone(opening=Opening(loss_k=3e4))))
    measured = Lines(a_garden(), corrections=Corrections(valve_k={"a": 3e4 + 4.0}))
    assert measured.open_set(ALONE).supply_flow_m3_s == approx(
        plain.open_set(ALONE).supply_flow_m3_s
    )


def test_wider_holes_count_where_the_holes_decide_and_hardly_where_the_valve_does() -> None:
    # RECORDED from EPANET 2.2, an outside program, which knows no cavitation: the elasticities of
    # the same row alone and throttled are 0.51 and 0.002 of the flow for 1 of the coefficient.
    ten = Corrections(discharge={"a": 1.1})
    full = a_garden()
    grown = Lines(full, corrections=ten, effects=NO_EFFECTS).open_set(ALONE).supply_flow_m3_s
    before = Lines(full, effects=NO_EFFECTS).open_set(ALONE).supply_flow_m3_s
    assert grown / before == approx(1.1**0.51, abs=0.01)
    slow = a_garden(a_zone(opening=Opening(loss_k=1.25e5)))
    grown = Lines(slow, corrections=ten).open_set(ALONE).supply_flow_m3_s
    assert grown / Lines(slow).open_set(ALONE).supply_flow_m3_s == approx(1.0, abs=0.002)


def test_a_measured_supply_takes_the_place_of_the_flow_test() -> None:
    weak = SupplyCurve(
        static_head_m=20.0, test_head_m=5.0, test_flow_m3_s=m3_s_from_l_min(15), exponent=2.0
    )
    flow = Lines(a_garden(), corrections=Corrections(supply=weak)).open_set(ALONE)
    assert flow.tap_head_m == approx(weak.head_m(flow.supply_flow_m3_s), abs=1e-6)
