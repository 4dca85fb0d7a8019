"""Sums of the water given, and between meter readings. All functions are pure."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from controller.demand.records import LedgerDay
from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.logbook.records import (
    HowKnown,
    MeterSpan,
    PulseRow,
    PulseState,
    Reading,
    SumRow,
    Sums,
)
from controller.weather.source_priority import is_of_a_model, is_stand_in

BY = ("zone", "bed", "keeper", "month")
NOT_IN_GARDEN = "(no longer in the garden file)"
NO_KEEPER = "(no keeper named)"
NEW_METER = "L, new meter"  # the unit of a new meter's first reading
_GAVE = {PulseState.CLOSED, PulseState.CUT}
_DAY = timedelta(days=1)


def sum_up(
    pulses: Iterable[PulseRow],
    ledger: Iterable[LedgerDay],
    *,
    by: str,
    first: date,
    last: date,
    garden: Garden,
    months: bool = False,
) -> Sums:
    """Sum the pulses of a period; with `months` each row is divided by months.

    Every zone, bed or keeper of the garden, or month of the period, has a row, also with nothing
    given. Water given to a zone that is no longer in the garden file is kept apart, never dropped.
    """
    if by not in BY:
        raise InputError(f"found {by!r}; a report is by: {', '.join(BY)}")
    all_pulses = list(pulses)
    # The parts of a zone share their day's weather: a zone-day counts once.
    days = list({(day.zone, day.day): day for day in ledger}.values())
    name_of = _naming(by, garden)
    split = months and by != "month"
    groups: dict[tuple[str, str], list[PulseRow]] = {}
    for name in _names(by, garden, first, last):
        groups[name, ""] = []
    counted = [pulse for pulse in all_pulses if pulse.state in _GAVE]
    counted += assumed(all_pulses)
    for pulse in sorted(counted, key=lambda p: (p.day, p.zone)):
        month = f"{pulse.day:%Y-%m}" if split else ""
        groups.setdefault((name_of(pulse), month), []).append(pulse)
    stand_ins = [day for day in days if stands_in(day)]
    forecasts = [
        day for day in days if not (day.measured or stands_in(day) or is_of_a_model(day.rung))
    ]
    noted = _noted(all_pulses)
    not_given = [p for p in all_pulses if p.valve is ValveKind.RELAY or _key(p) not in noted]
    return Sums(
        by=by,
        first=first,
        last=last,
        rows=_rows(groups, by, first, last, split),
        total=_sum_row("all", "", counted, first, last),
        missed=sum(pulse.state is PulseState.MISSED for pulse in not_given),
        refused=sum(pulse.state is PulseState.REFUSED for pulse in not_given),
        zone_days=len(days),
        stand_in_zone_days=len(stand_ins),
        forecast_zone_days=len(forecasts),
        stand_ins=tuple(sorted({day.method for day in stand_ins})),
        zone_days_by_rung=dict(Counter(day.rung for day in days)),
    )


def _key(pulse: PulseRow) -> tuple[str, date]:
    return pulse.zone, pulse.day


def _noted(pulses: Iterable[PulseRow]) -> set[tuple[str, date]]:
    """The zones and days of which a person reported the water."""
    return {_key(p) for p in pulses if p.state in _GAVE and p.how_known is HowKnown.BY_HAND}


def assumed(pulses: Sequence[PulseRow]) -> list[PulseRow]:
    """The printed pulses taken as done; none of a day whose water somebody reported."""
    noted = _noted(pulses)
    return [p for p in pulses if p.state is PulseState.ASSUMED and _key(p) not in noted]


def _rows(
    groups: Mapping[tuple[str, str], list[PulseRow]],
    by: str,
    first: date,
    last: date,
    split: bool,
) -> tuple[SumRow, ...]:
    names = list(dict.fromkeys(name for name, _ in groups))
    rows = []
    for name in names:
        mine = sorted(month for other, month in groups if other == name)
        for month in mine:
            if split and month == "" and len(mine) > 1:
                continue  # it has rows of its months
            of_month = name if by == "month" else month
            begins, ends = _span(of_month, first, last)
            rows.append(_sum_row(name, month, groups[name, month], begins, ends))
    return tuple(rows)


def _span(month: str, first: date, last: date) -> tuple[date, date]:
    """The days of a month that lie in the period; all of the period for no month."""
    if not month:
        return first, last
    begins = date.fromisoformat(f"{month}-01")
    after = (begins + 31 * _DAY).replace(day=1)
    return max(begins, first), min(after - _DAY, last)


def meter_spans(
    readings: Sequence[Reading], pulses: Sequence[PulseRow], zone_info: ZoneInfo
) -> list[MeterSpan]:
    """What pulses, notes and the meter say between one reading and the next.

    A relay's pulse counts to where it ended. A note by hand has a day and no time: that of a
    reading's day counts before the reading.
    """

    def day_of(reading: Reading) -> date:
        return reading.day or reading.at_utc.astimezone(zone_info).date()

    def litres(found: Iterable[PulseRow]) -> float:
        return math.fsum(
            (p.planned_litres if p.state is PulseState.ASSUMED else p.litres) or 0.0 for p in found
        )

    spans = []
    gave = [pulse for pulse in pulses if pulse.state in _GAVE]
    printed = assumed(pulses)
    for one, other in pairwise(readings):
        first, last = day_of(one), day_of(other)
        same_meter = other.unit != NEW_METER and other.value >= one.value
        relay = [
            p
            for p in gave
            if p.valve is ValveKind.RELAY
            and p.closed_utc is not None
            and one.at_utc < p.closed_utc <= other.at_utc
        ]
        hand = [p for p in gave if p.valve is ValveKind.HAND and first < p.day <= last]
        spans.append(
            MeterSpan(
                first=one,
                last=other,
                first_day=first,
                last_day=last,
                relay_litres=litres(relay),
                hand_litres=litres(hand),
                assumed_litres=litres(p for p in printed if first < p.day <= last),
                meter_litres=other.value - one.value if same_meter else None,
            )
        )
    return spans


def stands_in(day: LedgerDay) -> bool:
    """Whether the day's weather is a stand-in: neither measured, modelled nor forecast."""
    if day.rung:
        return is_stand_in(day.rung)
    # Days that an older Rowgate kept have no rung: there the text of the method says it.
    return not day.measured and day.method.startswith("stand-in")


