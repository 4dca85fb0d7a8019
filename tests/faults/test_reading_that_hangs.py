"""However long the garden file or the logbook takes to read at a start, no line stays on for it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon_faults import TINY_GARDEN, FaultyPins, run_here
from support.pins import Hangs, ball

from controller.daemon import garden_reload, service, valve_set
from controller.daemon.engine import Engine
from controller.daemon.garden_reload import KeptFieldTests
from controller.daemon.valve_set import LINE_FILE
from controller.errors import GardenFileError
from controller.logbook.logbook import Logbook
from controller.valves.alloff import no_wait, read_line_file, write_line_file
from controller.valves.gpio import GpioPins, Kind
from controller.valves.line import LineLimits

LEFT_ON = 17


def a_line(number: int) -> LineLimits:
    return LineLimits(number=number, active_low=True, longest_open_s=60.0, most_open_s_per_day=60.0)


# Each stands for a disk that does not answer: what is read there, at the start, in this order.
READ: dict[str, tuple[object, str]] = {
    "a link to the garden file": (service, "_without_links"),
    "the garden file": (garden_reload, "_bytes"),
    "the field tests in the logbook": (KeptFieldTests, "_look"),
    "what was open, by the logbook": (service, "open_in_last_day"),
    "the logbook": (Logbook, "__init__"),
}


@pytest.mark.parametrize("what", READ)
def test_the_lines_of_the_run_before_are_off_while_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    (tmp_path / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    write_line_file(tmp_path / LINE_FILE, [a_line(LEFT_ON)], "mock", None)
    pins = FaultyPins(HandClock())
    reading, answers = threading.Event(), threading.Event()
    holder, name = READ[what]
    real: Callable[..., object] = getattr(holder, name)

    def slow(*args: object, **more: object) -> object:
        reading.set()
        assert answers.wait(60.0)
        return real(*args, **more)

    monkeypatch.setattr(holder, name, slow)
    code: list[int] = []

    def run() -> None:
        code.append(run_here(tmp_path, driver=pins))

    daemon = threading.Thread(target=run, daemon=True)
    daemon.start()
    try:
        assert reading.wait(60.0)
        assert pins.taken == [LEFT_ON] and not pins.read(LEFT_ON)
    finally:
        monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)  # the end of it
        answers.set()
    daemon.join(60.0)
    assert code == [1]
    assert pins.taken == [LEFT_ON]  # once: the bank's line is the one that was held
    assert not pins.moves


@pytest.mark.parametrize(
    ("chip", "made"), [(None, [("mock", None)]), (4, [("mock", 4), ("mock", None)])]
)
def test_pins_are_made_anew_only_where_the_garden_names_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, chip: int | None, made: list[object]
) -> None:
    (tmp_path / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    write_line_file(tmp_path / LINE_FILE, [a_line(LEFT_ON)], "mock", chip, named_chip=chip)
    seen: list[object] = []

    class Seen(GpioPins):
        def __init__(self, kind: Kind, chip: int | None = None) -> None:
            seen.append((kind, chip))
            super().__init__(kind, chip)

    monkeypatch.setattr(service, "GpioPins", Seen)
    monkeypatch.setattr(valve_set, "GpioPins", Seen)
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)  # the end of it
    code = run_here(tmp_path)
    assert code == 1 and seen == made
    known = read_line_file(tmp_path / LINE_FILE)
    assert (known.off_levels, known.named_chip) == ({17: 1}, None)


def test_what_hangs_in_the_driver_at_the_end_does_not_hang_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    pins = Hangs(HandClock())
    left: list[int] = []

    def breaks(self: Engine) -> None:
        pins.hangs.add((17, "off"))
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(Engine, "tick", breaks)
    code = run_here(tmp_path, driver=pins, leave=left.append)
    assert (code, left) == (1, [1])
    pins.come_back.set()


def test_an_end_at_which_nothing_hangs_is_left_to_the_interpreter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    left: list[int] = []
    monkeypatch.setattr(Engine, "tick", lambda self: 1 / 0)
    code = run_here(tmp_path, driver=FaultyPins(HandClock()), leave=left.append)
    assert (code, left) == (1, [])


@pytest.mark.parametrize("fails", [False, True])
def test_without_a_garden_a_ball_is_driven_shut_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: bool
) -> None:
    (tmp_path / "garden.toml").write_text("[site]\nname = 3\n", encoding="utf-8")
    write_line_file(tmp_path / LINE_FILE, [ball(5, 6, closes_in_s=0.2)], "mock", None)
    pins, waits = FaultyPins(HandClock()), list[object]()
    pins.fails_off |= {5} if fails else set()
    monkeypatch.setattr(service, "stop_step", lambda words, wait: waits.append(wait))
    with pytest.raises(GardenFileError):
        run_here(tmp_path, driver=pins)
    # The stop step after it has nothing to wait for, where the ball is known to be shut.
    assert waits == [None if fails else no_wait]
    assert [(m.number, m.on) for m in pins.moves] == ([] if fails else [(6, True), (6, False)])
