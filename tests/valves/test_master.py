"""The master opens ahead of the first line, shuts after the last, and has the last word."""

from __future__ import annotations

from typing import Any

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
    ball,
    limits,
    next_deadline_mono_s,
    stuck,
)

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, What
from controller.valves.closer import Closer, Supervisor
from controller.valves.line import LineLimits, MasterLimits, State

MASTER = 4


class Set:
    """Lines 5 and 6 behind a master that leads by 2 s and lags by 3 s."""

    def __init__(
        self,
        *lines: LineLimits,
        pins: type[BadPins] = GoodPins,
        bad: int | None = None,
        **more: float,
    ) -> None:
        self.clock = HandClock()
        self.pins = pins(self.clock)
        if bad is not None:
            self.pins.bad.add(bad)
        self.records: list[BankRecord] = []
        master: dict[str, Any] = {"leads_s": 2.0, "lags_s": 3.0} | more
        self.bank = Bank(
            lines or (limits(5), limits(6)),
            self.pins,
            self.clock,
            self.records.append,
            master=MasterLimits(number=MASTER, active_low=True, **master),
        )
        self.closer = Closer(self.bank, self.clock)

    def pass_s(self, seconds: float, *, watched: bool = True) -> None:
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
        return [(m.mono_s - 1000.0, m.number, m.on) for m in self.pins.moves]


def test_the_whole_history_of_one_pulse() -> None:
    s = Set()
    assert s.bank.open(5, for_s=60.0) == 1062.0
    s.pass_s(100.0)
    assert s.history() == [
        (0.0, MASTER, True),
        (2.0, 5, True),
        (62.0, 5, False),
        (65.0, MASTER, False),
    ]
    assert [(r.number, r.what, r.open_s) for r in s.records] == [
        (MASTER, What.OPENED, 0.0),
        (5, What.OPENED, 0.0),
        (5, What.CLOSED, 60.0),
        (MASTER, What.CLOSED, 65.0),
    ]
    assert [r.words for r in s.records] == [
        "the master, for line 5",
        "for 60.0 s, 2.0 s after the master",
        "time is up",
        "time is up",
    ]


def test_pulses_one_after_another_share_one_opening_of_the_master() -> None:
    s = Set()
    s.bank.open(5, for_s=10.0)
    s.pass_s(5.0)
    assert s.bank.open(6, for_s=20.0) == 1025.0  # it leads already: no wait
    s.pass_s(21.5)  # 6 has shut at 25, the master is due at 28
    s.bank.open(5, for_s=10.0)
    s.pass_s(60.0)
    # WORKED: 5 + 21.5 s, 10 s of the line, and 3 s of lag.
    assert [m for m in s.history() if m[1] == MASTER] == [
        (0.0, MASTER, True),
        (approx(39.5), MASTER, False),
    ]


def test_a_line_asked_for_while_the_master_leads_waits_for_the_rest_only() -> None:
    s = Set()
    s.bank.open(5, for_s=10.0)
    s.pass_s(1.5)
    assert s.bank.open(6, for_s=10.0) == 1012.0
    s.pass_s(1.0)
    assert s.history() == [(0.0, MASTER, True), (2.0, 5, True), (2.0, 6, True)]


def test_while_the_master_leads_no_time_of_the_line_is_used() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(1.0)
    assert s.bank.used_s(5) == 0.0
    s.pass_s(11.0)
    # WORKED: 12 s less the lead of 2 s.
    assert s.bank.used_s(5) == approx(10.0)


def test_without_a_lead_both_open_at_once_the_master_first() -> None:
    s = Set(leads_s=0.0, lags_s=0.0)
    s.bank.open(5, for_s=10.0)
    s.pass_s(20.0)
    assert s.history() == [
        (0.0, MASTER, True),
        (0.0, 5, True),
        (10.0, 5, False),
        (10.0, MASTER, False),
    ]


def test_closing_early_lets_the_master_lag_and_no_longer() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(20.0)
    s.bank.close(5, "by hand")
    s.pass_s(60.0)
    assert s.history()[2:] == [(20.0, 5, False), (23.0, MASTER, False)]


def test_a_pulse_closed_while_the_master_leads_never_opened() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(1.0)
    assert s.bank.close(5, "by hand") == 0.0
    s.pass_s(60.0)
    assert s.history() == [(0.0, MASTER, True), (4.0, MASTER, False)]
    assert s.records[-2].number == 5
    assert (s.records[-2].what, s.records[-2].open_s) == (What.CLOSED, 0.0)
    assert s.bank.used_s(5) == 0.0


