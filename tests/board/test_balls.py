"""Balls that stay where they are, behind a master, on real pins: driven shut whatever happens."""

from __future__ import annotations

import time

import pytest

from board import guest
from board.machine import Board
from board.watch import Opening, Watch

pytestmark = [pytest.mark.board, pytest.mark.long]
# The zones' open lines stay those of the garden; these are the close lines and the master's.
CLOSE = {4: 17, 5: 27, 6: 22}
MASTER = 13
LINES = (*CLOSE, *CLOSE.values(), MASTER)
# A travel, and what a line is driven for it: a quarter more, at least 1 s more (valves/line.py).
TRAVEL_S, DRIVEN_S = 4.0, 5.0
LAG_S, LATE_S = 6.0, 2.0


def _with_balls(board: Board) -> None:
    """The same three zones on balls that stay, behind a master; the unit is stopped."""
    board.run("systemctl stop rowgate", within_s=90)
    guest.change_garden(
        board,
        *(
            (
                f'valve = {{ relay = {line}, kind = "direct", ',
                f'valve = {{ relay = {line}, kind = "ball stays", close_relay = {closes}, '
                f'opens_in = "{TRAVEL_S:g} s", closes_in = "{TRAVEL_S:g} s", ',
            )
            for line, closes in CLOSE.items()
        ),
        (
            "[board]\n",
            f'[master]\nrelay = {MASTER}\nleads = "2 s"\nlags = "{LAG_S:g} s"\n\n[board]\n',
        ),
    )


def _started_and_open(board: Board, watch: Watch) -> None:
    board.run("systemctl start rowgate", within_s=150)
    watch.wait(lambda w: all(w.state(line) == guest.ON for line in CLOSE), 120, "all driven open")
    # Each open line rests again once its ball has arrived; the master stays.
    watch.wait(lambda w: all(w.state(line) == guest.OFF for line in CLOSE), 30, "all arrived")
    assert watch.state(MASTER) == guest.ON


def _of(openings: list[Opening], line: int) -> list[Opening]:
    return [each for each in openings if each.line == line]


def _never_both(openings: list[Opening]) -> None:
    now_s = time.monotonic()
    for opens, closes in CLOSE.items():
        for one in _of(openings, opens):
            for other in _of(openings, closes):
                ends = (one.to_s or now_s, other.to_s or now_s)
                assert ends[0] <= other.from_s or ends[1] <= one.from_s, (one, other)


def test_they_are_driven_open_once_and_shut_for_longer_than_they_travel(due: Board) -> None:
    _with_balls(due)
    with due.watch(LINES) as watch:
        _started_and_open(due, watch)
        started = watch.openings(guest.is_on)
        # At the start each was driven shut before anything opened.
        for opens, closes in CLOSE.items():
            (first,) = _of(started, closes)
            assert first.to_s is not None
            assert first.seconds >= DRIVEN_S - 0.2
            assert first.to_s <= _of(started, opens)[0].from_s
        guest.wait_pulses(due, "state = 'closed'", 3, within_s=240)
        watch.wait(lambda w: w.state(MASTER) == guest.OFF, 60, "the master shut")
        seen = watch.openings(guest.is_on)
    _never_both(seen)
    (master,) = _of(seen, MASTER)
    rows = {row["relay_line"]: row for row in guest.pulses(due, "state = 'closed'")}
    last_shut_s = 0.0
    for opens, closes in CLOSE.items():
        (opened,) = _of(seen, opens)
        first, last = _of(seen, closes)
        assert opened.seconds >= DRIVEN_S - 0.2
        assert last.to_s is not None
        assert last.seconds >= DRIVEN_S - 0.2
        assert master.from_s < opened.from_s
        # From told to open until told to shut: the time of the pulse.
        told_s = last.from_s - opened.from_s
        assert -0.5 <= told_s - rows[opens]["planned_open_s"] < LATE_S, (told_s, rows[opens])
        last_shut_s = max(last_shut_s, last.to_s)
    assert master.to_s is not None
    assert master.to_s > last_shut_s - 0.2


def test_killed_while_they_stand_open_the_stop_step_drives_them_shut(due: Board) -> None:
    _with_balls(due)
    with due.watch(LINES) as watch:
        _started_and_open(due, watch)
        due.run(f"kill -9 {guest.main_pid(due)}")
        killed_s = time.monotonic()
        # The master first, then the close lines, all at once and for their whole time.
        watch.wait(lambda w: w.state(MASTER) != guest.ON, 30, "the master off")
        watch.wait(
            lambda w: all(
                [o for o in _of(w.openings(guest.is_on), closes) if o.from_s > killed_s - 1.0]
                for closes in CLOSE.values()
            ),
            30,
            "each driven shut",
        )
        due.until(f"{guest.JOURNAL} | grep -q 'stop step: driven off: {MASTER}'", within_s=60)
        seen = watch.openings(guest.is_on)
        for closes in CLOSE.values():
            driven = next(o for o in _of(seen, closes) if o.from_s > killed_s - 1.0)
            assert driven.to_s is not None
            assert driven.seconds >= DRIVEN_S - 0.2
        (master, *_) = _of(seen, MASTER)
        assert master.to_s is not None
        assert master.to_s - killed_s < 20.0
        # Started again: told shut once more before the rest of the dose.
        guest.wait_active(due)
        guest.wait_pulses(due, "state = 'closed'", 3, within_s=420)
        watch.wait(lambda w: w.state(MASTER) != guest.ON, 60, "the master shut again")
        _never_both(watch.openings(guest.is_on))
