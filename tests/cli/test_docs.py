"""Every command on the pages is one that the program takes, and what it prints is what it prints.

A block ```console shows commands after "$ " and what they print, in order, in a folder of its own
for each page. "[...]" on a line of its own stands for lines left out. Marks that no reader sees
(`<!-- word: value -->`) say what else is so, from there on:

day:      the moment, in UTC
garden:   a garden file of docs/ or config/, put there as garden.toml, its weather file beside it
change:   words of garden.toml, and those in their place after " => "; " / " is a new line
earlier:  a command that was typed before and is not shown
answers:  what is typed at the next command, with "|" between
walk:     the next walk's garden is wired otherwise: line=zone, with ", " between
daemon:   a daemon keeps the garden in hand-turned time from here on
later:    so many seconds pass for the daemon

With ROWGATE_RENEW_DOCS=1 what is shown is written anew in place of being compared; between cuts it
goes from the line most like its first to the line most like its last, so read the difference.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import shlex
import shutil
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import UTC, datetime
from difflib import SequenceMatcher
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest
import time_machine
from support.clock import HandClock
from support.daemon import World
from support.walk import Plant, Watcher, Wiring

import controller.cli.walk.bench as walkbench
import controller.cli.walk.command as walking
from controller.cli import main
from controller.cli.command_tree import whole_tree
from controller.cli.walk.bench import Bench
from controller.daemon.control.server import ControlServer
from controller.inputs.garden_loader import garden_from_text
from crops.catalogue import load

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
RENEW = os.environ.get("ROWGATE_RENEW_DOCS") == "1"
CUT = "[...]"
_MARK = re.compile(r"^<!-- (\w+): (.*) -->$")
_FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.S | re.M)
_INLINE = re.compile(r"`(rowgate [^`]+)`")
_SHOWING = [
    path.name for path in sorted(DOCS.glob("*.md")) if "```console" in path.read_text("utf-8")
]


@dataclass
class Shown:
    """A command of a page: its words, and the lines of the page that show what it prints."""

    command: str
    first: int  # of these lines
    lines: list[str] = field(default_factory=list)


def _steps(text: str) -> Iterator[tuple[str, Any]]:
    """The marks and commands of a page, in order."""
    lines, at, inside = text.splitlines(), 0, False
    while at < len(lines):
        line = lines[at]
        at += 1
        if not inside:
            inside = line == "```console"
            if (mark := _MARK.match(line)) is not None:
                yield mark[1], mark[2]
            continue
        if line == "```":
            inside = False
            continue
        assert line.startswith("$ "), f"a console block begins with a command, not {line!r}"
        command = line[2:]
        while command.endswith("\\"):
            command = command[:-1] + lines[at].lstrip("> ")
            at += 1
        shown = Shown(command, at)
        while lines[at] != "```" and not lines[at].startswith("$ "):
            shown.lines.append(lines[at])
            at += 1
        yield "command", shown


class Typist:
    """What is typed, seen on the screen as it is at a terminal."""

    def __init__(self, text: str) -> None:
        self._text = io.StringIO(text)

    def readline(self) -> str:
        line = self._text.readline()
        print(line, end="")
        return line

    def isatty(self) -> bool:
        return False


class Scribe(Watcher):
    """A person on a walk; question and answer stand on the page."""

    def say(self, words: str) -> None:
        print(words)

    def ask(self, question: str, within_s: float) -> str | None:
        answer = super().ask(question, within_s)
        print(f"{question}\n> {answer}")
        return answer


class _NoGuard:
    """No second process watches over pretended pins."""

    def __init__(self, line_file: Path) -> None: ...

    def beat(self) -> None: ...

    def dismiss(self) -> None: ...


class Page:
    """A page that is played: its folder, its moment, its daemon."""

    def __init__(self, name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.path, self.folder, self._patch = DOCS / name, folder, monkeypatch
        self.text = self.path.read_text(encoding="utf-8")
        self._now = datetime(2031, 7, 6, 12, tzinfo=UTC)
        self._typed, self._wired = "", ""
        self._world: World | None = None
        self._asked: SimpleQueue[tuple[dict[str, Any], Future[Any]] | None] = SimpleQueue()
        self.end: Callable[[], None] = lambda: None

    def play(self) -> None:
        """Every step in turn; what differs from the page fails, or is written anew."""
        anew: list[tuple[Shown, list[str]]] = []
        for word, value in _steps(self.text):
            if word != "command":
                getattr(self, f"_{word}_is")(value)
                continue
            printed = self._run(value.command)
            if RENEW:
                anew.append((value, _renewed(value.lines, printed)))
                continue
            fault = _differs(value.lines, printed)
            assert not fault, "\n".join([f"{self.path.name}: {value.command}: {fault}", *printed])
        lines = self.text.splitlines()
        for shown, printed in reversed(anew):
            lines[shown.first : shown.first + len(shown.lines)] = printed
        if anew:
            self.path.write_text("\n".join(lines) + "\n", encoding="utf-8")

    # ---- marks -----------------------------------------------------------------------------------

    def _day_is(self, moment: str) -> None:
        self._now = datetime.fromisoformat(moment).replace(tzinfo=UTC)
        if self._world is not None:
            self._world.run_until(self._now)

    def _later_is(self, seconds: str) -> None:
        assert self._world is not None
        self._world.run_for(float(seconds))
        self._now = self._world.clock.now_utc()

    def _garden_is(self, name: str) -> None:
        found = [folder / name for folder in (DOCS, ROOT / "config") if (folder / name).is_file()]
        shutil.copy(found[0], self.folder / "garden.toml")
        for weather in (ROOT / "config").glob("*.csv"):
            shutil.copy(weather, self.folder)

    def _change_is(self, words: str) -> None:
        path = self.folder / "garden.toml"
        before, _, after = words.replace(" / ", "\n").partition(" => ")
        text = path.read_text(encoding="utf-8")
        assert text.count(before) == 1, before
        path.write_text(text.replace(before, after), encoding="utf-8")

    def _same_is(self, name: str) -> None:
        """The garden file is by now what lies in docs/, but for the day of its first lines."""
        ours = (self.folder / "garden.toml").read_text(encoding="utf-8")
        assert ours == (DOCS / name).read_text(encoding="utf-8")

    def _answers_is(self, words: str) -> None:
        self._typed = words.replace("|", "\n") + "\n"

    def _earlier_is(self, command: str) -> None:
        assert "written down" in " ".join(self._run(command)), command

    def _walk_is(self, wired: str) -> None:
        self._wired = wired

    def _daemon_is(self, _: str) -> None:
        text = (self.folder / "garden.toml").read_text(encoding="utf-8")
        own = self.folder / "daemon"
        own.mkdir()
        world = self._world = World(
            own,
            garden_from_text(text, "garden.toml", load()),
            now_utc=self._now,
            weather=lambda now: (),
            begun_days=None,
        )

        def answer(request: dict[str, Any]) -> Future[Any]:
            reply: Future[Any] = Future()
            self._asked.put((request, reply))
            return reply

        server = ControlServer(
            self.folder, answer, clock=world.clock, close_first=lambda request: None
        )

        def end() -> None:
            server.stop()
            world.kill()

        self.end = end

    # ---- commands --------------------------------------------------------------------------------

    def _run(self, command: str) -> list[str]:
        words = shlex.split(command)
        assert words[0] == "rowgate", command
        if words[1] == "walk":
            self._at_the_beds()
        if words[1] == "run":  # it begins, is ready, and ends at once
            self._patch.setattr(
                "controller.daemon.service._Service._watch", lambda *_: None, raising=True
            )
        screen = io.StringIO()
        with (
            time_machine.travel(self._now, tick=False),
            redirect_stdout(screen),
            redirect_stderr(screen),
            pytest.MonkeyPatch.context() as patch,
        ):
            patch.setattr("sys.stdin", Typist(self._typed))
            if self._world is None:
                _call(words[1:])
            else:
                self._ask_the_daemon(self._world, words[1:])
        self._typed = ""
        return [line.rstrip() for line in screen.getvalue().splitlines()]

    def _ask_the_daemon(self, world: World, words: list[str]) -> None:
        """The command in a thread; the daemon's mind answers here, where it was made."""

        def call() -> None:
            try:
                _call(words)
            finally:
                self._asked.put(None)

        asking = threading.Thread(target=call)
        asking.start()
        while (asked := self._asked.get(timeout=60.0)) is not None:
            request, reply = asked
            if reply.set_running_or_notify_cancel():
                reply.set_result(world.ask(**request))
        asking.join(60.0)

    def _at_the_beds(self) -> None:
        clock, benches = HandClock(self._now), list[Bench]()
        moves = dict(pair.split("=") for pair in self._wired.split(", ") if pair)
        wiring = Wiring(moves={int(line): frozenset((zone,)) for line, zone in moves.items()})
        text = (self.folder / "garden.toml").read_text(encoding="utf-8")
        plant = Plant(garden_from_text(text, "garden.toml", load()), wiring, clock)

        class SeenBench(Bench):
            def __enter__(self) -> Bench:
                benches.append(self)
                return super().__enter__()

        def a_person(_: object, look: Callable[[], None]) -> Scribe:
            return Scribe(plant, look, lambda: benches[-1] if benches else None)

        self._patch.setattr(walking, "system_clock", lambda: clock)
        self._patch.setattr(walking, "a_person", a_person)
        self._patch.setattr(walking, "a_board", lambda *_: plant.board)
        self._patch.setattr(walking, "Bench", SeenBench)
        self._patch.setattr(walkbench, "Guard", _NoGuard)
        self._patch.setattr(walking, "THREADS", False)


