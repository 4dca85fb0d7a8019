"""A call that hangs at one line: the other lines close in time, and that one is told of and barred.

Real threads and real time, some tenths of a second each.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import pytest
from support.clock import HandClock
from support.pins import Hangs, ball, limits, shut_because, stuck
from support.until import until

from controller.clock import SystemClock
from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, Before, What
from controller.valves.closer import HANGS_S, Closer, Findings, Supervisor
from controller.valves.line import LineLimits, MasterLimits, State
from controller.valves.pins import TimedPins

# real time: calls that hang are looked at so long apart, in threads of their own

HANGING, OTHER, THIRD, MASTER = 5, 6, 7, 4
OPENER, SHUTTER = 20, 21
# A call is waited for 0.1 s here, the rest is the machine's. Without it they would never close.
LATE_S = 20.0


class Set:
    """A bank on pins that may hang, its closer's thread, and its supervisor."""

    def __init__(self, *lines: LineLimits, master: MasterLimits | None = None) -> None:
        self.clock = SystemClock()
        self.pins = Hangs(self.clock)
        self.pins.pairs = ((OPENER, SHUTTER),)
        self.timed = TimedPins(self.pins, self.clock, looks=10, look_s=0.01)
        self.records: list[BankRecord] = []
        known = lines or (limits(HANGING), limits(OTHER), limits(THIRD))
        self.bank = Bank(
            known,
            self.timed,
            self.clock,
            self.records.append,
            Before(shut=[line.number for line in known]),
            master=master,
            glance=self.timed.glance,
        )
        self.closer = Closer(self.bank, self.clock)
        self.supervisor = Supervisor(self.bank, self.closer, self.clock, hanging=self.timed.hanging)
        self.closer.start()

    def off_at(self, number: int) -> float:
        until(lambda: self.pins.moves_of(number) and not self.pins.moves_of(number)[-1][1])
        return self.pins.moves_of(number)[-1][0]

    def end(self) -> None:
        self.pins.hangs.clear()
        self.pins.come_back.set()
        until(lambda: not self.timed.hanging())
        self.bank.shut_down("the test is over")
        assert self.closer.stop(at_most_s=30.0)
        self.timed.release_all()


@pytest.fixture
def made() -> Iterator[Callable[..., Set]]:
    sets: list[Set] = []

    def new(*lines: LineLimits, **more: MasterLimits) -> Set:
        sets.append(Set(*lines, **more))
        return sets[-1]

    yield new
    for each in sets:
        each.end()


def test_the_others_close_at_their_deadlines_while_a_closing_hangs(
    made: Callable[..., Set],
) -> None:
    s = made()
    s.pins.hangs.add((HANGING, "off"))
    due = s.bank.open(HANGING, for_s=0.2)
    others = {OTHER: s.bank.open(OTHER, for_s=0.2), THIRD: s.bank.open(THIRD, for_s=1.5)}
    for number, deadline in others.items():
        assert -0.01 < s.off_at(number) - deadline < LATE_S
        assert s.bank.states()[number] is State.CLOSED
    assert s.pins.really_on(HANGING)
    assert s.bank.states()[HANGING] is State.STUCK
    (fault,) = [r for r in s.records if r.what is What.FAULT]
    assert fault.number == HANGING and fault.mono_s - due < LATE_S
    assert fault.words == (
        f"does not close: the pin driver does not come back from driving off line {HANGING}"
    )
    with pytest.raises(ValveRefused, match="it did not close on command"):
        s.bank.open(HANGING, for_s=1.0)


def test_a_person_closes_another_line_at_once_while_a_closing_hangs(
    made: Callable[..., Set],
) -> None:
    s = made()
    s.pins.hangs.add((HANGING, "off"))
    s.bank.open(OTHER, for_s=300.0)
    s.bank.open(HANGING, for_s=0.05)
    assert s.pins.entered.acquire(timeout=30.0)
    begun_s = s.clock.mono_s()
    s.bank.close(OTHER, "a person closed it")
    assert s.off_at(OTHER) - begun_s < LATE_S
    with pytest.raises(
        ValveFault, match="did not close, and gets the command again: the pin driver"
    ):
        s.bank.close(HANGING, "a person closed it")


