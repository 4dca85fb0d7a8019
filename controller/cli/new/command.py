"""The command `new`: the dialogue at a terminal, the file it writes, and the first sheet."""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from types import FrameType

from controller.cli.loading import system_clock, write_file
from controller.cli.new.answers import CropNames, first_fault
from controller.cli.new.questions import Known, garden_text
from controller.cli.new.talk import Talk
from controller.cli.new.toml import MARK
from controller.cli.new.towns import towns_here
from controller.cli.output import to_stderr
from controller.errors import InputError
from controller.garden.model import Garden, Planting
from controller.inputs.garden_loader import garden_from_text
from controller.paper.text import long_day, paragraph
from crops.catalogue import load as load_catalogue

_SOON = timedelta(days=7)  # a sheet from today on shows what begins within a week
_SIGNALS = (signal.SIGINT, signal.SIGHUP, signal.SIGTERM)
_INTRODUCTION = """\
Questions about your garden, in the order of a walk from the tap to the beds.
  Enter         takes what stands in [brackets]; so does: don't know
  back          one question back
  ?             explains, or lists what is allowed
  Ctrl-D        stops; what was answered is written, the rest is stand-ins
Write each quantity with its unit, US or metric: 11 ft, 3.4 m, 50 psi, 5 gal.
"""


def write_new_garden(args: argparse.Namespace) -> int:
    """Ask, write the file, print its plan; 1 if the answers ended before the last question."""
    path = Path(args.garden)
    _require_room(path)
    catalogue = load_catalogue()

    known = Known(
        crops=CropNames(catalogue),
        fault=lambda text: first_fault(text, catalogue),
        now_utc=system_clock().now_utc(),
        machine_zone=_machine_zone(),
        towns=towns_here(),
        folder=path.parent,
    )
    talk = Talk(_line, print)
    with _signals_end_answers():
        print(_INTRODUCTION)
        text = talk.run(lambda asked: garden_text(asked, known))
        if not talk.answered:
            print()
            raise InputError("nothing was answered, so nothing is written")
        with _undisturbed():
            _write(path, text)
    garden = garden_from_text(text, str(path), catalogue)
    if talk.ended:
        with contextlib.suppress(OSError):  # the terminal may be gone
            _say_cut(path, text)
        return 1
    print(f"\n{path} is written.")
    _print_plan(path, garden, known.now_utc)
    _print_next_steps(path, text, garden)
    return 0


def _require_room(path: Path) -> None:
    """Refuse, before anything is asked, a file that could not be written at the end."""
    if path.exists() or path.is_symlink():
        raise InputError(f"{path} is there already; name another file, or move that one away")
    if not path.parent.is_dir():
        raise InputError(f"{path}: there is no folder {path.parent}; make it first")
    if not os.access(path.parent, os.W_OK):
        raise InputError(f"{path}: nothing may be written in {path.parent.resolve()}")


def _line(prompt: str) -> str:
    """The next line; EOFError at the end of the answers."""
    while True:
        print(prompt, end="", flush=True)
        try:
            line = sys.stdin.readline()
        except UnicodeDecodeError:
            print("Found a sign that is no text; write it again.")
            continue
        except OSError:  # the terminal is gone
            line = ""
        if not line:
            raise EOFError
        return line.rstrip("\n")


def _write(path: Path, text: str) -> None:
    """Write the file; where that fails, print it, so that no answer is lost."""
    try:
        write_file(path, text, new=True)
    except InputError:
        print(text)
        to_stderr("The file could not be written; what it would hold is printed above.")
        raise


@contextlib.contextmanager
def _signals_end_answers() -> Iterator[None]:
    """Ctrl-C, a terminal that closes or a polite kill ends the answers, the first of them alone."""
    ended = False

    def end(number: int, frame: FrameType | None) -> None:
        nonlocal ended
        if not ended:
            ended = True
            raise KeyboardInterrupt

    with _handled(_SIGNALS, end):
        yield


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """No signal stops the writing."""

    def later(number: int, frame: FrameType | None) -> None:
        return None

    with _handled(_SIGNALS, later):
        yield


@contextlib.contextmanager
def _handled(numbers: tuple[signal.Signals, ...], handler: object) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in numbers}
    for number in numbers:
        signal.signal(number, handler)  # type: ignore[arg-type]
    try:
        yield
    finally:
        for number, earlier in before.items():
            signal.signal(number, earlier)


def _machine_zone() -> str:
    """The time zone of this machine, if it has a place; else ""."""
    named = os.environ.get("TZ", "").removeprefix(":")
    if not named:
        named = os.path.realpath("/etc/localtime").partition("zoneinfo/")[2]
    return named if "/" in named and not named.startswith(("Etc/", "/")) else ""


def _say_cut(path: Path, text: str) -> None:
    print()
    for line in (
        f"The answers ended. {path} is written with what you answered; the rest is stand-ins, "
        f'each with the word "{MARK}" above it ({_count(text)} of them).',
        "Write yours in their place with a text editor, or move the file away and begin again.",
    ):
        print(*paragraph(line, then="", at_hyphens=False), sep="\n")


def _count(text: str) -> int:
    return sum(line.startswith(f"# {MARK}:") for line in text.splitlines())


def _print_plan(path: Path, garden: Garden, now_utc: datetime) -> None:
    """The sheet of the first week in which something grows."""
    from controller.cli.entry import main  # a command of the line the gardener could type

    today = now_utc.astimezone(garden.site.zone_info).date()
    first = _first_day([one for zone in garden.zones for one in zone.plantings], today)
    if first != today:
        words = f"Nothing grows before {long_day(first)}, so this is the sheet from that day on."
        print(*paragraph(words, then=""), sep="\n")
    print()
    main(["plan", str(path), "--from", first.isoformat()])


def _first_day(plantings: list[Planting], today: date) -> date:
    if any(one.start <= today + _SOON and today <= one.until for one in plantings):
        return today
    return min((one.start for one in plantings if one.start > today), default=today)


def _print_next_steps(path: Path, text: str, garden: Garden) -> None:
    count = _count(text)
    steps = []
    if count:
        answers = "One answer is a stand-in" if count == 1 else f"{count} answers are stand-ins"
        steps.append(
            f'{answers}: find the word "{MARK}" in {path}, measure, and write yours. The bucket at '
            "the tap and the flow of a throttled valve decide most."
        )
    steps.append(f"rowgate check {path}: what will not work, or badly, and what was filled in.")
    steps.append(f"rowgate plan {path}: the next sheet, any day.")
    if any(zone.valve.relay_line is not None for zone in garden.zones):
        steps.append(
            f"rowgate walk {path}: tries each relay and valve with you. Then rowgate run {path} "
            "waters (docs/install.md)."
        )
    if any(zone.valve.relay_line is None for zone in garden.zones):
        steps.append(
            f"rowgate note --garden {path} watered ZONE --minutes N: after you watered by hand "
            "for another time than on the sheet."
        )
    print("\nNext steps")
    for number, step in enumerate(steps, 1):
        print(*paragraph(f"{number}. {step}", "  ", then="     ", at_hyphens=False), sep="\n")
