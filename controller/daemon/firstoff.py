"""Before anything is read: the lines of the run before are driven off, and held off.

The stop step's line file names them; it is small, and lies in the daemon's own folder. The garden
file may lie on a disk that does not answer, and the logbook may take long to look through: no line
may stay on for either. The pins that hold the lines off here are those of the bank that comes
after, so no line floats in between.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

from controller.clock import Clock
from controller.daemon.waterworks import Waterworks
from controller.errors import RowgateError, ValveFault
from controller.valves.alloff import Ball, Known, read_line_file
from controller.valves.limits import DAY_S, LineLimits, travel_s
from controller.valves.pins import PinDriver
from controller.valves.relay import GpioPins
from controller.valves.states import State
from controller.valves.tell import BankRecord

_LOG = logging.getLogger("rowgate")


class Held:
    """The lines of the run before, held off by the pins they hang on."""

    def __init__(self, known: Known, driver: PinDriver, works: Waterworks) -> None:
        self.driver, self.works, self._known = driver, works, known

    def is_of(self, kind: str, named_chip: int | None) -> bool:
        """Whether a garden that names these pins and this chip means the same board."""
        return (self._known.pins, self._known.named_chip) == (kind, named_chip)

    def let_go(self, meanwhile: Callable[[], None]) -> bool:
        """Wait until balls are shut, and give chip and lines back; whether all are shut."""
        failed = self.works.end("the pins are given back", meanwhile)
        try:
            self.works.release_all()
            if isinstance(self.driver, GpioPins) and not self.works.hanging():
                self.driver.close()
        except ValveFault as fault:
            _LOG.error("%s", fault)
            return False
        return not failed


def hold_known_lines(
    line_file: Path,
    clock: Clock,
    record: Callable[[BankRecord], None],
    driver: PinDriver | None = None,
) -> Held | None:
    """Drive every line off that the run before may have left on; None where none is known.

    Nothing here ends a start: what fails is logged, and tried again with the garden's own lines.
    """
    try:
        known = read_line_file(line_file)
    except FileNotFoundError:
        return None  # no line was ever taken
    except Exception as fault:  # noqa: BLE001 - whatever is in the file; the garden's own come next
        _LOG.error("%s is not used, so no line is driven off yet: %s", line_file, fault)
        return None
    try:
        pins = driver or GpioPins(known.pins, known.chip)  # type: ignore[arg-type]
        works = Waterworks(pins, clock, line_file, record, chip=known.named_chip, kind=known.pins)
        try:
            works.keep_off(_limits(known, known.balls))
        except RowgateError as fault:  # what is told of the balls cannot be
            _LOG.error("%s: no valve is driven shut yet: %s", line_file, fault)
            works.keep_off(_limits(known, []))
    except RowgateError as fault:
        _LOG.error("the lines of the run before cannot be driven off yet: %s", fault)
        return None
    for number, state in works.bank.states().items():
        if state is State.STUCK:
            _LOG.error("line %d of the run before is not known to be off", number)
    return Held(known, pins, works)


def _limits(known: Known, balls: list[Ball]) -> list[LineLimits]:
    """The valves of the line file, the master first, as it is there. None of them ever opens."""
    closers = {opens: (closes, for_s) for opens, closes, for_s in balls}
    only_close = {closes for _, closes, _ in balls} - set(closers)
    found = []
    for number, off_level in known.off_levels.items():
        if number in only_close:
            continue
        closes, for_s = closers.get(number, (None, 0.0))
        found.append(
            LineLimits(
                number=number,
                active_low=off_level == 1,
                longest_open_s=DAY_S,
                most_open_s_per_day=DAY_S,
                close_number=closes,
                opens_in_s=travel_s(for_s),
                closes_in_s=travel_s(for_s),
            )
        )
    return found
