"""Random days of valves of every kind behind a master, some of them disobeying for a while.

What a valve does is computed here from the pins' own history: a ball goes towards open while its
open line is on, towards shut while its close line is, and stays where it is otherwise.
"""

from __future__ import annotations

import contextlib
from itertools import pairwise

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from support.clock import HandClock
from support.pins import OffThrows, ball, limits, next_deadline_mono_s

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, What
from controller.valves.line import LineLimits, MasterLimits, State

MASTER, SNAPS, OPENER, SHUTTER, SLOW = 4, 5, 6, 16, 7
OPENS_S, SHUTS_S, CLOSING_S = 10.0, 8.0, 10.0  # the ball's
LINES = (SNAPS, OPENER, SLOW)
number = st.sampled_from(LINES)


class RandomKinds(RuleBasedStateMachine):
    """A valve that snaps, a ball that stays, a slow valve; the ball stands open at the start."""

    def __init__(self) -> None:
        super().__init__()
        self.clock = HandClock()
        self.pins = OffThrows(self.clock)
        self.pins.pairs = ((OPENER, SHUTTER),)
        self.records: list[BankRecord] = []
        slow = LineLimits(
            number=SLOW,
            active_low=True,
            longest_open_s=600,
            most_open_s_per_day=3600,
            closes_in_s=4,
        )
        self.bank = Bank(
            (limits(SNAPS), ball(OPENER, SHUTTER), slow),
            self.pins,
            self.clock,
            self.records.append,
            master=MasterLimits(number=MASTER, active_low=True, leads_s=2.0, lags_s=3.0),
        )
        self.last_deadline = dict.fromkeys(LINES, self.clock.mono)
        self.disobeyed: set[int] = set()

    @rule(number=number, for_s=st.floats(min_value=0.5, max_value=90.0))
    def open(self, number: int, for_s: float) -> None:
        with contextlib.suppress(ValveRefused, ValveFault):
            self.last_deadline[number] = self.bank.open(number, for_s=for_s)

    @rule(number=number)
    def close(self, number: int) -> None:
        with contextlib.suppress(ValveFault):
            self.bank.close(number, "by hand")

    @rule()
    def close_all(self) -> None:
        self.bank.close_all("rain")

    @rule()
    def shut_master(self) -> None:
        self.bank.shut_master("a finding")

    @rule(number=st.sampled_from((SNAPS, OPENER, SHUTTER, MASTER)))
    def disobeys(self, number: int) -> None:
        self.pins.bad.add(number)
        self.disobeyed.add(OPENER if number == SHUTTER else number)

    @rule()
    def mended(self) -> None:
        self.pins.bad.clear()

    @rule(number=st.sampled_from((*LINES, MASTER)))
    def reset(self, number: int) -> None:
        with contextlib.suppress(ValveRefused, ValveFault):
            self.bank.reset(number)

    @rule(number=st.sampled_from((SNAPS, OPENER, SHUTTER)), on=st.booleans())
    def meddles(self, number: int, on: bool) -> None:
        """Another program moves a pin, and the supervisor looks."""
        partner = {OPENER: SHUTTER, SHUTTER: OPENER}.get(number)
        if partner is not None and self.pins.really_on(partner):
            return  # a meddler may put both on; what we do then is not to
        with contextlib.suppress(OSError):
            self.pins.write(number, on)
        self.disobeyed.add(OPENER if number == SHUTTER else number)
        self.bank.look()

    @rule(seconds=st.floats(0.0, 120.0))
    def time_passes(self, seconds: float) -> None:
        """As the closer does it: awake wherever the bank asks for it."""
        ends = self.clock.mono + seconds
        while True:
            due = next_deadline_mono_s(self.bank)
            self.clock.mono = max(self.clock.mono, min(ends, ends if due is None else due))
            self.bank.close_due()
            if self.clock.mono >= ends:
                return

    @invariant()
    def both_lines_of_the_ball_are_never_on(self) -> None:
        assert self.pins.both_on == []

    @invariant()
    def what_is_called_closed_is_closed(self) -> None:
        self.bank.close_due()
        states = self.bank.states()
        if states[OPENER] in (State.CLOSED, State.BARRED):
            assert _ball_stands_at(self.pins, self.clock.mono) == 0.0
            assert not self.pins.really_on(SHUTTER)
        for n in (SNAPS, SLOW, MASTER):
            assert self.pins.really_on(n) <= self.bank.is_open(n)

    @invariant()
    def no_obedient_valve_gives_water_past_its_deadline_and_its_closing_time(self) -> None:
        now = self.clock.mono
        for n, closing_s in ((SNAPS, 0.0), (OPENER, CLOSING_S), (SLOW, 0.0)):
            if n in self.disobeyed or now < self.last_deadline[n] + closing_s:
                continue
            assert not self.pins.really_on(n)
            if n == OPENER:
                assert _ball_stands_at(self.pins, now) == 0.0

    @invariant()
    def no_obedient_line_is_on_without_the_master(self) -> None:
        for n in (SNAPS, SLOW):
            if n not in self.disobeyed and self.pins.really_on(n):
                assert self.pins.really_on(MASTER)

    @invariant()
    def the_master_is_not_on_without_a_line_for_longer_than_it_lags(self) -> None:
        if self.pins.really_on(MASTER) and MASTER not in self.disobeyed:
            due = next_deadline_mono_s(self.bank)
            assert self.bank.open_lines() or (due is not None and due <= self.clock.mono + 3.0)

    @invariant()
    def every_opening_that_was_told_of_ended_or_may_still_run(self) -> None:
        for n in LINES:
            mine = [r for r in self.records if r.number == n and r.what is not What.RESET]
            opened = [i for i, r in enumerate(mine) if r.what is What.OPENED]
            for begins, ends in pairwise([*opened, len(mine)]):
                over = [r for r in mine[begins:ends] if r.state in (State.CLOSED, State.BARRED)]
                assert over or (ends == len(mine) and self.bank.is_open(n))


def _ball_stands_at(pins: OffThrows, now: float) -> float:
    """How far open the ball is, from the history of its two lines: it began wide open."""
    at, stands, on = 1000.0, 1.0, {OPENER: False, SHUTTER: False}
    for move in [m for m in pins.moves if m.number in on] + [None]:
        until = now if move is None else move.mono_s
        towards = on[OPENER] / OPENS_S - on[SHUTTER] / SHUTS_S
        stands = min(1.0, max(0.0, stands + (until - at) * towards))
        at = until
        if move is not None:
            on[move.number] = move.on
    return stands


RandomKinds.TestCase.settings = settings(max_examples=80, stateful_step_count=40)
TestRandomKinds = RandomKinds.TestCase
