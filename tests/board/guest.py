"""The garden on the board, as the tests speak of it: lines, clock, unit, logbook."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from board.machine import Board
from board.watch import Watch
from board.wires import BoardError

HERE = Path(__file__).parent
HOME = "/root"  # of the guest's own root, where its agent runs commands
LINES: Mapping[str, int] = {"leeks": 4, "carrots": 5, "tomatoes": 6}
NUMBERS = tuple(LINES.values())
WINDOW_OPENS_S = datetime(2031, 6, 21, 5, 30, tzinfo=UTC).timestamp()
EVENING_S = datetime(2031, 6, 21, 20, 0, tzinfo=UTC).timestamp()  # no window lies there
# An output of 3.3 V, seen as what a relay does: all of ours pull in at low, and a floating input is
# held at its off side by the resistor that docs/wiring.md asks for.
ON, OFF = "low", "high"

LOGBOOK = "/var/lib/rowgate/logbook.db"
ROWGATE = "/opt/rowgate/bin/rowgate"
IS_ACTIVE = "systemctl is-active rowgate"
JOURNAL = "journalctl -u rowgate -o short-monotonic --no-pager"


def is_on(state: str) -> bool:
    """Whether a line in this state opens its valve."""
    return state == ON


def at(epoch_s: float) -> str:
    """The kernel word that sets the clock at boot, as a clock battery would."""
    return f"board.clock={epoch_s:.0f}"


def main_pid(board: Board) -> int:
    """The daemon's process."""
    return int(board.run("systemctl show -P MainPID rowgate").out)


def wait_active(board: Board, *, within_s: float = 400.0) -> float:
    """Until the daemon has said it is ready; the seconds waited."""
    try:
        return board.until(IS_ACTIVE, within_s=within_s)
    except BoardError as fault:
        told = board.run(f"{JOURNAL} | tail -40", check=False).out
        raise BoardError(f"{fault}\n{told}") from None


def wait_all(watch: Watch, state: str, *, within_s: float) -> float:
    """Until all lines are in that state; the seconds waited."""
    return watch.wait(
        lambda w: all(w.state(line) == state for line in w.lines), within_s, f"all lines {state}"
    )


def rows(board: Board, question: str) -> list[dict[str, Any]]:
    """What the logbook answers, read beside the daemon by the system's own sqlite3."""
    answer = board.run(f'sqlite3 -json -cmd ".timeout 20000" {LOGBOOK} "{question}"').out
    found: list[dict[str, Any]] = json.loads(answer) if answer.strip() else []
    return found


def pulses(board: Board, where: str = "1") -> list[dict[str, Any]]:
    """The pulses, in the order they were written."""
    return rows(board, f"SELECT * FROM pulses WHERE {where} ORDER BY id")


def wait_pulses(
    board: Board, where: str, count: int, *, within_s: float = 90.0
) -> list[dict[str, Any]]:
    """Until so many pulses are so."""
    begun_s = time.monotonic()
    while len(found := pulses(board, where)) < count:
        if time.monotonic() - begun_s > within_s:
            raise BoardError(f"not {count} pulses {where} after {within_s} s: {pulses(board)}")
        time.sleep(1.0)
    return found


def is_whole(board: Board) -> bool:
    """Whether the logbook passes SQLite's own full check."""
    return rows(board, "PRAGMA integrity_check") == [{"integrity_check": "ok"}]


def status(board: Board) -> dict[str, Any]:
    """What `rowgate status --json` says."""
    told = board.run(f"{ROWGATE} status --json", within_s=90, check=False).out
    found: dict[str, Any] = json.loads(told[told.index("{") :])
    return found


def journal(board: Board) -> str:
    """What the unit's journal says of this boot."""
    return board.run(JOURNAL).out


def change_garden(board: Board, *changes: tuple[str, str]) -> None:
    """Rewrite the garden file in the guest; each piece to be changed must be there once."""
    text = (HERE / "garden.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert len(re.findall(re.escape(old), text)) == 1, old
        text = text.replace(old, new)
    board.put(text.encode(), "/etc/rowgate/garden.toml")


# Writes happenings by the project's own pen, and says each row's number on the second serial port
# once the pen came back: what was acknowledged is known outside, whatever becomes of the guest.
SCRIBE = f"""
import sys
from pathlib import Path
from controller.clock import SystemClock
from controller.logbook.logbook import Logbook
with Logbook(Path("{LOGBOOK}"), SystemClock()) as book:
    while True:
        row = book.note("scribe")
        print(f"ROW{{row}}.", flush=True)
"""


def start_scribe(board: Board) -> None:
    """Let rows be written, one after another, and told on the console."""
    board.put(SCRIBE.encode(), "/tmp/scribe.py")
    board.run(
        "chmod 644 /tmp/scribe.py; cd /tmp; (setsid setpriv --reuid rowgate --regid rowgate "
        "--clear-groups /opt/rowgate/bin/python -I /tmp/scribe.py </dev/null >/dev/ttyS1 "
        "2>/tmp/scribe.log) & disown"
    )


def acknowledged(board: Board) -> list[int]:
    """The numbers of the rows that were acknowledged, as they came out of the board."""
    return [int(number) for number in re.findall(r"ROW(\d+)\.", board.console())]


def mono_offset_s(board: Board) -> float:
    """What is added to the guest's monotonic clock to get the test's; good to some tenths."""
    guest_s = float(board.run("python3 -S -c 'import time; print(time.monotonic())'").out)
    return time.monotonic() - guest_s
