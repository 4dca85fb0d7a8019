"""The one face of every pin driver, and a driver that only remembers what it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.clock import Clock
from controller.errors import ValveFault


class PinDriver(Protocol):
    """What the bank knows of pins; `on` means current in the relay's coil and water in the row."""

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line as an output that is off from its first moment."""

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""

    def read(self, number: int) -> bool:
        """Whether the line's level, as it is now, is the one for on."""

    def let_go(self, number: int) -> None:
        """Drive the line off and give it back: it may be claimed anew, or taken as an input."""

    def release_all(self) -> None:
        """Drive every line off, for the end of the process."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One change of one line, and when."""

    mono_s: float
    number: int
    on: bool


class RecordingPins:
    """Lines that exist only here, for dry runs and tests: `moves` is their whole history."""

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
