"""What `check` finds, in words."""

from __future__ import annotations

from controller.check.finding import Finding
from controller.wording.say import say


def where_of(found: Finding) -> str:
    """The place of a finding."""
    return say(found.where, us=False)


def words_of(found: Finding, *, us: bool = False) -> str:
    """The sentence of a finding, in litres and metres unless asked otherwise."""
    return say(found.message, us=us)
