"""plan, balance, flow, et: commands that compute and print, and move nothing."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

from controller.cli import soil_notes
from controller.cli.garden_commands import advice_for
from controller.cli.loading import (
    Loaded,
    first_day,
    load_garden,
    load_kept,
    load_tested,
    print_csv,
    system_clock,
    today_in,
    weather_for,
)
from controller.cli.output import print_json, to_stderr
from controller.clock import Clock
from controller.errors import InputError
from controller.garden.model import Garden, Site
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.hole_law_error import Range, evenness_range
from controller.hydraulics.design.advice import advice_text
from controller.hydraulics.design.what_if import what_if, what_if_text
from controller.hydraulics.network.filling import LineFill, line_fill
from controller.hydraulics.network.garden_lines import Lines, SetFlow
from controller.inputs.days import clear_sky_of, eto_of
from controller.paper.flows import FlowFacts, flow_document, flow_text
from controller.paper.ledger import ledger_rows, ledger_text
from controller.paper.picture import row_picture_svg
from controller.paper.printout import (
    dose_rows,
    flooding_row,
    left_rows,
    no_water_rows,
    short_rows,
    timetable_rows,
    timetable_text,
    water_in_rows,
)
from controller.paper.small_tables import eto_rows, eto_text, fitted_words
from controller.timetable.need.jobs import allowed_mm
from controller.timetable.plan import ledger_on, plan_on
from controller.timetable.records import Timetable
from controller.weather.files.reader import read_weather
from controller.wording.say import say

_DAY = timedelta(days=1)
_WIDTH = 80


def plan(args: argparse.Namespace) -> int:
    """Print a dry-run timetable."""
    clock = system_clock()
    loaded = load_garden(args)
    first = first_day(args, loaded, clock)
    last = first + (args.days - 1) * _DAY
    tested = load_tested(args, loaded)
    timetable = _timetable(args, loaded, tested.lines, first, last, clock)
    bands = Bands(loaded.garden, tested.fitted) if args.band else None
    rows, us = timetable_rows(timetable, loaded.garden, bands), loaded.garden.us_units
    soil = soil_notes.lately_far(args, loaded, timetable.ledger, first)
    if args.json:
        print_json(
            {
                "garden": loaded.garden.site.name,
                "first": first.isoformat(),
                "last": last.isoformat(),
                "timetable": rows,
                "doses": dose_rows(timetable, us=us),
                "not_fitted": left_rows(timetable, us=us),
                "short": short_rows(timetable, us=us),
                "no_water": no_water_rows(timetable, us=us),
                "water_in": water_in_rows(timetable),
                "against_flooding": flooding_row(timetable),
                "soil_read": [check.row() for check in soil],
                "remarks": [say(remark, us=us) for remark in timetable.remarks],
                "field_tests": list(tested.warnings),
            }
        )
    elif args.csv:
        print_csv(rows)
        for left in timetable.not_fitted:
            reason = say(left.reason, us=us)
            to_stderr(f"not given: {left.zone}, {left.day}, {left.litres:.1f} L: {reason}")
    else:
        print(timetable_text(timetable, loaded.garden, bands), end="")
        for check in soil:
            print(textwrap.fill(check.words, _WIDTH, subsequent_indent="  "))
        for words in tested.warnings:
            print(textwrap.fill(f"Field tests: {words}", _WIDTH, subsequent_indent="  "))
    return 0


def balance(args: argparse.Namespace) -> int:
    """Print the ledger day by day."""
    clock = system_clock()
    loaded = load_garden(args)
    if args.zone:
        _must_know(loaded.garden, [args.zone])
    now = first_day(argparse.Namespace(), loaded, clock)
    last = args.last or now - _DAY
    first = args.first or last - 13 * _DAY
    if first > last:
        raise InputError(f"--from {first} is after --to {last}")
    lines = load_tested(args, loaded).lines
    # The days gone, with what counts of them; what lies ahead is planned.
    planned_from = min(last + _DAY, max(first, now))
    kept = load_kept(args, loaded, max(last, planned_from))
    today = planned_from if loaded.is_example else min(now, planned_from)
    timetable = ledger_on(
        loaded.garden,
        loaded.grounds,
        lines,
        weather_for(args, loaded, kept, today=today, clock=clock),
        kept.given,
        first=first,
        last=last,
        planned_from=planned_from,
        today=today,
    )
    shown = [
        row
        for row in timetable.ledger
        if first <= row.day <= last and args.zone in (None, row.zone)
    ]
    us = loaded.garden.us_units
    remarks = [say(remark, us=us) for remark in timetable.remarks]
    if args.json:
        print_json(
            {
                "balance": ledger_rows(shown),
                "soil_read": [check.row() for check in soil_notes.checks(args, loaded, shown)],
                "remarks": remarks,
            }
        )
    elif args.csv:
        print_csv(ledger_rows(shown))
    else:
        text = ledger_text(
            shown,
            remarks,
            us=us,
            garden=loaded.garden,
            allowed=lambda row: allowed_mm(row, loaded.garden, loaded.grounds),
        )
        print(text, end="")
        for check in soil_notes.checks(args, loaded, shown):
            print(textwrap.fill(check.words, _WIDTH, subsequent_indent="  "))
    return 0


def flow(args: argparse.Namespace) -> int:
    """Print what each zone, row and hole delivers, alone or together."""
    loaded = load_garden(args)
    garden = loaded.garden
    if args.open_zones is None:
        sets = [[zone.name] for zone in garden.zones]
    else:
        sets = [[name.strip() for name in args.open_zones.split(",") if name.strip()]]
        _must_know(garden, sets[0])
    tested = load_tested(args, loaded)
    found = [(names, tested.lines.open_set(frozenset(names))) for names in sets]
    bands = Bands(garden, tested.fitted)

    def fills(zone: str, names: Sequence[str]) -> LineFill:
        return line_fill(tested.lines, zone, frozenset(names))

    def ranges(names: Sequence[str]) -> tuple[float, float]:
        return tested.lines.flow_range(frozenset(names))

    def evens(zone: str, names: Sequence[str]) -> Range | None:
        return evenness_range(tested.lines, zone, frozenset(names))

    facts = FlowFacts(bands=bands, fills=fills, ranges=ranges, evens=evens)
    what_ifs = (
        {name: what_if(garden, name, corrections=tested.corrections) for name in sets[0]}
        if args.what_if
        else {}
    )
    if args.picture:
        _draw(args, sets, found, garden)
    if args.json:
        next_test = bands.next_test
        print_json(
            {
                "garden": garden.site.name,
                "sets": flow_document(found, garden, facts),
                "next_test": next_test and say(next_test, us=garden.us_units),
                "fitted": [] if tested.fitted is None else fitted_words(tested.fitted),
            }
        )
    else:
        print(
            flow_text(found, garden, facts, holes=args.holes, bars=args.bars),
            end="",
        )
        for changes in what_ifs.values():
            print(what_if_text(changes, us=garden.us_units), end="")
        if args.advice:
            named = {name for names in sets for name in names}
            print(advice_text(advice_for(loaded, tested, named), us=garden.us_units), end="")
        for words in [] if tested.fitted is None else fitted_words(tested.fitted):
            print(words)
    return 0


def _draw(
    args: argparse.Namespace,
    sets: Sequence[Sequence[str]],
    found: Sequence[tuple[Sequence[str], SetFlow]],
    garden: Garden,
) -> None:
    """Write the picture of one zone's flow along its rows."""
    if len(sets) != 1 or len(sets[0]) != 1:
        raise InputError("--picture draws one zone; name it with --open ZONE")
    picture = row_picture_svg(
        found[0][1].zones[sets[0][0]],
        garden.watering,
        us=garden.us_units,
    )
    try:
        Path(args.picture).write_text(picture, encoding="utf-8")
    except OSError as fault:
        raise InputError(f"{args.picture} cannot be written: {fault.strerror}") from fault
    to_stderr(f"{args.picture} is written")


