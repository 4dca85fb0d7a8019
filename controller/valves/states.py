"""What a line may be, what may happen to it, and what it is then: one table, and the line's limits.

Closing asks no leave of this table; it is always tried, and only its outcome is an event here.
What is not listed is refused and changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from controller.errors import OutOfRange, ValveRefused, require_range

DAY_S = 86_400.0


class State(StrEnum):
    """What is known of a line."""

    CLOSED = "closed"  # off was written, and read back as off
    OPEN = "open"  # on was written, and a deadline lies ahead
    STUCK = "stuck"  # off was written and did not take: water may run; off is tried again and again
    BARRED = (
        "barred"  # off, but it has disobeyed: no opening until somebody has looked and reset it
    )


class Event(StrEnum):
    """What happens to a line."""

    OPEN_ASKED = "open asked"
    ON_FAILED = "on failed"  # on could not be written, or is not what is read back
    OFF_TOOK = "off took"  # off was written, and read back as off
    OFF_FAILED = "off failed"  # off could not be written, or is not what is read back
    FOUND_ON = "found on"  # a line that should be off is read as on, or cannot be read
    RESET_ASKED = "reset asked"


NEXT: Mapping[tuple[State, Event], State] = MappingProxyType(
    {
        (State.CLOSED, Event.OPEN_ASKED): State.OPEN,
        (State.CLOSED, Event.OFF_TOOK): State.CLOSED,
        (State.CLOSED, Event.OFF_FAILED): State.STUCK,
        (State.CLOSED, Event.FOUND_ON): State.STUCK,
        (State.CLOSED, Event.RESET_ASKED): State.CLOSED,
        (State.OPEN, Event.ON_FAILED): State.STUCK,
        (State.OPEN, Event.OFF_TOOK): State.CLOSED,
        (State.OPEN, Event.OFF_FAILED): State.STUCK,
        (State.STUCK, Event.OFF_TOOK): State.BARRED,
        (State.STUCK, Event.OFF_FAILED): State.STUCK,
        (State.STUCK, Event.FOUND_ON): State.STUCK,
        (State.BARRED, Event.OFF_TOOK): State.BARRED,
        (State.BARRED, Event.OFF_FAILED): State.STUCK,
        (State.BARRED, Event.FOUND_ON): State.STUCK,
        (State.BARRED, Event.RESET_ASKED): State.CLOSED,
    }
)
# Water may run through a line in one of these.
MAY_RUN = frozenset({State.OPEN, State.STUCK})

_WHY_NOT: Mapping[tuple[State, Event], str] = {
    (State.OPEN, Event.OPEN_ASKED): "it is open already; an opening is never made longer",
    (State.STUCK, Event.OPEN_ASKED): "it did not close when told to, and is being told again",
    (State.BARRED, Event.OPEN_ASKED): (
        "it has disobeyed; look at its wiring, relay and valve, then reset it"
    ),
    (State.OPEN, Event.RESET_ASKED): "it is open; close it first",
    (State.STUCK, Event.RESET_ASKED): "it still does not close; shut the water off by hand",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLimits:
    """One line of the board: its BCM GPIO number, its off level, and how long it may be open."""

    number: int
    active_low: bool
    longest_open_s: float
    most_open_s_per_day: float

    def __post_init__(self) -> None:
        if isinstance(self.number, bool) or not isinstance(self.number, int):
            raise OutOfRange("number", math.nan, 0, 1023)
        require_range("number", self.number, 0, 1023)
        if not 0.0 < self.longest_open_s <= DAY_S:  # also false for NaN
            raise OutOfRange("longest_open_s", self.longest_open_s, 0.0, DAY_S)
        if not 0.0 < self.most_open_s_per_day < math.inf:
            raise OutOfRange("most_open_s_per_day", self.most_open_s_per_day, 0.0, math.inf)


def next_state(state: State, event: Event) -> State:
    """The state that follows; `ValveRefused`, with the reason, for what the table does not list."""
    try:
        return NEXT[state, event]
    except KeyError:
        why = _WHY_NOT.get((state, event), f'"{event}" does not happen to a line that is {state}')
        raise ValveRefused(why) from None
