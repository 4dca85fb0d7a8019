"""Loads what most commands need: the garden, its lines, its weather; shows progress."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import partial
from pathlib import Path
from typing import Any, TextIO, TypeVar

import controller
from controller.cli.arguments import settle_days
from controller.cli.output import to_stderr
from controller.cli.places import find_garden, say_found, state_beside
from controller.cli.plausible import Doubt
from controller.cli.progress import QUIET_S
from controller.clock import Clock, SystemClock
from controller.errors import InputError, LogbookError
from controller.garden.model import Garden
from controller.garden.show import quoted
from controller.hydraulics.calibration.calibrated import Calibrated, calibrated_lines
from controller.hydraulics.calibration.result import Fitted, fitted_to_dict
from controller.inputs.climatology import read_station
from controller.inputs.garden_loader import garden_from_file
from controller.inputs.gather import Gathered, Gatherer, best_normals
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.paper.amounts import Units
from controller.paper.notes import entry_words
from controller.paper.text import csv_text, short_day
from controller.timetable.plan import NOTHING_GIVEN, Given, Grounds, Weather
from controller.weather.day import WeatherDay
from controller.wording.say import say
from crops.catalogue import Catalogue
from crops.catalogue import load as load_catalogue

T = TypeVar("T")
Writing = Callable[[Logbook], None]  # how a note is written down, once it was checked
_AGAIN_S = 0.25


class Progress:
    """A progress line on stderr, rewritten as work goes on, and cleared at the end."""

    def __init__(self, words: str, clock: Clock, stream: TextIO | None = None) -> None:
        self._words, self._clock = words, clock
        self._stream = sys.stderr if stream is None else stream
        self._next_s = clock.mono_s() + QUIET_S if self._stream.isatty() else None
        self._steps, self._shown = 0, False

    def step(self) -> None:
        """Count one step as done."""
        self._steps += 1
        if self._next_s is None or self._clock.mono_s() < self._next_s:
            return
        self._next_s, self._shown = self._clock.mono_s() + _AGAIN_S, True
        print(f"\r{self._words}: {self._steps}", end="", file=self._stream, flush=True)

    def done(self) -> None:
        """Clear the line."""
        if self._shown:
            width = len(f"{self._words}: {self._steps}")
            print(f"\r{' ' * width}\r", end="", file=self._stream, flush=True)


LOGBOOK_NAME = "logbook.db"
EXAMPLE_GARDEN = "example-garden.toml"
# The first day planned for the example, whose invented weather ends a while after it.
EXAMPLE_FIRST = date(2031, 7, 6)
FORECAST_DAYS = 8  # asked of a service for a printed plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A garden file as read, with its crops and soils, and the command line that named it."""

    args: argparse.Namespace
    garden: Garden
    catalogue: Catalogue
    is_example: bool
    path: Path

    @property
    def grounds(self) -> Grounds:
        """The crops and soils of this garden."""
        return Grounds(self.garden, self.catalogue)

    @property
    def state_dir(self) -> Path:
        """The logbook's folder: the named one, ROWGATE_STATE, or beside the garden file."""
        return named_state(self.args) or state_beside(self.path)

    @property
    def logbook(self) -> Path | None:
        """The garden's logbook, if there is one; the example has none."""
        book = self.state_dir / LOGBOOK_NAME
        return book if book.is_file() and not self.is_example else None


def load_garden(args: argparse.Namespace) -> Loaded:
    """Read the garden file that is named or found, or the example.

    Days on the command line that count from today are settled here, by the garden's own today.
    """
    own = find_garden(args)
    path = config_file(EXAMPLE_GARDEN) if own is None else own
    if own is None:
        to_stderr("EXAMPLE, invented: no garden.toml here or above. Yours: --garden FILE")
    else:
        say_found(args, own)
    catalogue = load_catalogue()
    garden = garden_from_file(path, catalogue)
    loaded = Loaded(
        args=args, garden=garden, catalogue=catalogue, is_example=own is None, path=path
    )
    settle_days(args, lambda: own_today(loaded, system_clock()))
    return loaded


