"""One valve: it drives it, reads it back, and keeps how long it was open.

The bank holds its lock around everything here. Of a ball that stays, the open line and the close
line are never both driven on: each is driven only after the other was written off and read as off.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable

from controller.clock import Clock
from controller.valves.limits import DAY_S, LineLimits
from controller.valves.pins import PinDriver
from controller.valves.states import CLOSINGS, MAY_RUN, Event, State, next_state


class Line:
    """A valve and its account. `opened_mono_s` is None while no water is known to run.

    `shut_mono_s` is when the command to shut took effect; its closing time comes after.
    """

    def __init__(
        self,
        limits: LineLimits,
        driver: PinDriver,
        clock: Clock,
        already_open_s: float,
        *,
        known_shut: bool,
    ) -> None:
        self.limits, self._driver, self._clock = limits, driver, clock
        self.number = limits.number
        self.state = State.CLOSED
        self.opened_mono_s: float | None = None
        self.shut_mono_s: float | None = None
        self.deadline_mono_s = self.closed_mono_s = math.inf
        self.on_mono_s = self.rest_mono_s = math.inf  # when on is to be written, and off again
        self.why = ""  # it shuts
        self.complained = False  # a fault was reported, and is not reported again until it is shut
        self._on = False  # what was last written to the open line
        # Nobody knows where a valve stands that an earlier process may have moved.
        self._stands_open = not known_shut
        self._surely_off = False  # its open line, at the last command
        self._claimed: set[int] = set()
        self._spans: deque[tuple[float, float]] = deque()  # past openings, oldest first
        # Not a number, or less than nothing: then the whole day counts as used.
        self._seed_s = min(already_open_s, DAY_S) if already_open_s >= 0.0 else DAY_S
        self._born_mono_s = clock.mono_s()

    @property
    def may_run(self) -> bool:
        """Whether water may run: the line is open, is closing, or did not close when driven off."""
        return self.state in MAY_RUN

    @property
    def runs(self) -> bool:
        """Whether water counts as running, and no command against it took effect."""
        return self.opened_mono_s is not None and self.shut_mono_s is None

    @property
    def due_mono_s(self) -> float:
        """When the next action on it is due. [s]"""
        if self.state is State.OPEN:
            return min(self.deadline_mono_s, self.on_mono_s, self.rest_mono_s)
        return self.closed_mono_s if self.state in CLOSINGS else math.inf

    def happens(self, event: Event) -> None:
        """Change the state by the table; `ValveRefused` if the table does not allow it."""
        self.state = next_state(self.state, event)
        if event in (Event.OPEN_ASKED, Event.FOUND_ON):
            self._stands_open, self.shut_mono_s = True, None

    def start(self, for_s: float, *, lead_s: float = 0.0) -> float:
        """Set the deadline, then allow the line to go on after the lead; the deadline. [s]"""
        self.happens(Event.OPEN_ASKED)
        self.why = ""
        self.on_mono_s = self.opened_mono_s = self._clock.mono_s() + lead_s
        self.deadline_mono_s = self.opened_mono_s + for_s
        return self.deadline_mono_s

    def drive_on(self) -> str:
        """Drive on and read it back; the text of the fault, if any."""
        self.on_mono_s = math.inf
        close = self.limits.close_number
        try:
            if close is not None:
                self._driver.write(close, False)
                if self._driver.read(close):
                    return f"its close line {close} was driven off and is read as on"
                self.rest_mono_s = self._clock.mono_s() + self.limits.opening_s
            self._on = True
            self._driver.write(self.number, True)
            return "" if self._driver.read(self.number) else "it was driven on and is read as off"
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything; off comes next
            return fault_text(fault)

    def rest(self) -> str:
        """Take the current from an arrived ball's open line; what went wrong, if anything."""
        self._on, self.rest_mono_s = False, math.inf
        try:
            self._driver.write(self.number, False)
            if self._driver.read(self.number):
                return "its open line was driven off and is read as on"
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything
            return fault_text(fault)
        return ""

    def drive_off(self) -> str:
        """Drive it shut and read that back, taking its lines first if need be; what went wrong.

        The state follows: closing, closed, barred or stuck. Never raises what a driver raises.
        """
        was, now = self.state, self._clock.mono_s()
        if was in CLOSINGS and now >= self.closed_mono_s:
            self._stands_open = False
        self._surely_off = False
        try:
            fault = self._drive_lines_off()
        except Exception as broken:  # noqa: BLE001 - a driver may raise anything; others must close
            fault = fault_text(broken)
        if fault:
            # While its open line is not read as off, nobody knows where the valve stands.
            self._stands_open = self._stands_open or not self._surely_off
            if was is not State.STUCK and self._stands_open:
                self.shut_mono_s = None  # what was done against the water did not last
            self.happens(Event.OFF_FAILED)
            return fault
        if self.opened_mono_s is not None and self.shut_mono_s is None:
            self.shut_mono_s = self._clock.mono_s()
        if self._stands_open and self.limits.closing_s > 0.0:
            if was not in CLOSINGS:
                self.closed_mono_s = self._clock.mono_s() + self.limits.closing_s
            self.happens(Event.CLOSE_BEGAN)
        else:
            self.happens(Event.OFF_TOOK)
            self._stands_open = False
        return ""

    def find_fault(self, read: Callable[[int], bool] | None = None) -> str:
        """Read its lines; the text of what is wrong, if anything. Raises what the driver raises."""
        read, close = read or self._driver.read, self.limits.close_number
        on, should_be_on = read(self.number), self._on
        if on and not should_be_on:
            resting = self.state is State.OPEN
            return "is read as on, " + (
                "though it should rest" if resting else "though nobody opened it"
            )
        if should_be_on and not on:
            return "is read as off while it should be open"
        if close is None:
            return ""
        closes, should_close = read(close), self.state in CLOSINGS
        if closes and not should_close:
            return f"its close line {close} is read as on, though nobody closes it"
        if should_close and not closes:
            return f"its close line {close} is read as off while it should be closing"
        return ""

    def open_s(self) -> float:
        """How long it has been open by now, or was until the command to shut. [s]"""
        if self.opened_mono_s is None:
            return 0.0
        until_s = self._clock.mono_s() if self.shut_mono_s is None else self.shut_mono_s
        return max(0.0, until_s - self.opened_mono_s)

    def end(self) -> float:
        """Book the opening that has ended, if there was one; how long it was. [s]"""
        open_s = self.open_s()
        if self.opened_mono_s is not None:
            self._spans.append((self.opened_mono_s, self.opened_mono_s + open_s))
        self.opened_mono_s = self.shut_mono_s = None
        self.deadline_mono_s = self.closed_mono_s = math.inf
        self.complained = False
        return open_s

    def dry(self) -> None:
        """End the water through this line, for none reaches it any more."""
        if self.runs:
            self.shut_mono_s = self._clock.mono_s()

    def used_s(self) -> float:
        """Open time in the 24 hours up to now. What came before birth counts a full day from it."""
        since = self._clock.mono_s() - DAY_S
        while self._spans and self._spans[0][1] <= since:
            self._spans.popleft()
        used_s = sum(end - max(begin, since) for begin, end in self._spans)
        if self.opened_mono_s is not None:
            used_s += max(0.0, self.open_s() + min(0.0, self.opened_mono_s - since))
        return used_s + (self._seed_s if self._born_mono_s > since else 0.0)

    def _drive_lines_off(self) -> str:
        close = self.limits.close_number
        for number in self.limits.numbers:
            if number not in self._claimed:
                self._driver.claim(number, self.limits.active_low)
                self._claimed.add(number)
        self._on, self.on_mono_s, self.rest_mono_s = False, math.inf, math.inf
        self._driver.write(self.number, False)
        if self._driver.read(self.number):
            if self.opened_mono_s is None:  # on by its own doing: water runs from now, at latest
                self.opened_mono_s = self._clock.mono_s()
            return "it was driven off and is read as on"
        self._surely_off = True
        if close is None:
            return ""
        self._driver.write(close, self._stands_open)
        if self._driver.read(close) != self._stands_open:
            driven, is_read = ("on", "off") if self._stands_open else ("off", "on")
            return f"its close line {close} was driven {driven} and is read as {is_read}"
        return ""


def fault_text(fault: Exception) -> str:
    """The text of a fault, or its type where the text fails."""
    try:
        return str(fault) or type(fault).__name__
    except Exception:  # noqa: BLE001 - a driver's own fault may be broken, too
        return type(fault).__name__
