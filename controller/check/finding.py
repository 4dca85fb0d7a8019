"""A finding of `check`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from controller.hydraulics.design.advice_zone import Advice
from controller.messages import Message, Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A fault or a caution about a place in the garden.

    `about` is the subject of the design advice that says the same with more figures, if any.
    """

    weight: Literal["fault", "caution"]
    where: Message
    message: Message
    about: str = ""


def in_zone(name: str) -> Message:
    """The place of a finding about a zone."""
    return Message("place.zone", {"zone": name})


def fault(where: Message, message: Message) -> Finding:
    """A finding that something cannot work as described."""
    return Finding(weight="fault", where=where, message=message)


def caution(where: Message, message: Message, *, about: str = "") -> Finding:
    """A finding that something works badly or needs a look."""
    return Finding(weight="caution", where=where, message=message, about=about)


def in_order(found: Iterable[Finding]) -> list[Finding]:
    """Faults first, then cautions; those about one zone stand together."""
    listed = list(found)
    places: dict[tuple[str, Value], int] = {}
    for one in listed:
        places.setdefault((one.weight, _about(one)), len(places))
    return sorted(listed, key=lambda one: (one.weight != "fault", places[one.weight, _about(one)]))


def _about(found: Finding) -> Value:
    """The zone that a finding is about, else its place."""
    return found.where.values.get("zone", found.where)


def unsaid(found: Iterable[Finding], advice: Iterable[Advice]) -> list[Finding]:
    """The findings that design advice does not repeat: every fault, and the other cautions."""
    said = [(one.subject, one.where) for one in advice]
    return [f for f in found if f.weight == "fault" or (f.about, f.where) not in said]


def alike_once(messages: Iterable[Message]) -> list[Message]:
    """These messages about rows; what is the same for several rows is said once."""
    alike: dict[Message, list[tuple[str, Message]]] = {}
    for message in messages:
        row, rest = _without_row(message)
        alike.setdefault(rest, []).append((row, message))
    return [
        Message(
            "check.same_for_rows",
            {
                "message": of_rows[0][1],
                "count": len(of_rows) - 1,
                "rows": tuple(row for row, _ in of_rows[1:]),
            },
        )
        if len(of_rows) > 1
        else of_rows[0][1]
        for of_rows in alike.values()
    ]


def _without_row(message: Message) -> tuple[str, Message]:
    """The number of the row that a message, or one inside it, is about; and the rest of it."""
    row, rest = "", dict(message.values)
    for name, value in message.values.items():
        if name == "row":
            row = str(rest.pop(name))
        elif isinstance(value, Message):
            inner_row, rest[name] = _without_row(value)
            row = row or inner_row
    return row, Message(message.code, rest)
