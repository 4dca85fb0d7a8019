"""A ball that stays has a line each way; a slow valve one line: what runs on counts as running."""

from __future__ import annotations

import threading

import pytest
from pytest import approx
from support.clock import HandClock
from support.pins import (
    AlwaysReadsOn,
    BadPins,
    GoodPins,
    OffThrows,
    OnThrows,
    OnThrowsTooLate,
    SticksOff,
    SticksOn,
    ball,
    limits,
    next_deadline_mono_s,
)

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, Before, What
from controller.valves.closer import Closer, Patience, Supervisor
from controller.valves.line import LineLimits, State

OPENER, SHUTTER = 5, 6  # ten seconds to open (driven 12.5), eight to shut (driven 10)
OPENING_S, CLOSING_S = 12.5, 10.0
BALL = ball(OPENER, SHUTTER)


class Set:
    """A ball that stays beside a valve that snaps; unless told otherwise, the ball is shut."""

    def __init__(
        self, *lines: LineLimits, pins: type[BadPins] = GoodPins, born: bool = True
    ) -> None:
        self.clock = HandClock()
        self.pins = pins(self.clock)
        self.pins.pairs = ((OPENER, SHUTTER),)
        self.records: list[BankRecord] = []
        self.bank = Bank(
            lines or (BALL, limits(9)),
            self.pins,
            self.clock,
            self.records.append,
            Before(shut=(OPENER,) if born else ()),
        )
        self.closer = Closer(self.bank, self.clock)

    def pass_s(self, seconds: float, *, watched: bool = True) -> None:
        """Time passes, and the closer wakes wherever it asked to."""
        ends = self.clock.mono + seconds
        while True:
            due = next_deadline_mono_s(self.bank)
            self.clock.mono = max(self.clock.mono, ends if due is None else min(due, ends))
            self.closer.round()
            if watched:
                assert self.bank.look() == ()
            if self.clock.mono >= ends:
                return

    def history(self) -> list[tuple[float, int, bool]]:
        """Every change of both lines, in order, seconds from the start."""
        return [(m.mono_s - 1000.0, m.number, m.on) for m in self.pins.moves]

    def told(self) -> list[tuple[What, State, float]]:
        return [(r.what, r.state, r.open_s) for r in self.records if r.number == OPENER]


def test_the_whole_history_of_a_pulse_of_a_ball_that_stays() -> None:
    s = Set()
    deadline_mono_s = s.bank.open(OPENER, for_s=60.0)
    assert deadline_mono_s == 1060.0
    s.pass_s(100.0)
    assert s.history() == [
        (0.0, OPENER, True),
        (OPENING_S, OPENER, False),  # no current in a standing valve
        (60.0, SHUTTER, True),
        (60.0 + CLOSING_S, SHUTTER, False),
    ]
    assert s.told() == [
        (What.OPENED, State.OPEN, 0.0),
        (What.CLOSING, State.CLOSING, 60.0),
        (What.CLOSED, State.CLOSED, 60.0),
    ]
    assert {r.words for r in s.records[1:]} == {"time is up"}


def test_a_pulse_shorter_than_its_travel_turns_round() -> None:
    s = Set()
    s.bank.open(OPENER, for_s=4.0)
    s.pass_s(20.0)
    assert s.history() == [
        (0.0, OPENER, True),
        (4.0, OPENER, False),
        (4.0, SHUTTER, True),
        (14.0, SHUTTER, False),
    ]


def test_water_may_run_until_the_closing_time_is_over() -> None:
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(69.9)
    assert s.bank.is_open(OPENER) and s.bank.open_lines()
    (line,) = s.bank.open_lines()
    assert (line.state, line.shut_mono_s, line.closed_mono_s) == (State.CLOSING, 1060.0, 1070.0)
    assert s.bank.closing_s(OPENER) == approx(0.1)
    with pytest.raises(ValveRefused, match="line 5 is not opened: it is still closing"):
        s.bank.open(OPENER, for_s=10.0)
    s.pass_s(0.1)
    assert not s.bank.is_open(OPENER) and not s.bank.open_lines()
    assert s.bank.closing_s(OPENER) == s.bank.closing_s() == 0.0
    s.bank.open(OPENER, for_s=10.0)


