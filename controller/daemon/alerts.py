"""Alerts for the log and the logbook, and what a finding of the meter does.

A hold stands in the logbook until a person lifts it. It holds also while the logbook does not take
it.
"""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from controller.clock import Clock
from controller.daemon.flow.monitor import CHANGED_AGAIN, Found
from controller.daemon.journal import Journal, WriteLater
from controller.daemon.openings import Controls, shut
from controller.errors import LogbookError, RowgateError
from controller.garden.model import Action, FlowFinding, Garden

RETRY_S = 60.0  # between two tries to write down what the logbook would not take; our choice
_MOST_WAITING = 200  # alerts, while the logbook takes none
_LOOK_BACK = 200  # alerts
_LOG = logging.getLogger("rowgate.alerts")


class AlertWriter:
    """Writes alerts into the logbook; a full disk delays them, and loses the oldest."""

    def __init__(self, journal: Journal, clock: Clock) -> None:
        self._journal = journal
        self._unwritten: WriteLater[tuple[str, str, str | None]] = WriteLater(
            lambda alert: journal.happening(*alert),
            lambda _, fault: _LOG.error("still not written down: %s", fault),
            clock,
            every_s=RETRY_S,
            most=_MOST_WAITING,
        )
        self.try_again = self._unwritten.try_again
        self.reported: Counter[str] = Counter()  # by kind, since the start

    def report(self, kind: str, message: str, zone: str | None = None) -> None:
        """Log it, and write it down now, or when that works again."""
        self.reported[kind] += 1
        _LOG.warning("%s: %s", kind, message if zone is None else f"{zone}: {message}")
        try:
            self._journal.happening(kind, message, zone)
        except LogbookError as fault:
            _LOG.error("not written down: %s", fault)
            self._unwritten.later((kind, message, zone))

    def unrecorded(self) -> list[str]:
        """The alerts the logbook has not taken yet, as text."""
        return [f"{kind}: {message}" for kind, message, _ in self._unwritten.waiting]


def flow_findings(
    journal: Journal, day: date, zone_info: ZoneInfo
) -> list[tuple[FlowFinding, str, date]]:
    """The findings the logbook has of that local day, and the changes of the fortnight before."""
    try:
        rows = journal.happenings(_LOOK_BACK)
    except LogbookError as fault:
        _LOG.error("what the meter found today is not known: %s", fault)
        return []
    return [
        (finding, row.zone or "", day_of)
        for row in rows
        for finding in FlowFinding
        if row.kind == f"flow: {finding}"
        and (day_of := row.at_utc.astimezone(zone_info).date()) <= day
        and (day_of == day or (finding is FlowFinding.CHANGED and day - day_of < CHANGED_AGAIN))
    ]


def reported_messages(journal: Journal, kind: str) -> list[str]:
    """The messages of a kind among the latest alerts."""
    try:
        return [row.words for row in journal.happenings(_LOOK_BACK) if row.kind == kind]
    except LogbookError as fault:
        _LOG.error("what was reported before is not known: %s", fault)
        return []


HELD_FOR = timedelta(days=366)  # as long as a hold may be; a person lifts it before


class ReportAlert(Protocol):
    """Reports something of a zone or of the garden."""

    def __call__(self, kind: str, message: str, zone: str | None = None) -> None:
        """Log it, and write it down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hold:
    """A hold in force that is not written yet; without zones it holds the garden."""

    zones: tuple[str, ...]
    reason: str


class FindingActions:
    """Acts on findings of the meter, in the engine's thread."""

    def __init__(
        self,
        controls: Controls,
        report: ReportAlert,
        holds_changed: Callable[[], None],
    ) -> None:
        self._journal, self._openings = controls.journal, controls.openings
        self._valve_set, self._clock = controls.valve_set, controls.clock
        self._report, self._holds_changed = report, holds_changed
        self._unwritten: WriteLater[_Hold] = WriteLater(
            self._write,
            lambda _, fault: _LOG.error("a hold is not written down yet: %s", fault),
            controls.clock,
            every_s=RETRY_S,
        )
        self.try_again = self._unwritten.try_again

    def act(self, found: Found, garden: Garden) -> None:
        """Report it, shut what must be shut, and hold what must be held."""
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
            did = "; ".join(message for message in (did, f"{what} held until lifted") if message)
        message = (
            f"{', '.join(found.zones)}: {found.words}" if len(found.zones) > 1 else found.words
        )
        for zone in found.zones or (None,):
            self._report(f"flow: {found.finding}", f"{message}{'; ' + did if did else ''}", zone)
        if held is not None:
            self._hold(held, f"flow: {found.finding}")

    def held(self, zone: str) -> str | None:
        """The reason of a hold on this zone that is not in the logbook yet."""
        waiting = self._unwritten.waiting
        return next((h.reason for h in waiting if not h.zones or zone in h.zones), None)

    def _hold(self, zones: tuple[str, ...], reason: str) -> None:
        # Shut first, a person's opening too: what flows wrongly must not wait for the disk.
        for running in list(self._openings.running.values()):
            if not zones or running.zone in zones:
                shut(self._valve_set.bank, running.line, f"held: {reason}")
        self._unwritten.put([_Hold(zones=zones, reason=reason)])

    def _write(self, hold: _Hold) -> None:
        """Write a hold, and put it in force: one that cannot be read back waits, and holds."""
        now = self._clock.now_utc()
        if not self._is_held(hold.zones, hold.reason):
            self._journal.hold(now, now + HELD_FOR, hold.zones, hold.reason)
        self._holds_changed()

    def _is_held(self, zones: Iterable[str], reason: str) -> bool:
        """Whether such a hold stands already, so that a leak of many days holds once."""
        rows = self._journal.hold_rows(self._clock.now_utc())
        return any(row.zones == frozenset(zones) and row.reason == reason for row in rows)

    def _shut_master(self, why: str, garden: Garden) -> str:
        """What was done, as text; empty where there is no master."""
        if garden.master is None:
            return ""
        try:
            self._valve_set.bank.shut_master(why)
        except RowgateError as fault:
            return f"the command to shut the master valve was given: {fault}; shut the tap"
        return "the master valve is shut"
