"""A child process that shuts the lines if the walk dies, hangs or is stopped.

No service manager stands behind a walk. The walk sends beats into a pipe. When the beats stop, the
child kills it, for a stopped process holds its pins. When the pipe ends, for whatever reason, the
child does what the stop step does.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from controller.errors import DaemonError
from controller.valves.alloff import main as stop_step

SILENCE_S = 15.0  # our choice; beats come several times a second
_BEAT, _ALL_SHUT = b".", b"!"


class Guard:
    """Drives every line of the line file off at our end, unless dismissed before."""

    def __init__(self, line_file: Path, *, silence_s: float = SILENCE_S) -> None:
        # -I keeps the working directory off Python's path, as in the service's stop step.
        module = ("-I", "-m", "controller.cli.walk.guard")
        try:
            self._child = subprocess.Popen(
                [sys.executable, *module, str(line_file.resolve()), f"{silence_s:g}"],
                stdin=subprocess.PIPE,
                cwd=line_file.parent,
                start_new_session=True,  # Ctrl-C and a lost terminal are for us alone
            )
        except OSError as fault:
            raise DaemonError(f"nobody could be set to guard the lines: {fault}") from fault

    def beat(self) -> None:
        """Send a beat; `DaemonError` if the guard is gone."""
        self._send(_BEAT)

    def dismiss(self) -> None:
        """End the guard without an action, for all is shut."""
        with contextlib.suppress(DaemonError):
            self._send(_ALL_SHUT)
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):
            self._child.stdin.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._child.wait(5.0)

    def _send(self, word: bytes) -> None:
        assert self._child.stdin is not None
        try:
            os.write(self._child.stdin.fileno(), word)
        except (OSError, ValueError) as fault:
            raise DaemonError(f"nobody guards the lines any more: {fault}") from fault


def stand_guard(arguments: Sequence[str]) -> int:
    """Run the child: wait for the end, or for silence, then shut the lines. The exit code."""
    line_file, silence_s = arguments[0], float(arguments[1])
    walk = os.getppid()
    while True:
        ready, _, _ = select.select([sys.stdin], [], [], silence_s)
        if not ready:
            # Still our parent, so still the walk: its end of the pipe is open, and it says nothing.
            if os.getppid() == walk:
                os.kill(walk, signal.SIGKILL)
            break
        heard = os.read(sys.stdin.fileno(), 4096)
        if _ALL_SHUT in heard:
            return 0
        if not heard:
            break
    return stop_step([line_file])


if __name__ == "__main__":
    sys.exit(stand_guard(sys.argv[1:]))
