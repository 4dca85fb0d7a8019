"""The garden's pipes as a tree to solve: main with its tees, then each zone's valve and rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from controller.garden.model import Pipe, Row, Zone
from controller.hydraulics.evenness import flow_variation, low_quarter_uniformity
from controller.hydraulics.flows import HoleFlow, RowFlow
from controller.hydraulics.gradient import Tree
from controller.hydraulics.pipe import head_loss_m
from controller.hydraulics.rowshape import DrilledHole

# Fittings of the main, on its velocity: the run of the tee at each station (handbooks 0.2 to 0.9),
# and a sharp entrance before the first.
TEE_RUN_K = 0.4
ENTRANCE_K = 0.5

TAP = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNodes:
    """A row in the tree: the node at each hole, and the tree's number of each open one."""

    inlet: int
    nodes: tuple[int, ...]
    numbers: tuple[int | None, ...]


def add_main(tree: Tree, main: Pipe, stations_m: Sequence[float]) -> dict[float, int]:
    """Add the chain of stations, nearest first; gives the node of each. One at 0 is the tap."""
    node, nodes = TAP, {}
    for station_m, length_m, loss_k in stretches(stations_m):
        if length_m > 0.0:
            node = tree.add_span(node, length_m, main.bore_m, main.roughness_m, loss_k)
        nodes[station_m] = node
    return nodes


def main_loss_m(
    main: Pipe,
    stations_m: Sequence[float],
    *,
    to_m: float,
    flow_m3_s: float,
    viscosity_m2_s: float,
) -> float:
    """Head lost in the main by one flow from the tap to a station.

    Parameters
    ----------
    main : Pipe
        The main's pipe.
    stations_m : sequence of float
        Distances of all stations from the tap, nearest first. [m]
    to_m : float
        The station where the flow leaves. [m]
    flow_m3_s : float
        Flow. [m3/s]
    viscosity_m2_s : float
        Kinematic viscosity. [m2/s]

    Returns
    -------
    float
        Head lost. [m]

    Raises
    ------
    OutOfRange
        If the flow is not a number.

    Source
    ------
    pipe.py, stretch by stretch.
    """
    return sum(
        head_loss_m(
            flow_m3_s=flow_m3_s,
            length_m=length_m,
            bore_m=main.bore_m,
            roughness_m=main.roughness_m,
            loss_k=loss_k,
            viscosity_m2_s=viscosity_m2_s,
        )
        for station_m, length_m, loss_k in stretches(stations_m)
        if station_m <= to_m
    )


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


def stretches(stations_m: Sequence[float]) -> list[tuple[float, float, float]]:
    """Each station, the length of main before it, and the loss coefficient of that stretch."""
    stretches, at_m = [], 0.0
    for station_m in stations_m:
        length_m = station_m - at_m
        loss_k = (TEE_RUN_K if length_m > 0.0 else 0.0) + (
            ENTRANCE_K if at_m == 0.0 and length_m > 0.0 else 0.0
        )
        stretches.append((station_m, length_m, loss_k))
        at_m = station_m
    return stretches
