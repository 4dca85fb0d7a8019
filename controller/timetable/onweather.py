"""From rows of weather and the logbook's word to a timetable: one chain for daemon and paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from controller.demand.ledgerrows import JoinedRows, rows_since
from controller.garden.model import Garden
from controller.hydraulics.lines import Lines
from controller.timetable.climate import climate_words
from controller.timetable.days import account_begins, demand_days
from controller.timetable.jobs import Given, Grounds
from controller.timetable.normals import Normals
from controller.timetable.plan import plan_garden
from controller.timetable.record import record_words
from controller.timetable.records import Timetable
from controller.timetable.shortage import shortages
from controller.timetable.windows import FURTHEST_WINDOW_DAYS, clock_change_words
from controller.weather.day import WeatherDay

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Every row of weather known, the rank of its sources, and what is normal in this garden.

    `remarks` go before what the days have to say, `credits` after it.
    """

    rows: tuple[WeatherDay, ...]
    order: tuple[str, ...] = ()
    normals: Normals | None = None
    remarks: tuple[str, ...] = ()
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
    """Plan the days from `first` to `last` on this weather.

    `today` parts what has been from what is foretold. Each day is planned on the account that
    begins with its own winter: a span over the change is planned in two.
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
        if parts:  # its days before are those of the part before it
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
    """The ledger of the days from `first` to `last`, and what there is to say of them.

    Days from `planned_from` on, which is at most the day after `last`, are planned. Each day stands
    on the account that it was planned on: that of its own winter, as in `plan_on`.
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
    """The days that share one beginning of their accounts.

    Weather is looked at beyond the last of them as far as a dose may: to the next window, and to
    tomorrow's rain and frost. Else the last day of a short print would be planned on less.
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
            *clock_change_words(garden.watering, garden.site.zone_info, first, last),
            *climate_words(garden, shown, weather.normals),
            *weather.credits,
            *record_words(garden, given.record, first=first, today=today, litres=given.litres),
        ),
    )


def _joined(parts: Sequence[Timetable]) -> Timetable:
    """One timetable of several that follow each other."""
    ledger = parts[0].ledger  # packed, and it stays so: a season of all zones is much
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
