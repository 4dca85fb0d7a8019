"""The daemon as a real process on pretended pins: started, asked, ended, killed, started again."""

from __future__ import annotations

import json
import os
import resource
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from support.daemon_faults import TINY_GARDEN, Locked
from support.until import until

from controller.daemon.control.protocol import SOCKET_NAME, ask
from controller.daemon.host.process import OneDaemon
from controller.daemon.service import LOGBOOK_NAME
from controller.daemon.valve_set import LINE_FILE
from controller.errors import DaemonError
from controller.logbook.queries import Questions
from controller.logbook.records import PulseState
from controller.valves.alloff import PRETENDED, SHUT_AT, main

# real time: the daemon is a process of its own

_ALWAYS = (date.min, date.max)
START = """
import sys
from pathlib import Path
from controller.daemon.host.process import Folders
from controller.daemon.service import StandIns, run_service
folder = Path(sys.argv[1])
folders = Folders(state=folder / "state", runtime=folder / "run", own=folder / "state")
sys.exit(run_service(folder / "garden.toml", folders, pins="mock"))
"""


# The same on pins that are slow to let go: the engine is awake before the valves are shut.
SLOW_START = START.replace(
    'pins="mock"',
    'stand_ins=StandIns(driver=SlowPins("mock"))',
).replace(
    "folder = Path",
    """
import time
from controller.valves.gpio import GpioPins
class SlowPins(GpioPins):
    def write(self, number, on):
        if not on and self.read(number):
            time.sleep(SLOW_S)
        super().write(number, on)
folder = Path""",
)


