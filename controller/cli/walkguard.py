"""Somebody who shuts the lines should the walk die without a word: a child at the end of a pipe.

No service manager stands behind a walk. When its process is gone, however it went, the pipe ends,
and the child does what the stop step does.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
from pathlib import Path

from controller.errors import DaemonError

_ALL_SHUT = b"all shut"
# -I keeps the working directory off Python's path, as in the service's stop step.
_CHILD = (
    "import sys\n"
    f"if sys.stdin.buffer.read() != {_ALL_SHUT!r}:\n"
    "    from controller.valves.alloff import main\n"
    "    sys.exit(main(sys.argv[1:]))\n"
)


class Guard:
    """Drives every line of the line file off at our end, unless dismissed before."""

    def __init__(self, line_file: Path) -> None:
        try:
            self._child = subprocess.Popen(
                [sys.executable, "-I", "-c", _CHILD, str(line_file.resolve())],
                stdin=subprocess.PIPE,
                cwd=line_file.parent,
                start_new_session=True,  # Ctrl-C and a lost terminal are for us alone
            )
        except OSError as fault:
            raise DaemonError(f"nobody could be set to shut the lines: {fault}") from fault

    def dismiss(self) -> None:
        """All is shut: let it go, and do nothing."""
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):
            self._child.stdin.write(_ALL_SHUT)
            self._child.stdin.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._child.wait(5.0)
