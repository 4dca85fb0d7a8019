"""The pins through gpiozero: levels in order, from the first; every fault is a ValveFault."""

from __future__ import annotations

import gc
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import gpiozero
import pytest
from gpiozero.pins.local import LocalPiFactory
from gpiozero.pins.mock import MockPin
from support.clock import HandClock
from support.lgpio import StandIn, on_a_known_board
from support.pins import RecordingPins, limits

from controller.errors import ValveFault
from controller.valves.bank import Bank
from controller.valves.gpio import GpioPins, line_number
from controller.valves.line import LineLimits, State

LOW, HIGH = False, True


def levels(pins: GpioPins, number: int) -> list[bool]:
    """The electrical levels of a pretended line, from the first."""
    return [s.state for s in pins.factory.pin(number).states]


@pytest.fixture
def lgpio(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    yield from on_a_known_board(monkeypatch)


def test_pretended_pins_have_no_chip() -> None:
    assert GpioPins("mock").chip is None


def test_an_active_low_relay_sees_high_low_high() -> None:
    # The first level is the pretended input before it is taken; GPIO 17 has no pull there.
    pins = GpioPins("mock")
    pins.claim(17, active_low=True)
    assert not pins.read(17)
    pins.write(17, True)
    assert pins.read(17)
    pins.write(17, False)
    assert not pins.read(17)
    assert levels(pins, 17) == [LOW, HIGH, LOW, HIGH]


def test_an_active_high_relay_sees_low_high_low() -> None:
    pins = GpioPins("mock")
    pins.claim(17, active_low=False)
    pins.write(17, True)
    pins.write(17, False)
    assert levels(pins, 17) == [LOW, HIGH, LOW]


def test_a_line_with_a_pull_up_never_moves_before_it_is_told() -> None:
    # GPIO 2 has a fixed pull-up on the board: high from power-on, which is off for active low.
    pins = GpioPins("mock")
    pins.claim(2, active_low=True)
    assert levels(pins, 2) == [HIGH]


def test_releasing_all_leaves_outputs_that_are_off() -> None:
    pins = GpioPins("mock")
    for number in (17, 27):
        pins.claim(number, active_low=True)
        pins.write(number, True)
    pins.release_all()
    for number in (17, 27):
        assert levels(pins, number) == [LOW, HIGH, LOW, HIGH]
        assert pins.factory.pin(number).function == "output"


def test_releasing_all_gives_each_line_its_own_try() -> None:
    class NeverHighAgain(MockPin):  # type: ignore[misc]
        def _set_state(self, value: bool) -> None:
            if value and self.states[-1].state == LOW and len(self.states) > 1:
                raise RuntimeError("broken wire")
            super()._set_state(value)

    pins = GpioPins("mock")
    pins.factory.pin(17, pin_class=NeverHighAgain)
    for number in (17, 27):
        pins.claim(number, active_low=True)
        pins.write(number, True)
    with pytest.raises(ValveFault, match="line 17 cannot be driven off: broken wire"):
        pins.release_all()
    assert levels(pins, 27) == [LOW, HIGH, LOW, HIGH]


def test_recorded_pins_are_all_released_and_remember_it() -> None:
    clock = HandClock()
    pins = RecordingPins(clock)
    for number in (17, 27):
        pins.claim(number, active_low=True)
    pins.write(17, True)
    clock.advance(3.0)
    pins.release_all()
    assert [(move.number, move.on) for move in pins.moves] == [(17, True), (17, False)]
    assert pins.moves[1].mono_s - pins.moves[0].mono_s == 3.0
    assert pins.read(17) is False
    with pytest.raises(ValveFault, match="line 17 is taken already: two valves cannot share"):
        pins.claim(17, active_low=True)
    with pytest.raises(ValveFault, match="line 5 was never taken as an output"):
        pins.read(5)


def test_a_recorded_line_that_is_let_go_goes_off_and_is_nobodys() -> None:
    pins = RecordingPins(HandClock())
    pins.claim(17, active_low=True)
    pins.write(17, True)
    pins.let_go(17)
    assert [move.on for move in pins.moves] == [True, False]
    with pytest.raises(ValveFault, match="never taken"):
        pins.read(17)


def test_a_bank_over_pretended_pins_leaves_the_whole_history_of_levels() -> None:
    clock, pins = HandClock(), GpioPins("mock")
    bank = Bank((limits(17), limits(27)), pins, clock, lambda _: None)
    bank.open(17, for_s=10.0)
    clock.advance(10.0)
    bank.close_due()
    bank.open(27, for_s=5.0)
    bank.shut_down("end")
    assert levels(pins, 17) == [LOW, HIGH, LOW, HIGH]
    assert levels(pins, 27) == [LOW, HIGH, LOW, HIGH]


def test_a_line_that_goes_on_once_and_sticks_is_seen_by_the_bank() -> None:
    class StuckPin(MockPin):  # type: ignore[misc]
        stuck = False

        def _set_state(self, value: bool) -> None:
            self.stuck = self.stuck or (value == LOW)  # active low: low is on
            super()._set_state(LOW if self.stuck else value)

    clock, pins = HandClock(), GpioPins("mock")
    pins.factory.pin(17, pin_class=StuckPin)
    bank = Bank((limits(17), limits(27)), pins, clock, lambda _: None)
    bank.open(17, for_s=10.0)
    bank.open(27, for_s=10.0)
    clock.advance(10.0)
    assert bank.close_due() == (27,)
    assert bank.states() == {17: State.STUCK, 27: State.CLOSED}


@pytest.mark.parametrize("pin", [17, "17", "GPIO17", "BCM17", " gpio17 "])
def test_one_line_has_many_spellings_and_one_number(pin: int | str) -> None:
    assert line_number(pin) == 17


@pytest.mark.parametrize("pin", [True, -1, 17.0, "", "J8:11", "BOARD11", "17.0", "X9", None])
def test_what_is_no_bcm_number_is_refused(pin: Any) -> None:
    with pytest.raises(ValveFault, match="allowed is a BCM GPIO number"):
        line_number(pin)


@pytest.mark.parametrize("pin", [0, "0", "GPIO0"])
def test_the_first_line_of_the_chip_is_a_line(pin: int | str) -> None:
    assert line_number(pin) == 0


def test_the_same_line_twice_is_refused() -> None:
    pins = GpioPins("mock")
    pins.claim(17, active_low=True)
    with pytest.raises(ValveFault, match="line 17 is taken already"):
        pins.claim(17, active_low=True)


def test_a_line_the_board_has_not_is_our_fault_not_gpiozeros() -> None:
    with pytest.raises(ValveFault, match="line 99 cannot be taken as an output"):
        GpioPins("mock").claim(99, active_low=True)


def test_a_line_never_taken_can_be_neither_driven_nor_read() -> None:
    pins = GpioPins("mock")
    with pytest.raises(ValveFault, match="line 17 was never taken"):
        pins.write(17, True)
    with pytest.raises(ValveFault, match="line 17 was never taken"):
        pins.read(17)


def test_no_driver_is_guessed() -> None:
    with pytest.raises(ValveFault, match='allowed is "lgpio" or "mock"'):
        GpioPins("rpigpio")  # type: ignore[arg-type]


def test_a_board_without_lgpio_is_told_which_package_brings_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    with pytest.raises(ValveFault, match=r"python3-lgpio .* system site packages.*--pins mock"):
        GpioPins("lgpio")


def test_an_empty_module_of_that_name_is_not_taken_for_lgpio(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", ModuleType("lgpio"))
    with pytest.raises(ValveFault, match="empty stand-in without gpiochip_open"):
        GpioPins("lgpio")


def test_a_directory_that_takes_no_fifo_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    class Refuses:
        def find_spec(self, name: str, *more: object) -> None:
            if name == "lgpio":
                raise OSError("Permission denied: '.lgd-nfy0'")  # as lgpio's import says it

    monkeypatch.chdir(tmp_path)
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Refuses(), *sys.meta_path])
    with pytest.raises(ValveFault) as fault:
        GpioPins("lgpio")
    assert f"{tmp_path} (Permission denied: '.lgd-nfy0')" in str(fault.value)
    assert "LG_WD" in str(fault.value)


