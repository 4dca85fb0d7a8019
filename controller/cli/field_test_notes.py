"""note cups, stream, bucket, run, gauge, count: write field tests down, and fit them at once."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from controller.cli.loading import Note, Writing, from_logbook, today_in
from controller.cli.output import to_stderr
from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.quantities import (
    read_duration,
    read_length,
    read_pressure,
    read_share,
    read_volume,
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
        _, before = _tests_in_force(book.path, garden, without=note.corrects)
        fitted = fit(garden, [*before, test], today_in(garden, note.clock))
        number = book.keep_measurement(
            kept_dict(test, garden), at=note.at_utc, who=note.args.who, corrects=note.corrects
        )
        ids, _ = _tests_in_force(book.path, garden)
        book.keep_fit(fitted_to_dict(fitted, partial(say, us=garden.us_units)), ids)
        _print_fit(fitted, note.written(number), garden)

    return write


def fit_anew(note: Note, book: Logbook) -> None:
    """Fit the tests that stand, once one was taken back."""
    garden = note.loaded.garden
    ids, tests = _tests_in_force(book.path, garden)
    fitted = fit(garden, tests, today_in(garden, note.clock))
    book.keep_fit(fitted_to_dict(fitted, partial(say, us=garden.us_units)), ids)
    _print_fit(fitted, "", garden)


def _tests_in_force(
    logbook: Path, garden: Garden, *, without: int | None = None
) -> tuple[list[int], list[Measurement]]:
    """The tests that were not taken back, and those that this garden file still describes."""
    rows = from_logbook(logbook, Questions.measurements, without=without) or []
    tests, left_out = kept_measurements([row.said for row in rows], garden)
    for left in left_out:
        to_stderr(f"field tests: {say(left, us=garden.us_units)}")
    return [row.id for row in rows], list(tests)


def _print_fit(fitted: Fitted, done: str, garden: Garden) -> None:
    if done:
        to_stderr(done)
    for line in fitted_words(fitted, Units(garden.us_units)):
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
