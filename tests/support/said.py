"""Messages in words, for tests of what a gardener reads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from controller.messages import Message
from controller.wording.say import say


class _WithReasons(Protocol):
    @property
    def reasons(self) -> Sequence[Message]: ...


def said(messages: Iterable[Message], *, us: bool = False) -> tuple[str, ...]:
    """The sentences of these messages."""
    return tuple(say(message, us=us) for message in messages)


def reasons_of(due: _WithReasons, *, us: bool = False) -> str:
    """Why a dose is due, and what changes it, as one text."""
    return "; ".join(said(due.reasons, us=us))
