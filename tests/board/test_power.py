"""Power cuts at random moments of the morning: what the card holds, and the boot from it."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from board import guest
from board.conftest import MAKER
from board.figures import Figures
from board.machine import Board
from board.made import Made
from board.watch import Watch

pytestmark = pytest.mark.board
FEW, MANY = 1, 22
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
    board = new_board(persist=True)
    cut = _cut(board, ready.due if seed % 3 == 1 else ready.watering[True], random.Random(seed))
    board.start(words=guest.at(BACK_AT_S))
    with board.watch(guest.NUMBERS) as watch:
        board.wait_agent()
        guest.wait_active(board)
        _off_until_held(watch)
        held_s = max(s.at_s for s in watch.seen if s.state == guest.OFF)
        figures.add("power back to all lines driven off", held_s - board.on_since_s)
    _logbook_is_right(board, cut)


@pytest.mark.parametrize("seed", _cuts())
def test_at_whatever_moment_the_power_goes_the_card_holds_what_was_acknowledged(
    ready: Made, new_board: MAKER, tmp_path: Path, seed: int
) -> None:
    board = new_board(persist=True)
    moment = random.Random(1000 + seed)
    cut = _cut(board, ready.due if seed % 3 == 1 else ready.watering[True], moment)
    with sqlite3.connect(_from_card(board.disk, tmp_path)) as db:
        db.row_factory = sqlite3.Row
        assert [row[0] for row in db.execute("PRAGMA integrity_check")] == ["ok"]
        kept = {row["id"] for row in db.execute("SELECT id FROM notes")}
        assert set(cut.told) <= kept, f"acknowledged and lost: {sorted(set(cut.told) - kept)}"
        meant = [
            dict(row) for row in db.execute("SELECT * FROM pulses WHERE intended_utc IS NOT NULL")
        ]
    db.close()
    # Intent before water, and a sign of life at least every so often while it flows.
    assert cut.open_lines <= {row["relay_line"] for row in meant}
    for row in meant:
        if row["relay_line"] in cut.open_lines and row["state"] == "open":
            seen_s = cut.at_s - (row["opened_mono_s"] + cut.offset_s)
            lost_s = seen_s - (row["beat_open_s"] or 0.0)
            assert -NEAR_S <= lost_s <= BEAT_S + SLOW_S, (row, seen_s)


@dataclass(frozen=True, slots=True)
class Cut:
    """A power cut, as it was seen from outside."""

    at_s: float
    open_lines: frozenset[int]
    told: list[int]  # the rows that were acknowledged
    offset_s: float  # from the guest's monotonic clock to the test's


def _cut(board: Board, snapshot: Path, moment: random.Random) -> Cut:
    board.start(snapshot=snapshot)
    board.wait_agent()
    offset_s = guest.mono_offset_s(board)
    guest.start_scribe(board)
    with board.watch(guest.NUMBERS) as watch:
        begun_s = time.monotonic()
        while not guest.acknowledged(board) and time.monotonic() - begun_s < 60.0:
            time.sleep(0.05)
        time.sleep(moment.uniform(0.0, 25.0))
        board.cut_power()
        at_s = time.monotonic()
    told = guest.acknowledged(board)
    assert told, "the scribe wrote nothing"
    were_on = frozenset(o.line for o in watch.openings(guest.is_on) if o.to_s is None)
    return Cut(at_s, were_on, told, offset_s)


def _from_card(disk: Path, folder: Path) -> Path:
    """The logbook out of the card, once the file system's own journal has been replayed."""
    checked = subprocess.run(["e2fsck", "-p", disk], capture_output=True, text=True)
    assert checked.returncode in (0, 1), checked.stdout
    for tail in ("", "-wal"):
        inside, outside = f"{guest.LOGBOOK}{tail}", folder / f"logbook.db{tail}"
        subprocess.run(
            ["debugfs", "-R", f"dump {inside} {outside}", disk], check=True, capture_output=True
        )
    return folder / "logbook.db"


def _logbook_is_right(board: Board, cut: Cut) -> None:
    assert guest.is_whole(board)
    damaged = board.run("ls /var/lib/rowgate | grep -c damaged", check=False).out.strip()
    assert damaged == "0", "the logbook was set aside"
    kept = {row["id"] for row in guest.rows(board, "SELECT id FROM notes")}
    assert set(cut.told) <= kept, f"acknowledged and lost: {sorted(set(cut.told) - kept)}"
    meant = guest.pulses(board, "intended_utc IS NOT NULL AND slot = 1")
    # Intent before water: what was seen open is in the logbook, however short it was.
    assert cut.open_lines <= {row["relay_line"] for row in meant}
    for row in meant:
        if row["relay_line"] not in cut.open_lines:
            continue
        if row["state"] == "refused":  # cut between the valve and the row that says it opened
            continue
        assert row["state"] == "cut", row
        seen_s = cut.at_s - (row["opened_mono_s"] + cut.offset_s)
        lost_s = seen_s - row["open_s"]
        assert -NEAR_S <= lost_s <= BEAT_S + SLOW_S, (row, seen_s)
        assert row["litres"] == pytest.approx(row["beat_litres"] or 0.0)
