"""Sums of the water given, by zone, bed, keeper or month. All functions are pure."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import date

from controller.demand.records import LedgerDay
from controller.errors import InputError
from controller.garden.model import Garden
from controller.logbook.records import HowKnown, PulseRow, PulseState, SumRow, Sums
from controller.weather.source_priority import is_of_a_model, is_stand_in

BY = ("zone", "bed", "keeper", "month")
NOT_IN_GARDEN = "(no longer in the garden file)"
NO_KEEPER = "(no keeper named)"
_GAVE = {PulseState.CLOSED, PulseState.CUT}


def sum_up(
    pulses: Iterable[PulseRow],
    ledger: Iterable[LedgerDay],
    *,
    by: str,
    first: date,
    last: date,
    garden: Garden,
) -> Sums:
    """Sum the pulses of a period.

    Every zone, bed or keeper of the garden has a row, also with nothing given. Water given to a
    zone that is no longer in the garden file is kept apart, never dropped.
    """
    if by not in BY:
        raise InputError(f"found {by!r}; a report is by: {', '.join(BY)}")
    all_pulses = list(pulses)
    # The parts of a zone share their day's weather: a zone-day counts once.
    days = list({(day.zone, day.day): day for day in ledger}.values())
    name_of = _naming(by, garden)
    groups: dict[str, list[PulseRow]] = {name: [] for name in _names(by, garden)}
    gave = [pulse for pulse in all_pulses if pulse.state in _GAVE]
    for pulse in sorted(gave, key=lambda p: (p.day, p.zone)):
        groups.setdefault(name_of(pulse), []).append(pulse)
    stand_ins = [day for day in days if stands_in(day)]
    forecasts = [
        day for day in days if not (day.measured or stands_in(day) or is_of_a_model(day.rung))
    ]
    return Sums(
        by=by,
        first=first,
        last=last,
        rows=tuple(_sum_row(name, group) for name, group in groups.items()),
        total=_sum_row("all", gave),
        missed=sum(pulse.state is PulseState.MISSED for pulse in all_pulses),
        refused=sum(pulse.state is PulseState.REFUSED for pulse in all_pulses),
        assumed=sum(pulse.state is PulseState.ASSUMED for pulse in all_pulses),
        assumed_litres=math.fsum(
            pulse.planned_litres or 0.0 for pulse in all_pulses if pulse.state is PulseState.ASSUMED
        ),
        zone_days=len(days),
        stand_in_zone_days=len(stand_ins),
        forecast_zone_days=len(forecasts),
        stand_ins=tuple(sorted({day.method for day in stand_ins})),
        zone_days_by_rung=dict(Counter(day.rung for day in days)),
    )


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


def _names(by: str, garden: Garden) -> Iterable[str]:
    """The rows a report always has, in the order of the garden file."""
    if by == "zone":
        return [zone.name for zone in garden.zones]
    if by == "bed":
        return dict.fromkeys(zone.bed.name for zone in garden.zones)
    if by == "keeper":
        return dict.fromkeys(zone.bed.keeper or NO_KEEPER for zone in garden.zones)
    return ()


def _sum_row(name: str, pulses: Sequence[PulseRow]) -> SumRow:
    by_how: defaultdict[HowKnown, list[float]] = defaultdict(list)
    for pulse in pulses:
        by_how[pulse.how_known or HowKnown.NONE].append(pulse.litres or 0.0)
    return SumRow(
        name=name,
        litres=math.fsum(pulse.litres or 0.0 for pulse in pulses),
        pulses=len(pulses),
        open_s=math.fsum(pulse.open_s or 0.0 for pulse in pulses),
        pulses_cut=sum(pulse.state is PulseState.CUT for pulse in pulses),
        pulses_untimed=sum(pulse.open_s is None for pulse in pulses),
        litres_by_how={how: math.fsum(by_how[how]) for how in HowKnown if how in by_how},
    )
