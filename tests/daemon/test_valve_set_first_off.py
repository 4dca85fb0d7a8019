"""Lines the run before may have left on are driven off first, and kept off by the same pins."""

from __future__ import annotations

import json
import logging
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.daemon import CATALOGUE
from support.gardens import a_garden, a_zone
from support.lgpio import StandIn, on_a_known_board
from support.pins import ClaimThrows, GoodPins, OffThrows, SticksOn, ball, limits
from support.until import until

from controller.daemon import valve_set
from controller.daemon.garden_reload import Accepted, accept
from controller.daemon.valve_set import HeldLines, hold_known_lines
from controller.garden.model import Board
from controller.garden.plumbing import Device, Master, Valve, ValveKind
from controller.valves.alloff import read_line_file, write_line_file
from controller.valves.gpio import GpioInputs, GpioPins
from controller.valves.group import BankRecord, What
from controller.valves.line import LineLimits, MasterLimits, State
from controller.valves.pins import InputDriver, PinDriver

OPENER, SHUTTER = 5, 6  # eight seconds to shut, driven for ten
CLOSING_S = 10.0
BALL_VALVE = Valve(
    kind=ValveKind.RELAY,
    relay_line=OPENER,
    device=Device.BALL_STAYS,
    close_line=SHUTTER,
    opens_in_s=10.0,
    closes_in_s=8.0,
)


def the_garden(*lines: int, board: Board | None = None, with_ball: bool = False) -> Accepted:
    zones = [a_zone(f"zone {line}", line) for line in lines]
    if with_ball:
        zones.append(a_zone("ball", valve=BALL_VALVE))
    return accept(a_garden(*zones, board=board or Board(pins="mock")), CATALOGUE)


class Start:
    """A start, with the hands of the clock in the test's."""

    def __init__(
        self, folder: Path, *known: LineLimits, pins: Any = GoodPins, master: int = 0
    ) -> None:
        self.file, self.clock = folder / "lines.json", HandClock()
        self.pins = pins(self.clock)
        self.pins.pairs = ((OPENER, SHUTTER),)
        self.records: list[BankRecord] = []
        masters = [MasterLimits(number=master, active_low=True)] if master else []
        if known:
            write_line_file(self.file, known, "mock", None, masters)

    def hold(self, driver: PinDriver | None = None) -> HeldLines | None:
        held = hold_known_lines(self.file, self.clock, self.records.append, driver or self.pins)
        if held is not None:
            self.valve_set = held.valve_set
        return held

    def pass_s(self, seconds: float) -> None:
        self.clock.advance(seconds)
        self.valve_set.bank.close_due()


def test_on_the_first_start_there_is_nothing_to_hold(tmp_path: Path) -> None:
    start = Start(tmp_path)
    assert start.hold() is None
    assert start.pins._on == {}


def test_every_known_line_is_taken_off_the_master_first(tmp_path: Path) -> None:
    start = Start(tmp_path, limits(17), ball(OPENER, SHUTTER), limits(27), master=4)
    assert start.hold() is not None
    assert list(start.pins._on) == [4, 17, OPENER, SHUTTER, 27]
    assert [n for n, on in start.pins._on.items() if on] == [SHUTTER]  # being driven shut
    assert start.valve_set.bank.states() == {
        4: State.CLOSED,
        17: State.CLOSED,
        27: State.CLOSED,
        OPENER: State.CLOSING,
    }
    before = start.file.read_bytes()
    start.valve_set.bank.close_due()
    assert start.file.read_bytes() == before


def test_the_off_levels_are_those_of_the_line_file(tmp_path: Path) -> None:
    seen: list[tuple[int, bool]] = []

    class Told(GoodPins):
        def claim(self, number: int, active_low: bool) -> None:
            seen.append((number, active_low))
            super().claim(number, active_low)

    high = replace(limits(22), active_low=False)
    Start(tmp_path, limits(17), high, pins=Told).hold()
    assert seen == [(17, True), (22, False)]