def config_file(name: str) -> Path:
    """A file that comes with Rowgate, in the installed package or in the source tree."""
    root = Path(controller.__file__).parent
    for folder in (root / "_config", root.parent / "config"):
        if (folder / name).is_file():
            return folder / name
    raise InputError(f"{name} is missing from this installation; install Rowgate again")


def own_today(loaded: Loaded, clock: Clock) -> date:
    """The example's own day, or today in the garden."""
    return EXAMPLE_FIRST if loaded.is_example else today_in(loaded.garden, clock)


def today_in(garden: Garden, clock: Clock) -> date:
    """The local date in the garden now."""
    return clock.now_utc().astimezone(garden.site.zone_info).date()


def moment_on(day: date, garden: Garden, clock: Clock) -> datetime:
    """The moment of a note about a day: now, or noon of a past day (our choice), in UTC."""
    if day == today_in(garden, clock):
        return clock.now_utc()
    return datetime.combine(day, time(12), garden.site.zone_info).astimezone(UTC)


def _load_weather(loaded: Loaded, clock: Clock) -> Gathered:
    """Weather from the file named on the command line, else from all of the garden's own sources.

    Faults and remarks go to stderr; a named file that cannot be read is an error.
    """
    named = getattr(loaded.args, "weather", None)
    if named:
        read_station(Path(named), loaded.garden)  # a fault of the file asked for is the answer
    found = gatherer(loaded, clock).gather(
        loaded.garden,
        forecast_days=FORECAST_DAYS,
        file=Path(named).resolve() if named else None,
    )
    for line in found.remarks:
        to_stderr(f"weather: {say(line, us=loaded.garden.us_units)}")
    return found


def gatherer(loaded: Loaded, clock: Clock) -> Gatherer:
    """What gathers weather for this garden."""
    return Gatherer(loaded.path.parent, loaded.state_dir / "weather-cache", clock)


def load_tested(loaded: Loaded) -> Calibrated:
    """The garden's lines, corrected by the field tests in its logbook; remarks on stderr."""
    book, found = loaded.logbook, None
    tests: list[Mapping[str, Any]] = []
    if book is not None:
        with Questions(book) as questions:
            latest, rows = questions.latest_fit(), questions.measurements()
        found = None if latest is None else latest.found
        tests = [row.said for row in rows]
    tested = calibrated_lines(loaded.garden, found, tests)
    for remark in tested.remarks:
        to_stderr(f"field tests: {say(remark, us=loaded.garden.us_units)}")
    if tested.refitted and tested.fitted is not None and book is not None:
        _store_fit(book, tested.fitted, [row.id for row in rows], us=loaded.garden.us_units)
    return tested


