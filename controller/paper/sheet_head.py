"""The head of a sheet: its weather, until when it is good, what to do if it rains; empty weeks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from controller.demand.records import LedgerDay
from controller.demand.soil.packed_days import rows_since
from controller.garden.model import Zone
from controller.garden.plumbing import ValveKind
from controller.garden.show import listed
from controller.garden.values import rain_through
from controller.paper.amounts import Units
from controller.paper.ledger import step_words
from controller.paper.text import day_in_year, paragraph, weekday_and_day
from controller.timetable.records import Dose, Timetable
from controller.units import mm_from_in
from controller.weather.source_priority import (
    CLIMATE_TABLE,
    DAYS_BEFORE,
    NORMAL,
    SEASON,
    is_stand_in,
)

_DAY = timedelta(days=1)
_STAND_INS = {
    DAYS_BEFORE: "what is usual, moved by the days before,",
    NORMAL: "what is normal here",
    CLIMATE_TABLE: "the monthly climate table",
    SEASON: "the season's table",
}
_MOST_AMOUNTS = 4  # of rain are named on one sheet; our choice
_MOST_NAMES = 12  # more zones of one amount are not named; our choice
# Rain is held against a watering within so many hours: it fell on ground that lacked about as much
# as at the watering, and little has gone since. Our choice.
RAIN_WITHIN_H = 12
_LOOK_BACK_DAYS = 10  # for the rain that explains an empty week; our choice
_MUCH_RAIN_MM = 3.0  # in a day, that explains it; our choice


def head_lines(timetable: Timetable, zones: Sequence[Zone], units: Units) -> list[str]:
    """The weather that the sheet stands on, until when it is good, what to do if it rains.

    Nothing where nothing is planted.
    """
    if not _planted(timetable, zones):
        return []
    days = _rungs(timetable)
    return [
        *_weather(days),
        *paragraph(good_until(timetable, days), "", "  "),
        *_rain(timetable, zones, units),
    ]


@dataclass(frozen=True, slots=True)
class _Span:
    rung: str
    first: date
    last: date

    @property
    def shown(self) -> str:
        if self.first == self.last:
            return day_in_year(self.first)
        if (self.first.year, self.first.month) == (self.last.year, self.last.month):
            return f"{self.first.day} to {day_in_year(self.last)}"
        return f"{day_in_year(self.first)} to {day_in_year(self.last)}"


def _rungs(timetable: Timetable) -> dict[date, str]:
    """The step of the weather on which each day stands, from the day before the sheet on."""
    found: dict[date, str] = {}
    for row in rows_since(timetable.ledger, timetable.first - _DAY):
        if row.day <= timetable.last:
            found.setdefault(row.day, row.rung)
    return dict(sorted(found.items()))


def _weather(days: Mapping[date, str]) -> list[str]:
    spans: list[_Span] = []
    for day, rung in days.items():
        if spans and spans[-1].rung == rung:
            spans[-1] = _Span(rung, spans[-1].first, day)
        else:
            spans.append(_Span(rung, day, day))
    words: list[str] = []
    for number, span in enumerate(spans):
        if span.rung in _STAND_INS:
            words.append(f"none for {span.shown}: {_STAND_INS[span.rung]} stands in")
        elif span.rung:
            when = f"until {day_in_year(span.last)}" if number == 0 else f"for {span.shown}"
            words.append(f"{step_words(span.rung)} {when}")
    return paragraph(f"Weather: {'; '.join(words)}.", "", "  ") if words else []


def good_until(timetable: Timetable, days: Mapping[date, str]) -> str:
    """Until when the sheet may be followed: as long as it stands on weather, not on stand-ins."""
    last = timetable.last
    sooner = "Print again sooner if it rains, turns much hotter, or a watering was left out."
    planned = [day for day in days if day >= timetable.first]
    first_stand_in = next((day for day in planned if is_stand_in(days[day])), None)
    if first_stand_in is None:
        return f"Good until {weekday_and_day(last)}. {sooner}"
    if first_stand_in == timetable.first:
        return (
            f"Good as a rough guide until {weekday_and_day(last)}: no weather is known for its "
            f"days. {sooner}"
        )
    return (
        f"Good until {weekday_and_day(first_stand_in - _DAY)}, and a rough guide after that: print "
        f"again then. {sooner}"
    )


def rain_that_replaces(timetable: Timetable, zone: Zone) -> float | None:
    """Rain in the open, just before it, that makes any dose of this zone unneeded. [mm]

    It brings back all that is missing in the ground that the line wets, for the dose of the sheet
    for which that is most. Earlier rain may have found the ground full, and drained: it does not
    count. Rain that the plan expects of the day before is added, and less of it passes covers and
    mulch. None: no rain does that, or the zone gets no dose.
    """
    doses = [dose for dose in timetable.doses if dose.zone == zone.name and dose.litres > 0.0]
    expected_mm: dict[date, float] = {}
    for row in rows_since(timetable.ledger, timetable.first, zone.name):
        expected_mm[row.day] = max(expected_mm.get(row.day, 0.0), row.rain_mm)
    most_mm = 0.0
    for dose in doses:
        passes = _rain_share(zone, dose)
        if passes <= 0.0:
            return None
        missing_mm = dose.why.depletion_mm + expected_mm.get(dose.day - _DAY, 0.0)
        most_mm = max(most_mm, missing_mm / passes)
    return most_mm or None


def _rain_share(zone: Zone, dose: Dose) -> float:
    """Share of the rain that reaches the ground of this zone on that day."""
    bed = zone.bed
    own = rain_through(bed.mulch, bed.mulch_cover) if bed.mulch_rain is None else bed.mulch_rain
    return own * math.prod(c.rain_factor for c in bed.covers if c.stands_on(dose.day))


def _rain(timetable: Timetable, zones: Sequence[Zone], units: Units) -> list[str]:
    """From how much rain on a watering by hand is left out; the board plans anew by itself."""
    dosed = {dose.zone for dose in timetable.doses if dose.litres > 0.0}
    zones = [z for z in zones if z.name in dosed]
    by_hand = [z for z in zones if z.valve.kind is ValveKind.HAND]
    if zones and not by_hand:
        return paragraph("If it rains: note it, and the board plans anew.", "", "  ")
    found = {z.name: rain_that_replaces(timetable, z) for z in by_hand}
    amounts: dict[int, list[str]] = {}
    step_mm = mm_from_in(0.1) if units.us else 1.0
    for name, millimetres in found.items():
        if millimetres is not None:
            amounts.setdefault(math.ceil(millimetres / step_mm - 1e-9), []).append(name)
    if not amounts:
        return []
    amounts = _fewer(amounts)
    words = (
        "If it rains: note it and print again. Or leave out a watering by hand if this much fell "
        f"in the {RAIN_WITHIN_H} hours before it, for that brings back what is missing:"
    )
    lines = paragraph(words, "", "  ")
    most = max(map(len, amounts.values()))
    for steps, names in sorted(amounts.items()):
        shown = f"{steps / 10.0:.1f} in" if units.us else f"{steps} mm"
        which = "; ".join(names)
        if len(names) == most and most > _MOST_NAMES:
            which, most = "all others" if len(amounts) > 1 else "any zone", len(found)
        lines += paragraph(f"{shown:>7}  {which}", "", " " * 9)
    never = [name for name, millimetres in found.items() if millimetres is None]
    if never:
        lines += paragraph(f"  never  {'; '.join(never)}: no rain comes in", "", " " * 9)
    return lines


def _fewer(amounts: Mapping[int, list[str]]) -> dict[int, list[str]]:
    """A few amounts only: the nearest are joined, and the larger of them holds for both."""
    found = dict(sorted(amounts.items()))
    while len(found) > _MOST_AMOUNTS:
        steps = list(found)
        low = min(range(len(steps) - 1), key=lambda at: steps[at + 1] / steps[at])
        found[steps[low + 1]] = found.pop(steps[low]) + found[steps[low + 1]]
        found = dict(sorted(found.items()))
    return found


def why_empty(timetable: Timetable, zones: Sequence[Zone], units: Units) -> list[str]:
    """Why nothing is to be done in all of these days."""
    last = timetable.last
    if not _planted(timetable, zones):
        starts = (planting.start for zone in zones for planting in zone.plantings)
        begins = min((start for start in starts if start > last), default=None)
        if begins is None:
            return paragraph("Nothing is to be watered: nothing is planted any more.", "", "  ")
        year = f" {begins.year}" if begins.year != last.year else ""
        return paragraph(f"Nothing is planted until {day_in_year(begins)}{year}.", "", "  ")
    names = frozenset(zone.name for zone in zones)
    wet = _rain_days(timetable, names)
    reason = "the soil holds enough"
    if wet:
        rain = listed(f"{units.depth(mm)} on {day_in_year(day)}" for day, mm in wet)
        reason = f"rain of {rain}"
    return paragraph(f"No zone needs water: {reason}.", "", "  ")


def _planted(timetable: Timetable, zones: Sequence[Zone]) -> bool:
    """Whether anything stands in these days."""
    first, last = timetable.first, timetable.last
    return any(p.start <= last and first <= p.until for zone in zones for p in zone.plantings)


def _rain_days(timetable: Timetable, zones: frozenset[str]) -> list[tuple[date, float]]:
    """The wettest days before and in the sheet, at most three, in their order."""
    rain: dict[date, float] = {}
    rows: Sequence[LedgerDay] = rows_since(
        timetable.ledger, timetable.first - _LOOK_BACK_DAYS * _DAY
    )
    for row in rows:
        if row.zone in zones and row.day <= timetable.last and row.rain_mm >= _MUCH_RAIN_MM:
            rain[row.day] = max(rain.get(row.day, 0.0), row.rain_mm)
    most = sorted(rain.items(), key=lambda item: -item[1])[:3]
    return sorted(most)
