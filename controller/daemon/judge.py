"""What to do with a planned pulse at a given moment: a table of rules, no clock and no pins."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from controller.timetable.records import Pulse

LATEST_S = 600.0  # a pulse later than this is missed, and its water planned anew; our choice


class Verdict(StrEnum):
    """What becomes of a planned pulse now."""

    OPEN = "open"
    WAIT = "wait"
    MISSED = "missed"  # its water stays owed; the next plan counts what was given
    DROP = "drop"  # what its key names has run already


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """All that a pulse is judged by.

    `may_run_until_utc` is the end of the stretch, windows less holds, that now lies in; None where
    now lies in none.
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
class Judged:
    """The verdict, for how long to open, and the reason where it is not simply time."""

    verdict: Verdict
    open_s: float = 0.0
    why: str = ""


def judge(pulse: Pulse, moment: Moment) -> Judged:
    """Judge one pulse; the rules in their order, the first that fits decides."""
    if moment.key_spent:
        return Judged(verdict=Verdict.DROP, why="it has run already")
    if moment.doubt:
        # How late it is cannot be told from a clock in doubt; the next good look tells.
        return Judged(verdict=Verdict.WAIT, why=moment.doubt)
    if moment.shut_by:
        # It waits; once the switch lets water again, it may be too late for it, and is missed.
        return Judged(verdict=Verdict.WAIT, why=moment.shut_by)
    late_s = (moment.now_utc - pulse.opens_utc).total_seconds()
    if late_s < 0.0:
        return Judged(verdict=Verdict.WAIT)
    if moment.held is not None:
        reason = f"held: {moment.held or 'no reason given'}"
        return Judged(verdict=Verdict.MISSED, why=reason)
    if late_s > LATEST_S:
        return Judged(verdict=Verdict.MISSED, why=f"{late_s / 60:.0f} minutes late")
    if moment.may_run_until_utc is None:
        return Judged(verdict=Verdict.MISSED, why="no window allows it any more")
    left_s = (moment.may_run_until_utc - moment.now_utc).total_seconds()
    open_s = min(pulse.open_s, left_s)
    if open_s < min(moment.shortest_s, pulse.open_s):
        return Judged(verdict=Verdict.MISSED, why="its window closes now")
    if moment.is_open:
        return Judged(verdict=Verdict.WAIT, why="its valve is open already")
    return Judged(verdict=Verdict.OPEN, open_s=open_s)
