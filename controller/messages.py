"""A message before it is put into words: a code and its figures.

The rooms of the science return messages. `controller.wording` has one sentence for each code, and
shows each figure in the gardener's units; so nothing else needs to know these units, and nothing
reads a sentence to learn what it says.

>>> Message("row.never_fills", {"row": 2, "beyond": Quantity(3.2, "length")}).code
'row.never_fills'
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Literal, Union

# How a quantity is shown. All are SI inside: lengths, bores and heads in m, flows in m3/s, volumes
# in m3, depths in mm, times in s, forces in N, temperatures in degrees Celsius, shares from 0 to 1.
# Weekdays are numbers, Monday is 0.
Kind = Literal[
    "about length",
    "bore",
    "both temperatures",
    "depth",
    "duration",
    "flow",
    "force",
    "head",
    "hours",
    "length",
    "off level",
    "percent",
    "pipe temperature",
    "pressure",
    "rough depth",
    "rough flow",
    "rough length",
    "rough number",
    "rough volume",
    "seconds",
    "short time",
    "speed",
    "temperature",
    "tilt",
    "volume",
    "weekday",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure in SI with its kind."""

    si: float
    kind: Kind


# Several messages are joined by the sentence that holds them.
Value = Union[
    str,
    int,
    float,
    date,
    time,
    Quantity,
    "Message",
    tuple[Union[str, Quantity, "Message"], ...],
]


@dataclass(frozen=True, slots=True)
class Message:
    """A code, as in "row.never_fills", with the values that its sentence names."""

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((self.code, frozenset(self.values.items())))


def verbatim(text: Value) -> Message:
    """A message that is said as it stands, such as an error of a file."""
    return Message("verbatim", {"text": text})
