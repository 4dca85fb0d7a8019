"""The board during a walk: its lines have the daemon's limits, and all are shut at the end."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from controller.cli.output import to_stderr
from controller.cli.walk.guard import Guard
from controller.clock import Clock
from controller.daemon.garden_reload import Accepted
from controller.daemon.valve_set import LINE_FILE, ValveSet, limits_of, master_of
from controller.errors import DaemonError, ValveFault
from controller.valves.alloff import write_line_file
from controller.valves.bank import Bank
from controller.valves.gpio import GpioInputs, GpioPins
from controller.valves.pins import InputDriver, PinDriver, PulseCounter


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The pins, the input pins, and the name of the driver."""

    pins: PinDriver
    inputs: InputDriver | None
    kind: str


def open_board(kind: str, chip: int | None, clock: Clock, own: Path) -> Board:
    """The board's pins, or pretended ones."""
    if kind != "mock" and not os.access(".", os.W_OK):
        os.chdir(own)  # lgpio makes a FIFO where it is imported
    pins = GpioPins(kind, chip)  # type: ignore[arg-type]  # it names what it takes
    return Board(pins=pins, inputs=GpioInputs(pins, clock), kind=kind)


class Bench:
    """A bank with its closer, its supervisor, and a guard in case this process dies.

    Entering drives every line off. Leaving shuts every line; a signal does not interrupt it.
    """

    def __init__(
        self,
        board: Board,
        accepted: Accepted,
        own: Path,
        clock: Clock,
        already_open_s: Mapping[int, float],
        *,
        threads: bool,
    ) -> None:
        self._board, self._accepted, self._already = board, accepted, already_open_s
        self._line_file = own / LINE_FILE
        self._valve_set = ValveSet(
            board.pins,
            clock,
            self._line_file,
            lambda record: None,
            chip=accepted.garden.board.chip,
            kind=board.kind,
            threads=threads,
        )
        self._guard: Guard | None = None
        self._begun = False
        self.leaving = False  # from now on nothing breaks into the shutting
        self.other_level = False  # the relays are on at the level that should be off

    def __enter__(self) -> Bench:
        self._guard = Guard(self._line_file)
        try:
            self._valve_set.begin(self._accepted, self._already)
            self._begun = True
        except BaseException:
            self._leave()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._leave()

    @property
    def bank(self) -> Bank:
        """The lines."""
        return self._valve_set.bank

    def look(self) -> None:
        """Check the lines; `ValveFault` where they are not safe."""
        if self.leaving:
            return
        self._beat()
        found = self._valve_set.supervisor.check()
        if not found.sound:
            raise ValveFault("; ".join(found.faults))
        for line in found.faulty:
            to_stderr(f"line {line} was not as it should be, and was driven off; it opens no more")

    def meter(self, say: Callable[[str], None]) -> PulseCounter | None:
        """The garden's meter, counting; None without one."""
        meter = self._accepted.garden.meter
        if meter is None or self._board.inputs is None:
            return None
        counter = PulseCounter()
        try:
            self._board.inputs.watch(
                meter.line,
                active_low=meter.active_low,
                debounce_s=meter.debounce_s,
                on_edge=counter.edge,
            )
        except ValveFault as fault:
            say(f"The meter is not counted: {fault}")
            return None
        return counter

    def _beat(self) -> None:
        if self._guard is not None:
            self._guard.beat()

    def _beat_on(self) -> None:
        """Beat for the guard; a guard that is gone does not stop the shutting."""
        with contextlib.suppress(DaemonError):
            self._beat()

    def _leave(self) -> None:
        self.leaving = True
        failed = dict(self._valve_set.end("the walk is over", self._beat_on))
        with contextlib.suppress(Exception):  # a driver may raise anything; reported just below
            self._valve_set.release_all()
        for line, why in failed.items():
            to_stderr(f"line {line} does not shut: {why}; SHUT THE TAP")
        if self.other_level:
            self._turn_round()
        elif self._guard is not None and self._begun and not failed:
            self._guard.dismiss()

    def _turn_round(self) -> None:
        """Leave it to the guard to drive the other level at our end: with this board off is on.

        We cannot: our pin driver puts the pins back to rest when this process ends.
        """
        turned = [
            replace(limits, active_low=not limits.active_low)
            for limits in limits_of(self._accepted)
        ]
        master = master_of(self._accepted)
        masters = [] if master is None else [replace(master, active_low=not master.active_low)]
        chip = getattr(self._board.pins, "chip", None)
        if chip is None:
            chip = self._accepted.garden.board.chip
        named = self._accepted.garden.board.chip
        write_line_file(self._line_file, turned, self._board.kind, chip, masters, named_chip=named)
