"""The morning's work, for any span of days: ledger, need, dose, timetable.

A pure function of the garden, its weather, what the logbook says was given, and the span asked
for: the same inputs give the same timetable, to the tenth of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

from controller.demand.facts import Season, parts_of
from controller.demand.ledgerrows import JoinedRows
from controller.demand.records import DayInput
from controller.garden.model import Garden, Row, Zone
from controller.hydraulics.lines import Lines
from controller.timetable.accounts import ZoneAccount
from controller.timetable.endings import ending_words
from controller.timetable.forecast import as_planned, counted_on
from controller.timetable.jobs import NOTHING_GIVEN, Given, Grounds, Reckoning, finished
from controller.timetable.march import DayPlanned, March
from controller.timetable.normals import Normals
from controller.timetable.records import Timetable
from controller.timetable.sets import NetworkFlows
from controller.timetable.shortage import shortages
from controller.timetable.spells import frost_days, frost_days_gone, frost_words, spell_words
from controller.timetable.undercover import by_zone, cover_words
from controller.timetable.waterless import without_water
from controller.timetable.wetted import side_reach_m, wet_ground_m2

__all__ = [
    "NOTHING_GIVEN",
    "Given",
    "Grounds",
    "NetworkFlows",
    "plan_garden",
]

_DAY = timedelta(days=1)


def plan_garden(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    days: Mapping[date, DayInput],
    *,
    first: date,
    count: int,
    today: date | None = None,
    shown_from: date | None = None,
    given: Given = NOTHING_GIVEN,
    not_before_utc: datetime | None = None,
    normals: Normals | None = None,
    remarks: Iterable[str] = (),
) -> Timetable:
    """Plan `count` local days from `first` on.

    The account begins with the first of `days` and is carried through the days gone as through the
    days planned: what is written counts; what is not counts by its zone's rule (`given.record`),
    as the timetable of that day had it. So no opening depends on how a span is cut into plans.

    Parameters
    ----------
    days : mapping of date to DayInput
        Without gaps from the start of the account to the last day planned, and as far beyond as a
        dose may look: to the next window, and to tomorrow's rain and frost.
    today : date, optional
        The garden's date: parts what has been from what is to come; without it, `first`.
    shown_from : date, optional
        The first day of the timetable; without it, `first`.
    given : Given
        What the ledger credits for days gone, and for the first day what was given already.
    not_before_utc : datetime, optional
        Nothing opens before this moment (a plan made in mid-morning).
    normals : Normals, optional
        What is usual here, for stages that go by warmth.

    Raises
    ------
    KeyError
        If a day between the start of the account and the last planned day is missing.
    """
    shown = first if shown_from is None else shown_from
    march = march_of(
        garden,
        grounds,
        lines,
        days,
        first=first,
        today=today,
        given=given,
        not_before_utc=not_before_utc,
        normals=normals,
    )
    accounts = march.accounts
    march.through_days_gone()
    last = first + (count - 1) * _DAY
    said = [
        *remarks,
        *cover_words(garden, shown, last),
        *_course_words(accounts, shown),
        *spell_words(
            {d: found for d, found in days.items() if d <= last},
            shown,
            us_units=garden.us_units,
            normals=normals,
        ),
        *frost_words(
            days,
            today=shown,
            last=last,
            hold_below_c=garden.weather.frost_hold_c,
            us_units=garden.us_units,
        ),
    ]
    planned: list[DayPlanned] = []
    day = first
    while day <= last:
        found = march.plan(day)
        if day >= shown:
            planned.append(found)
        day += _DAY
    doses = [dose for p in planned for dose in finished(p.doses, p.packed.pulses)]
    not_fitted = [left for p in planned for left in p.packed.not_fitted]
    said += march.reckoning.guesses(doses)
    ledger = JoinedRows(rows for account in accounts.values() for rows in account.ledgers)
    pulses = tuple(pulse for p in planned for pulse in p.packed.pulses)
    return Timetable(
        first=shown,
        last=last,
        pulses=pulses,
        doses=tuple(doses),
        not_fitted=tuple(not_fitted),
        ledger=ledger,
        short=shortages(ledger.since(shown), not_fitted, first=shown),
        no_water=without_water(
            march.reckoning, accounts, pulses, not_fitted, first=shown, last=last
        ),
        water_in=march.to_water_in(shown),
        remarks=tuple(said),
    )


def march_of(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    days: Mapping[date, DayInput],
    *,
    first: date,
    today: date | None = None,
    given: Given = NOTHING_GIVEN,
    not_before_utc: datetime | None = None,
    normals: Normals | None = None,
    watered_in: bool = False,
) -> March:
    """The accounts of all zones, not yet begun; as for `plan_garden`, and as `ZoneAccount`."""
    reckoning = _reckoning(
        garden,
        grounds,
        lines,
        days,
        given,
        first=first,
        today=first if today is None else today,
        not_before_utc=not_before_utc,
    )
    reckonings = by_zone(reckoning)
    accounts = {
        zone.name: zone_account(reckonings[zone.name], zone, normals, watered_in=watered_in)
        for zone in garden.zones
    }
    return March(reckoning, reckonings, accounts, NetworkFlows(lines))


def zone_account(
    reckoning: Reckoning, zone: Zone, normals: Normals | None, *, watered_in: bool = False
) -> ZoneAccount:
    """The account of one zone, not yet begun; the reckoning is that under its covers."""
    garden, lines = reckoning.garden, reckoning.lines
    soil = reckoning.grounds.soil(zone.bed.soil)
    season = Season(
        crop_for=reckoning.grounds.crop,
        days=reckoning.days,
        observations=reckoning.given.observations,
        normal_temps=None if normals is None else normals.temperatures,
        normal_spread=None if normals is None else normals.temp_spread_c,
        settling_days=garden.watering.settling_days,
        salt_ds_m=garden.supply.salt_ds_m,
        latitude_deg=garden.site.latitude_deg,
        coefficients=garden.watering.coefficients,
    )

    def wetted_m2(row: Row) -> float:
        reach_m = side_reach_m(zone, zone.rows.index(row), lines)
        return wet_ground_m2(row, soil, reach_m=reach_m)

    parts = parts_of(zone, soil, season, wetted_m2=wetted_m2)
    return ZoneAccount(zone, parts, lines, garden.watering, watered_in=watered_in)


def _reckoning(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    days: Mapping[date, DayInput],
    given: Given,
    *,
    first: date,
    today: date,
    not_before_utc: datetime | None,
) -> Reckoning:
    """The days as a plan made today may count on them, and the frosts that hold them."""
    hold_below_c = garden.weather.frost_hold_c
    held = (
        *frost_days_gone(days, before=today, hold_below_c=hold_below_c),
        *frost_days(days, today=today, hold_below_c=hold_below_c),
    )
    counted = counted_on(days, first=today, fallen_mm=given.fallen_mm)
    return Reckoning(
        garden=garden,
        grounds=grounds,
        lines=lines,
        days=as_planned(
            days,
            counted,
            first=today,
            fallen_mm=given.fallen_mm,
            trust=garden.watering.forecast_trust,
        ),
        first=first,
        today=today,
        given=given,
        not_before_utc=not_before_utc,
        frost=dict.fromkeys(held, "frost is forecast"),
        coming_mm=counted,
    )


def _course_words(accounts: Mapping[str, ZoneAccount], day: date) -> list[str]:
    """What there is to say of the courses of what stands on that day."""
    said: list[str] = []
    for account in accounts.values():
        for part in account.parts:
            facts = part.planting_on(day)
            remarks = (
                *part.remarks,
                *(facts.course.remarks if facts is not None else ()),
                *ending_words(part, day),
            )
            said += [f"{account.zone.name}: {remark}" for remark in remarks]
    return list(dict.fromkeys(said))  # parts may share a planting
