"""The pulses of the plan whose moment has come: judged, opened, or missed."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.judge import Moment, Verdict, judge
from controller.daemon.openings import Openings
from controller.daemon.remedies import TellZone
from controller.daemon.waterworks import Waterworks
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import Zone
from controller.timetable.records import Pulse

RETRY_S = 60.0  # after an opening that failed for want of the logbook; our choice
_LOG = logging.getLogger("rowgate.steward")


class Due:
    """What of today's plan is still to be opened. `want_plan` is told why another is needed."""

    def __init__(
        self,
        books: Books,
        openings: Openings,
        waterworks: Waterworks,
        clock: Clock,
        tell: TellZone,
        want_plan: Callable[[str], None],
    ) -> None:
        self._books, self._openings, self._works = books, openings, waterworks
        self._clock, self._tell, self._want_plan = clock, tell, want_plan
        self._after_mono_s = float("-inf")
        self.pending: list[Pulse] = []

    def coming(self, now_utc: datetime) -> list[datetime]:
        """When the pulses that are not due yet open."""
        return [p.opens_utc for p in self.pending if p.opens_utc > now_utc]

    def leave_out(self, zone: str) -> None:
        """Open nothing more of that zone."""
        self.pending = [p for p in self.pending if p.zone != zone]

    def look(
        self, zone_of: Callable[[str], Zone | None], moment: Callable[[Pulse, Zone], Moment]
    ) -> None:
        """Judge what is due by its moment, and do what the judge says."""
        now = self._clock.now_utc()
        for pulse in [p for p in self.pending if p.opens_utc <= now]:
            if self._clock.mono_s() < self._after_mono_s:
                return
            zone = zone_of(pulse.zone)
            if zone is None:
                self.pending.remove(pulse)
                continue
            try:
                judged = judge(pulse, moment(pulse, zone))
            except LogbookError as fault:
                self._after_mono_s = self._clock.mono_s() + RETRY_S
                self._tell("logbook", f"not opened: {fault}", pulse.zone)
                return
            if judged.verdict is Verdict.WAIT:
                continue
            if judged.verdict is Verdict.OPEN:
                self.open(pulse, judged.open_s)
                continue
            self.pending.remove(pulse)
            if judged.verdict is Verdict.MISSED:
                self._missed(pulse, judged.why)
            else:
                # Its row may stand there without its water: a slow disk took the intent too late.
                self._want_plan("a key that was spent")

    def open(self, pulse: Pulse, open_s: float) -> None:
        """Open a pulse of the plan; one that cannot be written down is tried again."""
        try:
            self._openings.open(self._works.bank, pulse, open_s=open_s, manual=False)
        except LogbookError as fault:
            # The pulse stays; it is tried again until it is too late for it.
            self._after_mono_s = self._clock.mono_s() + RETRY_S
            self._tell("logbook", f"not opened, it cannot be written down: {fault}", pulse.zone)
            return
        except ValveRefused as fault:
            self._tell("refused", str(fault), pulse.zone)
        except ValveFault as fault:
            _LOG.error("%s: %s", pulse.zone, fault)  # the bank's record tells it
        self.pending.remove(pulse)

    def _missed(self, pulse: Pulse, why: str) -> None:
        self._tell("missed", f"{why}; its water stays owed", pulse.zone)
        try:
            self._books.missed(pulse, why)
        except LogbookError as fault:
            _LOG.error("a missed pulse of %s: %s", pulse.zone, fault)
        self._want_plan("missed")
