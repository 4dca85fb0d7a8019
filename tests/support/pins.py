"""Pins that exist only here, and drivers that go wrong: only the lines in `bad`, once in it."""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass

from controller.clock import Clock
from controller.errors import ValveFault
from controller.valves.bank import Bank
from controller.valves.line import LineLimits, State
from controller.valves.pins import Debounce, OnEdge


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One change of one line, and when."""

    mono_s: float
    number: int
    on: bool


class RecordingPins:
    """Lines that exist only here, for tests: `moves` is their whole history."""

    loud = "PRETENDED PINS: no relay moves, no valve opens, no water runs."

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._on: dict[int, bool] = {}
        self.moves: list[Move] = []

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line, off; the same line twice is a fault. The level for on plays no part."""
        if number in self._on:
            raise ValveFault(f"line {number} is taken already: two valves cannot share a line")
        self._on[number] = False

    def write(self, number: int, on: bool) -> None:
        """Remember the change, if it is one."""
        if self._known(number) != on:
            self._on[number] = on
            self.moves.append(Move(mono_s=self._clock.mono_s(), number=number, on=on))

    def read(self, number: int) -> bool:
        """What was last written."""
        return self._known(number)

    def let_go(self, number: int) -> None:
        """The line off, and nobody's."""
        self.write(number, False)
        del self._on[number]

    def release_all(self) -> None:
        """Every line off."""
        for number in self._on:
            self.write(number, False)

    def _known(self, number: int) -> bool:
        try:
            return self._on[number]
        except KeyError:
            raise ValveFault(f"line {number} was never taken as an output") from None


class HandInputs:
    """Input pins that exist only here, for tests: `put` moves them."""

    def __init__(self) -> None:
        self._watched: dict[int, tuple[Debounce, OnEdge]] = {}
        self._active: dict[int, bool] = {}
        self.broken: set[int] = set()  # cannot be read

    def watch(self, number: int, *, active_low: bool, debounce_s: float, on_edge: OnEdge) -> None:
        """Take the line; the same line twice is a fault."""
        if number in self._watched:
            raise ValveFault(f"line {number} is taken already: two things cannot share a line")
        debounce = Debounce(debounce_s)
        debounce.starts(self._active.setdefault(number, False))
        self._watched[number] = (debounce, on_edge)

    def level(self, number: int) -> bool:
        """What it was last put to."""
        if number in self.broken:
            raise ValveFault(f"line {number} cannot be read")
        if number not in self._watched:
            raise ValveFault(f"line {number} was never taken as an input")
        return self._active[number]

    def put(self, number: int, active: bool, at_mono_s: float) -> None:
        """The contact closes or opens at a moment of the monotonic clock."""
        self._active[number] = active
        if number in self._watched:
            debounce, on_edge = self._watched[number]
            if debounce.changed(active, at_mono_s):
                on_edge(at_mono_s)

    def pulse(self, number: int, at_mono_s: float, *, for_s: float = 0.01) -> None:
        """One clean pulse."""
        self.put(number, True, at_mono_s)
        self.put(number, False, at_mono_s + for_s)


def next_deadline_mono_s(bank: Bank) -> float | None:
    """When the closer has something to do next; None while nothing is under way. [s]"""
    with bank._changed:
        return bank._group.due_mono_s()


def stuck(bank: Bank) -> tuple[int, ...]:
    """The lines that do not close."""
    return tuple(n for n, state in bank.states().items() if state is State.STUCK)


def shut_because(bank: Bank) -> str:
    """Why nothing may open any more; empty while it may."""
    return bank._shut_because


def limits(number: int, *, longest_s: float = 600.0, day_s: float = 3600.0) -> LineLimits:
    """A line with limits that rarely matter."""
    return LineLimits(
        number=number, active_low=True, longest_open_s=longest_s, most_open_s_per_day=day_s
    )