def test_at_birth_it_is_driven_shut_for_its_whole_time_before_it_opens() -> None:
    s = Set(born=False)
    assert s.bank.states() == {OPENER: State.CLOSING, 9: State.CLOSED}
    with pytest.raises(ValveRefused, match="still closing"):
        s.bank.open(OPENER, for_s=10.0)
    s.bank.open(9, for_s=5.0)  # no other is held up
    s.pass_s(12.0)
    assert [m for m in s.history() if m[1] != 9] == [
        (0.0, SHUTTER, True),
        (CLOSING_S, SHUTTER, False),
    ]
    assert s.told() == []
    s.bank.open(OPENER, for_s=10.0)


def test_telling_it_to_close_again_neither_shortens_nor_lengthens_the_closing() -> None:
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(20.0)
    assert s.bank.close(OPENER, "by hand") == 20.0
    for _ in range(4):
        s.pass_s(2.0)
        assert s.bank.close(OPENER, "again") == 20.0
        s.bank.close_all("rain")
    s.pass_s(2.0)
    assert s.history()[2:] == [(20.0, SHUTTER, True), (30.0, SHUTTER, False)]
    assert s.told()[1:] == [
        (What.CLOSING, State.CLOSING, 20.0),
        (What.CLOSED, State.CLOSED, 20.0),
    ]
    assert s.records[-1].words == "by hand"
    s.bank.close(OPENER, "shut already")
    assert len(s.history()) == 4  # a shut ball is not driven again


def test_closing_all_starts_every_closing_at_once() -> None:
    two = ball(7, 8, closes_in_s=16.0)
    s = Set(BALL, two)
    s.pass_s(20.0)  # the second was not known to be shut
    s.bank.open(OPENER, for_s=100.0)
    s.bank.open(7, for_s=100.0)
    s.pass_s(30.0)
    assert s.bank.shut_down("the end") == {}
    s.pass_s(30.0)
    assert s.history()[-4:] == [
        (50.0, SHUTTER, True),
        (50.0, 8, True),
        (60.0, SHUTTER, False),
        (70.0, 8, False),
    ]


def test_a_shut_bank_still_ends_its_closings_and_a_wait_for_them_is_bounded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("controller.valves.bank.LOOK_S", 0.0)
    s = Set()
    s.bank.open(OPENER, for_s=100.0)
    s.pass_s(30.0)
    s.bank.shut_down("the end")
    looks: list[float] = []

    def meanwhile() -> None:
        looks.append(s.clock.mono)
        s.clock.advance(2.5)

    assert s.bank.wait_until_closed(60.0, meanwhile)  # nobody else runs here: it closes itself
    assert s.bank.states()[OPENER] is State.CLOSED
    assert len(looks) == 4
    s.bank = Set(born=False).bank
    assert not s.bank.wait_until_closed(0.0, meanwhile)


def test_an_open_line_that_does_not_rest_is_never_joined_by_its_close_line() -> None:
    s = Set(pins=SticksOn)
    s.bank.open(OPENER, for_s=60.0)
    s.pins.bad.add(OPENER)
    s.pass_s(30.0, watched=False)
    assert s.bank.states()[OPENER] is State.STUCK
    assert s.history() == [(0.0, OPENER, True)]
    assert [w for w, *_ in s.told()] == [What.OPENED, What.FAULT]
    s.pins.bad.clear()
    s.pass_s(11.1)
    # WORKED: ten seconds of closing after 30 s.
    assert s.history()[1:] == [
        (approx(30.0, abs=1.0), OPENER, False),
        (approx(30.0, abs=1.0), SHUTTER, True),
        (approx(40.0, abs=1.0), SHUTTER, False),
    ]
    assert s.pins.both_on == []
    assert s.told()[2:] == [
        (What.CLOSING, State.RECLOSING, approx(30.0, abs=1.0)),
        (What.CLOSED, State.BARRED, approx(30.0, abs=1.0)),
    ]
    s.bank.reset(OPENER)
    s.bank.open(OPENER, for_s=1.0)


def test_a_ball_whose_open_line_cannot_be_driven_off_says_why() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(OPENER, for_s=60.0)
    s.pins.bad.add(OPENER)
    s.pass_s(OPENING_S, watched=False)
    fault = [r for r in s.records if r.what is What.FAULT][-1]
    assert fault.words.startswith("does not rest: I/O error; ")


def test_a_close_line_that_does_not_go_on_leaves_the_valve_open_and_known_so() -> None:
    s = Set(pins=OnThrows)
    s.bank.open(OPENER, for_s=60.0)
    s.pins.bad.add(SHUTTER)
    s.pass_s(70.0, watched=False)
    assert s.bank.states()[OPENER] is State.STUCK
    assert s.bank.is_open(OPENER)
    s.pins.bad.clear()
    s.pass_s(CLOSING_S + 1.0)
    assert s.bank.states()[OPENER] is State.BARRED
    # Water ran until it was told to shut and that took, and this is what is told.
    assert s.told()[-1][2] == approx(70.0, abs=1.0)
    assert len([w for w, *_ in s.told() if w is What.FAULT]) == 1


