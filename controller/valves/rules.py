"""The rules an opening must keep; each says why in words, and none of them moves a pin."""

from __future__ import annotations

from controller.errors import ValveRefused
from controller.valves.hands import Hands
from controller.valves.line import Line
from controller.valves.states import Event, State, next_state


def why_not_open(hands: Hands, line: Line, for_s: float) -> str:
    """The rule that forbids this opening; empty if none does."""
    limits = line.limits
    if isinstance(for_s, bool) or not isinstance(for_s, int | float):
        return f"found {for_s!r}; how long is a number of seconds"
    if not 0.0 < for_s <= limits.longest_open_s:  # also false for NaN and infinity
        longest = f"{limits.longest_open_s:g} s"
        return f"found {for_s} s; allowed is more than 0 and at most {longest}"
    try:
        next_state(line.state, Event.OPEN_ASKED)
    except ValveRefused as why:
        return str(why)
    used_s = line.used_s()
    if used_s + for_s > limits.most_open_s_per_day:
        return (
            f"it was open {used_s:.1f} s in the last 24 hours, and {for_s:.1f} s more would "
            f"pass the {limits.most_open_s_per_day:g} s it may have"
        )
    return _master_forbids(hands)


def _master_forbids(hands: Hands) -> str:
    """What about the master forbids an opening; empty if nothing does."""
    master = hands.master
    if master is None or master.state is State.OPEN:
        return ""
    try:
        next_state(master.state, Event.OPEN_ASKED)
    except ValveRefused as why:
        return f"the master valve, line {master.number}: {why}"
    for line in hands.lines.values():
        if line.state is State.STUCK and line.opened_mono_s is not None:
            return f"line {line.number} does not close, and the master stays shut for it"
    return ""
