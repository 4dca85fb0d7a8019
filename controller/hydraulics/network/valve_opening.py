"""Loss coefficient of a zone's valve, from its handle, or a flow or stream seen alone.

The turn of a handle is looked up in a table. A flow, or a stream at the first hole, is traced back
through the rows to the head behind the valve. The valve loses the difference to the head that
supply and main leave.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf, pi

from controller.errors import InputError, require_range
from controller.garden.model import Zone
from controller.garden.plumbing import Face, Opening, Row, Walls
from controller.garden.show import show_about
from controller.hydraulics.network.assembly import (
    RowNodes,
    add_main,
    add_row,
    add_valve,
    marched_row,
    row_flow,
    valve_loss,
)
from controller.hydraulics.network.geometry import DrilledHole, coefficient_at, height_m
from controller.hydraulics.network.main_tree import TAP, MainTree
from controller.hydraulics.network.results import RowFlow
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.network.tree_solver import Tree
from controller.hydraulics.physics.jets import (
    head_from_height_m,
    head_from_reach_m,
    reach_m,
    velocity_coefficient,
)
from controller.hydraulics.physics.jets import height_m as stream_height_m
from controller.hydraulics.physics.orifice import Water
from controller.hydraulics.physics.pipe import loss_k_at, unknown_loss_k
from controller.units import GRAVITY_M_S2, gal_min_from_m3_s, l_min_from_m3_s

Holes = Sequence[Sequence[DrilledHole]]
# A mouth this far above the pipe's middle line looks up. [m]
_LOOKS_UP_M = 1e-4


def seen_hole(
    zone: Zone, holes_as_laid: Holes, *, turned: bool, up: bool
) -> tuple[int, int, Holes]:
    """Row and place of the hole that was looked at, and the holes as the pipe lay then."""
    with_holes = [any(map(is_open, row)) for row in holes_as_laid]
    if True not in with_holes:
        raise InputError(f'zone "{zone.name}": a stream was seen, but all its holes are plugged')
    number = with_holes.index(True)
    row = zone.rows[number]
    holes = list(holes_as_laid)
    if turned:
        holes[number] = _turned(holes[number], row, zone.rise_m, Face.UP if up else Face.SIDE)
    for place, hole in enumerate(holes[number]):
        over_axis_m = hole.z_m - zone.rise_m - height_m(row, hole.x_m)
        looks_up, looks_level = over_axis_m > _LOOKS_UP_M, abs(over_axis_m) <= _LOOKS_UP_M
        if is_open(hole) and (looks_up if up else looks_level):
            return number, place, holes
    asked = "up" if up else "level to the side"
    raise InputError(
        f'zone "{zone.name}", opening: a stream is read from a hole that looks {asked}, and '
        f"those of its row {number + 1} look {row.drilling.face}: turn the pipe to look, "
        "turn it back, and add turned = true to the opening"
    )


def is_open(hole: DrilledHole) -> bool:
    """Whether a hole is a hole of the pattern (no drain hole) and not plugged."""
    return hole.kind == "hole" and not hole.plugged


def _turned(
    holes: Sequence[DrilledHole], row: Row, rise_m: float, now: Face
) -> tuple[DrilledHole, ...]:
    """The holes of a row whose pipe is turned about its axis until they face up or level."""
    was, radius_m = row.drilling.face, row.pipe.outside_m / 2.0
    if was is now:
        return tuple(holes)
    turned = []
    for hole in holes:
        axis_m = rise_m + height_m(row, hole.x_m)
        offset_m = 0.0  # level; drain holes also come to lie level when the others are turned up
        if now is Face.UP and was is Face.DOWN:
            offset_m = axis_m - hole.z_m
        elif now is Face.UP and hole.kind == "hole":
            far_wall = row.drilling.walls is Walls.BOTH and hole.number % 2 == 0
            offset_m = -radius_m if far_wall else radius_m
        turned.append(replace(hole, z_m=axis_m + offset_m))
    return tuple(turned)


_MOST_STEPS, _MET_M = 200, 1e-10
_SEEN_STEPS = 12
_LEAST_COEFFICIENT = 0.1  # for a stream 1 mm high, which is none


def unknown_k(zone: Zone, holes: Holes) -> float:
    """Middle of the range of loss of a throttled valve, by the holes behind it.

    Parameters
    ----------
    zone : Zone
        The zone.
    holes : sequence of sequences of DrilledHole
        Its holes, row by row.

    Returns
    -------
    float
        Loss coefficient over that of the take-off; 0 where nothing flows. [-]

    Source
    ------
    `pipe.unknown_loss_k`.
    """
    holes_m2 = sum(pi / 4.0 * hole.bore_m**2 for row in holes for hole in row if is_open(hole))
    if holes_m2 <= 0.0:
        return 0.0
    return unknown_loss_k(holes_m2=holes_m2, bore_m=zone.rows[0].pipe.bore_m)[1]


class Alone:
    """One zone open by itself: supply, main, valve and the zone's holes."""

    def __init__(
        self,
        zone: Zone,
        holes: Holes,
        *,
        supply: SupplyCurve,
        main: MainTree,
        water: Water,
        us_units: bool = False,
    ) -> None:
        self.zone, self._holes, self._supply, self._us = zone, holes, supply, us_units
        self._main, self._water = main, water

    def loss_k(self) -> float:
        """Loss coefficient of take-off and valve together, on the velocity in the first row's pipe.

        Returns
        -------
        float
            Loss coefficient. [-]

        Raises
        ------
        InputError
            If the handle stands near shut, a stream cannot come from these holes, or the flow or
            stream seen is more than the zone gives with its valve full open.
        OutOfRange
            If a figure is outside its range.

        Source
        ------
        pipe.py for the turn of a handle and for an unknown valve; else the loss that leaves the
        rows the head they need for the flow or stream seen.
        """
        zone, opening = self.zone, self.zone.opening
        if opening.unknown:
            return zone.take_off_k + unknown_k(zone, self._holes)
        if opening.alone_flow_m3_s is not None:
            return self._k_from_flow(opening.alone_flow_m3_s)
        if opening.stream_m is not None or opening.reach_m is not None:
            return self._k_from_stream(opening)
        if opening.loss_k is not None:
            return zone.take_off_k + require_range("loss_k", opening.loss_k, 0.0, 1e12)
        try:
            return zone.take_off_k + loss_k_at(opening.angle_deg or 0.0)
        except InputError as error:
            raise InputError(f'zone "{zone.name}": {error}') from error

    def flow_m3_s(self, loss_k: float) -> float:
        """Flow of the zone alone with a loss coefficient of take-off and valve together.

        Parameters
        ----------
        loss_k : float
            Loss coefficient, on the velocity in the first row's pipe. [-]

        Returns
        -------
        float
            Flow. [m3/s]

        Raises
        ------
        NoSolution
            If the flows do not settle.

        Source
        ------
        tree_solver.py; lateral.py where the holes let air in.
        """
        return _sum(self._rows_with(self._holes, loss_k))

    def _k_from_flow(self, alone_flow_m3_s: float) -> float:
        flow = require_range("alone_flow_m3_s", alone_flow_m3_s, 1e-9, 1.0)
        if all(hole.plugged for row in self._holes for hole in row):
            raise InputError(
                f'zone "{self.zone.name}": a flow was measured, but all its holes are plugged'
            )
        needed_m = self._needed_m(flow)
        loss_k = self._k_that_leaves(flow, needed_m)
        if self._is_too_open(loss_k):
            raise InputError(self._too_much(flow))
        return max(loss_k, self.zone.take_off_k)

    def _k_from_stream(self, opening: Opening) -> float:
        """Loss from a stream: head at its hole, head behind the valve, then flow and loss."""
        zone, up = self.zone, opening.stream_m is not None
        row_number, hole_number, holes = seen_hole(zone, self._holes, turned=opening.turned, up=up)
        hole = holes[row_number][hole_number]
        wall_m = zone.rows[row_number].pipe.wall_m
        over_m, coefficient = self._seen_over_m(opening, hole, wall_m)
        wanted_m = hole.z_m + over_m

        def at_hole(behind_m: float) -> tuple[float, float]:
            """Head that drives the hole, and the flow, with a head held behind the valve."""
            rows = self._rows_at(holes, behind_m)
            return rows[row_number].holes[hole_number].head_m, _sum(rows)

        # The first open hole may lie a little way into the row, or far along it behind plugs.
        most_m = self._supply.static_head_m
        if wanted_m < most_m and at_hole(most_m)[0] >= wanted_m:
            _, flow, behind_m = _meet(at_hole, wanted_m, wanted_m, most_m)
            loss_k = self._k_that_leaves(flow, behind_m)
            if not self._is_too_open(loss_k):
                return max(loss_k, zone.take_off_k)
        raise InputError(self._too_tall(opening, holes, row_number, hole_number, coefficient))

    def _seen_over_m(
        self, opening: Opening, hole: DrilledHole, wall_m: float
    ) -> tuple[float, float]:
        """Head over a hole for the stream that was seen, and its velocity coefficient there."""
        over_m, coefficient = 0.0, 1.0
        for _ in range(_SEEN_STEPS):  # slow water has a smaller coefficient, so the head is larger
            found = coefficient_at(hole, self._water, over_m)
            coefficient = velocity_coefficient(
                discharge_coefficient=min(1.0, max(_LEAST_COEFFICIENT, found)),
                wall_m=wall_m,
                bore_m=hole.bore_m,
            )
            if opening.stream_m is not None:
                over_m = head_from_height_m(
                    height_m=opening.stream_m, velocity_coefficient=coefficient
                )
            else:
                over_m = head_from_reach_m(
                    reach_m=opening.reach_m or 0.0,
                    drop_m=opening.reach_drop_m or 0.0,
                    velocity_coefficient=coefficient,
                )
        return over_m, coefficient

    def _k_that_leaves(self, flow_m3_s: float, behind_m: float) -> float:
        """Head that supply and main leave at this flow, less the head behind the valve."""
        left_m = self._left_m(flow_m3_s)
        if flow_m3_s <= 0.0:
            return inf if left_m > behind_m else -inf
        return (left_m - behind_m) / (valve_loss(self.zone, 1.0) * flow_m3_s**2)

    def _left_m(self, flow_m3_s: float) -> float:
        """Head that supply and main leave before the take-off at a flow. [m]"""
        return self._supply.head_m(flow_m3_s) - self._main.loss_m(
            to=self._main.place(self.zone),
            flow_m3_s=flow_m3_s,
            viscosity_m2_s=self._water.viscosity_m2_s,
        )

    def _is_too_open(self, loss_k: float) -> bool:
        """Whether a loss is less than that of the full open valve by more than rounding."""
        return loss_k < self.zone.take_off_k * (1.0 - 1e-6) - 1e-6

    def _needed_m(self, flow_m3_s: float) -> float:
        """The head behind the valve that drives a flow through the rows."""
        tree = self._new_tree()
        nodes = self._add_rows(tree, TAP, self._holes)
        needed_m, heads, spans, flows = tree.solve_for_flow(flow_m3_s, self._supply.static_head_m)
        rows = self._rows_of(self._holes, nodes, needed_m, heads, spans, flows, tree)
        most_m = self._supply.static_head_m
        if not any(row.air_at for row in rows) or needed_m >= most_m:
            return needed_m

        def share(behind_m: float) -> tuple[float, float]:
            """Part of the flow that a head drives, and that flow."""
            found = _sum(self._rows_at(self._holes, behind_m))
            return found / flow_m3_s, found

        if share(most_m)[0] <= 1.0:
            return most_m
        return _meet(share, 1.0, needed_m, most_m)[2]

    def _rows_at(self, holes: Holes, behind_m: float) -> list[RowFlow]:
        """The rows with a head held behind the valve; each by itself where air is sucked in."""
        tree = self._new_tree()
        nodes = self._add_rows(tree, TAP, holes)
        _, heads, spans, flows = tree.solve(behind_m, 0.0, 2.0)
        rows = self._rows_of(holes, nodes, behind_m, heads, spans, flows, tree)
        if not any(row.air_at for row in rows):
            return rows
        return [
            marched_row(row, row_holes, behind_m, self._water)
            for row, row_holes in zip(self.zone.rows, holes, strict=True)
        ]

    def _rows_with(self, holes: Holes, loss_k: float) -> list[RowFlow]:
        """The rows of the whole line, with a loss of take-off and valve."""
        tree = self._new_tree()
        station = add_main(tree, self._main, [self.zone])[self.zone.name]
        valve = add_valve(tree, self.zone, station, loss_k)
        nodes = self._add_rows(tree, valve, holes)
        supply = self._supply
        _, heads, spans, flows = tree.solve(*supply.law)
        rows = self._rows_of(holes, nodes, heads[valve], heads, spans, flows, tree)
        if not any(row.air_at for row in rows):
            return rows
        loss = valve_loss(self.zone, loss_k)

        def too_high_m(behind_m: float) -> tuple[float, float]:
            """Excess of a head behind the valve over the head that the line leaves there."""
            flow = _sum(self._rows_at(holes, behind_m))
            return behind_m - self._left_m(flow) + loss * flow * flow, flow

        lowest_m = min(hole.z_m for row in holes for hole in row if not hole.plugged)
        _, _, behind_m = _meet(too_high_m, 0.0, lowest_m, supply.static_head_m)
        return self._rows_at(holes, behind_m)

    def _add_rows(self, tree: Tree, inlet: int, holes: Holes) -> list[RowNodes]:
        """Add the rows below a node."""
        return [
            add_row(tree, row, row_holes, inlet, self._water)
            for row, row_holes in zip(self.zone.rows, holes, strict=True)
        ]

    def _rows_of(
        self,
        holes: Holes,
        nodes: Sequence[RowNodes],
        behind_m: float,
        heads: Sequence[float],
        spans: Sequence[float],
        flows: Sequence[float],
        tree: Tree,
    ) -> list[RowFlow]:
        """The rows of a tree as solved."""
        speeds_m, vented = tree.speed_heads_m(spans, flows), self._water.effects.vented
        return [
            row_flow(row_holes, row_nodes, behind_m, heads, flows, speeds_m, vented=vented)
            for row_holes, row_nodes in zip(holes, nodes, strict=True)
        ]

    def _new_tree(self) -> Tree:
        return Tree(viscosity_m2_s=self._water.viscosity_m2_s, gravity_m_s2=GRAVITY_M_S2)

    def _too_much(self, flow_m3_s: float) -> str:
        """Why a zone cannot give the flow that was measured."""
        most = self.flow_m3_s(self.zone.take_off_k)
        tap_gives = self._supply.flow_m3_s(0.0)
        reason = (
            f"the flow test says that even the bare tap gives no more than {self._shown(tap_gives)}"
            if flow_m3_s > tap_gives
            else "the supply, the main and the holes let no more through; measure the pressure "
            "and the flow of the tap again, and the drill"
        )
        return (
            f'zone "{self.zone.name}": {self._shown(flow_m3_s)} measured with only this zone open, '
            f"but with its valve full open it gives at most {self._shown(most)}: {reason}"
        )

    def _too_tall(
        self, opening: Opening, holes: Holes, row: int, place: int, coefficient: float
    ) -> str:
        """Why the supply cannot throw the stream that was seen."""
        at_hole = self._rows_with(holes, self.zone.take_off_k)[row].holes[place]
        over_m = at_hole.head_m - at_hole.z_m
        if opening.stream_m is not None:
            seen = f"a stream {show_about(opening.stream_m, self._us)} high"
            most_m = stream_height_m(head_m=over_m, velocity_coefficient=coefficient)
        else:
            seen = f"a stream reaching {show_about(opening.reach_m or 0.0, self._us)}"
            most_m = reach_m(
                head_m=over_m,
                drop_m=opening.reach_drop_m or 0.0,
                velocity_coefficient=coefficient,
            )
        most = f"at most {show_about(most_m, self._us)}" if most_m > 0.0 else "none"
        return (
            f'zone "{self.zone.name}", opening: {seen} at its first hole with only this zone open, '
            f"but with its valve full open the supply throws {most} there: measure the stream "
            "again, and the pressure and flow of the tap"
        )

    def _shown(self, flow_m3_s: float) -> str:
        """A flow in the gardener's unit."""
        if self._us:
            return f"{gal_min_from_m3_s(flow_m3_s):.2f} gal/min"
        return f"{l_min_from_m3_s(flow_m3_s):.2f} L/min"


def _meet(
    at: Callable[[float], tuple[float, float]], wanted: float, low: float, high: float
) -> tuple[float, float, float]:
    """Argument and both results of a rising function whose first result meets the wanted value."""
    low_miss, high_miss = at(low)[0] - wanted, at(high)[0] - wanted
    met, flow = at(high)
    found = high
    for step in range(_MOST_STEPS):
        found = 0.5 * (low + high)
        if step % 3 and high_miss > low_miss:
            found = (low * high_miss - high * low_miss) / (high_miss - low_miss)
        if not low < found < high:
            found = 0.5 * (low + high)
        met, flow = at(found)
        miss = met - wanted
        if abs(miss) <= _MET_M or not low < found < high:
            break
        if miss > 0.0:
            high, high_miss = found, miss
        else:
            low, low_miss = found, miss
    return met, flow, found


def _sum(rows: Sequence[RowFlow]) -> float:
    return sum(row.flow_m3_s for row in rows)
