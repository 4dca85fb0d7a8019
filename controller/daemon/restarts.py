"""How often the daemon was started lately, and how the one before it ended."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.recovery import ShutAt
from controller.errors import LogbookError
from controller.logbook.records import Happening

STARTED, ENDED = "started", "ended"
FIRST = "the first start"
# What the service manager calls the end of a unit, systemd.exec(5): $SERVICE_RESULT.
_BY_RESULT: Mapping[str, str] = {
    "watchdog": "it gave no sign of life, and the service manager ended it",
    "oom-kill": "the board had no memory left, and the kernel ended it",
    "timeout": "it took too long to start or to end, and the service manager ended it",
    "core-dump": "it crashed",
}
_LOOK_BACK = 300  # happenings; our choice
_SLACK = timedelta(seconds=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarts:
    """Starts within the last day, this one among them, and why the one before ended."""

    in_last_day: int
    last_ended: str


def how_it_ended(
    before: Sequence[Happening], *, now_utc: datetime, mono_s: float, stopped: ShutAt | None
) -> str:
    """Why the daemon before this one ended, from the newest of its own rows.

    `stopped`: the stop step that ran after it within this boot.
    """
    last = next((row for row in before if row.kind in (STARTED, ENDED)), None)
    if last is None:
        return FIRST
    if last.kind == ENDED:
        return last.words
    # The monotonic clock counts from the boot on; a row from before it is of another boot.
    if last.at_utc < now_utc - timedelta(seconds=mono_s) - _SLACK:
        return "the board was started anew, or had lost its power"
    if stopped is None:
        return "it was killed or crashed"
    why = _BY_RESULT.get(stopped.result, "it was killed or crashed")
    return f"{why}; the stop step shut the lines"


def starting(books: Books, clock: Clock, stopped: ShutAt | None) -> Restarts:
    """Write down that the daemon starts; a logbook that is silent counts as this start alone."""
    now = clock.now_utc()
    try:
        before = books.happenings(_LOOK_BACK)
        why = how_it_ended(
            before,
            now_utc=now,
            mono_s=clock.mono_s(),
            stopped=None if stopped is None or stopped.boot_id != clock.boot_id() else stopped,
        )
        books.happening(STARTED, f"before: {why}")
    except LogbookError:
        return Restarts(in_last_day=1, last_ended="not known")
    lately = [r for r in before if r.kind == STARTED and now - timedelta(days=1) < r.at_utc <= now]
    return Restarts(in_last_day=len(lately) + 1, last_ended=why)


def ending(books: Books, why: str) -> None:
    """Write down why it ends, if the logbook takes it."""
    with contextlib.suppress(LogbookError):
        books.happening(ENDED, why)
