"""Field tests as a logbook keeps them: with marks of the zones they were done in.

A test of a zone no longer holds once the zone is drilled or throttled anew. It is left out for as
long as the garden file describes the zone otherwise than on the day of the test.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.calibration.measurements import (
    Measurement,
    measurement_from_dict,
    measurement_to_dict,
)
from controller.hydraulics.calibration.result import described

_MARKS = "described"
_PARTS = ("holes", "valve")


def kept_dict(measurement: Measurement, garden: Garden) -> dict[str, Any]:
    """A field test as plain values, with marks of how the garden file describes its zones."""
    marks = described(garden)
    parts = [f"{what} of {zone}" for zone in sorted(measurement.zones) for what in _PARTS]
    return measurement_to_dict(measurement) | {
        _MARKS: {part: marks[part] for part in parts if part in marks}
    }


def shown(kept: Mapping[str, Any]) -> str:
    """A kept field test in a few words, even if it cannot be read."""
    try:
        return measurement_from_dict({key: kept[key] for key in kept if key != _MARKS}).shown
    except InputError as fault:
        return f"which does not read: {fault}"


def kept_measurements(
    kept: Iterable[Mapping[str, Any]], garden: Garden
) -> tuple[list[Measurement], list[str]]:
    """The field tests that still hold for this garden, and why each of the others is left out.

    Raises
    ------
    InputError
        If a kept test cannot be read.
    """
    marks, names = described(garden), {zone.name for zone in garden.zones}
    standing, left_out = [], []
    for plain in kept:
        test = measurement_from_dict({key: plain[key] for key in plain if key != _MARKS})
        gone = sorted(test.zones - names)
        anew = [part for part, mark in plain.get(_MARKS, {}).items() if marks.get(part) != mark]
        if gone:
            left_out.append(f'{test.shown}: left out, the garden has no zone "{gone[0]}" now')
        elif anew:
            left_out.append(
                f"{test.shown}: left out, the garden file describes the {anew[0]} otherwise than "
                "on its day"
            )
        else:
            standing.append(test)
    return standing, left_out
