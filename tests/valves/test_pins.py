"""Calls of the pin driver come back in time, whatever hangs in it; real threads, short limits."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import pytest
from support.clock import HandClock
from support.pins import Hangs, OffThrows, ReadThrows
from support.until import until

from controller.errors import ValveFault
from controller.valves import pins as timed
from controller.valves.pins import LOOK_S, LOOKS, LOOKS_AGAIN, PinDriver, TimedPins


def hands() -> int:
    """How many threads there are that make calls."""
    return sum(thread.name == "pins" for thread in threading.enumerate())


@pytest.fixture(autouse=True)
def no_hand_is_left(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    before = hands()
    made: list[TimedPins] = []
    real = TimedPins.__init__

    def noted(self: TimedPins, *arguments: object, **more: object) -> None:
        made.append(self)
        real(self, *arguments, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(TimedPins, "__init__", noted)
    yield
    for each in made:
        if isinstance(each._pins, Hangs):
            each._pins.come_back.set()
            until(lambda: not each.hanging())  # noqa: B023 - asked at once
        with_none_claimed(each)
    until(lambda: hands() <= before)


def with_none_claimed(pins: TimedPins) -> None:
    pins._claimed.clear()
    pins.release_all()


class Set:
    """Lines 5 and 6 through `TimedPins`, looked at five times within a tenth of a second."""

    def __init__(self, pins: Callable[[HandClock], PinDriver] = Hangs) -> None:
        self.clock = HandClock()
        self.raw = pins(self.clock)
        assert isinstance(self.raw, Hangs) or pins is not Hangs
        self.pins = TimedPins(self.raw, self.clock, looks=5, look_s=0.02)
        for number in (5, 6):
            self.pins.claim(number, active_low=True)


def the_hanging(*hangs: tuple[int, str]) -> tuple[Set, Hangs]:
    made = Set()
    assert isinstance(made.raw, Hangs)
    made.raw.hangs.update(hangs)
    made.raw.calls.clear()
    return made, made.raw


def test_a_closing_is_delayed_by_well_under_a_second() -> None:
    # WORKED: 10 + 3 looks of 0.05 s.
    assert pytest.approx(0.65) == (LOOKS + LOOKS_AGAIN) * LOOK_S


def test_what_does_not_hang_passes_through() -> None:
    made, raw = the_hanging()
    made.pins.write(5, True)
    assert made.pins.read(5) and not made.pins.read(6)
    assert raw.calls == [(5, "on"), (5, "read"), (6, "read")]
    made.pins.write(5, False)
    made.pins.let_go(6)
    assert raw._on == {5: False}
    assert made.pins.hanging() == {}


def test_a_fault_of_the_driver_is_the_same_fault() -> None:
    made = Set(OffThrows)
    made.raw.bad.add(5)  # type: ignore[attr-defined]
    with pytest.raises(OSError, match="I/O error"):
        made.pins.write(5, False)
    made.pins.write(6, False)
    reads = Set(ReadThrows)
    reads.raw.bad.add(6)  # type: ignore[attr-defined]
    with pytest.raises(OSError, match="cannot be read"):
        reads.pins.read(6)
    with pytest.raises(ValveFault, match="taken already"):
        reads.pins.claim(6, active_low=True)


@pytest.mark.parametrize(
    ("what", "words"),
    [("on", "driving on"), ("off", "driving off"), ("read", "reading"), ("claim", "taking")],
)
def test_a_call_that_hangs_is_a_fault_in_time_and_holds_up_no_other_line(
    what: str, words: str
) -> None:
    made, _ = the_hanging((5, what), (7, what))
    line = 7 if what == "claim" else 5
    made.clock.mono = 1234.5
    calls: dict[str, Callable[[], object]] = {
        "on": lambda: made.pins.write(5, True),
        "off": lambda: made.pins.write(5, False),
        "read": lambda: made.pins.read(5),
        "claim": lambda: made.pins.claim(7, active_low=True),
    }
    # real time: looks at a driver that hangs are so long apart
    begun_s = time.monotonic()
    with pytest.raises(ValveFault, match=f"does not come back from {words} line {line}$"):
        calls[what]()
    assert 0.1 <= time.monotonic() - begun_s < 20.0
    assert made.pins.hanging() == {line: 1234.5}
    made.pins.write(6, True)
    assert made.pins.read(6)
    assert len(made.pins._idle) == 2  # one that is free, and a spare begun for the one that hangs


def test_a_call_that_is_only_slow_is_waited_for() -> None:
    made, raw = the_hanging((5, "on"))
    made.pins._looks = 1000  # however late a busy machine is
    slow = threading.Timer(0.03, raw.come_back.set)
    slow.start()
    made.pins.write(5, True)
    assert raw.really_on(5) and made.pins.hanging() == {}


def test_what_drives_on_or_takes_is_refused_at_once_while_a_call_hangs() -> None:
    made, raw = the_hanging((5, "off"))
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    raw.calls.clear()
    begun = hands()
    calls: dict[str, Callable[[], object]] = {
        "driving on line 5": lambda: made.pins.write(5, True),
        "taking line 5": lambda: made.pins.claim(5, active_low=True),
        "giving back line 5": lambda: made.pins.let_go(5),
    }
    for words, refused in calls.items():
        with pytest.raises(ValveFault, match=f"does not come back from {words}"):
            refused()
    assert raw.calls == [] and hands() == begun


def test_where_a_thread_is_lost_and_not_the_line_another_drives_it_off() -> None:
    made, raw = the_hanging((5, "off"))
    raw.times = 1
    made.pins.write(5, True)
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    assert raw.really_on(5)
    made.pins.write(5, False)
    assert not raw.really_on(5) and not made.pins.read(5)
    assert made.pins.hanging() == {5: made.clock.mono}  # the first is still away


def test_a_line_whose_driving_on_hangs_is_driven_off_and_still_not_known_to_be_off() -> None:
    made, raw = the_hanging((5, "on"))
    with pytest.raises(ValveFault, match="driving on line 5"):
        made.pins.write(5, True)
    raw._on[5] = True  # it may have come through
    with pytest.raises(ValveFault, match="line 5 was driven off, but driving it on still hangs"):
        made.pins.write(5, False)
    assert not raw.really_on(5)


def test_a_line_holds_two_workers_at_most() -> None:
    made, raw = the_hanging((5, "off"), (5, "read"))
    for call in (lambda: made.pins.write(5, False), lambda: made.pins.read(5)):
        with pytest.raises(ValveFault):
            call()
    held = [call for call in raw.calls if call[0] == 5]
    assert held == [(5, "off"), (5, "read")]
    begun = hands()
    for _ in range(50):
        with pytest.raises(ValveFault, match="driving off line 5"):
            made.pins.write(5, False)
        with pytest.raises(ValveFault, match="reading line 5"):
            made.pins.read(5)
    assert hands() == begun
    assert [call for call in raw.calls if call[0] == 5] == held
    made.pins.write(6, True)


@pytest.mark.parametrize("what", ["on", "off"])
def test_a_call_that_comes_back_late_leaves_the_line_off_and_usable(what: str) -> None:
    made, raw = the_hanging((5, what))
    with pytest.raises(ValveFault):
        made.pins.write(5, what == "on")
    raw._on[5] = True
    raw.hangs.clear()
    raw.come_back.set()
    until(lambda: not made.pins.hanging())
    assert not raw.really_on(5)
    assert raw.calls[-1] == (5, "off")
    made.pins.write(5, True)
    assert made.pins.read(5)


def test_taking_a_line_is_waited_for_longer_than_driving_it() -> None:
    made, raw = the_hanging((7, "claim"))
    assert timed.TAKING == 10
    threading.Timer(0.2, raw.come_back.set).start()  # driving would be given up after 0.1 s
    made.pins.claim(7, active_low=True)
    assert made.pins.hanging() == {} and not made.pins.read(7)


def test_a_line_that_was_taken_late_is_driven_off_when_it_is_asked_for_again() -> None:
    made, raw = the_hanging((7, "claim"))
    with pytest.raises(ValveFault, match="taking line 7"):
        made.pins.claim(7, active_low=True)
    raw.come_back.set()
    until(lambda: not made.pins.hanging())
    raw.calls.clear()
    made.pins.claim(7, active_low=True)
    assert raw.calls == [(7, "off")]
    made.pins.write(7, True)
    with pytest.raises(ValveFault, match="taken already"):
        made.pins.claim(7, active_low=True)
    made.pins.release_all()
    assert not raw.really_on(7)


def test_a_line_that_was_taken_late_at_the_other_level_is_the_drivers_to_refuse() -> None:
    made, raw = the_hanging((7, "claim"))
    with pytest.raises(ValveFault):
        made.pins.claim(7, active_low=True)
    raw.come_back.set()
    until(lambda: not made.pins.hanging())
    with pytest.raises(ValveFault, match="taken already"):
        made.pins.claim(7, active_low=False)


def test_a_reading_that_comes_back_late_moves_nothing() -> None:
    made, raw = the_hanging((5, "read"))
    made.pins.write(5, True)
    with pytest.raises(ValveFault):
        made.pins.read(5)
    raw.come_back.set()
    until(lambda: not made.pins.hanging())
    assert raw.really_on(5)
    assert raw.calls == [(5, "on"), (5, "read")]


def test_since_when_is_that_of_the_first_call_that_hangs() -> None:
    made, _ = the_hanging((5, "off"))
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    first_s = made.clock.mono
    made.clock.advance(7.0)
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    assert made.pins.hanging() == {5: first_s}


def test_in_passing_a_line_is_read_by_who_asks_and_not_while_anything_hangs() -> None:
    made, raw = the_hanging((5, "off"))
    readers: list[threading.Thread] = []
    real = raw.read

    def read(number: int) -> bool:
        readers.append(threading.current_thread())
        return real(number)

    raw.read = read  # type: ignore[method-assign]
    made.pins.write(6, True)
    assert made.pins.glance(6) and not made.pins.glance(5)
    assert readers == [threading.current_thread()] * 2
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    with pytest.raises(ValveFault, match="line 6 is not read in passing while a call hangs"):
        made.pins.glance(6)
    assert made.pins.read(6)
    assert readers[2] is not threading.current_thread()


def test_at_the_end_every_line_that_obeys_is_off_and_the_others_are_named() -> None:
    made, raw = the_hanging((5, "off"))
    made.pins.claim(7, active_low=True)
    made.pins.claim(8, active_low=True)
    made.pins.let_go(8)
    for number in (6, 7):
        made.pins.write(number, True)
    raw.calls.clear()
    with pytest.raises(ValveFault, match=r"^the pin driver does not come back from driving off"):
        made.pins.release_all()
    assert raw.calls == [(5, "off"), (6, "off"), (7, "off")]
    assert not raw.really_on(6) and not raw.really_on(7)


def test_the_spare_hand_is_there_where_no_thread_can_be_begun(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made, raw = the_hanging((5, "off"))

    def none(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", none)
        with pytest.raises(ValveFault):
            made.pins.write(5, False)
        made.pins.write(6, True)  # by the spare
        raw.hangs.add((6, "off"))
        with pytest.raises(ValveFault):
            made.pins.write(6, False)
        # None is left. A line of which a call hangs is let be, another is told directly.
        with pytest.raises(ValveFault, match="driving off line 6"):
            made.pins.write(6, False)
        made.pins.claim(7, active_low=True)
        made.pins.write(7, True)
        assert made.pins.read(7)


def test_a_line_of_which_a_call_hangs_is_waited_for_less() -> None:
    made, _ = the_hanging((5, "off"), (6, "on"), (7, "claim"))
    with pytest.raises(ValveFault):
        made.pins.write(5, False)
    looks: list[float] = []
    real = timed._Call.__init__

    class Counted:
        """Nobody comes back, and each look is counted."""

        def acquire(self, blocking: bool = True, timeout: float = -1.0) -> bool:
            looks.append(timeout if blocking else 0.0)
            return False

        def release(self) -> None:
            """Nobody waits."""

    def counted(self: timed._Call, *arguments: object, **more: object) -> None:
        real(self, *arguments, **more)  # type: ignore[arg-type]
        self.done = Counted()  # type: ignore[assignment]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(timed._Call, "__init__", counted)
        with pytest.raises(ValveFault, match="driving off line 5"):
            made.pins.write(5, False)
        assert looks == [0.02] * 3 + [0.0]
        looks.clear()
        with pytest.raises(ValveFault, match="driving on line 6"):
            made.pins.write(6, True)
        assert looks == [0.02] * 5 + [0.0]
        looks.clear()
        with pytest.raises(ValveFault, match="taking line 7"):
            made.pins.claim(7, active_low=True)
        assert looks == [0.02] * 50 + [0.0]


def test_a_call_that_comes_back_at_the_last_moment_does_not_hang() -> None:
    made, _ = the_hanging()
    made.pins._looks = 0

    def at_once(worker: timed._Worker, call: timed._Call) -> None:
        call.result = call.act()
        made.pins._came_back(worker, call)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(timed._Worker, "give", at_once)
        assert made.pins.read(5) is False
    assert made.pins.hanging() == {}


def test_two_calls_at_once_have_a_worker_each() -> None:
    made, raw = the_hanging((5, "on"))
    made.pins._looks = 1000
    first = threading.Thread(target=made.pins.write, args=(5, True))
    first.start()
    assert raw.entered.acquire(timeout=30.0)
    made.pins.write(6, True)
    assert raw.really_on(6) and not raw.really_on(5)
    raw.come_back.set()
    first.join(30.0)
    assert raw.really_on(5)


def test_workers_do_not_keep_the_process_alive(monkeypatch: pytest.MonkeyPatch) -> None:
    made, _ = the_hanging()
    assert all(worker.thread.daemon for worker in made.pins._idle)
    assert timed._MOST_WORKERS == 2
