"""A board without any network, told to ask a public service all the same."""

from __future__ import annotations

import pytest

from board import guest
from board.machine import Board

pytestmark = [pytest.mark.board, pytest.mark.long]


def test_it_waters_by_its_file_and_says_that_the_service_did_not_answer(due: Board) -> None:
    due.run("systemctl stop rowgate", within_s=90)
    guest.change_garden(due, ('file = "weather.csv"', 'file = "weather.csv"\nonline = true'))
    with due.watch(guest.NUMBERS) as watch:
        due.run("systemctl start rowgate", within_s=150)
        watch.wait(
            lambda w: {o.line for o in w.openings(guest.is_on)} == set(guest.NUMBERS),
            240,
            "each opened",
        )
        told = guest.status(due)
        guest.wait_pulses(due, "state = 'closed'", 3, within_s=240)
    assert told["weather"]["failed"] or told["weather"]["remarks"], told["weather"]
    assert told["weather"]["last_source"] == "weather.csv"
