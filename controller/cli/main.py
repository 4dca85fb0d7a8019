"""Words of the command line to calls; nothing is reckoned here."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from functools import cache

from controller.cli.arguments import count, day, forms, garden, own, runtime, state, weather
from controller.cli.noting import note_arguments
from controller.cli.saying import plain_streams
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
    with plain_streams():
        return _run(argv)


def _run(argv: Sequence[str] | None) -> int:
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
    if name in ("note", "report", "backup"):
        from controller.cli import keeping

        return {"note": keeping.note, "report": keeping.report, "backup": keeping.backup}[name]
    if name == "walk":
        from controller.cli import walking

        return walking.walk
    from controller.cli import running

    return {
        "run": running.run,
        "status": running.status,
        "open": running.open_zone,
        "close": running.close_zone,
        "hold": running.hold,
        "reset": running.reset,
    }[name]


@cache
def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="rowgate",
        description="Water beds through drilled rows: what they deliver, what the plants have "
        "lost, how long each valve is open.",
        epilog="Without a garden file, plan, balance, flow and check use an invented example.",
    )
    parser.add_argument(
        "--version",
        action=_Version,
        nargs=0,
        default=argparse.SUPPRESS,
        help="show program's version number and exit",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _reckoning(commands)
    _writing(commands)
    _running(commands)
    _walking(commands)
    _keeping(commands)
    return parser


def _reckoning(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = commands.add_parser("plan", help="print a dry-run timetable")
    garden(plan)
    weather(plan)
    plan.add_argument("--from", dest="first", type=day, metavar="DATE", help="first day planned")
    plan.add_argument("--days", type=count, default=7, metavar="N", help="days planned (7)")
    plan.add_argument("--band", action="store_true", help="show how sure times and litres are")
    state(plan)
    forms(plan, csv=True)

    balance = commands.add_parser("balance", help="print the soil-water ledger day by day")
    garden(balance)
    weather(balance)
    balance.add_argument("--zone", help="one zone only")
    balance.add_argument("--from", dest="first", type=day, metavar="DATE")
    balance.add_argument("--to", dest="last", type=day, metavar="DATE")
    state(balance)
    forms(balance, csv=True)

    flow = commands.add_parser("flow", help="print what each row and hole delivers")
    garden(flow)
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
    state(flow)
    forms(flow)

    et = commands.add_parser("et", help="reference ET of each day of a weather file")
    et.add_argument("weather", metavar="WEATHER", help="weather file")
    et.add_argument("--latitude", type=float, required=True, metavar="DEG", help="north positive")
    et.add_argument("--elevation", type=float, required=True, metavar="M", help="metres")
    et.add_argument("--wind-height", type=float, default=2.0, metavar="M", help="metres (2)")
    et.add_argument("--coastal", action="store_true", help="by the sea: other sun estimate")
    forms(et, csv=True)


def _writing(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser("check", help="read a garden file: defaults, faults, cautions")
    garden(check)
    state(check)
    check.add_argument("--advice", action="store_true", help="design advice, with numbers")
    forms(check)
    new = commands.add_parser("new", help="answer some questions, get a garden file")
    new.add_argument("garden", metavar="FILE", help="file to write; never overwritten")


def _running(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    run = commands.add_parser("run", help="run the daemon that opens the valves")
    run.add_argument("garden", metavar="GARDEN", help="garden file")
    state(run)
    own(run)
    runtime(run)
    run.add_argument(
        "--pins",
        choices=("lgpio", "mock"),
        help="pin driver: lgpio on a board, mock where no valve shall move "
        "(default: the garden file's)",
    )
    status = commands.add_parser("status", help="ask the running daemon how it stands")
    runtime(status)
    forms(status)
    open_zone = commands.add_parser("open", help="open a zone for some minutes")
    open_zone.add_argument("zone", metavar="ZONE")
    open_zone.add_argument("--minutes", type=float, required=True, metavar="N")
    runtime(open_zone)
    close = commands.add_parser("close", help="close a zone, or all")
    close.add_argument("zone", nargs="?", metavar="ZONE")
    runtime(close)
    reset = commands.add_parser("reset", help="let a line that disobeyed open again")
    reset.add_argument("zone", metavar="ZONE")
    runtime(reset)
    hold = commands.add_parser("hold", help="let nothing open for a while; --lift ends it")
    hold.add_argument("--hours", type=float, metavar="N", help="for so long (24)")
    hold.add_argument("--zone", action="append", metavar="ZONE", help="only this zone; repeatable")
    hold.add_argument("--reason", default="", metavar="WORDS")
    hold.add_argument("--lift", action="store_true", help="end the holds in force")
    runtime(hold)


def _walking(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    walk = commands.add_parser(
        "walk",
        help="open each valve of a new installation for some seconds, and say what moved",
        description="Opens one line of the board after another, the daemon stopped, and asks what "
        "was seen: exchanged wires, a board that switches on at the other level, dead relays, "
        "valves that do not close, a meter that does not count.",
    )
    walk.add_argument("garden", metavar="GARDEN", help="garden file")
    walk.add_argument(
        "--seconds", type=float, default=15.0, metavar="N", help="each valve is open (15)"
    )
    walk.add_argument("--zone", action="append", metavar="ZONE", help="only this zone; repeatable")
    walk.add_argument("--who", default="", metavar="NAME", help="who walks, for the logbook")
    walk.add_argument(
        "--pins", choices=("lgpio", "mock"), help="mock to practise (default: the garden file's)"
    )
    state(walk)
    own(walk)
    runtime(walk)


def _keeping(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    note_arguments(commands)
    report = commands.add_parser("report", help="print the water applied")
    report.add_argument("--garden", metavar="GARDEN", help="garden file")
    report.add_argument("--by", choices=("zone", "bed", "keeper", "month"), default="zone")
    report.add_argument("--band", action="store_true", help="show how sure timed litres are")
    report.add_argument("--from", dest="first", type=day, metavar="DATE")
    report.add_argument("--to", dest="last", type=day, metavar="DATE")
    state(report)
    forms(report, csv=True)
    backup = commands.add_parser(
        "backup", help="copy the logbook to a file, also while the daemon runs"
    )
    backup.add_argument("file", metavar="FILE", help="file to write; never overwritten")
    backup.add_argument("--garden", metavar="GARDEN", help="garden file beside the logbook")
    state(backup)
    forms(backup)


class _Version(argparse.Action):
    """Looks the version up only where somebody asks for it."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: object,
        option_string: str | None = None,
    ) -> None:
        """Print it, and end."""
        print(_version())
        parser.exit()


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"rowgate {version('rowgate')}"
    except PackageNotFoundError:
        return "rowgate (not installed)"
