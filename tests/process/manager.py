"""A stand-in of the service manager: starts the daemon, hears it, kills it, runs the stop step.

The daemon is the real one: `rowgate run` with its threads, its logbook file and its socket. What it
does not know is that the chip behind lgpio is the recorder, and who turns the hands of its clock.
"""

from __future__ import annotations

import os
import resource
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.daemon.control.protocol import ask
from controller.daemon.service import LOGBOOK_NAME
from controller.daemon.valve_set import LINE_FILE
from controller.errors import DaemonError
from process.onpath import lgpio as _lgpio
from process.onpath.timepage import ENVIRONMENT as TIME_PAGE
from process.onpath.timepage import TimePage
from process.recorder import PERSIST, Recorder, die_with_parent

ON_PATH = Path(__file__).parent / "onpath"
WATCHDOG_S = 30.0  # WatchdogSec of systemd/rowgate.service
ABORT_S = 20.0  # TimeoutStopSec of it, which stands for the abort, too
CHIP = 19  # no board has it: the stop step's own road to the kernel must find nothing here
ON_LEVEL = 0  # the relays are active low


class Manager:
    """One daemon at a time, its folders, its clock and its recorder."""

    def __init__(
        self,
        folder: Path,
        *,
        garden: str,
        weather: str,
        wall_s: float,
        rate: float = 1.0,
        mode: str = PERSIST,
        card: Path | None = None,
    ) -> None:
        self.folder, self.runtime = folder, folder / "run"
        # The logbook's folder and the daemon's own, on a card of the test's or on the machine's.
        self.state, self.own = (card or folder) / "state", (card or folder) / "own"
        assert not Path(f"/dev/gpiochip{CHIP}").exists(), "these tests must find no real chip"
        self.runtime.mkdir()
        self.state.mkdir()
        self.own.mkdir(0o700)
        self.garden = folder / "garden.toml"
        self.garden.write_text(garden, encoding="utf-8")
        (folder / "weather.csv").write_text(weather, encoding="utf-8")
        self.page = TimePage.new(folder / "time", wall_s=wall_s, rate=rate)
        self.logbook = self.state / LOGBOOK_NAME
        self.recorder = Recorder(folder, mode=mode, logbook=self.logbook)
        self._notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._notify.bind(str(folder / "notify"))
        self._notify.setblocking(False)
        self.ready = False
        self.alive_mono_s = float("-inf")  # of the page: when WATCHDOG=1 was last heard
        self.child: subprocess.Popen[bytes] | None = None
        self.log = folder / "daemon.log"
        self._children: list[subprocess.Popen[bytes]] = []

    # --- the daemon --------------------------------------------------------------------------

    def start(self, *, limits: dict[int, int] | None = None) -> subprocess.Popen[bytes]:
        """`rowgate run`, with resource limits where they are given."""

        def before() -> None:
            die_with_parent()
            for what, most in (limits or {}).items():
                resource.setrlimit(what, (most, resource.getrlimit(what)[1]))

        self.hear()
        self.ready, self.alive_mono_s = False, self.page.mono_s()
        words: list[str | Path] = [
            "run",
            self.garden,
            "--state",
            self.state,
            "--own",
            self.own,
            "--runtime",
            self.runtime,
        ]
        with self.log.open("ab") as log:
            self.child = subprocess.Popen(
                [sys.executable, "-m", "controller.cli", *words, "--pins", "lgpio"],
                env=self._environment() | {"NOTIFY_SOCKET": str(self.folder / "notify")},
                cwd=self.runtime if self.runtime.is_dir() else self.folder,
                stderr=log,
                preexec_fn=before,
            )
        self._children.append(self.child)
        return self.child

    def started(self, **more: Any) -> subprocess.Popen[bytes]:
        """A daemon that has said it is ready."""
        child = self.start(**more)
        self.until(lambda: self.hear().ready or child.poll() is not None)
        assert child.poll() is None, self.log_text()[-3000:]
        return child

    def hear(self) -> Manager:
        """Take in what the daemon told the manager."""
        while True:
            try:
                words = self._notify.recv(4096).decode().split("\n")
            except BlockingIOError:
                return self
            if "READY=1" in words or "WATCHDOG=1" in words:
                self.alive_mono_s = self.page.mono_s()
            self.ready = self.ready or "READY=1" in words

    def stop_step(self) -> int:
        """What the unit runs after every end; its exit code."""
        done = subprocess.run(
            [sys.executable, "-m", "controller.valves.alloff", str(self.own / LINE_FILE)],
            env=self._environment(),
            cwd=self.folder,
            stderr=subprocess.PIPE,
            timeout=60.0,
            check=False,
        )
        with self.log.open("ab") as log:
            log.write(done.stderr)
        return done.returncode

    def ask(self, **request: Any) -> dict[str, Any]:
        """A question over the daemon's own socket."""
        return ask(self.runtime, request, within_s=20.0)

    def ask_or_none(self, **request: Any) -> dict[str, Any] | None:
        """The same; None where nobody answers."""
        try:
            return ask(self.runtime, request, within_s=5.0)
        except DaemonError:
            return None

    # --- its ends ----------------------------------------------------------------------------

    def terminate(self) -> int:
        """SIGTERM, the time the unit allows for it, then SIGKILL; the exit code."""
        assert self.child is not None
        self.child.send_signal(signal.SIGTERM)
        return self._gone_within(ABORT_S)

    def kill(self) -> int:
        """SIGKILL."""
        assert self.child is not None
        self.child.kill()
        return self.child.wait(20.0)

    def stop_and_wait_for_the_watchdog(self, within_s: float = WATCHDOG_S) -> int:
        """SIGSTOP; nothing is heard for so long; the manager aborts it. [s of the page]"""
        assert self.child is not None
        self.child.send_signal(signal.SIGSTOP)
        self.hear()
        return self.watchdog(within_s)

    def watchdog(self, within_s: float = WATCHDOG_S) -> int:
        """Wait until the daemon has been silent for so long, then abort it as the manager would."""
        assert self.child is not None
        self.until(
            lambda: self.page.mono_s() - self.hear().alive_mono_s > within_s,
            within_s=within_s * 4 + 60.0,
        )
        self.child.send_signal(signal.SIGABRT)
        self.child.send_signal(signal.SIGCONT)
        return self._gone_within(ABORT_S)

    def _gone_within(self, within_s: float) -> int:
        assert self.child is not None
        try:
            return self.child.wait(max(within_s / self.page.now().rate, 5.0))
        except subprocess.TimeoutExpired:
            return self.kill()

    def hang(self, line: int) -> None:
        """No thread of a process comes back from writing to that line."""
        (self.folder / "hang").write_text(str(line), encoding="ascii")

    def release(self) -> None:
        """Whoever writes to a pin from now on comes back."""
        (self.folder / "hang").unlink()

    def disk_dies(self) -> None:
        """Whoever opens the garden file from now on waits, until `disk_answers`."""
        (self.folder / "dead").write_text(str(self.garden.resolve()), encoding="utf-8")

    def disk_answers(self) -> None:
        """It is there again."""
        (self.folder / "dead").unlink()

    # --- small things ------------------------------------------------------------------------

    def until(self, true: Callable[[], Any], within_s: float = 60.0) -> None:
        """Wait for something, in real seconds."""
        ends = time.monotonic() + within_s
        while not true():
            assert time.monotonic() < ends, f"it did not come about: {self.log_text()[-3000:]}"
            time.sleep(0.01)

    def on(self) -> bool:
        """Whether a line is on, by the recorder."""
        return self.recorder.any_on(ON_LEVEL)

    def kept_bytes(self) -> int:
        """What lies in the daemon's two folders that outlive it."""
        found = (f for folder in (self.state, self.own) for f in folder.rglob("*"))
        return sum(f.stat().st_size for f in found if f.is_file())

    def log_text(self) -> str:
        """What all daemons and stop steps said."""
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""

    def close(self) -> None:
        """End all we started."""
        for child in self._children:
            if child.poll() is None:
                child.kill()
            child.wait()
        self.recorder.close()
        self._notify.close()

    def _environment(self) -> dict[str, str]:
        return os.environ | {
            "PYTHONPATH": os.pathsep.join((str(ON_PATH), str(ON_PATH.parents[2]))),
            TIME_PAGE: str(self.page.path),
            _lgpio.ENVIRONMENT: str(self.recorder.socket),
            _lgpio.HANG: str(self.folder / "hang"),
            "ROWGATE_DEAD_DISK": str(self.folder / "dead"),
        }
