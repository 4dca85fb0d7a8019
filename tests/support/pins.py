"""Pin drivers that go wrong, one small class each; only the lines in `bad`, and only once in it."""

from __future__ import annotations

from controller.clock import Clock
from controller.valves.pins import RecordingPins
from controller.valves.states import LineLimits


def limits(number: int, *, longest_s: float = 600.0, day_s: float = 3600.0) -> LineLimits:
    """A line with limits that rarely matter."""
    return LineLimits(
        number=number, active_low=True, longest_open_s=longest_s, most_open_s_per_day=day_s
    )


class BadPins(RecordingPins):
    """A driver whose lines obey until a test puts them in `bad`."""

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock)
        self.bad: set[int] = set()

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
