"""From the garden to its flows: what each hole of each zone gives when a set of zones is open."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from math import inf
from types import MappingProxyType
from typing import Any

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.hydraulics.network.assembly import (
    RowNodes,
    add_main,
    add_row,
    add_valve,
    evenness_of,
    marched_row,
    row_flow,
    scaled,
)
from controller.hydraulics.network.garden_curves import Curves, Need, quick_from
from controller.hydraulics.network.geometry import DrilledHole, drained_m3, drilled_holes, volume_m3
from controller.hydraulics.network.main_tree import TAP, MainTree
from controller.hydraulics.network.quick_flow import QuickFlow, ZoneLaw
from controller.hydraulics.network.results import HoleFlow, LineVolume, RowFlow, SetFlow, ZoneFlow
from controller.hydraulics.network.supplies import held, planning_curve, supply_states
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED, Corrections, SupplyCurve
from controller.hydraulics.network.tree_solver import Tree
from controller.hydraulics.network.valve_opening import Alone
from controller.hydraulics.physics.orifice import ALL_EFFECTS, Effects, Water, air_over_vapour_m
from controller.hydraulics.physics.pipe import viscosity_m2_s
from controller.units import GRAVITY_M_S2

__all__ = ["HoleFlow", "LineVolume", "Lines", "RowFlow", "SetFlow", "ZoneFlow"]


# Most sets remembered, as quick answers (some 1.4 kB each) and as exact trees, because a daemon
# meets new sets every morning of a season. Our choice: many mornings of sixty zones. Each zone
# alone, which every plan needs, is remembered in addition.
_MOST_QUICK, _MOST_WHOLE = 2048, 512


class Lines:
    """The lines of one garden. Answers are remembered, because plans ask for the same sets again.

    `beside` are lines of the same garden with almost the same corrections: like holes are taken
    from them, and the solution of a set starts from their flows where they have solved it.
    """

    def __init__(
        self,
        garden: Garden,
        *,
        water_temp_c: float | None = None,
        corrections: Corrections = NOTHING_MEASURED,
        effects: Effects = ALL_EFFECTS,
        beside: Lines | None = None,
    ) -> None:
        self.garden = garden
        self._corrections, self._beside = corrections, beside
        self.supply = corrections.supply or planning_curve(garden.supply)
        temp_c = garden.supply.water_temp_c if water_temp_c is None else water_temp_c
        self._water_temp_c = temp_c
        self.viscosity_m2_s = viscosity_m2_s(temp_c)
        self.water = Water(
            viscosity_m2_s=self.viscosity_m2_s,
            air_m=air_over_vapour_m(elevation_m=garden.site.elevation_m, water_temp_c=temp_c),
            effects=effects,
        )
        self._zones = {zone.name: zone for zone in garden.zones}
        self._number = {name: number for number, name in enumerate(self._zones)}
        self.main = MainTree.of(garden)
        self._holes: dict[str, tuple[tuple[DrilledHole, ...], ...]] = {}
        self._valve_k: dict[str, float] = {}
        self._sets: dict[frozenset[str], SetFlow] = {}
        self._volumes: dict[str, LineVolume] = {}
        self._curves = Curves(self.main, self.water)
        self._laws: dict[str, ZoneLaw] = {}
        self._quick: dict[frozenset[str], QuickFlow] = {}
        self._needs: dict[str, Need] = {}
        self._needs_share = 0.0
        states = supply_states(garden.supply, corrections.supply)
        self._extremes = tuple(
            curve for curve in (states.start, states.end) if curve != self.supply
        )
        self._ranges: dict[frozenset[str], dict[str, tuple[float, float]]] = {}

    def with_effects(self, effects: Effects) -> Lines:
        """The same lines, with other effects counted."""
        return Lines(
            self.garden,
            water_temp_c=self._water_temp_c,
            corrections=self._corrections,
            effects=effects,
        )

    def open_set(self, zones: frozenset[str]) -> SetFlow:
        """What flows with exactly these zones open.

        Parameters
        ----------
        zones : frozenset of str
            Names of the open zones; none at all is a still garden.

        Returns
        -------
        SetFlow
            Flows [m3/s] and piezometric heads against the tap [m], for zone, row and hole.

        Raises
        ------
        InputError
            If there is no such zone, or its opening cannot be turned into a loss.
        NoSolution
            If the flows do not settle.

        Source
        ------
        tree_solver.py; the main is a tree of stretches with the zones' tees (main_tree.py).
        """
        wanted = frozenset(zones)
        if wanted not in self._sets:
            opened = [self._zone(name) for name in sorted(wanted)]
            _make_room(self._sets, _MOST_WHOLE)
            self._sets[wanted] = self._solved(opened, self.supply)
        return self._sets[wanted]

    def zone_flows(self, zones: frozenset[str]) -> Mapping[str, float]:
        """Flow of each zone with exactly these zones open, without the flow of each hole.

        Parameters
        ----------
        zones : frozenset of str
            Names of the open zones.

        Returns
        -------
        mapping of str to float
            As `open_set` has it, within 1e-5 of it. [m3/s]

        Raises
        ------
        InputError, NoSolution
            As `open_set`.

        Source
        ------
        row_curves.py and quick_flow.py; `open_set` where the curves are not valid (quick_flow.py
        says when).
        """
        return self._quick_flow(zones).flows_m3_s

    def behind_valves_m(self, zones: frozenset[str]) -> Mapping[str, float]:
        """Total head behind each zone's valve, found as `zone_flows` is. [m]"""
        return self._quick_flow(zones).behind_m

    def zone_dry_holes(self, zones: frozenset[str]) -> Mapping[str, int]:
        """Dry holes of each zone with exactly these zones open, found as `zone_flows` is."""
        return self._quick_flow(zones).dry_holes

    def refused_by(self, zones: frozenset[str], least_share: float) -> Callable[[str], bool]:
        """Which further zones certainly cannot join, if each keeps a share of its flow.

        Parameters
        ----------
        zones : frozenset of str
            Names of the open zones, at least one.
        least_share : float
            Share of its flow alone that each zone must keep, 0 to 1. [-]

        Returns
        -------
        callable
            Says whether another zone would starve one of the set or be starved by it, as far as
            that is known without solving the set: True is certain, False is not.

        Raises
        ------
        InputError, NoSolution
            As `zone_flows`.

        Source
        ------
        garden_curves.py.
        """
        wanted = frozenset(zones)
        needs = [self._need(name, least_share) for name in sorted(wanted)]
        if any(need.head_m == -inf for need in needs):
            return lambda name: False
        joining = self._curves.joining(
            self._laws_of(wanted), needs, self._quick_flow(wanted), self.supply
        )
        return lambda name: joining.refuses(self._need(name, least_share))

    def flow_range(self, zones: frozenset[str]) -> tuple[float, float]:
        """Lowest and highest total flow these zones can draw while the supply rises and falls.

        Parameters
        ----------
        zones : frozenset of str
            Names of the open zones.

        Returns
        -------
        tuple of float
            Flow at the supply's lowest and at its highest: a barrel near empty and full, a pump's
            tank at cut-in and at cut-out. A steady supply gives the planned flow twice. [m3/s]

        Raises
        ------
        InputError, NoSolution
            As `open_set`.

        Source
        ------
        `supply_states` has the curves between which a supply moves; flows on each as in
        `zone_flows`. Less head at the tap gives less flow at every hole.
        """
        of_zones = self.zone_ranges(zones).values()
        return sum(low for low, _ in of_zones), sum(high for _, high in of_zones)

    def zone_ranges(self, zones: frozenset[str]) -> Mapping[str, tuple[float, float]]:
        """Lowest and highest flow of each zone of an open set, as `flow_range`. [m3/s]"""
        wanted = frozenset(zones)
        if wanted not in self._ranges:
            _make_room(self._ranges, _MOST_QUICK)
            every = [self.zone_flows(wanted)]
            every += [self._flow_on(curve, wanted).flows_m3_s for curve in self._extremes]
            self._ranges[wanted] = {
                name: (min(f[name] for f in every), max(f[name] for f in every))
                for name in every[0]
            }
        return self._ranges[wanted]

    def flow_at_head(self, zones: frozenset[str], head_m: float) -> float:
        """Flow of these zones open together with a head held at the tap; not remembered. [m3/s]"""
        if head_m <= 1e-3:
            return 0.0
        return sum(self._flow_on(held(head_m), frozenset(zones)).flows_m3_s.values())

    @property
    def most_standing_m(self) -> float:
        """Largest head on the lines when nothing flows: barrel full, pump's tank at cut-out. [m]"""
        return max(curve.static_head_m for curve in (self.supply, *self._extremes))

    def line(self, zone: str) -> LineVolume:
        """Water in a zone's laterals, and how much of it drains after the valve has closed.

        Parameters
        ----------
        zone : str
            Name of the zone.

        Returns
        -------
        LineVolume
            Volumes [m3]: all of the water drains with holes down or drain holes, half with holes to
            the side, none with holes up; hollows of a row that is not level keep theirs.

        Raises
        ------
        InputError
            If there is no such zone.

        Source
        ------
        geometry.py.
        """
        if zone not in self._volumes:
            rows = self._zone(zone).rows
            self._volumes[zone] = LineVolume(
                volume_m3=sum(volume_m3(row) for row in rows),
                drains_m3=sum(drained_m3(row) for row in rows),
            )
        return self._volumes[zone]

    def valve_loss_k(self, zone: str) -> float:
        """Loss coefficient of a zone's take-off and valve, on the velocity in its first row's pipe.

        Parameters
        ----------
        zone : str
            Name of the zone.

        Returns
        -------
        float
            Take-off and opening together. [-]

        Raises
        ------
        InputError
            If there is no such zone, its handle stands near shut, a stream cannot come from its
            holes, or the flow or stream seen is more than the zone can give.

        Source
        ------
        valve_opening.py; a value fitted to field tests comes first.
        """
        if zone not in self._valve_k:
            self._valve_k[zone] = self._found_k(self._zone(zone))
        return self._valve_k[zone]

    def zones_of(self, names: frozenset[str]) -> list[Zone]:
        """The zones of these names, in the garden's order; KeyError if there is no such zone."""
        return [self._zones[name] for name in sorted(names, key=self._number.__getitem__)]

    def _zone(self, name: str) -> Zone:
        if name not in self._zones:
            near = get_close_matches(name, self._zones, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            raise InputError(f'the garden has no zone "{name}"{hint}')
        if not self._zones[name].rows:
            raise InputError(f'zone "{name}" has no rows; a zone waters through at least one')
        return self._zones[name]

    def _quick_flow(self, zones: frozenset[str]) -> QuickFlow:
        wanted = frozenset(zones)
        if wanted not in self._quick:
            _make_room(self._quick, _MOST_QUICK)
            self._quick[wanted] = self._curves.together(
                self._laws_of(wanted), self.supply
            ) or quick_from(self.open_set(wanted))
        return self._quick[wanted]

    def _flow_on(self, supply: SupplyCurve, zones: frozenset[str]) -> QuickFlow:
        """The same lines with the same valves on another supply; not remembered."""
        quick = self._curves.together(self._laws_of(zones), supply)
        if quick is not None:
            return quick
        return quick_from(self._solved([self._zone(name) for name in sorted(zones)], supply))

    def _laws_of(self, zones: frozenset[str]) -> list[ZoneLaw]:
        laws = self._laws
        return [laws.get(name) or self._law(self._zone(name)) for name in sorted(zones)]

    def _law(self, zone: Zone) -> ZoneLaw:
        if zone.name not in self._laws:
            self._laws[zone.name] = self._curves.law(
                zone, self._row_holes(zone), self.valve_loss_k(zone.name)
            )
        return self._laws[zone.name]

    def _need(self, name: str, least_share: float) -> Need:
        """The least flow that a zone must keep; remembered for one share."""
        if least_share != self._needs_share:
            self._needs, self._needs_share = {}, least_share
        if name not in self._needs:
            law, alone = self._law(self._zone(name)), self._quick_flow(frozenset((name,)))
            self._needs[name] = self._curves.need(law, alone, least_share)
        return self._needs[name]

    def _row_holes(self, zone: Zone) -> tuple[tuple[DrilledHole, ...], ...]:
        """The zone's holes, row by row."""
        if zone.name not in self._holes:
            factor, rise_m = self._drilled_as(zone)
            if self._beside is not None and self._beside._drilled_as(zone) == (factor, rise_m):
                self._holes[zone.name] = self._beside._row_holes(zone)
                return self._holes[zone.name]
            self._holes[zone.name] = tuple(
                tuple(
                    replace(
                        hole,
                        discharge_coefficient=factor * hole.discharge_coefficient,
                        flow_factor=factor,
                    )
                    for hole in drilled_holes(row, rise_m)
                )
                for row in zone.rows
            )
        return self._holes[zone.name]

    def _drilled_as(self, zone: Zone) -> tuple[float, float]:
        """Factor of its holes' discharge, and the height of its outlet against the tap [m]."""
        corrections = self._corrections
        return (
            corrections.discharge.get(zone.name, 1.0),
            zone.rise_m + corrections.level_m.get(zone.name, 0.0),
        )

    def _begins_at(self, opened: Sequence[Zone]) -> list[float] | None:
        """Flows of the open holes in the lines beside, if they have solved the set."""
        if self._beside is None:
            return None
        found = self._beside._sets.get(frozenset(zone.name for zone in opened))
        if found is None:
            return None
        rows = (row for zone in opened for row in found.zones[zone.name].rows)
        return [hole.flow_m3_s for row in rows for hole in row.holes if not hole.plugged]

    def _found_k(self, zone: Zone) -> float:
        if zone.name in self._corrections.valve_k:
            return self._corrections.valve_k[zone.name]
        alone = Alone(
            zone,
            self._row_holes(zone),
            supply=self.supply,
            main=self.main,
            water=self.water,
            us_units=self.garden.us_units,
        )
        return alone.loss_k()

    def _solved(self, opened: Sequence[Zone], supply: SupplyCurve) -> SetFlow:
        """Build and solve the tree of the open zones, and sort the answer by zone, row and hole."""
        tree = Tree(viscosity_m2_s=self.viscosity_m2_s, gravity_m_s2=GRAVITY_M_S2)
        stations = add_main(tree, self.main, opened)
        behind_valve: dict[str, int] = {}
        row_nodes: dict[str, list[RowNodes]] = {}
        for zone in opened:
            node = add_valve(tree, zone, stations[zone.name], self.valve_loss_k(zone.name))
            behind_valve[zone.name] = node
            row_nodes[zone.name] = [
                add_row(tree, row, holes, node, self.water)
                for row, holes in zip(zone.rows, self._row_holes(zone), strict=True)
            ]
        tap_head_m, heads, spans, flows = tree.solve(*supply.law, start=self._begins_at(opened))
        speeds_m = tree.speed_heads_m(spans, flows)
        vents = self.water.effects.vented
        rows_of = {
            zone.name: tuple(
                row_flow(holes, nodes, heads[nodes.inlet], heads, flows, speeds_m, vented=vents)
                for holes, nodes in zip(self._row_holes(zone), row_nodes[zone.name], strict=True)
            )
            for zone in opened
        }
        if any(row.air_at for rows in rows_of.values() for row in rows):
            vented = self._vented(opened, supply)
            if vented is not None:
                return vented
        answers = {}
        for zone in opened:
            node, station = behind_valve[zone.name], stations[zone.name]
            valve_loss_m = (tap_head_m if station == TAP else heads[station]) - heads[node]
            answers[zone.name] = self._zone_flow(
                zone, rows_of[zone.name], heads[node], valve_loss_m, supply
            )
        return SetFlow(
            supply_flow_m3_s=sum(flows), tap_head_m=tap_head_m, zones=MappingProxyType(answers)
        )

    def _vented(self, opened: Sequence[Zone], supply: SupplyCurve) -> SetFlow | None:
        """The set with the air that its rows let in: first by the rows' curves, then row by row.

        None where the curves find no answer; the pipes are then taken as full.
        """
        quick = self._curves.together([self._law(zone) for zone in opened], supply, roughly=True)
        if quick is None:
            return None
        answers = {}
        for zone in opened:
            behind_m = quick.behind_m[zone.name]
            rows = tuple(
                marched_row(row, holes, behind_m, self.water)
                for row, holes in zip(zone.rows, self._row_holes(zone), strict=True)
            )
            # Where air holds the head at the inlet, the flow is the more certain of the two.
            marched = sum(row.flow_m3_s for row in rows)
            if marched > 0.0:
                rows = tuple(scaled(row, quick.flows_m3_s[zone.name] / marched) for row in rows)
            loss_m = self._law(zone).loss * sum(row.flow_m3_s for row in rows) ** 2
            answers[zone.name] = self._zone_flow(zone, rows, behind_m, loss_m, supply)
        return SetFlow(
            supply_flow_m3_s=sum(zone.flow_m3_s for zone in answers.values()),
            tap_head_m=quick.tap_head_m,
            zones=MappingProxyType(answers),
        )

    def _zone_flow(
        self,
        zone: Zone,
        rows: tuple[RowFlow, ...],
        behind_m: float,
        valve_loss_m: float,
        supply: SupplyCurve,
    ) -> ZoneFlow:
        evenness, variation = evenness_of(hole for row in rows for hole in row.holes)
        return ZoneFlow(
            zone=zone.name,
            flow_m3_s=sum(row.flow_m3_s for row in rows),
            valve_head_m=behind_m,
            evenness=evenness,
            variation=variation,
            dry_holes=sum(
                hole.kind == "hole" and not hole.plugged and hole.flow_m3_s <= 0.0
                for row in rows
                for hole in row.holes
            ),
            decided_by="valve"
            if valve_loss_m > 0.5 * (supply.static_head_m - behind_m)
            else "supply",
            rows=rows,
        )


def _make_room(kept: dict[frozenset[str], Any], most: int) -> None:
    """Forget the remembered sets once they are too many, but not the zones alone."""
    if len(kept) >= most:
        alone = {zones: found for zones, found in kept.items() if len(zones) == 1}
        kept.clear()
        kept.update(alone)
