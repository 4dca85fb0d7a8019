"""The bank of lines: only the bank opens a line, and it closes all of them.

Off at birth, off at the deadline, off when in doubt. A deadline on the monotonic clock is set
before a pin is driven on. Pins come first; records come after, outside the lock. The recorder may
be slow, stuck or broken, and no line stays open for it.

A master valve belongs to the bank: it opens before the first line and shuts after the last. While
it leads, nothing waits with the lock held; the closer's next round drives the line on.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from math import isinf

from controller.clock import Clock
from controller.errors import ValveFault, ValveRefused
from controller.valves.group import (
    NOTHING_KNOWN,
    RETRY_S,
    BankRecord,
    Before,
    OpenLine,
    RecordQueue,
    ValveGroup,
    What,
    why_not_open,
)
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

__all__ = ["RETRY_S", "Bank", "BankRecord", "Before", "OpenLine", "What"]

FOR_EVER = -1.0
LOOK_S = 0.2  # our choice: between two looks while closings are waited for


class Bank:
    """All lines of one board. Thread-safe; closing waits only for the pins.

    A line that travels is driven shut for its whole time at birth, unless it is shut `before`.
    `glance` reads a line without the lock; by default it is the driver's own reading.
    """

    def __init__(
        self,
        lines: Sequence[LineLimits],
        driver: PinDriver,
        clock: Clock,
        record: Callable[[BankRecord], None],
        before: Before = NOTHING_KNOWN,
        *,
        master: MasterLimits | None = None,
        glance: Callable[[int], bool] | None = None,
    ) -> None:
        self._glance = glance or driver.read
        self._driver, self._clock, self._records = driver, clock, RecordQueue(record)
        self._changed = threading.Condition(threading.Lock())
        self._shut_because = ""
        self._group = ValveGroup(lines, driver, clock, self._records.note, before, master)
        self._records.deliver()

    # ---- opening ---------------------------------------------------------------------------------

    def open(self, number: int, *, for_s: float) -> float:
        """Open a line for so long; its deadline on the monotonic clock. [s]

        With a master that is shut, the line opens after its lead, and the deadline is later by it;
        if that line then fails to open, only a record reports it.

        Raises
        ------
        ValveRefused
            If a rule says no; nothing was driven.
        ValveFault
            If the line, or the master, did not open; it was driven off again, and is barred.
        """
        with self._changed:
            line = self._known(number)
            why_not = self._shut_because and f"the bank is shut: {self._shut_because}"
            why_not = why_not or why_not_open(self._group, line, for_s)
            if why_not:
                raise ValveRefused(f"line {number} is not opened: {why_not}")
            # A deadline stands before any pin moves: whatever happens from here on, somebody
            # closes this line, and the master.
            lead_s = self._group.lead_s()
            fault = self._group.lead(line, for_s)
            if fault:
                fault = f"the master valve did not open: {fault}"
            else:
                deadline_mono_s = line.start(for_s, lead_s=lead_s)
                self._changed.notify_all()
                fault = self._begin(line, for_s, lead_s)
            shut = self._shut_because
            if shut and not fault:  # while the driver was slow
                self._group.shut(line, shut)
                self._shut_master_now(shut)
            self._group.tend_master()
        self._records.deliver()
        if fault:
            raise ValveFault(f"line {number} did not open, and got the command to close: {fault}")
        if shut:
            raise ValveRefused(f"line {number} was closed again at once: {shut}")
        return deadline_mono_s

    def reset(self, number: int) -> None:
        """Allow a barred line, or the master, to open again, if it can be driven off now."""
        with self._changed:
            line = self._any(number)
            try:
                next_state(line.state, Event.RESET_ASKED)
            except ValveRefused as why:
                raise ValveRefused(f"line {number} is not reset: {why}") from None
            _, fault = self._group.shut(line, "")
            if not fault:
                line.happens(Event.RESET_ASKED)
                self._group.note(line, What.RESET, 0.0, "may open again")
            self._group.tend_master()
        self._records.deliver()
        if fault:
            raise ValveFault(f"line {number} is not reset, it cannot be driven off: {fault}")

    # ---- closing ---------------------------------------------------------------------------------

    def close(self, number: int, why: str) -> float:
        """Drive a line shut; how long it was open.

        `ValveFault` if that failed: the closer tries again. A line that travels is closing from now
        on, and shut when its time is over.
        """
        with self._changed:
            open_s, fault = self._group.shut(self._any(number), why)
            self._group.tend_master()
            self._changed.notify_all()
        self._records.deliver()
        if fault:
            raise ValveFault(f"line {number} did not close, and gets the command again: {fault}")
        return open_s

    def close_all(self, why: str) -> Mapping[int, str]:
        """Drive every line shut, then the master, each in its own try; what failed, by line."""
        with self._changed:
            failed = self._shut_all(why)
        self._records.deliver()
        return failed

    def shut_master(self, why: str) -> Mapping[int, str]:
        """Shut the master first, then every line, for water that should not run; what failed, by
        line.

        The master is barred until somebody has looked and reset it. Without one, all lines close.
        """
        with self._changed:
            failed = {}
            master = self._group.master
            if master is not None:
                event = Event.ON_FAILED if master.state is State.OPEN else Event.FOUND_ON
                fault = self._group.bar(master, event, why)
                if fault:
                    failed[master.number] = fault
            failed |= self._group.shut_each(self._group.lines.values(), why)
            self._group.tend_master()
            self._changed.notify_all()
        self._records.deliver()
        return failed

    def shut_down(self, why: str, *, patience_s: float = FOR_EVER) -> Mapping[int, str]:
        """Close every line and refuse to open any from now on; what failed, by line.

        With a patience, `ValveFault` if the bank is busy for longer than that.
        """
        self._shut_because = self._shut_because or why  # before the lock: none opens after it
        with self._held(patience_s):
            failed = self._shut_all(why)
        self._records.deliver()
        return failed

    def retire(self) -> None:
        """Give up the lines: this bank touches no pin any more. Call `shut_down` first."""
        with self._changed:
            self._group.lines, self._group.master = {}, None
            self._changed.notify_all()

    def close_due(self, *, margin_s: float = 0.0, patience_s: float = FOR_EVER) -> tuple[int, ...]:
        """Close what is past its deadline by the margin, end closings, drive stuck lines off again.

        It also drives on what has waited for the master, and takes the current from a ball that
        has arrived. Returns the lines that it drove shut, or that are shut now. With a patience,
        `ValveFault` if the bank is busy for longer than that.
        """
        group = self._group
        with self._held(patience_s):
            all_shut = bool(self._shut_because)
            due = [n for n in group.every() if group.is_due(n, margin_s, all_shut=all_shut)]
            failed = group.shut_each(due, "time is up")
            if not all_shut:
                for line in group.every():
                    group.step(line, margin_s)
            group.tend_master()
            if due:
                self._changed.notify_all()
        self._records.deliver()
        return tuple(line.number for line in due if line.number not in failed)

    def look(self, *, patience_s: float = FOR_EVER) -> tuple[int, ...]:
        """Read every line back; drive off and bar the faulty ones, and return them.

        The first reading takes no lock and delays nothing. What it finds is read again with the
        lock held, since a line may have been driven meanwhile.
        """
        with self._held(patience_s):
            every = self._group.every()
        suspect = [line for line in every if self._seems_faulty(line)]
        with self._held(patience_s):
            still = self._group.every()
            found = [n.number for n in suspect if n in still and self._group.is_faulty(n)]
            self._group.tend_master()
        self._records.deliver()
        return tuple(found)

    def off_past_the_lock(self) -> Mapping[int, str]:
        """Drive all lines off without the lock: the last resort, when it cannot be had.

        The master goes first. Close lines stay as they are: the thread with the lock may be driving
        the open line of the same valve on. The bank remembers nothing of this. Afterwards the
        process must end, and the stop step drives every ball shut.
        """
        self._shut_because = self._shut_because or "driven off past the lock"
        failed = {}
        for line in reversed(self._group.every()):
            try:
                self._driver.write(line.number, False)
            except Exception as fault:  # noqa: BLE001 - a dead line must not stop the others
                failed[line.number] = fault_text(fault)
        return failed

    # ---- questions -------------------------------------------------------------------------------

    def wait_until_due(
        self,
        at_most_s: float,
        *,
        at_rest_s: float | None = None,
        unless: Callable[[], bool] = lambda: False,
    ) -> None:
        """Sleep until the nearest deadline, a change of the bank, or for so long at most.

        `at_rest_s` takes the place of `at_most_s` while nothing is under way. `unless` is asked
        first, under the lock that `wake` takes: a wake that comes before the wait is not missed.
        """
        with self._changed:
            if unless():
                return
            wait_s, due_mono_s = at_most_s, self._group.due_mono_s()
            if due_mono_s is not None:
                wait_s = min(wait_s, due_mono_s - self._clock.mono_s())
            elif at_rest_s is not None:
                wait_s = at_rest_s
            if wait_s > 0.0:
                self._changed.wait(wait_s)

    def wait_until_closed(self, at_most_s: float, meanwhile: Callable[[], None]) -> bool:
        """Wait until no line is closing any more; whether that came about in time."""
        ends_mono_s = self._clock.mono_s() + at_most_s
        while True:
            self.close_due()
            if self.closing_s() == 0.0:
                return True
            if self._clock.mono_s() >= ends_mono_s:
                return False
            meanwhile()
            self.wait_until_due(LOOK_S)

    def wake(self) -> None:
        """End every `wait_until_due` now."""
        with self._changed:
            self._changed.notify_all()

    def is_open(self, number: int) -> bool:
        """Whether water may run: the line is open, closing, or did not close when driven off."""
        with self._changed:
            return self._any(number).may_run

    def closing_s(self, number: int | None = None) -> float:
        """How long to wait before a line can be asked to open. [s]

        It is closing, or the master is. Without a number: until no valve is closing any more.
        """
        with self._changed:
            group = self._group
            asked = group.every()
            if number is not None:
                asked = [self._known(number), *([group.master] if group.master else [])]
            ends_mono_s = max((n.closed_mono_s for n in asked if n.state in CLOSINGS), default=None)
            # Past its end it is still closing until the closer has ended it.
            return 0.0 if ends_mono_s is None else max(1e-3, ends_mono_s - self._clock.mono_s())

    def open_lines(self) -> tuple[OpenLine, ...]:
        """Every line through which water may run, by number; not the master."""
        with self._changed:
            return tuple(
                OpenLine(
                    number=number,
                    state=line.state,
                    opened_mono_s=line.opened_mono_s,
                    deadline_mono_s=_or_none(line.deadline_mono_s),
                    shut_mono_s=line.shut_mono_s,
                    closed_mono_s=_or_none(line.closed_mono_s),
                )
                for number, line in sorted(self._group.lines.items())
                if line.may_run
            )

    def states(self, *, patience_s: float = FOR_EVER) -> Mapping[int, State]:
        """The state of every line, by number; the master's, too.

        With a patience, `ValveFault` if the bank is busy for longer than that.
        """
        with self._held(patience_s):
            return {line.number: line.state for line in sorted(self._group.every(), key=_number)}

    def master(self) -> State | None:
        """The state of the master; None where there is none."""
        with self._changed:
            return None if self._group.master is None else self._group.master.state

    def limits(self, number: int) -> LineLimits:
        """How a line, or the master, moves, and how long it may be open."""
        with self._changed:
            return self._any(number).limits

    def used_s(self, number: int) -> float:
        """How long the line was open in the last 24 hours, before this process included. [s]

        A line that travels counts from the command to open to the command to shut.
        """
        with self._changed:
            return self._any(number).used_s()

    @property
    def undelivered(self) -> tuple[str, ...]:
        """The text of records that could not be delivered, the newest last."""
        return tuple(self._records.undelivered)

    def _seems_faulty(self, line: Line) -> bool:
        try:
            return bool(line.find_fault(self._glance))
        except Exception:  # noqa: BLE001 - a driver may raise anything
            return True

    # ---- below, the lock is held -----------------------------------------------------------------

    def _known(self, number: int) -> Line:
        lines, master = self._group.lines, self._group.master
        if master is not None and number == master.number:
            raise ValveRefused(f"line {number} is the master; it opens with the lines behind it")
        try:
            return lines[number]
        except KeyError:
            known = ", ".join(str(n) for n in sorted(lines)) or "none"
            raise ValveRefused(f"line {number}: there is no such line; known are {known}") from None

    def _any(self, number: int) -> Line:
        """A line, or the master."""
        master = self._group.master
        return master if master is not None and number == master.number else self._known(number)

    def _begin(self, line: Line, for_s: float, lead_s: float) -> str:
        """Drive the line on, or leave it to the closer once the master has led; what went wrong."""
        if lead_s > 0.0:
            self._group.note(
                line, What.OPENED, 0.0, f"for {for_s:.1f} s, {lead_s:.1f} s after the master"
            )
            return ""
        fault = line.drive_on()
        if fault:
            self._group.bar(line, Event.ON_FAILED, f"did not open: {fault}")
        else:
            self._group.note(line, What.OPENED, 0.0, f"for {for_s:.1f} s")
        return fault

    def _shut_all(self, why: str) -> dict[int, str]:
        failed = self._group.shut_each(self._group.every(), why)
        self._group.tend_master()
        self._changed.notify_all()
        return failed

    def _shut_master_now(self, why: str) -> None:
        if self._group.master is not None:
            self._group.shut(self._group.master, why)

    @contextmanager
    def _held(self, patience_s: float) -> Iterator[None]:
        """Hold the lock; `ValveFault` if it cannot be had in time."""
        if not self._changed.acquire(timeout=patience_s):
            raise ValveFault(f"the valve bank has been busy for more than {patience_s:g} s")
        try:
            yield
        finally:
            self._changed.release()


def _number(line: Line) -> int:
    return line.number


def _or_none(mono_s: float) -> float | None:
    return None if isinf(mono_s) else mono_s
