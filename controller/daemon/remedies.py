"""What a finding of the meter does: noted always; zones or the garden held, the master shut.

A hold stands in the logbook until a person lifts it. While the logbook does not take it, it holds
all the same.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.flowdesk import Found
from controller.daemon.openings import Openings, shut
from controller.daemon.waterworks import Waterworks
from controller.errors import LogbookError, RowgateError
from controller.garden.model import Action, Garden

HELD_FOR = timedelta(days=366)  # as long as a hold may be; a person lifts it before
RETRY_S = 60.0  # between tries to write a hold that the logbook would not take; our choice
_LOG = logging.getLogger("rowgate.remedies")


class TellZone(Protocol):
    """Says something worth knowing later, of a zone or of the garden."""

    def __call__(self, kind: str, words: str, zone: str | None = None) -> None:
        """Log it, and write it down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Owed:
    """A hold that is in force and not written yet; no zones: all."""

    zones: tuple[str, ...]
    reason: str


class Remedies:
    """Does what findings ask for, in the steward's thread."""

    def __init__(
        self,
        books: Books,
        openings: Openings,
        waterworks: Waterworks,
        clock: Clock,
        tell: TellZone,
        holds_changed: Callable[[], None],
    ) -> None:
        self._books, self._openings, self._works = books, openings, waterworks
        self._clock, self._tell, self._holds_changed = clock, tell, holds_changed
        self._owed: list[_Owed] = []
        self._tried_mono_s = float("-inf")

    def act(self, found: Found, garden: Garden) -> None:
        """Say it, shut what must be shut, and hold what must be held."""
        action, did = found.action, ""
        if action is Action.SHUT_MASTER:
            did = self._shut_master(f"flow: {found.finding}", garden)
            if not did:
                did = "there is no master valve to shut: shut the tap"
                action = Action.HOLD_ZONE if found.zones else Action.NOTE
            else:
                action = Action.HOLD_GARDEN
        held: tuple[str, ...] | None = None
        if action is Action.HOLD_ZONE and found.zones:
            held = found.zones
        elif action in (Action.HOLD_GARDEN, Action.HOLD_ZONE):
            held = ()  # a finding without a zone can hold the garden only
        if held is not None:
            what = ", ".join(held) or "the garden"
            did = "; ".join(words for words in (did, f"{what} held until lifted") if words)
        words = f"{', '.join(found.zones)}: {found.words}" if len(found.zones) > 1 else found.words
        for zone in found.zones or (None,):
            self._tell(f"flow: {found.finding}", f"{words}{'; ' + did if did else ''}", zone)
        if held is not None:
            self._hold(held, f"flow: {found.finding}")

    def held(self, zone: str) -> str | None:
        """The reason of a hold on this zone that is not in the logbook yet."""
        return next((o.reason for o in self._owed if not o.zones or zone in o.zones), None)

    def try_again(self) -> None:
        """Write the holds that are owed, if it is time to try."""
        now = self._clock.mono_s()
        if not self._owed or now - self._tried_mono_s < RETRY_S:
            return
        self._tried_mono_s = now
        try:
            while self._owed:
                self._write(self._owed[0])
                self._owed.pop(0)
            self._holds_changed()
        except LogbookError as fault:
            _LOG.error("a hold is not written down yet: %s", fault)

    def _hold(self, zones: tuple[str, ...], reason: str) -> None:
        # Shut first, a person's opening too: what flows wrongly must not wait for the disk.
        for running in list(self._openings.running.values()):
            if not zones or running.zone in zones:
                shut(self._works.bank, running.line, f"held: {reason}")
        self._owed.append(_Owed(zones=zones, reason=reason))
        self._tried_mono_s = float("-inf")
        self.try_again()

    def _write(self, hold: _Owed) -> None:
        now = self._clock.now_utc()
        if not self._is_held(hold.zones, hold.reason):
            self._books.hold(now, now + HELD_FOR, hold.zones, hold.reason)

    def _is_held(self, zones: Iterable[str], reason: str) -> bool:
        """Whether such a hold stands already, so that a leak of many days holds once."""
        rows = self._books.hold_rows(self._clock.now_utc())
        return any(row.zones == frozenset(zones) and row.reason == reason for row in rows)

    def _shut_master(self, why: str, garden: Garden) -> str:
        """What was done, in words; empty where there is no master."""
        if garden.master is None:
            return ""
        try:
            self._works.bank.shut_master(why)
        except RowgateError as fault:
            return f"the master valve was told to shut: {fault}; shut the tap"
        return "the master valve is shut"
