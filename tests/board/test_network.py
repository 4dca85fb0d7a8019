"""A board without any network, told to ask a public service all the same."""

from __future__ import annotations

import time

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
        guest.wait_pulses(due, "state = 'closed'", 3, within_s=240)
    begun_s = time.monotonic()
    while (told := guest.status(due)["weather"])["asked_utc"] is None:
        assert time.monotonic() - begun_s < 240, told
        time.sleep(5)
    assert "open-meteo" in str(told["remarks"]).lower() or told["failed"], told
    assert told["last_source"] == "weather.csv"
