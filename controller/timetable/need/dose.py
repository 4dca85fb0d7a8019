"""The size of a dose, from the missing depth, less what the forecast rain is worth.

    even litres = missing depth (mm) * ground served (m2) / evenness
    litres      = even litres + pulses * the litres that fill the line and run out after

Evenness is the low-quarter uniformity of the zone's own holes, as the network computes it, times
the loss by hand drilling. So the driest quarter of the ground gets the missing depth. The account
is credited with the missing depth; what other ground gets beyond it passes.

Forecast rain counts with its chance: in full for the same day, half for the day after, not at all
later. Light or unlikely rain does not count. The garden's `forecast_trust` is the share of it that
may lower a dose. All of this is our choice; half for the day after, because forecasts get worse
with lead time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.messages import Message
from controller.weather.source_priority import is_of_a_model
from crops.catalogue import Crop, Soil

_S_PER_H = 3600.0
# If the rain of so many of the last days, or fewer, is unknown, a zone waits until all its readily
# available water is gone. Our choice.
DOUBTFUL_DAYS = 2
# The share of readily available water that may be gone before a bed is watered, if the garden file
# gives none: young roots suffer soon, shallow ones have little water, deep ones need no daily dose.
# Our choice; NRCS National Engineering Handbook 652, table 3-3 (from memory), allows as much.
REFILL_AT = {"initial": 0.5, "development": 0.6, "mid": 0.8, "late": 0.8}
REFILL_SHALLOW = 0.6  # from mid-season on, with roots under 0.6 m or a share p of 0.3 or less
_SHALLOW_M, _TENDER_P = 0.6, 0.3


def full_roots_m(crop: Crop, rooting_limit_m: float | None) -> float:
    """Root depth of the full-grown crop in a bed.

    Parameters
    ----------
    crop : Crop
        Its lower figure of the root depth counts.
    rooting_limit_m : float or None
        Depth at which the bed ends; None: it does not. [m]

    Returns
    -------
    float
        Above 0. [m]

    Source
    ------
    FAO-56, Table 22, gives a range of depths for each crop. The lower one is our choice.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> full_roots_m(load().crop("carrot"), None)
    0.5
    >>> full_roots_m(load().crop("carrot"), 0.3)
    0.3
    """
    return crop.root_min_m if rooting_limit_m is None else min(crop.root_min_m, rooting_limit_m)


def refill_share(crop: Crop, stage: str, *, root_depth_m: float) -> float:
    """The share of the readily available water that may be gone before a dose is due.

    Parameters
    ----------
    crop : Crop
        The crop that stands there.
    stage : str
        "initial", "development", "mid" or "late".
    root_depth_m : float
        Root depth of the full-grown crop. [m]

    Returns
    -------
    float
        0.5 to 0.8. [-]

    Source
    ------
    Our choice (`REFILL_AT`); NRCS National Engineering Handbook 652, table 3-3, from memory.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> refill_share(load().crop("carrot"), "mid", root_depth_m=0.5)
    0.6
    """
    shallow = root_depth_m < _SHALLOW_M or crop.depletion_fraction <= _TENDER_P
    share = REFILL_AT[stage]
    return min(share, REFILL_SHALLOW) if shallow else share


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """The depth of a dose that is due, and why it is due."""

    net_mm: float
    reason: Message


SHARE_USED_UP = Message("need.share_used_up")


def need_of(
    *,
    missing_mm: float,
    raw_mm: float,
    refill_at: float,
    expected_etc_mm: float,
    rain_doubt_days: int,
) -> Need | None:
    """Whether a dose is due, and its depth; None if none is due.

    It is due when the depletion reaches the share `refill_at` of the readily available water, or
    when it would pass all of it before the next allowed day. If the rain of a few recent days is
    unknown, only the second reason counts: rain may have fallen that nobody measured.

    Parameters
    ----------
    missing_mm : float
        Depletion of the evening before, less rain since then. [mm]
    raw_mm : float
        Readily available water. [mm]
    refill_at : float
        Share of the readily available water that may be gone, 0 to 1. [-]
    expected_etc_mm : float
        Crop water use until the next allowed day after this one. [mm]
    rain_doubt_days : int
        Days in a row, up to the evening before, whose rain is unknown.

    Returns
    -------
    Need or None
        Its `net_mm` is the whole depletion. [mm]

    Source
    ------
    FAO-56, chapter 8: irrigate before the depletion passes RAW. `refill_at` and the rule for
    unknown rain are our choice.

    Examples
    --------
    >>> due = dict(raw_mm=20.0, refill_at=0.6, expected_etc_mm=5.0, rain_doubt_days=0)
    >>> need_of(missing_mm=12.0, **due).net_mm
    12.0
    >>> need_of(missing_mm=11.0, **due) is None
    True
    """
    if missing_mm <= 0.0:
        return None
    doubtful = 0 < rain_doubt_days <= DOUBTFUL_DAYS
    if missing_mm >= refill_at * raw_mm and not doubtful:
        return Need(net_mm=missing_mm, reason=SHARE_USED_UP)
    if missing_mm + expected_etc_mm > raw_mm:
        reason = Message("need.runs_short_rain_unknown" if doubtful else "need.runs_short")
        return Need(net_mm=missing_mm, reason=reason)
    return None


def even_litres(*, net_mm: float, ground_m2: float, evenness: float) -> float:
    """Litres on the ground that give its driest quarter the depth `net_mm`.

    Parameters
    ----------
    net_mm : float
        Depth missing. [mm]
    ground_m2 : float
        Ground served. [m2]
    evenness : float
        Low-quarter distribution uniformity, 0 to 1. [-]

    Returns
    -------
    float
        Litres. [L]

    Source
    ------
    1 mm on 1 m2 is 1 L (FAO-56, Table 3); division by the low-quarter uniformity is the usual
    gross depth, e.g. USDA NEH 652 (from memory).

    Examples
    --------
    >>> even_litres(net_mm=6.0, ground_m2=2.0, evenness=0.8)
    15.0
    """
    return net_mm * ground_m2 / evenness


@dataclass(frozen=True, slots=True, kw_only=True)
class Soaking:
    """How the wetted strip takes water in: the line fills a basin, and the soil drains it.

    Examples
    --------
    >>> strip = Soaking(strip_m2=2.0, intake_mm_s=0.01, basin_mm=6.0)
    >>> strip.seconds_to_full(0.1, 2.0)
    100.0
    >>> strip.litres_at_once(0.1)
    15.0
    >>> strip.standing_after(2.0, 0.1, 50.0)
    4.0
    >>> strip.seconds_to_soak(6.0)
    600.0
    """

    strip_m2: float
    intake_mm_s: float
    basin_mm: float

    def seconds_to_full(self, flow_l_s: float, standing_mm: float) -> float:
        """Time until the basin is full at this flow; infinite if the soil keeps up. [s]"""
        gain = flow_l_s / self.strip_m2 - self.intake_mm_s
        if gain <= 0.0:
            return float("inf")
        return max(0.0, self.basin_mm - standing_mm) / gain

    def litres_at_once(self, flow_l_s: float) -> float:
        """Litres that one pulse may give to an empty basin at this flow. [L]"""
        return self.seconds_to_full(flow_l_s, 0.0) * flow_l_s

    def standing_after(self, standing_mm: float, flow_l_s: float, seconds: float) -> float:
        """Depth of water on the strip after this time at this flow. [mm]"""
        rate = flow_l_s / self.strip_m2 - self.intake_mm_s
        return max(0.0, standing_mm + rate * seconds)

    def seconds_to_soak(self, standing_mm: float) -> float:
        """Time until the water on the strip has soaked away. [s]"""
        return standing_mm / self.intake_mm_s


def soaking_of(wet_m2: float, soil: Soil, basin_mm: float) -> Soaking:
    """The wetted strip of a zone on its soil.

    `wet_m2` is the ground that the zone's rows wet [m2], `basin_mm` the depth of water that may
    stand there [mm].

    Source
    ------
    A constant intake rate (the basic rate of the soil's table) is our choice; it is on the safe
    side, because dry soil takes water in faster.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> strip = soaking_of(2.0, load().soil("loam"), 6.0)
    >>> round(strip.intake_mm_s * 3600.0, 3) == load().soil("loam").intake_mm_h
    True
    """
    return Soaking(
        strip_m2=wet_m2,
        intake_mm_s=soil.intake_mm_h / _S_PER_H,
        basin_mm=basin_mm,
    )


_DAY = timedelta(days=1)
WORTH_BY_LEAD = (1.0, 0.5)  # today, tomorrow
LEAST_CHANCE_PCT = 40.0
LEAST_AMOUNT_MM = 2.0
UNSAID_CHANCE_PCT = 50.0  # if a forecast gives an amount without a chance


def counted_mm(day: DayInput, ahead: int) -> float:
    """Expected rain of one forecast day, before the garden's trust; 0 for a day that has been.

    Parameters
    ----------
    day : DayInput
        Its rain, the chance of it, and where they come from.
    ahead : int
        Days from the first day of the plan to this one, 0 or more.

    Returns
    -------
    float
        0 or more. [mm]

    Source
    ------
    Our choice (`WORTH_BY_LEAD`, `LEAST_CHANCE_PCT`, `LEAST_AMOUNT_MM`).

    Examples
    --------
    >>> from datetime import date
    >>> forecast = DayInput(day=date(2031, 6, 2), eto_mm=5.0, method="", rain_mm=10.0,
    ...                     measured=False, rung="forecast", rain_chance_pct=80.0)
    >>> counted_mm(forecast, 0), counted_mm(forecast, 1), counted_mm(forecast, 2)
    (8.0, 4.0, 0.0)
    """
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
    """Expected rain by day, before the garden's trust, for a plan that begins on `first`. [mm]

    A day with a reading of the garden's gauge is left out: that rain has already fallen.
    """
    counted: dict[date, float] = {}
    for ahead in range(len(WORTH_BY_LEAD)):
        coming = days.get(first + ahead * _DAY)
        if coming is not None and coming.day not in fallen_mm:
            counted[coming.day] = counted_mm(coming, ahead)
    return counted


def to_come_mm(counted: Mapping[date, float], day: date) -> float:
    """Expected rain from `day` on, before the garden's trust.

    Parameters
    ----------
    counted : mapping of date to float
        Expected rain by day, of `counted_on`. [mm]
    day : date
        The first day that counts.

    Returns
    -------
    float
        0 or more. [mm]

    Source
    ------
    The sum of the days.

    Examples
    --------
    >>> from datetime import date
    >>> to_come_mm({date(2031, 6, 1): 8.0, date(2031, 6, 2): 4.0}, date(2031, 6, 2))
    4.0
    """
    return sum(mm for coming, mm in counted.items() if coming >= day)


def as_planned(
    days: Mapping[date, DayInput],
    counted: Mapping[date, float],
    *,
    first: date,
    fallen_mm: Mapping[date, float],
    trust: float,
) -> Mapping[date, DayInput]:
    """The days as a plan credits them: of forecast rain only the share `trust` of what is expected.

    Rain in the garden's own gauge stays as it is.
    """
    changed: dict[date, DayInput] = {}
    for day, given in days.items():
        if day >= first and not _has_been(given) and given.rain_mm and day not in fallen_mm:
            changed[day] = replace(given, rain_mm=trust * counted.get(day, 0.0))
    return {**days, **changed} if changed else days


def lowered_mm(
    net_mm: float, *, to_come_mm: float, trust: float, raw_mm: float, expected_etc_mm: float
) -> float:
    """A dose, lowered for rain that is expected.

    It is lowered only so far that the readily available water lasts until the next chance to water
    if that rain does not fall.

    Parameters
    ----------
    net_mm : float
        The dose without a forecast. [mm]
    to_come_mm : float
        Expected rain. [mm]
    trust : float
        Share of it that may lower the dose, 0 to 1. [-]
    raw_mm : float
        Readily available water. [mm]
    expected_etc_mm : float
        Crop water use until the next chance to water. [mm]

    Returns
    -------
    float
        0 or more, at most `net_mm`. [mm]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> lowered_mm(16.0, to_come_mm=8.0, trust=0.5, raw_mm=20.0, expected_etc_mm=5.0)
    12.0
    >>> lowered_mm(16.0, to_come_mm=80.0, trust=0.5, raw_mm=20.0, expected_etc_mm=5.0)
    1.0
    """
    room = max(0.0, raw_mm - expected_etc_mm)
    return max(0.0, net_mm - min(trust * to_come_mm, room))
