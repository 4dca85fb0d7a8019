"""One piece of advice, and how its figures are written."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from math import floor, log10
from typing import Literal

from controller.garden.show import listed
from controller.units import (
    M_PER_FT,
    gal_from_m3,
    gal_min_from_m3_s,
    in_from_m,
    l_from_m3,
    l_min_from_m3_s,
    psi_from_head_m,
)

Kind = Literal["harm", "water", "time", "to know"]
Subject = Literal[
    "row length",
    "level",
    "holes",
    "together",
    "throttle",
    "main",
    "speed",
    "surge",
    "house pipe",
    "ends",
    "closing",
    "filter",
    "backflow",
]
_ORDER: tuple[Kind, ...] = ("harm", "water", "time", "to know")


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to build or set otherwise, and how that is known.

    `kind` says what it saves: harm to pipe or house, water, time; or nothing, being good to know.
    `saves_m3` is water saved on a hot day, where that can be reckoned. `figures` holds the numbers
    behind the words, units in the keys.
    """

    subject: Subject
    kind: Kind
    where: str
    words: str
    based_on: str
    saves_m3: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)


def ranked(advice: Iterable[Advice]) -> tuple[Advice, ...]:
    """What keeps from harm first, then by water saved, then what saves time, then the rest."""
    return tuple(sorted(advice, key=lambda a: (_ORDER.index(a.kind), -a.saves_m3)))


def advice_text(advice: Iterable[Advice], *, us: bool) -> str:
    """Each piece in a paragraph of 80 columns, what it is based on below it."""
    pieces = list(advice)
    lines: list[str] = []
    for number, one in enumerate(pieces):
        saves = f" Saves about {show_litres(one.saves_m3, us)} on a hot day."
        words = f"{one.where}: {one.words}.{saves if one.saves_m3 > 0.0 else ''}"
        lines += textwrap.wrap(words, 80, initial_indent="- ", subsequent_indent="  ")
        # Said once for neighbours that rest on the same.
        if [after.based_on for after in pieces[number + 1 : number + 2]] != [one.based_on]:
            basis = f"({one.based_on})"
            lines += textwrap.wrap(basis, 80, initial_indent="    ", subsequent_indent="     ")
    return "\n".join(lines) + "\n" if lines else ""


def advice_rows(advice: Iterable[Advice]) -> list[dict[str, object]]:
    """The same for programs; SI, units in the keys."""
    return [
        {
            "subject": one.subject,
            "kind": one.kind,
            "where": one.where,
            "words": one.words,
            "based_on": one.based_on,
            "saves_m3": one.saves_m3,
            "figures": dict(one.figures),
        }
        for one in advice
    ]


def figures(value: float, count: int) -> str:
    """A number to so many figures, written out: 240, 2.4, 0.024."""
    if value == 0.0:
        return "0"
    decimals = count - 1 - floor(log10(abs(value)))
    text = f"{round(value, decimals):.{max(0, decimals)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_rate(flow_m3_s: float, us: bool) -> str:
    """A flow to three figures: nobody sets a valve closer."""
    if us:
        return f"{figures(gal_min_from_m3_s(flow_m3_s), 3)} gal/min"
    return f"{figures(l_min_from_m3_s(flow_m3_s), 3)} L/min"


def show_litres(volume_m3: float, us: bool) -> str:
    """A volume to two figures."""
    if us:
        return f"{figures(gal_from_m3(volume_m3), 2)} gal"
    return f"{figures(l_from_m3(volume_m3), 2)} L"


def show_head(head_m: float, us: bool) -> str:
    """A head as pressure, in psi or metres of water."""
    if us:
        return f"{figures(psi_from_head_m(head_m), 3)} psi"
    return f"{figures(head_m, 3)} m of water"


def show_off_level(metres: float, us: bool) -> str:
    """A small height in both units, the garden's first, for levels are marked in either."""
    size_mm = 1000.0 * metres
    metric = f"{figures(size_mm, 2)} mm" if size_mm < 10.0 else f"{figures(size_mm / 10.0, 2)} cm"
    both = f"{figures(in_from_m(metres), 2)} in", metric
    first, second = both if us else both[::-1]
    return f"{first} ({second})"


def show_speed(m_s: float, us: bool) -> str:
    """A velocity in both units, the garden's first: the guideline is known in feet."""
    both = f"{m_s / M_PER_FT:.1f} ft/s", f"{m_s:.1f} m/s"
    first, second = both if us else both[::-1]
    return f"{first} ({second})"


def quoted(names: Iterable[str]) -> str:
    """Names of zones or rows in a sentence, each between its own marks."""
    return listed(f'"{name}"' for name in names)
