"""The walk as a process: answers through a pipe, a kill with a valve open, the terminal itself."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.clock import HandClock
from support.garden_files import BY_HAND, LEEKS, hand_zone
from support.until import until

from controller.cli.walk.dialogue import AtTerminal, WalkEnded
from controller.cli.walk.guard import Guard
from controller.errors import DaemonError
from controller.valves.alloff import PRETENDED

GARDEN = f'{BY_HAND}[board]\npins = "mock"\n' + hand_zone("leeks", LEEKS).replace(
    "hand = true", 'relay = 17, kind = "direct"'
)
WITHIN_S = 60.0


@pytest.fixture
def walking(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """A walk as a child, its questions and answers through pipes."""
    (tmp_path / "garden.toml").write_text(GARDEN, encoding="utf-8")
    environ = {k: v for k, v in os.environ.items() if k != "ROWGATE_STATE"}
    child = subprocess.Popen(
        [
            *(sys.executable, "-m", "controller.cli", "walk", "garden.toml"),
            *("--state", ".", "--runtime", ".", "--seconds", "60"),
        ],
        cwd=tmp_path,
        env=environ,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        bufsize=1,
    )
    yield child
    child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        assert pipe is not None
        pipe.close()


def _until(child: subprocess.Popen[str], words: str) -> str:
    """What it says, up to a line with these words."""
    assert child.stdout is not None
    heard = []
    for line in child.stdout:
        heard.append(line)
        if words in line:
            return "".join(heard)
    raise AssertionError(f"it ended without {words!r}:\n{''.join(heard)}")


def _wait_for(path: Path) -> None:
    until(path.exists, within_s=WITHIN_S)


@pytest.mark.slow
def test_killed_with_a_valve_open_the_guard_drives_every_line_off(
    walking: subprocess.Popen[str], tmp_path: Path
) -> None:
    assert walking.stdin is not None
    walking.stdin.write("yes\nyes\nnone\n\n")
    walking.stdin.flush()
    heard = _until(walking, "It opens now")
    assert "PRETENDED PINS" in heard
    assert not (tmp_path / PRETENDED).exists()
    walking.kill()
    _wait_for(tmp_path / PRETENDED)
    assert json.loads((tmp_path / PRETENDED).read_text()) == {"off_levels": {"17": 1}}


@pytest.mark.slow
def test_answers_that_end_shut_everything_and_the_guard_goes_home(
    walking: subprocess.Popen[str], tmp_path: Path
) -> None:
    out, _ = walking.communicate("yes\nyes\nnone\n\n", timeout=WITHIN_S)
    assert walking.returncode == 1
    assert "Ended early: the answers ended." in out
    assert not (tmp_path / PRETENDED).exists()


@pytest.mark.slow
def test_relays_on_at_the_other_level_are_put_out_as_the_walk_ends(
    walking: subprocess.Popen[str], tmp_path: Path
) -> None:
    out, _ = walking.communicate("yes\nyes\nall\n", timeout=WITHIN_S)
    assert '[board]: relays = "active high"' in out
    _wait_for(tmp_path / PRETENDED)
    assert json.loads((tmp_path / PRETENDED).read_text()) == {"off_levels": {"17": 0}}


def test_a_guard_that_is_dismissed_does_nothing(tmp_path: Path) -> None:
    (tmp_path / "lines.json").write_text(
        '{"pins": "mock", "chip": null, "lines": [{"number": 17, "off_level": 1}]}'
    )
    Guard(tmp_path / "lines.json").dismiss()
    assert not (tmp_path / PRETENDED).exists()


@pytest.mark.slow
def test_ctrl_z_does_not_leave_a_valve_open(walking: subprocess.Popen[str], tmp_path: Path) -> None:
    assert walking.stdin is not None
    walking.stdin.write("yes\nyes\nnone\n\n")
    walking.stdin.flush()
    _until(walking, "It opens now")
    walking.send_signal(signal.SIGTSTP)
    out, _ = walking.communicate("leeks\nyes\n", timeout=WITHIN_S)
    assert walking.returncode == 0
    assert "Findings: none" in out


# The same as the walk's own end of the pipe, without a walk: it beats, and then is as told.
_WALKS = """
import sys, time
from pathlib import Path
from controller.cli.walk.guard import Guard
guard = Guard(Path(sys.argv[1]), silence_s=1.5)
for _ in range(25):
    guard.beat()
    time.sleep(0.1)
