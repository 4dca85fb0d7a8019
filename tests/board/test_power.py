"""Power cuts at random moments of the morning, and the boot after each from the same disk."""

from __future__ import annotations

import random
import time

import pytest

from board import guest
from board.conftest import MAKER
from board.figures import Figures
from board.machine import Board
from board.made import Made
from board.watch import Watch

pytestmark = pytest.mark.board
FEW, MANY = 2, 22
BACK_AT_S = guest.WINDOW_OPENS_S + 240.0
BEAT_S = 10.0  # between two heartbeats of an open pulse
SLOW_S = 4.0  # until a heartbeat is on this board's card, beside the scribe
NEAR_S = 0.7  # how well the clocks of guest and test are matched


def _cuts() -> list[object]:
    return [
        pytest.param(seed, marks=[] if seed < FEW else [pytest.mark.long]) for seed in range(MANY)
    ]


def _off_until_held(watch: Watch) -> None:
    for line in guest.NUMBERS:
        seen = [s for s in watch.seen if s.line == line]
        held = [s.at_s for s in seen if s.state == guest.OFF]
        assert held, f"line {line} was never driven off: {seen}"
        assert not [s for s in seen if guest.is_on(s.state) and s.at_s < held[0]], seen
        assert not [e for e in watch.edges if e.line == line and e.at_s < held[0]], watch.edges


@pytest.mark.parametrize("seed", _cuts())
def test_after_a_power_cut_nothing_acknowledged_is_lost_and_no_line_opens_too_soon(
    ready: Made, new_board: MAKER, figures: Figures, seed: int
) -> None:
    moment = random.Random(seed)
    board = new_board(persist=True)
    board.start(snapshot=ready.due if seed % 3 == 1 else ready.watering[True])
    board.wait_agent()
    offset_s = guest.mono_offset_s(board)
    guest.start_scribe(board)
    with board.watch(guest.NUMBERS) as watch:
        begun_s = time.monotonic()
        while not guest.acknowledged(board) and time.monotonic() - begun_s < 60.0:
            time.sleep(0.05)
        time.sleep(moment.uniform(0.0, 25.0))
        board.cut_power()
        cut_s = time.monotonic()
    were_on = watch.openings(guest.is_on)
    told = guest.acknowledged(board)
    assert told, "the scribe wrote nothing"

    board.start(words=guest.at(BACK_AT_S))
    with board.watch(guest.NUMBERS) as watch:
        board.wait_agent()
        guest.wait_active(board)
        _off_until_held(watch)
        held_s = max(s.at_s for s in watch.seen if s.state == guest.OFF)
        figures.add("power back to all lines driven off", held_s - board.on_since_s)
    _logbook_is_right(board, told, offset_s, cut_s, {o.line for o in were_on if o.to_s is None})


def _logbook_is_right(
    board: Board, told: list[int], offset_s: float, cut_s: float, open_at_cut: set[int]
) -> None:
    assert guest.is_whole(board)
    damaged = board.run("ls /var/lib/rowgate | grep -c damaged", check=False).out.strip()
    assert damaged == "0", "the logbook was set aside"
    kept = {row["id"] for row in guest.rows(board, "SELECT id FROM notes")}
    assert set(told) <= kept, f"acknowledged and lost: {sorted(set(told) - kept)}"
    meant = guest.pulses(board, "intended_utc IS NOT NULL AND slot = 1")
    # Intent before water: what was seen open is in the logbook, however short it was.
    assert open_at_cut <= {row["relay_line"] for row in meant}
    for row in meant:
        if row["relay_line"] not in open_at_cut:
            continue
        if row["state"] == "refused":  # cut between the valve and the row that says it opened
            continue
        assert row["state"] == "cut", row
        seen_s = cut_s - (row["opened_mono_s"] + offset_s)
        lost_s = seen_s - row["open_s"]
        assert -NEAR_S <= lost_s <= BEAT_S + SLOW_S, (row, seen_s)
        assert row["litres"] == pytest.approx(row["beat_litres"] or 0.0)
