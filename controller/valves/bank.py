"""The bank of lines: the only thing that opens one, and the thing that closes them all.

Off at birth, off at the deadline, off when in doubt. A deadline on the monotonic clock is set
before a pin is driven on. Pins come first and records after, outside the lock: whoever keeps the
records may be slow, stuck or broken, and no line stays open for it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from math import isinf

from controller.clock import Clock
from controller.errors import ValveFault, ValveRefused
from controller.valves.line import Line, told
from controller.valves.pins import PinDriver
from controller.valves.states import Event, LineLimits, State, next_state
from controller.valves.tell import BankRecord, OpenLine, Teller, What

__all__ = ["Bank", "BankRecord", "OpenLine", "What"]

RETRY_S = 1.0  # our choice: how soon a line that did not close is told again
FOR_EVER = -1.0


class Bank:
    """All lines of one board. Thread-safe; closing waits for nothing but the pins."""

    def __init__(
        self,
        lines: Sequence[LineLimits],
        driver: PinDriver,
        clock: Clock,
        record: Callable[[BankRecord], None],
        already_open_s: Mapping[int, float] | None = None,
    ) -> None:
        self._driver, self._clock, self._teller = driver, clock, Teller(record)
        self._changed = threading.Condition(threading.Lock())
        self._shut_because = ""
        already = already_open_s or {}
        self._lines = {
            limits.number: Line(limits, driver, clock, already.get(limits.number, 0.0))
            for limits in lines
        }
        if len(self._lines) != len(lines):
            raise ValveFault("two valves are on the same line; each needs its own")
        for line in self._lines.values():  # each on its own: a dead line harms no other
            fault = line.drive_off()
            if fault:
                self._note(line, What.FAULT, 0.0, f"not off at the start: {fault}")
        self._teller.deliver()

    # ---- opening ---------------------------------------------------------------------------------

    def open(self, number: int, *, for_s: float) -> float:
        """Open a line for so long, and give back its deadline on the monotonic clock. [s]

        Raises
        ------
        ValveRefused
            If a rule says no; nothing was driven.
        ValveFault
            If the line did not do as told; it was driven off again, and is barred.
        """
        with self._changed:
            line = self._known(number)
            why_not = self._why_not(line, for_s)
            if why_not:
                raise ValveRefused(f"line {number} is not opened: {why_not}")
            # The deadline stands before the pin moves: whatever happens from here on, somebody
            # closes this line.
            deadline_mono_s = line.start(for_s)
            self._changed.notify_all()
            fault, shut = line.drive_on(), self._shut_because
            if fault:
                self._bar(line, Event.ON_FAILED, f"did not open: {fault}")
            else:
                self._note(line, What.OPENED, 0.0, f"for {for_s:.1f} s")
            if shut and not fault:  # while the driver was slow
                self._shut(line, shut)
        self._teller.deliver()
        if fault:
            raise ValveFault(f"line {number} did not open, and was told to close: {fault}")
        if shut:
            raise ValveRefused(f"line {number} was closed again at once: {shut}")
        return deadline_mono_s

    def reset(self, number: int) -> None:
        """Allow a barred line to open again, if it can be driven off now."""
        with self._changed:
            line = self._known(number)
            try:
                next_state(line.state, Event.RESET_ASKED)
            except ValveRefused as why:
                raise ValveRefused(f"line {number} is not reset: {why}") from None
            _, fault = self._shut(line, "")
            if not fault:
                line.happens(Event.RESET_ASKED)
                self._note(line, What.RESET, 0.0, "may open again")
        self._teller.deliver()
        if fault:
            raise ValveFault(f"line {number} is not reset, it cannot be driven off: {fault}")

    # ---- closing ---------------------------------------------------------------------------------

    def close(self, number: int, why: str) -> float:
        """Close a line; how long it was open. `ValveFault` if it did not close (it is retried)."""
        with self._changed:
            open_s, fault = self._shut(self._known(number), why)
        self._teller.deliver()
        if fault:
            raise ValveFault(f"line {number} did not close, and is told again: {fault}")
        return open_s

    def close_all(self, why: str) -> Mapping[int, str]:
        """Drive every line off, each in its own try; what failed, by line."""
        with self._changed:
            failed = self._shut_each(self._lines.values(), why)
        self._teller.deliver()
        return failed

    def shut_down(self, why: str, *, patience_s: float = FOR_EVER) -> Mapping[int, str]:
        """Close every line and refuse to open any from now on; what failed, by line.

        With a patience, `ValveFault` if the bank is busy for longer than that.
        """
        self._shut_because = self._shut_because or why  # before the lock: none opens after it
        with self._held(patience_s):
            failed = self._shut_each(self._lines.values(), why)
        self._teller.deliver()
        return failed

    def close_due(self, *, margin_s: float = 0.0, patience_s: float = FOR_EVER) -> tuple[int, ...]:
        """Close what is past its deadline by the margin, tell stuck lines again; what closed now.

        With a patience, `ValveFault` if the bank is busy for longer than that.
        """
        with self._held(patience_s):
            now = self._clock.mono_s()
            due = [
                line
                for line in self._lines.values()
                if line.state is State.STUCK
                or (line.state is State.OPEN and now >= line.deadline_mono_s + margin_s)
                or (line.state is State.OPEN and self._shut_because)
            ]
            failed = self._shut_each(due, "time is up")
        self._teller.deliver()
        return tuple(line.number for line in due if line.number not in failed)

    def look(self, *, patience_s: float = FOR_EVER) -> tuple[int, ...]:
        """Read every line back; drive off and bar what is not as it should be, and name it."""
        with self._held(patience_s):
            found = [line.number for line in self._lines.values() if self._is_amiss(line)]
        self._teller.deliver()
        return tuple(found)

    def off_past_the_lock(self) -> Mapping[int, str]:
        """The last resort, when the lock cannot be had: drive every line off without asking.

        It changes nothing the bank remembers; afterwards only the end of the process is right.
        """
        self._shut_because = self._shut_because or "driven off past the lock"
        failed = {}
        for number in self._lines:
            try:
                self._driver.write(number, False)
            except Exception as fault:  # noqa: BLE001 - a dead line must not stop the others
                failed[number] = told(fault)
        return failed

    # ---- questions -------------------------------------------------------------------------------

    def next_deadline_mono_s(self) -> float | None:
        """When `close_due` has something to do next; None while no water may run. [s]"""
        with self._changed:
            return self._next_deadline_mono_s()

    def wait_until_due(self, at_most_s: float) -> None:
        """Sleep until the nearest deadline, a change of the bank, or for so long at most."""
        with self._changed:
            wait_s, due_mono_s = at_most_s, self._next_deadline_mono_s()
            if due_mono_s is not None:
                wait_s = min(wait_s, due_mono_s - self._clock.mono_s())
            if wait_s > 0.0:
                self._changed.wait(wait_s)

    def wake(self) -> None:
        """End every `wait_until_due` now."""
        with self._changed:
            self._changed.notify_all()

    def is_open(self, number: int) -> bool:
        """Whether water may run: the line is open, or did not close when told to."""
        with self._changed:
            return self._known(number).may_run

    def open_lines(self) -> tuple[OpenLine, ...]:
        """Every line through which water may run, by number."""
        with self._changed:
            return tuple(
                OpenLine(
                    number=number,
                    state=line.state,
                    opened_mono_s=line.opened_mono_s,
                    deadline_mono_s=None if isinf(line.deadline_mono_s) else line.deadline_mono_s,
                )
                for number, line in sorted(self._lines.items())
                if line.may_run
            )

    def states(self) -> Mapping[int, State]:
        """The state of every line, by number."""
        with self._changed:
            return {number: line.state for number, line in sorted(self._lines.items())}

    def used_s(self, number: int) -> float:
        """How long the line was open in the last 24 hours, before this process included. [s]"""
        with self._changed:
            return self._known(number).used_s()

    @property
    def shut_because(self) -> str:
        """Why nothing may open any more; empty while it may."""
        return self._shut_because

    @property
    def undelivered(self) -> tuple[str, ...]:
        """Records that could not be delivered, in words, the newest last."""
        return tuple(self._teller.undelivered)

    # ---- below, the lock is held -----------------------------------------------------------------

    def _known(self, number: int) -> Line:
        try:
            return self._lines[number]
        except KeyError:
            known = ", ".join(str(n) for n in sorted(self._lines)) or "none"
            raise ValveRefused(f"line {number}: there is no such line; known are {known}") from None

    def _why_not(self, line: Line, for_s: float) -> str:
        """The rule that forbids this opening; empty if none does."""
        limits = line.limits
        if self._shut_because:
            return f"the bank is shut: {self._shut_because}"
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
        return ""

    def _next_deadline_mono_s(self) -> float | None:
        due = [n.deadline_mono_s for n in self._lines.values() if n.state is State.OPEN]
        if any(n.state is State.STUCK for n in self._lines.values()):
            due.append(self._clock.mono_s() + RETRY_S)
        return min(due, default=None)

    def _shut_each(self, lines: Iterable[Line], why: str) -> dict[int, str]:
        """Drive these lines off, each in its own try; what failed, by line."""
        outcomes = {line.number: self._shut(line, why) for line in lines}
        return {number: fault for number, (_, fault) in outcomes.items() if fault}

    def _shut(self, line: Line, why: str) -> tuple[float, str]:
        """Drive one line off: how long it was open, and what went wrong, if anything."""
        was = line.state
        fault = line.drive_off()
        if fault:
            open_s = line.open_s()
            if was is not State.STUCK:  # told once, however often it is tried again
                self._note(line, What.FAULT, open_s, f"does not close: {fault}")
            return open_s, fault
        open_s = line.end()
        if was is State.STUCK:
            self._note(line, What.CLOSED, open_s, "off at last; barred until it is reset")
        elif was is State.OPEN:
            self._note(line, What.CLOSED, open_s, why)
        return open_s, ""

    def _is_amiss(self, line: Line) -> bool:
        """Whether the line was not as it should be; it has been driven off then."""
        if line.state is State.STUCK:
            return False
        try:
            on, words = line.read_on(), "is read as on, though nobody opened it"
        except Exception as fault:  # noqa: BLE001 - a driver may raise anything
            if line.state is State.OPEN:
                return False  # not known to be wrong; its deadline stands
            on, words = True, f"cannot be read: {told(fault)}"
        if on == (line.state is State.OPEN):
            return False
        if on:
            self._bar(line, Event.FOUND_ON, words)
        else:
            self._bar(line, Event.ON_FAILED, "is read as off while it should be open")
        return True

    def _bar(self, line: Line, event: Event, words: str) -> None:
        """Drive off a line that is not as it should be; it is barred, or stuck if that fails."""
        line.happens(event)
        fault = line.drive_off()
        open_s = line.open_s() if fault else line.end()
        ending = f"and cannot be driven off: {fault}" if fault else "driven off and barred"
        self._note(line, What.FAULT, open_s, f"{words}; {ending}")

    def _note(self, line: Line, what: What, open_s: float, words: str) -> None:
        self._teller.note(
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

    @contextmanager
    def _held(self, patience_s: float) -> Iterator[None]:
        """The lock, or `ValveFault` if it cannot be had in time."""
        if not self._changed.acquire(timeout=patience_s):
            raise ValveFault(f"the valve bank has been busy for more than {patience_s:g} s")
        try:
            yield
        finally:
            self._changed.release()
