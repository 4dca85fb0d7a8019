"""Timeouts, retries, and the meaning of an HTTP status: whether and when to ask again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

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
