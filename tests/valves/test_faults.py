"""Every fault at every moment ends alike: what obeys is off by its deadline, the fault is told, and
the line beside it never notices."""

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
    GoodPins,
    OffThrows,
    OnThrows,
    OnThrowsTooLate,
    ReadThrows,
    SticksOff,
    SticksOn,
    limits,
)

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, What
from controller.valves.closer import Closer, Supervisor
from controller.valves.line import State

BAD, GOOD = 5, 6
OPEN_S = {BAD: 20, GOOD: 30}


class Moment(StrEnum):
    """When the fault begins."""

    START = "at start"
    OPENING = "opening"
    OPEN = "open"
    CLOSING = "closing"


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
    GoodPins,
]
# A fault that begins when it can no longer matter leaves an opening like any other.
ON_ONLY = {OnThrows, OnThrowsTooLate, SticksOff}
UNSEEN = {
    *((fault, moment) for fault in ON_ONLY for moment in (Moment.OPEN, Moment.CLOSING)),
    *((ClaimThrows, moment) for moment in Moment if moment is not Moment.START),
    (AlwaysReadsOff, Moment.CLOSING),
    *((GoodPins, moment) for moment in Moment),
}
# Off cannot be made to happen while these last; nobody can. The bank must know, and go on trying.
DISOBEYS_OFF = {OffThrows, SticksOn}


@pytest.mark.parametrize("moment", Moment)
@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_at_every_moment_ends_alike(fault: type[BadPins], moment: Moment) -> None:
    clock = HandClock()
    pins, records = fault(clock), list[BankRecord]()
    if moment is Moment.START:
        pins.bad.add(BAD)
    bank = Bank((limits(BAD), limits(GOOD)), pins, clock, records.append)
    closer = Closer(bank, clock)
    supervisor = Supervisor(bank, closer, clock)
    if moment is Moment.OPENING:
        pins.bad.add(BAD)
    for number, open_s in OPEN_S.items():
        with contextlib.suppress(*([ValveFault, ValveRefused] if number == BAD else [])):
            bank.open(number, for_s=open_s)
    if moment is Moment.OPEN:
        pins.bad.add(BAD)
    for second in range(1, 41):
        clock.advance(1.0)
        if moment is Moment.CLOSING and second == OPEN_S[BAD]:
            pins.bad.add(BAD)
        closer.round()
        assert supervisor.check().sound
        if second >= OPEN_S[BAD] and fault not in DISOBEYS_OFF:
            assert not pins.really_on(BAD)
        if pins.really_on(BAD):
            assert bank.is_open(BAD)  # the bank never takes a running line for a closed one

    # The line beside it was opened and closed to the second.
    assert pins.moves_of(GOOD) == [(1000.0, True), (1030.0, False)]
    beside = [(r.what, r.state, r.open_s) for r in records if r.number == GOOD]
    assert beside == [(What.OPENED, State.OPEN, 0.0), (What.CLOSED, State.CLOSED, 30.0)]

    faults = [r for r in records if r.number == BAD and r.what is What.FAULT]
    if (fault, moment) in UNSEEN:
        assert faults == []
        assert bank.states()[BAD] is State.CLOSED
        assert pins.moves_of(BAD) == [(1000.0, True), (1020.0, False)]
        return
    assert len(faults) == 1  # once, however often it was tried again
    assert bank.states()[BAD] in (State.STUCK, State.BARRED)
    with pytest.raises(ValveRefused):
        bank.open(BAD, for_s=1.0)

    # Somebody mends it: off at the next round, closed to openings until the reset, then as new.
    pins.bad.clear()
    clock.advance(1.0)
    closer.round()
    assert not pins.really_on(BAD)
    assert bank.states()[BAD] is State.BARRED
    bank.reset(BAD)
    bank.open(BAD, for_s=5.0)
    assert pins.really_on(BAD)
    clock.advance(5.0)
    assert closer.round() == (BAD,)
    assert not pins.really_on(BAD)


def test_the_unseen_cells_are_few_and_the_rest_were_seen() -> None:
    assert len(FAULTS) * len(Moment) - len(UNSEEN) == 26
