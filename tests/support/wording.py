"""Messages as a gardener reads them, in metric units."""

from __future__ import annotations

from typing import Any

from controller.hydraulics.calibration.result import Fitted, fitted_to_dict
from controller.messages import Message
from controller.wording.say import say


def said(message: Message | None) -> str:
    """The sentence of a message; empty where there is none."""
    return "" if message is None else say(message, us=False)


def kept(fitted: Fitted) -> dict[str, Any]:
    """A fit as the logbook keeps it."""
    return fitted_to_dict(fitted, said)
