"""plan, balance, flow, et: commands that compute and print, and move nothing."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from controller.cli import soil_notes
from controller.cli.garden_commands import advice_for
from controller.cli.loading import (
    Loaded,
    load_garden,
    load_logged,
    load_tested,
    not_in_garden,
    own_today,
    print_csv,
    require_span,
    require_zones,
    system_clock,
    today_in,
    weather_for,
    write_file,
)
from controller.cli.output import print_json, print_pages, to_stderr
from controller.clock import Clock
from controller.errors import InputError
from controller.garden.model import Garden, Site, Zone
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.design.what_if import what_if
from controller.hydraulics.network.garden_lines import Lines, SetFlow
from controller.inputs.days import clear_sky_of, eto_of
from controller.paper.advice import advice_text, what_if_text
from controller.paper.amounts import Units
from controller.paper.flows import fitted_words, flow_document, flow_text
from controller.paper.ledger import eto_rows, eto_text, ledger_rows, ledger_text
from controller.paper.picture import row_picture_svg
from controller.paper.plan_rows import (
    dose_rows,
    flooding_row,
    left_rows,
    no_water_rows,
    short_rows,
    timetable_rows,
    water_in_rows,
)
from controller.paper.printout import Look, of_zones, timetable_pages, timetable_text
from controller.paper.text import paragraph
from controller.timetable.need.jobs import allowed_mm
from controller.timetable.plan import Installation, Span, ledger_on, plan_on
from controller.timetable.records import Timetable
from controller.weather.files.reader import read_weather
from controller.wording.say import say

_DAY = timedelta(days=1)


def plan(args: argparse.Namespace) -> int:
    """Print when to water."""
    clock = system_clock()
    loaded = load_garden(args)
    asked = _zones_asked(args, loaded.garden)
    zones = asked.zones
    first = args.first or own_today(loaded, clock)
    last = first + (args.days - 1) * _DAY
    tested = load_tested(loaded)
    warnings = [say(warning, us=loaded.garden.us_units) for warning in tested.warnings]
    timetable = _timetable(loaded, tested.lines, first, last, clock)
    soil = soil_notes.recent_contradictions(loaded, timetable.ledger, first)
    if zones is not None:
        timetable = of_zones(timetable, zones)
        soil = [check for check in soil if check.zone in zones]
    if args.calendar:
        _write_calendar(args, loaded, timetable, zones, clock)
    bands = Bands(loaded.garden, tested.fitted) if args.band else None
    rows, us = timetable_rows(timetable, loaded.garden, bands), loaded.garden.us_units
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
                "field_tests": warnings,
            }
        )
    elif args.csv:
        print_csv(rows)
        for left in timetable.not_fitted:
            reason = say(left.reason, us=us)
            to_stderr(f"not given: {left.zone}, {left.day}, {left.litres:.1f} L: {reason}")
    else:
        look = Look(
            bands=bands,
            why=args.why,
            printed=own_today(loaded, clock),
            zones=zones,
            whose=asked.words,
            twelve_hours=_twelve_hours(args, loaded.garden),
        )
        found = [check.words for check in soil]
        found += (f"Field tests: {words}" for words in warnings)
        after = [line for words in found for line in paragraph(words)]
        if args.page:
            print_pages(timetable_pages(timetable, loaded.garden, look, after))
        else:
            print(timetable_text(timetable, loaded.garden, look, after), end="")
    return 0


@dataclass(frozen=True, slots=True)
class _Asked:
    """The zones that --zone, --bed and --keeper leave (None: all), and the words for them."""

    zones: frozenset[str] | None
    words: str


def _zones_asked(args: argparse.Namespace, garden: Garden) -> _Asked:
    """Zones that are all that was asked for; InputError where there is no such thing."""
    left, words = {zone.name for zone in garden.zones}, []
    asked_for: tuple[tuple[str, list[str] | None, str, Callable[[Zone], str]], ...] = (
        ("zone", args.zones, "", lambda zone: zone.name),
        ("bed", args.beds, "bed ", lambda zone: zone.bed.name),
        ("keeper", args.keepers, "for ", lambda zone: zone.bed.keeper),
    )
    for option, asked, before, name_of in asked_for:
        if not asked:
            continue
        known = {name_of(z).casefold(): name_of(z) for z in garden.zones if name_of(z)}
        wanted = {name.strip().casefold(): name for name in asked}
        for key, name in wanted.items():
            if key not in known:
                if not known:
                    raise InputError(f"found --{option} {name!r}; this garden names no {option}")
                raise InputError(not_in_garden(f"--{option}", name, list(known.values())))
        left &= {zone.name for zone in garden.zones if name_of(zone).casefold() in wanted}
        words.append(before + ", ".join(known[key] for key in wanted))
    if not left:
        raise InputError("no zone fits --zone, --bed and --keeper together; leave one out")
    return _Asked(frozenset(left) if words else None, "; ".join(words))


def _twelve_hours(args: argparse.Namespace, garden: Garden) -> bool:
    return garden.twelve_hours if args.clock is None else bool(args.clock == 12)


def _write_calendar(
    args: argparse.Namespace,
    loaded: Loaded,
    timetable: Timetable,
    zones: frozenset[str] | None,
    clock: Clock,
) -> None:
    """Write the openings by hand for a phone, over an older file of the same garden."""
    from controller.paper.calendar_file import calendar_text  # its library takes a while to import

    path, garden = Path(args.calendar), loaded.garden
    try:
        # As bytes: the ends of its lines are a part of the format.
        older = path.read_bytes().decode("utf-8") if path.is_file() else None
        text = calendar_text(
            timetable,
            garden,
            written_utc=clock.now_utc(),
            zones=zones or frozenset(zone.name for zone in garden.zones),
            twelve_hours=_twelve_hours(args, garden),
            older=older,
        )
    except (InputError, UnicodeDecodeError) as fault:
        words = fault if isinstance(fault, InputError) else "the file is there, and is no text"
        raise InputError(f"--calendar {path}: {words}") from fault
    except OSError as fault:
        raise InputError(f"--calendar {path} cannot be read: {fault.strerror}") from fault
    write_file(path, text, exact=True)
    to_stderr(f"{path} is written")


def balance(args: argparse.Namespace) -> int:
    """Print the ledger day by day."""
    clock = system_clock()
    loaded = load_garden(args)
    if args.zone:
        require_zones(loaded.garden, [args.zone])
    now = own_today(loaded, clock)
    last = args.last or now - _DAY
    first = args.first or last - 13 * _DAY
    require_span(first, last)
    lines = load_tested(loaded).lines
    # The days gone, with what counts of them; what lies ahead is planned.
    planned_from = min(last + _DAY, max(first, now))
    logged = load_logged(loaded, max(last, planned_from))
    today = planned_from if loaded.is_example else min(now, planned_from)
    timetable = ledger_on(
        Installation(loaded.garden, loaded.grounds, lines),
        weather_for(loaded, logged, today=today, clock=clock),
        logged.given,
        Span.between(first=first, last=last, today=today),
        planned_from=planned_from,
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
                "soil_read": [check.row() for check in soil_notes.checks(loaded, shown)],
                "remarks": remarks,
            }
        )
    elif args.csv:
        print_csv(ledger_rows(shown))
    else:
        text = ledger_text(
            shown,
            remarks,
            loaded.garden,
            lambda row: allowed_mm(row, loaded.garden, loaded.grounds),
        )
        print(text, end="")
        for check in soil_notes.checks(loaded, shown):
            print(*paragraph(check.words), sep="\n")
    return 0


def flow(args: argparse.Namespace) -> int:
    """Print what each zone, row and hole delivers, alone or together."""
    loaded = load_garden(args)
    garden = loaded.garden
    if args.open_zones is None:
        sets = [[zone.name] for zone in garden.zones]
    else:
        sets = [[name.strip() for name in args.open_zones.split(",") if name.strip()]]
        require_zones(garden, sets[0])
    tested = load_tested(loaded)
    found = [(names, tested.lines.open_set(frozenset(names))) for names in sets]
    bands = Bands(garden, tested.fitted)
    what_ifs = (
        {name: what_if(garden, name, corrections=tested.corrections) for name in sets[0]}
        if args.what_if
        else {}
    )
    if args.picture:
        _draw(args, sets, found, garden)
    us = garden.us_units
    fitted = [] if tested.fitted is None else fitted_words(tested.fitted, Units(us))
    if args.json:
        print_json(
            {
                "garden": garden.site.name,
                "sets": flow_document(found, tested.lines, bands),
                "next_test": None if bands.next_test is None else say(bands.next_test, us=us),
                "fitted": fitted,
            }
        )
    else:
        print(
            flow_text(found, tested.lines, bands, holes=args.holes, bars=args.bars),
            end="",
        )
        for changes in what_ifs.values():
            print(what_if_text(changes, us=us), end="")
        if args.advice:
            named = {name for names in sets for name in names}
            print(advice_text(advice_for(loaded, tested, named), us=us), end="")
        for words in fitted:
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
        Units(garden.us_units),
    )
    write_file(args.picture, picture)
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


def _timetable(loaded: Loaded, lines: Lines, first: date, last: date, clock: Clock) -> Timetable:
    """The timetable from `first` to `last`, on what was given before."""
    logged = load_logged(loaded, last)
    # The example's days lie where its calendar says, whatever the date here.
    today = first if loaded.is_example else min(today_in(loaded.garden, clock), first)
    return plan_on(
        Installation(loaded.garden, loaded.grounds, lines),
        weather_for(loaded, logged, today=today, clock=clock),
        logged.given,
        Span.between(first=first, last=last, today=today),
    )
