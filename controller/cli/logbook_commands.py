"""note, report and backup: write into the logbook, and print or copy what it holds."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

from controller.cli import field_test_notes, plant_notes, plausible, soil_notes
from controller.cli.daemon_commands import runtime_dir
from controller.cli.loading import (
    LOGBOOK_NAME,
    Loaded,
    load_garden,
    load_tested,
    moment_on,
    state_dir,
    system_clock,
    today_in,
)
from controller.cli.output import print_json, to_stderr
from controller.cli.plausible import Doubt
from controller.clock import Clock
from controller.daemon.control.protocol import ask
from controller.errors import DaemonError, InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.garden.quantities import read_length, read_volume
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.kept_tests import shown
from controller.logbook.backup import copy_logbook
from controller.logbook.logbook import Logbook
from controller.logbook.queries import GAUGE, Questions
from controller.logbook.records import MENDED, HowKnown, Sums
from controller.paper.amounts import depth, volume
from controller.paper.report import (
    Written,
    band_text,
    report_csv,
    report_rows,
    report_text,
    written_rows,
    written_text,
)
from controller.paper.small_tables import held_row, held_text
from controller.units import l_from_m3

SYSTEM_STATE = Path("/var/lib/rowgate")
_MM_PER_M = 1000.0
_MOST_NOTES = 1000  # words looked through for a report; our choice


def note(args: argparse.Namespace) -> int:
    """Write down hand watering, a rain gauge, a meter, what was seen, or words."""
    loaded, clock = _own_garden(args), system_clock()
    garden = loaded.garden
    today = today_in(garden, clock)
    day: date = args.day or today
    zone = getattr(args, "zone", None)
    if zone is not None and zone not in [z.name for z in garden.zones]:
        names = ", ".join(z.name for z in garden.zones)
        raise InputError(f"found zone {zone!r}; this garden has: {names}")
    if day > today:
        raise InputError(f"--on {day} lies ahead; only what has happened is written down")
    folder = state_dir(args, loaded)
    if args.kind == "unseen" and args.number is None:
        plant_notes.show(folder / LOGBOOK_NAME)
        return 0
    if args.kind == "unsoil" and args.number is None:
        soil_notes.show(folder / LOGBOOK_NAME)
        return 0
    _believed(args, plausible.of_day(day, today))
    if args.kind == "soil":
        _believed(args, soil_notes.doubt(args, loaded, day))
    # What is refused begins no logbook, so it is judged before one is opened.
    amounts = _amounts(args, loaded, folder / LOGBOOK_NAME, day)
    seen = None
    if args.kind == "seen":
        seen = plant_notes.judged(args, loaded, folder / LOGBOOK_NAME, day, _believed)
    folder.mkdir(parents=True, exist_ok=True)
    with Logbook(folder / LOGBOOK_NAME, clock) as book:
        if amounts is not None:
            to_stderr(f"written down: {amounts(book, clock)}")
        elif args.kind == "soil":
            soil_notes.keep(args, book, day)
        elif args.kind == "unsoil":
            soil_notes.take_back(args.number, book)
        elif seen is not None:
            seen(book)
        elif args.kind == "unseen":
            plant_notes.take_back(args.number, book)
        elif args.kind == "mended":
            book.reading(MENDED, 1.0, "", day=day, zone=args.zone, who=args.who)
            to_stderr(
                f"written down: the line of {args.zone} is as it should be; what the meter saw of "
                f"it up to {day} no longer counts"
            )
        elif args.kind in field_test_notes.KINDS:
            field_test_notes.keep(args, loaded, book, folder, day, clock)
        elif args.kind == "back":
            field_test_notes.take_back(args.number, loaded, book, folder, clock)
        else:
            at_utc = moment_on(day, garden, clock)
            book.note(args.words, zone=args.zone, who=args.who, at=at_utc)
            to_stderr(f"written down, of {day}" if args.day else "written down")
    _let_the_daemon_know(args, folder)
    return 0


def _amounts(
    args: argparse.Namespace, loaded: Loaded, path: Path, day: date
) -> Callable[[Logbook, Clock], str] | None:
    """How to write down a checked amount, and the answer; None for another kind."""
    if args.kind == "watered":
        return _watered(args, loaded, path, day)
    if args.kind == "rain":
        return _rain(args, loaded, path, day)
    if args.kind == "meter":
        return _meter(args, loaded, path, day)
    return None


def _believed(args: argparse.Namespace, doubt: Doubt | None) -> None:
    """Go on with a likely amount, or one the person insists on; InputError otherwise."""
    if doubt is None or (doubt.may_be and args.force):
        return
    if not doubt.may_be:
        raise InputError(f"{doubt.words}; nothing is written down")
    if not sys.stdin.isatty():
        raise InputError(f"{doubt.words}; nothing is written down. If it is so, add --force")
    to_stderr(f"{doubt.words}.")
    try:
        answer = input("Write it down all the same? yes; no [no]: ")
    except EOFError:
        answer = ""
    if answer.strip().casefold() not in ("yes", "y"):
        raise InputError("nothing is written down")


def _rain(
    args: argparse.Namespace, loaded: Loaded, path: Path, day: date
) -> Callable[[Logbook, Clock], str]:
    """Write down a reading of the gauge, which adds to the day's rain, or all of its rain."""
    us = loaded.garden.us_units
    mm = read_length(args.depth, "rain") * _MM_PER_M
    noted, counted = None, None  # of that day by a person; as it counts now, also by a gauge's pin
    if path.is_file():
        with Questions(path) as ask:
            noted = {r.day: r.value for r in ask.readings(GAUGE)}.get(day)
            counted = ask.gauge_by_day().get(day)
    before_mm = 0.0 if noted is None or args.replace else noted
    _believed(args, plausible.of_rain(mm, before_mm, day, us_units=us))

    def write(book: Logbook, clock: Clock) -> str:
        if args.replace:
            book.rain_gauge(day, mm, args.who)
            instead = "" if counted is None else f", in place of {depth(counted, us=us)}"
            return f"{depth(mm, us=us)} of rain on {day}, all of that day{instead}"
        total_mm = book.more_rain(day, mm, args.who)
        message = f"{depth(mm, us=us)} of rain on {day}"
        if noted is not None:
            return (
                f"{message}; with {depth(total_mm - mm, us=us)} noted before, "
                f"{depth(total_mm, us=us)} count for that day. If this is all of its rain, say so: "
                f'rowgate note rain "{args.depth}" --replace --on {day}'
            )
        if counted is not None:
            return f"{message}; it goes before {depth(counted, us=us)} of the gauge on its pin"
        return message

    return write


