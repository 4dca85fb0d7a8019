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
from typing import Literal, Union

# How a quantity is shown. All are SI inside: lengths, bores and heads in m, flows in m3/s, volumes
# in m3, depths in mm, times in s, temperatures in degrees Celsius, shares from 0 to 1.
Kind = Literal[
    "about length",
    "bore",
    "both temperatures",
    "depth",
    "duration",
    "flow",
    "head",
    "hours",
    "length",
    "off level",
    "percent",
    "pressure",
    "rough depth",
    "rough flow",
    "rough volume",
    "short time",
    "speed",
    "temperature",
    "volume",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure in SI with its kind."""

    si: float
    kind: Kind


# Several messages are joined by the sentence that holds them.
Value = Union[str, int, float, Quantity, "Message", tuple["Message", ...], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Message:
    """A code, as in "row.never_fills", with the values that its sentence names."""

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((self.code, frozenset(self.values.items())))


def quoted(text: Value) -> Message:
    """A message with the text of another, such as an error of a file."""
    return Message("quoted", {"text": text})
