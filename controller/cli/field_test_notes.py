"""note cups, stream, bucket, run, gauge, count: write field tests down, and fit them at once."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from controller.cli.loading import Note, Writing, from_logbook, load_tested, today_in
from controller.cli.output import to_stderr
from controller.errors import InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.quantities import (
    read_duration,
    read_length,
    read_pressure,
    read_share,
    read_volume,
)
from controller.hydraulics.calibration.calibrated import (
    BAND,
    Bands,
    Calibrated,
    calibrated_lines,
)
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.kept_tests import kept_dict, kept_measurements
from controller.hydraulics.calibration.measurements import (
    Bucket,
    Count,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.result import Fitted, fitted_to_dict
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import MeasurementRow
from controller.paper.amounts import Units
from controller.paper.flows import fitted_words
from controller.wording.say import say

KINDS = ("cups", "stream", "bucket", "run", "gauge", "count")
_SHARE_ERRORS = ("cups", "bucket")


def measurement(args: argparse.Namespace) -> Measurement:
    """The field test of the command line, in SI; InputError names what is wrong."""
    zone = getattr(args, "zone", None)
    zones = frozenset(_names(args.open_zones)) | ({zone} if zone else frozenset())
    stated = _stated_error(args)
    if args.kind == "cups":
        return Cups(
            zones=zones,
            zone=args.zone,
            row=args.row or 1,
            holes=_numbers(args.holes),
            volumes_m3=_each(args.volumes, read_volume, "volumes"),
            time_s=read_duration(args.time, "time"),
            **stated,
        )
    if args.kind == "stream":
        return Stream(
            zones=zones,
            zone=args.zone,
            row=args.row or 1,
            holes=_numbers(args.holes),
            heights_m=_each(args.heights, read_length, "heights"),
            reaches_m=_each(args.reaches, read_length, "reaches"),
            drop_m=None if args.drop is None else read_length(args.drop, "drop"),
            **stated,
        )
    if args.kind == "bucket":
        return Bucket(
            zones=zones,
            zone=args.zone,
            row=args.row,
            volume_m3=read_volume(args.amount, "amount"),
            time_s=read_duration(args.time, "time"),
            **stated,
        )
    if args.kind == "run":
        return MeterRun(
            zones=zones,
            before_m3=read_volume(args.before, "before"),
            after_m3=read_volume(args.after, "after"),
            time_s=read_duration(args.time, "time"),
            **stated,
        )
    if args.kind == "count":
        return Count(zones=zones, zone=args.zone, running=args.running, **stated)
    return Gauge(zones=zones, head_m=read_pressure(args.pressure, "pressure"), **stated)


def field_test(note: Note) -> Writing:
    """How to write a test down, fit all tests together, and store the fit.

    An impossible test is refused before anything is written.
    """
    garden, test = note.loaded.garden, measurement(note.args)

    def write(book: Logbook) -> None:
        was = _flows(load_tested(note.loaded), test.zones)
        _, before = _tests_in_force(book.path, garden, without=note.corrects)
        number = from_logbook(book.path, Questions.next_number) or 1
        today = today_in(garden, note.clock)
        try:
            fitted = fit(garden, [*before, _numbered(test, number)], today)
        except InputError as fault:
            raise InputError(f"{fault}. Test {number} is not written down") from fault
        number = book.keep_measurement(
            kept_dict(test, garden), at=note.at_utc, who=note.args.who, corrects=note.corrects
        )
        ids, _ = _tests_in_force(book.path, garden)
        _keep(book, fitted, ids, garden)
        to_stderr(note.written(number))
        _print_fit(fitted, garden, test.zones, was)

    return write


def fit_anew(note: Note, book: Logbook, zones: frozenset[str]) -> None:
    """Fit the tests that stand, once one of these zones was taken back."""
    garden = note.loaded.garden
    was = _flows(load_tested(note.loaded), zones)
    ids, tests = _tests_in_force(book.path, garden)
    fitted = fit(garden, tests, today_in(garden, note.clock))
    _keep(book, fitted, ids, garden)
    _print_fit(fitted, garden, zones, was)


def _numbered(test: Measurement, number: int) -> Measurement:
    """The test by the name that answers call it: its note's number, and what it is."""
    return replace(test, name=f"field test {number}, {test.shown}")


