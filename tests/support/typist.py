"""A person who answers `new`: from a list, and through a pseudo-terminal."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path

from controller.cli.new.answers import CropNames, first_fault
from controller.cli.new.questions import Known, garden_text
from controller.cli.new.talk import Talk
from controller.cli.new.towns import Towns
from controller.garden.model import Garden
from controller.inputs.garden_loader import garden_from_text
from crops.catalogue import load

NOON = datetime(2031, 4, 20, 12, tzinfo=UTC)


def known(folder: Path = Path(), towns: Towns | None = None) -> Known:
    return Known(
        crops=CropNames(load()),
        fault=lambda text: first_fault(text, load()),
        now_utc=NOON,
        machine_zone="Europe/Zurich",
        towns=towns,
        folder=folder,
    )


class Person:
    """Gives the answers in turn, then ends them; keeps the questions and what was shown."""

    def __init__(self, answers: Iterable[str], end: type[BaseException] = EOFError) -> None:
        self.left, self.end = list(answers), end
        self.asked: list[str] = []
        self.shown: list[str] = []

    def line(self, prompt: str) -> str:
        self.asked.append(prompt)
        if not self.left:
            raise self.end
        return self.left.pop(0)

    def say(self, line: str) -> None:
        assert len(line) <= 80, line
        self.shown.append(line)


def made(
    answers: Iterable[str], dialogue_of: Known | None = None, end: type[BaseException] = EOFError
) -> tuple[str, Person, Talk, Garden]:
    """The file's text, the person, the talk, and the garden that the text reads as."""
    person = Person(answers, end)
    talk = Talk(person.line, person.say)
    text = talk.run(lambda asked: garden_text(asked, dialogue_of or known()))
    return text, person, talk, garden_from_text(text, "new.toml", load())


class Terminal:
    """`rowgate` in a pseudo-terminal of its own, 80 columns wide."""

    def __init__(self, *argv: str, folder: Path) -> None:
        self._ours, theirs = pty.openpty()
        environ = {k: v for k, v in os.environ.items() if not k.startswith("ROWGATE")}
        self.child = subprocess.Popen(
            [sys.executable, "-m", "controller.cli", *argv],
            cwd=folder,
            env=environ | {"TZ": "Europe/Zurich"},
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
            preexec_fn=_take_terminal,
        )
        os.close(theirs)
        self.heard = ""

    def until(self, end: Callable[[str], bool], within_s: float = 60.0) -> None:
        """Listen until what was heard ends so, or it ended."""
        by = time.monotonic() + within_s  # real time: another process writes
        while not end(self.heard):
            ready, _, _ = select.select([self._ours], [], [], 1.0)
            assert time.monotonic() < by, self.heard  # real time: the same
            if not ready:
                continue
            try:
                more = os.read(self._ours, 65536)
            except OSError:  # it closed its end
                return
            if not more:
                return
            self.heard += more.decode().replace("\r\n", "\n")

    def asked(self) -> None:
        """Wait for the next question."""
        self.until(lambda heard: re.search(r"\]: $", heard) is not None)

    def press(self, keys: str) -> None:
        os.write(self._ours, keys.encode())
        self.heard += "|"  # so that the same question is not taken for the next one

    def ended(self) -> int:
        """Its exit code, once it ended."""
        self.until(lambda heard: False)
        return self.child.wait(60)

    def close(self) -> None:
        if self.child.poll() is None:
            self.child.send_signal(signal.SIGKILL)
            self.child.wait()
        os.close(self._ours)


def _take_terminal() -> None:
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
