"""Words of the command line to calls; nothing is reckoned here."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from datetime import date
from importlib.metadata import PackageNotFoundError, version

from controller.errors import (
    DaemonError,
    InputError,
    NoWeather,
    OutOfRange,
    RowgateError,
    ValveRefused,
)

Command = Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    args = _parser().parse_args(argv)
    try:
        return _command(args.command)(args)
    except (InputError, OutOfRange, NoWeather) as fault:
        print(f"rowgate: {fault}", file=sys.stderr)
        return 2
    except (DaemonError, ValveRefused) as fault:
        print(f"rowgate: {fault}", file=sys.stderr)
        return 1
    except RowgateError as fault:
        print(f"rowgate: {fault}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        # The reader of the pipe went away; point the descriptor elsewhere so that exit is quiet.
        sys.stdout = open("/dev/null", "w", encoding="utf-8")  # noqa: SIM115, PTH123
        return 0
    except KeyboardInterrupt:
        return 130


def _command(name: str) -> Command:
    """Find a command; each room is imported only when its command runs."""
    if name in ("plan", "balance", "flow", "et"):
        from controller.cli import reckoning

        return {
            "plan": reckoning.plan,
            "balance": reckoning.balance,
            "flow": reckoning.flow,
            "et": reckoning.et,
        }[name]
    if name in ("check", "new"):
        from controller.cli import writing

        return {"check": writing.check, "new": writing.new}[name]
    if name in ("note", "report"):
        from controller.cli import keeping

        return {"note": keeping.note, "report": keeping.report}[name]
    from controller.cli import running

    return {
        "run": running.run,
        "status": running.status,
        "open": running.open_zone,
        "close": running.close_zone,
        "hold": running.hold,
        "reset": running.reset,
    }[name]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="rowgate",
        description="Water beds through drilled rows: what they deliver, what the plants have "
        "lost, how long each valve is open.",
        epilog="Without a garden file, plan, balance, flow and check use an invented example.",
    )
    parser.add_argument("--version", action="version", version=_version())
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _reckoning(commands)
    _writing(commands)
    _running(commands)
    _keeping(commands)
    return parser


def _reckoning(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = commands.add_parser("plan", help="print a dry-run timetable")
    _garden(plan)
    _weather(plan)
    plan.add_argument("--from", dest="first", type=_day, metavar="DATE", help="first day planned")
    plan.add_argument("--days", type=_count, default=7, metavar="N", help="days planned (7)")
    plan.add_argument("--band", action="store_true", help="show how sure times and litres are")
    _state(plan)
    _forms(plan, csv=True)

    balance = commands.add_parser("balance", help="print the soil-water ledger day by day")
    _garden(balance)
    _weather(balance)
    balance.add_argument("--zone", help="one zone only")
    balance.add_argument("--from", dest="first", type=_day, metavar="DATE")
    balance.add_argument("--to", dest="last", type=_day, metavar="DATE")
    _state(balance)
    _forms(balance, csv=True)

    flow = commands.add_parser("flow", help="print what each row and hole delivers")
    _garden(flow)
    flow.add_argument(
        "--open",
        dest="open_zones",
        metavar="ZONE,ZONE",
        help="zones open together (default: each zone alone)",
    )
    flow.add_argument("--holes", action="store_true", help="print every hole")
    flow.add_argument("--bars", action="store_true", help="draw each row's holes as bars")
    flow.add_argument("--picture", metavar="FILE", help="write an SVG picture of one zone's rows")
    flow.add_argument(
        "--what-if", action="store_true", help="what small changes do to the first zone named"
    )
    flow.add_argument("--advice", action="store_true", help="design advice for these zones")
    _state(flow)
    _forms(flow)

    et = commands.add_parser("et", help="reference ET of each day of a weather file")
    et.add_argument("weather", metavar="WEATHER", help="weather file (CSV)")
    et.add_argument("--latitude", type=float, required=True, metavar="DEG", help="north positive")
    et.add_argument("--elevation", type=float, required=True, metavar="M", help="metres")
    et.add_argument("--wind-height", type=float, default=2.0, metavar="M", help="metres (2)")
    et.add_argument("--coastal", action="store_true", help="by the sea: other sun estimate")
    _forms(et, csv=True)


def _writing(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser("check", help="read a garden file: defaults, faults, cautions")
    _garden(check)
    _state(check)
    check.add_argument("--advice", action="store_true", help="design advice, with numbers")
    _forms(check)
    new = commands.add_parser("new", help="answer some questions, get a garden file")
    new.add_argument("garden", metavar="FILE", help="file to write; never overwritten")


def _running(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    run = commands.add_parser("run", help="run the daemon that opens the valves")
    run.add_argument("garden", metavar="GARDEN", help="garden file")
    _state(run)
    _runtime(run)
    run.add_argument(
        "--pins",
        choices=("lgpio", "mock"),
        help="pin driver: lgpio on a board, mock where no valve shall move "
        "(default: the garden file's)",
    )
    status = commands.add_parser("status", help="ask the running daemon how it stands")
    _runtime(status)
    _forms(status)
    open_zone = commands.add_parser("open", help="open a zone for some minutes")
    open_zone.add_argument("zone", metavar="ZONE")
    open_zone.add_argument("--minutes", type=float, required=True, metavar="N")
    _runtime(open_zone)
    close = commands.add_parser("close", help="close a zone, or all")
    close.add_argument("zone", nargs="?", metavar="ZONE")
    _runtime(close)
    reset = commands.add_parser("reset", help="let a line that disobeyed open again")
    reset.add_argument("zone", metavar="ZONE")
    _runtime(reset)
    hold = commands.add_parser("hold", help="let nothing open for a while; --lift ends it")
    hold.add_argument("--hours", type=float, metavar="N", help="for so long (24)")
    hold.add_argument("--zone", action="append", metavar="ZONE", help="only this zone; repeatable")
    hold.add_argument("--reason", default="", metavar="WORDS")
    hold.add_argument("--lift", action="store_true", help="end the holds in force")
    _runtime(hold)


def _keeping(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    note = commands.add_parser("note", help="write down what a person did or saw")
    note.add_argument("--garden", metavar="GARDEN", help="garden file")
    _state(note)
    _runtime(note)
    kinds = note.add_subparsers(dest="kind", required=True, metavar="KIND")
    watered = kinds.add_parser("watered", help="a zone was watered by hand")
    watered.add_argument("zone", metavar="ZONE")
    watered.add_argument("--minutes", type=float, metavar="N", help="time its valve was open")
    watered.add_argument("--amount", metavar="VOLUME", help='as in "12 gal" or "40 L"')
    rain = kinds.add_parser("rain", help="what the rain gauge held")
    rain.add_argument("depth", metavar="DEPTH", help='as in "0.4 in" or "10 mm"')
    meter = kinds.add_parser("meter", help="what the water meter reads")
    meter.add_argument("reading", metavar="VOLUME", help='as in "81234 L"')
    words = kinds.add_parser("words", help="anything else")
    words.add_argument("words", metavar="WORDS")
    words.add_argument("--zone", metavar="ZONE")
    field_tests = _field_tests(kinds)
    for kind in (watered, rain, meter, words, *field_tests):
        kind.add_argument("--on", dest="day", type=_day, metavar="DATE", help="day (today)")
        kind.add_argument("--who", default="", metavar="NAME")

    report = commands.add_parser("report", help="print the water applied")
    report.add_argument("--garden", metavar="GARDEN", help="garden file")
    report.add_argument("--by", choices=("zone", "bed", "keeper", "month"), default="zone")
    report.add_argument("--band", action="store_true", help="show how sure timed litres are")
    report.add_argument("--from", dest="first", type=_day, metavar="DATE")
    report.add_argument("--to", dest="last", type=_day, metavar="DATE")
    _state(report)
    _forms(report, csv=True)


def _field_tests(
    kinds: argparse._SubParsersAction[argparse.ArgumentParser],
) -> list[argparse.ArgumentParser]:
    cups = kinds.add_parser("cups", help="field test: water caught under some holes")
    stream = kinds.add_parser("stream", help="field test: how high or far the streams go")
    bucket = kinds.add_parser("bucket", help="field test: a row, or the open tap, into a bucket")
    run = kinds.add_parser("run", help="field test: the house meter before and after a run")
    gauge = kinds.add_parser("gauge", help="field test: the pressure at the tap")
    for kind in (cups, stream):
        kind.add_argument("zone", metavar="ZONE")
        kind.add_argument("--holes", required=True, metavar="N,N", help="numbers from the inlet")
    cups.add_argument("--volumes", required=True, metavar="V,V", help='as in "90 mL,88 mL"')
    stream.add_argument("--heights", metavar="H,H", help='upward streams, as in "3 in,2.5 in"')
    stream.add_argument("--reaches", metavar="R,R", help="level streams, with --drop")
    stream.add_argument("--drop", metavar="DROP", help="from the hole down to where it lands")
    bucket.add_argument("zone", nargs="?", metavar="ZONE", help="without one: the open tap")
    bucket.add_argument("--amount", required=True, metavar="VOLUME")
    run.add_argument("--before", required=True, metavar="VOLUME")
    run.add_argument("--after", required=True, metavar="VOLUME")
    gauge.add_argument("pressure", metavar="PRESSURE", help='as in "31 psi"')
    for kind in (cups, stream, bucket):
        kind.add_argument("--row", type=int, metavar="N", help="which row of the zone")
    for kind in (cups, bucket, run):
        kind.add_argument("--time", required=True, metavar="TIME", help='as in "30 s"')
    tests = [cups, stream, bucket, run, gauge]
    for kind in tests:
        kind.add_argument("--open", dest="open_zones", metavar="ZONE,ZONE", help="zones open")
        kind.add_argument("--error", metavar="ERROR", help="how far off it may be, if you know")
    back = kinds.add_parser("back", help="take a field test back")
    back.add_argument("number", type=int, metavar="NUMBER")
    return [*tests, back]


def _garden(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "garden", nargs="?", metavar="GARDEN", help="garden file (without one: the example)"
    )


def _weather(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--weather", metavar="FILE", help="weather file (CSV)")


def _state(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--state", metavar="DIR", help="folder of the logbook (default: the garden file's folder)"
    )


def _runtime(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--runtime", metavar="DIR", help="folder of the daemon's socket (/run/rowgate, if there)"
    )


def _forms(parser: argparse.ArgumentParser, *, csv: bool = False) -> None:
    forms = parser.add_mutually_exclusive_group()
    forms.add_argument("--json", action="store_true", help="as JSON; SI, units in the keys")
    if csv:
        forms.add_argument("--csv", action="store_true", help="as CSV; SI, units in the header")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"found {text!r}; a day is written year-month-day, as in 2031-07-06"
        ) from None


def _count(text: str) -> int:
    try:
        count = int(text)
    except ValueError:
        count = 0
    if not 1 <= count <= 366:
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed is a whole number, 1 to 366")
    return count


def _version() -> str:
    try:
        return f"rowgate {version('rowgate')}"
    except PackageNotFoundError:
        return "rowgate (not installed)"