def _call(words: list[str]) -> None:
    try:
        main(words)
    except SystemExit as end:
        assert end.code in (0, 2), words


def _differs(shown: list[str], printed: list[str]) -> str:
    """What is not as it is shown; "" where all is. A cut stands for any lines, or none."""
    parts = _parts(shown)
    at = 0
    for number, part in enumerate(parts):
        found = [
            n
            for n in range(at, len(printed) - len(part) + 1)
            if printed[n : n + len(part)] == part
            and (number > 0 or n == 0)
            and (number < len(parts) - 1 or n + len(part) == len(printed))
        ]
        if not found:
            return "it does not print\n" + "\n".join(part) + "\nbut"
        at = found[0] + len(part)
    return ""


def _parts(shown: list[str]) -> list[list[str]]:
    parts: list[list[str]] = [[]]
    for line in shown:
        if line == CUT:
            parts.append([])
        else:
            parts[-1].append(line)
    return parts


def _renewed(shown: list[str], printed: list[str]) -> list[str]:
    """What is printed, cut where the page cuts."""
    if not _differs(shown, printed):
        return shown
    parts, lines, at = _parts(shown), list[str](), 0
    for number, part in enumerate(parts):
        lines += [CUT] if number else []
        if not part and len(parts) > 1:
            continue
        first = _most_like(part[0], printed, at, at) if number else 0
        end = first + len(part) - 1
        last = (
            _most_like(part[-1], printed, first, end)
            if number < len(parts) - 1
            else len(printed) - 1
        )
        lines += printed[first : last + 1]
        at = last + 1
    return lines


