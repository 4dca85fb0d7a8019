"""How the command line reads words: guesses for slips, days, examples on each help page.

This module is kept small: every command imports it, before it does anything else.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any, ClassVar, NoReturn

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
NEAR_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}
FIRST_YEAR, LAST_YEAR = 1900, 2199
DATES = (
    "A DATE is written 2031-07-06, or today, tomorrow, yesterday, +7 or -1 (days from today in the "
    "garden), or as a weekday: for what is planned the coming one, else the last one, today "
    "included."
)
EXIT_CODES = (
    "Exit codes: 0 done; 1 the answer is no (faults found, refused, no daemon); 2 the input is "
    "wrong; 130 ended by Ctrl-C."
)
# By the words after rowgate; a test runs each through the parser.
EXAMPLES: Mapping[str, Sequence[str]] = {
    "": ("rowgate plan", "rowgate new garden.toml", "rowgate note watered leeks --minutes 5"),
    "plan": ("rowgate plan", "rowgate plan --from tomorrow --days 3 --garden garden.toml"),
    "balance": ("rowgate balance --zone leeks", "rowgate balance --from -7 --to today --csv"),
    "flow": ("rowgate flow --open leeks,salad", "rowgate flow --open leeks --holes --bars"),
    "et": ("rowgate et weather.csv --latitude 47.1 --elevation 430",),
    "check": ("rowgate check", "rowgate check --garden garden.toml --advice"),
    "new": ("rowgate new garden.toml",),
    "run": ("rowgate run", "rowgate run --garden garden.toml --pins mock"),
    "status": ("rowgate status", "rowgate status --json"),
    "open": ("rowgate open leeks --minutes 2",),
    "close": ("rowgate close", "rowgate close leeks"),
    "resume": ("rowgate resume", "rowgate resume leeks"),
    "reset": ("rowgate reset leeks",),
    "hold": ('rowgate hold --hours 48 --reason "frost"', "rowgate hold --lift"),
    "walk": ("rowgate walk", "rowgate walk --pins mock --zone leeks"),
    "report": ("rowgate report --by month", "rowgate report --from -30 --to yesterday"),
    "backup": ("rowgate backup logbook-copy.db",),
    "completion": ("rowgate completion bash > rowgate.bash", "rowgate completion fish"),
    "manual": ("rowgate manual > rowgate.1",),
    "note": ("rowgate note watered leeks --minutes 5", 'rowgate note rain "10 mm" --on yesterday'),
    "note watered": ('rowgate note watered leeks --amount "40 L" --on yesterday',),
    "note rain": ('rowgate note rain "0.4 in" --on monday',),
    "note meter": ('rowgate note meter "81234 L"',),
    "note soil": ("rowgate note soil leeks 21", "rowgate note soil leeks moist --on -1"),
    "note seen": ("rowgate note seen leeks full cover",),
    "note mended": ("rowgate note mended leeks --on yesterday",),
    "note words": ('rowgate note words "first leeks earthed up" --zone leeks',),
    "note cups": ('rowgate note cups leeks --holes 1,11 --volumes "90 mL,88 mL" --time "30 s"',),
    "note stream": ('rowgate note stream leeks --holes 1,11 --heights "3 in,2.5 in"',),
    "note bucket": ('rowgate note bucket leeks --amount "4 L" --time "160 s"',),
    "note run": (
        'rowgate note run --open leeks --before "812 gal" --after "824 gal" \\\n    --time "120 s"',
    ),
    "note gauge": ('rowgate note gauge "31 psi" --open leeks',),
    "note count": ("rowgate note count leeks --running 21",),
    "note list": ("rowgate note list", "rowgate note list --zone leeks --from -30"),
    "note withdraw": ('rowgate note withdraw 3 --why "it was the carrots"',),
}
# Options of a command that its kinds take, too, as in: rowgate note rain "10 mm" --garden g.toml
_SHARED = ("--garden", "--state", "--runtime", "--json")


class _Help(argparse.HelpFormatter):
    """Keeps the lines of examples as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return "\n\n".join(
            part if "\n  " in part else super(_Help, self)._fill_text(part, width, indent)
            for part in text.split("\n\n")
        )


class Parser(argparse.ArgumentParser):
    """A parser whose help page has examples, and which guesses what a slip may have meant."""

    words: ClassVar[Sequence[str]] = ()  # the command line that is being read

    def __init__(self, **named: Any) -> None:
        super().__init__(**{"formatter_class": _Help, **named})
        self.is_whole = False

    def error(self, message: str) -> NoReturn:
        """Say in one line what is wrong, guess what was meant, and exit with 2."""
        leaf = deepest(self, self.words)
        guesses = [
            f"{leaf.prog}: {word} is unknown; did you mean {guess}?\n"
            for word, guess in _misspelt(leaf, self.words)
        ]
        self.exit(
            2,
            f"{leaf.prog}: {message}\n{''.join(guesses)}"
            f"{leaf.prog} --help shows what is allowed, with examples.\n",
        )

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        if action.choices is None or value in action.choices:
            return
        known = [str(choice) for choice in action.choices]
        guess = _closest(str(value), known)
        meant = f"; did you mean {guess}? Allowed" if guess else "; allowed"
        raise argparse.ArgumentError(action, f"found {value!r:.60}{meant} are: {', '.join(known)}")


