"""Checks across the keys of a file: duplicates, overlaps, pins, sizes, dates."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.faults import Faults, Path, instead
from controller.garden.from_file.zones import check_plantings
from controller.garden.hardware import WrittenDevice
from controller.garden.model import Garden
from controller.garden.physical_checks import check_physics
from controller.garden.plumbing import Row, ValveKind, Walls
from controller.garden.schema import WrittenGarden


def check_pins(written: WrittenGarden, faults: Faults) -> None:
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
    check_pins(written, faults)
    check_physics(garden, faults)
    for number, zone in enumerate(garden.zones):
        for row_number, row in enumerate(zone.rows):
            _check_row(row, ("zone", number, "row", row_number), faults, garden.us_units)
        check_plantings(written.zone[number], ("zone", number), faults)
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
    stations = stations_on(row)
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


def stations_on(row: Row) -> int:
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
                f'names one it is like, as in like = "...", or tells all of them',
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
