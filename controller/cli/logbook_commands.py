"""note, report and backup: write into the logbook, and print or copy what it holds."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from pathlib import Path

from controller.cli import field_test_notes, plant_notes, plausible, soil_notes
from controller.cli.daemon_commands import runtime_dir
from controller.cli.loading import (
    LOGBOOK_NAME,
    Loaded,
    Note,
    Writing,
    load_garden,
    load_tested,
    named_state,
    require_span,
    require_zones,
    system_clock,
    today_in,
)
from controller.cli.output import print_json, to_stderr
from controller.daemon.control.protocol import ask
from controller.errors import DaemonError, InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.garden.quantities import read_length, read_volume
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.kept_tests import shown
from controller.logbook.files import copy_logbook
from controller.logbook.logbook import Logbook
from controller.logbook.queries import GAUGE, Questions
from controller.logbook.records import MENDED, HowKnown, Sums
from controller.paper.amounts import Units
from controller.paper.plan_rows import comparison_row
from controller.paper.report import (
    Written,
    band_text,
    copy_row,
    copy_text,
    flooding_text,
    report_csv,
    report_rows,
    report_text,
    written_rows,
    written_text,
)
from controller.timetable.flooding import given_against_flooding
from controller.units import l_from_m3
from controller.wording.say import say

SYSTEM_STATE = Path("/var/lib/rowgate")
_MM_PER_M = 1000.0
_MOST_NOTES = 1000  # words looked through for a report; our choice


def note(args: argparse.Namespace) -> int:
    """Write down hand watering, a rain gauge, a meter, what was seen, or words."""
    loaded, clock = _own_garden(args), system_clock()
    today = today_in(loaded.garden, clock)
    day: date = args.day or today
    if getattr(args, "zone", None) is not None:
        require_zones(loaded.garden, [args.zone])
    if day > today:
        raise InputError(f"--on {day} lies ahead; only what has happened is written down")
    path = loaded.state_dir / LOGBOOK_NAME
    if args.kind in _LISTS and args.number is None:
        _LISTS[args.kind](path)
        return 0
    one = Note(loaded=loaded, logbook=path, day=day, clock=clock)
    one.confirm(plausible.of_day(day, today))
    # What is refused begins no logbook, so it is checked before one is opened.
    write = _KINDS[args.kind](one)
    path.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(path, clock) as book:
        write(book)
    _replan(args, path.parent)
    return 0


def _rain(note: Note) -> Writing:
    """How to write down a reading of the gauge, which adds to the day's rain or replaces it."""
    args, day, units = note.args, note.day, Units(note.loaded.garden.us_units)
    mm = read_length(args.depth, "rain") * _MM_PER_M
    # Of that day by a person; and as it counts now, also by a gauge's pin.
    readings = note.read(lambda ask: ask.readings(GAUGE)) or []
    noted = {r.day: r.value for r in readings}.get(day)
    counted = (note.read(Questions.gauge_by_day) or {}).get(day)
    before_mm = 0.0 if noted is None or args.replace else noted
    note.confirm(plausible.of_rain(mm, before_mm, day, us_units=units.us))

    def write(book: Logbook) -> None:
        message = f"written down: {units.depth(mm)} of rain on {day}"
        if args.replace:
            book.rain_gauge(day, mm, args.who)
            message += ", all of that day"
            if counted is not None:
                message += f", in place of {units.depth(counted)}"
            to_stderr(message)
            return
        total_mm = book.more_rain(day, mm, args.who)
        if noted is not None:
            message += (
                f"; with {units.depth(total_mm - mm)} noted before, "
                f"{units.depth(total_mm)} count for that day. If this is all of its rain, say so: "
                f'rowgate note rain "{args.depth}" --replace --on {day}'
            )
        elif counted is not None:
            message += f"; it goes before {units.depth(counted)} of the gauge on its pin"
        to_stderr(message)

    return write


def _meter(note: Note) -> Writing:
    """How to write down what the water meter showed on a day; it does not run back."""
    args, garden, at_utc = note.args, note.loaded.garden, note.at_utc
    litres = l_from_m3(read_volume(args.reading, "meter reading"))
    before: tuple[float, date] | None = None
    after: tuple[float, date] | None = None
    for reading in note.read(lambda ask: ask.readings("meter")) or []:
        read_on = reading.at_utc.astimezone(garden.site.zone_info).date()
        if reading.at_utc <= at_utc:
            before = reading.value, read_on
        elif after is None:
            after = reading.value, read_on
    note.confirm(plausible.of_meter(litres, before, after, us_units=garden.us_units))

    def write(book: Logbook) -> None:
        book.meter_reading(litres, at_utc, args.who, day=note.day)
        on = f" on {note.day}" if args.day else ""
        to_stderr(f"written down: the meter reads {litres:.0f} L{on}")

    return write


def _watered(note: Note) -> Writing:
    """How to write down water given by hand, measured or by the open time of its valve."""
    args, loaded, day = note.args, note.loaded, note.day
    if (args.minutes is None) == (args.amount is None):
        raise InputError("say how long the valve was open (--minutes) or how much (--amount)")
    try:
        alone = load_tested(loaded).lines.open_set(frozenset((args.zone,)))
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
    units, zone = Units(loaded.garden.us_units), loaded.garden.zone(args.zone)
    given_l = note.read(lambda ask: ask.litres_by_zone_day(day, day))
    before_l = 0.0 if given_l is None else given_l.get((zone.name, day), 0.0)
    note.confirm(
        plausible.of_watering(
            litres, before_l, zone, day, grounds=loaded.grounds, flow_m3_s=flow_m3_s
        )
    )

    def write(book: Logbook) -> None:
        book.hand_watering(
            args.zone,
            day,
            litres=litres,
            minutes=args.minutes,
            who=args.who,
            at=note.clock.now_utc(),
        )
        message = f"written down: {zone.name}, {units.volume(litres)} by hand on {day} ({how})"
        if zone.valve.kind is ValveKind.HAND and before_l <= 0.0:
            message += "; of that day only what is noted counts now, not what was printed"
        if before_l > 0.0:
            message += (
                f"; with {units.volume(before_l)} that it got before, "
                f"{units.volume(before_l + litres)} count for that day"
            )
        to_stderr(message)

    return write


