"""One piece of advice, and how its figures are written."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from controller.garden.show import listed
from controller.units import (
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
    "surge",
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


def show_rate(flow_m3_s: float, us: bool) -> str:
    """A flow to two figures or three: nobody sets a valve closer."""
    if us:
        return f"{gal_min_from_m3_s(flow_m3_s):.3g} gal/min"
    return f"{l_min_from_m3_s(flow_m3_s):.3g} L/min"


def show_litres(volume_m3: float, us: bool) -> str:
    """A volume to two figures or three."""
    return f"{gal_from_m3(volume_m3):.2g} gal" if us else f"{l_from_m3(volume_m3):.2g} L"


def show_head(head_m: float, us: bool) -> str:
    """A head as pressure, in psi or kPa and metres."""
    return f"{psi_from_head_m(head_m):.3g} psi" if us else f"{head_m:.3g} m of water"


def show_off_level(metres: float) -> str:
    """A small height in inches and centimetres, both, for levels are marked in either."""
    return f"{in_from_m(metres):.2g} in ({100 * metres:.2g} cm)"


def show_speed(m_s: float) -> str:
    """A velocity in both units: the guideline is known in feet."""
    return f"{m_s:.1f} m/s ({m_s / 0.3048:.1f} ft/s)"


def quoted(names: Iterable[str]) -> str:
    """Names of zones or rows in a sentence, each between its own marks."""
    return listed(f'"{name}"' for name in names)
