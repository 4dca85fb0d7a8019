"""The commands with their options and help pages."""

from __future__ import annotations

import argparse
from functools import cache

from controller.cli.arguments import EXIT_CODES, Parser, day, make_whole

_GARDEN_HELP = "garden file (default: ROWGATE_GARDEN, else garden.toml in this folder or above)"


def _add_garden(parser: argparse.ArgumentParser) -> None:
    """Add the garden file, as an option or as the last word."""
    parser.add_argument("garden", nargs="?", metavar="GARDEN", help="the same as --garden")
    parser.add_argument("--garden", dest="named_garden", metavar="FILE", help=_GARDEN_HELP)


def _add_daemon(parser: argparse.ArgumentParser) -> None:
    """Add what says which daemon is meant."""
    parser.add_argument(
        "--garden", metavar="FILE", help="garden file of the daemon, where several run"
    )
    parser.add_argument(
        "--runtime", metavar="DIR", help="folder of the daemon's socket, where several run"
    )


def _add_weather(parser: argparse.ArgumentParser) -> None:
    """Add a weather file in place of the garden's."""
    parser.add_argument("--weather", metavar="FILE", help="weather file")


def _add_state(parser: argparse.ArgumentParser) -> None:
    """Add the logbook's folder."""
    parser.add_argument(
        "--state", metavar="DIR", help="folder of the logbook (default: the garden file's folder)"
    )


def _add_own(parser: argparse.ArgumentParser) -> None:
    """Add the folder that only the daemon may write."""
    parser.add_argument(
        "--own",
        metavar="DIR",
        help="folder that only the daemon writes in: which lines to switch off, the last good "
        "garden file (default: the --state folder)",
    )


def _add_runtime(parser: argparse.ArgumentParser) -> None:
    """Add the folder of the daemon's socket."""
    parser.add_argument(
        "--runtime", metavar="DIR", help="folder of the daemon's socket (/run/rowgate, if there)"
    )


def _add_forms(parser: argparse.ArgumentParser, *, csv: bool = False) -> None:
    """Add the forms of the answer for a program."""
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--json", action="store_true", help="as JSON; SI, units in the keys")
    if csv:
        either.add_argument("--csv", action="store_true", help="as CSV; SI, units in the header")


def year(text: str) -> int:
    """A year, as in 2031."""
    found = int(text) if text.isdecimal() and len(text) == 4 else 0
    if not 1900 <= found < 2200:
        raise argparse.ArgumentTypeError(f"found {text!r:.60}; a year is written as in 2031")
    return found


def number(text: str) -> int:
    """A number as lists of ours show it, or a count of things."""
    try:
        found = int(text)
    except ValueError:
        found = -1
    if not 0 <= found <= 999_999_999:
        raise argparse.ArgumentTypeError(
            f"found {text!r:.60}; allowed is a whole number of up to nine digits"
        )
    return found


def count(text: str) -> int:
    """A number of days, up to a year."""
    try:
        found = int(text)
    except ValueError:
        found = 0
    if not 1 <= found <= 366:
        raise argparse.ArgumentTypeError(f"found {text!r:.60}; allowed is a whole number, 1 to 366")
    return found


