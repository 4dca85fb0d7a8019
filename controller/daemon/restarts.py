"""How often the daemon was started lately, and how the one before it ended."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.recovery import ShutAt
from controller.errors import LogbookError
from controller.logbook.records import Happening

STARTED, ENDED = "started", "ended"
FIRST = "the first start"
_LOOK_BACK = 300  # happenings; our choice
_SLACK = timedelta(seconds=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarts:
    """Starts within the last day, this one among them, and why the one before ended."""

    in_last_day: int
    last_ended: str


def how_it_ended(
    before: Sequence[Happening], *, now_utc: datetime, mono_s: float, stopped_here: bool
) -> str:
    """Why the daemon before this one ended, from the newest of its own rows.

    `stopped_here`: a stop step ran within this boot.
    """
    last = next((row for row in before if row.kind in (STARTED, ENDED)), None)
    if last is None:
        return FIRST
    if last.kind == ENDED:
        return last.words
    # The monotonic clock counts from the boot on; a row from before it is of another boot.
    if last.at_utc < now_utc - timedelta(seconds=mono_s) - _SLACK:
        return "the board was started anew, or had lost its power"
    if stopped_here:
        return "it was killed or crashed; the stop step shut the lines"
    return "it was killed or crashed"


def starting(books: Books, clock: Clock, stopped: ShutAt | None) -> Restarts:
    """Write down that the daemon starts; a logbook that is silent counts as this start alone."""
    now = clock.now_utc()
    try:
        before = books.happenings(_LOOK_BACK)
        why = how_it_ended(
            before,
            now_utc=now,
            mono_s=clock.mono_s(),
            stopped_here=stopped is not None and stopped.boot_id == clock.boot_id(),
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
