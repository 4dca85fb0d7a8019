"""Faults as small classes, for the daemon's tests."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.clock import Clock
from controller.daemon.host.process import Folders
from controller.daemon.service import StandIns, run_service
from controller.errors import ValveFault
from controller.garden.model import Garden
from controller.garden.plumbing import Opening
from controller.units import m3_s_from_l_min
from support.daemon import MORNING
from support.gardens import a_garden, a_row, a_zone
from support.pins import RecordingPins

TINY_GARDEN = """
[site]
name = "Invented corner"
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"

[supply]
static_pressure = "48 psi"
flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }

[[bed]]
name = "bed"
length = "12 ft"
width = "4 ft"
soil = "loam"

[[zone]]
name = "leeks"
bed = "bed"
main_run = "18 ft"
valve = { relay = 17, kind = "direct" }
row = [ { length = "11 ft", every = "6 in", bore = "1/16 in" } ]
planting = [ { crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 } ]
"""


class FaultyPins(RecordingPins):
    """Pins of which single lines can be made to fail: driven on, driven off, or by sticking on."""

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock)
        self.fails_on: set[int] = set()
        self.fails_off: set[int] = set()
        self.sticks: set[int] = set()
        self.taken: list[int] = []  # each claim, in their order

    def claim(self, number: int, active_low: bool) -> None:
        super().claim(number, active_low)
        self.taken.append(number)

    def write(self, number: int, on: bool) -> None:
        if number in (self.fails_on if on else self.fails_off):
            raise ValveFault(f"line {number} does not answer")
        if not on and number in self.sticks and self.read(number):
            return  # told, and not done
        super().write(number, on)


class Locked:
    """Another program that keeps the logbook locked."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)

    def __enter__(self) -> None:
        self._connection.execute("BEGIN IMMEDIATE")

    def __exit__(self, *_: object) -> None:
        self._connection.execute("ROLLBACK")
        self._connection.close()


def a_slow_garden(*names_and_lines: tuple[str, int]) -> Garden:
    """Throttled zones: minutes of water a day, so that something can happen in between."""
    names_and_lines = names_and_lines or (("a", 17),)
    zones = [
        a_zone(
            name,
            line,
            rows=(a_row(8.0, wetted_width_m=0.6),),
            opening=Opening(alone_flow_m3_s=m3_s_from_l_min(3.0)),
        )
        for name, line in names_and_lines
    ]
    return a_garden(*zones, watering=MORNING)


def run_here(
    folder: Path,
    *,
    runtime: Path | None = None,
    leave: Callable[[int], object] | None = None,
    **stand_ins: Any,
) -> int:
    """A daemon in this process, all its files in one folder, on pretended pins unless told."""
    folders = Folders(state=folder, runtime=runtime or folder, own=folder)
    return run_service(
        folder / "garden.toml",
        folders,
        pins="mock",
        environ={},
        stand_ins=StandIns(**stand_ins),
        leave=leave,
    )