def _most_like(line: str, printed: list[str], least: int, near: int) -> int:
    return max(
        range(least, len(printed)),
        key=lambda n: (SequenceMatcher(None, line, printed[n]).ratio(), -abs(n - near)),
        default=least,
    )


@pytest.fixture
def page(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Page]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TZ", "Europe/Zurich")
    monkeypatch.setattr("controller.cli.new.command.towns_here", lambda: None)
    played = Page(request.param, tmp_path, monkeypatch)
    yield played
    played.end()


@pytest.mark.parametrize("page", _SHOWING, indirect=True, ids=_SHOWING)
def test_what_a_page_shows_is_what_is_printed(page: Page) -> None:
    """Up to two seconds a page: plans, fits of field tests, and a daemon are played."""
    page.play()


def test_a_page_that_shows_something_else_is_found() -> None:
    printed = ["one", "two", "three", "four"]
    for shown in (["one", CUT], [CUT, "four"], ["one", CUT, "three", CUT], [CUT, "two", CUT]):
        assert not _differs(shown, printed)
    assert not _differs([*printed, CUT], printed)
    for shown in (["one"], ["two", CUT], [CUT, "three"], [CUT, "five", CUT], [], ["one", "two"]):
        assert "it does not print" in _differs(shown, printed)
    assert _differs(["one", CUT, "four", CUT, "two", CUT], printed)  # in another order
    for shown in (["uno", CUT], [CUT, "too", "trees", CUT], ["on", CUT, "fours"], ["five"], []):
        anew = _renewed(shown, printed)
        assert not _differs(anew, printed)
        assert anew.count(CUT) == shown.count(CUT)


def test_each_command_is_shown_with_what_it_prints() -> None:
    shown = [
        " ".join(value.command.split())
        for name in _SHOWING
        for word, value in _steps((DOCS / name).read_text(encoding="utf-8"))
        if word == "command" and value.lines
    ]
    missing = [name for name in _leaves("rowgate", whole_tree()) if not _any_of(shown, name)]
    assert not missing


def _leaves(name: str, parser: argparse.ArgumentParser) -> Iterator[str]:
    below = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    for action in below:
        for word, each in action.choices.items():
            yield from _leaves(f"{name} {word}", each)
    if not below:
        yield name


def _any_of(shown: list[str], name: str) -> bool:
    return any(f"{command} ".startswith(f"{name} ") for command in shown)


def _commands(page: str) -> list[str]:
    text = (DOCS / page).read_text(encoding="utf-8")
    blocks = [block for language, block in _FENCED.findall(text) if language in ("", "console")]
    typed = [line.removeprefix("$ ") for block in blocks for line in block.splitlines()]
    lines = [part for line in typed for part in line.split("&&")]
    inline = [] if not blocks else _INLINE.findall(_FENCED.sub("", text))
    shown = [re.sub(r"^sudo -u \w+ ", "", line.strip()) for line in (*lines, *inline)]
    return [line for line in shown if line.startswith("rowgate ")]


@pytest.mark.parametrize("page", ["install.md", "keeping.md", "sheet.md"])
def test_every_command_shown_is_one_the_program_takes(page: str) -> None:
    commands = _commands(page)
    assert len(commands) >= 4
    for command in commands:
        words = shlex.split(command, comments=True)[1:]
        words = words[: words.index(">")] if ">" in words else words
        if words in (["--version"], ["status"]):
            continue
        try:
            whole_tree().parse_args(words)
        except SystemExit as end:
            raise AssertionError(f"{page}: {command}") from end


def test_the_steps_in_the_unit_and_on_the_page_are_the_same() -> None:
    unit = (DOCS.parent / "systemd" / "rowgate.service").read_text(encoding="utf-8")
    told = unit.split("To install, as root", 1)[1].split("Who is to use", 1)[0]
    steps = re.findall(r"^#   (\S.*)$", told, re.M)
    assert len(steps) >= 5
    page = " ".join((DOCS / "install.md").read_text(encoding="utf-8").split())
    for step in steps:
        assert " ".join(step.split()) in page, step