def _store_fit(book: Path, fitted: Fitted, ids: Sequence[int], *, us: bool) -> None:
    """Store a new fit; where the logbook is read-only, it is made anew each time."""
    try:
        with Logbook(book, system_clock()) as logbook:
            logbook.keep_fit(fitted_to_dict(fitted, partial(say, us=us)), ids)
    except LogbookError as fault:
        to_stderr(f"field tests: the new fit is not kept: {fault}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """What the logbook has of water given, and of weather."""

    given: Given
    rows: tuple[WeatherDay, ...]


def load_logged(loaded: Loaded, last: date) -> Logged:
    """Read the logbook, if there is one; the example has none."""
    book = loaded.logbook
    if book is None:
        return Logged(given=NOTHING_GIVEN, rows=())
    with Questions(book) as questions:
        if bad := questions.unsound():
            to_stderr(
                f"logbook {book}: {bad} of its pulses are damaged and left out here; the next "
                "start of the daemon, or the next note, sets them aside and names them"
            )
        return Logged(
            given=Given(
                litres=questions.litres_by_zone_day(date.min, last),
                slots={},
                soaking_until_utc={},
                observations=questions.observations(),
                fallen_mm=questions.gauge_by_day(),
                stored_litres=questions.stored_by_zone_day(date.min, last),
                noted_on=questions.noted_on(loaded.garden.site.zone_info),
                record=questions.record(loaded.garden.site.zone_info),
                soil_starts=questions.soil_starts_by_zone_day(),
            ),
            rows=tuple(questions.weather_rows()),
        )


def weather_for(loaded: Loaded, logged: Logged, *, today: date, clock: Clock) -> Weather:
    """All rows of weather, fetched now and logged before; the season's own where there are none."""
    found = _load_weather(loaded, clock)
    rows = (*logged.rows, *found.rows)
    normals = best_normals(
        found.normals, rows, garden=loaded.garden, order=found.order, today=today
    )
    return Weather(rows=rows, order=found.order, normals=normals, credits=found.credits)


def from_logbook(
    path: Path | None, answer: Callable[[Questions], T], *, without: int | None = None
) -> T | None:
    """What the logbook answers; None where there is no logbook yet.

    `without` is the number of a note that is read as taken back.
    """
    if path is None or not path.is_file():
        return None
    with Questions(path, without=without) as questions:
        return answer(questions)


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What `note` is asked to write down: in which garden's logbook, of which day."""

    loaded: Loaded
    logbook: Path
    day: date
    clock: Clock

    @property
    def args(self) -> argparse.Namespace:
        """The words of the note."""
        return self.loaded.args

    @property
    def at_utc(self) -> datetime:
        """The moment it is written down for."""
        return moment_on(self.day, self.loaded.garden, self.clock)

    @property
    def corrects(self) -> int | None:
        """The number of the note that this one stands for, if any."""
        number: int | None = getattr(self.args, "corrects", None)
        return number

    def written(self, number: int) -> str:
        """The answer once it is written down: its number, what it says, its day."""
        garden = self.loaded.garden
        units, zone_info = Units(garden.us_units), garden.site.zone_info
        instead = ""
        with Questions(self.logbook) as ask:
            found = {entry.number: entry for entry in ask.entries()}
        if (old := found.get(self.corrects or 0)) is not None:
            on = short_day(old.day(zone_info))
            instead = f", in place of {old.number} ({entry_words(old, units)}, {on})"
        entry = found[number]
        words = f"{entry_words(entry, units)}, {short_day(entry.day(zone_info))}"
        return f"written down as {number}{instead}: {words}"

    def read(self, answer: Callable[[Questions], T]) -> T | None:
        """What the logbook answers before the note is written, without a note that it corrects.

        None without a logbook.
        """
        return from_logbook(self.logbook, answer, without=self.corrects)

    def confirm(self, doubt: Doubt | None) -> None:
        """Go on with a likely note, or one the person insists on; InputError otherwise."""
        if doubt is None or (doubt.may_be and self.args.force):
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


def require_zones(garden: Garden, names: Sequence[str]) -> None:
    """Refuse a zone this garden does not have."""
    known = [zone.name for zone in garden.zones]
    if not names:
        raise InputError(f"no zone named; this garden has: {quoted(known)}")
    for name in names:
        if name not in known:
            raise InputError(not_in_garden("zone", name, known))


def not_in_garden(what: str, name: str, known: Sequence[str]) -> str:
    """Words for a name that the garden does not have, with the nearest that it has."""
    from difflib import get_close_matches

    near = get_close_matches(name, known, 1)
    meant = f'did you mean "{near[0]}"? This' if near else "this"
    return f"found {what} {name!r}; {meant} garden has: {quoted(known)}"


def require_span(first: date, last: date) -> None:
    """Refuse days that end before they begin."""
    if first > last:
        raise InputError(f"--from {first} is after --to {last}")


def write_file(path: Path | str, text: str, *, new: bool = False, exact: bool = False) -> None:
    """Write a file that the person named; `new`: never one that is there already.

    `exact`: the ends of its lines stay as they are in the text.
    """
    newline = "" if exact else None
    try:
        with Path(path).open("x" if new else "w", encoding="utf-8", newline=newline) as file:
            file.write(text)
    except OSError as fault:
        raise InputError(f"{path} cannot be written: {fault.strerror}") from fault


def named_state(args: argparse.Namespace) -> Path | None:
    """The logbook's folder that --state or ROWGATE_STATE names, if any."""
    named = getattr(args, "state", None) or os.environ.get("ROWGATE_STATE")
    return Path(named) if named else None


def print_csv(rows: Sequence[Mapping[str, object]]) -> None:
    """Print rows with a header, for a spreadsheet too."""
    if rows:
        print(csv_text(list(rows[0]), rows), end="")


def system_clock() -> Clock:
    """The board's clock; tests replace it."""
    return SystemClock()
