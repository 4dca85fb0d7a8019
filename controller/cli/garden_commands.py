"""check and new: commands on the garden file itself, with the design advice."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.cli import soil_notes
from controller.cli.loading import (
    Loaded,
    Progress,
    first_day,
    load_garden,
    load_tested,
    state_dir,
    system_clock,
)
from controller.cli.output import print_json, to_stderr
from controller.daemon.flow.findable import (
    Findable,
    findable,
    findable_lines,
    findable_remarks,
    leak_from_l_s,
)
from controller.errors import GardenFileError, InputError
from controller.garden.model import Zone
from controller.garden.new_garden import ask_new
from controller.garden.show import show_filled
from controller.hydraulics.calibration.calibrated import Bands, Calibrated
from controller.hydraulics.design.advice import Advice, advice_rows, advice_text, advise
from controller.inputs.climatology import Normals
from controller.inputs.garden_loader import crop_name_check
from controller.inputs.gather import UNREAD, Gatherer
from controller.inputs.monthly_climate import climate_in_force
from controller.messages import Message
from controller.paper.flows import run_lines, run_rows
from controller.paper.usual_season import season_findings, season_lines, season_row
from controller.timetable.check.cautions import Finding, findings, unsaid
from controller.timetable.check.finding import caution
from controller.timetable.check.supply_checks import supply_lines
from controller.timetable.check.usual_season import Season, usual_season
from controller.timetable.check.zone_checks import perennials
from controller.timetable.need.dose import Soaking, soaking_of
from controller.timetable.need.wetted_area import zone_wet_ground_m2
from controller.wording.say import say
from crops.catalogue import load as load_catalogue


def advice_for(
    loaded: Loaded, tested: Calibrated, zones: Collection[str] | None = None
) -> tuple[Advice, ...]:
    """What to build or set differently; with zones, only what names one of them."""
    garden, grounds = loaded.garden, loaded.grounds

    def soaking(zone: Zone) -> Soaking:
        soil = grounds.soil(zone.bed.soil)
        wet_m2 = zone_wet_ground_m2(zone, soil, tested.lines)
        return soaking_of(wet_m2, soil, garden.watering.basin_mm)

    found = advise(
        garden,
        tested.lines,
        lambda crop: grounds.crop(crop).in_row_spacing_m,
        soaking=soaking,
        corrections=tested.corrections,
    )
    if zones is None:
        return found
    return tuple(a for a in found if any(f'"{zone}"' in a.where + a.words for zone in zones))


_WIDTH = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class _Checked:
    """Everything that `check` prints about a garden file."""

    loaded: Loaded
    tested: Calibrated
    found: list[Finding]
    advice: tuple[Advice, ...]
    supply: list[str]
    climate: str
    season: Season | None
    meter: tuple[Findable, ...]


def check(args: argparse.Namespace) -> int:
    """Read a garden file, and print what was filled in and what will not work, or badly."""
    try:
        loaded = load_garden(args)
    except GardenFileError as broken:
        if not args.json:
            raise
        print_json({"faults": list(broken.faults), "cautions": [], "filled": []})
        return 2
    tested = load_tested(args, loaded)
    advice = advice_for(loaded, tested) if args.advice else ()
    today = first_day(args, loaded, system_clock())
    found = unsaid(findings(loaded.garden, loaded.grounds, tested.lines, today=today), advice)
    normals, usual_findings = _usual(args, loaded)
    climate = say(climate_in_force(loaded.garden, normals), us=loaded.garden.us_units)
    season = _season(loaded, tested, normals, today)
    short = [] if season is None else season_findings(season, us=loaded.garden.us_units)
    soil = [
        caution(f'zone "{one.zone}"', one.words.rstrip("."))
        for one in soil_notes.lately_far(
            args, loaded, soil_notes.kept_ledger(args, loaded, today), today
        )
    ]
    meter = _meter_finds(loaded, tested)
    fed = supply_lines(loaded.garden, tested.lines)
    tests = [caution("field tests", words) for words in tested.warnings]
    found = sorted(
        [*found, *usual_findings, *short, *soil, *tests], key=lambda f: f.weight != "fault"
    )
    checked = _Checked(
        loaded=loaded,
        tested=tested,
        found=found,
        advice=advice,
        supply=fed,
        climate=climate,
        season=season,
        meter=meter,
    )
    if args.json:
        _as_json(checked)
    else:
        print(_text(checked), end="")
        if args.advice:
            print("\nAdvice, what saves most first")
            print(advice_text(advice, us=loaded.garden.us_units), end="")
    return 1 if any(f.weight == "fault" for f in found) else 0


def new(args: argparse.Namespace) -> int:
    """Ask a handful of questions and write a garden file."""
    path = Path(args.garden)
    if path.exists():
        raise InputError(f"{path} is there already; name another file, or move that one away")
    text = ask_new(_ask, known_crops=crop_name_check(load_catalogue()))
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as fault:
        raise InputError(f"{path} cannot be written: {fault.strerror}") from fault
    to_stderr(f"{path} is written; see what was filled in with: rowgate check {path}")
    return 0


def _ask(question: str, default: str) -> str:
    shown = f"{question} [{default}]: " if default else f"{question}: "
    try:
        return input(shown).strip() or default
    except EOFError:
        raise InputError("the answers ended before the last question; nothing is written") from None


def _usual(args: argparse.Namespace, loaded: Loaded) -> tuple[Normals | None, list[Finding]]:
    """The normals by the garden's own files, and what is wrong with those.

    No service is asked for them.
    """
    files = Gatherer(loaded.path.parent, state_dir(args, loaded) / "weather-cache", system_clock())
    remarks: list[Message] = []
    normals = files.usual(loaded.garden, remarks)
    return normals, [
        Finding(
            weight="fault" if remark.code in UNREAD else "caution",
            where="weather",
            words=say(remark, us=loaded.garden.us_units),
        )
        for remark in remarks
    ]


def _meter_finds(loaded: Loaded, tested: Calibrated) -> tuple[Findable, ...]:
    """What the flow meter can find; nothing without a meter."""
    if loaded.garden.meter is None:
        return ()
    bands = Bands(loaded.garden, tested.fitted)
    return findable(loaded.garden, tested.lines, tested.corrections, bands)


def _season(
    loaded: Loaded, tested: Calibrated, normals: Normals | None, today: date
) -> Season | None:
    """A usual season, simulated; it takes seconds where zones go short."""
    progress = Progress("Playing a usual season, days played", system_clock())
    try:
        return usual_season(
            loaded.garden,
            loaded.grounds,
            tested.lines,
            normals,
            today=today,
            on_day=progress.step,
        )
    finally:
        progress.done()


def _as_json(checked: _Checked) -> None:
    loaded = checked.loaded
    garden = loaded.garden
    print_json(
        {
            "garden": loaded.garden.site.name,
            "faults": [f"{f.where}: {f.words}" for f in checked.found if f.weight == "fault"],
            "cautions": [f"{f.where}: {f.words}" for f in checked.found if f.weight == "caution"],
            "filled": [
                {"where": f.where, "key": f.key, "value": f.shown, "why": f.why}
                for f in loaded.garden.filled
            ],
            "main_runs": run_rows(checked.tested.lines),
            "perennials": [
                {"where": where, "taken_as": words}
                for where, words in perennials(loaded.garden, loaded.grounds)
            ],
            "supply": checked.supply,
            "climate": checked.climate,
            "usual_season": None
            if checked.season is None
            else season_row(checked.season, us=garden.us_units),
            "meter": None
            if garden.meter is None
            else {
                "leak_found_from_l_s": leak_from_l_s(garden.meter),
                "zones": [one.row() for one in checked.meter],
            },
            "advice": advice_rows(checked.advice),
        }
    )


def _text(checked: _Checked) -> str:
    loaded, season, meter = checked.loaded, checked.season, checked.meter
    garden = loaded.garden
    zones, rows = len(garden.zones), sum(len(z.rows) for z in garden.zones)
    lines = [
        f"{garden.site.name}: {len(garden.beds)} beds, {zones} zones, {rows} rows; it reads well.",
        "",
        "Filled in for you",
    ]
    for line in show_filled(garden.filled):
        lines += _wrapped(line, "  ")
    if checked.supply:
        lines += ["", "The supply is taken as"]
        for line in checked.supply:
            lines += _wrapped(f"{line}.", "  ")
    if garden.runs:
        lines += ["", "The main"]
        for line in run_lines(checked.tested.lines):
            lines += _wrapped(line, "  ")
    taken = perennials(garden, loaded.grounds)
    if taken:
        lines += ["", "Perennials are taken as"]
        for where, words in taken:
            lines += _wrapped(f"{where}: {words}", "  ")
    lines += ["", "Where no weather is known", *_wrapped(f"{checked.climate}.", "  ")]
    if season is not None:
        lines += ["", "A usual season"]
        for line in season_lines(season, garden):
            lines += _wrapped(line, "  ")
    if meter:
        lines += ["", "What the flow meter can find"]
        lines += [f"  {line}" for line in findable_lines(meter)]
        for line in findable_remarks(meter, garden):
            lines += _wrapped(f"{line}.", "  ")
    for weight, heading in (("fault", "Faults"), ("caution", "Cautions")):
        these = [f for f in checked.found if f.weight == weight]
        lines += ["", heading] if these else ["", f"{heading}: none"]
        for item_found in these:
            lines += _wrapped(f"{item_found.where}: {item_found.words}.", "  ")
    return "\n".join(lines) + "\n"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
