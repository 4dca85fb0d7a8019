"""HTTP connections with a deadline and a size limit for the whole answer.

The client library has a timeout for each read of a socket, and it starts again with every byte. The
standard library reads interim answers (1xx) and trailers without end. So the reader of the socket
here knows the deadline of the whole request, and counts the bytes.
"""

from __future__ import annotations

import io
import socket
from collections.abc import Callable
from http.client import HTTPResponse
from typing import Any

from urllib3 import HTTPConnectionPool, HTTPSConnectionPool, PoolManager
from urllib3.connection import HTTPConnection, HTTPSConnection

# Headers have a few hundred bytes, or a few thousand with cookies; the limit is our choice.
MOST_HEAD_BYTES = 64_000


class TooMuch(OSError):
    """The answer is larger than any answer of such a service."""


class Bounds:
    """The limits of one request: `left_s` gives the time left, `most_bytes` the size."""

    def __init__(self) -> None:
        self.left_s: Callable[[], float] = lambda: 0.0
        self.read_s = 0.0
        self.most_bytes = 0

    def begin(self, left_s: Callable[[], float], *, read_s: float, most_body_bytes: int) -> None:
        """Begin a request. The body counts double: chunks of a few bytes double what is sent."""
        self.left_s, self.read_s = left_s, read_s
        self.most_bytes = MOST_HEAD_BYTES + 2 * most_body_bytes


class _Reading(io.RawIOBase):
    """The bytes of one answer, as they arrive."""

    def __init__(self, line: socket.socket, bounds: Bounds) -> None:
        self._line, self._bounds = line, bounds
        self._raw: Any = line.makefile("rb", buffering=0)  # keeps the socket open
        self._came = 0

    def readable(self) -> bool:
        """True, for the buffered reader."""
        return True

    def readinto(self, into: Any) -> int | None:
        """Read what has arrived; wait for it no longer than the deadline."""
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
        """Close the socket."""
        self._raw.close()
        super().close()


class _Line:
    """A stand-in for the socket: the answer only needs a file to read from."""

    def __init__(self, line: socket.socket, bounds: Bounds) -> None:
        self._line, self._bounds = line, bounds

    def makefile(self, *_: object, **__: object) -> io.BufferedReader:
        """A file that keeps to the limits."""
        return io.BufferedReader(_Reading(self._line, self._bounds))


def bind(manager: PoolManager, bounds: Bounds) -> None:
    """Make every connection of `manager` keep to `bounds`."""

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