def test_a_line_that_stops_obeying_is_named_with_what_was_asked(lgpio: StandIn) -> None:
    pins = GpioPins("lgpio", chip=0)
    pins.claim(17, active_low=True)
    lgpio.dead.add(17)
    with pytest.raises(ValveFault, match="line 17 cannot be driven on: GPIO busy"):
        pins.write(17, True)
    with pytest.raises(ValveFault, match="line 17 cannot be driven off: GPIO busy"):
        pins.write(17, False)
    with pytest.raises(ValveFault, match="line 17 cannot be read: GPIO busy"):
        pins.read(17)
    lgpio.dead.clear()


def test_a_chip_that_cannot_be_opened_names_the_group(lgpio: StandIn) -> None:
    with pytest.raises(ValveFault, match=r"can not open gpiochip.*group that owns /dev/gpiochip"):
        GpioPins("lgpio", chip=99)


def test_a_computer_without_a_pin_header_is_told_so(
    lgpio: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_revision(self: object) -> int:
        raise gpiozero.PinUnknownPi("unable to locate Pi revision")

    monkeypatch.setattr(LocalPiFactory, "_get_revision", no_revision)
    with pytest.raises(ValveFault, match=r"not a board whose pin header gpiozero knows.*mock"):
        GpioPins("lgpio")


def test_the_chip_asked_for_is_the_one_opened(lgpio: StandIn) -> None:
    assert GpioPins("lgpio", chip=4).chip == 4
    assert GpioPins("lgpio").chip == 0  # a board whose header is on the first chip
    assert lgpio.chips == [4, 0]


@pytest.mark.parametrize(("active_low", "off", "on"), [(True, 1, 0), (False, 0, 1)])
def test_the_first_level_written_is_off_and_there_is_no_pulse(
    lgpio: StandIn, active_low: bool, off: int, on: int
) -> None:
    # What must not be there: gpiozero's own class claims an output at 0, then writes the level it
    # wants, so an active-low relay pulls in at every start.
    pins = GpioPins("lgpio", chip=0)
    pins.claim(17, active_low)
    assert lgpio.calls == [("claim input", 17, 128), ("claim output", 17, off)]
    pins.write(17, True)
    assert pins.read(17)
    pins.write(17, False)
    assert not pins.read(17)
    assert lgpio.calls[2:] == [("write", 17, on), ("write", 17, off)]


def test_gpiozeros_own_pin_class_would_give_that_pulse(lgpio: StandIn) -> None:
    # The reason for the test above: should this one ever fail, our class may be dropped.
    from gpiozero.pins.lgpio import LGPIOFactory

    factory = LGPIOFactory(chip=0)
    gpiozero.DigitalOutputDevice(17, active_high=False, initial_value=False, pin_factory=factory)
    assert ("claim output", 17, 0) in lgpio.calls


def test_letting_go_of_a_line_drives_it_off_and_never_floats_it(lgpio: StandIn) -> None:
    pins = GpioPins("lgpio", chip=0)
    pins.claim(17, active_low=True)
    pins.write(17, True)
    lgpio.calls.clear()
    pins.factory.close()  # what gpiozero does at the end of the interpreter
    assert lgpio.calls == [("write", 17, 1), ("close chip", 7, 0)]


def test_a_bank_over_lgpio_takes_every_line_off_and_names_the_dead_one(lgpio: StandIn) -> None:
    lgpio.dead.add(17)
    clock = HandClock()
    lines = [
        LineLimits(number=n, active_low=True, longest_open_s=60.0, most_open_s_per_day=600.0)
        for n in (17, 27)
    ]
    bank = Bank(lines, GpioPins("lgpio", chip=0), clock, lambda _: None)
    assert bank.states() == {17: State.STUCK, 27: State.CLOSED}
    assert lgpio.levels == {27: 1}
    lgpio.dead.clear()
    assert bank.close_due() == (17,)
    assert lgpio.levels == {17: 1, 27: 1}
    assert bank.states()[17] is State.BARRED


def test_a_device_left_over_is_not_collected_while_a_pin_is_taken(
    lgpio: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    """gpiozero holds a lock then that a collected device wants: the thread would hang for ever."""
    pins = GpioPins("lgpio")
    board_info = pins.factory._get_board_info

    def collecting() -> Any:
        if gc.isenabled():  # as the interpreter may at any allocation
            gc.collect()
        return board_info()

    def leave_one() -> None:
        left = GpioPins("lgpio")
        left.claim(17, active_low=False)
        left.itself = left  # type: ignore[attr-defined]  # only a collection frees it

    gc.collect()
    leave_one()
    taking = threading.Thread(target=pins.claim, args=(18, False), daemon=True)
    with monkeypatch.context() as patch:
        patch.setattr(pins.factory, "_get_board_info", collecting)
        taking.start()
        taking.join(30.0)
    assert not taking.is_alive()
