"""The closer wakes exactly at each deadline; the supervisor closes what it misses."""

from __future__ import annotations

import threading

import pytest
from support.clock import HandClock
from support.pins import BadPins, GoodPins, OffThrows, limits, shut_because, stuck

from controller.clock import SystemClock
from controller.errors import ValveRefused
from controller.valves.bank import Bank, BankRecord
from controller.valves.closer import BEAT_S, Closer, Patience, Supervisor
from controller.valves.line import State


class Hand:
    """Bank, closer and supervisor on one hand-turned clock, without a thread."""

    def __init__(self, pins: type[BadPins] = GoodPins) -> None:
        self.clock = HandClock()
        self.pins = pins(self.clock)
        self.bank = Bank((limits(5), limits(6)), self.pins, self.clock, lambda _: None)
        self.closer = Closer(self.bank, self.clock)
        self.supervisor = Supervisor(self.bank, self.closer, self.clock, Patience(lock_s=0.01))


def test_the_closer_closes_what_is_due_and_beats() -> None:
    h = Hand()
    h.bank.open(5, for_s=2.0)
    h.clock.advance(2.0)
    assert h.closer.fault == ""
    assert h.closer.round() == (5,)
    assert h.closer.last_beat_mono_s == h.clock.mono


def test_a_closer_told_to_end_in_mid_round_does_not_wait_a_beat_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    h = Hand()
    waits: list[float] = []
    monkeypatch.setattr(h.bank._changed, "wait", waits.append)

    def ended_meanwhile() -> tuple[int, ...]:
        h.closer.stop()  # from another thread: its wake comes before anybody waits
        return ()

    monkeypatch.setattr(h.bank, "close_due", ended_meanwhile)
    h.closer._run()
    assert waits == []


def test_the_supervisor_leaves_the_margin_to_the_closer_and_then_closes_itself() -> None:
    h = Hand()
    h.bank.open(5, for_s=2.0)
    h.clock.advance(2.4)
    assert h.supervisor.check().closed_late == ()
    assert h.pins.really_on(5)
    h.clock.advance(0.1)
    found = h.supervisor.check()
    assert found.closed_late == (5,)
    assert found.sound and found.faults == ()
    assert not h.pins.really_on(5)


def test_a_closer_that_does_not_move_shuts_the_bank_for_good() -> None:
    h = Hand()
    h.bank.open(5, for_s=60.0)
    for _ in range(5):
        h.clock.advance(1.0)
        assert h.supervisor.check().sound
    h.clock.advance(1.0)
    found = h.supervisor.check()
    assert found.faults == ("the closer has not moved for 6 s",)
    assert not found.sound
    assert not h.pins.really_on(5)
    assert shut_because(h.bank) == "the closer has not moved for 6 s"


def test_a_closer_that_is_dead_of_a_fault_is_named_with_it() -> None:
    h = Hand()
    close_due = h.bank.close_due

    def broken(*, margin_s: float = 0.0, patience_s: float = -1.0) -> tuple[int, ...]:
        if margin_s:
            return close_due(margin_s=margin_s, patience_s=patience_s)
        raise ArithmeticError("no such thing")

    h.bank.close_due = broken  # type: ignore[method-assign]
    for _ in range(6):
        h.clock.advance(1.0)
        h.closer.round()
        found = h.supervisor.check()
    assert found.faults == ("the closer has not moved for 6 s (no such thing)",)


def test_a_look_after_just_the_stale_time_is_in_time() -> None:
    h = Hand()
    h.clock.advance(1.0)
    assert h.supervisor.check().sound
    h.clock.advance(5.0)  # we looked; it is the closer that did not move, for 6 s
    assert not h.supervisor.check().sound


def test_what_the_supervisor_finds_amiss_is_named() -> None:
    h = Hand()
    h.pins.write(6, True)  # some other program's doing
    found = h.supervisor.check()
    assert (found.faulty, found.sound) == ((6,), True)
    assert not h.pins.really_on(6)


def test_a_line_that_cannot_be_driven_off_past_the_lock_is_named() -> None:
    h = Hand(OffThrows)
    h.bank.open(5, for_s=60.0)
    h.pins.bad.add(5)
    held, over = threading.Event(), threading.Event()

    def hang() -> None:
        with h.bank._changed:
            held.set()
            over.wait(30.0)

    thread = threading.Thread(target=hang, daemon=True)
    thread.start()
    assert held.wait(30.0)
    assert not h.supervisor.check().sound
    assert set(h.bank.off_past_the_lock()) == {5}
    over.set()
    thread.join(30.0)


