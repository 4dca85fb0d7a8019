"""A zone with a change made: tilt, drain hole, plugged tail, neighbour, worn hole, or any other.

Each change is made to the garden and the whole network is solved again. Valves stay as they are: a
measured flow is turned into the loss it implies, and that loss is kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Drilling, Opening, Row, SupplyKind
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import DrilledHole
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.row_shares import drained_share
from controller.hydraulics.network.supplies import at_level, planning_curve, supply_states
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED, Corrections, SupplyCurve
from controller.hydraulics.network.uniformity import real_uniformity
from controller.messages import Message, Quantity

Change = Literal["tilt up", "tilt down", "drain", "plugged tail", "together", "worn hole"]

TILT_M = 0.01
PLUGGED_TAIL = 0.25  # share of the row's length, from its far end
WORN = 1.2  # a hole's bore after years of grit, against the drill; our choice
# A drain hole to try where a row has none: 1/16 in, at the far end (common practice, no source).
TRIED_DRAIN_BORE_M = 0.0015875


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """One change and its effect; evenness is low-quarter uniformity, with drill and level."""

    change: Change
    message: Message
    flow_before_m3_s: float
    flow_m3_s: float
    evenness_before: float
    evenness: float
    dry_holes_before: int
    dry_holes: int

    @property
    def flow_change(self) -> float:
        """Part by which the flow grows; negative where it falls. [-]"""
        if self.flow_before_m3_s <= 0.0:
            return 0.0
        return self.flow_m3_s / self.flow_before_m3_s - 1.0


def what_if(
    garden: Garden, zone: str, *, corrections: Corrections = NOTHING_MEASURED
) -> tuple[WhatIf, ...]:
    """Effects of small changes on one zone's flow and uniformity, each by solving again.

    The zone runs alone but for the change that opens another with it. There are none for a zone
    that gives no water.

    Raises
    ------
    InputError
        If there is no such zone, or its opening cannot be turned into a loss.
    NoSolution
        If the flows do not settle.
    """
    before_lines = Lines(garden, corrections=corrections)
    alone = frozenset((zone,))
    before = before_lines.open_set(alone).zones[zone]
    if before.flow_m3_s <= 0.0:
        return ()
    fixed = hold_valve(garden, before_lines, zone)
    found: list[WhatIf] = []

    def add(change: Change, message: Message, after: ZoneFlow) -> None:
        found.append(
            WhatIf(
                change=change,
                message=message,
                flow_before_m3_s=before.flow_m3_s,
                flow_m3_s=after.flow_m3_s,
                evenness_before=real_uniformity(before.holes, garden.watering),
                evenness=real_uniformity(after.holes, garden.watering),
                dry_holes_before=before.dry_holes,
                dry_holes=after.dry_holes,
            )
        )

    for change, message, changed in _changes(fixed.zone(zone)):
        lines = Lines(with_zone(fixed, changed), corrections=corrections)
        after = lines.open_set(alone).zones[zone]
        if change == "drain" and (lost := max(drained_share(after), drained_share(before))) > 0:
            message = Message(
                "change.drained", {"change": message, "share": Quantity(lost, "percent")}
            )
        add(change, message, after)
    worn = _Worn(fixed, corrections=corrections)
    worn.worn_zone = zone
    wider = Message("change.worn_hole", {"share": Quantity(WORN - 1.0, "percent")})
    add("worn hole", wider, worn.open_set(alone).zones[zone])
    neighbour = _hardest_neighbour(garden, zone, before_lines)
    if neighbour is not None:
        together = before_lines.open_set(frozenset((zone, neighbour))).zones[zone]
        add("together", Message("change.together", {"zone": neighbour}), together)
    return tuple(found)


def hold_valve(garden: Garden, lines: Lines, zone: str) -> Garden:
    """The same garden with one zone's valve given as the loss it has now."""
    old = garden.zone(zone)
    loss_k = max(0.0, lines.valve_loss_k(zone) - old.take_off_k)
    return with_zone(garden, replace(old, opening=Opening(loss_k=loss_k)))


def with_zone(garden: Garden, zone: Zone) -> Garden:
    """The same garden with the zone of that name put in its place."""
    zones = tuple(zone if old.name == zone.name else old for old in garden.zones)
    return replace(garden, zones=zones)


# A barrel that may run dry is judged while this part of its fall is left; after that comes the last
# tenth of its water. Our choice.
LOW_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneCase:
    """One zone that gives water, with its valve as it stands.

    `flow` is its flow as planned; `full` and `low` are its flows with a barrel full and near its
    lowest. On a steady supply all three are equal.
    """

    garden: Garden
    zone: Zone
    flow: ZoneFlow
    full: ZoneFlow
    low: ZoneFlow
    corrections: Corrections
    low_corrections: Corrections
    drains_m3: float

    @property
    def falls(self) -> bool:
        """Whether the supply falls while the zone runs."""
        return self.corrections != self.low_corrections

    def with_zone(self, zone: Zone, *, low: bool = False) -> Lines:
        """The lines with the zone changed, on the planned supply or on the low one."""
        corrections = self.low_corrections if low else self.corrections
        return Lines(with_zone(self.garden, zone), corrections=corrections)