@pytest.mark.parametrize("whole", ["close_all", "shut_down"])
def test_closing_all_shuts_the_lines_first_and_the_master_with_them(whole: str) -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.bank.open(6, for_s=60.0)
    s.pass_s(20.0)
    assert getattr(s.bank, whole)("rain") == {}
    assert s.history()[3:] == [(20.0, 5, False), (20.0, 6, False), (20.0, MASTER, False)]
    assert s.bank.master() is State.CLOSED


def test_a_finding_shuts_the_master_first_and_bars_it() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(20.0)
    assert s.bank.shut_master("a burst") == {}
    assert s.history()[2:] == [(20.0, MASTER, False), (20.0, 5, False)]
    assert s.bank.states() == {MASTER: State.BARRED, 5: State.CLOSED, 6: State.CLOSED}
    with pytest.raises(ValveRefused, match="master valve, line 4: it did not obey"):
        s.bank.open(6, for_s=1.0)
    assert s.bank.shut_master("again") == {}
    s.bank.reset(MASTER)
    s.bank.open(6, for_s=1.0)


def test_a_finding_on_valves_that_do_not_shut_names_each_and_why() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=60.0)
    s.pass_s(20.0)
    s.pins.bad |= {MASTER, 5}
    assert s.bank.shut_master("a burst") == {MASTER: "I/O error", 5: "I/O error"}
    told = {r.number: r.words for r in s.records}
    assert told[MASTER] == "a burst; and cannot be driven off: I/O error"
    assert told[5] == "does not close: I/O error"


def test_a_finding_is_in_the_records_of_what_it_shut() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(20.0)
    s.bank.shut_master("a burst")
    assert {r.number: r.words for r in s.records} == {
        MASTER: "a burst; driven off and barred",
        5: "a burst",
    }


def test_a_line_that_opened_while_the_bank_was_shut_is_shut_and_the_master_with_it() -> None:
    class ShutMeanwhile(GoodPins):
        def write(self, number: int, on: bool) -> None:
            if on and number == 5:  # the driver is slow, and the supervisor loses patience
                s.bank.off_past_the_lock()
            super().write(number, on)

    s = Set(pins=ShutMeanwhile, leads_s=0.0)
    with pytest.raises(ValveRefused, match="line 5 was closed again at once: driven off past"):
        s.bank.open(5, for_s=60.0)
    assert not s.pins.really_on(5) and not s.pins.really_on(MASTER)
    assert s.bank.states() == {MASTER: State.CLOSED, 5: State.CLOSED, 6: State.CLOSED}
    assert [r.words for r in s.records if r.what is What.CLOSED] == ["driven off past the lock"] * 2


def test_a_bank_without_a_master_closes_its_lines_on_a_finding() -> None:
    clock = HandClock()
    pins = GoodPins(clock)
    bank = Bank((limits(5),), pins, clock, lambda _: None)
    bank.open(5, for_s=60.0)
    assert bank.shut_master("a burst") == {}
    assert not pins.really_on(5)
    assert bank.master() is None


def test_nobody_opens_the_master_by_itself() -> None:
    s = Set()
    with pytest.raises(ValveRefused, match="line 4 is the master; it opens with the lines"):
        s.bank.open(MASTER, for_s=10.0)
    assert s.history() == []


def test_a_master_that_does_not_open_leaves_the_line_alone() -> None:
    s = Set(pins=OnThrows, bad=MASTER)
    with pytest.raises(ValveFault, match=r"line 5 did not open.*the master valve did not open"):
        s.bank.open(5, for_s=60.0)
    assert s.history() == []
    assert s.bank.states() == {MASTER: State.BARRED, 5: State.CLOSED, 6: State.CLOSED}


def test_a_line_that_fails_when_its_lead_is_over_is_barred_and_told_of() -> None:
    s = Set(pins=SticksOff)
    s.pins.bad.add(5)
    s.bank.open(5, for_s=60.0)
    s.pass_s(10.0)
    assert s.bank.states()[5] is State.BARRED
    faults = [r for r in s.records if r.what is What.FAULT]
    assert [(r.number, r.open_s) for r in faults] == [(5, 0.0)]
    assert "did not open" in faults[0].words
    assert s.history() == [(0.0, MASTER, True), (5.0, MASTER, False)]


