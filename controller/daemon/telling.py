"""Saying what is worth knowing later: to the log at once, to the logbook as soon as it takes it."""

from __future__ import annotations

import logging
from collections import Counter, deque
from datetime import date
from zoneinfo import ZoneInfo

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.flowdesk import CHANGED_AGAIN
from controller.errors import LogbookError
from controller.garden.model import FlowFinding

RETRY_S = 60.0  # between two tries to write down what the logbook would not take; our choice
_MOST_KEPT = 200  # happenings kept while the logbook takes none
_LOG = logging.getLogger("rowgate.steward")


class Telling:
    """Happenings on their way into the logbook; a full disk delays them, and loses the oldest."""

    def __init__(self, books: Books, clock: Clock) -> None:
        self._books, self._clock = books, clock
        self._kept: deque[tuple[str, str, str | None]] = deque(maxlen=_MOST_KEPT)
        self._tried_mono_s = float("-inf")
        self.told: Counter[str] = Counter()  # by kind, since the start

    def tell(self, kind: str, words: str, zone: str | None = None) -> None:
        """Log it, and write it down, now or when that works again."""
        self.told[kind] += 1
        _LOG.warning("%s: %s", kind, words if zone is None else f"{zone}: {words}")
        try:
            self._books.happening(kind, words, zone)
        except LogbookError as fault:
            _LOG.error("not written down: %s", fault)
            self._kept.append((kind, words, zone))

    def unrecorded(self) -> list[str]:
        """What the logbook has not taken yet, in words."""
        return [f"{kind}: {words}" for kind, words, _ in self._kept]

    def try_again(self) -> None:
        """Write down what is kept, if it is time to try."""
        now = self._clock.mono_s()
        if not self._kept or now < self._tried_mono_s + RETRY_S:
            return
        self._tried_mono_s = now
        try:
            while self._kept:
                self._books.happening(*self._kept[0])
                self._kept.popleft()
        except LogbookError as fault:
            _LOG.error("still not written down: %s", fault)


def flow_findings(
    books: Books, day: date, zone_info: ZoneInfo
) -> list[tuple[FlowFinding, str, date]]:
    """The meter's findings told on that local day, and changes told in the week before, as far as
    the logbook has them."""
    try:
        rows = books.happenings(_MOST_KEPT)
    except LogbookError as fault:
        _LOG.error("what the meter found today is not known: %s", fault)
        return []
    return [
        (finding, row.zone or "", told)
        for row in rows
        for finding in FlowFinding
        if row.kind == f"flow: {finding}"
        and (told := row.at_utc.astimezone(zone_info).date()) <= day
        and (told == day or (finding is FlowFinding.CHANGED and day - told < CHANGED_AGAIN))
    ]


def told_words(books: Books, kind: str) -> list[str]:
    """What was told of a kind before, as far back as is looked."""
    try:
        return [row.words for row in books.happenings(_MOST_KEPT) if row.kind == kind]
    except LogbookError as fault:
        _LOG.error("what was told before is not known: %s", fault)
        return []
