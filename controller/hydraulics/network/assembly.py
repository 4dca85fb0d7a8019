"""The garden's pipes as a tree to solve: the main, then each zone's valve and rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi

from controller.garden.model import Zone
from controller.garden.plumbing import Row
from controller.hydraulics.network.geometry import DrilledHole, law_of, mouths_of
from controller.hydraulics.network.lateral import LateralFlow, solve_lateral
from controller.hydraulics.network.main_tree import MainTree
from controller.hydraulics.network.results import HoleFlow, RowFlow
from controller.hydraulics.network.tree_solver import Tree
from controller.hydraulics.network.uniformity import flow_variation, low_quarter_uniformity
from controller.hydraulics.physics.orifice import Water
from controller.units import GRAVITY_M_S2

# Suction below this is rounding: no air. [m]
_SUCKS_M = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNodes:
    """A row in the tree: the node at each hole, and the tree's number of each open one."""

    inlet: int
    nodes: tuple[int, ...]
    numbers: tuple[int | None, ...]


def add_main(tree: Tree, main: MainTree, zones: Iterable[Zone]) -> dict[str, int]:
    """Add to an empty tree the part of the main that leads to some zones; gives their nodes."""
    places = {zone.name: main.place(zone) for zone in zones}
    stretches, now = main.leading_to(set(places.values()))
    for one in stretches:
        tree.add_span(one.above, one.length_m, one.pipe.bore_m, one.pipe.roughness_m, one.loss_k)
    return {name: now[place] for name, place in places.items()}


def add_valve(tree: Tree, zone: Zone, station: int, loss_k: float) -> int:
    """Add a zone's valve below a station; its loss is on the velocity in the first row's pipe."""
    pipe = zone.rows[0].pipe
    return tree.add_span(station, 0.0, pipe.bore_m, pipe.roughness_m, loss_k)


def valve_loss(zone: Zone, loss_k: float) -> float:
    """Head lost in a zone's valve and take-off at 1 m3/s; it grows as the flow squared.

    Parameters
    ----------
    zone : Zone
        The zone.
    loss_k : float
        Loss coefficient, on the velocity in its first row's pipe. [-]

    Returns
    -------
    float
        Head over the square of the flow. [m/(m3/s)2]

    Source
    ------
    K V2/2g with V = 4Q/(pi D2).
    """
    bore_m = zone.rows[0].pipe.bore_m
    return 8.0 * loss_k / (pi**2 * GRAVITY_M_S2 * bore_m**4)


def add_row(
    tree: Tree, row: Row, holes: Sequence[DrilledHole], inlet: int, water: Water
) -> RowNodes:
    """Add a row below a node, with its open holes; nothing is added beyond the last open hole."""
    open_to = max((i + 1 for i, hole in enumerate(holes) if not hole.plugged), default=0)
    node, at_m = inlet, 0.0
    nodes: list[int] = []
    numbers: list[int | None] = []
    for hole in holes[:open_to]:
        if node == inlet or hole.x_m > at_m:  # a stretch of its own, if of no length
            node = tree.add_span(node, hole.x_m - at_m, row.pipe.bore_m, row.pipe.roughness_m, 0.0)
            at_m = hole.x_m
        nodes.append(node)
        numbers.append(None if hole.plugged else tree.add_hole(node, hole.z_m, law_of(hole, water)))
    beyond = len(holes) - open_to
    return RowNodes(
        inlet=inlet,
        nodes=(*nodes, *[node] * beyond),
        numbers=(*numbers, *[None] * beyond),
    )


def row_flow(
    holes: Sequence[DrilledHole],
    nodes: RowNodes,
    inlet_head_m: float,
    heads: Sequence[float],
    flows: Sequence[float],
    speeds_m: Mapping[int, float],
    *,
    vented: bool,
) -> RowFlow:
    """One row of the answer; `air_at` has the holes that would draw in air in a full pipe."""
    found: list[HoleFlow] = []
    for hole, node, number in zip(holes, nodes.nodes, nodes.numbers, strict=True):
        speed_m = 0.0 if number is None else speeds_m.get(number, 0.0)
        flow_m3_s = 0.0 if number is None else flows[number]
        head_m = inlet_head_m if node < 0 else heads[node]
        found.append(_hole_flow(hole, head_m - speed_m, flow_m3_s))
    air_at: list[int] = []
    passing = 0.0
    for i in range(len(holes) - 1, -1, -1):
        hole = holes[i]
        runs_on = vented and not hole.plugged and passing > 0.0
        if runs_on and heads[nodes.nodes[i]] < hole.floor_m - _SUCKS_M:
            air_at.insert(0, i)
        passing += found[i].flow_m3_s
    return _row_of(found, inlet_head_m, air_at)


def solve_row(
    row: Row, holes: Sequence[DrilledHole], inlet_head_m: float, water: Water
) -> LateralFlow:
    """Flows of a row's open holes, in their order, at a total head at its inlet. [m]"""
    return solve_lateral(
        row.pipe.bore_m,
        row.pipe.roughness_m,
        mouths_of(holes, water),
        inlet_head_m,
        vented=water.effects.vented,
        viscosity_m2_s=water.viscosity_m2_s,
    )


def marched_row(
    row: Row, holes: Sequence[DrilledHole], inlet_head_m: float, water: Water
) -> RowFlow:
    """One row at a total head at its inlet [m], solved by itself, with the air its holes let in."""
    free = [i for i, hole in enumerate(holes) if not hole.plugged]
    marched = solve_row(row, holes, inlet_head_m, water)
    place = {i: k for k, i in enumerate(free)}
    found = [
        _hole_flow(
            hole,
            hole.z_m + marched.hole_overs_m[place[i]],
            marched.hole_flows_m3_s[place[i]],
        )
        if i in place
        else _hole_flow(hole, inlet_head_m, 0.0)
        for i, hole in enumerate(holes)
    ]
    return _row_of(found, inlet_head_m, [free[k] for k in marched.air_at])


def scaled(row: RowFlow, factor: float) -> RowFlow:
    """The same row with all its flows multiplied by a factor."""
    return replace(
        row,
        flow_m3_s=factor * row.flow_m3_s,
        holes=tuple(replace(hole, flow_m3_s=factor * hole.flow_m3_s) for hole in row.holes),
    )


def _hole_flow(hole: DrilledHole, head_m: float, flow_m3_s: float) -> HoleFlow:
    return HoleFlow(
        number=hole.number,
        x_m=hole.x_m,
        z_m=hole.z_m,
        bore_m=hole.bore_m,
        head_m=head_m,
        flow_m3_s=flow_m3_s,
        plugged=hole.plugged,
        kind=hole.kind,
    )


def _row_of(holes: Sequence[HoleFlow], inlet_head_m: float, air_at: Sequence[int]) -> RowFlow:
    evenness, variation = evenness_of(holes)
    return RowFlow(
        flow_m3_s=sum(hole.flow_m3_s for hole in holes),
        inlet_head_m=inlet_head_m,
        evenness=evenness,
        variation=variation,
        holes=tuple(holes),
        air_at=tuple(air_at),
    )


def evenness_of(holes: Iterable[HoleFlow]) -> tuple[float, float]:
    """Uniformity and variation of the open holes without drain holes; 0 and 0 for none."""
    flows = [hole.flow_m3_s for hole in holes if hole.kind == "hole" and not hole.plugged]
    if not flows:
        return 0.0, 0.0
    return low_quarter_uniformity(flows), flow_variation(flows)
