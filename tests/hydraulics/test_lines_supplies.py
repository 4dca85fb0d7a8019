"""A garden's lines by its kind of supply, its water's temperature, and its openings as seen."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import pytest
from pytest import approx
from support.hydraulics_gardens import GPM_M3_S, PSI_M, a_drilling, a_garden, a_row, a_zone

from controller.garden.model import Garden
from controller.garden.plumbing import Face, Opening, Supply, SupplyKind
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import HoleFlow, SetFlow
from controller.hydraulics.network.supplies import supply_states
from controller.hydraulics.network.supply_curve import Corrections
from controller.hydraulics.physics import jets
from controller.units import GRAVITY_M_S2, l_min_from_m3_s

UP = a_row(a_drilling(face=Face.UP))
SIDE = a_row(a_drilling(face=Face.SIDE))
# A barrel 1.2 m up that gives 5 gal/min with 0.3 m of head left at the tap.
BARREL = Supply(
    static_head_m=1.2,
    test_head_m=0.3,
    test_flow_m3_s=5 * GPM_M3_S,
    kind=SupplyKind.BARREL,
    falls_to_m=0.3,
)


def alone(garden: Garden, corrections: Corrections | None = None) -> SetFlow:
    lines = Lines(garden) if corrections is None else Lines(garden, corrections=corrections)
    return lines.open_set(frozenset(["ash"]))


def as_fast_as_it_passes(hole: HoleFlow) -> float:
    """Velocity coefficient of a hole that runs full: that of its flow at its head."""
    ideal = pi / 4.0 * hole.bore_m**2 * sqrt(2.0 * GRAVITY_M_S2 * (hole.head_m - hole.z_m))
    return hole.flow_m3_s / ideal


@pytest.mark.parametrize("stream_m", [0.05, 0.0762, 0.4])
def test_the_stream_that_was_seen_stands_at_the_first_hole_again(stream_m: float) -> None:
    flow = alone(a_garden(a_zone("ash", UP, opening=Opening(stream_m=stream_m))))
    first = flow.zones["ash"].rows[0].holes[0]
    over_m = first.head_m - first.z_m
    high_m = jets.height_m(head_m=over_m, velocity_coefficient=as_fast_as_it_passes(first))
    assert high_m == approx(stream_m, rel=1e-6)


def test_the_reach_that_was_seen_is_reached_again() -> None:
    opening = Opening(reach_m=0.61, reach_drop_m=0.15)
    first = alone(a_garden(a_zone("ash", SIDE, opening=opening))).zones["ash"].rows[0].holes[0]
    over_m, coefficient = first.head_m - first.z_m, as_fast_as_it_passes(first)
    far_m = jets.reach_m(head_m=over_m, drop_m=0.15, velocity_coefficient=coefficient)
    assert far_m == approx(0.61, rel=1e-6)
    # WORKED: half of a 4 ft bed from 0.15 m up wants x^2/(4 Cv^2 y) = 0.97 m, about 1.4 psi.
    assert first.head_m / PSI_M == approx(1.4, abs=0.05)


def test_a_stream_throttles_the_zone_in_company_as_well() -> None:
    slow = a_zone("ash", UP, opening=Opening(stream_m=0.1))
    lines = Lines(a_garden(slow, a_zone("bay", UP, main_run_m=12.0)))
    by_itself = lines.open_set(frozenset(["ash"])).zones["ash"].flow_m3_s
    beside = lines.open_set(frozenset(["ash", "bay"])).zones["ash"].flow_m3_s
    assert 0.6 < beside / by_itself < 1.0


def test_a_fitted_loss_takes_the_place_of_an_unknown_opening_and_of_a_stream() -> None:
    known = alone(a_garden(a_zone("ash", opening=Opening(loss_k=3e4)))).supply_flow_m3_s
    for opening in (Opening(unknown=True), Opening(stream_m=0.1)):
        zone = a_zone("ash", opening=opening)
        fitted = alone(a_garden(zone), Corrections(valve_k={"ash": 3e4 + zone.take_off_k}))
        assert fitted.supply_flow_m3_s == approx(known)


def test_an_unknown_opening_flows_as_its_stated_middle() -> None:
    unknown = alone(a_garden(a_zone("ash", opening=Opening(unknown=True))))
    stated = alone(a_garden(a_zone("ash", opening=Opening(loss_k=1e4))))
    assert unknown.supply_flow_m3_s == approx(stated.supply_flow_m3_s)


def test_a_full_barrel_gives_one_row_what_epanet_says_and_less_from_its_middle() -> None:
    # Computed with EPANET 2.2: 6.7 L/min from a barrel held at 1.2 m, 55 ft down the main.
    garden = a_garden(a_zone("ash", main_run_m=16.764), supply=BARREL)
    states = supply_states(BARREL)
    full = alone(garden, Corrections(supply=states.start)).supply_flow_m3_s
    assert l_min_from_m3_s(full) == approx(6.7, abs=0.1)
    middle = alone(garden).supply_flow_m3_s
    end = alone(garden, Corrections(supply=states.end)).supply_flow_m3_s
    # WORKED: everything goes as the root of the level: 0.75 and 0.3 of 1.2 m.
    assert middle / full == approx(0.625**0.5, abs=0.02)
    assert end / full == approx(0.25**0.5, abs=0.03)


def test_a_regulator_gives_rows_far_apart_in_number_nearly_the_same_each() -> None:
    mains = a_garden(a_zone("ash"), a_zone("bay"))
    behind = Supply(
        static_head_m=10 * PSI_M,
        test_head_m=9 * PSI_M,
        test_flow_m3_s=8 * GPM_M3_S,
        kind=SupplyKind.REGULATOR,
    )
    falls = []
    for garden in (mains, replace(mains, supply=behind)):
        lines = Lines(garden)
        one = lines.open_set(frozenset(["ash"])).zones["ash"].flow_m3_s
        two = lines.open_set(frozenset(["ash", "bay"])).zones["ash"].flow_m3_s
        falls.append(1.0 - two / one)
    assert falls[1] < 0.5 * falls[0]


def test_cold_water_gives_a_long_row_less() -> None:
    # Computed: at 10 instead of 20 C a 60 ft row gives 1.4 to 2.1 % less at a held head.
    garden = a_garden(
        a_zone("ash", a_row(length_m=18.288)), supply=replace(BARREL, falls_to_m=1.19)
    )
    warm, cold = (
        alone(replace(garden, supply=replace(garden.supply, water_temp_c=t))).supply_flow_m3_s
        for t in (20.0, 10.0)
    )
    assert 0.975 < cold / warm < 0.999
    told = Lines(garden, water_temp_c=10.0).open_set(frozenset(["ash"])).supply_flow_m3_s
    assert told == cold


def test_the_flow_of_a_set_ranges_from_the_full_barrel_to_the_low_one() -> None:
    zones = frozenset(["ash", "bay"])
    lines = Lines(a_garden(a_zone("ash"), a_zone("bay"), supply=BARREL))
    low, high = lines.flow_range(zones)
    states = supply_states(BARREL)
    for found, curve in ((high, states.start), (low, states.end)):
        held = Lines(lines.garden, corrections=Corrections(supply=curve)).open_set(zones)
        assert found == approx(held.supply_flow_m3_s, rel=1e-5)
    planned = lines.zone_flows(zones)
    assert low < sum(planned.values()) < high
    for zone, (least, most) in lines.zone_ranges(zones).items():
        assert least < planned[zone] < most
    assert lines.flow_range(frozenset()) == (0, 0)


def test_a_steady_tap_gives_one_flow_twice() -> None:
    lines = Lines(a_garden(a_zone("ash")))
    planned = sum(lines.zone_flows(frozenset(["ash"])).values())
    assert lines.flow_range(frozenset(["ash"])) == (planned, planned)


def test_a_barrel_fitted_at_some_level_still_ranges_from_full_to_low() -> None:
    states = supply_states(BARREL)
    garden = a_garden(a_zone("ash"), supply=BARREL)
    fitted = Lines(garden, corrections=Corrections(supply=states.middle))
    zones = frozenset(["ash"])
    assert fitted.flow_range(zones) == approx(Lines(garden).flow_range(zones), rel=1e-9)
