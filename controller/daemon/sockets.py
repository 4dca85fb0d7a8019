"""The local socket: listening, who is at the other end, and a place where no file is left."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import struct
from pathlib import Path

from controller.errors import DaemonError

_QUEUE = 64
_CREDENTIALS = struct.Struct("3i")  # pid, uid, gid: SO_PEERCRED, unix(7)


class SpareFile:
    """A file descriptor kept open for nothing, to be given up where no other can be had."""

    def __init__(self) -> None:
        self._number: int | None = None
        self.keep()

    def keep(self) -> bool:
        """Open it again, if it was given up; whether it is there."""
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
    """Whose process is at the other end; the kernel may show users it does not map as one."""
    told = line.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    return int(_CREDENTIALS.unpack(told)[1])


def is_gone(line: socket.socket) -> bool:
    """Whether the other end has closed, both ways; one that only says no more still hears."""
    look = select.poll()
    look.register(line, 0)
    return bool(look.poll(0))


def listen(path: Path) -> tuple[socket.socket, os.stat_result]:
    """Our socket, in place of one a dead daemon left (the caller holds the lock), and its name."""
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
