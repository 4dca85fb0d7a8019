"""The garden's pipes as a tree to solve: the main, then each zone's valve and rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from controller.garden.model import Row, Zone
from controller.hydraulics.evenness import flow_variation, low_quarter_uniformity
from controller.hydraulics.flows import HoleFlow, RowFlow
from controller.hydraulics.gradient import Tree
from controller.hydraulics.maintree import MainTree
from controller.hydraulics.rowshape import DrilledHole


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNodes:
    """A row in the tree: the node at each hole, and the tree's number of each open one."""

    inlet: int
    nodes: tuple[int, ...]
    numbers: tuple[int | None, ...]


def add_main(tree: Tree, main: MainTree) -> None:
    """Add the main to an empty tree: the node at a place then has the place's own number."""
    for one in main.stretches:
        tree.add_span(one.above, one.length_m, one.pipe.bore_m, one.pipe.roughness_m, one.loss_k)


def add_valve(tree: Tree, zone: Zone, station: int, loss_k: float) -> int:
    """Add a zone's valve below a station; its loss is on the velocity in the first row's pipe."""
    pipe = zone.rows[0].pipe
    return tree.add_span(station, 0.0, pipe.bore_m, pipe.roughness_m, loss_k)


def add_row(tree: Tree, row: Row, holes: Sequence[DrilledHole], inlet: int) -> RowNodes:
    """Add a row below a node, with its open holes; nothing is added beyond the last open hole."""
    open_to = max((i + 1 for i, hole in enumerate(holes) if not hole.plugged), default=0)
    node, at_m = inlet, 0.0
    nodes: list[int] = []
    numbers: list[int | None] = []
    for hole in holes[:open_to]:
        if hole.x_m > at_m:
            node = tree.add_span(node, hole.x_m - at_m, row.pipe.bore_m, row.pipe.roughness_m, 0.0)
            at_m = hole.x_m
        nodes.append(node)
        numbers.append(
            None
            if hole.plugged
            else tree.add_hole(node, hole.z_m, hole.bore_m, hole.discharge_coefficient)
        )
    beyond = len(holes) - open_to
    return RowNodes(
        inlet=inlet,
        nodes=(*nodes, *[node] * beyond),
        numbers=(*numbers, *[None] * beyond),
    )


def row_flow(
    holes: Sequence[DrilledHole],
    nodes: RowNodes,
    heads: Sequence[float],
    flows: Sequence[float],
) -> RowFlow:
    """One row of the answer."""
    hole_flows = tuple(
        HoleFlow(
            number=hole.number,
            x_m=hole.x_m,
            z_m=hole.z_m,
            bore_m=hole.bore_m,
            head_m=heads[node],
            flow_m3_s=0.0 if number is None else flows[number],
            plugged=hole.plugged,
            kind=hole.kind,
        )
        for hole, node, number in zip(holes, nodes.nodes, nodes.numbers, strict=True)
    )
    evenness, variation = evenness_of(hole_flows)
    return RowFlow(
        flow_m3_s=sum(hole.flow_m3_s for hole in hole_flows),
        inlet_head_m=heads[nodes.inlet],
        evenness=evenness,
        variation=variation,
        holes=hole_flows,
    )


def evenness_of(holes: Iterable[HoleFlow]) -> tuple[float, float]:
    """Uniformity and variation of the open holes, drain holes apart; of none, 0 and 0."""
    flows = [hole.flow_m3_s for hole in holes if hole.kind == "hole" and not hole.plugged]
    if not flows:
        return 0.0, 0.0
    return low_quarter_uniformity(flows), flow_variation(flows)
