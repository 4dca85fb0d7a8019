"""The wall clock is stepped: open lines close on time all the same, and no plan opens another."""

from __future__ import annotations

import time

import pytest

from board import guest
from board.figures import Figures
from board.machine import Board

pytestmark = pytest.mark.board
DAY_S = 86_400.0
LATE_S = 2.5  # the clocks of guest and test are matched to some tenths; the rest is the emulator


@pytest.mark.long
@pytest.mark.parametrize("step_s", [DAY_S, -2.0 * DAY_S], ids=["a day on", "two days back"])
def test_stepped_in_mid_pulse_each_line_closes_at_its_deadline(
    watering: Board, figures: Figures, step_s: float
) -> None:
    open_now = guest.pulses(watering, "state = 'open'")
    offset_s = guest.mono_offset_s(watering)
    with watering.watch(guest.NUMBERS) as watch:
        watering.step_clock(step_s)
        guest.wait_all(watch, guest.OFF, within_s=150)
        seen = {o.line: o for o in watch.openings(guest.is_on)}
        for row in open_now:
            due_s = row["opened_mono_s"] + row["planned_open_s"] + offset_s
            off_s = seen[row["relay_line"]].to_s
            assert off_s is not None
            figures.add("clock stepped: seen to close after the deadline", off_s - due_s)
            assert -1.0 < off_s - due_s < LATE_S, row
        time.sleep(30)
        assert len(watch.openings(guest.is_on)) == 3
    told = guest.status(watering)
    assert not told["clock_believed"]
    assert "jumped" in str(told["happenings"])


def test_stepped_over_the_window_s_opening_nothing_opens_by_plan(due: Board) -> None:
    with due.watch(guest.NUMBERS) as watch:
        due.step_clock(3600.0)
        time.sleep(45)
        assert watch.openings(guest.is_on) == []
    told = guest.status(due)
    assert not told["clock_believed"]
    assert "clock" in told["words"]
