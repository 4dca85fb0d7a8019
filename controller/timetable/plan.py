"""The morning's reckoning, for any span of days: ledger, need, dose, timetable.

A pure function of the garden, its weather, what the logbook says was given, and the span asked
for: the same inputs give the same timetable, to the tenth of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from crops.catalogue import Catalogue, Crop, Soil

from controller.demand.ledger import advance
from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Zone
from controller.hydraulics.evenness import with_drilling_scatter
from controller.hydraulics.lines import Lines
from controller.timetable.dose import Need, even_litres, need_of, soaking_of
from controller.timetable.packing import Job, pack
from controller.timetable.records import Dose, NotFitted, Pulse, Timetable, Why
from controller.timetable.windows import (
    Stretch,
    allowed,
    days_to_next_window,
    hold_in_force,
)
from controller.units import l_from_m3, mm_from_litres

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the logbook says has been given, and which slots of a day are spent.

    `litres` is by zone and local day; `slots` the highest slot that has gone past planning;
    `soaking_until_utc` when a zone's last pulse will have soaked away.
    """

    litres: Mapping[tuple[str, date], float]
    slots: Mapping[tuple[str, date], int]
    soaking_until_utc: Mapping[str, datetime]


NOTHING_GIVEN = Given(litres={}, slots={}, soaking_until_utc={})


class Grounds:
    """The crops and soils of a garden, looked up once."""

    def __init__(self, garden: Garden, catalogue: Catalogue) -> None:
        self._garden, self._catalogue = garden, catalogue
        self._crops: dict[str, Crop] = {}
        self._soils: dict[str, Soil] = {}

    def crop(self, name: str) -> Crop:
        """A crop as this garden has it."""
        if name not in self._crops:
            self._crops[name] = self._catalogue.crop(name, self._garden.own_crops)
        return self._crops[name]

    def soil(self, name: str) -> Soil:
        """A soil as this garden has it."""
        if name not in self._soils:
            self._soils[name] = self._catalogue.soil(name, self._garden.own_soils)
        return self._soils[name]


class NetworkFlows:
    """The hydraulics room in the terms packing asks in."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""
        return l_from_m3(self._lines.open_set(together).zones[zone].flow_m3_s)

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""
        return self._lines.open_set(together).zones[zone].dry_holes


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

    Raises
    ------
    KeyError
        If a day between the start of the account and the last planned day is missing.
    """
    accounts = {
        zone.name: account_until(zone, grounds, days, given.litres, last=first - _DAY)
        for zone in garden.zones
    }
    said = [*remarks, *_starts(garden, accounts, days)]
    pulses: list[Pulse] = []
    doses: list[Dose] = []
    not_fitted: list[NotFitted] = []
    flows = NetworkFlows(lines)
    for ahead in range(count):
        day = first + ahead * _DAY
        needed: list[tuple[Job, Dose]] = []
        for zone in garden.zones:
            account = accounts[zone.name]
            if account and zone.ground_m2 > 0.0:
                pair = _job(
                    garden,
                    grounds,
                    lines,
                    zone,
                    account,
                    days,
                    day,
                    first,
                    given,
                    not_before_utc,
                )
                if pair is not None:
                    needed.append(pair)
        packed = pack(
            [job for job, _ in needed],
            flows,
            most_open=garden.watering.most_open,
            least_share=garden.watering.least_share,
            shortest_pulse_s=garden.watering.shortest_pulse_s,
        )
        pulses += packed.pulses
        not_fitted += packed.not_fitted
        doses += [_finished(dose, packed.pulses) for _, dose in needed]
        for zone in garden.zones:
            litres = given.litres.get((zone.name, day), 0.0) + sum(
                p.litres for p in packed.pulses if p.zone == zone.name
            )
            _credit(accounts[zone.name], zone, grounds, days[day], litres)
    return Timetable(
        first=first,
        last=first + (count - 1) * _DAY,
        pulses=tuple(pulses),
        doses=tuple(doses),
        not_fitted=tuple(not_fitted),
        ledger=tuple(day for account in accounts.values() for day in account),
        remarks=tuple(said),
    )


def account_until(
    zone: Zone,
    grounds: Grounds,
    days: Mapping[date, DayInput],
    litres: Mapping[tuple[str, date], float],
    *,
    last: date,
) -> list[LedgerDay]:
    """A zone's ledger from its start to `last`.

    It starts at the first planting, or at the first day of weather after that; before there is
    nothing to keep account of.
    """
    account: list[LedgerDay] = []
    if not zone.plantings or not days:
        return account
    day = max(zone.plantings[0].start, min(days))
    while day <= last:
        _credit(account, zone, grounds, days[day], litres.get((zone.name, day), 0.0))
        day += _DAY
    return account


def _credit(
    account: list[LedgerDay], zone: Zone, grounds: Grounds, today: DayInput, litres: float
) -> None:
    """Carry the account one day on, crediting every litre given; before its start, do nothing."""
    if not zone.plantings or today.day < zone.plantings[0].start:
        return
    ground_m2 = zone.ground_m2
    account.append(
        advance(
            account[-1] if account else None,
            zone=zone,
            soil=grounds.soil(zone.bed.soil),
            crop_for=grounds.crop,
            today=today,
            watered_mm=mm_from_litres(litres, ground_m2) if ground_m2 > 0.0 else 0.0,
        )
    )


