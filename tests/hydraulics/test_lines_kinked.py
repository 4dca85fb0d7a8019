"""Supplies whose curve has a kink: quick and whole alike, and falling as zones are added."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.hydraulics_gardens import GPM_M3_S, PSI_M, a_garden, a_row, a_zone

from controller.garden.model import Garden
from controller.garden.plumbing import BeforeRegulator, Opening, Pump, Supply, SupplyKind
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supplies import held, planning_curve, supply_states
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve

# What `zone_flows` says of itself.
WITHIN = 1e-5
NAMES = ("ash", "bay", "cress", "dill")
ZONES = (
    a_zone("ash", main_run_m=3.0),
    a_zone("bay", a_row(far_height_m=0.05), a_row(), main_run_m=6.0, rise_m=0.4),
    a_zone("cress", opening=Opening(loss_k=300.0), main_run_m=6.0),
    a_zone("dill", a_row(length_m=1.2), main_run_m=12.0, rise_m=-0.5),
)
REGULATOR = Supply(
    kind=SupplyKind.REGULATOR,
    static_head_m=25 * PSI_M,
    test_head_m=21 * PSI_M,
    test_flow_m3_s=5 * GPM_M3_S,
    exponent=1.0,
    before=BeforeRegulator(
        static_head_m=50 * PSI_M, test_head_m=25 * PSI_M, test_flow_m3_s=8 * GPM_M3_S
    ),
)
PUMP = Supply(
    kind=SupplyKind.PUMP,
    static_head_m=40 * PSI_M,
    test_head_m=40 * PSI_M,
    test_flow_m3_s=10 * GPM_M3_S,
    pump=Pump(
        on_head_m=30 * PSI_M,
        off_head_m=50 * PSI_M,
        tank_m3=0.0757,
        pre_charge_head_m=28 * PSI_M,
        shut_off_head_m=62 * PSI_M,
    ),
)
BARREL = Supply(
    kind=SupplyKind.BARREL,
    static_head_m=1.8,
    test_head_m=0.0,
    test_flow_m3_s=6 * GPM_M3_S,
    falls_to_m=0.6,
)


def sets() -> list[frozenset[str]]:
    """Each zone alone, then more and more of them."""
    growing = [frozenset(NAMES[: i + 1]) for i in range(len(NAMES))]
    return [*(frozenset((name,)) for name in NAMES), *growing]


def alike(lines: Lines, zones: frozenset[str]) -> None:
    """Quick and whole agree, and the head at the tap is the curve's."""
    whole, quick = lines.open_set(zones), lines.zone_flows(zones)
    for name in zones:
        assert quick[name] == approx(whole.zones[name].flow_m3_s, rel=WITHIN)
    assert whole.tap_head_m == approx(lines.supply.head_m(whole.supply_flow_m3_s), abs=1e-6)


@pytest.mark.parametrize("supply", [REGULATOR, PUMP, BARREL], ids=["regulator", "pump", "barrel"])
def test_quick_and_whole_are_alike_on_every_kind_of_supply(supply: Supply) -> None:
    lines = Lines(a_garden(*ZONES, supply=supply))
    for zones in sets():
        alike(lines, zones)


@pytest.mark.parametrize("zones", sets(), ids=lambda zones: "+".join(sorted(zones)))
@pytest.mark.parametrize("beside_m", [-1e-3, -1e-9, 0.0, 1e-9, 1e-3])
def test_quick_and_whole_are_alike_at_the_kink_itself(
    zones: frozenset[str], beside_m: float
) -> None:
    garden = a_garden(*ZONES)
    at_m = 14.0
    flow = Lines(garden, corrections=Corrections(supply=held(at_m))).open_set(zones)
    # A regulator that drops out at the very flow of this set, or a hair beside it.
    kinked = SupplyCurve(
        static_head_m=18.0,
        test_head_m=at_m,
        test_flow_m3_s=flow.supply_flow_m3_s,
        exponent=1.0,
        limit=SupplyCurve(
            static_head_m=40.0, test_head_m=at_m + beside_m, test_flow_m3_s=flow.supply_flow_m3_s
        ),
    )
    lines = Lines(garden, corrections=Corrections(supply=kinked))
    alike(lines, zones)
    assert lines.open_set(zones).supply_flow_m3_s == approx(flow.supply_flow_m3_s, rel=1e-4)


@st.composite
def curves(draw: st.DrawFn) -> SupplyCurve:
    """Up to three curves, each from no lower a head than the one it limits."""
    static_m = draw(st.floats(2.0, 30.0))
    found: SupplyCurve | None = None
    heads = sorted((static_m + draw(st.floats(0.0, 30.0)) for _ in range(2)), reverse=True)
    for head_m in [*heads[: draw(st.integers(0, 2))], static_m]:
        found = SupplyCurve(
            static_head_m=head_m,
            test_head_m=head_m * (1.0 - draw(st.floats(1e-6, 1.0))),
            test_flow_m3_s=draw(st.floats(5e-5, 2e-3)),
            exponent=draw(st.sampled_from([1.0, 1.85, 2.0])),
            limit=found,
        )
    assert found is not None
    return found


