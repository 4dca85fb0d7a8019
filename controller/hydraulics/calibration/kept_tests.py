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
from controller.messages import Message

_MARKS = "described"
_PARTS = ("holes", "valve")


def kept_dict(measurement: Measurement, garden: Garden) -> dict[str, Any]:
    """A field test as plain values, with marks of how the garden file describes its zones."""
    marks = described(garden)
    parts = [f"{what} of {zone}" for zone in sorted(measurement.zones) for what in _PARTS]
    return measurement_to_dict(measurement) | {
        _MARKS: {part: marks[part] for part in parts if part in marks}
    }


def shown(kept: Mapping[str, Any]) -> Message:
    """What a kept field test is called, even if it cannot be read."""
    try:
        test = measurement_from_dict({key: kept[key] for key in kept if key != _MARKS})
    except InputError as fault:
        return Message("test.unreadable", {"fault": str(fault)})
    return Message("test.named", {"name": test.shown})


def kept_measurements(
    kept: Iterable[Mapping[str, Any]], garden: Garden
) -> tuple[list[Measurement], list[Message]]:
    """The field tests that still hold for this garden, and why each of the others is left out.

    Raises
    ------
    InputError
        If a kept test cannot be read.
    """
    marks, names = described(garden), {zone.name for zone in garden.zones}
    standing: list[Measurement] = []
    left_out: list[Message] = []
    for plain in kept:
        test = measurement_from_dict({key: plain[key] for key in plain if key != _MARKS})
        gone = sorted(test.zones - names)
        anew = [part for part, mark in plain.get(_MARKS, {}).items() if marks.get(part) != mark]
        if gone:
            left_out.append(Message("test.zone_gone", {"test": test.shown, "zone": gone[0]}))
        elif anew:
            left_out.append(Message("test.zone_changed", {"test": test.shown, "part": anew[0]}))
        else:
            standing.append(test)
    return standing, left_out
