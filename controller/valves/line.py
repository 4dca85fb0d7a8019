"""One line: how it is driven and read back, what is remembered of it, how long it was open.

The bank holds its lock around everything here.
"""

from __future__ import annotations

import math
from collections import deque

from controller.clock import Clock
from controller.valves.pins import PinDriver
from controller.valves.states import DAY_S, MAY_RUN, Event, LineLimits, State, next_state


class Line:
    """A line and its account. `opened_mono_s` is None while no water is known to run."""

    def __init__(
        self, limits: LineLimits, driver: PinDriver, clock: Clock, already_open_s: float
    ) -> None:
        self.limits, self._driver, self._clock = limits, driver, clock
        self.number = limits.number
        self.state = State.CLOSED
        self.opened_mono_s: float | None = None
        self.deadline_mono_s = math.inf
        self._claimed = False
        self._spans: deque[tuple[float, float]] = deque()  # past openings, oldest first
        # Not a number, or less than nothing: then the whole day counts as used.
        self._seed_s = min(already_open_s, DAY_S) if already_open_s >= 0.0 else DAY_S
        self._born_mono_s = clock.mono_s()

    @property
    def may_run(self) -> bool:
        """Whether water may run: the line is open, or did not close when told to."""
        return self.state in MAY_RUN

    def happens(self, event: Event) -> None:
        """Go where the table says; `ValveRefused` if it says nothing."""
        self.state = next_state(self.state, event)

    def start(self, for_s: float) -> float:
        """Set the deadline, then allow on to be written; the deadline. [s]"""
        self.happens(Event.OPEN_ASKED)
        self.opened_mono_s = self._clock.mono_s()
        self.deadline_mono_s = self.opened_mono_s + for_s
        return self.deadline_mono_s

    def drive_on(self) -> str:
        """Write on and read it back; what went wrong, in words, if anything."""
        try:
            self._driver.write(self.number, True)
            return "" if self._driver.read(self.number) else "it was driven on and is read as off"
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything; off comes next
            return told(fault)

    def drive_off(self) -> str:
        """Write off and read it back, taking the line first if need be; what went wrong.

        The state follows: closed, barred or stuck. Never raises what a driver raises.
        """
        try:
            if not self._claimed:
                self._driver.claim(self.number, self.limits.active_low)
                self._claimed = True
            self._driver.write(self.number, False)
            still_on = self._driver.read(self.number)
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything; others must close
            self.happens(Event.OFF_FAILED)
            return told(fault)
        if still_on:
            if self.opened_mono_s is None:  # on by its own doing: water runs from now, at latest
                self.opened_mono_s = self._clock.mono_s()
            self.happens(Event.OFF_FAILED)
            return "it was driven off and is read as on"
        self.happens(Event.OFF_TOOK)
        return ""

    def read_on(self) -> bool:
        """Whether the line is read as on; raises what the driver raises."""
        return self._driver.read(self.number)

    def open_s(self) -> float:
        """How long it has been open by now. [s]"""
        return 0.0 if self.opened_mono_s is None else self._clock.mono_s() - self.opened_mono_s

    def end(self) -> float:
        """Off took: enter the opening, if there was one, in the account; how long it was. [s]"""
        open_s = self.open_s()
        if self.opened_mono_s is not None:
            self._spans.append((self.opened_mono_s, self.opened_mono_s + open_s))
        self.opened_mono_s, self.deadline_mono_s = None, math.inf
        return open_s

    def used_s(self) -> float:
        """Open time in the 24 hours up to now. What came before birth counts a full day from it."""
        since = self._clock.mono_s() - DAY_S
        while self._spans and self._spans[0][1] <= since:
            self._spans.popleft()
        used_s = sum(end - max(begin, since) for begin, end in self._spans)
        if self.opened_mono_s is not None:
            used_s += since + DAY_S - max(self.opened_mono_s, since)
        return used_s + (self._seed_s if self._born_mono_s > since else 0.0)


def told(fault: Exception) -> str:
    """The words of a fault, or its name if it has none."""
    return str(fault) or type(fault).__name__
