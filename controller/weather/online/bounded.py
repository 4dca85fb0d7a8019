"""Connections that end: no read of an answer outlasts a deadline, none takes more than so much.

The client library gives each read of a socket its time, and starts that anew with every byte; the
standard library skips interim answers (1xx) and trailers for as long as they come. So what reads
from the socket here knows the deadline of the whole question, and counts what came.
"""

from __future__ import annotations

import io
import socket
from collections.abc import Callable
from http.client import HTTPResponse
from typing import Any

from urllib3 import HTTPConnectionPool, HTTPSConnectionPool, PoolManager
from urllib3.connection import HTTPConnection, HTTPSConnection

# Heads of a few hundred bytes are usual, and of a few thousand where cookies are set; our choice.
MOST_HEAD_BYTES = 64_000


class TooMuch(OSError):
    """More came than any answer of such a service has."""


class Bounds:
    """What may still come of one question: `left_s` says for how long, `most_bytes` how much."""

    def __init__(self) -> None:
        self.left_s: Callable[[], float] = lambda: 0.0
        self.read_s = 0.0
        self.most_bytes = 0

    def begin(self, left_s: Callable[[], float], *, read_s: float, most_body_bytes: int) -> None:
        """A new question. Chunks of a few bytes each double what is sent of a body."""
        self.left_s, self.read_s = left_s, read_s
        self.most_bytes = MOST_HEAD_BYTES + 2 * most_body_bytes


class _Reading(io.RawIOBase):
    """The bytes of one answer as they come."""

    def __init__(self, line: socket.socket, bounds: Bounds) -> None:
        self._line, self._bounds = line, bounds
        self._raw: Any = line.makefile("rb", buffering=0)  # keeps the socket open while it is
        self._came = 0

    def readable(self) -> bool:
        """Yes."""
        return True

    def readinto(self, into: Any) -> int | None:
        """What is there, waited for no longer than the question may still take."""
        left_s = self._bounds.left_s()
        if left_s <= 0.0:
            raise TimeoutError("the question took too long")
        if self._came > self._bounds.most_bytes:
            raise TooMuch(f"no end after {self._came} bytes")
        self._line.settimeout(min(self._bounds.read_s, left_s))
        count: int | None = self._raw.readinto(into)
        self._came += count or 0
        return count

    def close(self) -> None:
        """Let the socket go."""
        self._raw.close()
        super().close()


class _Line:
    """A socket to an answer, which asks it for nothing but a file to read from."""

    def __init__(self, line: socket.socket, bounds: Bounds) -> None:
        self._line, self._bounds = line, bounds

    def makefile(self, *_: object, **__: object) -> io.BufferedReader:
        """The one that ends."""
        return io.BufferedReader(_Reading(self._line, self._bounds))


def bind(manager: PoolManager, bounds: Bounds) -> None:
    """Let every connection of `manager` keep to `bounds`."""

    class Answer(HTTPResponse):
        def __init__(self, sock: Any, *args: Any, **kwargs: Any) -> None:
            super().__init__(_Line(sock, bounds), *args, **kwargs)  # type: ignore[arg-type]

    class Plain(HTTPConnection):
        response_class = Answer

    class Secure(HTTPSConnection):
        response_class = Answer

    class PlainPool(HTTPConnectionPool):
        ConnectionCls = Plain

    class SecurePool(HTTPSConnectionPool):
        ConnectionCls = Secure

    manager.pool_classes_by_scheme = {"http": PlainPool, "https": SecurePool}
