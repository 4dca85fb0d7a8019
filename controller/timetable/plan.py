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
from controller.messages import Message, verbatim
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
    "Installation",
    "NetworkFlows",
    "Span",
    "plan_garden",
]

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Installation:
    """A garden as it stands: its model, its crops and soils, and its lines as they deliver."""

    garden: Garden
    grounds: Grounds
    lines: Lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """The local days to plan.

    `today` is the garden's date, which separates the past from the forecast; without it, `first`.
    The timetable begins on `shown_from`; without it, on `first`. Nothing opens before
    `not_before_utc` (a plan made in mid-morning).
    """

    first: date
    count: int
    today: date | None = None
    shown_from: date | None = None
    not_before_utc: datetime | None = None

    @classmethod
    def between(
        cls,
        *,
        first: date,
        last: date,
        today: date | None = None,
        not_before_utc: datetime | None = None,
    ) -> Span:
        """The days from `first` to `last`."""
        count = (last - first).days + 1
        return cls(first=first, count=count, today=today, not_before_utc=not_before_utc)

    @property
    def last(self) -> date:
        """The last day."""
        return self.first + (self.count - 1) * _DAY

    @property
    def made_on(self) -> date:
        """The garden's date when it is planned."""
        return self.first if self.today is None else self.today


def plan_garden(
    installation: Installation,
    days: Mapping[date, DayInput],
    span: Span,
    *,
    given: Given = NOTHING_GIVEN,
    normals: Normals | None = None,
    remarks: Iterable[Message] = (),
) -> Timetable:
    """Plan the days of the span.

    The account begins with the first of `days`. On past days recorded water counts; without a
    record, water counts by its zone's rule (`given.record`), as the timetable of that day had it.
    So no opening depends on how a span is cut into plans.

    Parameters
    ----------
    days : mapping of date to DayInput
        Without gaps from the start of the account to the last planned day, and as far beyond as a
        dose depends on: to the next window, and to the rain and frost of the next day.
    given : Given
        The water given on past days, and already on the first day.
    normals : Normals, optional
        The normals of this garden, for stages by warmth.

    Raises
    ------
    KeyError
        If a day between the start of the account and the last planned day is missing.
    """
    garden, last = installation.garden, span.last
    shown = span.first if span.shown_from is None else span.shown_from
    carried = garden_accounts(installation, days, span, given=given, normals=normals)
    accounts = carried.accounts
    carried.through_days_gone()
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
    day = span.first
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
    installation: Installation,
    days: Mapping[date, DayInput],
    span: Span,
    *,
    given: Given = NOTHING_GIVEN,
    normals: Normals | None = None,
    watered_in: bool = False,
) -> GardenAccounts:
    """The accounts of all zones, still empty, with the days as a plan of that date credits them.

    Arguments as for `plan_garden` and `ZoneAccount`.
    """
    garden, today = installation.garden, span.made_on
    hold_below_c = garden.weather.frost_hold_c
    held = (
        *frost_days_gone(days, before=today, hold_below_c=hold_below_c),
        *frost_days(days, today=today, hold_below_c=hold_below_c),
    )
    fallen_mm, trust = given.fallen_mm, garden.watering.forecast_trust
    counted = counted_on(days, first=today, fallen_mm=fallen_mm)
    job_maker = JobMaker(
        garden=garden,
        grounds=installation.grounds,
        lines=installation.lines,
        days=as_planned(days, counted, first=today, fallen_mm=fallen_mm, trust=trust),
        first=span.first,
        today=today,
        given=given,
        not_before_utc=span.not_before_utc,
        frost=frozenset(held),
        coming_mm=counted,
    )
    job_makers = by_zone(job_maker)
    accounts = {
        zone.name: zone_account(job_makers[zone.name], zone, normals, watered_in=watered_in)
        for zone in garden.zones
    }
    return GardenAccounts(job_maker, job_makers, accounts, NetworkFlows(installation.lines))


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


def plan_on(installation: Installation, weather: Weather, given: Given, span: Span) -> Timetable:
    """Plan the days of the span with this weather.

    Each day stands on the account that begins with its own winter: a span across that beginning is
    planned in two parts.
    """
    site = installation.garden.site
    parts: list[Timetable] = []
    shown = span.first
    while shown <= span.last:
        begins = account_begins(shown, site)
        until = span.last
        while account_begins(until, site) != begins:
            until -= _DAY
        part = Span(
            first=max(span.first, begins),
            count=(until - max(span.first, begins)).days + 1,
            today=span.made_on,
            shown_from=shown,
            not_before_utc=span.not_before_utc,
        )
        found = _planned(installation, weather, given, part, begins=begins)
        if parts:  # the days before are those of the previous part
            found = replace(found, ledger=tuple(rows_since(found.ledger, shown)))
        parts.append(found)
        shown = until + _DAY
    return parts[0] if len(parts) == 1 else _joined(parts)


def ledger_on(
    installation: Installation,
    weather: Weather,
    given: Given,
    span: Span,
    *,
    planned_from: date,
) -> Timetable:
    """The ledger of the days of the span, with remarks.

    Days from `planned_from` on are planned; it is at most the day after the last. Each day stands
    on the account of its own winter, as in `plan_on`.
    """
    site, today = installation.garden.site, span.made_on
    planned = Span.between(first=planned_from, last=max(span.last, planned_from), today=today)
    found = plan_on(installation, weather, given, planned)
    rows = list(found.ledger)
    begins, day = account_begins(planned_from, site), planned_from - _DAY
    while day >= span.first:
        if account_begins(day, site) != begins:
            begins = account_begins(day, site)
            # No day is planned: the account only runs to the last of its winter.
            gone = Span(first=day + _DAY, count=0, today=today)
            older = _planned(installation, weather, given, gone, begins=begins)
            rows = [row for row in rows if row.day > day]
            rows += older.ledger
        day -= _DAY
    rows.sort(key=lambda row: (row.zone, row.part, row.day))
    return replace(found, ledger=tuple(rows))


def _planned(
    installation: Installation, weather: Weather, given: Given, span: Span, *, begins: date
) -> Timetable:
    """Plan days whose accounts have one beginning.

    Weather is made beyond the last of them, as far as a dose depends on: to the next window, and to
    the rain and frost of the next day. Otherwise the last day of a short plan would know less.
    """
    garden, first, last, today = installation.garden, span.first, span.last, span.made_on
    shown_from = first if span.shown_from is None else span.shown_from
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
        installation,
        demand.days,
        span,
        given=given,
        normals=weather.normals,
        remarks=(
            *weather.remarks,
            *demand.remarks,
            *clock_change_messages(garden.watering, garden.site.zone_info, first, last),
            *climate_messages(garden, shown, weather.normals),
            *map(verbatim, weather.credits),
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