def below(parser: argparse.ArgumentParser) -> Mapping[str, Parser]:
    """The parsers of the words that may follow."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            return action.choices
    return {}


def deepest(parser: argparse.ArgumentParser, words: Sequence[str]) -> argparse.ArgumentParser:
    """The parser of the last word that leads from this one to another."""
    for word in words:
        parser = below(parser).get(word, parser)
    return parser


def make_whole(parser: Parser, words: Sequence[str] | None = None) -> Parser:
    """Add to the help pages, and to kinds what their command takes; with words only on their way.

    Only what one command line needs is made, for each takes a while on a small board.
    """
    under = below(parser)
    if not parser.is_whole:
        parser.is_whole = True
        parser.epilog = _epilog(parser)
    for name in under if words is None else set(words).intersection(under):
        kind = under[name]
        if not kind.is_whole:
            _share(parser, kind)
        make_whole(kind, words)
    return parser


def _share(parser: Parser, kind: Parser) -> None:
    """Let the options of a command stand behind its kind, too."""
    for action in list(parser._actions):
        for option in action.option_strings:
            if option not in _SHARED:
                continue
            if option in kind._option_string_actions:
                # What stands before the kind is kept where nothing stands behind it.
                kind._option_string_actions[option].default = argparse.SUPPRESS
                continue
            once: dict[str, Any] = {"action": "store_true"} if action.nargs == 0 else {}
            once |= {"default": argparse.SUPPRESS, "help": argparse.SUPPRESS}
            kind.add_argument(option, dest=action.dest, **once)


def _epilog(parser: Parser) -> str:
    parts = [parser.epilog] if parser.epilog else []
    path = " ".join(parser.prog.split()[1:])
    if path.startswith("note "):
        parts.append("It also takes --garden, --state, --runtime, --json: rowgate note --help.")
    if any(action.metavar == "DATE" for action in parser._actions):
        parts.append(DATES)
    if lines := EXAMPLES.get(path):
        title = "Example" if len(lines) == 1 else "Examples"
        parts.append("\n".join((f"{title}:", *(f"  {line}" for line in lines))))
    return "\n\n".join(parts)


def command_first(words: Sequence[str], parser: Parser) -> list[str]:
    """The words, with options that stand before the command behind it."""
    n = 0
    while n < len(words) and words[n].startswith("-"):
        known = (command._option_string_actions.get(words[n]) for command in below(parser).values())
        n += 2 if any(option is not None and option.nargs != 0 for option in known) else 1
    if n >= len(words) or words[0] in ("-h", "--help", "--version"):
        return list(words)
    return [words[n], *words[:n], *words[n + 1 :]]


def _misspelt(parser: argparse.ArgumentParser, words: Sequence[str]) -> Iterator[tuple[str, str]]:
    known = [option for option in parser._option_string_actions if option.startswith("--")]
    for word in (word.partition("=")[0] for word in words if word.startswith("--")):
        is_known = len(word) < 3 or any(option.startswith(word) for option in known)
        if not is_known and (guess := _closest(word, known)):
            yield word, guess


def _closest(word: str, known: Sequence[str]) -> str:
    """What the word may have been meant for, or nothing."""
    from difflib import get_close_matches

    return next(iter(get_close_matches(word.casefold(), known, 1)), "")


class FromToday:
    """A day that is known once the garden is: its own today decides, not the machine's."""

    __slots__ = ("_offset", "_weekday", "text")

    def __init__(self, text: str, *, offset: int = 0, weekday: int | None = None) -> None:
        self.text, self._offset, self._weekday = text, offset, weekday

    def on(self, today: date, *, ahead: bool) -> date:
        """The day, where today is that one; a weekday is the coming one, or the last one."""
        if self._weekday is None:
            return today + timedelta(days=self._offset)
        between = self._weekday - today.weekday()
        return today + timedelta(days=between % 7 if ahead else -(-between % 7))

    def __str__(self) -> str:
        return self.text


def day(text: str) -> date | FromToday:
    """A day as a person writes it."""
    word = text.strip().casefold()
    if word in NEAR_DAYS:
        return FromToday(word, offset=NEAR_DAYS[word])
    if word[:1] in ("+", "-") and word[1:].isdecimal() and len(word) <= 5:
        return FromToday(word, offset=int(word))
    weekdays = [n for n, name in enumerate(WEEKDAYS) if len(word) > 1 and name.startswith(word)]
    if len(weekdays) == 1:
        return FromToday(word, weekday=weekdays[0])
    parts = word.split("-")
    try:
        if len(parts) == 3 and len(parts[0]) == 4 and all(part.isdecimal() for part in parts):
            found = date(*(int(part) for part in parts))
        else:
            found = date.fromisoformat(word)
    except ValueError as fault:
        raise argparse.ArgumentTypeError(_no_day(text, word, parts, fault)) from None
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise argparse.ArgumentTypeError(
            f"found {text!r}; allowed are the years {FIRST_YEAR} to {LAST_YEAR}"
        )
    return found


def _no_day(text: str, word: str, parts: Sequence[str], fault: ValueError) -> str:
    if len(parts) == 3 and len(parts[0]) == 4 and all(part.isdecimal() for part in parts):
        return f"found {text!r:.60}; there is no such day: {fault}"
    guess = _closest(word, (*NEAR_DAYS, *WEEKDAYS)) if word.isalpha() else ""
    meant = f"did you mean {guess}? A" if guess else "a"
    return (
        f"found {text!r:.60}; {meant} day is written year-month-day, as in 2031-07-06, or today, "
        "tomorrow, yesterday, +7 or -1 for days from today, or a weekday, as in monday"
    )


def settle_days(args: argparse.Namespace, today_in_garden: Callable[[], date]) -> None:
    """Make days that count from today dates, by today in the garden."""
    for name, value in list(vars(args).items()):
        if isinstance(value, FromToday):
            settled = value.on(today_in_garden(), ahead=args.command == "plan")
            setattr(args, name, settled)


def show_page(parser: argparse.ArgumentParser) -> NoReturn:
    """Print the help page where a word is still missing, and exit with 2."""
    parser.print_help(sys.stderr)
    parser.exit(2)
