"""The valves a bank moves, with the master that serves them: rules, actions, and their records.

The bank holds its lock around the group, and calls `tend_master` after each action. Every fault of
a line ends in its state and in a record, never in an exception. No line waits for the delivery of
a record.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from math import inf

from controller.clock import Clock
from controller.errors import ValveFault, ValveRefused
from controller.valves.line import (
    CLOSINGS,
    Event,
    Line,
    LineLimits,
    MasterLimits,
    State,
    fault_text,
    next_state,
)
from controller.valves.pins import PinDriver

RETRY_S = 1.0  # our choice: how soon a line that did not close is driven off again
_MOST_UNDELIVERED = 50  # our choice: of the records that could not be handed over, the newest


class What(StrEnum):
    """What a record reports."""

    OPENED = "opened"
    CLOSING = "closing"  # driven shut; water may run until its closing time is over
    CLOSED = "closed"
    FAULT = "fault"
    RESET = "reset"


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRecord:
    """One change of one line.

    An opening has ended with the first record after it whose `state` is closed or barred, and
    `open_s` there is the whole of it until the command to shut took effect, measured on the
    monotonic clock. The master's records are like a line's.
    """

    number: int
    what: What
    state: State  # after the change
    wall_utc: datetime
    mono_s: float
    open_s: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """A line through which water may run; `deadline_mono_s` has passed if it is stuck.

    `opened_mono_s` is None for a line that could not be driven off when nobody had opened it, and
    lies ahead while the master leads. A line that is closing began to at `shut_mono_s`, and is
    shut at `closed_mono_s`.
    """

    number: int
    state: State
    opened_mono_s: float | None
    deadline_mono_s: float | None
    shut_mono_s: float | None = None
    closed_mono_s: float | None = None


class RecordQueue:
    """Delivers records in order, one thread at a time, and keeps the text of those that failed.

    A thread that finds another one delivering leaves its records to that one. So a recorder that
    hangs holds up one thread, and never the one that has to close the next line. It tries nothing
    again: the valves know no logbook, and whoever waits for one has a queue of its own.
    """

    def __init__(self, record: Callable[[BankRecord], None]) -> None:
        self._record = record
        self._busy = threading.Lock()
        self._waiting: deque[BankRecord] = deque()
        self.undelivered: deque[str] = deque(maxlen=_MOST_UNDELIVERED)

    def note(self, record: BankRecord) -> None:
        """Put a record in line; never blocks."""
        self._waiting.append(record)

    def deliver(self) -> None:
        """Deliver what waits, unless another thread does. Call it without the bank's lock."""
        while self._waiting and self._busy.acquire(blocking=False):
            try:
                while self._waiting:
                    self._deliver_one(self._waiting.popleft())
            finally:
                self._busy.release()

    def _deliver_one(self, record: BankRecord) -> None:
        try:
            self._record(record)
        except Exception as fault:  # noqa: BLE001 - the lines matter more than the log
            self.undelivered.append(
                f"line {record.number} {record.what} at {record.wall_utc:%Y-%m-%d %H:%M:%S} UTC, "
                f"{record.words}: not recorded: {fault_text(fault)}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What is known of the lines from before the bank.

    `open_s` has how long each was open in the last 24 hours, `shut` those that surely stand shut.
    """

    open_s: Mapping[int, float] = field(default_factory=dict)
    shut: Collection[int] = ()


NOTHING_KNOWN = Before()


class ValveGroup:
    """All valves of a board, and the actions on them."""

    def __init__(
        self,
        lines: Iterable[LineLimits],
        driver: PinDriver,
        clock: Clock,
        note: Callable[[BankRecord], None],
        before: Before,
        master: MasterLimits | None,
    ) -> None:
        self._clock, self._send = clock, note
        self.master_limits = master

        def line(limits: LineLimits) -> Line:
            return Line(
                limits,
                driver,
                clock,
                before.open_s.get(limits.number, 0.0),
                known_shut=limits.number in before.shut,
            )

        self.lines: dict[int, Line] = {}
        made = [line(limits) for limits in lines]
        self.master = None if master is None else line(master.line)
        taken = [n for one in (*made, *self._masters()) for n in one.limits.numbers]
        if len(set(taken)) != len(taken):
            raise ValveFault("two valves are on the same line; each needs its own")
        self.lines = {one.number: one for one in made}
        for one in (*self._masters(), *made):  # the master first: without it all is dry
            fault = one.drive_off()
            if fault:
                one.complained = True
                self.note(one, What.FAULT, 0.0, f"not off at the start: {fault}")

    def every(self) -> list[Line]:
        """All valves, the master last: a diaphragm needs pressure to shut, so lines go first."""
        return [*self.lines.values(), *self._masters()]

    def due_mono_s(self) -> float | None:
        """When the next action is due; None while nothing is under way. [s]"""
        due = min((line.due_mono_s for line in self.every()), default=inf)
        if any(line.state is State.STUCK for line in self.every()):
            due = min(due, self._clock.mono_s() + RETRY_S)
        return None if due == inf else due

    def is_due(self, line: Line, margin_s: float, *, all_shut: bool) -> bool:
        """Whether it is time to drive it shut, or to end its closing."""
        if line.state is State.OPEN:
            return all_shut or self._clock.mono_s() >= line.deadline_mono_s + margin_s
        if line.state in CLOSINGS:
            return self._clock.mono_s() >= line.closed_mono_s + margin_s
        return line.state is State.STUCK

    def shut_each(self, lines: Iterable[Line], why: str) -> dict[int, str]:
        """Drive these shut, each in its own try; what failed, by line."""
        outcomes = {line.number: self.shut(line, why) for line in lines}
        return {number: fault for number, (_, fault) in outcomes.items() if fault}

    def shut(self, line: Line, why: str) -> tuple[float, str]:
        """Drive one shut: how long it was open, and what went wrong, if anything."""
        was = line.state
        if was is State.OPEN:
            line.why = why
        fault = line.drive_off()
        if fault:
            open_s = line.open_s()
            if not line.complained:  # reported once, however often it is tried again
                line.complained = True
                self.note(line, What.FAULT, open_s, f"does not close: {fault}")
            return open_s, fault
        if line.state in CLOSINGS:
            if was is State.OPEN:
                self.note(line, What.CLOSING, line.open_s(), why)
            elif was is State.STUCK:
                self.note(
                    line, What.CLOSING, line.open_s(), "the command to close is given at last"
                )
            return line.open_s(), ""
        ran = line.opened_mono_s is not None
        open_s = line.end()
        if was in (State.STUCK, State.RECLOSING):
            self.note(line, What.CLOSED, open_s, "off at last; barred until it is reset")
        elif was is State.OPEN or (was is State.CLOSING and ran):
            self.note(line, What.CLOSED, open_s, line.why)
        return open_s, ""

    def bar(self, line: Line, event: Event, words: str) -> str:
        """Drive off a faulty line; it ends barred, or is stuck: what went wrong."""
        line.why = words
        line.happens(event)
        fault = line.drive_off()
        line.complained = True
        open_s = line.open_s()
        if fault:
            ending = f"and cannot be driven off: {fault}"
        elif line.state in CLOSINGS:
            ending = "driven off; it is being closed, and barred then"
        else:
            open_s, ending = line.end(), "driven off and barred"
        self.note(line, What.FAULT, open_s, f"{words}; {ending}")
        return fault

    def step(self, line: Line, margin_s: float) -> None:
        """Drive on once the master has led long enough; take the current from an arrived ball."""
        if line.state is not State.OPEN:
            return
        now = self._clock.mono_s()
        if now >= line.on_mono_s + margin_s:
            fault = line.drive_on()
            if fault:
                self.bar(line, Event.ON_FAILED, f"did not open: {fault}")
        elif now >= line.rest_mono_s + margin_s:
            fault = line.rest()
            if fault:
                self.bar(line, Event.ON_FAILED, f"does not rest: {fault}")

    def is_faulty(self, line: Line) -> bool:
        """Whether a line was faulty; it has been driven off then."""
        if line.state is State.STUCK:
            return False
        is_open = line.state is State.OPEN
        try:
            words = line.find_fault()
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything
            if is_open:
                return False  # not known to be wrong; its deadline stands
            words = f"cannot be read: {fault_text(fault)}"
        if words:
            self.bar(line, Event.ON_FAILED if is_open else Event.FOUND_ON, words)
        return bool(words)

    # ---- the master ------------------------------------------------------------------------------

    def lead_s(self) -> float:
        """How long a line must wait for the master, if asked to open now. [s]"""
        master, limits = self.master, self.master_limits
        if master is None or limits is None:
            return 0.0
        if master.state is not State.OPEN or master.opened_mono_s is None:
            return limits.lead_s
        return max(0.0, master.opened_mono_s + limits.lead_s - self._clock.mono_s())

    def lead(self, line: Line, for_s: float) -> str:
        """Open the master for this line, or keep it open; what went wrong, if anything."""
        master, limits = self.master, self.master_limits
        if master is None or limits is None:
            return ""
        needed_s = self.lead_s() + for_s + line.limits.closing_s + limits.lags_s
        if master.state is State.OPEN:
            until_s = self._clock.mono_s() + needed_s
            master.deadline_mono_s = max(master.deadline_mono_s, until_s)
            return ""
        master.start(needed_s)
        fault = master.drive_on()
        if fault:
            self.bar(master, Event.ON_FAILED, f"the master did not open: {fault}")
        else:
            self.note(master, What.OPENED, 0.0, f"the master, for line {line.number}")
        return fault

    def tend_master(self) -> None:
        """Keep master and lines together: no line is open without it, nor the master without a
        line.

        It shuts its lag after the last line is shut. When a line runs that does not shut, it shuts
        at once, and all lines with it.
        """
        master, limits = self.master, self.master_limits
        if master is None or limits is None:
            return
        stuck = next((n for n in self.lines.values() if n.state is State.STUCK and n.runs), None)
        if master.state is State.OPEN and stuck is not None:
            self.shut(master, f"line {stuck.number} does not close")
        if master.state is State.OPEN:
            if not any(n.may_run for n in self.lines.values() if n.state is not State.STUCK):
                ends_mono_s = self._clock.mono_s() + limits.lags_s
                master.deadline_mono_s = min(master.deadline_mono_s, ends_mono_s)
            return
        for line in self.lines.values():
            if line.state is State.OPEN:
                self.shut(line, f"the master is not open: {master.why or master.state}")
            if line.state is State.STUCK and not master.may_run:
                line.dry()

    def note(self, line: Line, what: What, open_s: float, words: str) -> None:
        """Queue a record of a line."""
        self._send(
            BankRecord(
                number=line.number,
                what=what,
                state=line.state,
                wall_utc=self._clock.now_utc(),
                mono_s=self._clock.mono_s(),
                open_s=open_s,
                words=words,
            )
        )

    def _masters(self) -> tuple[Line, ...]:
        return () if self.master is None else (self.master,)


def why_not_open(group: ValveGroup, line: Line, for_s: float) -> str:
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
    return _master_forbids(group)


def _master_forbids(group: ValveGroup) -> str:
    """Why the master forbids an opening; empty if it does not."""
    master = group.master
    if master is None or master.state is State.OPEN:
        return ""
    try:
        next_state(master.state, Event.OPEN_ASKED)
    except ValveRefused as why:
        return f"the master valve, line {master.number}: {why}"
    for line in group.lines.values():
        if line.state is State.STUCK and line.opened_mono_s is not None:
            return f"line {line.number} does not close, and the master stays shut for it"
    return ""
