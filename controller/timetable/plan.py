"""The morning's reckoning, for any span of days: ledger, need, dose, timetable.

A pure function of the garden, its weather, what the logbook says was given, and the span asked
for: the same inputs give the same timetable, to the tenth of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from controller.demand.facts import Season, parts_of
from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Row, Zone
from controller.hydraulics.lines import Lines
from controller.timetable.accounts import ZoneAccount
from controller.timetable.forecast import as_planned, counted_on
from controller.timetable.jobs import NOTHING_GIVEN, Given, Grounds, Reckoning, finished
from controller.timetable.normals import Normals
from controller.timetable.packing import Job, pack
from controller.timetable.records import Dose, NotFitted, Pulse, Timetable
from controller.timetable.sets import NetworkFlows
from controller.timetable.spells import frost_days, frost_words, spell_words
from controller.timetable.undercover import by_zone, cover_words
from controller.timetable.wetted import side_reach_m, wet_ground_m2

__all__ = [
    "NOTHING_GIVEN",
    "Given",
    "Grounds",
    "NetworkFlows",
    "assume_before",
    "assumed_words",
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
    given: Given = NOTHING_GIVEN,
    not_before_utc: datetime | None = None,
    normals: Normals | None = None,
    remarks: Iterable[str] = (),
) -> Timetable:
    """Plan `count` local days from `first` on.

    Parameters
    ----------
    days : mapping of date to DayInput
        Without gaps from the start of the account to the last day planned.
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
    reckoning = _reckoning(
        garden, grounds, lines, days, given, first=first, not_before_utc=not_before_utc
    )
    reckonings = by_zone(reckoning)
    accounts = {
        zone.name: zone_account(reckonings[zone.name], zone, normals) for zone in garden.zones
    }
    for name, account in accounts.items():
        account.take_over(given.carried.get(name, ()))
        account.carry_to(reckonings[name].days, given.litres, last=first - _DAY)
    said = [
        *remarks,
        *_starts(garden, accounts, days),
        *cover_words(garden, first, first + (count - 1) * _DAY),
        *_course_words(accounts, first),
        *spell_words(days, first, us_units=garden.us_units, normals=normals),
        *frost_words(
            days,
            today=first,
            hold_below_c=garden.weather.frost_hold_c,
            us_units=garden.us_units,
        ),
    ]
    pulses: list[Pulse] = []
    doses: list[Dose] = []
    not_fitted: list[NotFitted] = []
    flows = NetworkFlows(lines)
    for ahead in range(count):
        day = first + ahead * _DAY
        needed: list[tuple[Job, Dose]] = []
        for zone in garden.zones:
            found = reckonings[zone.name].job(zone, accounts[zone.name], day)
            if found is not None:
                needed.append(found)
        packed = pack(
            [job for job, _ in needed],
            flows,
            most_open=garden.watering.most_open,
            least_share=garden.watering.least_share,
        )
        pulses += packed.pulses
        not_fitted += packed.not_fitted
        doses += [finished(dose, packed.pulses) for _, dose in needed]
        for zone in garden.zones:
            litres = given.litres.get((zone.name, day), 0.0) + sum(
                p.litres for p in packed.pulses if p.zone == zone.name
            )
            accounts[zone.name].credit(reckonings[zone.name].days[day], litres)
    said += reckoning.guesses(doses)
    return Timetable(
        first=first,
        last=first + (count - 1) * _DAY,
        pulses=tuple(pulses),
        doses=tuple(doses),
        not_fitted=tuple(not_fitted),
        ledger=tuple(
            day for account in accounts.values() for ledger in account.ledgers for day in ledger
        ),
        remarks=tuple(said),
    )


