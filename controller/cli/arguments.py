"""Arguments that several commands share, and how a day or a number is read."""

from __future__ import annotations

import argparse
from datetime import date


def garden(parser: argparse.ArgumentParser) -> None:
    """The garden file, last and without a name."""
    parser.add_argument(
        "garden", nargs="?", metavar="GARDEN", help="garden file (without one: the example)"
    )


def weather(parser: argparse.ArgumentParser) -> None:
    """Another weather file than the garden's."""
    parser.add_argument("--weather", metavar="FILE", help="weather file")


def state(parser: argparse.ArgumentParser) -> None:
    """Where the logbook lies."""
    parser.add_argument(
        "--state", metavar="DIR", help="folder of the logbook (default: the garden file's folder)"
    )


def own(parser: argparse.ArgumentParser) -> None:
    """Where the daemon keeps what nobody else may write."""
    parser.add_argument(
        "--own",
        metavar="DIR",
        help="folder that only the daemon writes in: which lines to drive off, the last good "
        "garden file (default: the --state folder)",
    )


def runtime(parser: argparse.ArgumentParser) -> None:
    """Where the daemon listens."""
    parser.add_argument(
        "--runtime", metavar="DIR", help="folder of the daemon's socket (/run/rowgate, if there)"
    )


def forms(parser: argparse.ArgumentParser, *, csv: bool = False) -> None:
    """The answer as rows for a program."""
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--json", action="store_true", help="as JSON; SI, units in the keys")
    if csv:
        either.add_argument("--csv", action="store_true", help="as CSV; SI, units in the header")


def day(text: str) -> date:
    """A day as a person writes it."""
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"found {text!r:.60}; a day is written year-month-day, as in 2031-07-06"
        ) from None
    if not 1900 <= found.year < 2200:
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed are the years 1900 to 2199")
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