class Process:
    """One daemon, its folders and the manager's socket."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.state, self.runtime = folder, folder / "state", folder / "run"
        (folder / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(folder / "notify"))
        self.manager.setblocking(False)
        self.heard: list[str] = []
        self._children: list[subprocess.Popen[str]] = []

    def start(self, script: str = START) -> subprocess.Popen[str]:
        child = subprocess.Popen(
            [sys.executable, "-c", script, str(self.folder)],
            env=os.environ | {"NOTIFY_SOCKET": str(self.folder / "notify")},
            stderr=subprocess.PIPE,
            text=True,
        )
        self._children.append(child)
        return child

    def started(self, script: str = START) -> subprocess.Popen[str]:
        """A daemon that has said it is ready."""
        self.heard.clear()
        child = self.start(script)
        self.until(lambda: self.hears("READY=1") or child.poll() is not None)
        assert child.poll() is None, child.stderr.read() if child.stderr else ""
        return child

    def hears(self, word: str) -> bool:
        while True:
            try:
                self.heard += self.manager.recv(4096).decode().split("\n")
            except BlockingIOError:
                return word in self.heard

    @staticmethod
    def until(true: Callable[[], Any], within_s: float = 120.0) -> None:
        until(true, within_s=within_s)

    def ask(self, **request: Any) -> dict[str, Any]:
        return ask(self.runtime, request)

    def close(self) -> None:
        for child in self._children:
            if child.poll() is None:
                child.kill()
            child.wait()
            if child.stderr:
                child.stderr.close()
        self.manager.close()


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Process]:
    process = Process(tmp_path)
    yield process
    process.close()


@pytest.mark.slow
def test_a_day_of_a_process_from_start_to_sigterm(daemon: Process) -> None:
    child = daemon.started()
    told = json.loads((daemon.state / LINE_FILE).read_text())
    assert [line["number"] for line in told["lines"]] == [17]
    status = daemon.ask(ask="status")
    assert status["ok"] and status["pins"] == "mock" and status["open"] == []

    assert daemon.ask(ask="open", zone="leeks", seconds=5)["ok"]
    assert daemon.ask(ask="status")["open"][0]["zone"] == "leeks"
    daemon.until(lambda: daemon.ask(ask="status")["open"] == [])
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    assert "leeks" in daemon.ask(ask="close", zone="leeks")["words"]
    assert daemon.ask(ask="status")["open"] == []
    daemon.until(lambda: daemon.hears("WATCHDOG=1"))

    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    child.send_signal(signal.SIGTERM)
    assert child.wait(60.0) == 0
    assert daemon.hears("STOPPING=1")
    assert not (daemon.runtime / SOCKET_NAME).exists()
    with OneDaemon(daemon.state):
        pass  # the lock is free
    with Questions(daemon.state / LOGBOOK_NAME) as questions:
        rows = [r for r in questions.pulses(*_ALWAYS) if r.state is PulseState.CLOSED]
        assert not questions.unfinished()
    assert len(rows) == 3
    first_s, last_s = rows[0].open_s, rows[2].open_s
    assert first_s is not None and 4.99 <= first_s < 15.0  # it may end late on a busy machine
    assert last_s is not None and last_s < 30.0 and "SIGTERM" in rows[2].why
    assert all(r.litres is not None and r.litres > 0.0 for r in rows)
    assert child.stderr is not None
    assert "no valve will move" in child.stderr.read()


@pytest.mark.slow
def test_what_sigterm_cuts_short_is_written_down_however_slow_the_pins(daemon: Process) -> None:
    child = daemon.started(SLOW_START.replace("SLOW_S", "0.3"))
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    child.send_signal(signal.SIGTERM)
    assert child.wait(60.0) == 0
    with Questions(daemon.state / LOGBOOK_NAME) as questions:
        (row,) = questions.pulses(*_ALWAYS)
    assert row.state is PulseState.CLOSED and "SIGTERM" in row.why
    assert row.open_s is not None and row.open_s >= 0.3


@pytest.mark.slow
def test_where_pins_do_not_come_back_at_the_end_the_next_start_counts_what_ran(
    daemon: Process,
) -> None:
    child = daemon.started(SLOW_START.replace("SLOW_S", "2.5"))
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    child.send_signal(signal.SIGTERM)
    assert child.wait(60.0) == 1
    assert child.stderr is not None and "line 17 does not shut" in child.stderr.read()
    child = daemon.started()
    child.send_signal(signal.SIGTERM)
    assert child.wait(60.0) == 0
    with Questions(daemon.state / LOGBOOK_NAME) as questions:
        (row,) = questions.pulses(*_ALWAYS)
    assert row.state is PulseState.CUT and row.open_s is not None


@pytest.mark.slow
def test_a_killed_process_is_cleaned_up_after_and_counted(daemon: Process) -> None:
    child = daemon.started()
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    time.sleep(1.5)
    child.kill()
    child.wait()
    assert main([str(daemon.state / LINE_FILE)]) == 0  # the manager's stop step
    assert json.loads((daemon.state / PRETENDED).read_text())["off_levels"] == {"17": 1}
    assert (daemon.state / SHUT_AT).exists()
    child = daemon.started()
    assert daemon.ask(ask="status")["open"] == []
    child.send_signal(signal.SIGINT)
    assert child.wait(60.0) == 0
    with Questions(daemon.state / LOGBOOK_NAME) as questions:
        (row,) = questions.pulses(*_ALWAYS)
    assert row.state is PulseState.CUT
    assert row.open_s is not None and 1.0 < row.open_s < 20.0


@pytest.mark.slow
def test_a_start_that_cannot_write_down_what_a_kill_left_ends_and_says_so(daemon: Process) -> None:
    child = daemon.started()
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    child.kill()
    child.wait()
    with Locked(daemon.state / LOGBOOK_NAME):
        child = daemon.start()
        assert child.wait(60.0) == 1
    assert child.stderr is not None
    assert "keeps it locked" in child.stderr.read()
    child = daemon.started()
    child.send_signal(signal.SIGTERM)
    assert child.wait(60.0) == 0
    with Questions(daemon.state / LOGBOOK_NAME) as questions:
        assert not questions.unfinished()


@pytest.mark.slow
def test_a_second_daemon_refuses_and_leaves_the_first_alone(daemon: Process) -> None:
    child = daemon.started()
    second = daemon.start()
    assert second.wait(60.0) != 0
    assert second.stderr is not None
    assert "a daemon runs on" in second.stderr.read()
    assert daemon.ask(ask="status")["ok"]
    child.send_signal(signal.SIGHUP)
    assert child.wait(60.0) == 0


def test_two_daemons_on_one_folder_are_refused(tmp_path: Path) -> None:
    with OneDaemon(tmp_path), pytest.raises(DaemonError, match="there can be only one"):
        OneDaemon(tmp_path).__enter__()
    with OneDaemon(tmp_path):
        pass


def test_a_lock_leaves_nothing_that_could_be_deleted(tmp_path: Path) -> None:
    with OneDaemon(tmp_path):
        assert not list(tmp_path.iterdir())


def test_a_folder_that_was_made_anew_is_locked_anew(tmp_path: Path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    with OneDaemon(folder) as lock:
        assert lock.holds()
        folder.rmdir()
        assert not lock.holds()
        folder.mkdir()
        assert lock.holds()
        with pytest.raises(DaemonError, match="there can be only one"):
            OneDaemon(folder).__enter__()
    assert not lock.holds()


def test_a_folder_that_another_daemon_made_anew_is_not_taken_from_it(tmp_path: Path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    with OneDaemon(folder) as lock:
        folder.rmdir()
        folder.mkdir()
        with OneDaemon(folder):
            assert not lock.holds()
        assert lock.holds()


@pytest.mark.slow
def test_a_garden_that_does_not_read_shuts_the_old_lines_and_says_why(daemon: Process) -> None:
    child = daemon.started()
    child.kill()
    child.wait()
    (daemon.state / "last-good-garden.toml").unlink()
    (daemon.folder / "garden.toml").write_text("[site]\nname = 3\n", encoding="utf-8")
    child = daemon.start()
    assert child.wait(60.0) != 0
    assert (daemon.state / PRETENDED).exists()
    assert child.stderr is not None and "garden.toml" in child.stderr.read()


def _limited(child: subprocess.Popen[str], spare: int = 0) -> None:
    """Let the process open so many files more and no other: by the lowest numbers that are free."""
    taken = set(range(1000))
    for _ in range(10):  # what is open for a moment only is not counted
        taken &= {int(path.name) for path in Path(f"/proc/{child.pid}/fd").iterdir()}
        time.sleep(0.02)
    free = [number for number in range(max(taken) + spare + 2) if number not in taken]
    _, hard = resource.prlimit(child.pid, resource.RLIMIT_NOFILE)
    resource.prlimit(child.pid, resource.RLIMIT_NOFILE, (free[spare], hard))


def test_a_close_gets_through_where_no_file_can_be_opened_any_more(daemon: Process) -> None:
    child = daemon.started()
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    _limited(child)
    began = time.monotonic()
    said = daemon.ask(ask="status")
    assert not said["ok"] and "it can only close valves" in said["words"]
    assert daemon.ask(ask="close", zone="leeks")["ok"]
    assert daemon.ask(ask="close")["ok"]  # and again
    assert time.monotonic() - began < 15.0
    _, hard = resource.prlimit(child.pid, resource.RLIMIT_NOFILE)
    resource.prlimit(child.pid, resource.RLIMIT_NOFILE, (hard, hard))
    daemon.until(lambda: daemon.ask(ask="status")["ok"])
    assert daemon.ask(ask="status")["open"] == []


@pytest.mark.parametrize("spare", [0, 3])
def test_slow_askers_who_take_the_last_files_keep_no_close_out(daemon: Process, spare: int) -> None:
    child = daemon.started()
    assert daemon.ask(ask="open", zone="leeks", seconds=300)["ok"]
    _limited(child, spare)
    slow = []
    for _ in range(spare + 2):
        slow.append(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
        slow[-1].connect(str(daemon.runtime / SOCKET_NAME))
        slow[-1].sendall(b'{"ask": ')
    began = time.monotonic()
    assert daemon.ask(ask="close", zone="leeks")["ok"]
    assert time.monotonic() - began < 15.0  # a second for each ahead of it; else ten
    for line in slow:
        line.close()
