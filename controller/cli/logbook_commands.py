"""note, report and backup: write into the logbook, and print or copy what it holds."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from pathlib import Path

from controller.cli import field_test_notes, plant_notes, plausible, soil_notes
from controller.cli.daemon_commands import runtime_dir
from controller.cli.loading import (
    LOGBOOK_NAME,
    Loaded,
    Note,
    Writing,
    from_logbook,
    load_garden,
    load_tested,
    named_state,
    print_csv,
    require_span,
    require_zones,
    system_clock,
    today_in,
)
from controller.cli.output import print_json, to_stderr
from controller.cli.places import SYSTEM_STATE, find_garden, need_garden
from controller.daemon.control.protocol import ask
from controller.errors import DaemonError, InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.garden.quantities import LENGTH, parse, read_volume
from controller.hydraulics.calibration.calibrated import Bands
from controller.logbook.entries import Entry
from controller.logbook.files import copy_logbook
from controller.logbook.logbook import Logbook
from controller.logbook.queries import METER, Questions
from controller.logbook.records import MENDED, HowKnown, MeasurementRow, PulseRow, Sums
from controller.logbook.totals import NEW_METER
from controller.paper.amounts import Units
from controller.paper.notes import entry_words, kind_of, notes_rows, notes_text
from controller.paper.plan_rows import comparison_row
from controller.paper.report import (
    Written,
    band_text,
    copy_row,
    copy_text,
    flooding_text,
    meter_rows,
    meter_text,
    report_csv,
    report_rows,
    report_text,
    written_rows,
    written_text,
)
from controller.paper.text import short_day
from controller.timetable.flooding import given_against_flooding
from controller.units import l_from_m3

_MM_PER_M = 1000.0


def note(args: argparse.Namespace) -> int:
    """Write down what a person did or saw, list the notes, or take one back."""
    loaded, clock = _own_garden(args), system_clock()
    today = today_in(loaded.garden, clock)
    path = loaded.state_dir / LOGBOOK_NAME
    if getattr(args, "zone", None) is not None:
        require_zones(loaded.garden, [args.zone])
    if args.kind == "list":
        return _list(args, loaded.garden, path)
    if args.kind == "withdraw":
        _withdraw(Note(loaded=loaded, logbook=path, day=today, clock=clock))
        _replan(args, path.parent)
        return 0
    corrected = _corrected(args, loaded.garden, path)
    day: date = args.day or corrected or today
    if day > today:
        raise InputError(f"--on {day} lies ahead; only what has happened is written down")
    one = Note(loaded=loaded, logbook=path, day=day, clock=clock)
    one.confirm(plausible.of_day(day, today))
    # What is refused begins no logbook, so it is checked before one is opened.
    write = _KINDS[args.kind](one)
    path.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(path, clock) as book:
        write(book)
    _replan(args, path.parent)
    return 0


def _standing(number: int, path: Path) -> Entry:
    """The note of that number, which was not taken back; InputError without one."""
    found = from_logbook(path, lambda ask: ask.entry(number))
    see = "rowgate note list shows the notes with their numbers"
    if found is None:
        raise InputError(f"no note has the number {number}; {see}")
    if found.taken_back is not None:
        raise InputError(f"note {number} was taken back already, by note {found.taken_back.number}")
    return found


def _corrected(args: argparse.Namespace, garden: Garden, path: Path) -> date | None:
    """The day of the note that this one corrects; None where it corrects none."""
    if args.corrects is None:
        return None
    old = _standing(args.corrects, path)
    was = kind_of(old)
    now = "field test" if args.kind in field_test_notes.KINDS else args.kind
    if was != now:
        raise InputError(
            f"{args.corrects} is a note of another kind ({was}): withdraw it with rowgate note "
            f"withdraw {args.corrects}, then write this one"
        )
    return old.day(garden.site.zone_info)


def _withdraw(note: Note) -> None:
    """Take a note back by an entry of its own; field tests are then fitted anew."""
    args, garden = note.args, note.loaded.garden
    old = _standing(args.number, note.logbook)
    with Logbook(note.logbook, note.clock) as book:
        number = book.withdraw(args.number, who=args.who, why=args.why)
        on = short_day(old.day(garden.site.zone_info))
        words = entry_words(old, Units(garden.us_units))
        to_stderr(
            f"withdrawn as {number}: {old.number}, {words}, {on}. It stays on record, and no "
            "longer counts; the days from then on are computed anew"
        )
        if isinstance(old.what, MeasurementRow):
            field_test_notes.fit_anew(note, book, frozenset(old.zones))


def _list(args: argparse.Namespace, garden: Garden, path: Path) -> int:
    """Print people's notes, those that were taken back among them."""
    zone_info, units = garden.site.zone_info, Units(garden.us_units)
    first, last = args.first or date.min, args.last or date.max
    require_span(first, last)
    found = [
        entry
        for entry in from_logbook(path, Questions.entries) or []
        if first <= entry.day(zone_info) <= last
        and (args.zone is None or args.zone in entry.zones)
        and (entry.taken_back is None or not args.standing)
    ]
    if args.json:
        print_json({"notes": notes_rows(found, units, zone_info)})
    else:
        print(notes_text(found, units, zone_info), end="")
    return 0