def test_a_line_that_does_not_close_is_made_dry_by_the_master_at_once() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=30.0)
    s.bank.open(6, for_s=60.0)
    s.pins.bad.add(5)
    s.pass_s(40.0, watched=False)
    assert s.history()[3:] == [(32.0, MASTER, False), (32.0, 6, False)]
    with pytest.raises(ValveRefused, match="line 5 does not close, and the master stays shut"):
        s.bank.open(6, for_s=10.0)
    s.pins.bad.clear()
    s.pass_s(1.0)
    # It gave water until the master shut, 30 s, whatever became of its own line.
    ended = [r for r in s.records if r.number == 5][-1]
    assert (ended.what, ended.state, ended.open_s) == (What.CLOSED, State.BARRED, 30.0)
    s.bank.open(6, for_s=10.0)


def test_water_that_ended_days_ago_is_no_credit_for_today() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=30.0)
    s.pins.bad.add(5)
    s.pass_s(40.0, watched=False)  # the master made it dry; its own line is still told to shut
    assert s.bank.used_s(5) == approx(30.0)
    s.clock.advance(2 * 86_400.0)
    assert s.bank.used_s(5) == 0.0


def test_a_line_nobody_can_reach_does_not_keep_the_others_dry() -> None:
    # It was off when the daemon came, for all anybody knows.
    s = Set(pins=OffThrows, bad=5)
    assert s.bank.states()[5] is State.STUCK
    s.bank.open(6, for_s=10.0)
    s.pass_s(5.0, watched=False)
    assert s.pins.really_on(6)


def test_a_line_found_on_at_the_start_keeps_the_master_shut() -> None:
    clock = HandClock()
    pins = SticksOn(clock)
    pins.claim(5, True)
    pins.write(5, True)

    def claim(number: int, active_low: bool) -> None:
        if number != 5:
            GoodPins.claim(pins, number, active_low)

    pins.claim = claim  # type: ignore[method-assign]
    pins.bad.add(5)
    bank = Bank(
        (limits(5), limits(6)),
        pins,
        clock,
        lambda _: None,
        master=MasterLimits(number=MASTER, active_low=True),
    )
    with pytest.raises(ValveRefused, match="line 5 does not close"):
        bank.open(6, for_s=10.0)


def test_a_master_found_shut_shuts_what_stands_behind_it() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(20.0)
    s.pins.write(MASTER, False)
    assert s.bank.look() == (MASTER,)
    assert not s.pins.really_on(5)
    ended = [r for r in s.records if r.number == 5][-1]
    assert ended.open_s == 18.0
    assert ended.words == "the master is not open: is read as off while it should be open"


def test_a_master_that_does_not_shut_is_told_again_and_nothing_opens() -> None:
    s = Set(pins=OffThrows)
    s.bank.open(5, for_s=10.0)
    s.pins.bad.add(MASTER)
    s.pass_s(30.0, watched=False)
    assert s.bank.master() is State.STUCK
    assert Supervisor(s.bank, s.closer, s.clock).check().sound
    assert stuck(s.bank) == (MASTER,)
    with pytest.raises(ValveRefused, match="master valve, line 4: it did not close"):
        s.bank.open(6, for_s=10.0)
    s.pins.bad.clear()
    s.pass_s(1.0)
    assert s.bank.master() is State.BARRED
    assert not s.pins.really_on(MASTER)


def test_past_the_lock_the_master_goes_first() -> None:
    s = Set()
    s.bank.open(5, for_s=60.0)
    s.pass_s(10.0)
    s.bank.off_past_the_lock()
    assert s.history()[2:] == [(10.0, MASTER, False), (10.0, 5, False)]


def test_a_master_that_is_a_ball_leads_until_it_is_open_and_closes_last() -> None:
    s = Set(close_number=3, opens_in_s=4.0, closes_in_s=4.0)
    s.pins.pairs = ((MASTER, 3),)
    assert s.bank.closing_s(5) == 5.0  # it is driven shut first, and no line opens before
    with pytest.raises(ValveRefused, match="master valve, line 4: it is still closing"):
        s.bank.open(5, for_s=10.0)
    s.pass_s(5.0)
    s.bank.open(5, for_s=10.0)
    s.pass_s(40.0)
    assert s.history() == [
        (0.0, 3, True),
        (5.0, 3, False),
        (5.0, MASTER, True),
        (10.0, 5, True),
        (10.0, MASTER, False),  # it rests
        (20.0, 5, False),
        (23.0, 3, True),
        (28.0, 3, False),
    ]
    assert s.pins.both_on == []


def test_the_master_waits_for_a_ball_to_be_shut() -> None:
    s = Set(ball(5, 6))
    s.pass_s(10.0)
    s.bank.open(5, for_s=20.0)
    s.pass_s(60.0)
    ends = [m for m in s.history() if m[0] > 20.0]
    assert ends == [
        (24.5, 5, False),
        (32.0, 6, True),
        (42.0, 6, False),
        (45.0, MASTER, False),
    ]