def test_a_closer_that_failed_tries_again_after_its_beat() -> None:
    # real time: a beat of a hundredth of a second
    tried = threading.Event()

    class FailsOnce(Bank):
        rounds = 0

        def close_due(self, *, margin_s: float = 0.0, patience_s: float = -1.0) -> tuple[int, ...]:
            FailsOnce.rounds += 1
            if FailsOnce.rounds == 1:
                raise ArithmeticError("no such thing")
            tried.set()
            return super().close_due(margin_s=margin_s, patience_s=patience_s)

    clock = SystemClock()
    bank = FailsOnce((limits(5),), GoodPins(clock), clock, lambda _: None)
    closer = Closer(bank, clock, beat_s=0.01)
    closer.start()
    assert tried.wait(30.0)
    bank.shut_down("end of the test")
    assert closer.stop(at_most_s=30.0)
    assert closer.fault == ""


def test_a_closer_that_hangs_is_not_waited_for_for_ever() -> None:
    entered, go_on = threading.Event(), threading.Event()

    class Hangs(Bank):
        def close_due(self, *, margin_s: float = 0.0, patience_s: float = -1.0) -> tuple[int, ...]:
            entered.set()
            assert go_on.wait(30.0)
            return ()

    clock = HandClock()
    closer = Closer(Hangs((limits(5),), GoodPins(clock), clock, lambda _: None), clock)
    closer.start()
    assert entered.wait(30.0)
    (thread,) = [t for t in threading.enumerate() if t.name == "closer"]
    assert thread.daemon  # the process ends all the same
    assert closer.stop(at_most_s=0.01) is False
    go_on.set()
    assert closer.stop(at_most_s=30.0)


def test_a_process_that_stood_still_as_a_whole_is_looked_at_once_more() -> None:
    h = Hand()
    h.clock.advance(3600.0)
    assert h.supervisor.check().sound
    h.closer.round()
    h.clock.advance(1.0)
    assert h.supervisor.check().sound
    h.clock.advance(3600.0)
    assert h.supervisor.check().sound
    # The closer still does not move: it has its five seconds from then on, and no more.
    for _ in range(5):
        h.clock.advance(1.0)
        assert h.supervisor.check().sound
    h.clock.advance(1.0)
    assert h.supervisor.check().faults == ("the closer has not moved for 6 s",)


def test_not_looking_for_just_as_long_as_the_closer_may_be_silent_is_no_standing_still() -> None:
    h = Hand()
    h.clock.advance(5.0)
    assert h.supervisor.check().sound
    h.clock.advance(0.5)
    assert h.supervisor.check().faults == ("the closer has not moved for 6 s",)


class SleepyClock(SystemClock):
    """The board's own clock, and what it counts of a sleep that the waiting of threads does not."""

    slept_s = 0.0

    def mono_s(self) -> float:
        return super().mono_s() + self.slept_s


@pytest.mark.parametrize("watched", [False, True], ids=["by the closer", "by the supervisor"])
def test_a_board_that_slept_shuts_what_is_overdue_within_a_second(watched: bool) -> None:
    # real time: up to a second. While it sleeps nobody can shut anything; the thread's own waiting
    # has not come to its end when the board wakes.
    clock = SleepyClock()
    shut = threading.Event()

    class Told(GoodPins):
        def write(self, number: int, on: bool) -> None:
            super().write(number, on)
            if not on and self.moves:
                shut.set()

    pins = Told(clock)
    bank = Bank((limits(5),), pins, clock, lambda _: None)
    closer = Closer(bank, clock, beat_s=60.0 if watched else BEAT_S)
    supervisor = Supervisor(bank, closer, clock)
    closer.start()
    bank.open(5, for_s=600.0)
    clock.slept_s += 3600.0
    woke_s = clock.mono_s()
    if watched:
        found = supervisor.check()
        assert found.closed_late == (5,) and found.sound
    assert shut.wait(30.0)
    assert clock.mono_s() - woke_s < BEAT_S + 20.0  # the rest is the machine's
    assert bank.used_s(5) > 3600.0 - 1.0  # it ran all the time, and that is counted
    bank.shut_down("the test is over")
    assert closer.stop(at_most_s=30.0)


def test_after_a_sleep_the_closer_is_not_taken_for_dead_before_it_can_wake() -> None:
    h = Hand()
    h.closer.round()
    h.clock.advance(3600.0)  # the board slept; the main thread is the first to wake
    for _ in range(4):  # half a second between its looks, as in the daemon
        assert h.supervisor.check().sound
        h.clock.advance(0.5)
    h.closer.round()  # its waiting is over
    assert h.supervisor.check().sound
    assert shut_because(h.bank) == ""