@settings(max_examples=40)
@given(supply=curves(), order=st.permutations(NAMES))
def test_as_zones_are_added_all_take_more_and_each_no_more(
    supply: SupplyCurve, order: list[str]
) -> None:
    lines = Lines(a_garden(*ZONES), corrections=Corrections(supply=supply))
    before: dict[str, float] = {}
    head_m, total = supply.static_head_m, 0.0
    for i in range(len(order)):
        zones = frozenset(order[: i + 1])
        alike(lines, zones)
        now = dict(lines.zone_flows(zones))
        for name, flow in before.items():
            assert now[name] <= flow * (1.0 + WITHIN)
        whole = lines.open_set(zones)
        assert whole.tap_head_m <= head_m + 1e-9
        assert whole.supply_flow_m3_s >= total * (1.0 - 1e-9)
        before, head_m, total = now, whole.tap_head_m, whole.supply_flow_m3_s


def test_a_pumps_flow_ranges_from_cut_in_to_cut_out() -> None:
    held_back = a_zone("elm", opening=Opening(loss_k=3e4))
    lines = Lines(a_garden(*ZONES, held_back, supply=PUMP))
    alone, many = frozenset(["elm"]), frozenset(NAMES)
    low, high = lines.flow_range(alone)
    # WORKED: a throttled row goes as the root of the pressure.
    assert (low / high) ** 2 == approx(30 / 50, rel=0.02)
    for found, psi in ((low, 30), (high, 50)):
        assert lines.flow_at_head(alone, psi * PSI_M) == approx(found, rel=1e-7)
    low, high = lines.flow_range(many)
    planned = sum(lines.zone_flows(many).values())
    assert lines.open_set(many).tap_head_m < 30 * PSI_M
    # More than the pump gives for long: no less than its curve, and a full tank's at first.
    assert low == approx(planned)
    assert high > 1.1 * planned


def test_an_untested_regulator_ranges_from_no_fall_to_twice_the_usual() -> None:
    untested = replace(REGULATOR, test_head_m=20 * PSI_M, test_assumed=True, before=None)
    lines = Lines(a_garden(*ZONES, supply=untested))
    low, high = lines.flow_range(frozenset(["ash"]))
    flow = lines.zone_flows(frozenset(["ash"]))["ash"]
    assert low < flow < high
    assert high == approx(lines.flow_at_head(frozenset(["ash"]), 25 * PSI_M), rel=1e-3)
    steep = replace(untested, test_head_m=15 * PSI_M)
    held_low = Lines(a_garden(*ZONES, supply=steep)).zone_flows(frozenset(["ash"]))
    assert low == approx(held_low["ash"], rel=1e-7)


def test_what_stands_at_most_is_the_full_barrel_and_the_tank_at_cut_out() -> None:
    def standing(supply: Supply | None) -> float:
        return Lines(a_garden(*ZONES, supply=supply)).most_standing_m

    assert standing(BARREL) == approx(1.8)
    assert standing(PUMP) == approx(50 * PSI_M)
    assert standing(None) == approx(50 * PSI_M)


def test_a_limit_below_what_it_limits_is_refused() -> None:
    with pytest.raises(ValueError, match="at least as high as the supply itself"):
        held(20.0, held(19.0))


def test_the_planning_curve_has_no_limit_where_nobody_tested_the_mains() -> None:
    unknown = replace(REGULATOR, before=BeforeRegulator(static_head_m=50 * PSI_M))
    assert planning_curve(unknown).limit is None
    assert planning_curve(REGULATOR).limit is not None


def test_a_stream_and_a_flow_alone_are_met_behind_a_pump() -> None:
    garden: Garden = a_garden(
        a_zone("ash", opening=Opening(alone_flow_m3_s=5e-5)),
        a_zone("bay", opening=Opening(reach_m=0.61, reach_drop_m=0.15)),
        supply=PUMP,
    )
    lines = Lines(garden)
    assert lines.open_set(frozenset(["ash"])).supply_flow_m3_s == approx(5e-5, rel=1e-6)
    assert lines.open_set(frozenset(["bay"])).supply_flow_m3_s > 0.0


@pytest.mark.parametrize("supply", [BARREL, PUMP], ids=["barrel", "pump"])
def test_a_row_that_lets_in_air_ranges_with_its_supply_too(supply: Supply) -> None:
    # Throttled to where the first holes of a falling row stand above the grade line.
    loss_k = 2e3 if supply is BARREL else 6e4
    falling = a_zone(
        "elm", a_row(length_m=6.1, far_height_m=-1.0), rise_m=0.5, opening=Opening(loss_k=loss_k)
    )
    garden, zones = a_garden(falling, supply=supply), frozenset(["elm"])
    lines, states = Lines(garden), supply_states(supply)
    assert any(row.air_at for row in lines.open_set(zones).zones["elm"].rows)
    found = lines.flow_range(zones)
    for flow, curve in zip(found, (states.end, states.start), strict=True):
        held_there = Lines(
            garden,
            corrections=Corrections(supply=curve, valve_k={"elm": lines.valve_loss_k("elm")}),
        )
        assert flow == approx(held_there.open_set(zones).supply_flow_m3_s, rel=1e-4)
    assert found[0] < lines.zone_flows(zones)["elm"] < found[1]
