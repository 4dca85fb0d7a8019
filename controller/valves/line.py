"""One valve on its line: its limits, its states, and how it is driven and read back.

The bank holds its lock around every `Line`. Of a ball that stays, the open line and the close line
are never both driven on: each is driven only after the other was written off and read as off.

The states are one table: the state after each event. Closing needs no permission of it: it is
always tried, and only its outcome is an event. What is not listed is refused and changes nothing.
"Line" is a valve with all its lines of the board: one, or an open line and a close line for a ball
that stays where it is without current.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from controller.clock import Clock
from controller.errors import OutOfRange, ValveFault, ValveRefused, require_range
from controller.valves.pins import PinDriver

DAY_S = 86_400.0
LONGEST_TRAVEL_S = 300.0  # our choice: a valve slower than that is no valve for a garden
LONGEST_LEAD_S = 600.0  # our choice, for the master's lead and lag
# A valve is driven for longer than its travel: cold, wear and a weak supply make it slow.
DRIVE_FACTOR, DRIVE_MORE_S = 1.25, 1.0  # our choice


def drive_s(travel_s: float) -> float:
    """How long a valve is driven for its travel; 0 for one that moves at once. [s]"""
    return max(travel_s * DRIVE_FACTOR, travel_s + DRIVE_MORE_S) if travel_s > 0.0 else 0.0


def travel_s(driven_s: float) -> float:
    """The travel that is driven for so long: the inverse of `drive_s`. [s]"""
    return min(driven_s / DRIVE_FACTOR, driven_s - DRIVE_MORE_S) if driven_s > 0.0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLimits:
    """One valve's line of the board: its BCM GPIO number, its off level, its times.

    With a `close_number` the valve is a ball that stays where it is without current: `number` is
    driven to open it, `close_number` to shut it, never both. Without, a travel says how long water
    builds up after on, and runs on after off.
    """

    number: int
    active_low: bool
    longest_open_s: float
    most_open_s_per_day: float
    close_number: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0

    def __post_init__(self) -> None:
        for name, number in (("number", self.number), ("close_number", self.close_number)):
            if number is None and name == "close_number":
                continue
            if isinstance(number, bool) or not isinstance(number, int):
                raise OutOfRange(name, math.nan, 0, 1023)
            require_range(name, number, 0, 1023)
        if not 0.0 < self.longest_open_s <= DAY_S:  # also false for NaN
            raise OutOfRange("longest_open_s", self.longest_open_s, 0.0, DAY_S)
        if not 0.0 < self.most_open_s_per_day < math.inf:
            raise OutOfRange("most_open_s_per_day", self.most_open_s_per_day, 0.0, math.inf)
        require_range("opens_in_s", self.opens_in_s, 0.0, LONGEST_TRAVEL_S)
        require_range("closes_in_s", self.closes_in_s, 0.0, LONGEST_TRAVEL_S)
        if self.close_number is None:
            return
        if self.close_number == self.number:
            raise ValveFault(
                f"line {self.number} cannot open and close one valve; a ball that stays where it "
                "is needs a line for each"
            )
        if self.opens_in_s == 0.0 or self.closes_in_s == 0.0:
            raise ValveFault(
                f"line {self.number}: a ball that stays where it is needs its travel both ways, "
                "more than 0 s; nobody else knows when it has arrived"
            )

    @property
    def numbers(self) -> tuple[int, ...]:
        """Its lines of the board."""
        return (self.number,) if self.close_number is None else (self.number, self.close_number)

    @property
    def opening_s(self) -> float:
        """How long the open line of a ball that stays is driven. [s]"""
        return drive_s(self.opens_in_s)

    @property
    def closing_s(self) -> float:
        """How long water may run after the command to shut. [s]"""
        return drive_s(self.closes_in_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterLimits:
    """A valve before all others: open `leads_s` before the first, until `lags_s` after the last.

    Its lead is never less than its own opening.
    """

    number: int
    active_low: bool
    leads_s: float = 0.0
    lags_s: float = 0.0
    close_number: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0

    def __post_init__(self) -> None:
        require_range("leads_s", self.leads_s, 0.0, LONGEST_LEAD_S)
        require_range("lags_s", self.lags_s, 0.0, LONGEST_LEAD_S)
        _ = self.line

    @property
    def line(self) -> LineLimits:
        """The master as a line; its times are those of the lines it serves."""
        return LineLimits(
            number=self.number,
            active_low=self.active_low,
            longest_open_s=DAY_S,
            most_open_s_per_day=DAY_S,
            close_number=self.close_number,
            opens_in_s=self.opens_in_s,
            closes_in_s=self.closes_in_s,
        )

    @property
    def lead_s(self) -> float:
        """How long it is open before a line opens. [s]"""
        return max(self.leads_s, drive_s(self.opens_in_s))


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
# Driven shut, and not sure to be shut yet.
CLOSINGS = frozenset({State.CLOSING, State.RECLOSING})
# Water may run through a line in one of these.
MAY_RUN = CLOSINGS | {State.OPEN, State.STUCK}

_WHY_NOT: Mapping[tuple[State, Event], str] = {
    (State.OPEN, Event.OPEN_ASKED): "it is open already; an opening is never made longer",
    (State.CLOSING, Event.OPEN_ASKED): "it is still closing; wait until it is shut",
    (State.RECLOSING, Event.OPEN_ASKED): "it did not obey, and is being closed",
    (State.STUCK, Event.OPEN_ASKED): "it did not close on command, and gets the command again",
    (State.BARRED, Event.OPEN_ASKED): (
        "it did not obey; look at its wiring, relay and valve, then reset it"
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
