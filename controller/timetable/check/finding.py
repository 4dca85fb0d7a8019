"""One thing that `check` has to say of a garden."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from controller.hydraulics.design.advice_base import Advice


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to know about the garden.

    `about` is the subject of the design advice that says the same with more figures, if any does.
    """

    weight: Literal["fault", "caution"]
    where: str
    words: str
    about: str = ""


def caution(where: str, words: str, *, about: str = "") -> Finding:
    """Something that will work badly, or needs a look."""
    return Finding(weight="caution", where=where, words=words, about=about)


def unsaid(found: Iterable[Finding], advice: Iterable[Advice]) -> list[Finding]:
    """What is left to say beside design advice: every fault, and cautions it does not repeat."""
    said = {(one.subject, one.where) for one in advice}
    return [f for f in found if f.weight == "fault" or (f.about, f.where) not in said]
