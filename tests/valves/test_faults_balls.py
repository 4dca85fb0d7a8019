"""Every fault of either line of a ball at every moment: never both lines on, never a running valve
taken for a shut one, and the line beside it never notices."""

from __future__ import annotations

import contextlib
from enum import StrEnum

import pytest
from support.clock import HandClock
from support.pins import (
    AlwaysReadsOff,
    AlwaysReadsOn,
    BadPins,
    ClaimThrows,
    OffThrows,
    OnThrows,
    OnThrowsTooLate,
    ReadThrows,
    SticksOff,
    SticksOn,
    ball,
    limits,
)

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, What
from controller.valves.closer import Closer, Supervisor
from controller.valves.line import State

OPENER, SHUTTER, GOOD = 5, 15, 6
OPENS_S, SHUTS_S = 10.0, 8.0


class Moment(StrEnum):
    """When the fault begins."""

    START = "at start"
    OPENING = "opening"
    RESTING = "resting"
    CLOSING = "closing"
    SHUT = "shut"


FAULTS: list[type[BadPins]] = [
    ClaimThrows,
    OnThrows,
    OnThrowsTooLate,
    OffThrows,
    SticksOn,
    SticksOff,
    AlwaysReadsOff,
    AlwaysReadsOn,
    ReadThrows,
]
# A read-back that lies makes the bank believe a line is off that is on, or a valve shut that nobody
# drives: no program can know better.
LIES = {AlwaysReadsOff}


def _stands(pins: BadPins, stands: float, seconds: float) -> float:
    towards = pins.really_on(OPENER) / OPENS_S - pins.really_on(SHUTTER) / SHUTS_S
    return min(1.0, max(0.0, stands + seconds * towards))


@pytest.mark.parametrize("moment", Moment)
@pytest.mark.parametrize("line", [OPENER, SHUTTER], ids=["open line", "close line"])
@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_at_every_moment_ends_alike(
    fault: type[BadPins], line: int, moment: Moment
) -> None:
    clock = HandClock()
    pins, records = fault(clock), list[BankRecord]()
    pins.pairs = ((OPENER, SHUTTER),)
    if moment is Moment.START:
        pins.bad.add(line)
    bank = Bank((ball(OPENER, SHUTTER), limits(GOOD)), pins, clock, records.append)
    closer = Closer(bank, clock)
    supervisor = Supervisor(bank, closer, clock)
    begins = {Moment.RESTING: 35, Moment.CLOSING: 64, Moment.SHUT: 90}
    stands = 1.0  # nobody knows at the start: take it for open
    for second in range(1, 131):
        clock.advance(1.0)
        stands = _stands(pins, stands, 1.0)
        if second == 20:
            if moment is Moment.OPENING:
                pins.bad.add(line)
            with contextlib.suppress(ValveFault, ValveRefused):
                bank.open(OPENER, for_s=40.0)
            bank.open(GOOD, for_s=30.0)
        if second == begins.get(moment):
            pins.bad.add(line)
        closer.round()
        assert supervisor.check().sound
        if fault not in LIES:
            assert bank.is_open(OPENER) or stands == 0.0
            assert pins.both_on == []

    # The line beside it was opened and closed to the second.
    assert pins.moves_of(GOOD) == [(1020.0, True), (1050.0, False)]
    beside = [(r.what, r.state, r.open_s) for r in records if r.number == GOOD]
    assert beside == [(What.OPENED, State.OPEN, 0.0), (What.CLOSED, State.CLOSED, 30.0)]
    faults = [r for r in records if r.number == OPENER and r.what is What.FAULT]
    assert len(faults) <= 1  # once, however often it was tried again
    if bank.states()[OPENER] is not State.CLOSED:
        assert len(faults) == 1

    # Somebody mends it: driven shut within a closing time, barred until the reset, then as new.
    pins.bad.clear()
    for _ in range(13):
        clock.advance(1.0)
        stands = _stands(pins, stands, 1.0)
        closer.round()
        supervisor.check()
    assert bank.states()[OPENER] in (State.CLOSED, State.BARRED)
    if fault not in LIES:
        assert stands == 0.0
    assert not pins.really_on(OPENER) and not pins.really_on(SHUTTER)
    bank.reset(OPENER)
    bank.open(OPENER, for_s=20.0)
    assert pins.really_on(OPENER)
    for _ in range(31):
        clock.advance(1.0)
        closer.round()
    assert bank.states()[OPENER] is State.CLOSED
    if fault not in LIES:
        assert pins.both_on == []
