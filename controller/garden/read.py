"""Reader of garden files: it gives a `Garden`, or all faults with their lines."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from controller.errors import GardenFileError
from controller.garden import values
from controller.garden.checks import Known, check
from controller.garden.faults import Faults
from controller.garden.from_file.defaults import Filling
from controller.garden.from_file.hardware import health_of, master_of, meter_of, sensors_of
from controller.garden.from_file.supply import runs_of, supply_of
from controller.garden.from_file.zones import ZoneBuilder
from controller.garden.model import (
    MOST_TURNS,
    Board,
    Garden,
    Hold,
    Site,
    Watering,
    WeatherSource,
    Window,
    Zone,
)
from controller.garden.plumbing import Pipe, ValveKind
from controller.garden.pydantic_form import own_crop, own_soil, read_table
from controller.garden.quantities import is_us
from controller.garden.schema import WrittenGarden, WrittenWeather
from controller.garden.size import MOST_BYTES, require_size, too_large

# A quantity without quotes, the most common mistake: length = 11 ft
_BARE_QUANTITY = re.compile(r"=\s*([-+]?\d[\d ./,-]*\s*[A-Za-z%°][A-Za-z0-9/]*)\s*(?:#|,|\}|$)")


def read_garden(
    path: str | Path,
    *,
    pipes: Mapping[str, Pipe],
    known_crops: Known | None = None,
    known_soils: Known | None = None,
) -> Garden:
    """Read a garden file.

    `pipes` are the known pipe sizes. `known_crops` and `known_soils` are the known names, or
    functions that give None for a known name and a message for any other; with None any name is
    accepted. Raises `GardenFileError` with all faults.
    """
    try:
        with Path(path).open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise too_large(str(path))
        text = raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise GardenFileError([f"{path}: not UTF-8 text; save it as UTF-8"]) from error
    except OSError as error:
        raise GardenFileError([f"{path}: cannot be read: {error.strerror or error}"]) from error
    return read_garden_text(
        text, path=str(path), pipes=pipes, known_crops=known_crops, known_soils=known_soils
    )


def read_garden_text(
    text: str,
    *,
    path: str = "garden.toml",
    pipes: Mapping[str, Pipe],
    known_crops: Known | None = None,
    known_soils: Known | None = None,
) -> Garden:
    """Read the text of a garden file; `path` only names it in the faults."""
    require_size(text, path)
    data = _toml(text, path)
    faults = Faults(path, text, data)
    written = read_table(WrittenGarden, data, faults)
    us_units = written.units if written.units is not None else written.site.units
    if us_units is None:
        us_units = _mostly_us(data)
    garden = _garden(Filling(written, faults, pipes, us_units))
    check(written, garden, faults, known_crops=known_crops, known_soils=known_soils)
    faults.raise_if_any()
    return garden


def _toml(text: str, path: str) -> dict[str, Any]:
    """The values of the TOML text; GardenFileError with its first mistake and line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise GardenFileError([_slip(text, path, str(error))]) from error
    except RecursionError as error:
        raise GardenFileError([f"{path}: lists within lists too deep to read"]) from error
    except ValueError as error:  # a number of thousands of digits
        raise GardenFileError([f"{path}: cannot be read: {error}"]) from error


def _slip(text: str, path: str, message: str) -> str:
    """The parser's message, with the line and a hint for the two most common mistakes."""
    at = re.search(r" \(at line (\d+), column \d+\)$", message)
    lines = text.split("\n")
    line_no = int(at[1]) if at else max(1, len(text.rstrip().split("\n")))
    what = re.sub(r" \(at .*\)$", "", message)
    line = lines[line_no - 1] if line_no <= len(lines) else ""
    bare = _BARE_QUANTITY.search(line)
    hint = f'; a quantity stands in quotes, as in "{bare[1].strip()}"' if bare else ""
    if not bare and "{" in line and "}" not in line[line.rindex("{") :]:
        hint = "; a table in { } stands on one line: write a long row under [[zone.row]] instead"
    return f"{path}, line {line_no}: not valid TOML: {what[:1].lower()}{what[1:]}{hint}"


