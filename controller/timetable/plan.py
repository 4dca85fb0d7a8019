"""Planning of any span of days: from weather and logbook to a timetable.

A plan is a pure function of the garden, its weather, the water given by the logbook, and the span:
the same inputs give the same timetable, to the tenth of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from controller.demand.records import DayInput
from controller.demand.soil.ground import Season, parts_of
from controller.demand.soil.packed_days import JoinedRows, rows_since
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Row
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.climatology import Normals
from controller.inputs.days import account_begins, demand_days
from controller.inputs.monthly_climate import climate_messages
from controller.messages import Message, quoted
from controller.timetable.covers import by_zone, cover_messages
from controller.timetable.extremes import (
    frost_days,
    frost_days_gone,
    frost_messages,
    heat_messages,
)
from controller.timetable.garden_accounts import DayPlanned, GardenAccounts
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.dose import as_planned, counted_on
from controller.timetable.need.jobs import NOTHING_GIVEN, Given, Grounds, JobMaker, finished
from controller.timetable.need.rounds import throttle_messages
from controller.timetable.need.wetted_area import side_reach_m, wet_ground_m2
from controller.timetable.notices import ending_messages, shortages, without_water
from controller.timetable.packing.job import NetworkFlows
from controller.timetable.records import Timetable
from controller.timetable.unwritten import record_messages
from controller.timetable.windows import FURTHEST_WINDOW_DAYS, clock_change_messages
from controller.weather.day import WeatherDay

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
    remarks: Iterable[Message] = (),
) -> Timetable:
    """Plan `count` local days from `first` on.

    The account begins with the first of `days`. On past days recorded water counts; without a
    record, water counts by its zone's rule (`given.record`), as the timetable of that day had it.
    So no opening depends on how a span is cut into plans.

    Parameters
    ----------
    days : mapping of date to DayInput
        Without gaps from the start of the account to the last planned day, and as far beyond as a
        dose depends on: to the next window, and to the rain and frost of the next day.
    today : date, optional
        The garden's date: it separates the past from the forecast; without it, `first`.
    shown_from : date, optional
        The first day of the timetable; without it, `first`.
    given : Given
        The water given on past days, and already on the first day.
    not_before_utc : datetime, optional
        Nothing opens before this moment (a plan made in mid-morning).
    normals : Normals, optional
        The normals of this garden, for stages by warmth.

    Raises
    ------
    KeyError
        If a day between the start of the account and the last planned day is missing.
    """
    shown = first if shown_from is None else shown_from
    carried = garden_accounts(
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
    accounts = carried.accounts
    carried.through_days_gone()
    last = first + (count - 1) * _DAY
    messages = [
        *remarks,
        *cover_messages(garden, shown, last),
        *_course_messages(accounts, shown),
        *heat_messages(
            {d: found for d, found in days.items() if d <= last},
            shown,
            normals=normals,
        ),
        *frost_messages(days, today=shown, last=last, hold_below_c=garden.weather.frost_hold_c),
    ]
    planned: list[DayPlanned] = []
    day = first
    while day <= last:
        found = carried.plan(day)
        if day >= shown:
            planned.append(found)
        day += _DAY
    doses = [dose for p in planned for dose in finished(p.doses, p.packed.pulses)]
    not_fitted = [left for p in planned for left in p.packed.not_fitted]
    messages += carried.job_maker.guesses(doses)
    messages += throttle_messages(carried.job_maker, accounts, doses)
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
            carried.job_maker, accounts, pulses, not_fitted, first=shown, last=last
        ),
        water_in=carried.to_water_in(shown),
        remarks=tuple(messages),
    )


def garden_accounts(
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
) -> GardenAccounts:
    """The accounts of all zones, still empty, with the days as a plan of `today` credits them.

    Arguments as for `plan_garden` and `ZoneAccount`.
    """
    today = first if today is None else today
    hold_below_c = garden.weather.frost_hold_c
    held = (
        *frost_days_gone(days, before=today, hold_below_c=hold_below_c),
        *frost_days(days, today=today, hold_below_c=hold_below_c),
    )
    fallen_mm, trust = given.fallen_mm, garden.watering.forecast_trust
    counted = counted_on(days, first=today, fallen_mm=fallen_mm)
    job_maker = JobMaker(
        garden=garden,
        grounds=grounds,
        lines=lines,
        days=as_planned(days, counted, first=today, fallen_mm=fallen_mm, trust=trust),
        first=first,
        today=today,
        given=given,
        not_before_utc=not_before_utc,
        frost=frozenset(held),
        coming_mm=counted,
    )
    job_makers = by_zone(job_maker)
    accounts = {
        zone.name: zone_account(job_makers[zone.name], zone, normals, watered_in=watered_in)
        for zone in garden.zones
    }
    return GardenAccounts(job_maker, job_makers, accounts, NetworkFlows(lines))


def zone_account(
    job_maker: JobMaker, zone: Zone, normals: Normals | None, *, watered_in: bool = False
) -> ZoneAccount:
    """The account of one zone, still empty, with the weather under its covers."""
    garden, lines = job_maker.garden, job_maker.lines
    soil = job_maker.grounds.soil(zone.bed.soil)
    season = Season(
        crop_for=job_maker.grounds.crop,
        days=job_maker.days,
        observations=job_maker.given.observations,
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


def _course_messages(accounts: Mapping[str, ZoneAccount], day: date) -> list[Message]:
    """Messages on the stages and ends of the plantings of that day."""
    messages: list[Message] = []
    for account in accounts.values():
        for part in account.parts:
            facts = part.planting_on(day)
            remarks = [*part.remarks]
            if facts is not None:
                named = {"crop": facts.planting.crop, "start": str(facts.planting.start)}
                remarks += [
                    Message("plan.of_planting", {**named, "remark": remark})
                    for remark in facts.course.remarks
                ]
            remarks += ending_messages(part, day)
            zone = account.zone.name
            messages += [Message("plan.of_zone", {"zone": zone, "remark": r}) for r in remarks]
    return list(dict.fromkeys(messages))  # parts may share a planting


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """All rows of weather, the order of their sources, and the normals of this garden.

    `remarks` are printed before those on the days, `credits` after them.
    """

    rows: tuple[WeatherDay, ...]
    order: tuple[str, ...] = ()
    normals: Normals | None = None
    remarks: tuple[Message, ...] = ()
    credits: tuple[str, ...] = ()


def plan_on(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    weather: Weather,
    given: Given,
    *,
    first: date,
    last: date,
    today: date,
    not_before_utc: datetime | None = None,
) -> Timetable:
    """Plan the days from `first` to `last` with this weather.

    `today` separates the past from the forecast. Each day stands on the account that begins with
    its own winter: a span across that beginning is planned in two parts.
    """
    parts: list[Timetable] = []
    shown = first
    while shown <= last:
        begins = account_begins(shown, garden.site)
        until = last
        while account_begins(until, garden.site) != begins:
            until -= _DAY
        part = _planned(
            garden,
            grounds,
            lines,
            weather,
            given,
            begins=begins,
            first=max(first, begins),
            shown_from=shown,
            last=until,
            today=today,
            not_before_utc=not_before_utc,
        )
        if parts:  # the days before are those of the previous part
            part = replace(part, ledger=tuple(rows_since(part.ledger, shown)))
        parts.append(part)
        shown = until + _DAY
    return parts[0] if len(parts) == 1 else _joined(parts)


def ledger_on(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    weather: Weather,
    given: Given,
    *,
    first: date,
    last: date,
    planned_from: date,
    today: date,
) -> Timetable:
    """The ledger of the days from `first` to `last`, with remarks.

    Days from `planned_from` on are planned; it is at most the day after `last`. Each day stands on
    the account of its own winter, as in `plan_on`.
    """
    found = plan_on(
        garden,
        grounds,
        lines,
        weather,
        given,
        first=planned_from,
        last=max(last, planned_from),
        today=today,
    )
    rows = list(found.ledger)
    begins, day = account_begins(planned_from, garden.site), planned_from - _DAY
    while day >= first:
        if account_begins(day, garden.site) != begins:
            begins = account_begins(day, garden.site)
            older = _planned(
                garden,
                grounds,
                lines,
                weather,
                given,
                begins=begins,
                first=day + _DAY,
                shown_from=day + _DAY,
                last=day,
                today=today,
                not_before_utc=None,
            )
            rows = [row for row in rows if row.day > day]
            rows += older.ledger
        day -= _DAY
    rows.sort(key=lambda row: (row.zone, row.part, row.day))
    return replace(found, ledger=tuple(rows))


def _planned(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    weather: Weather,
    given: Given,
    *,
    begins: date,
    first: date,
    shown_from: date,
    last: date,
    today: date,
    not_before_utc: datetime | None,
) -> Timetable:
    """Plan days whose accounts have one beginning.

    Weather is made beyond the last of them, as far as a dose depends on: to the next window, and to
    the rain and frost of the next day. Otherwise the last day of a short plan would know less.
    """
    demand = demand_days(
        weather.rows,
        garden.site,
        first=begins,
        last=last + timedelta(days=FURTHEST_WINDOW_DAYS),
        today=today,
        remarks_from=shown_from,
        remarks_until=last,
        order=weather.order,
        rain_gauge_mm=given.fallen_mm,
        normals=weather.normals,
        climate=garden.weather.climate,
    )
    shown = (day for day in demand.days.values() if shown_from <= day.day <= last)
    return plan_garden(
        garden,
        grounds,
        lines,
        demand.days,
        first=first,
        count=(last - first).days + 1,
        today=today,
        shown_from=shown_from,
        given=given,
        not_before_utc=not_before_utc,
        normals=weather.normals,
        remarks=(
            *weather.remarks,
            *demand.remarks,
            *clock_change_messages(garden.watering, garden.site.zone_info, first, last),
            *climate_messages(garden, shown, weather.normals),
            *map(quoted, weather.credits),
            *record_messages(garden, given.record, first=first, today=today, litres=given.litres),
        ),
    )


def _joined(parts: Sequence[Timetable]) -> Timetable:
    """One timetable from several consecutive ones."""
    ledger = parts[0].ledger  # it stays packed: a season of all zones is large
    assert isinstance(ledger, JoinedRows)
    ledger = ledger.continued(row for part in parts[1:] for row in part.ledger)
    not_fitted = tuple(left for part in parts for left in part.not_fitted)
    watered = {pulse.zone for part in parts for pulse in part.pulses}
    return Timetable(
        first=parts[0].first,
        last=parts[-1].last,
        pulses=tuple(pulse for part in parts for pulse in part.pulses),
        doses=tuple(dose for part in parts for dose in part.doses),
        not_fitted=not_fitted,
        ledger=ledger,
        short=shortages(ledger.since(parts[0].first), not_fitted, first=parts[0].first),
        no_water=tuple(
            dict.fromkeys(n for part in parts for n in part.no_water if n.zone not in watered)
        ),
        water_in=tuple(each for part in parts for each in part.water_in),
        remarks=tuple(dict.fromkeys(remark for part in parts for remark in part.remarks)),
    )
