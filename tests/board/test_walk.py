"""A new installation is walked on the real pins, by what docs/install.md tells to type."""

from __future__ import annotations

import shlex

import pytest

from board import guest
from board.machine import Board
from board.project import walk_block

pytestmark = [pytest.mark.board, pytest.mark.long]
OPEN_S, LATE_S = 15.0, 2.0  # as long as a walk opens a line unless told otherwise; our choice
# Somebody at the tap; the tap open; no lamp on. Then three lines: Enter, where water came, stopped.
AS_WIRED = ["yes", "yes", "none", *(w for n in "123" for w in ("", n, "yes"))]
SWAPPED = ["yes", "yes", "none", "", "2", "yes", "", "1", "yes", "", "3", "yes"]


def _walked(board: Board, answers: list[str], *, unhurried: bool = False) -> tuple[int, str]:
    """The exit code and what was printed; unhurried, each answer comes after the line has shut."""
    # The guest is root already and has no sudo: a function of that name does what it would.
    as_user = (
        "sudo() { shift; local who=$1; shift; "
        'setpriv --reuid "$who" --regid "$who" --init-groups "$@"; }'
    )
    pause = f"sleep {OPEN_S + 20.0:.0f}; " if unhurried else ""  # Python starts meanwhile
    said = "; ".join(f"{pause if a.isdigit() else ''}echo {shlex.quote(a)}" for a in answers)
    typed = walk_block().rstrip("\n")
    board.put(f"{as_user}\n{{ {said}; }} | {{ {typed}\n}}\n".encode(), "/tmp/walk.sh")
    done = board.run("bash -e -o pipefail /tmp/walk.sh", within_s=300, check=False)
    return done.rc, done.out


def test_lines_wired_as_the_file_says_open_in_turn_and_shut_by_themselves(due: Board) -> None:
    due.run("systemctl stop rowgate", within_s=90)
    with due.watch(guest.NUMBERS) as watch:
        code, told = _walked(due, AS_WIRED, unhurried=True)
        seen = watch.openings(guest.is_on)
        assert all(watch.state(line) != guest.ON for line in guest.NUMBERS)
    assert code == 0, told
    assert [o.line for o in seen] == list(guest.NUMBERS), (seen, told)
    for opening, following in zip(seen, [*seen[1:], None], strict=True):
        assert -0.2 <= opening.seconds - OPEN_S < LATE_S, opening
        assert following is None or (opening.to_s or 0.0) < following.from_s
    (row,) = guest.rows(due, "SELECT words FROM happenings WHERE kind = 'walk'")
    assert "3 of 3 lines, 0 findings" in row["words"]
    assert guest.pulses(due, "state = 'closed'") == []  # its water is no watering
    due.run("systemctl start rowgate", within_s=150)


def test_two_wires_exchanged_are_found_and_the_daemon_that_runs_keeps_a_walk_away(
    due: Board,
) -> None:
    with due.watch(guest.NUMBERS) as watch:
        code, told = _walked(due, SWAPPED)
        assert code != 0
        assert "stop it first" in told, told
        assert watch.edges == []
    due.run("systemctl stop rowgate", within_s=90)
    code, told = _walked(due, SWAPPED)
    assert code == 1, told
    numbers = [guest.LINES[zone] for zone in ("leeks", "carrots")]
    assert all(f"relay = {number}" in told for number in numbers), told
