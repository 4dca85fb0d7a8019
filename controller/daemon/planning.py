"""The day's plan: made from logbook, weather and timetable, then opened pulse by pulse.

What makes a plan, and decides about a pulse, is pure: garden, weather, logbook answers and the
moment come in. The `Dispatcher` alone acts. Some pulses wait, some are missed.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zlib import crc32

from controller.daemon.alerts import ReportAlert
from controller.daemon.garden_reload import Accepted
from controller.daemon.journal import LastPulse
from controller.daemon.openings import Controls
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import Garden, Hold, Watering, Zone
from controller.timetable.need.dose import soaking_of
from controller.timetable.need.jobs import Given
from controller.timetable.need.pulse_length import water_s
from controller.timetable.need.wetted_area import zone_wet_ground_m2
from controller.timetable.plan import Installation, Span, Weather, plan_on
from controller.timetable.records import Pulse, Timetable
from controller.timetable.windows import allowed, hold_stretches, utc_from_local

DAYS_AHEAD = 2  # days after today in each plan: shown, never opened from; our choice
AFTER_MIDNIGHT = timedelta(minutes=2)
BEFORE_WINDOW = timedelta(minutes=20)
SPREAD_MINUTES = 10  # over which gardens are spread, so that not all ask a service at once
_DAY = timedelta(days=1)


def local_day(garden: Garden, now_utc: datetime) -> date:
    """The garden's own date at this moment."""
    return now_utc.astimezone(garden.site.zone_info).date()


def with_holds(garden: Garden, holds: Iterable[Hold]) -> Garden:
    """The garden with these holds added to those of its file."""
    watering: Watering = replace(garden.watering, holds=(*garden.watering.holds, *holds))
    return replace(garden, watering=watering)


def held_now(garden: Garden, zone: Zone, now_utc: datetime) -> str | None:
    """The reason of the hold that keeps this zone shut now; None where none does."""
    for hold in garden.watering.holds:
        for held in hold_stretches([hold], zone.name, garden.site.zone_info):
            if held.begins_utc <= now_utc < held.ends_utc:
                return hold.reason
    return None


def may_run_until(garden: Garden, zone: Zone, day: date, now_utc: datetime) -> datetime | None:
    """The latest moment to drive the valve shut, so that it is shut when this stretch ends.

    A stretch is a part of that day's windows without holds; None where now lies in none.
    """
    stretches = allowed(garden.watering, zone.name, zone.valve.kind, day, garden.site.zone_info)
    for stretch in stretches:
        if stretch.begins_utc <= now_utc < stretch.ends_utc:
            return stretch.ends_utc - timedelta(seconds=zone.valve.closes_in_s)
    return None


def first_day_to_plan(garden: Garden, now_utc: datetime) -> date:
    """Today, or yesterday while a window of yesterday is not over."""
    today = local_day(garden, now_utc)
    yesterday = today - _DAY
    for zone in garden.zones:
        stretches = allowed(
            garden.watering, zone.name, zone.valve.kind, yesterday, garden.site.zone_info
        )
        if any(s.ends_utc > now_utc for s in stretches):
            return yesterday
    return today


def own_minutes(garden: Garden) -> timedelta:
    """This garden's share of `SPREAD_MINUTES`, always the same for one place."""
    site = garden.site
    place = f"{site.name} {site.latitude_deg} {site.longitude_deg}".encode()
    return timedelta(seconds=60.0 * SPREAD_MINUTES * (crc32(place) / 2**32))


def plan_moments(garden: Garden, now_utc: datetime) -> list[tuple[str, datetime]]:
    """When to plan anew in the next two days: after each midnight and before each window."""
    zone_info, today = garden.site.zone_info, local_day(garden, now_utc)
    own = own_minutes(garden)
    moments: dict[datetime, str] = {}
    for ahead in range(3):
        day = today + ahead * _DAY
        midnight = utc_from_local(datetime.combine(day, time()), zone_info)
        moments[midnight + AFTER_MIDNIGHT + own] = f"plan {day.isoformat()} midnight"
        for zone in garden.zones:
            for stretch in allowed(garden.watering, zone.name, zone.valve.kind, day, zone_info):
                at = stretch.begins_utc - BEFORE_WINDOW + own
                moments.setdefault(at, f"plan {at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ} window")
    return [(moments[at], at) for at in sorted(moments) if at > now_utc]


def soaked_away_utc(pulse: LastPulse, zone: Zone, accepted: Accepted, basin_mm: float) -> datetime:
    """When the water of that pulse has soaked into the wetted ground."""
    soil = accepted.grounds.soil(zone.bed.soil)
    soaking = soaking_of(zone_wet_ground_m2(zone, soil, accepted.lines), soil, basin_mm)
    flowed_s = water_s(
        open_s=pulse.open_s,
        opens_in_s=zone.valve.opens_in_s,
        closes_in_s=zone.valve.closes_in_s,
    )
    if flowed_s <= 0.0 or soaking.strip_m2 <= 0.0:
        return pulse.ended_utc
    standing_mm = soaking.standing_after(0.0, pulse.litres / flowed_s, flowed_s)
    return pulse.ended_utc + timedelta(seconds=soaking.seconds_to_soak(standing_mm))


def plan(
    accepted: Accepted,
    garden: Garden,
    weather: Weather,
    *,
    now_utc: datetime,
    given: Given,
    last_pulses: Iterable[LastPulse],
) -> Timetable:
    """The timetable from this moment on; `garden` is the accepted one with the holds in force.

    `given` is what the logbook says, without the soaking away of `last_pulses`.
    """
    today = local_day(garden, now_utc)
    zones = {zone.name: zone for zone in garden.zones}
    given = replace(
        given,
        soaking_until_utc={
            pulse.zone: soaked_away_utc(
                # An end that lies ahead was written by a clock that was wrong.
                replace(pulse, ended_utc=min(pulse.ended_utc, now_utc)),
                zones[pulse.zone],
                accepted,
                garden.watering.basin_mm,
            )
            for pulse in last_pulses
            if pulse.zone in zones
        },
    )
    return plan_on(
        Installation(garden, accepted.grounds, accepted.lines),
        weather,
        given,
        Span.between(
            first=first_day_to_plan(garden, now_utc),
            last=today + DAYS_AHEAD * _DAY,
            today=today,
            not_before_utc=now_utc,
        ),
    )


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
    untrusted: str  # why the clock is not trusted; "" where it is
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


def decide(pulse: Pulse, moment: Moment) -> Decision:
    """Decide about one pulse by the rules in their order; the first that fits counts."""
    if moment.key_spent:
        return Decision(verdict=Verdict.DROP, why="it has run already")
    if moment.untrusted:
        # Such a clock cannot show how late it is; once it is trusted, it can.
        return Decision(verdict=Verdict.WAIT, why=moment.untrusted)
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
        """Decide about each due pulse, and do it."""
        now = self._clock.now_utc()
        for pulse in [p for p in self.pending if p.opens_utc <= now]:
            if self._clock.mono_s() < self._after_mono_s:
                return
            zone = zone_of(pulse.zone)
            if zone is None:
                self.pending.remove(pulse)
                continue
            try:
                decision = decide(pulse, moment(pulse, zone))
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