def test_a_closer_with_a_fault_of_its_own_goes_on_but_does_not_beat() -> None:
    class Broken(Bank):
        def close_due(self, *, margin_s: float = 0.0, patience_s: float = -1.0) -> tuple[int, ...]:
            raise ArithmeticError("no such thing")

    clock = HandClock()
    closer = Closer(Broken((limits(5),), GoodPins(clock), clock, lambda _: None), clock)
    clock.advance(1.0)
    assert closer.round() == ()
    assert closer.fault == "no such thing"
    assert closer.last_beat_mono_s == clock.mono - 1.0


def test_a_line_that_does_not_close_is_named_and_does_not_end_the_process() -> None:
    h = Hand(OffThrows)
    h.bank.open(5, for_s=2.0)
    h.pins.bad.add(5)
    h.clock.advance(2.0)
    h.closer.round()
    found = h.supervisor.check()
    assert stuck(h.bank) == (5,)
    assert found.sound


def test_a_lock_that_cannot_be_had_does_not_keep_the_other_lines_on() -> None:
    entered, go_on = threading.Event(), threading.Event()

    class HangsOnSix(GoodPins):
        def write(self, number: int, on: bool) -> None:
            if on and number == 6:
                entered.set()
                assert go_on.wait(30.0)
            super().write(number, on)

    h = Hand(HangsOnSix)
    h.bank.open(5, for_s=60.0)
    refused: list[str] = []

    def opens() -> None:
        try:
            h.bank.open(6, for_s=60.0)
        except ValveRefused as why:
            refused.append(str(why))

    hung = threading.Thread(target=opens)
    hung.start()
    assert entered.wait(30.0)
    found = h.supervisor.check()
    assert found.faults == ("the valve bank has been busy for more than 0.01 s",)
    assert not found.sound
    assert not h.pins.really_on(5)
    go_on.set()
    hung.join(30.0)
    # The opening that hung got through after all, and was closed again at once.
    assert not h.pins.really_on(6)
    assert refused == ["line 6 was closed again at once: driven off past the lock"]
    assert not h.supervisor.check().sound  # what ended the process once is not forgotten


@pytest.mark.parametrize("stale", [False, True])
@pytest.mark.parametrize("after", ["close_due", "look"])
def test_a_lock_that_is_lost_in_the_midst_of_a_look_does_not_hold_the_supervisor(
    monkeypatch: pytest.MonkeyPatch, after: str, stale: bool
) -> None:
    h = Hand()
    h.bank.open(5, for_s=60.0)
    if stale:  # the bank is to be shut for it, too
        for _ in range(5):
            h.clock.advance(1.0)
            assert h.supervisor.check().sound
        h.clock.advance(1.0)
    done, held, over = getattr(h.bank, after), threading.Event(), threading.Event()

    def hang() -> None:
        with h.bank._changed:
            held.set()
            over.wait(30.0)

    def then_hang(**more: float) -> tuple[int, ...]:
        found: tuple[int, ...] = done(**more)
        threading.Thread(target=hang, daemon=True).start()
        assert held.wait(30.0)
        return found

    monkeypatch.setattr(h.bank, after, then_hang)
    found = h.supervisor.check()
    assert not found.sound and not h.pins.read(5)
    assert not h.bank._changed.acquire(blocking=False)  # it was not waited for
    over.set()


@pytest.mark.parametrize("longer_first", [False, True])
def test_the_thread_closes_at_the_deadline_though_it_sleeps_long(longer_first: bool) -> None:
    # real time: some tenths of a second; the beat is a minute, so only the bank can have woken it.
    clock = SystemClock()
    closed = threading.Event()
    records: list[BankRecord] = []

    class Told(GoodPins):
        def write(self, number: int, on: bool) -> None:
            super().write(number, on)
            if number == 5 and not on and self.moves:
                closed.set()

    pins = Told(clock)
    bank = Bank((limits(5), limits(6)), pins, clock, records.append)
    closer = Closer(bank, clock, beat_s=60.0)
    closer.start()
    if longer_first:
        bank.open(6, for_s=50.0)
    deadline_mono_s = bank.open(5, for_s=0.1)
    assert closed.wait(30.0)
    (_, _), (closed_mono_s, _) = pins.moves_of(5)
    assert deadline_mono_s <= closed_mono_s < deadline_mono_s + 20.0
    assert bank.shut_down("end of the test") == {}
    assert closer.stop(at_most_s=30.0)
    assert bank.states() == {5: State.CLOSED, 6: State.CLOSED}