def _mostly_us(data: Any) -> bool:
    """Whether most quantities of the file are in US units; metric on a tie (our choice)."""
    found = [us for us in map(is_us, _texts(data)) if us is not None]
    return sum(found) * 2 > len(found)


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict | list):
        for inner in data.values() if isinstance(data, dict) else data:
            yield from _texts(inner)


def _garden(filling: Filling) -> Garden:
    """The model: references resolved, every default filled in and reported.

    An unknown reference gives a fault. Defaults marked `our choice` have no other source.
    """
    w = filling.written
    if w.units is None and w.site.units is None:
        filling.report((), "units", "us" if filling.us else "metric", "most of the file is in them")
    runs = runs_of(filling)
    at_tap = [run.pipe for run in runs if not run.parent]
    builder = ZoneBuilder(filling, runs)
    zones = builder.zones
    supply = supply_of(filling)
    site = filling.used(("site",), w.site)
    return Garden(
        site=Site(
            name=site.name,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            timezone=site.timezone,
            coastal=site.coastal,
        ),
        supply=supply,
        main=max(at_tap, key=lambda pipe: pipe.bore_m)
        if at_tap
        else filling.pipe(("main", "size"), filling.used(("main",), w.main).size),
        runs=runs,
        watering=_watering(filling, zones),
        weather=_weather(filling),
        board=_board(filling, zones),
        master=master_of(filling, zones),
        meter=meter_of(filling, supply),
        sensors=sensors_of(filling),
        health=health_of(filling),
        beds=builder.beds,
        zones=zones,
        own_crops=tuple(own_crop(crop) for crop in w.crop),
        own_soils=tuple(own_soil(soil) for soil in w.soil),
        us_units=filling.us,
        # Our choice: who measures in gallons reads 5:30 pm.
        twelve_hours=filling.us if w.site.clock is None else w.site.clock,
        filled=tuple(filling.filled),
        path=filling.faults.path,
    )


def _watering(filling: Filling, zones: tuple[Zone, ...]) -> Watering:
    w = filling.written.watering
    used = filling.used(("watering",), w)
    set_out = any(planting.transplanted for zone in zones for planting in zone.plantings)
    by_hand = any(zone.valve.kind is ValveKind.HAND for zone in zones)
    # Defaults are reported in the order in which they are read here.
    return Watering(
        windows=_windows(filling, zones),
        settling_days=(used if set_out else w).settling_days,
        refill_at=used.refill_at,
        hand_water=(used if by_hand else w).hand_water,
        hand_visits=(used if by_hand else w).hand_visits,
        hand_turns=_hand_turns(filling, zones),
        holds=tuple(
            Hold(
                begins=_first_moment(hold.begins),
                ends=_last_moment(hold.ends),
                zones=frozenset(hold.zones),
                reason=hold.reason,
            )
            for hold in w.hold
        ),
        satisfy=used.satisfy,
        most_open=used.most_open,
        least_share=used.least_share,
        basin_mm=1000.0 * used.basin_m,
        drilling_scatter=used.drilling_scatter,
        level_error_m=used.level_error_m,
        shortest_pulse_s=used.shortest_pulse_s,
        coefficients=used.coefficients,
        forecast_trust=used.forecast_trust,
    )


# Our choice: an hour or so, at five minutes an opening.
_HAND_TURNS = 12


def _hand_turns(filling: Filling, zones: tuple[Zone, ...]) -> int:
    """The turns of a round as written; else twelve, or one for each zone of a keeper."""
    written = filling.written.watering.hand_turns
    keepers = Counter(z.bed.keeper for z in zones if z.valve.kind is ValveKind.HAND)
    turns = min(MOST_TURNS, max(_HAND_TURNS, *keepers.values(), 0))
    if written is None and keepers:
        why = "our choice: an hour or so, or one for each zone of a keeper"
        filling.report(("watering",), "hand_turns", str(turns), why)
    return turns if written is None else written