def _meter(
    args: argparse.Namespace, loaded: Loaded, path: Path, day: date
) -> Callable[[Logbook, Clock], str]:
    """Write down what the water meter showed on a day; it does not run back."""
    garden = loaded.garden
    litres = l_from_m3(read_volume(args.reading, "meter reading"))
    at_utc = moment_on(day, garden, system_clock())
    before: tuple[float, date] | None = None
    after: tuple[float, date] | None = None
    if path.is_file():
        with Questions(path) as ask:
            for reading in ask.readings("meter"):
                read_on = reading.at_utc.astimezone(garden.site.zone_info).date()
                if reading.at_utc <= at_utc:
                    before = reading.value, read_on
                elif after is None:
                    after = reading.value, read_on
    _believed(args, plausible.of_meter(litres, before, after, us_units=garden.us_units))

    def write(book: Logbook, clock: Clock) -> str:
        book.meter_reading(litres, at_utc, args.who, day=day)
        return f"the meter reads {litres:.0f} L" + (f" on {day}" if args.day else "")

    return write


def _watered(
    args: argparse.Namespace, loaded: Loaded, path: Path, day: date
) -> Callable[[Logbook, Clock], str]:
    """Write down water given by hand, measured or by the open time of its valve."""
    if (args.minutes is None) == (args.amount is None):
        raise InputError("say how long the valve was open (--minutes) or how much (--amount)")
    try:
        alone = load_tested(args, loaded).lines.open_set(frozenset((args.zone,)))
        flow_m3_s = alone.zones[args.zone].flow_m3_s
    except NoSolution:
        if args.amount is None:
            raise
        flow_m3_s = 0.0  # a measured amount needs no flow
    if args.minutes is not None:
        if not 0 < args.minutes <= 24 * 60:
            raise InputError(f"--minutes {args.minutes:g}: allowed is more than 0, up to 1440")
        litres = l_from_m3(flow_m3_s) * args.minutes * 60.0
        how = f"{args.minutes:g} min at the computed flow, with nothing else open"
    else:
        litres, how = l_from_m3(read_volume(args.amount, "amount")), "as measured"
    before_l, us = 0.0, loaded.garden.us_units
    if path.is_file():
        with Questions(path) as ask:
            before_l = ask.litres_by_zone_day(day, day).get((args.zone, day), 0.0)
    doubt = plausible.of_watering(
        litres,
        before_l,
        loaded.garden.zone(args.zone),
        day,
        grounds=loaded.grounds,
        flow_m3_s=flow_m3_s,
    )
    _believed(args, doubt)

    def write(book: Logbook, clock: Clock) -> str:
        book.hand_watering(
            args.zone,
            day,
            litres=litres,
            minutes=args.minutes,
            who=args.who,
            at=clock.now_utc(),
        )
        message = f"{args.zone}, {volume(litres, us=us)} by hand on {day} ({how})"
        zone = loaded.garden.zone(args.zone)
        if zone.valve.kind is ValveKind.HAND and before_l <= 0.0:
            message += "; of that day only what is noted counts now, not what was printed"
        if before_l > 0.0:
            message += (
                f"; with {volume(before_l, us=us)} that it got before, "
                f"{volume(before_l + litres, us=us)} count for that day"
            )
        return message

    return write


