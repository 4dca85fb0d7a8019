"""check and new: commands about the garden file itself."""

from __future__ import annotations

import argparse
import textwrap
from datetime import date
from pathlib import Path

from controller.cli import soiling
from controller.cli.advising import advice_for
from controller.cli.loading import (
    Loaded,
    first_day,
    load_garden,
    load_tested,
    state_dir,
    system_clock,
)
from controller.cli.progress import Progress
from controller.cli.saying import print_json, tell
from controller.daemon.findable import (
    Findable,
    findable,
    findable_lines,
    findable_remarks,
    leak_from_l_s,
)
from controller.errors import GardenFileError, InputError
from controller.garden.new import ask_new
from controller.garden.show import show_filled
from controller.hydraulics.advice import Advice, advice_rows, advice_text
from controller.paper.mainruns import run_lines, run_rows
from controller.paper.usualseason import season_findings, season_lines, season_row
from controller.timetable.cautions import Finding, findings, unsaid
from controller.timetable.climate import climate_in_force
from controller.timetable.finding import caution
from controller.timetable.gather import Gatherer
from controller.timetable.normals import Normals
from controller.timetable.plantingcheck import perennials
from controller.timetable.supplycheck import supply_lines
from controller.timetable.tested import Bands, Tested
from controller.timetable.usualseason import Season, usual_season
from controller.timetable.whole import crop_judge
from crops.catalogue import load as load_catalogue

_WIDTH = 80


def check(args: argparse.Namespace) -> int:
    """Read a garden file and say what was filled in, and what will not work or work badly."""
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
    normals, amiss = _usual(args, loaded)
    climate = climate_in_force(loaded.garden, normals)
    season = _season(loaded, tested, normals, today)
    short = [] if season is None else season_findings(season)
    soil = [
        caution(f'zone "{one.zone}"', one.words.rstrip("."))
        for one in soiling.lately_far(args, loaded, soiling.kept_ledger(args, loaded, today), today)
    ]
    meter = _meter_finds(loaded, tested)
    fed = supply_lines(loaded.garden, tested.lines)
    tests = [caution("field tests", words) for words in tested.warnings]
    found = sorted([*found, *amiss, *short, *soil, *tests], key=lambda f: f.weight != "fault")
    if args.json:
        _as_json(loaded, tested, found, advice, fed, climate, season, meter)
    else:
        print(_text(loaded, tested, found, fed, climate, season, meter), end="")
        if args.advice:
            print("\nAdvice, what saves most first")
            print(advice_text(advice, us=loaded.garden.us_units), end="")
    return 1 if any(f.weight == "fault" for f in found) else 0


def new(args: argparse.Namespace) -> int:
    """Ask a handful of questions and write a garden file."""
    path = Path(args.garden)
    if path.exists():
        raise InputError(f"{path} is there already; name another file, or move that one away")
    text = ask_new(_ask, known_crops=crop_judge(load_catalogue()))
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as fault:
        raise InputError(f"{path} cannot be written: {fault.strerror}") from fault
    tell(f"{path} is written; see what was filled in with: rowgate check {path}")
    return 0


def _ask(question: str, default: str) -> str:
    shown = f"{question} [{default}]: " if default else f"{question}: "
    try:
        return input(shown).strip() or default
    except EOFError:
        raise InputError("the answers ended before the last question; nothing is written") from None


def _usual(args: argparse.Namespace, loaded: Loaded) -> tuple[Normals | None, list[Finding]]:
    """What is usual here by the garden's own files, and what is amiss with them.

    No service is asked for that.
    """
    files = Gatherer(loaded.path.parent, state_dir(args, loaded) / "weather-cache", system_clock())
    said: list[str] = []
    normals = files.usual(loaded.garden, said)
    unread = ("no climate table", "no normals")
    return normals, [
        Finding(
            weight="fault" if words.startswith(unread) else "caution", where="weather", words=words
        )
        for words in said
    ]


def _meter_finds(loaded: Loaded, tested: Tested) -> tuple[Findable, ...]:
    """What the flow meter can find; nothing is computed without one."""
    if loaded.garden.meter is None:
        return ()
    bands = Bands(loaded.garden, tested.fitted)
    return findable(loaded.garden, tested.lines, tested.corrections, bands)


def _season(loaded: Loaded, tested: Tested, normals: Normals | None, today: date) -> Season | None:
    """A usual season played through; it takes seconds where zones go short."""
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


def _as_json(
    loaded: Loaded,
    tested: Tested,
    found: list[Finding],
    advice: tuple[Advice, ...],
    fed: list[str],
    climate: str,
    season: Season | None,
    meter: tuple[Findable, ...],
) -> None:
    garden = loaded.garden
    print_json(
        {
            "garden": loaded.garden.site.name,
            "faults": [f"{f.where}: {f.words}" for f in found if f.weight == "fault"],
            "cautions": [f"{f.where}: {f.words}" for f in found if f.weight == "caution"],
            "filled": [
                {"where": f.where, "key": f.key, "value": f.shown, "why": f.why}
                for f in loaded.garden.filled
            ],
            "main_runs": run_rows(tested.lines),
            "perennials": [
                {"where": where, "taken_as": words}
                for where, words in perennials(loaded.garden, loaded.grounds)
            ],
            "supply": fed,
            "climate": climate,
            "usual_season": None if season is None else season_row(season),
            "meter": None
            if garden.meter is None
            else {
                "leak_found_from_l_s": leak_from_l_s(garden.meter),
                "zones": [one.row() for one in meter],
            },
            "advice": advice_rows(advice),
        }
    )


def _text(
    loaded: Loaded,
    tested: Tested,
    found: list[Finding],
    fed: list[str],
    climate: str,
    season: Season | None,
    meter: tuple[Findable, ...],
) -> str:
    garden = loaded.garden
    zones, rows = len(garden.zones), sum(len(z.rows) for z in garden.zones)
    lines = [
        f"{garden.site.name}: {len(garden.beds)} beds, {zones} zones, {rows} rows; it reads well.",
        "",
        "Filled in for you",
    ]
    for line in show_filled(garden.filled):
        lines += _wrapped(line, "  ")
    if fed:
        lines += ["", "The supply is taken as"]
        for line in fed:
            lines += _wrapped(f"{line}.", "  ")
    if garden.runs:
        lines += ["", "The main"]
        for line in run_lines(tested.lines):
            lines += _wrapped(line, "  ")
    taken = perennials(garden, loaded.grounds)
    if taken:
        lines += ["", "Perennials are taken as"]
        for where, words in taken:
            lines += _wrapped(f"{where}: {words}", "  ")
    lines += ["", "Where no weather is known", *_wrapped(f"{climate}.", "  ")]
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
        these = [f for f in found if f.weight == weight]
        lines += ["", heading] if these else ["", f"{heading}: none"]
        for item_found in these:
            lines += _wrapped(f"{item_found.where}: {item_found.words}.", "  ")
    return "\n".join(lines) + "\n"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
