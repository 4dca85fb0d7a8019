"""Asking the running daemon: one JSON object a line, each way, over a local socket.

The socket's folder and mode decide who may speak. The daemon's end is in `controlserver`.
"""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.errors import DaemonError

SOCKET_NAME = "rowgate.sock"
LONGEST_LINE = 64 * 1024
ANSWER_WITHIN_S = 20.0
# What a person may ask for at least: a relay that only clicks waters nothing; our choice.
SHORTEST_OPEN_S = 1.0
SHORTEST_HOLD_S = 60.0
_AGAIN_S = 0.05


def ask(
    runtime_dir: Path, request: Mapping[str, Any], *, within_s: float = ANSWER_WITHIN_S
) -> dict[str, Any]:
    """Put one request to the daemon and return its answer.

    Raises
    ------
    DaemonError
        If no daemon answers, or what it answers does not read.
    """
    path = runtime_dir / SOCKET_NAME
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(within_s)
            _connect(line, path, within_s)
            line.sendall(json.dumps(request).encode() + b"\n")
            with line.makefile("rb") as reader:
                text = reader.readline()
    except TimeoutError as fault:
        raise DaemonError(f"the daemon does not answer within {within_s:g} s on {path}") from fault
    except OSError as fault:
        raise DaemonError(f"no daemon runs here (no answer on {path})") from fault
    try:
        answer = json.loads(text)
    except ValueError as fault:
        raise DaemonError(f"the daemon on {path} broke off in mid-answer") from fault
    if not isinstance(answer, dict):
        raise DaemonError(f"the daemon on {path} gave an answer that does not read")
    return answer


def _connect(line: socket.socket, path: Path, within_s: float) -> None:
    """Connect; with a full queue of askers the kernel says "again" at once, so wait and try."""
    for _ in range(int(within_s / _AGAIN_S)):
        try:
            line.connect(str(path))
        except BlockingIOError:
            time.sleep(_AGAIN_S)
        else:
            return
    raise TimeoutError


def refusal(words: str) -> dict[str, Any]:
    """The answer that says no, and why."""
    return {"ok": False, "words": words}
