"""Design advice and the effects of small changes, for people and for programs."""

from __future__ import annotations

from collections.abc import Iterable

from controller.garden.show import show_flow
from controller.hydraulics.design.advice_zone import Advice
from controller.hydraulics.design.what_if import WhatIf
from controller.messages import Message, Quantity
from controller.paper.text import paragraph
from controller.wording.say import say


def advice_text(advice: Iterable[Advice], *, us: bool) -> str:
    """Each piece as a paragraph of 80 columns, with its basis below."""
    pieces = [(one, f"({say(one.based_on, us=us)})") for one in advice]
    lines: list[str] = []
    for number, (one, basis) in enumerate(pieces):
        words = f"{say(one.where, us=us)}: {say(one.message, us=us)}."
        if one.saves_m3 > 0.0:
            saves = Message("advice.saves", {"volume": Quantity(one.saves_m3, "rough volume")})
            words += f" {say(saves, us=us)}."
        lines += paragraph(words, "- ", "  ")
        # Printed once for neighbours with the same basis.
        if [after for _, after in pieces[number + 1 : number + 2]] != [basis]:
            lines += paragraph(basis, "    ", "     ")
    return "\n".join(lines) + "\n" if lines else ""


def advice_rows(advice: Iterable[Advice], *, us: bool) -> list[dict[str, object]]:
    """The same for programs; SI, units in the keys."""
    return [
        {
            "subject": one.subject,
            "kind": one.kind,
            "where": say(one.where, us=us),
            "words": say(one.message, us=us),
            "based_on": say(one.based_on, us=us),
            "saves_m3": one.saves_m3,
            "figures": dict(one.figures),
        }
        for one in advice
    ]


def what_if_text(found: tuple[WhatIf, ...], *, us: bool) -> str:
    """One line for each change: flow and uniformity after it, and how much they change."""
    if not found:
        return ""
    first = found[0]
    now = f"even {100 * first.evenness_before:.0f} %"
    lines = [f"  as it is: {show_flow(first.flow_before_m3_s, us)}, {now}"]
    for one in found:
        flow = f"{show_flow(one.flow_m3_s, us)}{_moved(one.flow_change, ' %')}"
        moved = f"even {100 * one.evenness:.0f} %{_moved(one.evenness - one.evenness_before, '')}"
        more_dry = one.dry_holes - one.dry_holes_before
        dry = f", {more_dry} more holes dry" if more_dry > 0 else ""
        words = f"{say(one.message, us=us)}:"
        lines += paragraph(words, "  ", "    ")
        lines.append(f"      {flow}, {moved}{dry}")
    return "\n".join(lines) + "\n"


def _moved(part: float, unit: str) -> str:
    """A change in per cent, where it would show."""
    return f" ({100 * part:+.0f}{unit})" if abs(part) >= 0.005 else ""
