"""Makes one plan from the logbook, the weather and the timetable room.

All functions are pure: garden, weather, logbook answers and the moment come in, a plan goes out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zlib import crc32

from controller.daemon.garden_reload import Accepted
from controller.garden.model import Garden, Hold, Watering, Zone
from controller.timetable.need.dose import soaking_of
from controller.timetable.need.jobs import Given
from controller.timetable.need.pulse_length import water_s
from controller.timetable.need.wetted_area import zone_wet_ground_m2
from controller.timetable.plan import Weather, plan_on
from controller.timetable.records import Timetable
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LastPulse:
    """A zone's latest watering, for the time its water takes to soak away."""

    zone: str
    ended_utc: datetime
    open_s: float
    litres: float


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
        garden,
        accepted.grounds,
        accepted.lines,
        weather,
        given,
        first=first_day_to_plan(garden, now_utc),
        last=today + DAYS_AHEAD * _DAY,
        today=today,
        not_before_utc=now_utc,
    )
