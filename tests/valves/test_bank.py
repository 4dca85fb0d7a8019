"""The bank's rules: who may open, for how long, how often; and that all of it closes."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable

import pytest
from pytest import approx
from support.clock import HandClock
from support.pins import (
    BadPins,
    GoodPins,
    OffThrows,
    OnThrows,
    SticksOff,
    SticksOn,
    limits,
    next_deadline_mono_s,
    shut_because,
)

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, Before, What
from controller.valves.line import DAY_S, LineLimits, State

OPENED, CLOSED, FAULT, RESET = What.OPENED, What.CLOSED, What.FAULT, What.RESET


class Set:
    """A bank on a hand-turned clock, with its pins and its records."""

    def __init__(
        self,
        *lines: LineLimits,
        pins: type[BadPins] = GoodPins,
        already_open_s: dict[int, float] | None = None,
        record: Callable[[BankRecord], None] | None = None,
    ) -> None:
        self.clock = HandClock()
        self.pins = pins(self.clock)
        self.records: list[BankRecord] = []
        self.bank = Bank(
            lines or (limits(5), limits(6)),
            self.pins,
            self.clock,
            record or self.records.append,
            Before(open_s=already_open_s or {}),
        )

    def told(self) -> list[tuple[int, What, State, float]]:
        return [(r.number, r.what, r.state, r.open_s) for r in self.records]


def test_at_birth_every_line_is_off_and_closed() -> None:
    s = Set()
    assert s.bank.states() == {5: State.CLOSED, 6: State.CLOSED}
    assert not s.pins.really_on(5)
    assert not s.pins.really_on(6)
    assert next_deadline_mono_s(s.bank) is None
    assert s.bank.open_lines() == ()
    assert shut_because(s.bank) == ""


def test_an_opening_ends_at_its_deadline_and_not_before() -> None:
    s = Set()
    assert s.bank.open(5, for_s=90.0) == s.clock.mono + 90.0 == next_deadline_mono_s(s.bank)
    s.clock.advance(89.9)
    assert s.bank.close_due() == ()
    assert s.bank.is_open(5)
    s.clock.advance(0.1)
    assert s.bank.close_due() == (5,)
    # WORKED: opened at 1000 s, for 90 s.
    assert s.pins.moves_of(5) == [(1000.0, True), (approx(1090.0), False)]
    assert s.told() == [
        (5, OPENED, State.OPEN, 0.0),
        (5, CLOSED, State.CLOSED, approx(90.0)),
    ]
    assert s.records[1].words == "time is up"


def test_a_step_of_the_wall_clock_moves_no_deadline() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.clock.step_wall(-7200.0)
    s.clock.advance(60.0)
    assert s.bank.close_due() == (5,)
    assert s.records[-1].open_s == 60.0


def test_open_lines_say_since_when_and_until_when() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=90.0)
    s.clock.advance(10.0)
    (open_line,) = s.bank.open_lines()
    assert (open_line.opened_mono_s, open_line.deadline_mono_s) == (1000.0, 1090.0)
    assert (open_line.shut_mono_s, open_line.closed_mono_s) == (None, None)


def test_a_line_that_nobody_opened_and_nobody_can_shut_has_no_deadline() -> None:
    s = Set(pins=OffThrows)
    s.pins.bad.add(6)
    with pytest.raises(ValveFault):
        s.bank.close(6, "in doubt")
    (open_line,) = s.bank.open_lines()
    assert (open_line.number, open_line.state) == (6, State.STUCK)
    assert (open_line.opened_mono_s, open_line.deadline_mono_s) == (None, None)


def test_the_bank_tells_the_limits_of_each_of_its_lines() -> None:
    s = Set(limits(5, longest_s=60.0), limits(6, longest_s=90.0))
    assert s.bank.limits(6).longest_open_s == 90.0
    with pytest.raises(ValveRefused, match="no such line"):
        s.bank.limits(7)


def test_a_line_that_cannot_be_driven_off_at_the_start_is_told_before_anything_is_asked() -> None:
    records: list[BankRecord] = []
    clock = HandClock()
    pins = OffThrows(clock)
    pins.bad.add(6)
    Bank((limits(5), limits(6)), pins, clock, records.append)
    assert [(r.number, r.what, r.state) for r in records] == [(6, FAULT, State.STUCK)]
    assert records[0].words == "not off at the start: I/O error"


@pytest.mark.parametrize("asked", ["close_due", "shut_down", "look", "states"])
def test_without_a_patience_a_busy_bank_is_waited_for(asked: str) -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    held, go_on, outcome = threading.Event(), threading.Event(), list[object]()

    def hold() -> None:
        with s.bank._changed:
            held.set()
            assert go_on.wait(30.0)

    def ask() -> None:
        try:
            outcome.append(getattr(s.bank, asked)(*(["end"] if asked == "shut_down" else [])))
        except ValveFault as fault:
            outcome.append(fault)

    holder, asker = threading.Thread(target=hold), threading.Thread(target=ask)
    holder.start()
    assert held.wait(30.0)
    asker.start()
    asker.join(0.1)  # real time: that a thread waits shows only while time passes
    assert asker.is_alive() and outcome == []
    go_on.set()
    for thread in (holder, asker):
        thread.join(30.0)
    assert len(outcome) == 1 and not isinstance(outcome[0], ValveFault)


def test_a_wait_for_the_next_deadline_does_wait() -> None:
    # real time: a twentieth of a second; a closer that did not wait would never rest.
    s = Set()
    began_s = time.monotonic()
    s.bank.wait_until_due(0.05)
    assert time.monotonic() - began_s >= 0.04


def test_the_nearest_deadline_comes_first() -> None:
    s = Set()
    s.bank.open(5, for_s=90.0)
    s.bank.open(6, for_s=30.0)
    assert next_deadline_mono_s(s.bank) == 1030.0
    assert [(n.number, n.deadline_mono_s) for n in s.bank.open_lines()] == [(5, 1090), (6, 1030)]
    s.clock.advance(30.0)
    assert s.bank.close_due() == (6,)
    assert next_deadline_mono_s(s.bank) == 1090.0


def test_closing_early_tells_the_true_time() -> None:
    s = Set()
    s.bank.open(5, for_s=90.0)
    s.clock.advance(12.5)
    assert s.bank.close(5, "by hand") == 12.5
    assert s.told()[-1] == (5, CLOSED, State.CLOSED, 12.5)
    assert s.records[-1].words == "by hand"
    assert s.bank.close(5, "again") == 0.0
    assert len(s.records) == 2


@pytest.mark.parametrize(
    "for_s", [0.0, -1.0, math.nan, math.inf, -math.inf, 600.1, True, "60", None]
)
def test_an_opening_without_a_sound_end_is_refused(for_s: float) -> None:
    s = Set()
    with pytest.raises(ValveRefused, match="line 5 is not opened: found"):
        s.bank.open(5, for_s=for_s)
    assert s.pins.moves == []
    assert s.bank.states()[5] is State.CLOSED


def test_an_opening_as_long_as_it_may_be_is_opened_and_a_longer_one_is_told_the_limit() -> None:
    s = Set(limits(5, longest_s=600.0))
    with pytest.raises(ValveRefused, match=r"found 600\.5 s; .* more than 0 and at most 600 s"):
        s.bank.open(5, for_s=600.5)
    assert s.bank.open(5, for_s=600.0) == s.clock.mono + 600.0


def test_an_unknown_line_is_refused_and_the_known_ones_are_named() -> None:
    s = Set()
    with pytest.raises(ValveRefused, match="line 7: there is no such line; known are 5, 6"):
        s.bank.open(7, for_s=10.0)
    with pytest.raises(ValveRefused, match="no such line"):
        s.bank.close(7, "")


def test_a_bank_without_lines_knows_none() -> None:
    clock = HandClock()
    bank = Bank((), GoodPins(clock), clock, lambda _: None)
    with pytest.raises(ValveRefused, match="line 7: there is no such line; known are none"):
        bank.open(7, for_s=10.0)
    assert next_deadline_mono_s(bank) is None and bank.states() == {}


def test_an_open_line_is_not_opened_again_and_its_deadline_stands() -> None:
    s = Set()
    s.bank.open(5, for_s=30.0)
    s.clock.advance(10.0)
    with pytest.raises(ValveRefused, match="open already; an opening is never made longer"):
        s.bank.open(5, for_s=300.0)
    assert next_deadline_mono_s(s.bank) == 1030.0


def test_the_day_has_its_cap_and_it_rolls() -> None:
    # WORKED: a cap of 100 s. 60 s from t = 0, then 40 s from t = 1000: 100 s, full. The first
    # opening leaves the last 24 hours between t = 86400 and 86460; at 86430 half of it has left.
    s = Set(limits(5, day_s=100.0))
    begin = s.clock.mono
    s.bank.open(5, for_s=60.0)
    s.clock.advance(60.0)
    s.bank.close_due()
    with pytest.raises(ValveRefused, match=r"open 60.0 s in the last 24 hours, and 40.1 s more"):
        s.bank.open(5, for_s=40.1)
    s.clock.advance(940.0)
    s.bank.open(5, for_s=40.0)
    s.clock.advance(40.0)
    s.bank.close_due()
    assert s.bank.used_s(5) == approx(100.0)
    with pytest.raises(ValveRefused, match="would pass the 100 s it may have"):
        s.bank.open(5, for_s=0.1)
    s.clock.advance(begin + DAY_S + 30.0 - s.clock.mono)
    assert s.bank.used_s(5) == approx(70.0)
    with pytest.raises(ValveRefused):
        s.bank.open(5, for_s=30.1)
    s.bank.open(5, for_s=30.0)


def test_an_opening_under_way_counts_up_to_now_and_a_day_at_most() -> None:
    s = Set(limits(5), pins=SticksOn)
    s.bank.open(5, for_s=60.0)
    s.clock.advance(10.0)
    assert s.bank.used_s(5) == 10.0
    s.pins.bad.add(5)
    s.clock.advance(2 * DAY_S)  # it sticks on, and nobody comes
    assert s.bank.used_s(5) == DAY_S


def test_what_an_earlier_process_opened_counts_for_a_full_day() -> None:
    s = Set(limits(5, day_s=100.0), already_open_s={5: 80.0})
    with pytest.raises(ValveRefused, match=r"80.0 s in the last 24 hours"):
        s.bank.open(5, for_s=21.0)
    s.clock.advance(DAY_S - 1.0)
    with pytest.raises(ValveRefused):
        s.bank.open(5, for_s=21.0)
    s.clock.advance(1.0)
    s.bank.open(5, for_s=100.0)


@pytest.mark.parametrize("nonsense", [math.nan, -5.0, math.inf])
def test_an_earlier_time_that_makes_no_sense_counts_as_the_whole_day(nonsense: float) -> None:
    s = Set(limits(5), already_open_s={5: nonsense})
    with pytest.raises(ValveRefused, match="last 24 hours"):
        s.bank.open(5, for_s=1.0)


def test_a_line_that_stays_on_past_its_deadline_uses_up_its_day() -> None:
    s = Set(limits(5, day_s=100.0), pins=SticksOn)
    s.bank.open(5, for_s=30.0)
    s.pins.bad.add(5)
    s.clock.advance(99.0)
    s.bank.close_due()
    s.pins.bad.clear()
    s.bank.close_due()
    s.bank.reset(5)
    with pytest.raises(ValveRefused, match=r"open 99.0 s"):
        s.bank.open(5, for_s=2.0)


def test_two_valves_on_one_line_make_no_bank() -> None:
    with pytest.raises(ValveFault, match="same line"):
        Set(limits(5), limits(5))


def test_closing_all_gives_each_line_its_own_try() -> None:
    s = Set(limits(4), limits(5), limits(6), pins=OffThrows)
    for number in (4, 5, 6):
        s.bank.open(number, for_s=60.0)
    s.pins.bad.add(5)
    assert s.bank.close_all("rain") == {5: "I/O error"}
    assert [s.pins.really_on(n) for n in (4, 5, 6)] == [False, True, False]
    assert s.bank.states() == {4: State.CLOSED, 5: State.STUCK, 6: State.CLOSED}
    assert [(r.number, r.words) for r in s.records[3:]] == [
        (4, "rain"),
        (5, "does not close: I/O error"),
        (6, "rain"),
    ]


def test_a_line_that_did_not_close_is_told_again_and_told_of_once() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=60.0)
    s.pins.bad.add(5)
    with pytest.raises(
        ValveFault, match="line 5 did not close, and gets the command again: I/O error"
    ):
        s.bank.close(5, "by hand")
    for _ in range(20):
        s.clock.advance(1.0)
        assert next_deadline_mono_s(s.bank) == s.clock.mono + 1.0
        assert s.bank.close_due() == ()
    with pytest.raises(ValveRefused, match="it did not close on command"):
        s.bank.open(5, for_s=1.0)
    with pytest.raises(ValveRefused, match="shut the water off by hand"):
        s.bank.reset(5)
    s.pins.bad.clear()
    assert s.bank.close_due() == (5,)
    assert s.told() == [
        (5, OPENED, State.OPEN, 0.0),
        (5, FAULT, State.STUCK, 0.0),
        (5, CLOSED, State.BARRED, 20.0),
    ]
    with pytest.raises(ValveRefused, match="then reset it"):
        s.bank.open(5, for_s=1.0)
    s.bank.reset(5)
    assert s.told()[-1] == (5, RESET, State.CLOSED, 0.0)
    s.bank.open(5, for_s=1.0)


def test_a_reset_that_cannot_drive_the_line_off_leaves_it_stuck() -> None:
    s = Set(pins=OffThrows)
    s.pins.bad.add(5)
    with pytest.raises(ValveFault, match="line 5 is not reset, it cannot be driven off"):
        s.bank.reset(5)
    assert s.bank.states()[5] is State.STUCK


def test_after_shutting_down_nothing_opens() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.clock.advance(3.0)
    assert s.bank.shut_down("told to stop") == {}
    assert not s.pins.really_on(5)
    assert s.told()[-1] == (5, CLOSED, State.CLOSED, 3.0)
    assert s.records[-1].words == "told to stop"
    with pytest.raises(ValveRefused, match="the bank is shut: told to stop"):
        s.bank.open(6, for_s=1.0)


def test_a_shut_bank_closes_what_it_still_takes_for_open() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    assert s.bank.off_past_the_lock() == {}
    assert not s.pins.really_on(5)
    assert s.bank.close_due() == (5,)
    assert s.told()[-1] == (5, CLOSED, State.CLOSED, 0.0)


def test_driving_off_past_the_lock_gives_each_line_its_own_try() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=60.0)
    s.bank.open(6, for_s=60.0)
    s.pins.bad.add(5)
    assert s.bank.off_past_the_lock() == {5: "I/O error"}
    assert not s.pins.really_on(6)


def test_a_line_found_on_is_driven_off_and_barred() -> None:
    s = Set()
    s.pins.write(5, True)  # some other program's doing
    assert s.bank.look() == (5,)
    assert not s.pins.really_on(5)
    assert s.told() == [(5, FAULT, State.BARRED, 0.0)]
    assert "read as on, though nobody opened it" in s.records[0].words


def test_a_line_found_off_while_it_should_be_open_ends_there() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.clock.advance(10.0)
    s.pins.write(5, False)
    assert s.bank.look() == (5,)
    assert s.told()[-1] == (5, FAULT, State.BARRED, 10.0)
    assert s.bank.look() == ()


def test_whatever_interrupts_an_opening_the_deadline_stands_already() -> None:
    class Interrupted(GoodPins):
        def write(self, number: int, on: bool) -> None:
            super().write(number, on)
            if on:
                raise KeyboardInterrupt

    s = Set(pins=Interrupted)
    with pytest.raises(KeyboardInterrupt):
        s.bank.open(5, for_s=60.0)
    assert next_deadline_mono_s(s.bank) == 1060.0
    s.clock.advance(60.0)
    assert s.bank.close_due() == (5,)
    assert not s.pins.really_on(5)


def test_a_recorder_that_throws_stops_no_closing_and_is_remembered() -> None:
    def broken(record: BankRecord) -> None:
        raise OSError("disk full")

    s = Set(record=broken)
    s.bank.open(5, for_s=60.0)
    s.bank.open(6, for_s=60.0)
    s.clock.advance(60.0)
    assert s.bank.close_due() == (5, 6)
    assert not s.pins.really_on(5)
    assert not s.pins.really_on(6)
    assert len(s.bank.undelivered) == 4
    assert s.bank.undelivered[0] == (
        "line 5 opened at 2031-06-01 04:00:00 UTC, for 60.0 s: not recorded: disk full"
    )


def test_of_records_that_could_not_be_handed_over_the_newest_fifty_are_kept() -> None:
    def broken(record: BankRecord) -> None:
        raise OSError("disk full")

    s = Set(record=broken)
    for _ in range(30):
        s.bank.open(5, for_s=1.0)
        s.clock.advance(1.0)
        s.bank.close_due()
    assert len(s.bank.undelivered) == 50
    assert s.bank.undelivered[-1] == (
        "line 5 closed at 2031-06-01 04:00:30 UTC, time is up: not recorded: disk full"
    )


def test_pins_move_before_any_record_is_handed_over() -> None:
    seen: list[tuple[bool, bool]] = []
    s = Set(record=lambda _: seen.append((s.pins.really_on(5), s.pins.really_on(6))))
    s.bank.open(5, for_s=60.0)
    s.bank.open(6, for_s=60.0)
    seen.clear()
    s.clock.advance(60.0)
    s.bank.close_due()
    assert seen == [(False, False), (False, False)]


def test_a_recorder_may_ask_and_tell_the_bank() -> None:
    def recorder(record: BankRecord) -> None:
        told.append((record.number, record.what))
        if record.what is OPENED:
            s.bank.close_all("in doubt")

    told: list[tuple[int, What]] = []
    s = Set(record=recorder)
    opener = threading.Thread(target=s.bank.open, args=(5,), kwargs={"for_s": 60.0}, daemon=True)
    opener.start()
    opener.join(30.0)
    assert not opener.is_alive()  # the bank does not wait for itself
    assert told == [(5, OPENED), (5, CLOSED)]
    assert not s.pins.really_on(5)


def test_a_recorder_that_hangs_holds_up_one_thread_and_no_closing() -> None:
    entered, go_on = threading.Event(), threading.Event()
    told: list[tuple[int, What]] = []

    def hangs(record: BankRecord) -> None:
        if record.what is CLOSED and record.number == 5:
            entered.set()
            assert go_on.wait(30.0)
        told.append((record.number, record.what))

    s = Set(record=hangs)
    s.bank.open(5, for_s=30.0)
    s.bank.open(6, for_s=60.0)
    s.clock.advance(30.0)
    stuck = threading.Thread(target=s.bank.close_due, daemon=True)
    stuck.start()
    assert entered.wait(30.0)
    s.clock.advance(30.0)
    other = threading.Thread(target=s.bank.close_due, daemon=True)
    other.start()
    other.join(30.0)
    assert not other.is_alive()  # it returned, although the first thread still hangs
    assert not s.pins.really_on(6)
    assert told == [(5, OPENED), (6, OPENED)]
    go_on.set()
    stuck.join(30.0)
    assert told == [(5, OPENED), (6, OPENED), (5, CLOSED), (6, CLOSED)]


@pytest.mark.parametrize("broken", [False, True], ids=["no words", "words that cannot be had"])
def test_a_fault_without_words_goes_by_its_name(broken: bool) -> None:
    class Wordless(Exception):
        def __str__(self) -> str:
            words: dict[str, str] = {} if broken else {"words": ""}
            return words["words"]

    class Throws(GoodPins):
        def write(self, number: int, on: bool) -> None:
            if on:
                raise Wordless
            super().write(number, on)

    with pytest.raises(ValveFault, match=r"got the command to close: Wordless$"):
        Set(pins=Throws).bank.open(5, for_s=60.0)


def test_a_line_that_stops_obeying_while_open_is_told_of_with_the_time_it_was_open() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=60.0)
    s.clock.advance(10.0)
    s.pins._on[5] = False  # by another program
    s.pins.bad.add(5)
    assert s.bank.look() == (5,)
    assert s.told()[-1] == (5, FAULT, State.STUCK, 10.0)
    assert s.records[-1].words == (
        "is read as off while it should be open; and cannot be driven off: I/O error"
    )


def test_an_opening_that_is_read_back_as_off_is_a_fault_at_once() -> None:
    s = Set(pins=SticksOff)
    s.pins.bad.add(5)
    with pytest.raises(ValveFault, match="it was driven on and is read as off"):
        s.bank.open(5, for_s=60.0)
    assert s.bank.states()[5] is State.BARRED


def test_a_line_that_does_not_open_is_driven_off_and_barred() -> None:
    s = Set(pins=OnThrows)
    s.pins.bad.add(5)
    with pytest.raises(
        ValveFault, match="line 5 did not open, and got the command to close: no such dev"
    ):
        s.bank.open(5, for_s=60.0)
    assert s.bank.states() == {5: State.BARRED, 6: State.CLOSED}
    assert s.told() == [(5, FAULT, State.BARRED, 0.0)]
    assert next_deadline_mono_s(s.bank) is None
