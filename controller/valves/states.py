"""The states of a line, the events, and the state after each: one table.

Closing needs no permission of this table; it is always tried, and only its outcome is an event
here. What is not listed is refused and changes nothing. "Line" is a valve with all its lines of the
board: one, or an open line and a close line for a ball that stays where it is without current.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from controller.errors import ValveRefused
from controller.valves.limits import DAY_S, LineLimits, MasterLimits

__all__ = [
    "CLOSINGS",
    "DAY_S",
    "MAY_RUN",
    "NEXT",
    "Event",
    "LineLimits",
    "MasterLimits",
    "State",
    "next_state",
]


class State(StrEnum):
    """What is known of a line."""

    CLOSED = "closed"  # off was written, and read back as off; its closing time is over
    OPEN = "open"  # asked to open, and a deadline lies ahead; it may wait for the master to lead
    CLOSING = "closing"  # driven shut; water may run until its closing time is over
    RECLOSING = "closing again"  # as closing, after it has disobeyed: barred when the time is over
    STUCK = "stuck"  # it did not shut when driven off, and is driven off again; water may run
    BARRED = (
        "barred"  # off, but it has disobeyed: no opening until somebody has looked and reset it
    )


class Event(StrEnum):
    """What happens to a line."""

    OPEN_ASKED = "open asked"
    ON_FAILED = "on failed"  # on could not be written, or an open line is not read as it should be
    CLOSE_BEGAN = "close began"  # driven shut, and read back so; its closing time runs
    OFF_TOOK = "off took"  # off was written, and read back as off; no closing time is left
    OFF_FAILED = "off failed"  # it could not be driven off, or is not read back so
    FOUND_ON = "found on"  # a line that is not open is read as it should not be, or not at all
    RESET_ASKED = "reset asked"


NEXT: Mapping[tuple[State, Event], State] = MappingProxyType(
    {
        (State.CLOSED, Event.OPEN_ASKED): State.OPEN,
        (State.CLOSED, Event.CLOSE_BEGAN): State.CLOSING,
        (State.CLOSED, Event.OFF_TOOK): State.CLOSED,
        (State.CLOSED, Event.OFF_FAILED): State.STUCK,
        (State.CLOSED, Event.FOUND_ON): State.STUCK,
        (State.CLOSED, Event.RESET_ASKED): State.CLOSED,
        (State.OPEN, Event.ON_FAILED): State.STUCK,
        (State.OPEN, Event.CLOSE_BEGAN): State.CLOSING,
        (State.OPEN, Event.OFF_TOOK): State.CLOSED,
        (State.OPEN, Event.OFF_FAILED): State.STUCK,
        (State.CLOSING, Event.CLOSE_BEGAN): State.CLOSING,
        (State.CLOSING, Event.OFF_TOOK): State.CLOSED,
        (State.CLOSING, Event.OFF_FAILED): State.STUCK,
        (State.CLOSING, Event.FOUND_ON): State.STUCK,
        (State.RECLOSING, Event.CLOSE_BEGAN): State.RECLOSING,
        (State.RECLOSING, Event.OFF_TOOK): State.BARRED,
        (State.RECLOSING, Event.OFF_FAILED): State.STUCK,
        (State.RECLOSING, Event.FOUND_ON): State.STUCK,
        (State.STUCK, Event.CLOSE_BEGAN): State.RECLOSING,
        (State.STUCK, Event.OFF_TOOK): State.BARRED,
        (State.STUCK, Event.OFF_FAILED): State.STUCK,
        (State.STUCK, Event.FOUND_ON): State.STUCK,
        (State.BARRED, Event.CLOSE_BEGAN): State.RECLOSING,
        (State.BARRED, Event.OFF_TOOK): State.BARRED,
        (State.BARRED, Event.OFF_FAILED): State.STUCK,
        (State.BARRED, Event.FOUND_ON): State.STUCK,
        (State.BARRED, Event.RESET_ASKED): State.CLOSED,
    }
)
# Told to shut, and not sure to be shut yet.
CLOSINGS = frozenset({State.CLOSING, State.RECLOSING})
# Water may run through a line in one of these.
MAY_RUN = CLOSINGS | {State.OPEN, State.STUCK}

_WHY_NOT: Mapping[tuple[State, Event], str] = {
    (State.OPEN, Event.OPEN_ASKED): "it is open already; an opening is never made longer",
    (State.CLOSING, Event.OPEN_ASKED): "it is still closing; wait until it is shut",
    (State.RECLOSING, Event.OPEN_ASKED): "it has disobeyed, and is being closed",
    (State.STUCK, Event.OPEN_ASKED): "it did not close when told to, and is being told again",
    (State.BARRED, Event.OPEN_ASKED): (
        "it has disobeyed; look at its wiring, relay and valve, then reset it"
    ),
    (State.OPEN, Event.RESET_ASKED): "it is open; close it first",
    (State.CLOSING, Event.RESET_ASKED): "it is still closing; nothing bars it",
    (State.RECLOSING, Event.RESET_ASKED): "it is still being closed; wait until it is shut",
    (State.STUCK, Event.RESET_ASKED): "it still does not close; shut the water off by hand",
}


def next_state(state: State, event: Event) -> State:
    """The state that follows; `ValveRefused`, with the reason, for what the table does not list."""
    try:
        return NEXT[state, event]
    except KeyError:
        why = _WHY_NOT.get((state, event), f'"{event}" does not happen to a line that is {state}')
        raise ValveRefused(why) from None
