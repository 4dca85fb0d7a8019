"""Loads what most commands need: the garden, its lines, its weather; shows progress."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any, TextIO

import controller
from controller.cli.output import to_stderr
from controller.clock import Clock, SystemClock
from controller.errors import InputError, LogbookError
from controller.garden.model import Garden
from controller.hydraulics.calibration.calibrated import Calibrated, calibrated_lines
from controller.hydraulics.calibration.result import Fitted, fitted_to_dict
from controller.inputs.climatology import read_station
from controller.inputs.garden_loader import garden_from_file
from controller.inputs.gather import Gathered, Gatherer, best_normals
from controller.paper.amounts import csv_text
from controller.timetable.plan import NOTHING_GIVEN, Given, Grounds, Weather
from controller.weather.day import WeatherDay
from controller.wording.say import say
from crops.catalogue import Catalogue
from crops.catalogue import load as load_catalogue

QUIET_S = 2.0  # shorter work needs no word; our choice
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
    """A garden file as read, with its crops and soils."""

    garden: Garden
    catalogue: Catalogue
    is_example: bool
    path: Path

    @property
    def grounds(self) -> Grounds:
        """The crops and soils of this garden."""
        return Grounds(self.garden, self.catalogue)


def load_garden(args: argparse.Namespace) -> Loaded:
    """Read the garden file named on the command line, or the example."""
    named = getattr(args, "garden", None)
    path = Path(named) if named else config_file(EXAMPLE_GARDEN)
    if not named:
        to_stderr("No garden file named: this is the example garden, invented from end to end.")
    catalogue = load_catalogue()
    garden = garden_from_file(path, catalogue)
    return Loaded(garden=garden, catalogue=catalogue, is_example=not named, path=path)


def config_file(name: str) -> Path:
    """A file that comes with Rowgate, in the installed package or in the source tree."""
    root = Path(controller.__file__).parent
    for folder in (root / "_config", root.parent / "config"):
        if (folder / name).is_file():
            return folder / name
    raise InputError(f"{name} is missing from this installation; install Rowgate again")


def first_day(args: argparse.Namespace, loaded: Loaded, clock: Clock) -> date:
    """The first day asked for: the named one, the example's own, or today in the garden."""
    first: date | None = getattr(args, "first", None)
    if first is not None:
        return first
    if loaded.is_example:
        return EXAMPLE_FIRST
    return today_in(loaded.garden, clock)


def today_in(garden: Garden, clock: Clock) -> date:
    """The local date in the garden now."""
    return clock.now_utc().astimezone(garden.site.zone_info).date()


def moment_on(day: date, garden: Garden, clock: Clock) -> datetime:
    """The moment of a note about a day: now, or noon of a past day (our choice), in UTC."""
    if day == today_in(garden, clock):
        return clock.now_utc()
    return datetime.combine(day, time(12), garden.site.zone_info).astimezone(UTC)


def load_weather(args: argparse.Namespace, loaded: Loaded, clock: Clock) -> Gathered:
    """Weather from the file named on the command line, else from all of the garden's own sources.

    Faults and remarks go to stderr; a named file that cannot be read is an error.
    """
    named = getattr(args, "weather", None)
    if named:
        read_station(Path(named), loaded.garden)  # a fault of the file asked for is the answer
    folder = state_dir(args, loaded) / "weather-cache"
    found = Gatherer(loaded.path.parent, folder, clock).gather(
        loaded.garden,
        forecast_days=FORECAST_DAYS,
        file=Path(named).resolve() if named else None,
    )
    for line in found.remarks:
        to_stderr(f"weather: {say(line, us=loaded.garden.us_units)}")
    return found


def load_tested(args: argparse.Namespace, loaded: Loaded) -> Calibrated:
    """The garden's lines, corrected by the field tests in its logbook; remarks on stderr."""
    book, found = _logbook(args, loaded), None
    tests: list[Mapping[str, Any]] = []
    if book is not None:
        from controller.logbook.queries import Questions

        with Questions(book) as questions:
            kept, rows = questions.latest_fit(), questions.measurements()
        found = None if kept is None else kept.found
        tests = [row.said for row in rows]
    tested = calibrated_lines(loaded.garden, found, tests)
    for remark in tested.remarks:
        to_stderr(f"field tests: {say(remark, us=loaded.garden.us_units)}")
    if tested.refitted and tested.fitted is not None and book is not None:
        _keep_fit(book, tested.fitted, [row.id for row in rows])
    return tested


def _keep_fit(book: Path, fitted: Fitted, ids: Sequence[int]) -> None:
    """Keep a new fit; where the logbook is read-only, it is made anew each time."""
    from controller.logbook.logbook import Logbook

    try:
        with Logbook(book, system_clock()) as logbook:
            logbook.keep_fit(fitted_to_dict(fitted), ids)
    except LogbookError as fault:
        to_stderr(f"field tests: the new fit is not kept: {fault}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the logbook has of water given, and the weather it kept."""

    given: Given
    rows: tuple[WeatherDay, ...]


def load_kept(args: argparse.Namespace, loaded: Loaded, last: date) -> Kept:
    """Read the logbook, if there is one; the example has none."""
    book = _logbook(args, loaded)
    if book is None:
        return Kept(given=NOTHING_GIVEN, rows=())
    from controller.logbook.queries import Questions

    with Questions(book) as questions:
        if bad := questions.unsound():
            to_stderr(
                f"logbook {book}: {bad} of its pulses are damaged and left out here; the next "
                "start of the daemon, or the next note, sets them aside and names them"
            )
        return Kept(
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


def weather_for(
    args: argparse.Namespace, loaded: Loaded, kept: Kept, *, today: date, clock: Clock
) -> Weather:
    """All rows of weather, fetched now and kept before; the season's own where there are none."""
    found = load_weather(args, loaded, clock)
    rows = (*kept.rows, *found.rows)
    normals = best_normals(
        found.normals, rows, garden=loaded.garden, order=found.order, today=today
    )
    return Weather(rows=rows, order=found.order, normals=normals, credits=found.credits)


def _logbook(args: argparse.Namespace, loaded: Loaded) -> Path | None:
    """The garden's logbook, if there is one; the example has none."""
    book = state_dir(args, loaded) / LOGBOOK_NAME
    return book if book.is_file() and not loaded.is_example else None


def state_dir(args: argparse.Namespace, loaded: Loaded) -> Path:
    """The logbook's folder: the named one, ROWGATE_STATE, or beside the garden file."""
    named = getattr(args, "state", None) or os.environ.get("ROWGATE_STATE")
    return Path(named) if named else loaded.path.parent


def print_csv(rows: Sequence[Mapping[str, object]]) -> None:
    """Print rows with a header, for a spreadsheet too."""
    if rows:
        print(csv_text(list(rows[0]), rows), end="")


def system_clock() -> Clock:
    """The board's clock; tests replace it."""
    return SystemClock()
