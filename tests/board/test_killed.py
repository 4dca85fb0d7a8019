"""The daemon is killed, hung, starved: its lines go off, whatever becomes of freed pins."""

from __future__ import annotations

import time

import pytest

from board import guest
from board.conftest import MAKER
from board.figures import Figures
from board.machine import Board
from board.made import Made

pytestmark = pytest.mark.board
MODES = [pytest.param(True, id="kept"), pytest.param(None, id="freed")]
FEW, MANY = 3, 25
# On a quiet machine the stop step is done in 2 s, most of them Python's own start on the emulated
# processor; our choice for a busy one, well within the unit's TimeoutStopSec.
STOP_STEP_S = 20.0
# The unit's WatchdogSec, and how much later the manager, the stop step and this machine may be.
WATCHDOG_S, LATE_S = 30.0, 25.0
DRIVEN_OFF = "rowgate stop step: driven off: 4, 5, 6"


def _numbers() -> list[object]:
    """Which kills: the first few always, the rest in the long run."""
    return [
        pytest.param(number, marks=[] if number < FEW else [pytest.mark.long])
        for number in range(MANY)
    ]


def _sooner(board: Board) -> None:
    # Everything of the kill is read into memory beforehand: the time is the daemon's, not bash's.
    board.run("true")


@pytest.mark.parametrize("persist", MODES)
@pytest.mark.parametrize("number", _numbers())
def test_killed_in_mid_pulse_all_lines_are_off_within_seconds(
    ready: Made, new_board: MAKER, figures: Figures, persist: bool | None, number: int
) -> None:
    board = new_board(persist=persist)
    board.start(snapshot=ready.watering[persist])
    board.wait_agent()
    pid = guest.main_pid(board)
    time.sleep(0.37 * number % 5.0)  # another moment between two heartbeats each time
    _sooner(board)
    with board.watch(guest.NUMBERS) as watch:
        assert all(watch.state(line) == guest.ON for line in guest.NUMBERS)
        board.run(f"kill -9 {pid}")
        killed_s = time.monotonic()  # at the latest
        guest.wait_all(watch, guest.OFF, within_s=30)
        shut_s = max(o.to_s or killed_s for o in watch.openings(guest.is_on))
        off_s = max(seen.at_s for seen in watch.seen if seen.state == guest.OFF)
    name = "kept" if persist else "freed"
    figures.add(f"SIGKILL to no line open, level {name}", max(0.0, shut_s - killed_s))
    figures.add(f"SIGKILL to all lines driven off, level {name}", off_s - killed_s)
    assert shut_s - killed_s < STOP_STEP_S
    assert off_s - killed_s < STOP_STEP_S


@pytest.mark.parametrize(
    "persist",
    [MODES[0], pytest.param(None, id="freed", marks=pytest.mark.long)],
)
def test_a_hung_daemon_is_ended_by_the_watchdog_and_its_lines_by_the_stop_step(
    ready: Made, new_board: MAKER, figures: Figures, persist: bool | None
) -> None:
    board = new_board(persist=persist)
    board.start(snapshot=ready.watering[persist])
    board.wait_agent()
    pid = guest.main_pid(board)
    with board.watch(guest.NUMBERS) as watch:
        board.run(f"kill -STOP {pid}")
        hung_s = time.monotonic()
        guest.wait_all(watch, guest.OFF, within_s=WATCHDOG_S + LATE_S)
        figures.add("SIGSTOP to all lines driven off", time.monotonic() - hung_s)
    board.until(f"{guest.JOURNAL} | grep -qF '{DRIVEN_OFF}'", within_s=LATE_S)
    assert "watchdog timeout" in guest.journal(board).lower()


@pytest.mark.long
def test_a_daemon_whose_signs_of_life_do_not_arrive_is_ended_likewise(
    watering: Board, figures: Figures
) -> None:
    # The manager's socket is moved away: the daemon is well, and cannot say so.
    with watering.watch(guest.NUMBERS) as watch:
        watering.run("mv /run/systemd/notify /run/systemd/notify.away")
        starved_s = time.monotonic()
        watering.until(f"{guest.JOURNAL} | grep -qF '{DRIVEN_OFF}'", within_s=WATCHDOG_S + LATE_S)
        figures.add("starved watchdog to the stop step done", time.monotonic() - starved_s)
        assert all(watch.state(line) == guest.OFF for line in guest.NUMBERS)
        watering.run("mv /run/systemd/notify.away /run/systemd/notify")
        # The manager starts it again, for ever.
        guest.wait_active(watering)
    assert "watchdog timeout" in guest.journal(watering).lower()
    assert "no sign of life" in guest.status(watering)["last_ended"]


@pytest.mark.long
def test_after_a_kill_the_owed_rest_is_watered_once(watering: Board) -> None:
    planned_l = {row["zone"]: row["planned_litres"] for row in guest.pulses(watering)}
    pid = guest.main_pid(watering)
    with watering.watch(guest.NUMBERS) as watch:
        watering.run(f"kill -9 {pid}")
        guest.wait_all(watch, guest.OFF, within_s=30)
        guest.wait_active(watering)
        guest.wait_pulses(watering, "state = 'closed'", 3, within_s=420)
        time.sleep(20)
        seen = watch.openings(guest.is_on)
    assert len(seen) == 6, seen  # the one that was cut, and its rest, of each line
    found = guest.pulses(watering)
    for zone, line in guest.LINES.items():
        cut, rest = (row for row in found if row["zone"] == zone and row["state"] != "planned")
        assert (cut["state"], rest["state"]) == ("cut", "closed")
        # The rest is what was planned less what was credited, but for filling the line once more.
        more_l = cut["litres"] + rest["litres"] - planned_l[zone]
        assert -0.02 <= more_l / planned_l[zone] < 0.1, (cut, rest)
        # What was credited and what the line did are the same, of the rest to the moment.
        (_, seen_rest) = (o for o in seen if o.line == line)
        assert seen_rest.seconds == pytest.approx(rest["open_s"], abs=2.0)


def test_ended_in_good_order_it_shuts_its_lines_and_writes_it_down(watering: Board) -> None:
    with watering.watch(guest.NUMBERS) as watch:
        watering.run("systemctl stop rowgate", within_s=90)
        assert all(watch.state(line) == guest.OFF for line in guest.NUMBERS)
    assert [row["state"] for row in guest.pulses(watering, "opened_utc IS NOT NULL")] == [
        "closed",
        "closed",
        "closed",
    ]
