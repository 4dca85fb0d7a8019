"""The tree: supply, spans, holes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.hydraulics_epanet import random_net
from support.hydraulics_rows import torricelli_m3_s
from support.hydraulics_trees import Outlet, Span, TreeFlow, solve_tree

from controller.errors import InputError, OutOfRange
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.physics.pipe import WATER_TEMP_C, head_loss_m, viscosity_m2_s

SUPPLY = SupplyCurve(static_head_m=35.0, test_head_m=17.5, test_flow_m3_s=5e-4)
MAIN = Span(upstream="tap", downstream="a", length_m=5.0, bore_m=0.026)
HOLE = Outlet(node="a", z_m=0.0, bore_m=0.0015875, discharge_coefficient=0.8)

seeds = st.integers(0, 10**6)


def net_flow(seed: int) -> tuple[Any, TreeFlow]:
    net = random_net(seed, most_holes=40)
    return net, solve_tree(supply=net.supply, spans=net.spans, outlets=net.outlets)


@given(seeds)
@settings(max_examples=40)
def test_no_water_is_made_or_lost_at_any_node(seed: int) -> None:
    net, flow = net_flow(seed)
    out = dict.fromkeys(flow.heads_m, 0.0)
    for span, q in zip(net.spans, flow.span_flows_m3_s, strict=True):
        out[span.downstream] -= q
        out[span.upstream] += q
    for outlet, q in zip(net.outlets, flow.outlet_flows_m3_s, strict=True):
        out[outlet.node] += q
    out["tap"] -= flow.supply_flow_m3_s
    assert max(abs(q) for q in out.values()) <= 1e-9 * max(flow.supply_flow_m3_s, 1e-12)


@given(seeds)
@settings(max_examples=40)
def test_open_lines_never_ask_more_than_the_supply_gives(seed: int) -> None:
    net, flow = net_flow(seed)
    assert flow.tap_head_m == pytest.approx(net.supply.head_m(flow.supply_flow_m3_s), abs=1e-6)
    assert flow.supply_flow_m3_s <= net.supply.flow_m3_s(-0.5)


@given(seeds)
@settings(max_examples=40)
def test_every_span_and_hole_keeps_its_law(seed: int) -> None:
    net, flow = net_flow(seed)
    nu = viscosity_m2_s(WATER_TEMP_C)
    for span, q in zip(net.spans, flow.span_flows_m3_s, strict=True):
        lost = head_loss_m(
            flow_m3_s=q,
            length_m=span.length_m,
            bore_m=span.bore_m,
            roughness_m=span.roughness_m,
            loss_k=span.loss_k,
            viscosity_m2_s=nu,
        )
        fall = flow.heads_m[span.upstream] - flow.heads_m[span.downstream]
        assert fall == pytest.approx(lost, abs=1e-6)
    for outlet, q in zip(net.outlets, flow.outlet_flows_m3_s, strict=True):
        law = torricelli_m3_s(
            head_over_hole_m=flow.heads_m[outlet.node] - outlet.z_m,
            bore_m=outlet.bore_m,
            discharge_coefficient=outlet.discharge_coefficient,
        )
        # A micrometre of head about the grade line is left to rounding.
        floor = torricelli_m3_s(
            head_over_hole_m=1e-6, bore_m=outlet.bore_m, discharge_coefficient=1
        )
        assert q == pytest.approx(law, rel=1e-5, abs=floor)
        assert q >= 0.0


@given(seeds)
@settings(max_examples=30)
def test_head_never_rises_along_the_flow(seed: int) -> None:
    net, flow = net_flow(seed)
    for span in net.spans:
        assert flow.heads_m[span.downstream] <= flow.heads_m[span.upstream] + 1e-9


@pytest.mark.slow
def test_three_hundred_hard_networks_settle() -> None:
    # Throttles to K 1e8, a centimetre of head, holes within 0.2 mm of the grade line.
    from random import Random

    for seed in range(300):
        rng, net = Random(seed), random_net(seed + 5000, most_holes=80)
        static_m = rng.choice([0.01, 0.05, 0.3, 1.0, 40.0])
        supply = SupplyCurve(
            static_head_m=static_m,
            test_head_m=0.3 * static_m,
            test_flow_m3_s=rng.uniform(1e-4, 1e-3),
            exponent=rng.choice([1.0, 1.85, 2.0]),
        )
        spans = [
            replace(span, loss_k=10 ** rng.uniform(1, 8))
            if span.length_m == 0 and rng.random() < 0.5
            else span
            for span in net.spans
        ]
        outlets = net.outlets
        if rng.random() < 0.3:
            outlets = tuple(replace(o, z_m=static_m - rng.uniform(0, 2e-4)) for o in outlets)
        flow = solve_tree(supply=supply, spans=spans, outlets=outlets)
        assert flow.tap_head_m == pytest.approx(supply.head_m(flow.supply_flow_m3_s), abs=1e-6)


def test_spans_may_come_in_any_order() -> None:
    spans = [MAIN, Span(upstream="a", downstream="b", length_m=2.0, bore_m=0.02)]
    outlets = [HOLE, replace(HOLE, node="b")]
    there = solve_tree(supply=SUPPLY, spans=spans, outlets=outlets)
    back = solve_tree(supply=SUPPLY, spans=spans[::-1], outlets=outlets)
    assert back.outlet_flows_m3_s == pytest.approx(there.outlet_flows_m3_s, rel=1e-12)
    assert back.span_flows_m3_s == pytest.approx(there.span_flows_m3_s[::-1], rel=1e-12)


def test_a_span_of_no_length_joins_its_ends() -> None:
    short = Span(upstream="a", downstream="b", length_m=0.0, bore_m=0.02)
    flow = solve_tree(supply=SUPPLY, spans=[MAIN, short], outlets=[replace(HOLE, node="b")])
    assert flow.heads_m["b"] == pytest.approx(flow.heads_m["a"], abs=1e-12)
    assert flow.supply_flow_m3_s > 0.0


def test_a_still_garden_stands_at_the_static_head() -> None:
    flow = solve_tree(supply=SUPPLY, spans=[MAIN], outlets=[])
    assert flow.supply_flow_m3_s == 0.0
    assert flow.tap_head_m == flow.heads_m["a"] == 35.0


def test_holes_above_the_static_head_stay_dry() -> None:
    flow = solve_tree(supply=SUPPLY, spans=[MAIN], outlets=[replace(HOLE, z_m=36.0)])
    assert flow.outlet_flows_m3_s == (0.0,)


def test_the_supply_passes_through_its_two_readings() -> None:
    assert SUPPLY.head_m(0.0) == 35.0
    assert SUPPLY.head_m(5e-4) == pytest.approx(17.5, abs=1e-12)
    assert SUPPLY.flow_m3_s(17.5) == pytest.approx(5e-4, rel=1e-12)


def test_a_bare_tap_gives_root_two_of_the_flow_at_half_head() -> None:
    # WORKED: 35 - 70e6 Q2 = 0 at Q = 5e-4 x sqrt(2).
    assert SUPPLY.flow_m3_s(0.0) == pytest.approx(5e-4 * 2**0.5, rel=1e-12)


def test_a_flow_test_above_the_still_reading_is_refused() -> None:
    with pytest.raises(InputError, match="less pressure than the still tap"):
        SupplyCurve(static_head_m=20.0, test_head_m=20.0, test_flow_m3_s=1e-4)


def test_a_loop_is_refused() -> None:
    loop = [MAIN, Span(upstream="a", downstream="tap", length_m=1.0, bore_m=0.02)]
    with pytest.raises(InputError, match="branch like a tree"):
        solve_tree(supply=SUPPLY, spans=loop, outlets=[])


def test_a_span_that_hangs_on_nothing_is_refused() -> None:
    with pytest.raises(InputError, match='"x" hangs on nothing'):
        solve_tree(
            supply=SUPPLY,
            spans=[MAIN, Span(upstream="x", downstream="y", length_m=1.0, bore_m=0.02)],
            outlets=[],
        )


def test_a_hole_nowhere_is_refused() -> None:
    with pytest.raises(InputError, match='"z", which no span reaches'):
        solve_tree(supply=SUPPLY, spans=[MAIN], outlets=[replace(HOLE, node="z")])


def test_a_hole_at_the_tap_is_refused() -> None:
    with pytest.raises(InputError, match="length 0"):
        solve_tree(supply=SUPPLY, spans=[MAIN], outlets=[replace(HOLE, node="tap")])


def test_a_negative_length_is_refused() -> None:
    with pytest.raises(OutOfRange, match="length_m"):
        solve_tree(supply=SUPPLY, spans=[replace(MAIN, length_m=-1.0)], outlets=[])