def _keep(book: Logbook, fitted: Fitted, ids: Sequence[int], garden: Garden) -> None:
    book.keep_fit(fitted_to_dict(fitted, partial(say, us=garden.us_units)), ids)


def _tests_in_force(
    logbook: Path, garden: Garden, *, without: int | None = None
) -> tuple[list[int], list[Measurement]]:
    """The tests that were not taken back, and those that this garden file still describes."""
    ids: list[int] = []
    tests: list[Measurement] = []
    rows = from_logbook(logbook, Questions.measurements, without=without) or []
    numbers = {
        entry.what.id: entry.number
        for entry in from_logbook(logbook, Questions.entries, without=without) or []
        if isinstance(entry.what, MeasurementRow)
    }
    for row in rows:
        standing, left_out = kept_measurements([row.said], garden)
        for left in left_out:
            to_stderr(f"field tests: {say(left, us=garden.us_units)}")
        ids.append(row.id)
        tests += [_numbered(test, numbers[row.id]) for test in standing]
    return ids, tests


def _flows(tested: Calibrated, zones: frozenset[str]) -> Mapping[str, float]:
    """The flow of each of these zones, open together; none where it is not known. [m3/s]"""
    try:
        found = tested.lines.open_set(zones).zones if zones else {}
    except (InputError, NoSolution):
        return {}
    return {name: flow.flow_m3_s for name, flow in found.items()}


def _print_fit(
    fitted: Fitted, garden: Garden, zones: frozenset[str], was: Mapping[str, float]
) -> None:
    """What the tests come to: first the flow of the zones tested, then what contradicts."""
    units = Units(garden.us_units)
    found = fitted_to_dict(fitted, partial(say, us=garden.us_units))
    bands = Bands(garden, fitted)
    for zone, flow_m3_s in _flows(calibrated_lines(garden, found), zones).items():
        others = sorted(zones - {zone})
        beside = f" with {', '.join(others)} open" if others else ""
        before = f"; before: {units.flow(was[zone])}" if zone in was else ""
        error = f"give or take {100.0 * BAND * bands.error(zone, zones):.0f} %"
        to_stderr(f"{zone} gives {units.flow(flow_m3_s)}{beside}, {error}{before}")
    for line in fitted_words(fitted, units):
        to_stderr(line)


def _stated_error(args: argparse.Namespace) -> dict[str, Any]:
    """The error the gardener states, if any, under the name its kind of test has for it."""
    if args.error is None:
        return {}
    if args.kind in _SHARE_ERRORS:
        return {"error_share": read_share(args.error, "error")}
    if args.kind == "stream":
        return {"error_m": read_length(args.error, "error")}
    if args.kind == "gauge":
        return {"error_m": read_pressure(args.error, "error")}
    if args.kind == "count":
        try:
            return {"error_holes": float(args.error)}
        except ValueError:
            raise InputError(
                f"--error: found {args.error!r}; allowed is a number of holes"
            ) from None
    return {"error_m3": read_volume(args.error, "error")}


def _names(text: str | None) -> Sequence[str]:
    return [name.strip() for name in (text or "").split(",") if name.strip()]


def _numbers(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise InputError(
            f"--holes: found {text!r}; allowed are numbers from 1 at the inlet, as in 1,8,16"
        ) from None


def _each(text: str | None, read: Callable[[object, str], float], what: str) -> tuple[float, ...]:
    if text is None:
        return ()
    return tuple(read(part.strip(), what) for part in text.split(","))
