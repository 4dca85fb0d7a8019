"""A stand-in for the board's lgpio module that writes down every call.

Names and signatures are lgpio 0.2's, as gpiozero 2.0 calls them. Nothing here ran on a board.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from types import ModuleType

import pytest
from gpiozero.pins.local import LocalPiFactory


class StandIn(ModuleType):
    """`calls` is the whole history; a line in `dead` refuses, a line in `tied` keeps its level."""

    BOTH_EDGES, RISING_EDGE, FALLING_EDGE = 3, 1, 2
    HANDLE = 7  # of the one chip
    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64

    class error(Exception):  # noqa: N801 - lgpio's own name
        """lgpio's own error."""

    def __init__(self) -> None:
        super().__init__("lgpio")
        self.calls: list[tuple[str, int, int]] = []
        self.levels: dict[int, int] = {}
        self.outputs: set[int] = set()
        self.dead: set[int] = set()
        self.tied: dict[int, int] = {}
        self.chips: list[int] = []
        self.watched: dict[int, Callable[[int, int, int, int], None]] = {}

    def gpiochip_open(self, chip: int) -> int:
        self.chips.append(chip)
        if chip == 99:
            raise self.error("can not open gpiochip")
        return self.HANDLE

    def gpiochip_close(self, handle: int) -> None:
        self.calls.append(("close chip", handle, 0))

    def gpio_claim_input(self, handle: int, number: int, flags: int = 0) -> None:
        self._live(handle, number)
        self.calls.append(("claim input", number, flags))
        self.outputs.discard(number)

    def gpio_claim_output(self, handle: int, number: int, level: int = 0, flags: int = 0) -> None:
        self._live(handle, number)
        self.calls.append(("claim output", number, level))
        self.outputs.add(number)
        self.levels[number] = level

    def gpio_write(self, handle: int, number: int, level: int) -> None:
        self._live(handle, number)
        self.calls.append(("write", number, int(level)))
        self.levels[number] = int(level)

    def gpio_read(self, handle: int, number: int) -> int:
        self._live(handle, number)
        return self.tied.get(number, self.levels.get(number, 0))

    def gpio_get_mode(self, handle: int, number: int) -> int:
        return 2 if number in self.outputs else 0

    def gpio_free(self, handle: int, number: int) -> None:
        self.calls.append(("free", number, 0))

    def gpio_set_debounce_micros(self, handle: int, number: int, micros: int) -> None:
        self.calls.append(("debounce", number, micros))

    def gpio_claim_alert(self, handle: int, number: int, edges: int, flags: int = 0) -> None:
        self._live(handle, number)
        self.calls.append(("claim alert", number, edges))

    def callback(
        self, handle: int, number: int, edges: int, tell: Callable[[int, int, int, int], None]
    ) -> None:
        self.watched[number] = tell

    def edge(self, number: int, level: int, at_ns: int) -> None:
        """The kernel saw the line change at that moment."""
        self.levels[number] = level
        self.watched[number](self.HANDLE, number, level, at_ns)

    def _live(self, handle: int, number: int) -> None:
        if handle != self.HANDLE:
            raise self.error("unknown handle")
        if number in self.dead:
            raise self.error("GPIO busy")


def on_a_known_board(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    """gpiozero's lgpio factory over a stand-in, on a board of a known kind; for a fixture."""
    stand_in = StandIn()
    monkeypatch.setitem(sys.modules, "lgpio", stand_in)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setattr(LocalPiFactory, "_get_revision", lambda self: 0xA02082)
    monkeypatch.setattr(LocalPiFactory, "pins", {})
    yield stand_in
    sys.modules.pop("gpiozero.pins.lgpio", None)
    LocalPiFactory._reservations.clear()
    gc.collect()  # here, and not while another test takes a pin or lets one go
