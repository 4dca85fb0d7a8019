"""Weather extremes: days that dry far more than usual, and frost that holds watering.

Neither changes a dose: the reference ET of a hot day is already in the ledger. A plan's remarks
name them, because a gardener should look. Frost keeps valves shut, because water in the pipes would
freeze.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.inputs.climatology import Normals
from controller.messages import Message, Quantity, Value
from controller.weather.source_priority import FORECAST, is_stand_in

_DAY = timedelta(days=1)
# Far above usual: above the garden's own high limit, if its years give one; else so many times what
# is usual. That is the season's table or the last month, whichever is more, because the table does
# not know the place. At five stations, April to September, that marks 0 to 6 days in 100
# (tests/timetable/test_extremes.py); the figures are our choice.
FAR_ABOVE = 1.75
OF_LATE_DAYS, LEAST_DAYS_OF_LATE = 30, 10
LEAST_MM = 3.0  # a smaller reference ET, as in winter, gives no remark; our choice
LOOKS_BACK = timedelta(days=2)  # hot days are reported until this long after; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class _HotDay:
    """A day far above usual."""

    day: date
    eto_mm: float
    usual_mm: float
    usual: Message  # the source of the usual value
    tmax_c: float | None


def heat_messages(
    days: Mapping[date, DayInput], today: date, *, normals: Normals | None = None
) -> tuple[Message, ...]:
    """One message for each run of recent or forecast hot days; stand-ins do not count."""
    hot = [
        found
        for day in sorted(days)
        if day >= today - LOOKS_BACK and (found := _far_above(days, day, normals)) is not None
    ]
    return tuple(_heat_message(run) for run in _running(hot))


def _heat_message(run: Sequence[_HotDay]) -> Message:
    worst = max(run, key=lambda h: h.eto_mm)
    warmest: Value = ""
    highs_c = [h.tmax_c for h in run if h.tmax_c is not None]
    if highs_c:
        warmest = Message("heat.warmest", {"temperature": Quantity(max(highs_c), "temperature")})
    return Message(
        "heat.run" if len(run) > 1 else "heat.day",
        {
            "first": str(run[0].day),
            "last": str(run[-1].day),
            "warmest": warmest,
            "eto": Quantity(worst.eto_mm, "depth"),
            "usual": worst.usual,
            "usual_eto": Quantity(worst.usual_mm, "depth"),
        },
    )


def frost_days(
    days: Mapping[date, DayInput], *, today: date, hold_below_c: float | None
) -> tuple[date, ...]:
    """Those of today and tomorrow on which a frost holds all watering.

    A day is held if it, or the next day, is as cold as `hold_below_c` or colder: water that is left
    in the pipes in the evening freezes before morning. Forecasts and stand-ins count, too. With
    None as `hold_below_c` there is no frost hold.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # of a day, only its lowest counts
    >>> days = {date(2031, 4, day): Example(tmin_c=low) for day, low in ((1, 4.0), (2, -1.0))}
    >>> frost_days(days, today=date(2031, 4, 1), hold_below_c=0.0)
    (datetime.date(2031, 4, 1), datetime.date(2031, 4, 2))
    """
    two = (today, today + _DAY)
    return _held(two, _cold(days, two, hold_below_c))


def frost_days_gone(
    days: Mapping[date, DayInput], *, before: date, hold_below_c: float | None
) -> tuple[date, ...]:
    """The past days before `before` on which a frost held, by the weather that is now known.

    Their own timetables were empty, so no water is assumed for them.
    """
    return _held((d for d in days if d < before), _cold(days, days, hold_below_c))


def frost_messages(
    days: Mapping[date, DayInput],
    *,
    today: date,
    last: date,
    hold_below_c: float | None,
) -> tuple[Message, ...]:
    """Messages on frost up to `last`: which days it holds, and which it may hold later."""
    two = (today, today + _DAY)
    cold = _cold(days, two, hold_below_c)
    held = _held(two, cold)
    found = []
    if held:
        lows = _low_messages(days, cold)
        found.append(Message("frost.holds", {"lows": lows, "days": tuple(map(str, held))}))
    forecast_days = (d for d, made in sorted(days.items()) if made.rung == FORECAST)
    ahead = [d for d in forecast_days if two[-1] < d <= last + _DAY]
    later = _cold(days, ahead, hold_below_c)
    open_days = (d for d in sorted(days) if today <= d <= last and d not in held)
    at_stake = _held(open_days, later)
    if at_stake:
        lows = _low_messages(days, later)
        found.append(Message("frost.may_come", {"lows": lows, "days": tuple(map(str, at_stake))}))
    return tuple(found)


def _low_messages(days: Mapping[date, DayInput], cold: Mapping[date, float]) -> tuple[Message, ...]:
    return tuple(
        Message(
            "frost.forecast" if days[day].rung == FORECAST else "frost.expected",
            {"temperature": Quantity(tmin_c, "temperature"), "day": str(day)},
        )
        for day, tmin_c in cold.items()
    )


def _cold(
    days: Mapping[date, DayInput], among: Iterable[date], hold_below_c: float | None
) -> dict[date, float]:
    """The lowest temperature of each of these days that is cold enough."""
    if hold_below_c is None:
        return {}
    lows = ((day, days[day].tmin_c) for day in among if day in days)
    return {day: low for day, low in lows if low is not None and low <= hold_below_c}


def _held(among: Iterable[date], cold: Collection[date]) -> tuple[date, ...]:
    """Those of these days that are cold, or before a cold day."""
    return tuple(d for d in among if d in cold or d + _DAY in cold)


def _far_above(days: Mapping[date, DayInput], day: date, normals: Normals | None) -> _HotDay | None:
    found = days[day]
    usual_mm, usual = found.normal_eto_mm, Message("heat.usual_here")
    if usual_mm is None or is_stand_in(found.rung) or found.eto_mm < LEAST_MM:
        return None
    high_mm = None if normals is None else normals.eto_high_mm(day)
    if high_mm is None:
        by_table = normals is not None and normals.on(day) is not None
        usual = Message("heat.usual_climate_table" if by_table else "heat.usual_season_table")
        of_late_mm = _of_late(days, day)
        if of_late_mm >= usual_mm:
            usual_mm, usual = of_late_mm, Message("heat.usual_of_late")
        high_mm = FAR_ABOVE * usual_mm
    if found.eto_mm <= high_mm:
        return None
    return _HotDay(
        day=day, eto_mm=found.eto_mm, usual_mm=usual_mm, usual=usual, tmax_c=found.tmax_c
    )


def _of_late(days: Mapping[date, DayInput], day: date) -> float:
    """Mean reference ET of the month before, if enough of its days had weather; else 0. [mm]"""
    before = [days.get(day - ahead * _DAY) for ahead in range(1, OF_LATE_DAYS + 1)]
    etos = [d.eto_mm for d in before if d is not None and not is_stand_in(d.rung)]
    return sum(etos) / len(etos) if len(etos) >= LEAST_DAYS_OF_LATE else 0.0


def _running(hot: Iterable[_HotDay]) -> list[list[_HotDay]]:
    """Runs of days that follow each other."""
    runs: list[list[_HotDay]] = []
    for day in hot:
        if runs and day.day - runs[-1][-1].day == _DAY:
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs
