"""check and new: commands on the garden file itself, with the design advice."""

from __future__ import annotations

import argparse
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.check.cautions import findings
from controller.check.finding import Finding, caution, fault, in_zone, unsaid
from controller.check.supply_checks import supply_lines
from controller.check.usual_season import Season, season_findings, usual_season
from controller.check.zone_checks import perennials
from controller.cli import soil_notes
from controller.cli.loading import (
    Loaded,
    Progress,
    gatherer,
    load_garden,
    load_tested,
    own_today,
    system_clock,
    write_file,
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
from controller.hydraulics.design.advice import advise
from controller.hydraulics.design.advice_zone import Advice
from controller.inputs.climatology import Normals
from controller.inputs.garden_loader import crop_name_check
from controller.inputs.gather import UNREAD
from controller.inputs.monthly_climate import climate_in_force
from controller.messages import Message, verbatim
from controller.paper.advice import advice_rows, advice_text
from controller.paper.flows import run_lines, run_rows
from controller.paper.text import paragraph
from controller.paper.usual_season import season_lines, season_row
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
    return tuple(one for one in found if not set(zones).isdisjoint(one.zones))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Checked:
    """Everything that `check` prints about a garden file."""

    loaded: Loaded
    tested: Calibrated
    found: list[Finding]
    advice: tuple[Advice, ...]
    supply: list[Message]
    climate: str
    season: Season | None
    meter: tuple[Findable, ...]

    def lines(self, weight: str) -> list[str]:
        """The findings of this weight in words."""
        us = self.loaded.garden.us_units
        these = [f for f in self.found if f.weight == weight]
        return [f"{say(f.where, us=us)}: {say(f.message, us=us)}" for f in these]


def check(args: argparse.Namespace) -> int:
    """Read a garden file, and print what was filled in and what will not work, or badly."""
    try:
        loaded = load_garden(args)
    except GardenFileError as broken:
        if not args.json:
            raise
        print_json({"faults": list(broken.faults), "cautions": [], "filled": []})
        return 2
    tested = load_tested(loaded)
    advice = advice_for(loaded, tested) if args.advice else ()
    today = own_today(loaded, system_clock())
    found = unsaid(findings(loaded.garden, loaded.grounds, tested.lines, today=today), advice)
    normals, usual_findings = _usual(loaded)
    climate = say(climate_in_force(loaded.garden, normals), us=loaded.garden.us_units)
    season = _season(loaded, tested, normals, today)
    short = [] if season is None else season_findings(season)
    soil = [
        caution(in_zone(one.zone), verbatim(one.words.rstrip(".")))
        for one in soil_notes.recent_contradictions(
            loaded, soil_notes.recent_ledger(loaded, today), today
        )
    ]
    meter = _meter_finds(loaded, tested)
    fed = supply_lines(loaded.garden, tested.lines)
    tests = [caution(Message("place.field_tests"), warning) for warning in tested.warnings]
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
    write_file(path, text, new=True)
    to_stderr(f"{path} is written; see what was filled in with: rowgate check {path}")
    return 0


def _ask(question: str, default: str) -> str:
    shown = f"{question} [{default}]: " if default else f"{question}: "
    try:
        return input(shown).strip() or default
    except EOFError:
        raise InputError("the answers ended before the last question; nothing is written") from None


def _usual(loaded: Loaded) -> tuple[Normals | None, list[Finding]]:
    """The normals by the garden's own files, and what is wrong with those.

    No service is asked for them.
    """
    remarks: list[Message] = []
    normals = gatherer(loaded, system_clock()).usual(loaded.garden, remarks)
    return normals, [
        (fault if remark.code in UNREAD else caution)(Message("place.weather"), remark)
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
    garden, us = loaded.garden, loaded.garden.us_units
    print_json(
        {
            "garden": loaded.garden.site.name,
            "faults": checked.lines("fault"),
            "cautions": checked.lines("caution"),
            "filled": [
                {"where": f.where, "key": f.key, "value": f.shown, "why": f.why}
                for f in loaded.garden.filled
            ],
            "main_runs": run_rows(checked.tested.lines),
            "perennials": [
                {"where": say(where, us=us), "taken_as": say(age, us=us)}
                for where, age in perennials(garden, loaded.grounds)
            ],
            "supply": [say(line, us=us) for line in checked.supply],
            "climate": checked.climate,
            "usual_season": None if checked.season is None else season_row(checked.season, us=us),
            "meter": None
            if garden.meter is None
            else {
                "leak_found_from_l_s": leak_from_l_s(garden.meter),
                "zones": [one.row() for one in checked.meter],
            },
            "advice": advice_rows(checked.advice, us=garden.us_units),
        }
    )


def _text(checked: _Checked) -> str:
    loaded, season, meter = checked.loaded, checked.season, checked.meter
    garden, us = loaded.garden, loaded.garden.us_units
    zones, rows = len(garden.zones), sum(len(z.rows) for z in garden.zones)
    lines = [
        f"{garden.site.name}: {len(garden.beds)} beds, {zones} zones, {rows} rows; it reads well.",
        "",
        "Filled in for you",
    ]
    for line in show_filled(garden.filled):
        lines += paragraph(line, "  ")
    if checked.supply:
        lines += ["", "The supply is taken as"]
        for fed in checked.supply:
            lines += paragraph(f"{say(fed, us=us)}.", "  ")
    if garden.runs:
        lines += ["", "The main"]
        for line in run_lines(checked.tested.lines):
            lines += paragraph(line, "  ")
    taken = perennials(garden, loaded.grounds)
    if taken:
        lines += ["", "Perennials are taken as"]
        for where, age in taken:
            lines += paragraph(f"{say(where, us=us)}: {say(age, us=us)}", "  ")
    lines += ["", "Where no weather is known", *paragraph(f"{checked.climate}.", "  ")]
    if season is not None:
        lines += ["", "A usual season"]
        for line in season_lines(season, garden):
            lines += paragraph(line, "  ")
    if meter:
        lines += ["", "What the flow meter can find"]
        lines += [f"  {line}" for line in findable_lines(meter)]
        for line in findable_remarks(meter, garden):
            lines += paragraph(f"{line}.", "  ")
    for weight, heading in (("fault", "Faults"), ("caution", "Cautions")):
        these = checked.lines(weight)
        lines += ["", heading] if these else ["", f"{heading}: none"]
        for line in these:
            lines += paragraph(f"{line}.", "  ")
    return "\n".join(lines) + "\n"
