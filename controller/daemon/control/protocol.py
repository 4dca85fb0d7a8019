"""The protocol of the daemon's local socket: one JSON object a line, each way.

The socket's folder and mode decide who may connect. The daemon's end is in `server`.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import struct
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.errors import DaemonError

_QUEUE = 64
_CREDENTIALS = struct.Struct("3i")  # pid, uid, gid: SO_PEERCRED, unix(7)


class SpareFile:
    """A spare file descriptor, given up when no other can be had."""

    def __init__(self) -> None:
        self._number: int | None = None
        self.keep()

    def keep(self) -> bool:
        """Open it again if it was given up; whether it is open."""
        if self._number is None:
            with contextlib.suppress(OSError):
                self._number = os.open(os.devnull, os.O_RDONLY | os.O_CLOEXEC)
        return self._number is not None

    def give_up(self) -> bool:
        """Close it; whether there was one to close."""
        number, self._number = self._number, None
        if number is not None:
            os.close(number)
        return number is not None


def user_of(line: socket.socket) -> int:
    """The user of the process at the other end; the kernel may map an unknown user to another."""
    credentials = line.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    return int(_CREDENTIALS.unpack(credentials)[1])


def is_gone(line: socket.socket) -> bool:
    """Whether the other end has closed both ways; one that only stopped sending can still read."""
    look = select.poll()
    look.register(line, 0)
    return bool(look.poll(0))


def is_at(path: Path, ours: os.stat_result) -> bool:
    """Whether the socket at that path is still ours."""
    try:
        return os.path.samestat(path.lstat(), ours)
    except OSError:
        return False


def listen(path: Path) -> tuple[socket.socket, os.stat_result]:
    """Open our socket, with its name, in place of a dead daemon's; the caller holds the lock."""
    try:
        path.unlink(missing_ok=True)
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listening.bind(str(path))
            path.chmod(0o660)
            listening.listen(_QUEUE)
            listening.setblocking(False)
            return listening, path.lstat()
        except OSError:
            listening.close()
            raise
    except OSError as fault:
        raise DaemonError(f"cannot listen on {path}: {fault}") from fault


SOCKET_NAME = "rowgate.sock"
LONGEST_LINE = 64 * 1024
ANSWER_WITHIN_S = 20.0
# What a person may ask for at least: a relay that only clicks waters nothing; our choice.
SHORTEST_OPEN_S = 1.0
SHORTEST_HOLD_S = 60.0
_AGAIN_S = 0.05
REQUEST_WITHIN_S = 10.0  # a whole request, or the reading of an answer; our choice

TOO_MANY = "too many talk to the daemon at once; ask again in a moment"
TOO_SLOW = f"the request did not come whole within {REQUEST_WITHIN_S:g} s"
ONLY_CLOSE = "the daemon can open no more files; until it is started anew, it can only close valves"
BUSY = "the daemon is busy; nothing was done; ask again in a moment"
UNDER_WAY = "the daemon is busy with this; look at its status in a moment"
SHUT_BUT_BUSY = (
    "the valves got the command to shut. The daemon is busy, and takes the rest of today's "
    "openings out of the plan as soon as it can; look at its status in a moment"
)
NOT_SHUT_YET = (
    "the command to close is given, and not done yet; look at the valves, and shut the tap if "
    "they run"
)


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
            line.sendall(as_line(request))
            with line.makefile("rb") as reader:
                text = reader.readline()
    except TimeoutError as fault:
        raise DaemonError(f"the daemon does not answer within {within_s:g} s on {path}") from fault
    except PermissionError as fault:
        raise DaemonError(
            f"you have no right to ask the daemon on {path}; whoever is in the socket's group has"
        ) from fault
    except OSError as fault:
        raise DaemonError(f"no daemon runs here (no answer on {path})") from fault
    try:
        answer = json.loads(text)
    except ValueError as fault:
        raise DaemonError(f"the daemon on {path} broke off in mid-answer") from fault
    if not isinstance(answer, dict):
        raise DaemonError(f"the daemon on {path} gave an answer that cannot be read")
    return answer


def _connect(line: socket.socket, path: Path, within_s: float) -> None:
    """Connect; while the queue is full the kernel refuses at once, so wait and try again."""
    for _ in range(int(within_s / _AGAIN_S)):
        try:
            line.connect(str(path))
        except BlockingIOError:
            time.sleep(_AGAIN_S)
        else:
            return
    raise TimeoutError


def as_line(message: Mapping[str, Any]) -> bytes:
    """A request or an answer as it is sent."""
    return json.dumps(message).encode() + b"\n"


def refusal(words: str) -> dict[str, Any]:
    """The answer that refuses, with the reason."""
    return {"ok": False, "words": words}