def test_a_close_line_that_does_not_go_off_keeps_the_valve_from_opening() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(65.0)
    s.pins.bad.add(SHUTTER)
    s.pass_s(200.0, watched=False)
    assert s.bank.states()[OPENER] is State.STUCK
    with pytest.raises(ValveRefused):
        s.bank.open(OPENER, for_s=1.0)
    assert len([w for w, *_ in s.told() if w is What.FAULT]) == 1
    assert s.told()[-1] == (What.FAULT, State.STUCK, 60.0)  # it is shut: no water is counted on
    s.pins.bad.clear()
    s.pass_s(1.0)
    assert s.bank.states()[OPENER] is State.BARRED
    assert s.told()[-1] == (What.CLOSED, State.BARRED, 60.0)
    assert s.pins.both_on == []


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        (SticksOff, "its close line 6 was driven on and is read as off"),
        (SticksOn, "its close line 6 was driven off and is read as on"),
    ],
)
def test_a_close_line_that_is_not_read_back_as_driven_is_said_so(
    pins: type[BadPins], words: str
) -> None:
    s = Set(pins=pins)
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(61.0 if pins is SticksOn else 30.0)
    s.pins.bad.add(SHUTTER)
    s.pass_s(60.0, watched=False)
    (fault,) = [r for r in s.records if r.what is What.FAULT]
    assert fault.words.endswith(words)


def test_a_close_line_read_as_on_is_a_reason_not_to_open() -> None:
    s = Set(pins=AlwaysReadsOn)
    s.pins.bad.add(SHUTTER)
    with pytest.raises(ValveFault, match="close line 6 was driven off and is read as on"):
        s.bank.open(OPENER, for_s=60.0)
    assert (0.0, OPENER, True) not in s.history()


def test_a_shut_ball_that_could_not_be_told_off_is_driven_shut_anew() -> None:
    # Found by the random days: while nobody could look, another program drove it open.
    s = Set(pins=OffThrows)
    s.pins.bad.add(OPENER)
    assert s.bank.close_all("rain") == {OPENER: "I/O error"}
    s.pins.write(OPENER, True)
    s.clock.advance(5.0)
    s.pins.bad.clear()
    s.pass_s(CLOSING_S + 1.0)  # told again a second later
    assert s.bank.states()[OPENER] is State.BARRED
    assert s.history()[-2:] == [(6.0, SHUTTER, True), (16.0, SHUTTER, False)]


@pytest.mark.parametrize("pins", [OnThrows, OnThrowsTooLate, SticksOff])
def test_an_open_line_that_fails_is_driven_shut_and_barred(pins: type[BadPins]) -> None:
    s = Set(pins=pins)
    s.pins.bad.add(OPENER)
    with pytest.raises(ValveFault, match="line 5 did not open"):
        s.bank.open(OPENER, for_s=60.0)
    assert s.bank.states()[OPENER] is State.RECLOSING
    s.pass_s(CLOSING_S)
    assert s.bank.states()[OPENER] is State.BARRED
    assert s.history()[-2:] == [(0.0, SHUTTER, True), (CLOSING_S, SHUTTER, False)]
    assert s.pins.both_on == []


@pytest.mark.parametrize(
    ("after_s", "number", "on", "words"),
    [
        (5.0, OPENER, False, "read as off while it should be open"),
        (30.0, OPENER, True, "read as on, though it should rest"),
        (30.0, SHUTTER, True, "close line 6 is read as on, though nobody closes it"),
        (62.0, OPENER, True, "read as on, though nobody opened it"),
        (62.0, SHUTTER, False, "close line 6 is read as off while it should be closing"),
        (80.0, OPENER, True, "read as on, though nobody opened it"),
        (80.0, SHUTTER, True, "close line 6 is read as on, though nobody closes it"),
    ],
)
def test_a_meddling_is_seen_driven_shut_and_barred(
    after_s: float, number: int, on: bool, words: str
) -> None:
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(after_s)
    s.pins.write(number, on)  # some other program's doing
    s.pins.both_on.clear()  # its, not ours
    assert s.bank.look() == (OPENER,)
    assert words in s.records[-1].words
    assert s.bank.states()[OPENER] is State.RECLOSING
    s.pass_s(CLOSING_S)
    assert s.bank.states()[OPENER] is State.BARRED
    assert not s.pins.really_on(OPENER) and not s.pins.really_on(SHUTTER)
    assert s.pins.both_on == []


