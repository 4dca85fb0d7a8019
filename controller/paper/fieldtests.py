"""What the field tests taught, as a person reads it."""

from __future__ import annotations

import textwrap

from controller.hydraulics.fitted import Fitted

_WIDTH = 80
# What a test is done for; that it says nothing of a take-off or a level is no news.
_ASKED_OF = ("static head", "test flow", "bore", "discharge", "valve")


def fitted_words(fitted: Fitted) -> list[str]:
    """What each unknown came to, and which tests contradict; lines of 80 columns."""
    count = f"{fitted.tests} field test{'' if fitted.tests == 1 else 's'}"
    lines = [f"Fitted to {count}:"]
    for parameter in fitted.parameters:
        if parameter.learnt:
            lines += _wrapped(parameter.words)
    silent = [p.name for p in fitted.parameters if not p.learnt and p.unknown.kind in _ASKED_OF]
    if silent:
        lines += _wrapped(f"the tests say nothing of: {', '.join(silent)}")
    for remark in fitted.remarks:
        lines += _wrapped(remark)
    for odd in fitted.contradictions:
        lines += _wrapped(f"contradiction: {odd.words}")
    return lines


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