@pytest.mark.parametrize(
    "words", ["", "{}", "[]", '{"pins": "mock", "chip": 0, "lines": 3}', "[" * 100_000, "\x00"]
)
def test_a_line_file_that_does_not_read_is_said_and_ends_no_start(
    tmp_path: Path, words: str, caplog: pytest.LogCaptureFixture
) -> None:
    start = Start(tmp_path)
    start.file.write_text(words, encoding="utf-8")
    assert start.hold() is None
    assert "no line is driven off yet" in caplog.text and str(start.file) in caplog.text


@pytest.mark.parametrize("for_s", [-1.0, 0.5, 1e9, "NaN"])
def test_a_ball_that_cannot_be_is_driven_off_though_not_shut(
    tmp_path: Path, for_s: float, caplog: pytest.LogCaptureFixture
) -> None:
    start = Start(tmp_path, limits(17), ball(OPENER, SHUTTER))
    told = json.loads(start.file.read_text())
    told["balls"][0]["for_s"] = for_s
    start.file.write_text(json.dumps(told))
    assert start.hold() is not None
    assert start.pins._on == {17: False, OPENER: False, SHUTTER: False}
    assert "no valve is driven shut yet" in caplog.text


def test_a_line_that_cannot_be_had_does_not_keep_the_others_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    start = Start(tmp_path, limits(17), limits(27), pins=ClaimThrows)
    start.pins.bad.add(17)
    assert start.hold() is not None
    assert start.pins._on == {27: False}
    assert "line 17 of the run before is not known to be off" in caplog.text
    assert [(r.number, r.what) for r in start.records] == [(17, What.FAULT)]
    start.pins.bad.clear()
    start.valve_set.begin(the_garden(17, 27), {})
    assert start.valve_set.bank.states() == {17: State.CLOSED, 27: State.CLOSED}


def test_pins_that_cannot_be_had_end_no_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    file = tmp_path / "lines.json"
    write_line_file(file, [limits(17)], "lgpio", 0)
    assert hold_known_lines(file, HandClock(), lambda _: None) is None
    assert "cannot be driven off yet" in caplog.text and "python3-lgpio" in caplog.text


@pytest.fixture(autouse=True)
def no_closer_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    begun: list[HeldLines] = []
    real = valve_set.HeldLines

    def noted(*arguments: Any) -> HeldLines:
        begun.append(real(*arguments))
        return begun[-1]

    monkeypatch.setattr(valve_set, "HeldLines", noted)
    yield
    for held in begun:
        held.valve_set.bank.shut_down("the test is over")
        assert held.valve_set.closer.stop(at_most_s=30.0)


# --- what comes after -----------------------------------------------------------------------------


def test_the_gardens_bank_takes_the_lines_over_without_a_move(tmp_path: Path) -> None:
    start = Start(tmp_path, limits(17), limits(27))
    start.hold()
    start.valve_set.begin(the_garden(17, 22), {17: 5.0})
    assert not start.pins.moves
    assert start.valve_set.bank.states() == {17: State.CLOSED, 22: State.CLOSED}
    assert start.valve_set.bank.used_s(17) == 5.0
    assert set(start.pins._on) == {17, 22}  # 27 is given back
    assert set(read_line_file(start.file).off_levels) == {17, 22}
    start.valve_set.bank.open(17, for_s=1.0)
    assert start.pins.moves_of(17) == [(start.clock.mono, True)]


def test_a_ball_that_was_shut_meanwhile_is_not_driven_again(tmp_path: Path) -> None:
    start = Start(tmp_path, ball(OPENER, SHUTTER))
    start.hold()
    start.pass_s(CLOSING_S)
    assert start.pins.moves_of(SHUTTER) == [(1000.0, True), (1000.0 + CLOSING_S, False)]
    start.valve_set.begin(the_garden(17, with_ball=True), {})
    assert start.valve_set.bank.states() == {OPENER: State.CLOSED, 17: State.CLOSED}
    assert len(start.pins.moves_of(SHUTTER)) == 2 and not start.pins.moves_of(OPENER)