def _let_the_daemon_know(args: argparse.Namespace, folder: Path) -> None:
    """Ask a running daemon to plan anew; without one, the next plan counts the note anyway."""
    with contextlib.suppress(DaemonError):
        to_stderr(f"daemon: {ask(runtime_dir(args, folder), {'ask': 'replan'}).get('words', '')}")


def report(args: argparse.Namespace) -> int:
    """Print the water applied."""
    loaded, clock = _own_garden(args), system_clock()
    today = today_in(loaded.garden, clock)
    book = state_dir(args, loaded) / LOGBOOK_NAME
    if not book.is_file():
        raise InputError(
            f"{book} is not there: nothing has been written down yet; name its folder with --state"
        )
    last: date = args.last or today
    with Questions(book) as questions:
        first: date = args.first or questions.first_day() or today - timedelta(days=30)
        if first > last:
            raise InputError(f"--from {first} is after --to {last}")
        sums = questions.sums(args.by, first, last, loaded.garden)
        by_zone = questions.sums("zone", first, last, loaded.garden) if args.band else None
        written = _written(questions, loaded.garden, first, last)
    errors = {} if by_zone is None else _timed_errors(args, loaded, by_zone)
    if args.json:
        print_json(
            {
                "from": first.isoformat(),
                "to": last.isoformat(),
                "report": report_rows(sums),
                "ledger_zone_days_by_weather": dict(sums.zone_days_by_rung),
                "timed_standard_error_fraction": errors,
                "written_down": written_rows(written),
            }
        )
    elif args.csv:
        print(report_csv(sums), end="")
    else:
        print(report_text(sums, loaded.garden, by=args.by, first=first, last=last), end="")
        if by_zone is not None:
            print(band_text(by_zone, errors, us=loaded.garden.us_units), end="")
        print(written_text(written), end="")
    return 0


def _written(ask: Questions, garden: Garden, first: date, last: date) -> list[Written]:
    """People's notes of these days: words, meter, rain and field tests, in their order."""
    us = garden.us_units

    def day_of(at_utc: datetime) -> date:
        return at_utc.astimezone(garden.site.zone_info).date()

    found = [
        Written(day=day_of(n.at_utc), kind="words", words=n.words, zone=n.zone or "", who=n.who)
        for n in reversed(ask.notes(_MOST_NOTES))
    ]
    found += [
        Written(day=r.day or day_of(r.at_utc), kind="meter", words=f"{r.value:,.0f} L", who=r.who)
        for r in ask.readings("meter")
    ]
    rain = {r.day: r for r in ask.readings(GAUGE) if r.day is not None}  # the last word on a day
    found += [
        Written(day=day, kind="rain", words=depth(r.value, us=us), who=r.who)
        for day, r in rain.items()
    ]
    found += [
        Written(
            day=day_of(t.at_utc), kind="field test", words=f"{t.id}, {shown(t.said)}", who=t.who
        )
        for t in ask.measurements()
    ]
    return sorted((one for one in found if first <= one.day <= last), key=lambda one: one.day)


def backup(args: argparse.Namespace) -> int:
    """Copy the logbook to a file, beside a running daemon or not, and print what it holds."""
    source, target = _kept_logbook(args), Path(args.file)
    held = copy_logbook(source, target)
    if args.json:
        print_json({"logbook": str(source), "copy": str(target)} | held_row(held))
    else:
        print(held_text(held, source=str(source), copy=str(target)), end="")
    return 0


def _kept_logbook(args: argparse.Namespace) -> Path:
    """The logbook to copy: in the named folder, beside the garden file, or the system's."""
    named = args.state or os.environ.get("ROWGATE_STATE")
    if named:
        return Path(named) / LOGBOOK_NAME
    if args.garden:
        return Path(args.garden).parent / LOGBOOK_NAME
    if (SYSTEM_STATE / LOGBOOK_NAME).is_file():
        return SYSTEM_STATE / LOGBOOK_NAME
    raise InputError(
        "which logbook? Name its folder with --state, or your garden file with --garden"
    )


def _timed_errors(args: argparse.Namespace, loaded: Loaded, by_zone: Sums) -> dict[str, float]:
    """The relative standard error of each zone's timed litres, by its lines as known now."""
    known = {zone.name for zone in loaded.garden.zones}
    bands = Bands(loaded.garden, load_tested(args, loaded).fitted)
    return {
        row.name: bands.error(row.name)
        for row in by_zone.rows
        if row.name in known and row.litres_by_how.get(HowKnown.TIMED, 0.0) > 0.0
    }


def _own_garden(args: argparse.Namespace) -> Loaded:
    """The gardener's own file; the example has no logbook."""
    if args.garden is None:
        raise InputError("name your garden file with --garden FILE; the example keeps no logbook")
    return load_garden(args)
