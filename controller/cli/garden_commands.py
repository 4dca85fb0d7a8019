"""check and new: commands on the garden file itself, with the design advice."""

from __future__ import annotations

import argparse
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from controller.check.cautions import findings
from controller.check.finding import Finding, caution, fault, in_order, in_zone, unsaid
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
)
from controller.cli.output import print_json, to_stderr
from controller.daemon.flow.findable import (
    Findable,
    findable,
    findable_lines,
    findable_remarks,
    leak_from_l_s,
)
from controller.errors import GardenFileError
from controller.garden.model import Zone
from controller.garden.show import show_filled
from controller.hydraulics.calibration.calibrated import Bands, Calibrated
from controller.hydraulics.design.advice import advise
from controller.hydraulics.design.advice_zone import Advice
from controller.inputs.climatology import Normals
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
    """Print what is wrong in a garden, what works badly, and on request what was filled in."""
    try:
        loaded = load_garden(args)
    except GardenFileError as broken:
        if not args.json:
            count = len(broken.faults)
            verdict = say(Message("verdict.faults", {"faults": count}), us=False)
            to_stderr(f"{verdict}. The garden is checked once its file can be read")
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
    found = in_order([*found, *usual_findings, *short, *soil, *tests])
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
        print(_text(checked, everything=args.everything), end="")
        if args.advice:
            print("\nAdvice, what saves most first")
            print(advice_text(advice, us=loaded.garden.us_units), end="")
    return 1 if any(f.weight == "fault" for f in found) else 0


def new(args: argparse.Namespace) -> int:
    """Ask about a garden, write its file and print its first sheet."""
    from controller.cli.new.command import write_new_garden

    return write_new_garden(args)


def _usual(loaded: Loaded) -> tuple[Normals | None, list[Finding]]:
    """The normals by the garden's own files, and what is wrong with its files of weather.

    No service is asked.
    """
    sources = gatherer(loaded, system_clock())
    remarks = sources.station(loaded.garden)
    normals = sources.usual(loaded.garden, remarks)
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


def _text(checked: _Checked, *, everything: bool) -> str:
    """The verdict, faults, cautions, and on request everything that was filled in."""
    garden = checked.loaded.garden
    faults, cautions = checked.lines("fault"), checked.lines("caution")
    verdict = say(_verdict(len(faults), len(cautions)), us=garden.us_units)
    lines = paragraph(f"{garden.site.name}: {verdict}.", "")
    for heading, these in (("Faults", faults), ("Cautions", cautions)):
        lines += ["", heading] if these else []
        for line in these:
            lines += paragraph(f"{line}.", "  ")
    season = [] if checked.season is None else season_lines(checked.season, garden)
    filled = show_filled(garden.filled)
    if everything:
        lines += [line for part in _parts(checked, filled, season) for line in part]
    else:
        lines += _part("Where no weather is known", [f"{checked.climate}."])
        lines += _part("A usual season", season[:1])
        counts = {
            "beds": len(garden.beds),
            "zones": len(garden.zones),
            "rows": sum(len(zone.rows) for zone in garden.zones),
            "filled": len(filled),
        }
        lines += ["", *paragraph(f"{say(Message('verdict.more', counts), us=False)}.", then="")]
    return "\n".join(lines) + "\n"


def _verdict(faults: int, cautions: int) -> Message:
    if not faults:
        return Message(
            "verdict.cautions" if cautions else "verdict.nothing", {"cautions": cautions}
        )
    return Message(
        "verdict.both" if cautions else "verdict.faults", {"faults": faults, "cautions": cautions}
    )


def _parts(checked: _Checked, filled: list[str], season: list[str]) -> Iterator[list[str]]:
    """What was filled in, and what the garden is taken as, part by part."""
    loaded, meter = checked.loaded, checked.meter
    garden, us = loaded.garden, loaded.garden.us_units
    yield _part("Filled in for you", filled)
    yield _part("How the supply is understood", [f"{say(fed, us=us)}." for fed in checked.supply])
    if garden.runs:
        yield _part("The main", run_lines(checked.tested.lines))
    yield _part(
        "How perennials are understood",
        [
            f"{say(where, us=us)}: {say(age, us=us)}"
            for where, age in perennials(garden, loaded.grounds)
        ],
    )
    yield _part("Where no weather is known", [f"{checked.climate}."])
    yield _part("A usual season", season)
    if meter:
        # A table, whose lines are not broken.
        yield ["", "What the flow meter can find", *(f"  {one}" for one in findable_lines(meter))]
        yield [w for line in findable_remarks(meter, garden) for w in paragraph(f"{line}.", "  ")]


def _part(heading: str, lines: Iterable[str]) -> list[str]:
    """Paragraphs under a heading; nothing without any."""
    said = [printed for line in lines for printed in paragraph(line, "  ")]
    return ["", heading, *said] if said else []
