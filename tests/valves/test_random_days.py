"""Random openings, closings and waits: no line outlives its deadline, no day passes its cap."""

from __future__ import annotations

import contextlib

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from support.clock import HandClock
from support.pins import SticksOn

from controller.errors import ValveFault, ValveRefused
from controller.valves.bank import Bank, BankRecord, What
from controller.valves.line import DAY_S, LineLimits, State

LONGEST_S, CAP_S = 600.0, 1500.0
NUMBERS = (5, 6, 7)
number = st.sampled_from(NUMBERS)


class RandomDays(RuleBasedStateMachine):
    """Line 7 sticks on now and then; lines 5 and 6 obey."""

    def __init__(self) -> None:
        super().__init__()
        self.clock = HandClock()
        self.pins = SticksOn(self.clock)
        self.records: list[BankRecord] = []
        limits = [
            LineLimits(
                number=n, active_low=True, longest_open_s=LONGEST_S, most_open_s_per_day=CAP_S
            )
            for n in NUMBERS
        ]
        self.bank = Bank(limits, self.pins, self.clock, self.records.append)

    @rule(number=number, for_s=st.floats(min_value=-5.0, max_value=700.0) | st.just(float("nan")))
    def open(self, number: int, for_s: float) -> None:
        with contextlib.suppress(ValveRefused):
            self.bank.open(number, for_s=for_s)

    @rule(number=number)
    def close(self, number: int) -> None:
        with contextlib.suppress(ValveFault):
            self.bank.close(number, "by hand")

    @rule()
    def close_all(self) -> None:
        assert set(self.bank.close_all("rain")) <= self.pins.bad

    @rule()
    def sticks(self) -> None:
        self.pins.bad.add(7)

    @rule()
    def mended(self) -> None:
        self.pins.bad.clear()

    @rule(number=number)
    def reset(self, number: int) -> None:
        with contextlib.suppress(ValveRefused, ValveFault):
            self.bank.reset(number)

    @rule(seconds=st.floats(min_value=0.0, max_value=2.0 * DAY_S) | st.floats(0.0, 700.0))
    def time_passes(self, seconds: float) -> None:
        """As the closer does it: awake at every deadline, though not every retry is played."""
        end = self.clock.mono + seconds
        while True:
            due = [n.deadline_mono_s for n in self.bank.open_lines() if n.state is State.OPEN]
            nearest = min((d for d in due if d is not None), default=end)
            self.clock.advance(max(0.0, min(nearest, end) - self.clock.mono))
            self.clock.mono = max(self.clock.mono, min(nearest, end))
            self.bank.close_due()
            if nearest >= end:
                return

    @invariant()
    def nothing_obedient_is_past_its_deadline(self) -> None:
        self.bank.close_due()
        for n in self.bank.open_lines():
            if n.number not in self.pins.bad:
                assert n.deadline_mono_s is not None
                assert n.deadline_mono_s > self.clock.mono

    @invariant()
    def the_bank_knows_what_is_on(self) -> None:
        for n in NUMBERS:
            assert self.pins.really_on(n) <= self.bank.is_open(n)

    @invariant()
    def no_24_hours_pass_the_cap(self) -> None:
        # Counted from the pins' own history, at the end of each opening: there the sum peaks.
        for n in (5, 6):
            moves = self.pins.moves_of(n)
            ends = [at for at, on in moves if not on] + [self.clock.mono]
            for end in ends:
                assert _on_s(moves, end - DAY_S, end) <= CAP_S + 1e-6

    @invariant()
    def no_opening_is_longer_than_allowed(self) -> None:
        for record in self.records:
            if record.what is What.CLOSED and record.number != 7:
                assert record.open_s <= LONGEST_S + 1e-6

    @invariant()
    def records_and_pins_tell_the_same_seconds(self) -> None:
        for n in (5, 6):
            told_s = sum(r.open_s for r in self.records if r.number == n and r.what is What.CLOSED)
            if not self.bank.is_open(n):
                on_s = _on_s(self.pins.moves_of(n), 0.0, self.clock.mono)
                assert abs(told_s - on_s) <= 1e-6


def _on_s(moves: list[tuple[float, bool]], begin: float, end: float) -> float:
    """Seconds on between two moments. [s]"""
    total_s, since = 0.0, None
    for at, on in [*moves, (end, False)]:
        if on:
            since = at
        elif since is not None:
            total_s += max(0.0, min(at, end) - max(since, begin))
            since = None
    return total_s


RandomDays.TestCase.settings = settings(max_examples=60, stateful_step_count=40)
TestRandomDays = RandomDays.TestCase