def ball(number: int, close_number: int, **more: float) -> LineLimits:
    """A ball that stays: ten seconds to open, eight to shut (driven for ten)."""
    plain = {"opens_in_s": 10.0, "closes_in_s": 8.0, "longest_open_s": 600.0}
    return LineLimits(
        number=number,
        close_number=close_number,
        active_low=True,
        **({"most_open_s_per_day": 3600.0} | plain | more),
    )


class BadPins(RecordingPins):
    """A driver whose lines obey until a test puts them in `bad`. Pairs are never both on."""

    pairs: tuple[tuple[int, int], ...] = ()

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock)
        self.bad: set[int] = set()
        self.both_on: list[tuple[float, int, int]] = []

    def write(self, number: int, on: bool) -> None:
        """Remember the change, and whether it put both lines of a pair on."""
        super().write(number, on)
        for a, b in self.pairs:
            if self.really_on(a) and self.really_on(b):
                self.both_on.append((self._clock.mono_s(), a, b))

    def really_on(self, number: int) -> bool:
        """What a hand on the pipe would feel, whatever the driver says."""
        return self._on.get(number, False)

    def moves_of(self, number: int) -> list[tuple[float, bool]]:
        """The whole history of one line."""
        return [(move.mono_s, move.on) for move in self.moves if move.number == number]


class GoodPins(BadPins):
    """Nothing goes wrong."""


class ClaimThrows(BadPins):
    """The line is another program's."""

    def claim(self, number: int, active_low: bool) -> None:
        if number in self.bad:
            raise OSError("GPIO busy")
        super().claim(number, active_low)


class OnThrows(BadPins):
    """On cannot be written."""

    def write(self, number: int, on: bool) -> None:
        if on and number in self.bad:
            raise OSError("no such device")
        super().write(number, on)


class OnThrowsTooLate(BadPins):
    """On is written, and then the driver fails."""

    def write(self, number: int, on: bool) -> None:
        super().write(number, on)
        if on and number in self.bad:
            raise RuntimeError("lost the thread")


class OffThrows(BadPins):
    """Off cannot be written."""

    def write(self, number: int, on: bool) -> None:
        if not on and number in self.bad:
            raise OSError("I/O error")
        super().write(number, on)


class SticksOn(BadPins):
    """Off is written without complaint, and a line that is on stays on."""

    def write(self, number: int, on: bool) -> None:
        if on or number not in self.bad:
            super().write(number, on)


class SticksOff(BadPins):
    """On is written without complaint, and nothing happens."""

    def write(self, number: int, on: bool) -> None:
        if not on or number not in self.bad:
            super().write(number, on)


class AlwaysReadsOff(BadPins):
    """The read-back lies: off, whatever was written."""

    def read(self, number: int) -> bool:
        return super().read(number) and number not in self.bad


class AlwaysReadsOn(BadPins):
    """The read-back lies: on, whatever was written."""

    def read(self, number: int) -> bool:
        return super().read(number) or number in self.bad


class ReadThrows(BadPins):
    """The line cannot be read."""

    def read(self, number: int) -> bool:
        if number in self.bad:
            raise OSError("cannot be read")
        return super().read(number)


class Hangs(BadPins):
    """Calls named in `hangs`, (line, what), do not come back until the test lets them.

    What is "on", "off", "read" or "claim". With `times` only so many calls hang, and later ones
    come through: what is lost then is a thread, and not the line.
    """

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock)
        self.hangs: set[tuple[int, str]] = set()
        self.times = math.inf
        self.entered, self.come_back = threading.Semaphore(0), threading.Event()
        self.calls: list[tuple[int, str]] = []

    def claim(self, number: int, active_low: bool) -> None:
        self._maybe(number, "claim")
        super().claim(number, active_low)

    def write(self, number: int, on: bool) -> None:
        self._maybe(number, "on" if on else "off")
        super().write(number, on)

    def read(self, number: int) -> bool:
        self._maybe(number, "read")
        return super().read(number)

    def _maybe(self, number: int, what: str) -> None:
        self.calls.append((number, what))
        if (number, what) in self.hangs and self.times > 0:
            self.times -= 1
            self.entered.release()
            assert self.come_back.wait(120.0)
