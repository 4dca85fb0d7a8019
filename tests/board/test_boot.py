"""From power-on to a waiting daemon: no line opens a valve, and what a person asks for works."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator

import pytest

from board import guest
from board.conftest import MAKER
from board.figures import Figures
from board.machine import Board, cache_dir
from board.made import Made
from board.watch import Watch

pytestmark = pytest.mark.board
ALL = tuple(range(28))


@pytest.fixture(scope="module")
def evening(ready: Made, figures: Figures) -> Iterator[tuple[Board, Watch]]:
    """A board that was switched on in the evening, and what its lines did since."""
    folder = cache_dir() / f"run-{os.getpid()}-evening"
    with Board(folder, persist=True) as board:
        board.start(disk=ready.disk, words=guest.at(guest.EVENING_S))
        with board.watch(ALL) as watch:
            figures.add("power-on to the agent", board.wait_agent())
            guest.wait_active(board)
            figures.add("power-on to the unit active", time.monotonic() - board.on_since_s)
            board.wait_booted()
            yield board, watch
    shutil.rmtree(folder, ignore_errors=True)


def test_no_line_opens_a_valve_from_power_on_until_the_daemon_holds_them(
    evening: tuple[Board, Watch], figures: Figures
) -> None:
    board, watch = evening
    # Short of the watch's looks lies only what the chip itself tells: it told of no edge at all.
    assert [e for e in watch.edges if e.line in guest.NUMBERS] == []
    states = {line: [s.state for s in watch.seen if s.line == line] for line in guest.NUMBERS}
    for line, seen in states.items():
        assert set(seen) <= {"float", guest.OFF}, (line, seen)
        assert seen[-1] == guest.OFF, (line, seen)
    held_s = max(s.at_s for s in watch.seen if s.line in guest.NUMBERS)
    figures.add("power-on to all lines driven off", held_s - board.on_since_s)
    assert board.run("systemctl --failed --plain --no-legend").out == ""


def test_no_other_line_is_driven(evening: tuple[Board, Watch]) -> None:
    _, watch = evening
    others = {s.line for s in watch.seen if s.line not in guest.NUMBERS and s.state in "high low"}
    assert others == set()


def test_the_daemon_runs_as_its_own_user_and_only_its_group_has_the_pins(
    evening: tuple[Board, Watch],
) -> None:
    board, _ = evening
    pid = guest.main_pid(board)
    assert board.run(f"stat -c %U:%G /proc/{pid}").out.split() == ["rowgate:rowgate"]
    assert board.run("stat -c %G:%a /dev/gpiochip0").out.split() == ["gpio:660"]
    assert board.run("systemctl show -P Type rowgate").out.split() == ["notify"]


def test_what_a_person_opens_closes_by_itself(
    evening: tuple[Board, Watch], figures: Figures
) -> None:
    board, _ = evening
    before = len(guest.pulses(board, "state = 'closed'"))
    with board.watch(guest.NUMBERS) as watch:
        told = board.run(f"{guest.ROWGATE} open carrots --minutes 0.2", within_s=90)
        assert "carrots is open" in told.out
        wanted = [guest.LINES["carrots"]]
        watch.wait(
            lambda w: [o.line for o in w.openings(guest.is_on) if o.to_s] == wanted, 60, "it shut"
        )
        (opening,) = watch.openings(guest.is_on)
    figures.add("opened by a person for 12 s: late", opening.seconds - 12.0)
    assert -0.2 <= opening.seconds - 12.0 < 2.0
    (row,) = guest.wait_pulses(board, "state = 'closed'", before + 1)[before:]
    assert (row["zone"], row["open_s"]) == ("carrots", pytest.approx(12.0, abs=0.1))


def test_what_a_person_closes_closes_at_once(evening: tuple[Board, Watch]) -> None:
    board, _ = evening
    with board.watch(guest.NUMBERS) as watch:
        board.run(f"{guest.ROWGATE} open leeks --minutes 1", within_s=90)
        told = board.run(f"{guest.ROWGATE} close", within_s=90)
        assert "closed: leeks" in told.out
        (opening,) = watch.openings(guest.is_on)
    assert opening.line == guest.LINES["leeks"]
    assert opening.seconds < 55.0


def test_without_any_network_it_is_believed_by_its_battery_clock_and_says_what_comes(
    evening: tuple[Board, Watch],
) -> None:
    board, _ = evening
    assert board.run("ls /sys/class/net").out.split() == ["lo"]
    told = guest.status(board)
    assert told["clock_believed"], told
    assert {coming["zone"] for coming in told["next"]} == set(guest.LINES)


@pytest.mark.parametrize("persist", [True, None], ids=["kept", "freed"])
def test_the_daemon_says_what_the_kernel_does_with_freed_lines(
    ready: Made, new_board: MAKER, persist: bool | None
) -> None:
    board = new_board(persist=persist)
    board.start(snapshot=ready.watering[persist])
    board.wait_agent()
    told = guest.status(board)["board"]
    assert told["keeps_pins"] is bool(persist), told
    assert ("strict_gpiod" in str(told["doubts"])) == bool(persist), told