def _note_command(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add note to the commands."""
    note = commands.add_parser("note", help="write down what a person did or saw")
    note.add_argument("--garden", metavar="FILE", help=_GARDEN_HELP)
    _add_state(note)
    _add_runtime(note)
    _add_forms(note)
    kinds = note.add_subparsers(dest="kind", required=True, metavar="KIND")
    watered = kinds.add_parser("watered", help="a zone was watered by hand")
    watered.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    watered.add_argument(
        "--minutes", type=float, metavar="N", help="how long its valve was open, in minutes"
    )
    watered.add_argument("--amount", metavar="VOLUME", help='as in "12 gal" or "40 L"')
    rain = kinds.add_parser(
        "rain",
        help="what the rain gauge held",
        description="One reading of the gauge, which is emptied then: readings of one day add up. "
        "To correct a day, use --replace.",
    )
    rain.add_argument("depth", metavar="DEPTH", help='as in "0.4 in" or "10 mm"')
    rain.add_argument(
        "--replace",
        action="store_true",
        help="it is all of that day's rain, in place of what was noted for it before",
    )
    meter = kinds.add_parser("meter", help="what the water meter reads")
    meter.add_argument("reading", metavar="VOLUME", help='as in "81234 L"')
    meter.add_argument(
        "--new-meter",
        action="store_true",
        help="the meter was exchanged since the reading before: this is the new one's",
    )
    soil = kinds.add_parser(
        "soil",
        help="what a probe or a hand finds in a zone's soil; a check on the ledger",
        description="Percent of the soil's volume that is water (as in 21), or how it feels: dry, "
        "moist, wet. balance shows it beside the ledger, as do plan and check where they differ; "
        "it changes no account, unless you add --start.",
    )
    soil.add_argument(
        "--start",
        action="store_true",
        help="take it as what the account has that evening, where the line wets the ground",
    )
    soil.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    soil.add_argument("value", nargs="+", metavar="VALUE", help='as in 21, "21 %%" or moist')
    seen = kinds.add_parser(
        "seen",
        help="what was seen of a zone's plants, which moves their stage",
        description="What was seen: up, spreading (a tenth of the ground covered), full cover or "
        "first flowers, first ripe (picking begins), ripening (lower leaves yellow), last picking, "
        "tops fallen (stops the water of onion, garlic, potato), gone (ends the planting).",
    )
    seen.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    seen.add_argument(
        "event", nargs="+", metavar="EVENT", help='as in "full cover", "tops falling"'
    )
    seen.add_argument("--crop", default="", metavar="CROP", help="where a zone holds several")
    mended = kinds.add_parser(
        "mended",
        help="a zone's line was repaired or changed, or is as it should be",
        description="What the meter saw of the zone up to that day no longer counts: from the next "
        "day on its flow is compared with its new first weeks.",
    )
    mended.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    words = kinds.add_parser("words", help="anything else")
    words.add_argument("words", metavar="WORDS", help='in quotes, as in "earthed up"')
    words.add_argument("--zone", metavar="ZONE", help="the zone that it is about")
    field_tests = _field_tests(kinds)
    for kind in (watered, rain, meter, soil, seen, mended, words, *field_tests):
        kind.add_argument("--on", dest="day", type=day, metavar="DATE", help="day (today)")
        kind.add_argument("--who", default="", metavar="NAME", help="who did it, or saw it")
        kind.add_argument(
            "--corrects",
            type=number,
            metavar="NUMBER",
            help="the note that this one replaces; its day is kept, unless --on names one",
        )
        kind.add_argument(
            "--force", action="store_true", help="write it down even if it looks wrong"
        )
    shown = kinds.add_parser(
        "list",
        help="the notes with their numbers, those that were taken back among them",
        description="Every note has a number. A note that was taken back is marked with an x.",
    )
    shown.add_argument("--zone", metavar="ZONE", help="of this zone only")
    shown.add_argument("--from", dest="first", type=day, metavar="DATE", help="first day")
    shown.add_argument("--to", dest="last", type=day, metavar="DATE", help="last day")
    shown.add_argument("--standing", action="store_true", help="without what was taken back")
    _add_forms(shown)
    withdraw = kinds.add_parser(
        "withdraw",
        help="take a note back; it stays on record, and no longer counts",
        description="Any note, by its number in note list. To put it right instead, write the "
        "right one with --corrects NUMBER.",
    )
    withdraw.add_argument("number", type=number, metavar="NUMBER", help="its number in note list")
    withdraw.add_argument("--who", default="", metavar="NAME", help="who takes it back")
    withdraw.add_argument("--why", default="", metavar="WORDS", help="the reason")


def _field_tests(
    kinds: argparse._SubParsersAction[argparse.ArgumentParser],
) -> list[argparse.ArgumentParser]:
    cups = kinds.add_parser("cups", help="field test: water caught under some holes")
    stream = kinds.add_parser("stream", help="field test: how high or far the streams go")
    bucket = kinds.add_parser("bucket", help="field test: a row, or the open tap, into a bucket")
    run = kinds.add_parser("run", help="field test: the house meter before and after a run")
    gauge = kinds.add_parser("gauge", help="field test: the pressure at the tap")
    count = kinds.add_parser("count", help="field test: how many holes of a zone run")
    count.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    count.add_argument("--running", required=True, type=number, metavar="N", help="holes that run")
    for kind in (cups, stream):
        kind.add_argument("zone", metavar="ZONE", help="its name in the garden file")
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
        kind.add_argument("--row", type=number, metavar="N", help="which row of the zone")
    for kind in (cups, bucket, run):
        kind.add_argument("--time", required=True, metavar="TIME", help='as in "30 s"')
    tests = [cups, stream, bucket, run, gauge, count]
    for kind in tests:
        kind.add_argument("--open", dest="open_zones", metavar="ZONE,ZONE", help="zones open")
        kind.add_argument("--error", metavar="ERROR", help="how far off it may be, if you know")
    return tests


def whole_tree() -> Parser:
    """The parser with all its pages whole, as docs, completion and manual want it."""
    return make_whole(tree())


@cache
def tree() -> Parser:
    """The parser; the pages of its commands are filled in when they are wanted."""
    whole = Parser(
        prog="rowgate",
        description="Water beds through drilled rows: what they deliver, what the plants have "
        "lost, how long each valve is open.",
        epilog="The garden file is the one named by --garden, else by ROWGATE_GARDEN, else "
        "garden.toml in this folder or above, else /etc/rowgate/garden.toml. Without any, plan, "
        "balance, flow and check use an invented example. Options such as --garden and --json "
        "stand before the command or behind it.\n\n" + EXIT_CODES,
    )
    parser: argparse.ArgumentParser = whole
    parser.add_argument(
        "--version",
        action=_Version,
        nargs=0,
        default=argparse.SUPPRESS,
        help="show program's version number and exit",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _plan_commands(commands)
    _garden_commands(commands)
    _daemon_commands(commands)
    _walk_command(commands)
    _logbook_commands(commands)
    _shell_commands(commands)
    return whole


def _plan_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = commands.add_parser("plan", help="print when to water: a sheet for the shed door")
    _add_garden(plan)
    _add_weather(plan)
    plan.add_argument("--from", dest="first", type=day, metavar="DATE", help="first day planned")
    plan.add_argument("--days", type=count, default=7, metavar="N", help="days planned (7)")
    for kind, what in (("zone", "ZONE"), ("bed", "BED"), ("keeper", "NAME")):
        plan.add_argument(
            f"--{kind}",
            dest=f"{kind}s",
            action="append",
            metavar=what,
            help=f"only the zones of this {kind}; repeatable"
            if kind != "zone"
            else "only this zone; repeatable",
        )
    plan.add_argument("--why", action="store_true", help="gather the reasons at the end")
    plan.add_argument("--band", action="store_true", help="show how sure times and litres are")
    plan.add_argument(
        "--clock", type=int, choices=(12, 24), help="hours of the clock (default: the garden's)"
    )
    plan.add_argument(
        "--page", action="store_true", help="in pages of 60 lines, a form feed between them"
    )
    plan.add_argument(
        "--calendar",
        metavar="FILE",
        help="also write the openings by hand to an iCalendar file; it may replace an older one "
        "of the same garden",
    )
    _add_state(plan)
    _add_forms(plan, csv=True)

    balance = commands.add_parser("balance", help="print the soil-water ledger day by day")
    _add_garden(balance)
    _add_weather(balance)
    balance.add_argument("--zone", help="one zone only")
    balance.add_argument("--from", dest="first", type=day, metavar="DATE", help="first day")
    balance.add_argument("--to", dest="last", type=day, metavar="DATE", help="last day")
    _add_state(balance)
    _add_forms(balance, csv=True)

    flow = commands.add_parser("flow", help="print what each row and hole delivers")
    _add_garden(flow)
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
    _add_state(flow)
    _add_forms(flow)

    et = commands.add_parser("et", help="reference ET of each day of a weather file")
    et.add_argument("weather", metavar="WEATHER", help="weather file")
    et.add_argument(
        "--latitude", type=float, required=True, metavar="DEG", help="degrees, north positive"
    )
    et.add_argument(
        "--elevation", type=float, required=True, metavar="M", help="metres above the sea"
    )
    et.add_argument(
        "--wind-height",
        type=float,
        default=2.0,
        metavar="M",
        help="height of the wind gauge, metres (2)",
    )
    et.add_argument("--coastal", action="store_true", help="by the sea: other sun estimate")
    _add_forms(et, csv=True)


def _garden_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser("check", help="what is wrong in a garden, and what works badly")
    _add_garden(check)
    _add_state(check)
    check.add_argument("--advice", action="store_true", help="design advice, with numbers")
    check.add_argument(
        "--all",
        action="store_true",
        dest="everything",
        help="also what was filled in, and how the supply and perennials are understood",
    )
    _add_forms(check)
    new = commands.add_parser("new", help="answer some questions, get a garden file")
    new.add_argument("garden", metavar="FILE", help="file to write; never overwritten")


def _daemon_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    run = commands.add_parser("run", help="run the daemon that opens the valves")
    _add_garden(run)
    _add_state(run)
    _add_own(run)
    _add_runtime(run)
    run.add_argument(
        "--pins",
        choices=("lgpio", "mock"),
        help="pin driver: lgpio on a board, mock where valves must not move "
        "(default: the garden file's)",
    )
    status = commands.add_parser("status", help="show what the running daemon does")
    _add_daemon(status)
    _add_forms(status)
    open_zone = commands.add_parser("open", help="open a zone for some minutes")
    open_zone.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    open_zone.add_argument(
        "--minutes", type=float, required=True, metavar="N", help="how long, in minutes"
    )
    _add_daemon(open_zone)
    _add_forms(open_zone)
    close = commands.add_parser(
        "close",
        help="close a zone, or all, for the rest of today",
        description="Shuts the zone, or without one all of them, and ends the rest of today: "
        "nothing more opens there by plan until tomorrow. rowgate resume undoes that.",
    )
    close.add_argument("zone", nargs="?", metavar="ZONE", help="one zone only")
    _add_daemon(close)
    _add_forms(close)
    resume = commands.add_parser(
        "resume",
        help="undo a close: plan the rest of today anew",
        description="The rest of today is planned anew, in a zone or in all that were closed. It "
        "opens nothing by itself: the plan does, at its times, under every limit and hold.",
    )
    resume.add_argument("zone", nargs="?", metavar="ZONE", help="one zone only")
    _add_daemon(resume)
    _add_forms(resume)
    reset = commands.add_parser("reset", help="let a line that did not obey open again")
    reset.add_argument("zone", metavar="ZONE", help="its name in the garden file")
    _add_daemon(reset)
    _add_forms(reset)
    hold = commands.add_parser("hold", help="let nothing open for a while; --lift ends it")
    hold.add_argument("--hours", type=float, metavar="N", help="how many hours (24)")
    hold.add_argument("--zone", action="append", metavar="ZONE", help="only this zone; repeatable")
    hold.add_argument("--reason", default="", metavar="WORDS", help="why, for status and sheet")
    hold.add_argument("--lift", action="store_true", help="end the holds in force")
    _add_daemon(hold)
    _add_forms(hold)


def _walk_command(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    walk = commands.add_parser(
        "walk",
        help="open each valve of a new installation for some seconds, and say what moved",
        description="Opens one line of the board after another, the daemon stopped, and asks what "
        "was seen: exchanged wires, a board that switches on at the other level, dead relays, "
        "valves that do not close, a meter that does not count.",
    )
    _add_garden(walk)
    walk.add_argument(
        "--seconds",
        type=float,
        default=15.0,
        metavar="N",
        help="seconds that each valve is open (15)",
    )
    walk.add_argument("--zone", action="append", metavar="ZONE", help="only this zone; repeatable")
    walk.add_argument("--who", default="", metavar="NAME", help="who walks, for the logbook")
    walk.add_argument(
        "--pins", choices=("lgpio", "mock"), help="mock to practise (default: the garden file's)"
    )
    _add_state(walk)
    _add_own(walk)
    _add_runtime(walk)


def _logbook_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    _note_command(commands)
    report = commands.add_parser("report", help="print the water applied")
    report.add_argument("--garden", metavar="FILE", help=_GARDEN_HELP)
    report.add_argument("--by", choices=("zone", "bed", "keeper", "month"), default="zone")
    report.add_argument(
        "--months", action="store_true", help="each zone, bed or keeper month by month"
    )
    report.add_argument(
        "--year", type=year, metavar="YEAR", help="the year at a glance, a row a month"
    )
    report.add_argument(
        "--meter",
        action="store_true",
        help="compare pulses, notes and the water meter between its readings",
    )
    report.add_argument("--band", action="store_true", help="show how sure timed litres are")
    report.add_argument("--from", dest="first", type=day, metavar="DATE", help="first day")
    report.add_argument("--to", dest="last", type=day, metavar="DATE", help="last day")
    _add_state(report)
    _add_forms(report, csv=True)
    backup = commands.add_parser(
        "backup", help="copy the logbook to a file, also while the daemon runs"
    )
    backup.add_argument("file", metavar="FILE", help="file to write; never overwritten")
    backup.add_argument("--garden", metavar="FILE", help=_GARDEN_HELP)
    _add_state(backup)
    _add_forms(backup)


def _shell_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    completion = commands.add_parser(
        "completion", help="print what lets a shell complete commands and options"
    )
    completion.add_argument("shell", choices=("bash", "zsh", "fish"))
    commands.add_parser("manual", help="print the manual page, for man")


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

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
