"""Checks for the physically impossible: pressures, overlapping holes, water uphill."""

from __future__ import annotations

from controller.garden import show
from controller.garden.faults import Faults, Path
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import BeforeRegulator, Face, Pump, Row, Supply, SupplyKind, Walls

# The key of the static pressure, which a flow test must be below.
_STILL = {
    SupplyKind.MAINS: ("static_pressure", "static_pressure"),
    SupplyKind.BARREL: ("level", "the level of the full barrel"),
    SupplyKind.REGULATOR: ("set_pressure", "set_pressure"),
    SupplyKind.PUMP: ("switch_off", "switch_off"),
}
# The hole law is not known for walls thicker than so many bores.
_THICKEST_WALL_BORES = 10.0


def check_physics(garden: Garden, faults: Faults) -> None:
    """Add a fault for each impossible figure, with the physical reason."""
    _check_supply(garden, faults)
    for number, zone in enumerate(garden.zones):
        at: Path = ("zone", number)
        for row_number, row in enumerate(zone.rows):
            _check_holes(row, (*at, "row", row_number), faults, garden.us_units)
        _check_heights(zone, at, garden, faults)
        _check_opening(zone, at, garden, faults)


def _check_supply(garden: Garden, faults: Faults) -> None:
    supply, us = garden.supply, garden.us_units
    key, called = _STILL[supply.kind]
    still: Path = ("supply", key)
    if supply.static_head_m <= 0:
        faults.add(still, "found none; water needs a pressure to flow")
        return
    if supply.pump is not None:
        _check_pump(supply, supply.pump, faults, us)
        return
    if supply.before is not None and supply.before.test_flow_m3_s is not None:
        _check_before(supply, supply.before, faults, us)
    shown = _still_shown(supply, us)
    if supply.test_head_m >= supply.static_head_m:
        found = show.show_pressure(supply.test_head_m, us)
        faults.add(
            ("supply", "flow_test", "pressure"),
            f"found {found}; with water running it is below {called}, {shown}",
            needs=[still],
        )
    if supply.falls_to_m is not None and supply.falls_to_m >= supply.static_head_m:
        faults.add(
            ("supply", "falls_to"),
            f"found {show.show_length(supply.falls_to_m, us)}; a barrel that waters falls below "
            f"its level when full, {shown}",
            needs=[still],
        )


def _check_pump(supply: Supply, pump: Pump, faults: Faults, us: bool) -> None:
    """The pressures of a pump and its tank must be in order."""
    on, off = (show.show_pressure(head_m, us) for head_m in (pump.on_head_m, pump.off_head_m))
    on_at: Path = ("supply", "switch_on")
    off_at: Path = ("supply", "switch_off")
    if pump.off_head_m <= pump.on_head_m:
        faults.add(
            off_at,
            f"found {off}; a pump stops at more pressure than it starts at, {on}",
            needs=[on_at],
        )
        return
    if pump.pre_charge_head_m > pump.on_head_m:
        faults.add(
            ("supply", "pre_charge"),
            f"found {show.show_pressure(pump.pre_charge_head_m, us)}; over switch_on, {on}, the "
            "tank is empty before the pump starts, and the flow stops: let air out until it "
            "stands a little below",
            needs=[on_at],
        )
    if pump.shut_off_head_m <= pump.off_head_m:
        faults.add(
            ("supply", "shut_off"),
            f"found {show.show_pressure(pump.shut_off_head_m, us)}; a pump that comes no higher "
            f"against a shut valve never reaches switch_off, {off}",
            needs=[off_at],
        )
    elif supply.test_head_m >= pump.off_head_m:
        faults.add(
            ("supply", "flow_test", "pressure"),
            f"found {show.show_pressure(supply.test_head_m, us)}; while the pump runs without a "
            f"pause it is below switch_off, {off}: open more until the pump does not stop",
            needs=[off_at],
        )


def _check_before(supply: Supply, before: BeforeRegulator, faults: Faults, us: bool) -> None:
    """A flow test before a regulator must leave the pressure measured behind it."""
    at: Path = ("supply", "flow_test_before", "pressure")
    still: Path = ("supply", "static_pressure")
    if before.test_head_m >= before.static_head_m:
        faults.add(
            at,
            f"found {show.show_pressure(before.test_head_m, us)}; with water running it is below "
            f"static_pressure, {show.show_pressure(before.static_head_m, us)}",
            needs=[still],
        )
        return
    lost_m = before.static_head_m - before.test_head_m
    share = supply.test_flow_m3_s / (before.test_flow_m3_s or supply.test_flow_m3_s)
    share_open = supply.test_flow_m3_s / before.open_flow_m3_s
    left_m = before.static_head_m - lost_m * share**2 - before.open_loss_m * share_open**2
    if left_m < supply.test_head_m and not supply.test_assumed:
        faults.add(
            ("supply", "flow_test", "pressure"),
            f"found {show.show_pressure(supply.test_head_m, us)} behind the regulator; at that "
            f"flow what was measured before it leaves no more than "
            f"{show.show_pressure(max(left_m, 0.0), us)}",
            needs=[still, at, ("supply", "flow_test_before"), ("supply", "open_loss")],
        )


