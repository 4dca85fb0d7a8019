"""Checks across the keys of a file: duplicates, overlaps, sizes, dates, what physics forbids."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.device_schema import WrittenDevice
from controller.garden.faults import Faults, Path, instead
from controller.garden.from_file.supply import STILL
from controller.garden.from_file.zones import check_plantings
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import (
    BeforeRegulator,
    Face,
    Pump,
    Row,
    Supply,
    SupplyKind,
    ValveKind,
    Walls,
)
from controller.garden.schema import WrittenGarden

# Known names, or a function that gives None for a known name and a message for any other.
Known = Collection[str] | Callable[[str], str | None]

# The gardener's own crop or soil, if it is not `like` another, needs all of these keys.
WHOLE_CROP = (
    *("kc_ini", "kc_mid", "kc_end", "height_m", "root_min_m", "root_max_m", "depletion_fraction"),
    "in_row_spacing_m",
    *("days_initial", "days_development", "days_mid", "days_late"),
)
WHOLE_SOIL = ("field_capacity", "wilting_point", "rew_mm", "intake_mm_h", "wetted_width_m")


def check(
    written: WrittenGarden,
    garden: Garden,
    faults: Faults,
    *,
    known_crops: Known | None,
    known_soils: Known | None,
) -> None:
    """Add all faults across keys. With None for the known names, any name is accepted."""
    _check_twice(written, faults)
    _check_pins(written, faults)
    _check_supply(garden, faults)
    for number, zone in enumerate(garden.zones):
        at: Path = ("zone", number)
        for row_number, row in enumerate(zone.rows):
            _check_row(row, (*at, "row", row_number), faults, garden.us_units)
            _check_holes(row, (*at, "row", row_number), faults, garden.us_units)
        _check_heights(zone, at, garden, faults)
        _check_opening(zone, at, garden, faults)
        check_plantings(written.zone[number], at, faults)
    _check_windows(garden, faults)
    _check_holds(written, garden, faults)
    _check_crops(written, garden, faults, known_crops)
    _check_soils(written, garden, faults, known_soils)


def _check_twice(written: WrittenGarden, faults: Faults) -> None:
    """Add faults for names that are used twice."""
    lists = {
        "zone": [zone.name for zone in written.zone],
        "run": [run.name for run in written.main.run],
        "bed": [bed.name for bed in written.bed],
        "crop": [crop.name for crop in written.crop],
        "soil": [soil.name for soil in written.soil],
    }
    for key, names in lists.items():
        first_with: dict[str, int] = {}
        for number, name in enumerate(names):
            first = first_with.setdefault(name.casefold(), number)
            if first != number:
                at: Path = ("main", key) if key == "run" else (key,)
                faults.add(
                    (*at, number, "name"),
                    f"found {q.spell(name)} again; each {key} has a name of its own",
                    needs=[(*at, first, "name")],
                )


def _check_pins(written: WrittenGarden, faults: Faults) -> None:
    """Add a fault for each pin that is used twice."""
    first_on: dict[int, tuple[Path, str]] = {}
    for place, line, owner in _pins(written):
        first, first_owner = first_on.setdefault(line, (place, owner))
        if first != place:
            faults.add(
                place,
                f"found {line}, which is {first_owner}; each has a pin of its own",
                needs=[first],
            )


def _pins(written: WrittenGarden) -> Iterator[tuple[Path, int, str]]:
    """Every pin, with its place in the file and its device."""
    for number, zone in enumerate(written.zone):
        owner = f"zone {q.spell(zone.name)}"
        yield from _of_device(zone.valve, ("zone", number, "valve"), owner)
    if written.master is not None:
        yield from _of_device(written.master, ("master",), "the master")
    if written.meter is not None:
        yield ("meter", "pin"), written.meter.pin, "the pin of the meter"
    for number, sensor in enumerate(written.sensor):
        yield ("sensor", number, "pin"), sensor.pin, f"the pin of sensor {number + 1}"


def _of_device(device: WrittenDevice, at: Path, owner: str) -> Iterator[tuple[Path, int, str]]:
    if device.relay is not None:
        yield (*at, "relay"), device.relay, f"the relay of {owner}"
    if device.close_relay is not None:
        yield (*at, "close_relay"), device.close_relay, f"the close_relay of {owner}"


def _check_row(row: Row, at: Path, faults: Faults, us: bool) -> None:
    """Add faults for a drilling that does not fit on its row."""
    drilling, length_m = row.drilling, row.length_m
    length = show.show_length(length_m, us)
    bores = [("bore",), ("drain", "bore")]
    for path, bore_m in zip(bores, (drilling.bore_m, drilling.drain_bore_m), strict=True):
        if bore_m is not None and bore_m >= row.pipe.bore_m:
            faults.add(
                (*at, *path),
                f"found {show.show_bore(bore_m, us)}; a hole is smaller than the pipe's inside, "
                f"{show.show_bore(row.pipe.bore_m, us)}",
                needs=[(*at, "pipe")],
            )
    reach_m = (drilling.group - 1) * drilling.group_gap_m / 2.0
    leans_on: list[Path] = [(*at, key) for key in ("length", "every", "first", "group_gap")]
    key = "first" if faults.is_written((*at, "first")) else "every"
    if drilling.group > 1 and 2.0 * reach_m >= drilling.every_m:
        faults.add(
            (*at, "group"),
            f"found {drilling.group}, which is {show.show_length(2 * reach_m, us)} long; "
            f"a group is shorter than its spacing, {show.show_length(drilling.every_m, us)}",
            needs=leans_on,
        )
    stations = _stations_on(row)
    last_m = drilling.first_m + (stations - 1) * drilling.every_m
    if stations == 0:
        first = show.show_length(drilling.first_m, us)
        faults.add(
            (*at, key),
            f"found the first hole at {first}; it lies on the pipe, which is {length} long",
            needs=leans_on,
        )
    elif drilling.first_m < reach_m - 1e-9 or last_m + reach_m > length_m + 1e-9:
        end = "before its inlet" if drilling.first_m < reach_m - 1e-9 else "past its end"
        faults.add(
            (*at, key),
            f"found holes {end}; all holes of a group lie on the pipe, which is {length} long",
            needs=leans_on,
        )
    holes = stations * drilling.group * (2 if drilling.walls is Walls.BOTH else 1)
    for number in row.plugged_holes:
        if number > holes > 0:
            faults.add(
                (*at, "plugged_holes"),
                f"found hole {number}; this row has holes 1 to {holes}",
                needs=[*leans_on, (*at, "group"), (*at, "walls")],
            )
    if row.plugged_beyond_m is not None and row.plugged_beyond_m >= length_m:
        faults.add(
            (*at, "plugged_beyond"),
            f"found {show.show_length(row.plugged_beyond_m, us)}; the pipe is {length} long",
            needs=[(*at, "length")],
        )


def _stations_on(row: Row) -> int:
    """Number of drilled places along the row."""
    room_m = row.length_m - row.drilling.first_m + 1e-9
    return int(room_m // row.drilling.every_m) + 1 if room_m >= 0 else 0


def _check_windows(garden: Garden, faults: Faults) -> None:
    for number, window in enumerate(garden.watering.windows):
        if window.opens == window.closes:
            faults.add(
                ("watering", "window", number, "to"),
                f'found "{window.closes:%H:%M}", the same as from; a window has some length',
                needs=[("watering", "window", number, "from")],
            )
    served = {kind for window in garden.watering.windows for kind in window.valves}
    for kind in ValveKind:
        waiting = [zone.name for zone in garden.zones if zone.valve.kind is kind]
        if waiting and kind not in served:
            faults.add(
                ("watering", "window"),
                f'found no window for {kind} valves; zone "{waiting[0]}" would never be watered: '
                f'add {{ from = "05:00", to = "08:00", valves = "{kind}" }}',
                needs=[("zone",)],
            )


def _check_holds(written: WrittenGarden, garden: Garden, faults: Faults) -> None:
    zone_names = [zone.name for zone in garden.zones]
    for number, hold in enumerate(garden.watering.holds):
        at: Path = ("watering", "hold", number)
        if hold.ends <= hold.begins:
            faults.add(
                (*at, "to"),
                f"found {written.watering.hold[number].ends}; a hold ends after it begins, "
                f"{written.watering.hold[number].begins}",
                needs=[(*at, "from")],
            )
        for name in sorted(hold.zones - set(zone_names)):
            faults.add(
                (*at, "zones"),
                f"found {q.spell(name)}; {instead(name, zone_names, called='zones')}",
                needs=[("zone", n, "name") for n in range(len(zone_names))],
            )


def _check_crops(
    written: WrittenGarden, garden: Garden, faults: Faults, known: Known | None
) -> None:
    own = [crop.name for crop in garden.own_crops]
    for number, zone in enumerate(written.zone):
        for planted, planting in enumerate(zone.planting):
            place = ("zone", number, "planting", planted, "crop")
            _check_name(planting.crop, place, faults, known, own, "crops")
    likes = {crop.name: (crop.like, crop.changes) for crop in garden.own_crops}
    _check_own("crop", likes, faults, known, WHOLE_CROP)
    for number, crop in enumerate(garden.own_crops):
        low, high = crop.changes.get("root_min_m"), crop.changes.get("root_max_m")
        if low is not None and high is not None and low > high:
            faults.add(
                ("crop", number, "root_min_m"), f"found {low}; it is at most root_max_m, {high}"
            )


def _check_soils(
    written: WrittenGarden, garden: Garden, faults: Faults, known: Known | None
) -> None:
    own = [soil.name for soil in garden.own_soils]
    soils: list[tuple[Path, str | None]] = [
        *((("bed", number, "soil"), bed.soil) for number, bed in enumerate(written.bed)),
        *((("zone", number, "soil"), zone.soil) for number, zone in enumerate(written.zone)),
    ]
    for place, name in soils:
        if name is not None:
            _check_name(name, place, faults, known, own, "soils")
    likes = {soil.name: (soil.like, soil.changes) for soil in garden.own_soils}
    _check_own("soil", likes, faults, known, WHOLE_SOIL)
    for number, soil in enumerate(garden.own_soils):
        dry, wet = soil.changes.get("wilting_point"), soil.changes.get("field_capacity")
        if dry is not None and wet is not None and dry >= wet:
            faults.add(
                ("soil", number, "wilting_point"),
                f"found {dry}; it is below field_capacity, {wet}",
            )


def _check_own(
    key: str,
    own: Mapping[str, tuple[str | None, Mapping[str, float]]],
    faults: Faults,
    known: Known | None,
    whole: Iterable[str],
) -> None:
    """Add faults for an own crop or soil that is not complete and not `like` a known one."""
    for number, (name, (like, changes)) in enumerate(own.items()):
        if like is not None:
            _check_name(like, (key, number, "like"), faults, known, (), f"{key}s")
            continue
        missing = [one for one in whole if one not in changes]
        if missing and known is not None and name_fault(name, known, "") is not None:
            faults.add(
                (key, number),
                f"found neither like nor {', '.join(missing)}; a {key} that is not in the table "
                f'names one it is like, as in like = "...", or has all of them',
                needs=[(key, number, one) for one in (*whole, "name", "like")],
            )


def _check_name(
    name: str, at: Path, faults: Faults, known: Known | None, own: Collection[str], called: str
) -> None:
    if known is None or name in own:
        return
    words = name_fault(name, known if callable(known) else [*known, *own], called)
    if words is not None:
        faults.add(at, f"found {q.spell(name)}; {words}")


def name_fault(name: str, known: Known, called: str) -> str | None:
    """None for a known name, else a message with the allowed ones."""
    if callable(known):
        return known(name)
    return None if name in known else instead(name, known, called=called)


# The hole law is not known for walls thicker than so many bores.
_THICKEST_WALL_BORES = 10.0


def _check_supply(garden: Garden, faults: Faults) -> None:
    supply, us = garden.supply, garden.us_units
    key = STILL[supply.kind]
    called = "the level of the full barrel" if supply.kind is SupplyKind.BARREL else key
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
    key = STILL[supply.kind]
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
            needs=[("supply", STILL[garden.supply.kind]), (*at, "rise")],
        )


def _can_be_seen(row: Row, *, up: bool) -> bool:
    """Whether a hole of the row looks up, or level to the side."""
    face = row.drilling.face
    if up:
        return face is Face.UP or (face is Face.DOWN and row.drilling.walls is Walls.BOTH)
    return face is Face.SIDE
