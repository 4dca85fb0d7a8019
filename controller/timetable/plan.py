"""The morning's reckoning, for any span of days: ledger, need, dose, timetable.

A pure function of the garden, its weather, what the logbook says was given, and the span asked
for: the same inputs give the same timetable, to the tenth of a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from controller.demand.ledger import advance
from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Zone
from controller.hydraulics.lines import Lines
from controller.timetable.jobs import NOTHING_GIVEN, Given, Grounds, Reckoning, finished
from controller.timetable.packing import Job, pack
from controller.timetable.records import Dose, NotFitted, Pulse, Timetable
from controller.units import l_from_m3, mm_from_litres

__all__ = [
    "NOTHING_GIVEN",
    "Given",
    "Grounds",
    "account_until",
    "assume_before",
    "assumed_words",
    "plan_garden",
]

_DAY = timedelta(days=1)


class NetworkFlows:
    """The hydraulics room in the terms packing asks in, from the rows' curves."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""
        return l_from_m3(self._lines.zone_flows(together)[zone])

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""
        return self._lines.zone_dry_holes(together)[zone]


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
    reckoning = Reckoning(
        garden=garden,
        grounds=grounds,
        lines=lines,
        days=days,
        first=first,
        given=given,
        not_before_utc=not_before_utc,
    )
    for ahead in range(count):
        day = first + ahead * _DAY
        needed: list[tuple[Job, Dose]] = []
        for zone in garden.zones:
            found = reckoning.job(zone, accounts[zone.name], day)
            if found is not None:
                needed.append(found)
        packed = pack(
            [job for job, _ in needed],
            flows,
            most_open=garden.watering.most_open,
            least_share=garden.watering.least_share,
            shortest_pulse_s=garden.watering.shortest_pulse_s,
        )
        pulses += packed.pulses
        not_fitted += packed.not_fitted
        doses += [finished(dose, packed.pulses) for _, dose in needed]
        for zone in garden.zones:
            litres = given.litres.get((zone.name, day), 0.0) + sum(
                p.litres for p in packed.pulses if p.zone == zone.name
            )
            _credit(accounts[zone.name], zone, grounds, days[day], litres)
    said += reckoning.guesses(doses)
    return Timetable(
        first=first,
        last=first + (count - 1) * _DAY,
        pulses=tuple(pulses),
        doses=tuple(doses),
        not_fitted=tuple(not_fitted),
        ledger=tuple(day for account in accounts.values() for day in account),
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
) -> Given:
    """What was given, with the days before the logbook began taken as watered by this reckoning.

    Nobody wrote down what a garden got before `kept_from`, but its plants lived: taking it for
    nothing would flood every bed on the first morning. Doubt is dry: the first morning asks for
    what one day's reckoning leaves, no more. Whether those doses found room in their windows is
    not asked. Our choice.
    """
    begins = min(days) + _DAY
    if kept_from <= begins:
        return given
    litres = dict(given.litres)
    reckoning = Reckoning(
        garden=garden,
        grounds=grounds,
        lines=lines,
        days=days,
        first=begins,
        given=given,
        not_before_utc=None,
    )
    for zone in garden.zones:
        account = account_until(zone, grounds, days, given.litres, last=begins - _DAY)
        day = begins
        while day < kept_from:
            found = reckoning.job(zone, account, day)
            if found is not None and found[0].stretches:
                job = found[0]
                dose_litres = min(job.even_litres + job.line_litres, job.cap_litres)
                litres[zone.name, day] = litres.get((zone.name, day), 0.0) + dose_litres
            _credit(account, zone, grounds, days[day], litres.get((zone.name, day), 0.0))
            day += _DAY
    return replace(given, litres=litres)


def assumed_words(days: Mapping[date, DayInput], kept_from: date) -> tuple[str, ...]:
    """The remark that goes with `assume_before`, where it assumed anything."""
    if kept_from <= min(days) + _DAY:
        return ()
    return (
        f"no logbook tells what was given before {kept_from}; the days before are taken as "
        "watered by this same reckoning",
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
