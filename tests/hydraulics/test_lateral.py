"""One lateral marched from its closed end."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.hydraulics_rows import Hole, Lateral, lateral_flow, torricelli_m3_s
from support.hydraulics_trees import Outlet, Span, solve_tree

from controller.errors import InputError
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.physics.pipe import WATER_TEMP_C, head_loss_m, viscosity_m2_s

heads = st.floats(0.02, 40.0)


@st.composite
def laterals(draw: st.DrawFn, level: bool = False) -> Lateral:
    """A row of 2 to 50 holes; not level unless asked."""
    count = draw(st.integers(2, 50))
    every_m = draw(st.sampled_from([0.0, 0.0762, 0.1524, 0.5]))
    bore_m = draw(st.sampled_from([0.0012, 0.0015875, 0.003]))
    heights = [0.0] * count
    if not level:
        heights = draw(st.lists(st.floats(-0.2, 0.2), min_size=count, max_size=count))
    return Lateral(
        bore_m=draw(st.sampled_from([0.01529, 0.02042])),
        holes=tuple(
            Hole(x_m=0.07 + i * every_m, z_m=z_m, bore_m=bore_m, discharge_coefficient=0.8)
            for i, z_m in enumerate(heights)
        ),
    )


@given(laterals(), heads)
@settings(max_examples=60)
def test_each_stretch_loses_the_head_of_the_water_still_passing(
    lateral: Any, head_m: float
) -> None:
    flow = lateral_flow(lateral, head_m)
    nu = viscosity_m2_s(WATER_TEMP_C)
    passing, near_m, at_m = sum(flow.hole_flows_m3_s), head_m, 0.0
    assert passing == pytest.approx(flow.flow_m3_s, rel=1e-12)
    for hole, head, q in zip(lateral.holes, flow.hole_heads_m, flow.hole_flows_m3_s, strict=True):
        lost = head_loss_m(
            flow_m3_s=max(passing, 0.0),
            length_m=hole.x_m - at_m,
            bore_m=lateral.bore_m,
            viscosity_m2_s=nu,
        )
        assert near_m - head == pytest.approx(lost, abs=1e-7)
        passing, near_m, at_m = passing - q, head, hole.x_m


@given(laterals(), heads)
@settings(max_examples=60)
def test_each_hole_keeps_its_law(lateral: Any, head_m: float) -> None:
    flow = lateral_flow(lateral, head_m)
    for hole, at_m, q in zip(lateral.holes, flow.hole_heads_m, flow.hole_flows_m3_s, strict=True):
        law = torricelli_m3_s(
            head_over_hole_m=at_m - hole.z_m,
            bore_m=hole.bore_m,
            discharge_coefficient=hole.discharge_coefficient,
        )
        # A micrometre of head about the grade line is left to rounding.
        floor = torricelli_m3_s(head_over_hole_m=1e-6, bore_m=hole.bore_m, discharge_coefficient=1)
        assert q == pytest.approx(law, rel=1e-6, abs=floor)
        assert q >= 0.0


def test_a_row_that_has_used_up_its_head_is_still_solved() -> None:
    # Forty 3 mm holes half a metre apart on 1/2 in pipe under two centimetres: by the far end the
    # head is far below a micrometre, and no end head a computer holds marches back to the inlet.
    holes = tuple(
        Hole(x_m=0.07 + 0.5 * i, z_m=0.013, bore_m=0.003, discharge_coefficient=0.8)
        for i in range(41)
    )
    flow = lateral_flow(Lateral(bore_m=0.01529, holes=holes), 0.0345)
    assert all(near >= far for near, far in pairwise(flow.hole_flows_m3_s))
    assert 1e-6 < flow.hole_flows_m3_s[0] < 5e-6
    assert flow.hole_flows_m3_s[-1] < 1e-3 * flow.hole_flows_m3_s[0]


@given(laterals(level=True), heads)
@settings(max_examples=60)
def test_head_never_rises_toward_the_closed_end_of_a_level_line(
    lateral: Any, head_m: float
) -> None:
    at_m = (head_m, *lateral_flow(lateral, head_m).hole_heads_m)
    assert all(near + 1e-10 >= far for near, far in pairwise(at_m))


@given(laterals(), heads)
@settings(max_examples=60)
def test_the_march_and_the_network_agree(lateral: Any, head_m: float) -> None:
    # A tap that keeps its head whatever is drawn: 1 mm lost at 1 m3/s.
    stiff = SupplyCurve(static_head_m=head_m, test_head_m=head_m - 1e-3, test_flow_m3_s=1.0)
    spans, outlets, before, at_m = [], [], "tap", 0.0
    for i, hole in enumerate(lateral.holes):
        spans.append(
            Span(
                upstream=before,
                downstream=str(i),
                length_m=hole.x_m - at_m,
                bore_m=lateral.bore_m,
            )
        )
        before, at_m = str(i), hole.x_m
        outlets.append(
            Outlet(
                node=before,
                z_m=hole.z_m,
                bore_m=hole.bore_m,
                discharge_coefficient=hole.discharge_coefficient,
            )
        )
    tree = solve_tree(supply=stiff, spans=spans, outlets=outlets)
    march = lateral_flow(lateral, head_m)
    largest = max(march.hole_flows_m3_s, default=0.0)
    assert tree.outlet_flows_m3_s == pytest.approx(
        march.hole_flows_m3_s, rel=1e-4, abs=1e-4 * largest + 1e-9
    )


def test_an_inlet_below_every_hole_gives_nothing() -> None:
    hole = Hole(x_m=0.1, z_m=0.5, bore_m=0.002, discharge_coefficient=0.8)
    flow = lateral_flow(Lateral(bore_m=0.02, holes=(hole,)), 0.4)
    assert flow.flow_m3_s == 0.0
    assert flow.hole_heads_m == (0.4,)


def test_a_lateral_without_holes_gives_nothing() -> None:
    assert lateral_flow(Lateral(bore_m=0.02, holes=()), 3.0).flow_m3_s == 0.0


def test_two_holes_at_one_place_give_the_same() -> None:
    hole = Hole(x_m=1.0, z_m=0.0, bore_m=0.0015875, discharge_coefficient=0.8)
    flow = lateral_flow(Lateral(bore_m=0.02, holes=(hole, hole)), 2.0)
    assert flow.hole_flows_m3_s[0] == flow.hole_flows_m3_s[1] > 0.0


def test_holes_out_of_order_are_refused() -> None:
    far = Hole(x_m=1.0, z_m=0.0, bore_m=0.002, discharge_coefficient=0.8)
    near = Hole(x_m=0.5, z_m=0.0, bore_m=0.002, discharge_coefficient=0.8)
    with pytest.raises(InputError, match="in order from the inlet"):
        Lateral(bore_m=0.02, holes=(far, near))


def test_the_low_far_end_of_a_falling_row_may_stand_above_its_inlet_pressure() -> None:
    holes = tuple(
        Hole(x_m=0.15 * i, z_m=-0.02 * i, bore_m=0.0015875, discharge_coefficient=0.8)
        for i in range(1, 9)
    )
    flow = lateral_flow(Lateral(bore_m=0.0204, holes=holes), 0.3)
    assert flow.hole_flows_m3_s[-1] == max(flow.hole_flows_m3_s)