def assume_before(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    days: Mapping[date, DayInput],
    given: Given,
    *,
    kept_from: date,
    normals: Normals | None = None,
) -> Given:
    """What was given, with the days before the logbook began taken as watered by this reckoning.

    Nobody wrote down what a garden got before `kept_from`, but its plants lived: taking it for
    nothing would flood every bed on the first morning. Doubt is dry: the first morning asks for
    what one day's reckoning leaves, no more. Whether those doses found room in their windows is
    not asked. Our choice.

    The accounts carried on the way go along, for `plan_garden` of the same garden and days.
    """
    begins = min(days) + _DAY
    if kept_from <= begins:
        return given
    litres = dict(given.litres)
    carried: dict[str, tuple[tuple[LedgerDay, ...], ...]] = {}
    reckonings = by_zone(
        Reckoning(
            garden=garden,
            grounds=grounds,
            lines=lines,
            days=days,
            first=begins,
            # What soaks away now says nothing of those days.
            given=replace(given, soaking_until_utc={}),
            not_before_utc=None,
        )
    )
    for zone in garden.zones:
        reckoning = reckonings[zone.name]
        account = zone_account(reckoning, zone, normals)
        account.carry_to(reckoning.days, given.litres, last=begins - _DAY)
        day = begins
        while day < kept_from:
            found = reckoning.job(zone, account, day)
            if found is not None and found[0].stretches:
                job = found[0]
                dose_litres = min(job.even_litres + job.line_litres, job.cap_litres)
                litres[zone.name, day] = litres.get((zone.name, day), 0.0) + dose_litres
            account.credit(reckoning.days[day], litres.get((zone.name, day), 0.0))
            day += _DAY
        carried[zone.name] = tuple(map(tuple, account.ledgers))
    return replace(given, litres=litres, carried=carried)


def assumed_words(days: Mapping[date, DayInput], kept_from: date) -> tuple[str, ...]:
    """The remark that goes with `assume_before`, where it assumed anything."""
    if kept_from <= min(days) + _DAY:
        return ()
    return (
        f"no logbook tells what was given before {kept_from}; the days before are taken as "
        "watered by this same reckoning",
    )


def zone_account(reckoning: Reckoning, zone: Zone, normals: Normals | None) -> ZoneAccount:
    """The account of one zone, not yet begun; the reckoning is that under its covers."""
    garden, lines = reckoning.garden, reckoning.lines
    soil = reckoning.grounds.soil(zone.bed.soil)
    season = Season(
        crop_for=reckoning.grounds.crop,
        days=reckoning.days,
        observations=reckoning.given.observations,
        normal_temps=None if normals is None else normals.temperatures,
        settling_days=garden.watering.settling_days,
        salt_ds_m=garden.supply.salt_ds_m,
        coefficients=garden.watering.coefficients,
    )

    def wetted_m2(row: Row) -> float:
        reach_m = side_reach_m(zone, zone.rows.index(row), lines)
        return wet_ground_m2(row, soil, reach_m=reach_m)

    return ZoneAccount(zone, parts_of(zone, soil, season, wetted_m2=wetted_m2), lines)


def _reckoning(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    days: Mapping[date, DayInput],
    given: Given,
    *,
    first: date,
    not_before_utc: datetime | None,
) -> Reckoning:
    """The days as a plan from `first` may count on them, and the frosts that hold it."""
    held = frost_days(days, today=first, hold_below_c=garden.weather.frost_hold_c)
    counted = counted_on(days, first=first, fallen_mm=given.fallen_mm)
    return Reckoning(
        garden=garden,
        grounds=grounds,
        lines=lines,
        days=as_planned(
            days,
            counted,
            first=first,
            fallen_mm=given.fallen_mm,
            trust=garden.watering.forecast_trust,
        ),
        first=first,
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
            remarks = (*part.remarks, *(facts.course.remarks if facts is not None else ()))
            said += [f"{account.zone.name}: {remark}" for remark in remarks]
    return list(dict.fromkeys(said))  # parts may share a planting


def _starts(
    garden: Garden, accounts: Mapping[str, ZoneAccount], days: Mapping[date, DayInput]
) -> list[str]:
    """Say where an account had to begin in mid-planting, with the soil taken as full."""
    begun = [
        zone.name
        for zone in garden.zones
        if any(
            ledger and ledger[0].crop is not None and ledger[0].day_of_planting > 1
            for ledger in accounts[zone.name].ledgers
        )
    ]
    if not begun:
        return []
    return [
        f"the weather begins on {min(days).isoformat()}, after planting in {', '.join(begun)}: "
        "the soil is taken as full on that day"
    ]