def test_a_ball_that_is_still_on_its_way_is_driven_for_its_whole_time(tmp_path: Path) -> None:
    start = Start(tmp_path, ball(OPENER, SHUTTER))
    start.hold()
    start.pass_s(4.0)
    start.valve_set.begin(the_garden(17, with_ball=True), {})
    assert start.valve_set.bank.states()[OPENER] is State.CLOSING
    assert start.pins.really_on(SHUTTER)
    start.pass_s(CLOSING_S - 0.1)
    assert start.pins.really_on(SHUTTER)
    start.pass_s(0.1)
    assert start.valve_set.bank.states()[OPENER] is State.CLOSED
    assert not start.pins.really_on(SHUTTER) and not start.pins.both_on


def test_a_ball_with_another_travel_is_driven_anew(tmp_path: Path) -> None:
    start = Start(tmp_path, ball(OPENER, SHUTTER, closes_in_s=4.0))
    start.hold()
    start.pass_s(5.0)
    assert start.valve_set.bank.states() == {OPENER: State.CLOSED}
    start.valve_set.begin(the_garden(with_ball=True), {})
    assert start.valve_set.bank.states() == {OPENER: State.CLOSING}


def test_a_ball_that_is_not_known_to_be_off_is_told_again(tmp_path: Path) -> None:
    start = Start(tmp_path, ball(OPENER, SHUTTER), pins=OffThrows)
    start.pins.bad.add(OPENER)
    start.hold()
    assert start.valve_set.bank.states() == {OPENER: State.STUCK}
    assert not start.pins.really_on(SHUTTER)  # not while its open line may be on
    start.pins.bad.clear()
    start.valve_set.begin(the_garden(with_ball=True), {})
    assert start.valve_set.bank.states() == {OPENER: State.CLOSING}
    assert start.pins.really_on(SHUTTER) and not start.pins.both_on


def test_the_master_of_the_run_before_is_the_gardens_master(tmp_path: Path) -> None:
    start = Start(tmp_path, limits(17), master=4)
    start.hold()
    garden = the_garden(17)
    master = Master(valve=Valve(kind=ValveKind.RELAY, relay_line=4))
    start.valve_set.begin(replace(garden, garden=replace(garden.garden, master=master)), {})
    assert start.valve_set.bank.master() is State.CLOSED
    assert not start.pins.moves


def test_whose_board_it_is(tmp_path: Path) -> None:
    file = tmp_path / "lines.json"

    def held(chip: int | None, named: int | None) -> HeldLines:
        write_line_file(file, [limits(17)], "mock", chip, named_chip=named)
        found = hold_known_lines(file, HandClock(), lambda _: None, GoodPins(HandClock()))
        assert found is not None
        return found

    assert held(0, None).is_of("mock", None)
    assert not held(0, None).is_of("mock", 0)
    assert held(4, 4).is_of("mock", 4)
    assert not held(4, 4).is_of("mock", None)
    assert not held(0, None).is_of("lgpio", None)


def test_a_line_file_of_an_older_rowgate_is_of_the_chip_it_names(tmp_path: Path) -> None:
    file = tmp_path / "lines.json"
    write_line_file(file, [limits(17)], "lgpio", 4)
    told = json.loads(file.read_text())
    del told["named_chip"]
    file.write_text(json.dumps(told))
    known = read_line_file(file)
    assert (known.pins, known.chip, known.named_chip) == ("lgpio", 4, 4)


# --- through gpiozero and lgpio -------------------------------------------------------------------