def _still_shown(supply: Supply, us: bool) -> str:
    if supply.kind is SupplyKind.BARREL:
        return show.show_length(supply.static_head_m, us)
    return show.show_pressure(supply.static_head_m, us)


def _check_holes(row: Row, at: Path, faults: Faults, us: bool) -> None:
    """Holes must not overlap, and must not be longer than the hole law allows."""
    drilling = row.drilling
    gaps: list[tuple[str, float, float, Path]] = [
        ("every", drilling.every_m, drilling.bore_m, (*at, "bore"))
    ]
    if drilling.group > 1:
        gaps.append(("group_gap", drilling.group_gap_m, drilling.bore_m, (*at, "bore")))
    for key, gap_m, bore_m, bore_at in gaps:
        if gap_m <= bore_m:
            faults.add(
                (*at, key),
                f"found {show.show_length(gap_m, us)}; holes of {show.show_bore(bore_m, us)} so "
                "close run into one slot",
                needs=[bore_at],
            )
    drain_m, drain_every_m = drilling.drain_bore_m, drilling.drain_every_m
    if drain_m is not None and drain_every_m is not None and drain_every_m <= drain_m:
        faults.add(
            (*at, "drain", "every"),
            f"found {show.show_length(drain_every_m, us)}; holes of {show.show_bore(drain_m, us)} "
            "so close run into one slot",
            needs=[(*at, "drain", "bore")],
        )
    bores: list[tuple[Path, float]] = []
    if drilling.discharge_coefficient is None:
        bores.append(((*at, "bore"), drilling.bore_m))
    if drain_m is not None:
        bores.append(((*at, "drain", "bore"), drain_m))
    for path, bore_m in bores:
        if bore_m * _THICKEST_WALL_BORES < row.pipe.wall_m:
            faults.add(
                path,
                f"found {show.show_bore(bore_m, us)}; through a wall of "
                f"{show.show_bore(row.pipe.wall_m, us)} that is a long narrow pipe whose flow is "
                "not computable: drill at least a tenth of the wall"
                + (", or give a discharge_coefficient" if path[-2] != "drain" else ""),
                needs=[(*at, "pipe")],
            )


def _check_heights(zone: Zone, at: Path, garden: Garden, faults: Faults) -> None:
    """No hole may lie above the static head of the tap."""
    supply, us = garden.supply, garden.us_units
    key, _ = _STILL[supply.kind]
    for number, row in enumerate(zone.rows):
        if row.plugged:
            continue
        ends_m = (row.inlet_height_m, row.far_height_m)
        lowest_m = zone.rise_m + min(*ends_m, sum(ends_m) / 2.0 + row.middle_height_m)
        if lowest_m - row.pipe.outside_m < supply.static_head_m:
            continue
        place: Path = (*at, "rise") if faults.is_written((*at, "rise")) else (*at, "row", number)
        faults.add(
            place,
            f"found row {number + 1} at {show.show_length(lowest_m, us)} above the tap; the still "
            f"water rises no higher than {show.show_length(supply.static_head_m, us)} "
            f"({_still_shown(supply, us)}), so it stays dry",
            needs=[("supply", key), (*at, "row")],
        )


def _check_opening(zone: Zone, at: Path, garden: Garden, faults: Faults) -> None:
    """A stream must be visible, and possible with this supply."""
    opening, us = zone.opening, garden.us_units
    if opening.stream_m is None and opening.reach_m is None:
        return
    row = next((row for row in zone.rows if not row.plugged), None)
    if row is None:
        return
    place: Path = (*at, "opening")
    if not opening.turned and not _can_be_seen(row, up=opening.stream_m is not None):
        asked = "up" if opening.stream_m is not None else "level to the side"
        faults.add(
            place,
            f"found a stream of holes that look {row.drilling.face}; it is read from a hole that "
            f"looks {asked}: turn the pipe to look, turn it back, and add turned = true",
            needs=[(*at, "row")],
        )
    elif (
        opening.stream_m is not None
        and zone.rise_m + opening.stream_m >= garden.supply.static_head_m
    ):
        faults.add(
            place,
            f"found a stream {show.show_length(opening.stream_m, us)} high; from a hole at "
            f"{show.show_length(zone.rise_m, us)} the supply throws less than "
            f"{show.show_length(max(0.0, garden.supply.static_head_m - zone.rise_m), us)}, what "
            f"its still pressure ({_still_shown(garden.supply, us)}) leaves",
            needs=[("supply", _STILL[garden.supply.kind][0]), (*at, "rise")],
        )


def _can_be_seen(row: Row, *, up: bool) -> bool:
    """Whether a hole of the row looks up, or level to the side."""
    face = row.drilling.face
    if up:
        return face is Face.UP or (face is Face.DOWN and row.drilling.walls is Walls.BOTH)
    return face is Face.SIDE