def _mended(note: Note) -> Writing:
    """How to write down that a zone's line is as it should be."""

    def write(book: Logbook) -> None:
        book.reading(MENDED, 1.0, "", day=note.day, zone=note.args.zone, who=note.args.who)
        to_stderr(
            f"written down: the line of {note.args.zone} is as it should be; what the meter saw of "
            f"it up to {note.day} no longer counts"
        )

    return write


def _words(note: Note) -> Writing:
    """How to write down words."""

    def write(book: Logbook) -> None:
        book.note(note.args.words, zone=note.args.zone, who=note.args.who, at=note.at_utc)
        to_stderr(note.done)

    return write


_KINDS: Mapping[str, Callable[[Note], Writing]] = {
    "watered": _watered,
    "rain": _rain,
    "meter": _meter,
    "soil": soil_notes.reading,
    "unsoil": soil_notes.take_back,
    "seen": plant_notes.observation,
    "unseen": plant_notes.take_back,
    "mended": _mended,
    "words": _words,
    **dict.fromkeys(field_test_notes.KINDS, field_test_notes.field_test),
    "back": field_test_notes.take_back,
}
# Without a number these list what can be taken back.
_LISTS: Mapping[str, Callable[[Path], None]] = {
    "unsoil": soil_notes.show,
    "unseen": plant_notes.show,
}


def _replan(args: argparse.Namespace, folder: Path) -> None:
    """Ask a running daemon to plan anew; without one, the next plan counts the note anyway."""
    with contextlib.suppress(DaemonError):
        to_stderr(f"daemon: {ask(runtime_dir(args, folder), {'ask': 'replan'}).get('words', '')}")


def report(args: argparse.Namespace) -> int:
    """Print the water applied."""
    loaded, clock = _own_garden(args), system_clock()
    today = today_in(loaded.garden, clock)
    book = loaded.state_dir / LOGBOOK_NAME
    if not book.is_file():
        raise InputError(
            f"{book} is not there: nothing has been written down yet; name its folder with --state"
        )
    last: date = args.last or today
    with Questions(book) as questions:
        first: date = args.first or questions.first_day() or today - timedelta(days=30)
        require_span(first, last)
        sums = questions.sums(args.by, first, last, loaded.garden)
        by_zone = questions.sums("zone", first, last, loaded.garden) if args.band else None
        written = _written(questions, loaded.garden, first, last)
        flooding = given_against_flooding(
            questions.litres_by_zone_day(first, last), questions.stored_by_zone_day(first, last)
        )
    errors = {} if by_zone is None else _timed_errors(loaded, by_zone)
    if args.json:
        print_json(
            {
                "from": first.isoformat(),
                "to": last.isoformat(),
                "report": report_rows(sums),
                "ledger_zone_days_by_weather": dict(sums.zone_days_by_rung),
                "timed_standard_error_fraction": errors,
                "against_flooding": comparison_row(flooding),
                "written_down": written_rows(written),
            }
        )
    elif args.csv:
        print(report_csv(sums), end="")
    else:
        print(report_text(sums, loaded.garden, by=args.by, first=first, last=last), end="")
        print(flooding_text(flooding, Units(loaded.garden.us_units)), end="")
        if by_zone is not None:
            print(band_text(by_zone, errors, Units(loaded.garden.us_units)), end="")
        print(written_text(written), end="")
    return 0


def _written(ask: Questions, garden: Garden, first: date, last: date) -> list[Written]:
    """People's notes of these days: words, meter, rain and field tests, in their order."""
    units = Units(garden.us_units)

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
        Written(day=day, kind="rain", words=units.depth(r.value), who=r.who)
        for day, r in rain.items()
    ]
    found += [
        Written(
            day=day_of(t.at_utc),
            kind="field test",
            words=f"{t.id}, {say(shown(t.said), us=units.us)}",
            who=t.who,
        )
        for t in ask.measurements()
    ]
    return sorted((one for one in found if first <= one.day <= last), key=lambda one: one.day)


def backup(args: argparse.Namespace) -> int:
    """Copy the logbook to a file, beside a running daemon or not, and print what it holds."""
    source, target = _logbook_to_copy(args), Path(args.file)
    contents = copy_logbook(source, target)
    if args.json:
        print_json({"logbook": str(source), "copy": str(target)} | copy_row(contents))
    else:
        print(copy_text(contents, source=str(source), copy=str(target)), end="")
    return 0


def _logbook_to_copy(args: argparse.Namespace) -> Path:
    """The logbook to copy: in the named folder, beside the garden file, or the system's."""
    if (named := named_state(args)) is not None:
        return named / LOGBOOK_NAME
    if args.garden:
        return Path(args.garden).parent / LOGBOOK_NAME
    if (SYSTEM_STATE / LOGBOOK_NAME).is_file():
        return SYSTEM_STATE / LOGBOOK_NAME
    raise InputError(
        "which logbook? Name its folder with --state, or your garden file with --garden"
    )


def _timed_errors(loaded: Loaded, by_zone: Sums) -> dict[str, float]:
    """The relative standard error of each zone's timed litres, by its lines as known now."""
    known = {zone.name for zone in loaded.garden.zones}
    bands = Bands(loaded.garden, load_tested(loaded).fitted)
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