def _naming(by: str, garden: Garden) -> Callable[[PulseRow], str]:
    if by == "zone":
        return lambda pulse: pulse.zone
    if by == "month":
        return lambda pulse: f"{pulse.day:%Y-%m}"
    beds = {zone.name: zone.bed for zone in garden.zones}

    def name(pulse: PulseRow) -> str:
        bed = beds.get(pulse.zone)
        if bed is None:
            return NOT_IN_GARDEN
        return bed.name if by == "bed" else bed.keeper or NO_KEEPER

    return name


def _names(by: str, garden: Garden, first: date, last: date) -> Iterable[str]:
    """The rows a report always has, in the order of the garden file, or of the year."""
    if by == "month":
        days = (first + n * _DAY for n in range((last - first).days + 1))
        return dict.fromkeys(f"{day:%Y-%m}" for day in days)
    if by == "zone":
        return [zone.name for zone in garden.zones]
    if by == "bed":
        return dict.fromkeys(zone.bed.name for zone in garden.zones)
    return dict.fromkeys(zone.bed.keeper or NO_KEEPER for zone in garden.zones)


def _sum_row(name: str, month: str, counted: Sequence[PulseRow], first: date, last: date) -> SumRow:
    pulses = [pulse for pulse in counted if pulse.state in _GAVE]
    printed = [pulse for pulse in counted if pulse.state not in _GAVE]
    by_how: defaultdict[HowKnown, list[float]] = defaultdict(list)
    for pulse in pulses:
        by_how[pulse.how_known or HowKnown.NONE].append(pulse.litres or 0.0)
    relay = [pulse for pulse in pulses if pulse.valve is ValveKind.RELAY]
    hand = [pulse for pulse in pulses if pulse.valve is ValveKind.HAND]
    given = {_key(pulse) for pulse in pulses if (pulse.litres or 0.0) > 0.0}
    days = {day for _, day in given}
    return SumRow(
        name=name,
        month=month,
        litres=math.fsum(pulse.litres or 0.0 for pulse in pulses),
        relay_litres=math.fsum(pulse.litres or 0.0 for pulse in relay),
        hand_litres=math.fsum(pulse.litres or 0.0 for pulse in hand),
        waterings=len(given),
        days=len(days),
        days_without=(last - first).days + 1 - len(days),
        assumed_litres=math.fsum(pulse.planned_litres or 0.0 for pulse in printed),
        assumed_waterings=len({_key(pulse) for pulse in printed}),
        pulses=len(pulses),
        open_s=math.fsum(pulse.open_s or 0.0 for pulse in pulses),
        pulses_cut=sum(pulse.state is PulseState.CUT for pulse in pulses),
        pulses_untimed=sum(pulse.open_s is None for pulse in pulses),
        litres_by_how={how: math.fsum(by_how[how]) for how in HowKnown if how in by_how},
    )
