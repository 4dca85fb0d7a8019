"""What rain to come is worth: less than it promises, and never so much that a plant would suffer.

A forecast's rain counts at its chance and amount, in full for the day itself, by half for the day
after, not at all later; light or unlikely rain does not count. Of what counts, the garden's
`forecast_trust` share may lower a dose. Our choice throughout; the halving follows the fall of
skill with lead time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.weather.ladder import is_of_a_model

_DAY = timedelta(days=1)
WORTH_BY_LEAD = (1.0, 0.5)  # today, tomorrow
LEAST_CHANCE_PCT = 40.0
LEAST_AMOUNT_MM = 2.0
UNSAID_CHANCE_PCT = 50.0  # of a forecast that names an amount and no chance


def counted_mm(day: DayInput, ahead: int) -> float:
    """Rain of a forecast day that is to be counted on, before any trust; 0 for one that was."""
    if _has_been(day) or day.rain_mm is None or not 0 <= ahead < len(WORTH_BY_LEAD):
        return 0.0
    chance = UNSAID_CHANCE_PCT if day.rain_chance_pct is None else day.rain_chance_pct
    if chance < LEAST_CHANCE_PCT or day.rain_mm < LEAST_AMOUNT_MM:
        return 0.0
    return day.rain_mm * min(chance, 100.0) / 100.0 * WORTH_BY_LEAD[ahead]


def _has_been(day: DayInput) -> bool:
    return day.measured or is_of_a_model(day.rung)


def counted_on(
    days: Mapping[date, DayInput], *, first: date, fallen_mm: Mapping[date, float]
) -> dict[date, float]:
    """Rain to be counted on by day, before any trust, for a plan whose first day is `first`.

    On a day for which the garden's gauge was read, only what it caught counts, and has fallen.
    """
    counted: dict[date, float] = {}
    for ahead in range(len(WORTH_BY_LEAD)):
        coming = days.get(first + ahead * _DAY)
        if coming is not None and coming.day not in fallen_mm:
            counted[coming.day] = counted_mm(coming, ahead)
    return counted


def to_come_mm(counted: Mapping[date, float], day: date) -> float:
    """Rain to be counted on from `day` on."""
    return sum(mm for coming, mm in counted.items() if coming >= day)


def as_planned(
    days: Mapping[date, DayInput],
    counted: Mapping[date, float],
    *,
    first: date,
    fallen_mm: Mapping[date, float],
    trust: float,
) -> Mapping[date, DayInput]:
    """The days as a plan credits them: rain that is only forecast at what it is trusted for.

    Rain that a gauge in the garden has caught already stands as it is.
    """
    changed: dict[date, DayInput] = {}
    for day, given in days.items():
        if day >= first and not _has_been(given) and given.rain_mm and day not in fallen_mm:
            changed[day] = replace(given, rain_mm=trust * counted.get(day, 0.0))
    return {**days, **changed} if changed else days


def lowered_mm(
    net_mm: float, *, to_come_mm: float, trust: float, raw_mm: float, expected_etc_mm: float
) -> float:
    """A dose that leaves room for rain to come.

    If that rain fails, what stays missing and what is used until the next chance still find
    readily available water enough.

    Parameters
    ----------
    net_mm : float
        The dose without a forecast. [mm]
    to_come_mm : float
        Rain to be counted on. [mm]
    trust : float
        Share of it that may lower the dose, 0 to 1. [-]
    raw_mm : float
        Readily available water. [mm]
    expected_etc_mm : float
        What the crop will use until the next chance to water. [mm]
    """
    room = max(0.0, raw_mm - expected_etc_mm)
    return max(0.0, net_mm - min(trust * to_come_mm, room))
