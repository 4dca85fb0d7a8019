"""The limits of asking a service: tries and waits, the deadline and the size of an answer.

The client library has a timeout for each read of a socket, and it starts again with every byte. The
standard library reads interim answers (1xx) and trailers without end. So the reader of the socket
here knows the deadline of the whole request, and counts the bytes. Only this module uses urllib3.
"""

from __future__ import annotations

import io
import socket
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http.client import HTTPResponse
from typing import Any

from urllib3 import HTTPConnectionPool, HTTPSConnectionPool, PoolManager
from urllib3.connection import HTTPConnection, HTTPSConnection

from controller.errors import NoWeather

LONGEST_WAIT_S = 6 * 3600.0  # our longest Retry-After: this clock may be wrong
# The wait after status 403, and after 429 without a Retry-After. A client that asks again at once
# is locked out for longer. The hour is our choice.
REFUSED_WAIT_S = 3600.0
_RETRY = {408, 429, 500, 502, 503, 504}


@dataclass(frozen=True, slots=True, kw_only=True)
class RetryPolicy:
    """Timeouts and number of tries. Waits between tries are random, up to a limit that doubles."""

    connect_s: float = 5.0
    read_s: float = 20.0
    overall_s: float = 60.0
    tries: int = 4
    first_wait_s: float = 2.0
    longest_wait_s: float = 20.0


class TryFailed(NoWeather):
    """One try failed. `wait_s` is the wait that the service asked for, if any."""

    def __init__(
        self, why: str, *, again: bool, wait_s: float | None = None, status: int | None = None
    ) -> None:
        super().__init__(why)
        self.again, self.wait_s, self.status = again, wait_s, status

    def with_(self, words: str) -> TryFailed:
        """The same failure with more text."""
        return TryFailed(f"{self}{words}", again=self.again, wait_s=self.wait_s, status=self.status)


def refusal(status: int, reason: str, retry_after: str | None, now_utc: datetime) -> TryFailed:
    """The failure that an HTTP status stands for; `reason` is the text of its body, if any."""
    detail = f": {reason}" if reason else ""
    if 300 <= status < 400:
        return TryFailed(
            "we were sent on to another page; does the network ask for a sign-in?",
            again=False,
            status=status,
        )
    wait_s = _asked_wait_s(retry_after, now_utc)
    if status == 429:
        why = f"the weather service has had too many questions from this address{detail}"
        if "daily" in reason.lower() or "tomorrow" in reason.lower():
            # A day's allowance that is used up does not come back in a minute.
            return TryFailed(why, again=False, wait_s=wait_s or LONGEST_WAIT_S, status=status)
        if wait_s is None:
            return TryFailed(
                f"{why}; it is left alone for an hour",
                again=False,
                wait_s=REFUSED_WAIT_S,
                status=status,
            )
        return TryFailed(why, again=True, wait_s=wait_s, status=status)
    if status in _RETRY:
        why = f"the weather service is out of order ({status}){detail}"
        return TryFailed(why, again=True, wait_s=wait_s, status=status)
    why = f"the weather service refused the question ({status}){detail}"
    if status == 403:
        return TryFailed(
            f"{why}; it is left alone for {'an hour' if wait_s is None else 'as long as it asks'}",
            again=False,
            wait_s=REFUSED_WAIT_S if wait_s is None else wait_s,
            status=status,
        )
    return TryFailed(why, again=False, status=status)


def _asked_wait_s(header: str | None, now_utc: datetime) -> float | None:
    """The wait of a Retry-After header (RFC 9110, 10.2.3), at most `LONGEST_WAIT_S`. [s]"""
    if header is None:
        return None
    text = header.strip()
    if text.isascii() and text.isdigit():
        return min(float(text), LONGEST_WAIT_S)
    try:
        at = parsedate_to_datetime(text)
    except ValueError:
        return None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    return min(max(0.0, (at - now_utc).total_seconds()), LONGEST_WAIT_S)


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
