"""People of the group note, and cannot say which lines the stop step drives."""

from __future__ import annotations

import json

import pytest

from board import guest
from board.machine import Board

pytestmark = [pytest.mark.board, pytest.mark.long]
OWN, SHARED = "/var/lib/rowgate-daemon", "/var/lib/rowgate"
# Somebody whom the system knows by a number alone, in the group that may note.
MEMBER = (
    "setpriv --reuid 4242 --regid 4242 --groups $(getent group rowgate | cut -d: -f3) sh -c {!r}"
)
OPENS_ALL = {"pins": "lgpio", "chip": 0, "lines": [{"number": n, "off_level": 0} for n in (4, 5)]}


def _as_member(board: Board, words: str) -> int:
    return board.run(MEMBER.format(words), check=False).rc


def test_the_folders_are_as_the_unit_makes_them(due: Board) -> None:
    told = due.run(f"stat -c '%a %U %G %n' {SHARED} {OWN}").out.split("\n")
    assert told[:2] == [f"2770 rowgate rowgate {SHARED}", f"700 rowgate rowgate {OWN}"]
    assert due.run(f"ls {OWN}").out.split().count("lines.json") == 1
    assert "lines.json" not in due.run(f"ls {SHARED}").out


def test_a_list_that_a_member_leaves_is_not_driven_when_the_daemon_dies(watering: Board) -> None:
    assert _as_member(watering, f"echo mine > {SHARED}/mine") == 0
    for words in (
        f"echo mine > {OWN}/lines.json",
        f"rm -f {OWN}/lines.json",
        f"mv {OWN} {SHARED}/elsewhere",
        f"cat {OWN}/lines.json",
    ):
        assert _as_member(watering, words) != 0, words
    watering.put(json.dumps(OPENS_ALL).encode(), f"{SHARED}/lines.json", mode=0o666)
    pid = guest.main_pid(watering)
    with watering.watch(guest.NUMBERS) as watch:
        watering.run(f"kill -9 {pid}")
        guest.wait_all(watch, guest.OFF, within_s=30)
    assert "rowgate stop step: driven off: 4, 5, 6" in guest.journal(watering)
