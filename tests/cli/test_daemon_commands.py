"""Talking to the daemon starts at once: no garden, pipes, crops or outside package is imported.

On a small board the whole computation takes three to five seconds to import.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock

from controller.daemon.control.server import ControlServer

# All of ours that a talker may import; status alone also what writes its page.
SMALL = {
    "controller",
    "controller.cli",
    "controller.cli.arguments",
    "controller.cli.command_tree",
    "controller.cli.entry",
    "controller.cli.places",
    "controller.cli.progress",
    "controller.cli.daemon_commands",
    "controller.cli.output",
    "controller.daemon",
    "controller.daemon.control",
    "controller.daemon.control.protocol",
    "controller.errors",
}
PAGE = {f"controller.{name}" for name in ("paper", "paper.status", "paper.text")}
TALKS = {
    "status": ["status"],
    "status as JSON": ["status", "--json"],
    "open": ["open", "leeks", "--minutes", "2"],
    "close": ["close"],
    "close one": ["close", "leeks"],
    "close as JSON": ["close", "leeks", "--json"],
    "resume": ["resume"],
    "resume one": ["resume", "leeks"],
    "hold": ["hold", "--hours", "2"],
    "lift": ["hold", "--lift"],
    "reset": ["reset", "leeks"],
}
STANDARD = sys.stdlib_module_names
LOOK = """
import json, sys
from controller.cli import main
code = main(sys.argv[1:])
print(json.dumps([code, sorted(sys.modules)]), file=sys.stderr)
"""
BARE_STARTS, MORE_S = 3, 0.100  # what a command may take: bare interpreter starts, and so much more


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[tuple[Path, list[Any]]]:
    """A daemon that says yes; its folder and what it was asked."""
    asked: list[Any] = []

    def answer(request: dict[str, Any]) -> Future[Any]:
        asked.append(request)
        reply: Future[Any] = Future()
        reply.set_result(
            {"ok": True, "words": "done", "site": "Fennel Hill", "timezone": "Europe/Zurich"}
        )
        return reply

    server = ControlServer(tmp_path, answer, clock=HandClock(), close_first=lambda _: None)
    yield tmp_path, asked
    server.stop()


@pytest.mark.parametrize("words", TALKS.values(), ids=TALKS)
def test_a_talker_imports_next_to_nothing(
    listening: tuple[Path, list[Any]], words: list[str]
) -> None:
    runtime, asked = listening
    ran = subprocess.run(
        [sys.executable, "-c", LOOK, *words, "--runtime", str(runtime)],
        capture_output=True,
        text=True,
        check=True,
    )
    code, modules = json.loads(ran.stderr.splitlines()[-1])
    assert code == 0
    assert [request["ask"] for request in asked] == ["lift" if "--lift" in words else words[0]]
    ours = {name for name in modules if name.split(".")[0] in ("controller", "crops")}
    allowed = SMALL | PAGE if words == ["status"] else SMALL
    assert ours <= allowed, ours - allowed
    # What a bare interpreter has in this environment (its own start-up files) is not ours.
    bare = subprocess.run(
        [sys.executable, "-c", "import sys; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    # tzdata: a board without the system's time zones reads them there.
    outside = {name.split(".")[0] for name in modules} - STANDARD - {"controller", "tzdata"}
    outside = {name for name in outside if not name.startswith("_sysconfigdata")}  # standard, too
    assert outside <= {name.split(".")[0] for name in bare.stdout.split()}, outside


def test_the_version_is_said_where_it_is_asked_for() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "controller.cli", "--version"], capture_output=True, text=True
    )
    assert (ran.returncode, ran.stdout.split()[0]) == (0, "rowgate")


def _took_s(*words: str) -> float:
    """The shortest of some runs: what else the machine does only makes it longer."""
    took = []  # real time: only slow tests ask how long a process takes
    for _ in range(7):
        began_s = time.perf_counter()
        subprocess.run([sys.executable, *words], capture_output=True, check=True)
        took.append(time.perf_counter() - began_s)
    return min(took)


@pytest.mark.slow
@pytest.mark.alone
@pytest.mark.parametrize("words", [["status"], ["close"]], ids=["status", "close"])
def test_a_talker_takes_three_bare_starts_and_a_tenth_of_a_second(
    listening: tuple[Path, list[Any]], words: list[str]
) -> None:
    """Wanted by the boards: a person at a burst line waits for `close`."""
    runtime, _ = listening
    bare_s = _took_s("-c", "pass")
    took_s = _took_s("-m", "controller.cli", *words, "--runtime", str(runtime))
    assert took_s <= BARE_STARTS * bare_s + MORE_S


def test_how_long_status_takes(listening: tuple[Path, list[Any]], benchmark: Any) -> None:
    runtime, _ = listening
    command = [sys.executable, "-m", "controller.cli", "status", "--runtime", str(runtime)]
    benchmark.pedantic(
        lambda: subprocess.run(command, capture_output=True, check=True), rounds=10, iterations=1
    )
