"""A relay board with levels and coils, what its valves then do, and how its lines go wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from math import inf

from controller.clock import folded
from controller.errors import ValveFault
from support.clock import HandClock


class TrueClock(HandClock):
    """Beside the two clocks of a computer, time itself: no reboot and no hand moves it."""

    true_s = 0.0

    def now_utc(self) -> datetime:
        """As the computer's own clock shows what a hand has set."""
        return folded(self.wall)

    def advance(self, seconds: float) -> None:
        super().advance(seconds)
        self.true_s += seconds


class Unspeakable(Exception):
    """A driver's own fault, of which not even the words can be had."""

    def __str__(self) -> str:
        raise RuntimeError("no words")


@dataclass(slots=True, kw_only=True)
class Wrong:
    """How one line misbehaves, and for how many writes more."""

    on_fails: float = 0.0  # writes of on that raise; inf: all
    off_fails: float = 0.0
    sticks: bool = False  # off is taken without a word, and nothing happens
    reads: bool | None = None  # what is read back, whatever is so
    throws: Callable[[], Exception] = lambda: OSError("I/O error")
    read_throws: bool = False
    slow_s: float = 0.0  # each write takes so long


class BoardPins:
    """Levels, as a board has them; the coil behind a line draws current at its own level alone.

    `wired_low` is how the relays really are; what the daemon claims must fit. A line nobody holds
    is pulled to off. `moves` is the history of the coils.
    """

    def __init__(self, clock: TrueClock, *, wired_low: bool) -> None:
        self._clock, self.wired_low = clock, wired_low
        self._active_low: dict[int, bool] = {}
        self._level: dict[int, bool] = {}
        self.wrong: dict[int, Wrong] = {}
        self.moves: list[tuple[float, int, bool]] = []  # when (true time), line, on
        self.misdeeds = 0  # how often a line did not do, or read, as it should
        self._coil: dict[int, bool] = {}

    # --- the driver's face ---------------------------------------------------------------------

    def claim(self, number: int, active_low: bool) -> None:
        if number in self._active_low:
            raise ValveFault(f"line {number} is taken already")
        self._active_low[number] = active_low
        wrong = self.wrong.get(number)
        kept = self._level.get(number)
        self._set(number, kept if wrong and wrong.sticks and kept is not None else active_low)

    def write(self, number: int, on: bool) -> None:
        active_low = self._active_low[number]
        wrong = self.wrong.get(number)
        if wrong is not None:
            if wrong.slow_s:
                self._clock.advance(wrong.slow_s)
            left = wrong.on_fails if on else wrong.off_fails
            if left > 0:
                if on:
                    wrong.on_fails = left - 1
                else:
                    wrong.off_fails = left - 1
                self.misdeeds += 1
                raise wrong.throws()
            if wrong.sticks and not on and self.on(number):
                self.misdeeds += 1
                return
        self._set(number, on != active_low)

    def read(self, number: int) -> bool:
        wrong = self.wrong.get(number)
        if wrong is not None:
            if wrong.read_throws:
                self.misdeeds += 1
                raise wrong.throws()
            if wrong.reads is not None:
                self.misdeeds += wrong.reads != self.on(number)
                return wrong.reads
        return self._level[number] != self._active_low[number]

    def let_go(self, number: int) -> None:
        self.write(number, False)
        del self._active_low[number]

    def release_all(self) -> None:
        for number in self._active_low:
            try:
                self.write(number, False)
            except Exception:  # noqa: BLE001 - each in its own try, as a driver should
                continue

    # --- the board -----------------------------------------------------------------------------

    def process_ends(self, *, released: bool) -> None:
        """Nobody holds the lines any more; the kernel lets them go, or leaves them as they are."""
        self._active_low.clear()
        if released:
            for number in list(self._level):
                wrong = self.wrong.get(number)
                if not (wrong and wrong.sticks):
                    self._set(number, self.wired_low)  # pulled to off

    def drive(self, number: int, on: bool) -> None:
        """The stop step's hand on a line, while no daemon holds any."""
        wrong = self.wrong.get(number)
        if not (wrong and not on and (wrong.sticks or wrong.off_fails)):
            self._set(number, on != self.wired_low)

    def on(self, number: int) -> bool:
        """Whether the coil behind the line draws current."""
        return self._coil.get(number, False)

    def any_on(self) -> bool:
        """Whether any coil draws current."""
        return any(self._coil.values())

    def _set(self, number: int, level: bool) -> None:
        self._level[number] = level
        on = level != self.wired_low
        if on != self._coil.get(number, False):
            self._coil[number] = on
            self.moves.append((self._clock.true_s, number, on))


@dataclass(frozen=True, slots=True, kw_only=True)
class RealValve:
    """A valve as it is made; it moves evenly between shut and open."""

    line: int
    close_line: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0


Shape = list[tuple[float, float]]
"""How far open a valve is, 0 to 1, at moments; straight lines between them."""


def stands(valve: RealValve, moves: list[tuple[float, int, bool]], until_s: float) -> Shape:
    """Where the valve stood, from the history of its coils."""
    at_s, open_, speed = -inf, 0.0, 0.0
    shape: Shape = [(0.0, 0.0)]
    coils = {valve.line: False, valve.close_line: False}

    def run_to(now_s: float) -> None:
        nonlocal at_s, open_
        if speed and at_s > -inf:
            arrives_s = at_s + ((1.0 if speed > 0 else 0.0) - open_) / speed
            if arrives_s <= now_s:
                open_ = 1.0 if speed > 0 else 0.0
                shape.append((arrives_s, open_))
            else:
                open_ += speed * (now_s - at_s)
        at_s = now_s
        shape.append((now_s, open_))

    for now_s, number, on in moves:
        if number not in coils:
            continue
        run_to(now_s)
        coils[number] = on
        opens, shuts = coils[valve.line], coils[valve.close_line]
        if valve.close_line is None:
            opens, shuts = opens, not opens
        if valve.opens_in_s == 0.0:
            open_, speed = float(opens), 0.0
            shape.append((now_s, open_))
        else:
            speed = opens / valve.opens_in_s - shuts / valve.closes_in_s
    run_to(until_s)
    return shape


def open_stretches(shape: Shape) -> list[tuple[float, float]]:
    """From when to when it was not quite shut."""
    found: list[tuple[float, float]] = []
    for (t0, a), (t1, b) in pairwise(shape):
        if a <= 1e-9 and b <= 1e-9:
            continue
        if t1 == t0:
            continue
        if found and found[-1][1] >= t0 - 1e-9:
            found[-1] = (found[-1][0], t1)
        else:
            found.append((t0, t1))
    return found


def full_seconds(shape: Shape, within: list[tuple[float, float]] | None = None) -> float:
    """Seconds of full flow: how far open it was, over time; only within stretches, if given."""
    total = 0.0
    for (t0, a), (t1, b) in pairwise(shape):
        if t1 == t0 or (a == 0.0 and b == 0.0):
            continue
        spans = [(t0, t1)] if within is None else [(max(t0, s), min(t1, e)) for s, e in within]
        for s, e in spans:
            if e > s:
                at = [a + (b - a) * (t - t0) / (t1 - t0) for t in (s, e)]
                total += (at[0] + at[1]) / 2.0 * (e - s)
    return total


def never_both(moves: list[tuple[float, int, bool]], a: int, b: int) -> bool:
    """Whether no moment had both coils on."""
    on: set[int] = set()
    for _, number, is_on in moves:
        (on.add if is_on else on.discard)(number)
        if {a, b} <= on:
            return False
    return True