def test_the_supervisor_starts_and_ends_what_a_slow_closer_missed() -> None:
    s = Set()
    supervisor = Supervisor(s.bank, s.closer, s.clock)
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(20.0)
    s.clock.advance(40.6)
    assert supervisor.check().closed_late == (OPENER,)
    assert s.pins.really_on(SHUTTER)


def test_the_supervisor_takes_no_current_from_a_ball_on_its_way() -> None:
    s = Set()
    supervisor = Supervisor(s.bank, s.closer, s.clock)  # half a second of margin
    s.bank.open(OPENER, for_s=60.0)
    s.clock.advance(OPENING_S - 0.3)
    supervisor.check()
    assert s.pins.really_on(OPENER)
    s.clock.advance(0.9)
    supervisor.check()
    assert not s.pins.really_on(OPENER)


def test_the_supervisor_leaves_a_ball_that_is_closing_its_whole_time() -> None:
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    s.pass_s(60.0)
    s.clock.advance(CLOSING_S - 0.3)
    s.closer.round()
    Supervisor(s.bank, s.closer, s.clock).check()
    assert s.pins.really_on(SHUTTER)


def test_past_the_lock_open_lines_go_off_and_no_close_line_is_driven_on() -> None:
    # Who holds the lock may be driving the open line on at this moment.
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    assert s.bank.off_past_the_lock() == {}
    assert s.history() == [(0.0, OPENER, True), (0.0, OPENER, False)]
    s.closer.round()  # a bank that lives on after all closes what it knows as open
    assert s.pins.really_on(SHUTTER)
    assert s.pins.both_on == []


def test_a_driver_that_hangs_on_the_open_line_never_sees_the_close_line_driven() -> None:
    entered, go_on = threading.Event(), threading.Event()

    class Hangs(GoodPins):
        def write(self, number: int, on: bool) -> None:
            if on and number == OPENER:
                entered.set()
                assert go_on.wait(30.0)
            super().write(number, on)

    s = Set(pins=Hangs)
    supervisor = Supervisor(s.bank, s.closer, s.clock, Patience(lock_s=0.01))
    refused: list[str] = []

    def opens() -> None:
        try:
            s.bank.open(OPENER, for_s=60.0)
        except ValveRefused as why:
            refused.append(str(why))

    hung = threading.Thread(target=opens)
    hung.start()
    assert entered.wait(30.0)
    assert not supervisor.check().sound
    assert not s.pins.really_on(SHUTTER)
    go_on.set()
    hung.join(30.0)
    # It got through after all: off again at once, and driven shut.
    assert refused == ["line 5 was closed again at once: driven off past the lock"]
    assert s.bank.states()[OPENER] is State.CLOSING
    assert s.history() == [(0.0, OPENER, True), (0.0, OPENER, False), (0.0, SHUTTER, True)]
    assert s.pins.both_on == []


def test_a_slow_valve_on_one_line_runs_on_after_off_and_is_waited_for() -> None:
    slow = LineLimits(
        number=5, active_low=True, longest_open_s=600, most_open_s_per_day=3600, closes_in_s=8.0
    )
    s = Set(slow)
    assert s.bank.states() == {5: State.CLOSED}  # known to be shut
    s.bank.open(5, for_s=60.0)
    s.pass_s(65.0)
    assert s.history() == [(0.0, 5, True), (60.0, 5, False)]
    assert s.bank.states() == {5: State.CLOSING}
    s.pass_s(5.0)
    assert s.bank.states() == {5: State.CLOSED}
    assert s.told() == [
        (What.OPENED, State.OPEN, 0.0),
        (What.CLOSING, State.CLOSING, 60.0),
        (What.CLOSED, State.CLOSED, 60.0),
    ]
    assert s.bank.used_s(5) == 60.0


def test_two_valves_share_no_line_of_any_kind() -> None:
    for other in (limits(SHUTTER), ball(7, OPENER), ball(7, SHUTTER)):
        with pytest.raises(ValveFault, match="same line"):
            Set(BALL, other)


def test_a_retired_bank_touches_no_pin() -> None:
    s = Set()
    s.bank.open(OPENER, for_s=60.0)
    s.bank.shut_down("others take over")
    before = s.history()
    s.bank.retire()
    s.pass_s(60.0)
    assert s.bank.look() == () and s.bank.close_all("") == {}
    assert s.history() == before