def _job(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    zone: Zone,
    account: list[LedgerDay],
    days: Mapping[date, DayInput],
    day: date,
    first: date,
    given: Given,
    not_before_utc: datetime | None,
) -> tuple[Job, Dose] | None:
    watering, evening = garden.watering, account[-1]
    if not any(p.start <= day <= p.until for p in zone.plantings):
        return None
    wait = days_to_next_window(watering, zone.valve.kind, day)
    refill_at = watering.refill_at if zone.refill_at is None else zone.refill_at
    need = need_of(
        evening,
        refill_at=refill_at,
        expected_etc_mm=_expected_etc_mm(evening, days, day, wait),
        rain_doubt_days=_rain_doubt_days(account, first),
    )
    if need is None:
        return None
    alone = lines.open_set(frozenset((zone.name,))).zones[zone.name]
    evenness = max(
        with_drilling_scatter(alone.evenness, watering.drilling_scatter), _LEAST_EVENNESS
    )
    already = given.litres.get((zone.name, day), 0.0)
    wanted = even_litres(net_mm=need.net_mm, ground_m2=zone.ground_m2, evenness=evenness) - already
    if wanted <= 0.0:
        return None
    stretches = _later(
        allowed(watering, zone.name, zone.valve.kind, day, garden.site.zone_info),
        not_before_utc,
        given.soaking_until_utc.get(zone.name),
    )
    hold = hold_in_force(watering, zone.name, day, garden.site.zone_info)
    job = Job(
        zone=zone.name,
        day=day,
        valve=zone.valve.kind,
        relay_line=zone.valve.relay_line,
        even_litres=wanted,
        line_litres=l_from_m3(lines.line(zone.name).drains_m3),
        urgency=evening.depletion_mm / evening.raw_mm if evening.raw_mm > 0 else 1.0,
        stretches=stretches,
        soaking=soaking_of(zone, grounds.soil(zone.bed.soil), watering.basin_mm),
        longest_open_s=zone.valve.longest_open_s,
        cap_litres=max(0.0, l_from_m3(zone.daily_cap_m3) - already),
        first_slot=given.slots.get((zone.name, day), 0) + 1,
        hold_reason=None if hold is None else hold.reason,
    )
    return job, _dose(job, need, zone, account, evenness, already, refill_at)


# Under this evenness dividing by it would flood the rest of the row; such a row needs mending, and
# `check` says so. Our choice.
_LEAST_EVENNESS = 0.4


def _dose(
    job: Job,
    need: Need,
    zone: Zone,
    account: list[LedgerDay],
    evenness: float,
    already: float,
    refill_at: float,
) -> Dose:
    evening = account[-1]
    since: list[LedgerDay] = []
    for past in reversed(account):
        if past.watered_mm > 0.0 or past.account != evening.account:
            break
        since.append(past)
    return Dose(
        zone=job.zone,
        day=job.day,
        net_mm=need.net_mm,
        ground_m2=zone.ground_m2,
        evenness=evenness,
        line_litres=job.line_litres,
        pulses=0,
        litres=job.even_litres,
        already_litres=already,
        why=Why(
            account=evening.account,
            stage=evening.stage,
            eto_mm=evening.eto_mm,
            method=evening.method,
            kc=evening.kc,
            depletion_mm=evening.depletion_mm,
            allowed_mm=refill_at * evening.raw_mm,
            raw_mm=evening.raw_mm,
            rain_mm=sum(d.rain_mm - d.rain_unused_mm - d.runoff_mm for d in since),
            rain_unknown_days=sum(not d.rain_known for d in since),
            stand_in_days=sum(not d.measured for d in since),
            words=need.words,
        ),
    )


def _finished(dose: Dose, pulses: Iterable[Pulse]) -> Dose:
    """The dose with the pulses it came to, and the line filled for each."""
    count = sum(p.zone == dose.zone for p in pulses)
    return replace(dose, pulses=count, litres=dose.litres + count * dose.line_litres)


def _expected_etc_mm(
    evening: LedgerDay, days: Mapping[date, DayInput], day: date, wait: int
) -> float:
    """What the crop will use from `day` until the next chance, at last evening's Kc."""
    total = 0.0
    for ahead in range(wait):
        coming = days.get(day + ahead * _DAY)
        total += evening.kc * (coming.eto_mm if coming is not None else evening.eto_mm)
    return total


def _rain_doubt_days(account: list[LedgerDay], first: date) -> int:
    """Days in a row, up to the eve of the plan, on which rain is unknown.

    Days of the plan itself are no doubt: nobody knows yet what they bring.
    """
    doubt = 0
    for past in reversed(account):
        if past.rain_known or past.day >= first:
            break
        doubt += 1
    return doubt


def _later(stretches: list[Stretch], *not_before: datetime | None) -> list[Stretch]:
    """What is left of the stretches after the latest of the moments given."""
    for moment in not_before:
        if moment is not None:
            stretches = [
                Stretch(max(s.begins_utc, moment), s.ends_utc)
                for s in stretches
                if s.ends_utc > moment
            ]
    return stretches


def _starts(
    garden: Garden, accounts: Mapping[str, list[LedgerDay]], days: Mapping[date, DayInput]
) -> list[str]:
    """Say where an account had to begin in mid-planting, with the soil taken as full."""
    begun = [
        zone.name
        for zone in garden.zones
        if (account := accounts[zone.name])
        and account[0].crop is not None
        and account[0].day_of_planting > 1
    ]
    if not begun:
        return []
    return [
        f"the weather begins on {min(days).isoformat()}, after planting in {', '.join(begun)}: "
        "the soil is taken as full on that day"
    ]
