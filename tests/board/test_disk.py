"""The card is full, or stands still: lines close on time, and what was not written is told of."""

from __future__ import annotations

import time

import pytest

from board import guest
from board.machine import Board
from board.watch import Watch

pytestmark = pytest.mark.board
LATE_S = 2.5
# Down to the last block, the part kept for root as well; the journal is in memory.
FILL = (
    "fallocate -l $(($(df --output=avail -B1 / | tail -1) - 1000000)) full; "
    "dd if=/dev/zero of=full2 bs=64k 2>/dev/null; dd if=/dev/zero of=full3 bs=512 "
    "2>/dev/null; ! dd if=/dev/zero of=full4 bs=4096 count=1 2>/dev/null"
)


def _closes_on_time(watch: Watch, rows: list[dict[str, object]], offset_s: float) -> None:
    guest.wait_all(watch, guest.OFF, within_s=150)
    seen = {o.line: o for o in watch.openings(guest.is_on)}
    for row in rows:
        due_s = float(str(row["opened_mono_s"])) + float(str(row["planned_open_s"])) + offset_s
        off_s = seen[int(str(row["relay_line"]))].to_s
        assert off_s is not None
        assert -1.0 < off_s - due_s < LATE_S, row


@pytest.mark.long
def test_a_card_that_fills_up_in_mid_pulse_does_not_keep_a_line_open(watering: Board) -> None:
    open_now = guest.pulses(watering, "state = 'open'")
    offset_s = guest.mono_offset_s(watering)
    with watering.watch(guest.NUMBERS) as watch:
        watering.run(FILL)
        _closes_on_time(watch, open_now, offset_s)
    told = guest.status(watering)
    recorded = len(guest.pulses(watering, "state = 'closed'"))
    # What the logbook could not take is told; it could take what fits into blocks it already has.
    assert recorded + sum("end of a pulse" in words for words in told["silent"]) == 3, told
    watering.run("rm full*")
    for row in guest.wait_pulses(watering, "state = 'closed'", 3):
        assert row["open_s"] == pytest.approx(row["planned_open_s"], abs=0.5)
    assert guest.is_whole(watering)


def test_on_a_full_card_nothing_opens_that_is_not_written_down(due: Board) -> None:
    with due.watch(guest.NUMBERS) as watch:
        due.run(FILL)
        time.sleep(30)
        opened = {o.line for o in watch.openings(guest.is_on)}
        written = {row["relay_line"] for row in guest.pulses(due, "intended_utc IS NOT NULL")}
        assert opened <= written
        told = guest.status(due)
        if not opened:
            assert "disk" in str(told) or "full" in str(told), told
        due.run("rm full*")
        watch.wait(
            lambda w: {o.line for o in w.openings(guest.is_on)} == set(guest.NUMBERS),
            150,
            "with room again, each opened",
        )


@pytest.mark.long
def test_a_card_that_stands_still_does_not_keep_a_line_open(watering: Board) -> None:
    open_now = guest.pulses(watering, "state = 'open'")
    offset_s = guest.mono_offset_s(watering)
    with watering.watch(guest.NUMBERS) as watch:
        watering.run("fsfreeze -f /")
        _closes_on_time(watch, open_now, offset_s)
        watering.run("fsfreeze -u /")
    guest.wait_pulses(watering, "state = 'closed'", 3)
