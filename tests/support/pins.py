"""Pin drivers that go wrong, one small class each; only the lines in `bad`, and only once in it."""

from __future__ import annotations

import math
import threading

from controller.clock import Clock
from controller.valves.pins import RecordingPins
from controller.valves.states import LineLimits


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
