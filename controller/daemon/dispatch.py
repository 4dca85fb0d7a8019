"""Opens the planned pulses that are due, by a table of rules; some wait, some are missed."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from controller.daemon.alerts import ReportAlert
from controller.daemon.openings import Controls
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import Zone
from controller.timetable.records import Pulse

LATEST_S = 600.0  # a pulse later than this is missed, and its water planned anew; our choice


class Verdict(StrEnum):
    """What happens to a planned pulse now."""

    OPEN = "open"
    WAIT = "wait"
    MISSED = "missed"  # its water stays owed; the next plan counts what was given
    DROP = "drop"  # what its key names has run already


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Everything that decides about a pulse.

    `may_run_until_utc` is the end of the stretch (windows less holds) that includes now; None where
    no stretch does.
    """

    now_utc: datetime
    doubt: str  # about the clock; "" for none
    shut_by: str  # a switch that lets nothing open by plan; "" for none
    key_spent: bool
    held: str | None  # the reason of the hold in force now, None where there is none
    is_open: bool  # the zone's valve, for whatever reason
    may_run_until_utc: datetime | None
    shortest_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The verdict, how long to open, and the reason if it is not simply the time."""

    verdict: Verdict
    open_s: float = 0.0
    why: str = ""


def judge(pulse: Pulse, moment: Moment) -> Decision:
    """Judge one pulse by the rules in their order; the first that fits decides."""
    if moment.key_spent:
        return Decision(verdict=Verdict.DROP, why="it has run already")
    if moment.doubt:
        # A clock in doubt cannot show how late it is; the next good look can.
        return Decision(verdict=Verdict.WAIT, why=moment.doubt)
    if moment.shut_by:
        # It waits; once the switch lets water again, it may be too late for it, and is missed.
        return Decision(verdict=Verdict.WAIT, why=moment.shut_by)
    late_s = (moment.now_utc - pulse.opens_utc).total_seconds()
    if late_s < 0.0:
        return Decision(verdict=Verdict.WAIT)
    if moment.held is not None:
        reason = f"held: {moment.held or 'no reason given'}"
        return Decision(verdict=Verdict.MISSED, why=reason)
    if late_s > LATEST_S:
        return Decision(verdict=Verdict.MISSED, why=f"{late_s / 60:.0f} minutes late")
    if moment.may_run_until_utc is None:
        return Decision(verdict=Verdict.MISSED, why="no window allows it any more")
    left_s = (moment.may_run_until_utc - moment.now_utc).total_seconds()
    open_s = min(pulse.open_s, left_s)
    if open_s < min(moment.shortest_s, pulse.open_s):
        return Decision(verdict=Verdict.MISSED, why="its window closes now")
    if moment.is_open:
        return Decision(verdict=Verdict.WAIT, why="its valve is open already")
    return Decision(verdict=Verdict.OPEN, open_s=open_s)


RETRY_S = 60.0  # after an opening that failed for want of the logbook; our choice
_LOG = logging.getLogger("rowgate.engine")


class Dispatcher:
    """Opens today's planned pulses. `request_plan` is called with the reason for another plan."""

    def __init__(
        self,
        controls: Controls,
        report: ReportAlert,
        request_plan: Callable[[str], None],
    ) -> None:
        self._journal, self._openings = controls.journal, controls.openings
        self._valve_set, self._clock = controls.valve_set, controls.clock
        self._report, self._request_plan = report, request_plan
        self._after_mono_s = float("-inf")
        self.pending: list[Pulse] = []

    def next_openings(self, now_utc: datetime) -> list[datetime]:
        """The opening times of the pulses that are not due yet."""
        return [p.opens_utc for p in self.pending if p.opens_utc > now_utc]

    def drop_zone(self, zone: str) -> None:
        """Open nothing more of that zone."""
        self.pending = [p for p in self.pending if p.zone != zone]

    def dispatch(
        self, zone_of: Callable[[str], Zone | None], moment: Callable[[Pulse, Zone], Moment]
    ) -> None:
        """Judge each due pulse, and act on the decision."""
        now = self._clock.now_utc()
        for pulse in [p for p in self.pending if p.opens_utc <= now]:
            if self._clock.mono_s() < self._after_mono_s:
                return
            zone = zone_of(pulse.zone)
            if zone is None:
                self.pending.remove(pulse)
                continue
            try:
                decision = judge(pulse, moment(pulse, zone))
            except LogbookError as fault:
                self._after_mono_s = self._clock.mono_s() + RETRY_S
                self._report("logbook", f"not opened: {fault}", pulse.zone)
                return
            if decision.verdict is Verdict.WAIT:
                continue
            if decision.verdict is Verdict.OPEN:
                self.open(pulse, decision.open_s)
                continue
            self.pending.remove(pulse)
            if decision.verdict is Verdict.MISSED:
                self._missed(pulse, decision.why)
            else:
                # Its row may stand there without its water: a slow disk took the intent too late.
                self._request_plan("a key that was spent")

    def open(self, pulse: Pulse, open_s: float) -> None:
        """Open a pulse of the plan; if it cannot be written down, try again later."""
        try:
            self._openings.open(self._valve_set.bank, pulse, open_s=open_s, manual=False)
        except LogbookError as fault:
            # The pulse stays; it is tried again until it is too late for it.
            self._after_mono_s = self._clock.mono_s() + RETRY_S
            self._report("logbook", f"not opened, it cannot be written down: {fault}", pulse.zone)
            return
        except ValveRefused as fault:
            self._report("refused", str(fault), pulse.zone)
        except ValveFault as fault:
            _LOG.error("%s: %s", pulse.zone, fault)  # the bank's record reports it
        self.pending.remove(pulse)

    def _missed(self, pulse: Pulse, why: str) -> None:
        self._report("missed", f"{why}; its water stays owed", pulse.zone)
        try:
            self._journal.missed(pulse, why)
        except LogbookError as fault:
            _LOG.error("a missed pulse of %s: %s", pulse.zone, fault)
        self._request_plan("missed")