def test_an_opening_that_hangs_opens_nothing_and_holds_up_nobody(made: Callable[..., Set]) -> None:
    s = made()
    s.pins.hangs.update({(HANGING, "on"), (HANGING, "off")})
    due = s.bank.open(OTHER, for_s=0.3)
    with pytest.raises(ValveFault, match=f"does not come back from driving on line {HANGING}"):
        s.bank.open(HANGING, for_s=60.0)
    assert s.off_at(OTHER) - due < LATE_S
    assert s.bank.states()[HANGING] is State.STUCK
    # It comes through after all: off again at once, and barred until somebody has looked.
    s.pins.hangs.clear()
    s.pins.come_back.set()
    until(lambda: s.bank.states()[HANGING] is State.BARRED)
    assert not s.pins.really_on(HANGING)
    assert [on for _, on in s.pins.moves_of(HANGING)][-2:] == [True, False]
    on_s, off_s = (at for at, _ in s.pins.moves_of(HANGING)[-2:])
    assert off_s - on_s < LATE_S


def test_a_line_that_cannot_be_had_at_the_start_holds_up_no_other(
    made: Callable[..., Set],
) -> None:
    clock = SystemClock()
    pins = Hangs(clock)
    pins.hangs.add((HANGING, "claim"))
    timed = TimedPins(pins, clock, looks=5, look_s=0.01)
    bank = Bank((limits(HANGING), limits(OTHER)), timed, clock, lambda _: None)
    assert bank.states() == {HANGING: State.STUCK, OTHER: State.CLOSED}
    bank.open(OTHER, for_s=1.0)
    bank.shut_down("the test is over")
    assert not pins.really_on(OTHER)
    pins.come_back.set()
    until(lambda: not timed.hanging())
    timed.release_all()


def test_with_a_master_the_water_is_off_though_the_line_hangs(made: Callable[..., Set]) -> None:
    s = made(master=MasterLimits(number=MASTER, active_low=True))
    s.pins.hangs.add((HANGING, "off"))
    s.bank.open(OTHER, for_s=300.0)
    due = s.bank.open(HANGING, for_s=0.1)
    # The master shuts what does not shut, and all others with it.
    assert s.off_at(MASTER) - due < LATE_S
    assert s.off_at(OTHER) - due < LATE_S
    assert s.bank.states()[HANGING] is State.STUCK


class InHand:
    """A ball that stays beside two valves that snap, in hand-turned time; only hanging is real."""

    def __init__(self) -> None:
        self.clock = HandClock()
        self.pins = Hangs(self.clock)
        self.pins.pairs = ((OPENER, SHUTTER),)
        self.timed = TimedPins(self.pins, self.clock, looks=5, look_s=0.01)
        self.records: list[BankRecord] = []
        self.bank = Bank(
            (ball(OPENER, SHUTTER), limits(OTHER), limits(HANGING)),
            self.timed,
            self.clock,
            self.records.append,
            Before(shut=(OPENER, OTHER)),
            glance=self.timed.glance,
        )
        self.closer = Closer(self.bank, self.clock)
        self.supervisor = Supervisor(self.bank, self.closer, self.clock, hanging=self.timed.hanging)

    def pass_s(self, seconds: float) -> Findings:
        found = Findings()
        for _ in range(round(seconds)):
            self.clock.advance(1.0)
            self.closer.round()
            found = self.supervisor.check()
        return found

    def come_back(self) -> None:
        self.pins.hangs.clear()
        self.pins.come_back.set()
        until(lambda: not self.timed.hanging())

    def state(self) -> State:
        return self.bank.states()[OPENER]


@pytest.fixture
def hand() -> Iterator[InHand]:
    made = InHand()
    yield made
    made.come_back()
    made.timed.release_all()


@pytest.mark.parametrize("times", [1.0, 2.0])
def test_a_ball_whose_driving_on_hangs_is_not_driven_shut_before_it_is_back(
    hand: InHand, times: float
) -> None:
    hand.pins.hangs.update({(OPENER, "on"), (OPENER, "off")})
    hand.pins.times = times
    with pytest.raises(ValveFault):
        hand.bank.open(OPENER, for_s=60.0)
    hand.pass_s(30.0)  # it is told to shut again and again
    assert hand.state() is State.STUCK
    assert not hand.pins.moves_of(SHUTTER)  # the opening may still come through
    hand.come_back()
    hand.pass_s(1.0)
    assert hand.pins.really_on(SHUTTER) and not hand.pins.really_on(OPENER)
    hand.pass_s(10.0)
    assert hand.state() is State.BARRED
    assert not hand.pins.both_on and not hand.pins.really_on(SHUTTER)