@pytest.fixture
def lgpio(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    yield from on_a_known_board(monkeypatch)


def held_on_board(folder: Path, *known: LineLimits, chip: int = 0) -> HeldLines:
    write_line_file(folder / "lines.json", known, "lgpio", chip)
    held = hold_known_lines(folder / "lines.json", HandClock(), lambda _: None)
    assert held is not None
    return held


@pytest.mark.parametrize(("active_low", "off"), [(True, 1), (False, 0)])
def test_the_kernel_sees_the_line_taken_once_off_and_never_let_go(
    tmp_path: Path, lgpio: StandIn, active_low: bool, off: int
) -> None:
    held = held_on_board(tmp_path, replace(limits(17), active_low=active_low))
    taken = [("claim input", 17, 128), ("claim output", 17, off), ("write", 17, off)]
    assert lgpio.calls == taken
    board = Board(pins="lgpio", active_low=active_low)
    held.valve_set.begin(the_garden(17, board=board), {})
    # Nothing but off is written from here on: no input, no free, no second claim.
    assert lgpio.calls[:3] == taken
    assert set(lgpio.calls[3:]) == {("write", 17, off)}


def test_the_chip_of_the_run_before_is_opened(tmp_path: Path, lgpio: StandIn) -> None:
    held_on_board(tmp_path, limits(17), chip=4)
    assert lgpio.chips == [4]


def test_a_line_whose_off_level_has_changed_is_taken_anew(tmp_path: Path, lgpio: StandIn) -> None:
    held = held_on_board(tmp_path, limits(17))
    lgpio.calls.clear()
    held.valve_set.begin(the_garden(17, board=Board(pins="lgpio", active_low=False)), {})
    taken = lgpio.calls.index(("claim output", 17, 0))
    assert set(lgpio.calls[:taken]) == {("write", 17, 1)}  # off as it was known
    assert set(lgpio.calls[taken + 1 :]) == {("write", 17, 0)}
    held.valve_set.bank.open(17, for_s=1.0)
    assert lgpio.levels[17] == 1


def test_a_line_that_is_no_valve_any_more_may_be_an_input(tmp_path: Path, lgpio: StandIn) -> None:
    held = held_on_board(tmp_path, limits(17), limits(27))
    held.valve_set.begin(the_garden(17, board=Board(pins="lgpio")), {})
    assert isinstance(held.driver, GpioPins)
    inputs: InputDriver = GpioInputs(held.driver, HandClock())
    inputs.watch(27, active_low=True, debounce_s=0.01, on_edge=lambda _: None)
    assert 27 in lgpio.watched
    assert lgpio.levels[17] == 1


def test_pins_given_back_are_off_and_can_be_taken_by_another_chip(
    tmp_path: Path, lgpio: StandIn, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.ERROR)
    held = held_on_board(tmp_path, limits(17))
    lgpio.calls.clear()
    assert held.let_go(lambda: None)
    assert {call for call in lgpio.calls if call[0] != "close chip"} == {("write", 17, 1)}
    assert lgpio.calls[-1] == ("close chip", 7, 0)
    again = GpioPins("lgpio", chip=4)
    again.claim(17, active_low=True)
    assert lgpio.calls[-1] == ("claim output", 17, 1)
    assert not caplog.records


def test_what_does_not_shut_is_not_said_to_be_shut(tmp_path: Path, lgpio: StandIn) -> None:
    held = held_on_board(tmp_path, limits(17), limits(27))
    lgpio.dead.add(17)
    assert not held.let_go(lambda: None)
    assert lgpio.levels[27] == 1


def test_a_line_that_sticks_is_not_said_to_be_shut_and_no_hand_is_kept(tmp_path: Path) -> None:
    start = Start(tmp_path, limits(17), limits(27), pins=SticksOn)
    start.pins.bad.add(17)
    held = start.hold()
    assert held is not None
    start.pins._on[17] = True  # and off is taken without a word
    assert not held.let_go(lambda: None)
    assert held.valve_set._timed is not None and not held.valve_set._timed._idle


def test_a_chip_of_which_a_line_hangs_is_not_touched(
    tmp_path: Path, lgpio: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = held_on_board(tmp_path, limits(17), limits(27))
    come_back, real = threading.Event(), lgpio.gpio_write

    def hangs(handle: int, number: int, level: int) -> None:
        if number == 17:
            assert come_back.wait(120.0)
        real(handle, number, level)

    monkeypatch.setattr(lgpio, "gpio_write", hangs)
    assert not held.let_go(lambda: None)
    assert lgpio.calls[-1] == ("write", 27, 1)  # and the chip is still open
    come_back.set()
    until(lambda: not held.valve_set.hanging())
