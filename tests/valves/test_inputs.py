"""Input pins: one pulse counts once, however the contact bounces; no counter raises."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from pytest import approx
from support.clock import HandClock
from support.lgpio import StandIn, on_a_known_board
from support.pins import HandInputs

from controller.errors import OutOfRange, ValveFault
from controller.valves.gpio import GpioInputs, GpioPins
from controller.valves.pins import Debounce, PulseCounter

METER = 23


class Heard(PulseCounter):
    """A counter that remembers the moments, too."""

    def __init__(self) -> None:
        super().__init__()
        self.moments: list[float] = []

    def edge(self, mono_s: float) -> None:
        super().edge(mono_s)
        self.moments.append(mono_s)


@pytest.fixture
def lgpio(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    yield from on_a_known_board(monkeypatch)


def counts(debounce: Debounce, changes: list[tuple[float, bool]]) -> list[float]:
    return [at for at, active in changes if debounce.changed(active, at)]


def test_a_contact_that_bounces_on_closing_and_on_opening_counts_once() -> None:
    # WORKED: 2 ms of debounce; it bounces for 1.5 ms as it closes at 0, and as it opens at 50 ms.
    ms = [(0.0, True), (0.4, False), (0.8, True), (1.2, False), (1.5, True)]
    ms += [(50.0, False), (50.3, True), (50.9, False), (51.5, True), (51.6, False)]
    ms += [(100.0, True), (150.0, False)]
    debounce = Debounce(0.002)
    debounce.starts(False)
    assert counts(debounce, [(at / 1e3, active) for at, active in ms]) == [0.0, 0.1]


def test_without_debounce_every_edge_counts() -> None:
    debounce = Debounce(0.0)
    debounce.starts(False)
    assert counts(debounce, [(0.0, True), (0.0, False), (0.0, True)]) == [0.0, 0.0]


def test_a_level_found_at_the_start_is_no_edge() -> None:
    debounce = Debounce(0.002)
    debounce.starts(True)
    assert counts(debounce, [(1.0, True), (2.0, False), (3.0, True)]) == [3.0]


@pytest.mark.parametrize("wrong", [-0.1, float("nan"), 61.0])
def test_a_debounce_without_sense_is_refused(wrong: float) -> None:
    with pytest.raises(OutOfRange, match=r"^debounce_s\b"):
        Debounce(wrong)


def test_an_edge_counts_after_just_the_debounce_time_at_rest() -> None:
    debounce = Debounce(0.5)
    debounce.starts(False)
    assert counts(debounce, [(1.0, True), (1.5, False), (2.0, True)]) == [1.0, 2.0]


def test_a_counter_counts() -> None:
    counter = PulseCounter()
    assert counter.count() == 0
    for i in range(20):
        counter.edge(100.0 + 0.5 * i)  # 100 to 109.5 s
    assert counter.count() == 20


def test_many_threads_lose_no_pulse() -> None:
    counter = PulseCounter()

    def many_edges() -> None:
        for i in range(2000):
            counter.edge(float(i))

    threads = [threading.Thread(target=many_edges) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counter.count() == 8000


def test_hand_driven_inputs_tell_of_edges_and_level() -> None:
    inputs, counter = HandInputs(), Heard()
    inputs.watch(METER, active_low=True, debounce_s=0.002, on_edge=counter.edge)
    inputs.pulse(METER, 10.0)
    inputs.put(METER, True, 11.0)
    inputs.put(METER, False, 11.0005)
    inputs.put(METER, True, 11.001)  # it bounces
    assert inputs.level(METER)
    assert (counter.count(), counter.moments[-1]) == (2, 11.0)
    inputs.broken.add(METER)
    with pytest.raises(ValveFault, match="line 23 cannot be read"):
        inputs.level(METER)
    with pytest.raises(ValveFault, match="taken already"):
        inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=counter.edge)
    with pytest.raises(ValveFault, match="never taken as an input"):
        inputs.level(99)


def test_a_hand_driven_input_that_is_on_when_the_watch_begins_is_no_pulse() -> None:
    inputs, counter = HandInputs(), PulseCounter()
    inputs.put(METER, True, 1.0)  # before anybody watches
    inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=counter.edge)
    assert inputs.level(METER)
    inputs.put(METER, True, 2.0)
    assert counter.count() == 0
    inputs.put(24, True, 3.0)  # nobody watches that one
    inputs.watch(25, active_low=True, debounce_s=0.0, on_edge=counter.edge)
    assert inputs.level(25) is False
    assert counter.count() == 0


def test_a_hand_driven_pulse_is_over_after_its_time() -> None:
    inputs, counter = HandInputs(), PulseCounter()
    inputs.watch(METER, active_low=True, debounce_s=0.1, on_edge=counter.edge)
    inputs.pulse(METER, 10.0, for_s=0.05)
    assert inputs.level(METER) is False
    inputs.pulse(METER, 10.125)  # at rest for 0.075 s only
    assert counter.count() == 1
    inputs.pulse(METER, 10.24)  # since 10.135 s
    assert counter.count() == 2


@pytest.mark.parametrize("active_low", [True, False])
def test_pretended_pins_count_clean_pulses_of_either_polarity(active_low: bool) -> None:
    pins, counter = GpioPins("mock"), Heard()
    inputs = GpioInputs(pins, HandClock())
    inputs.watch(METER, active_low=active_low, debounce_s=0.0, on_edge=counter.edge)
    pin = pins.factory.pin(METER)
    assert not inputs.level(METER)  # the pull is to the side at rest
    close, rest = (pin.drive_low, pin.drive_high) if active_low else (pin.drive_high, pin.drive_low)
    for _ in range(3):
        close()
        assert inputs.level(METER)
        rest()
    assert not inputs.level(METER)
    assert counter.count() == 3
    assert counter.moments[-1] == approx(HandClock().mono_s(), abs=5.0)


def test_pretended_pins_that_bounce_count_once() -> None:
    pins, counter = GpioPins("mock"), PulseCounter()
    inputs = GpioInputs(pins, HandClock())
    inputs.watch(METER, active_low=True, debounce_s=30.0, on_edge=counter.edge)
    pin = pins.factory.pin(METER)
    for _ in range(5):  # all within far less than the debounce time
        pin.drive_low()
        pin.drive_high()
    assert counter.count() == 1


def test_over_lgpio_edges_are_counted_by_the_kernels_time(lgpio: StandIn) -> None:
    # The interpreter may be late; the kernel's stamps tell bounces from pulses all the same.
    clock, counter = HandClock(), Heard()
    clock.mono = 50.0
    inputs = GpioInputs(GpioPins("lgpio", chip=0), clock, slept_s=lambda: 0.0)
    lgpio.levels[METER] = 1
    inputs.watch(METER, active_low=True, debounce_s=0.002, on_edge=counter.edge)
    assert ("debounce", METER, 2000) in lgpio.calls
    second = 1_000_000_000
    for at_ns, level in ((48 * second, 0), (48 * second + 300_000, 1), (48 * second + 600_000, 0)):
        lgpio.edge(METER, level, at_ns)
    assert inputs.level(METER)
    lgpio.edge(METER, 1, 49 * second)
    lgpio.edge(METER, 2, 49 * second)  # lgpio's word for a time-out
    lgpio.edge(METER, 0, 49 * second + second // 2)
    assert (counter.count(), counter.moments[-1]) == (2, 49.5)


def test_what_the_board_slept_is_added_to_the_kernels_stamps(lgpio: StandIn) -> None:
    clock, counter = HandClock(), Heard()
    clock.mono = 50.0 + 3600.0
    inputs = GpioInputs(GpioPins("lgpio", chip=0), clock, slept_s=lambda: 3600.0)
    lgpio.levels[METER] = 1
    inputs.watch(METER, active_low=True, debounce_s=0.002, on_edge=counter.edge)
    lgpio.edge(METER, 0, 48_250_000_000)  # awake seconds since the boot
    assert counter.moments[-1] == 3648.25


def test_a_kernel_that_stamps_with_another_clock_is_told_the_time(lgpio: StandIn) -> None:
    clock, counter = HandClock(), Heard()
    inputs = GpioInputs(GpioPins("lgpio", chip=0), clock)
    lgpio.levels[METER] = 1
    inputs.watch(METER, active_low=True, debounce_s=0.002, on_edge=counter.edge)
    lgpio.edge(METER, 0, 1_900_000_000 * 1_000_000_000)  # wall clock: kernels before 5.7
    assert counter.moments[-1] == clock.mono


def test_a_line_that_cannot_be_had_is_our_fault_not_gpiozeros(lgpio: StandIn) -> None:
    lgpio.dead.add(METER)
    inputs = GpioInputs(GpioPins("lgpio", chip=0), HandClock())
    with pytest.raises(ValveFault, match="line 23 cannot be taken as an input: GPIO busy"):
        inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=lambda _: None)
    with pytest.raises(ValveFault, match="never taken"):
        inputs.level(METER)


def test_a_line_that_drives_a_valve_is_no_input() -> None:
    pins = GpioPins("mock")
    pins.claim(METER, active_low=True)
    with pytest.raises(ValveFault, match="line 23 cannot be taken as an input"):
        GpioInputs(pins, HandClock()).watch(
            METER, active_low=True, debounce_s=0.0, on_edge=lambda _: None
        )


@pytest.mark.parametrize(("active_low", "on"), [(True, 0), (False, 1)])
def test_over_lgpio_the_level_found_at_the_start_is_no_pulse(
    lgpio: StandIn, active_low: bool, on: int
) -> None:
    counter, inputs = PulseCounter(), GpioInputs(GpioPins("lgpio", chip=0), HandClock())
    lgpio.levels[METER] = on
    inputs.watch(METER, active_low=active_low, debounce_s=0.002, on_edge=counter.edge)
    assert inputs.level(METER)
    lgpio.edge(METER, on, 1_000_000_000)  # the kernel may tell the level once more
    assert counter.count() == 0
    lgpio.edge(METER, 1 - on, 2_000_000_000)
    lgpio.edge(METER, on, 3_000_000_000)
    assert counter.count() == 1


def test_over_lgpio_a_line_is_taken_once_and_says_when_it_cannot_be_read(lgpio: StandIn) -> None:
    inputs = GpioInputs(GpioPins("lgpio", chip=0), HandClock())
    inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=lambda _: None)
    with pytest.raises(ValveFault, match="line 23 is taken already: two things cannot share"):
        inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=lambda _: None)
    lgpio.dead.add(METER)
    with pytest.raises(ValveFault, match="line 23 cannot be read: GPIO busy"):
        inputs.level(METER)


@pytest.mark.parametrize(("early_s", "told_s"), [(4.5, 45.5), (5.5, 50.0), (-4.5, 54.5)])
def test_a_stamp_is_believed_within_five_seconds_of_now(
    lgpio: StandIn, early_s: float, told_s: float
) -> None:
    clock, counter = HandClock(), Heard()
    clock.mono = 50.0
    inputs = GpioInputs(GpioPins("lgpio", chip=0), clock)
    lgpio.levels[METER] = 1
    inputs.watch(METER, active_low=True, debounce_s=0.0, on_edge=counter.edge)
    lgpio.edge(METER, 0, round((50.0 - early_s) * 1e9))
    # WORKED: now is 50 s; a stamp farther away than 5 s is taken as now.
    assert counter.moments[-1] == approx(told_s, abs=1e-3)