def et(args: argparse.Namespace) -> int:
    """Print the reference ET of each day of a weather file."""
    site = Site(
        name="",
        latitude_deg=args.latitude,
        longitude_deg=0.0,
        elevation_m=args.elevation,
        timezone="UTC",
        coastal=args.coastal,
    )
    found = read_weather(
        Path(args.weather),
        wind_height_m=args.wind_height,
        clear_sky_mj_m2=clear_sky_of(site),
    )
    for line in (*found.faults, *found.remarks):
        to_stderr(f"weather: {line}")
    rows = eto_rows((day.day, eto_of(day, site)) for day in found.days)
    if args.json:
        print_json({"days": rows, "faults": list(found.faults), "remarks": list(found.remarks)})
    elif args.csv:
        print_csv(rows)
    else:
        print(eto_text(rows), end="")
    return 1 if found.faults else 0


def _timetable(
    args: argparse.Namespace, loaded: Loaded, lines: Lines, first: date, last: date, clock: Clock
) -> Timetable:
    """The timetable from `first` to `last`, on what was given before."""
    kept = load_kept(args, loaded, last)
    # The example's days lie where its calendar says, whatever the date here.
    today = first if loaded.is_example else min(today_in(loaded.garden, clock), first)
    return plan_on(
        loaded.garden,
        loaded.grounds,
        lines,
        weather_for(args, loaded, kept, today=today, clock=clock),
        kept.given,
        first=first,
        last=last,
        today=today,
    )


def _must_know(garden: Garden, names: Sequence[str]) -> None:
    """Refuse a zone this garden does not have."""
    known = [zone.name for zone in garden.zones]
    if not names:
        raise InputError(f"no zone named; this garden has: {', '.join(known)}")
    for name in names:
        if name not in known:
            raise InputError(f"found zone {name!r}; this garden has: {', '.join(known)}")