def test_a_ball_whose_driving_off_hangs_is_driven_shut_once_it_is_known_to_be_off(
    hand: InHand,
) -> None:
    hand.bank.open(OPENER, for_s=5.0)
    hand.pins.hangs.add((OPENER, "off"))
    hand.pins.times = 1
    hand.clock.advance(5.0)
    hand.closer.round()
    assert hand.state() is State.STUCK and hand.pins.really_on(OPENER)
    hand.closer.round()
    assert hand.timed.hanging() and not hand.pins.really_on(OPENER)
    assert hand.pins.really_on(SHUTTER)
    hand.come_back()  # late: it drives off what is off
    hand.pass_s(10.0)
    assert hand.state() is State.BARRED
    assert not hand.pins.both_on and not hand.pins.really_on(SHUTTER)


def test_a_ball_whose_close_line_hangs_opens_no_more(hand: InHand) -> None:
    hand.pins.hangs.add((SHUTTER, "on"))
    hand.bank.open(OPENER, for_s=5.0)
    hand.pass_s(5.0)
    assert hand.state() is State.STUCK and not hand.pins.really_on(OPENER)
    with pytest.raises(ValveRefused):
        hand.bank.open(OPENER, for_s=1.0)
    hand.bank.open(OTHER, for_s=1.0)
    hand.pass_s(1.0)
    assert not hand.pins.really_on(OTHER)
    hand.come_back()
    hand.pass_s(1.0)
    assert hand.pins.really_on(SHUTTER)
    hand.pass_s(10.0)
    assert hand.state() is State.BARRED and not hand.pins.both_on


def test_a_ball_whose_close_line_does_not_let_go_is_not_driven_open(hand: InHand) -> None:
    hand.pins.hangs.add((SHUTTER, "off"))
    with pytest.raises(ValveFault, match=f"driving off line {SHUTTER}"):
        hand.bank.open(OPENER, for_s=60.0)
    assert not hand.pins.moves_of(OPENER)


def test_a_reading_that_hangs_holds_up_no_closing(made: Callable[..., Set]) -> None:
    s = made()
    s.pins.hangs.add((HANGING, "read"))
    due = s.bank.open(OTHER, for_s=0.2)
    with pytest.raises(ValveFault, match="does not come back from reading"):
        s.bank.open(HANGING, for_s=60.0)
    assert s.off_at(OTHER) - due < LATE_S
    assert not s.pins.really_on(HANGING)


def test_a_look_that_hangs_holds_up_no_closing(made: Callable[..., Set]) -> None:
    s = made()
    s.pins.hangs.add((HANGING, "read"))
    s.pins.times = 1
    looking = threading.Thread(target=s.supervisor.check, daemon=True)
    looking.start()
    assert s.pins.entered.acquire(timeout=30.0)
    due = s.bank.open(OTHER, for_s=0.2)
    assert s.off_at(OTHER) - due < LATE_S
    assert looking.is_alive()
    s.pins.come_back.set()
    looking.join(30.0)
    assert not looking.is_alive()


# --- the supervisor -------------------------------------------------------------------------------


def test_where_a_thread_is_lost_the_line_is_shut_by_another_and_barred(hand: InHand) -> None:
    hand.pins.hangs.add((HANGING, "off"))
    hand.pins.times = 1
    hand.bank.open(HANGING, for_s=5.0)
    hand.clock.advance(5.0)
    hand.closer.round()
    assert hand.bank.states()[HANGING] is State.STUCK and hand.pins.really_on(HANGING)
    hand.closer.round()  # told again
    assert hand.bank.states()[HANGING] is State.BARRED and not hand.pins.really_on(HANGING)
    assert hand.records[-1].words == "off at last; barred until it is reset"


WORDS = f"the pin driver has not come back from line {HANGING} for 5 s"