def _rain(note: Note) -> Writing:
    """How to write down a reading of the gauge, which adds to the day's rain or replaces it."""
    args, day, units = note.args, note.day, Units(note.loaded.garden.us_units)
    mm = parse(args.depth, LENGTH, what="rain", example='"0.4 in" or "10 mm"') * _MM_PER_M
    # Of that day by a person; and as it counts now, also by a gauge's pin.
    noted = (note.read(Questions.rain_noted) or {}).get(day)
    counted = (note.read(Questions.gauge_by_day) or {}).get(day)
    before_mm = 0.0 if noted is None or args.replace else noted
    note.confirm(plausible.of_rain(mm, before_mm, day, us_units=units.us))

    def write(book: Logbook) -> None:
        keep = book.rain_gauge if args.replace else book.more_rain
        message = note.written(keep(day, mm, args.who, corrects=note.corrects))
        if args.replace:
            if counted is not None:
                message += f", in place of {units.depth(counted)}"
        elif noted is not None:
            message += (
                f"; with {units.depth(noted)} noted before, {units.depth(noted + mm)} count for "
                "that day. If this is all of its rain, write: "
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
    for reading in note.read(lambda ask: ask.readings(METER)) or []:
        read_on = reading.day or reading.at_utc.astimezone(garden.site.zone_info).date()
        if reading.at_utc <= at_utc:
            before = reading.value, read_on
        elif after is None and reading.unit != NEW_METER:
            after = reading.value, read_on
        elif after is None:
            break  # from there on it is another meter
    if args.new_meter:
        before = None
    note.confirm(plausible.of_meter(litres, before, after, day=note.day, us_units=garden.us_units))

    def write(book: Logbook) -> None:
        number = book.meter_reading(
            litres,
            at_utc,
            args.who,
            day=note.day,
            new_meter=args.new_meter,
            corrects=note.corrects,
        )
        to_stderr(note.written(number))

    return write


def _watered(note: Note) -> Writing:
    """How to write down water given by hand, measured or by the open time of its valve."""
    args, loaded, day = note.args, note.loaded, note.day
    if (args.minutes is None) == (args.amount is None):
        raise InputError(
            "write how long the valve was open (--minutes) or how much it gave (--amount), one of "
            "the two"
        )
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
        how = "at the computed flow, with nothing else open"
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
        number = book.hand_watering(
            args.zone,
            day,
            litres=litres,
            minutes=args.minutes,
            who=args.who,
            at=note.clock.now_utc(),
            corrects=note.corrects,
        )
        message = f"{note.written(number)} ({how})"
        if zone.valve.kind is ValveKind.HAND and before_l <= 0.0:
            message += "; of that day only what is noted counts, not what was printed"
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
        number = book.reading(
            MENDED,
            1.0,
            "",
            day=note.day,
            zone=note.args.zone,
            who=note.args.who,
            corrects=note.corrects,
        )
        to_stderr(
            f"{note.written(number)}; what the meter saw of it up to that day no longer counts"
        )

    return write


def _words(note: Note) -> Writing:
    """How to write down words."""

    def write(book: Logbook) -> None:
        args = note.args
        number = book.note(
            args.words, zone=args.zone, who=args.who, at=note.at_utc, corrects=note.corrects
        )
        to_stderr(note.written(number))

    return write


_KINDS: Mapping[str, Callable[[Note], Writing]] = {
    "watered": _watered,
    "rain": _rain,
    "meter": _meter,
    "soil": soil_notes.reading,
    "seen": plant_notes.observation,
    "mended": _mended,
    "words": _words,
    **dict.fromkeys(field_test_notes.KINDS, field_test_notes.field_test),
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
    by, last = args.by, args.last or today
    if args.year is not None:
        if args.first or args.last:
            raise InputError("--year has its own first and last day; leave --from and --to out")
        if args.year > today.year:
            raise InputError(f"--year {args.year} lies ahead; today is {today}")
        by, last = "month", min(date(args.year, 12, 31), today)
    with Questions(book) as questions:
        first: date = args.first or questions.first_day() or today - timedelta(days=30)
        if args.year is not None:
            first = date(args.year, 1, 1)
        if args.meter:
            return _meter_report(args, questions, loaded.garden, args.first or date.min, last)
        require_span(first, last)
        sums = questions.sums(by, first, last, loaded.garden, months=args.months)
        by_zone = questions.sums("zone", first, last, loaded.garden) if args.band else None
        written = _written(questions, loaded.garden, first, last)
        begun_utc = questions.begun_utc()
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
        zone_info = loaded.garden.site.zone_info
        begun = None if begun_utc is None else begun_utc.astimezone(zone_info).date()
        text = report_text(sums, loaded.garden, by=by, first=first, last=last, begun=begun)
        print(text, end="")
        print(flooding_text(flooding, Units(loaded.garden.us_units)), end="")
        if by_zone is not None:
            print(band_text(by_zone, errors, Units(loaded.garden.us_units)), end="")
        print(written_text(written), end="")
    return 0


def _meter_report(
    args: argparse.Namespace, ask: Questions, garden: Garden, first: date, last: date
) -> int:
    """Print what pulses, notes and the water meter say between its readings."""
    require_span(first, last)
    spans = ask.meter_spans(first, last, garden.site.zone_info)
    if args.json:
        print_json({"meter": meter_rows(spans)})
    elif args.csv:
        print_csv(meter_rows(spans))
    else:
        print(meter_text(spans, garden), end="")
    return 0


def _written(ask: Questions, garden: Garden, first: date, last: date) -> list[Written]:
    """People's notes of these days that stand, but for waterings, which are in the sums."""
    units, zone_info = Units(garden.us_units), garden.site.zone_info
    found = [
        Written(
            number=entry.number,
            day=entry.day(zone_info),
            kind=kind_of(entry),
            words=entry_words(entry, units),
            zone=", ".join(entry.zones),
            who=entry.who,
        )
        for entry in ask.entries()
        if entry.taken_back is None and not isinstance(entry.what, PulseRow)
    ]
    shown = [one for one in found if first <= one.day <= last]
    return sorted(shown, key=lambda one: (one.day, one.number))


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
    beside = find_garden(args)
    if beside is not None and (beside.parent / LOGBOOK_NAME).is_file():
        return beside.parent / LOGBOOK_NAME
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
    need_garden(args, "the example keeps no logbook")
    return load_garden(args)