print("beaten", flush=True)
time.sleep(600.0)
"""


@pytest.mark.slow
def test_a_walk_that_stands_still_is_killed_and_its_lines_driven_off(tmp_path: Path) -> None:
    lines = tmp_path / "lines.json"
    lines.write_text('{"pins": "mock", "chip": null, "lines": [{"number": 17, "off_level": 1}]}')
    walk = subprocess.Popen(
        [sys.executable, "-c", _WALKS, str(lines)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert walk.stdout is not None
        # Beaten for longer than silence would be borne, it is left alone.
        assert walk.stdout.readline() == "beaten\n"
        assert not (tmp_path / PRETENDED).exists()
        walk.send_signal(signal.SIGSTOP)
        assert walk.wait(WITHIN_S) == -signal.SIGKILL
        _wait_for(tmp_path / PRETENDED)
    finally:
        walk.kill()
        walk.wait()
        if walk.stdout is not None:
            walk.stdout.close()


def test_a_guard_that_is_gone_is_noticed(tmp_path: Path) -> None:
    guard = Guard(tmp_path / "lines.json")
    guard._child.kill()
    guard._child.wait()
    with pytest.raises(DaemonError, match="nobody guards the lines"):
        guard.beat()
    guard.dismiss()


# ---- the terminal --------------------------------------------------------------------------------


class Typed:
    """A terminal on which lines are typed by the test."""

    def __init__(self) -> None:
        ours, theirs = os.openpty()
        self._ours = os.fdopen(ours, "w")
        self.reading = os.fdopen(theirs, "r")

    def type(self, line: str) -> None:
        self._ours.write(f"{line}\n")
        self._ours.flush()


def test_a_question_runs_out_of_time() -> None:
    looks: list[int] = []
    reading, garden_commands = os.pipe()
    with os.fdopen(reading) as stdin, os.fdopen(garden_commands, "w"):
        clock = HandClock()

        def look() -> None:
            looks.append(1)
            clock.advance(0.25)

        person = AtTerminal(stdin, io.StringIO(), clock, look)
        assert person.ask("Well?", 0.6) is None
    assert len(looks) == 3


def test_a_look_that_raises_ends_the_waiting() -> None:
    def look() -> None:
        raise WalkEnded("not safe")

    person = AtTerminal(io.StringIO(), io.StringIO(), HandClock(), look)
    waits: list[Callable[[], object]] = [
        lambda: person.ask("Well?", 5.0),
        lambda: person.wait(5.0),
    ]
    for wait in waits:
        with pytest.raises(WalkEnded, match="not safe"):
            wait()


def test_what_was_typed_before_the_question_is_no_answer_to_it() -> None:
    typed, out = Typed(), io.StringIO()
    clock = HandClock()
    person = AtTerminal(typed.reading, out, clock, lambda: clock.advance(0.1))
    typed.type("1")
    typed.type("1")  # twice, by a nervous finger
    until(lambda: person._lines.qsize() == 2)
    assert person.ask("First?", 0.3) is None


def test_answers_through_a_pipe_are_taken_one_by_one() -> None:
    person = AtTerminal(io.StringIO("a\nb\n"), io.StringIO(), HandClock(), lambda: None)
    assert [person.ask("?", 5.0), person.ask("?", 5.0)] == ["a", "b"]
    with pytest.raises(WalkEnded, match="the answers ended"):
        person.ask("?", 5.0)