def zone_case(garden: Garden, lines: Lines, zone: str, corrections: Corrections) -> ZoneCase:
    """The case of one zone, running alone."""
    held, alone = hold_valve(garden, lines, zone), frozenset((zone,))
    planned = lines.open_set(alone).zones[zone]
    full, low = (
        corrections if curve == lines.supply else replace(corrections, supply=curve)
        for curve in fall_of(lines)
    )

    def flow_on(others: Corrections) -> ZoneFlow:
        if others == corrections:
            return planned
        return Lines(held, corrections=others).open_set(alone).zones[zone]

    return ZoneCase(
        garden=held,
        zone=garden.zone(zone),
        flow=planned,
        full=flow_on(full),
        low=flow_on(low),
        corrections=corrections,
        low_corrections=low,
        drains_m3=lines.line(zone).drains_m3,
    )


def fall_of(lines: Lines) -> tuple[SupplyCurve, SupplyCurve]:
    """The supply full and low: a barrel with `LOW_SHARE` of its fall left, or less if given."""
    supply = lines.garden.supply
    if supply.kind is not SupplyKind.BARREL or lines.supply != planning_curve(supply):
        return lines.supply, lines.supply  # steady, or measured and replaced
    full = supply_states(supply).start
    low_m = supply.falls_to_m or LOW_SHARE * supply.static_head_m
    return full, at_level(full, low_m)


class _Worn(Lines):
    """Lines in which the middle open hole of a zone's first running row is worn wider."""

    worn_zone = ""

    def _row_holes(self, zone: Zone) -> tuple[tuple[DrilledHole, ...], ...]:
        rows = super()._row_holes(zone)
        if zone.name != self.worn_zone:
            return rows
        for number, holes in enumerate(rows):
            running = [
                i for i, hole in enumerate(holes) if hole.kind == "hole" and not hole.plugged
            ]
            if running:
                at = running[len(running) // 2]
                wide = replace(holes[at], bore_m=WORN * holes[at].bore_m)
                changed = (*holes[:at], wide, *holes[at + 1 :])
                return (*rows[:number], changed, *rows[number + 1 :])
        return rows


def _changes(zone: Zone) -> Iterator[tuple[Change, Message, Zone]]:
    """Each change of the zone itself, its name, and the zone with it."""
    tilt = Quantity(TILT_M, "tilt")
    higher = [replace(row, far_height_m=row.far_height_m + TILT_M) for row in zone.rows]
    lower = [replace(row, far_height_m=row.far_height_m - TILT_M) for row in zone.rows]
    yield "tilt up", Message("change.tilt_up", {"tilt": tilt}), replace(zone, rows=tuple(higher))
    yield "tilt down", Message("change.tilt_down", {"tilt": tilt}), replace(zone, rows=tuple(lower))
    if any(row.drilling.drain_bore_m is not None for row in zone.rows):
        message, bore_m = Message("change.no_drain"), None
    else:
        bore_m = TRIED_DRAIN_BORE_M
        message = Message("change.drain", {"bore": Quantity(bore_m, "bore")})
    yield "drain", message, replace(zone, rows=tuple(_drained(row, bore_m) for row in zone.rows))
    tail = Message("change.plugged_tail", {"share": Quantity(PLUGGED_TAIL, "percent")})
    yield "plugged tail", tail, replace(zone, rows=tuple(_tail_plugged(row) for row in zone.rows))


def _drained(row: Row, bore_m: float | None) -> Row:
    """The row with one drain hole at its far end, or with none."""
    # The first drain hole stands half of their distance from the inlet.
    every_m = None if bore_m is None else 2.0 * row.length_m
    drilling: Drilling = replace(row.drilling, drain_bore_m=bore_m, drain_every_m=every_m)
    return replace(row, drilling=drilling)


def _tail_plugged(row: Row) -> Row:
    """The row with a plug where its last part begins, unless one stands nearer already."""
    plug_m = (1.0 - PLUGGED_TAIL) * row.length_m
    if row.plugged_beyond_m is not None:
        plug_m = min(plug_m, row.plugged_beyond_m)
    return replace(row, plugged_beyond_m=plug_m)


def _hardest_neighbour(garden: Garden, zone: str, lines: Lines) -> str | None:
    """The zone that leaves this one the least flow when both are open."""
    others = [
        other.name
        for other in garden.zones
        if other.name != zone and _can_be_computed(lines, other.name)
    ]
    return min(
        others,
        key=lambda name: lines.zone_flows(frozenset((zone, name)))[zone],
        default=None,
    )


def _can_be_computed(lines: Lines, zone: str) -> bool:
    """Whether a zone's flow is known at all; the position of its valve may be unknown."""
    try:
        lines.zone_flows(frozenset((zone,)))
    except InputError:
        return False
    return True