def test_a_line_that_hangs_and_is_not_known_to_be_off_ends_the_process_soon(hand: InHand) -> None:
    hand.pins.hangs.add((HANGING, "off"))
    hand.bank.open(OTHER, for_s=300.0)
    hand.bank.open(HANGING, for_s=1.0)
    found = hand.pass_s(1.0 + HANGS_S)
    assert found.sound and stuck(hand.bank) == (HANGING,)
    assert hand.pins.really_on(OTHER)
    found = hand.pass_s(1.0)
    assert found.faults == (WORDS,) and not found.sound
    assert stuck(hand.bank) == (HANGING,)
    assert shut_because(hand.bank) == WORDS
    assert not hand.pins.really_on(OTHER)
    hand.come_back()
    assert hand.pass_s(1.0).faults == (WORDS,)  # it is not forgotten


def test_where_it_is_known_to_be_off_the_others_end_their_openings_first(hand: InHand) -> None:
    hand.pins.hangs.add((HANGING, "off"))
    hand.pins.times = 1
    hand.bank.open(OTHER, for_s=300.0)
    hand.bank.open(HANGING, for_s=1.0)
    assert hand.pass_s(200.0).sound
    assert hand.bank.states()[HANGING] is State.BARRED and hand.pins.really_on(OTHER)
    hand.bank.close(OTHER, "its water has passed")
    assert hand.pass_s(1.0).faults == (WORDS,)


class Told:
    """A supervisor in hand-turned time, told of what hangs."""

    def __init__(self) -> None:
        self.clock, self.hanging = HandClock(), dict[int, float]()
        self.bank = Bank((limits(5),), Hangs(self.clock), self.clock, lambda _: None)
        self.closer = Closer(self.bank, self.clock)
        self.supervisor = Supervisor(
            self.bank, self.closer, self.clock, hanging=lambda: self.hanging
        )

    def after_s(self, seconds: float) -> tuple[str, ...]:
        while seconds > 0.0:
            self.clock.advance(min(seconds, 1.0))
            seconds -= 1.0
            self.closer.round()
            faults = self.supervisor.check().faults
        return faults


def test_how_long_a_call_may_hang_before_the_process_ends() -> None:
    told = Told()
    assert HANGS_S == 5.0
    told.hanging |= {6: told.clock.mono, 5: told.clock.mono}
    assert told.after_s(5.0) == ()
    assert told.after_s(1.0) == ("the pin driver has not come back from line 5, line 6 for 5 s",)


def test_a_call_that_came_back_in_time_ends_nothing() -> None:
    told = Told()
    told.hanging[5] = told.clock.mono
    assert told.after_s(4.0) == ()
    told.hanging.clear()
    assert told.after_s(60.0) == ()


def test_a_look_reads_without_the_lock_and_again_with_it() -> None:
    clock = HandClock()
    pins = Hangs(clock)
    glanced: list[int] = []

    def glance(number: int) -> bool:
        assert not bank._changed._is_owned()  # type: ignore[attr-defined]
        glanced.append(number)
        return number == 5  # 5 seems to be on

    bank = Bank((limits(5), limits(6)), pins, clock, lambda _: None, glance=glance)
    pins.calls.clear()
    assert bank.look() == ()  # with the lock it is read as off: it was only told meanwhile
    assert glanced == [5, 6]
    assert pins.calls == [(5, "read")]
    pins._on[5] = pins._on[6] = True
    assert bank.look() == (5,)  # 6 was not suspected
    assert bank.states() == {5: State.BARRED, 6: State.CLOSED}


def test_a_line_that_cannot_be_glanced_at_is_read_with_the_lock() -> None:
    def glance(number: int) -> bool:
        raise ValveFault("a call hangs")

    clock = HandClock()
    pins = Hangs(clock)
    bank = Bank((limits(5), limits(6)), pins, clock, lambda _: None, glance=glance)
    pins._on[6] = True
    assert bank.look() == (6,)


def test_a_bank_that_was_given_away_during_a_look_touches_no_pin() -> None:
    clock = HandClock()
    pins = Hangs(clock)

    def glance(number: int) -> bool:
        bank.retire()
        return True

    bank = Bank((limits(5),), pins, clock, lambda _: None, glance=glance)
    pins.calls.clear()
    assert bank.look() == ()
    assert pins.calls == []