# Our choice: before the heat of the day, and when people come home.
_RELAY_WINDOW = Window(opens=time(5), closes=time(8), valves=frozenset({ValveKind.RELAY}))
_HAND_WINDOW = Window(opens=time(18), closes=time(20), valves=frozenset({ValveKind.HAND}))


def _windows(filling: Filling, zones: tuple[Zone, ...]) -> tuple[Window, ...]:
    written = filling.written.watering.window
    if written is not None:
        return tuple(
            Window(
                opens=window.opens,
                closes=window.closes,
                weekdays=window.weekdays,
                valves=window.valves,
            )
            for window in written
        )
    kinds = {zone.valve.kind for zone in zones}
    windows = tuple(w for w in (_RELAY_WINDOW, _HAND_WINDOW) if w.valves & kinds)
    for window in windows:
        (kind,) = window.valves
        shown = f"{window.opens:%H:%M} to {window.closes:%H:%M} for {kind} valves"
        filling.report(("watering",), "window", shown, "our choice")
    return windows


def _first_moment(written: date | datetime) -> datetime:
    """The start of a hold: a plain date begins at its midnight."""
    return written if isinstance(written, datetime) else datetime.combine(written, time())


def _last_moment(written: date | datetime) -> datetime:
    """The end of a hold: a plain date includes its whole day."""
    if isinstance(written, datetime):
        return written
    return datetime.combine(min(written, date(9999, 12, 30)) + timedelta(days=1), time())


def _weather(filling: Filling) -> WeatherSource:
    """The sources of weather; keys that do not fit together give a fault."""
    w = filling.written.weather
    used = filling.used(("weather",), w)
    if used.file is None and filling.faults.is_written(("weather", "file_kind")):
        filling.faults.add(
            ("weather", "file_kind"),
            f'found "{w.file_kind}" without a file; name that too, as in file = "weather.csv"',
            needs=[("weather", "file")],
        )
    last_resort = w.normals is None and w.climate_table is None
    return WeatherSource(
        file=w.file,
        file_kind=w.file_kind,
        climate=(used if last_resort else w).climate,
        services=_services(filling, used),
        wind_height_m=used.wind_height_m,
        normals_file=w.normals,
        climate_table=w.climate_table,
        contact=w.contact,
        frost_hold_c=None if isinstance(used.frost_hold, str) else used.frost_hold,
    )


def _services(filling: Filling, used: WrittenWeather) -> tuple[str, ...]:
    """The services by name; the meaning of `online = true` is reported."""
    asked = used.online
    if isinstance(asked, tuple):
        for name in asked:
            if name in values.WANT_CONTACT and not used.contact:
                filling.faults.add(
                    ("weather", "online"),
                    f'found "{name}" without a contact; it answers only those who say who they '
                    f'are, as in contact = "gardener@example.org"',
                    needs=[("weather", "contact")],
                )
        return asked
    if not asked:
        return ()
    services = ("open-meteo", "met-norway") if used.contact else ("open-meteo",)
    why = "these, in this order" if used.contact else "this; with a contact, met-norway after it"
    filling.report(("weather",), "online", ", ".join(services), f"true means {why}")
    return services


def _board(filling: Filling, zones: tuple[Zone, ...]) -> Board:
    w = filling.written
    others = (w.master, w.meter, *w.sensor)
    board = w.board
    if any(zone.valve.kind is ValveKind.RELAY for zone in zones) or any(others):
        board = filling.used(("board",), board)
    return Board(
        pins=board.pins,
        active_low=board.active_low,
        resistors=board.resistors,
        chip=board.chip,
        battery_clock=board.battery_clock,
    )
