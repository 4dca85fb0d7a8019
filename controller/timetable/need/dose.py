"""How much a zone is to get, and what rain to come is worth.

even litres = missing depth (mm) * ground served (m2) / evenness
    litres      = even litres + pulses * what fills the line and runs out after

Evenness is the low-quarter uniformity of the zone's own holes as the network computes it, times
what hand drilling costs, so that the driest quarter of the ground gets the missing depth.
The account is credited with the missing depth; what the rest of the ground gets beyond it passes.

A forecast's rain counts at its chance and amount, in full for the day itself, by half for the day
after, not at all later; light or unlikely rain does not count. Of what counts, the garden's
`forecast_trust` share may lower a dose. Our choice throughout; the halving follows the fall of
skill with lead time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.weather.source_priority import is_of_a_model
from crops.catalogue import Crop, Soil

_S_PER_H = 3600.0
# How far a doubtful record is trusted: with rain unknown on up to this many of the last days a zone
# waits until all its readily available water is gone. Our choice.
DOUBTFUL_DAYS = 2
# The share of readily available water that may be gone before a bed is watered, where the garden
# says none: few roots do not forgive, shallow ones hold little, deep ones need no daily filling.
# Our choice; NRCS National Engineering Handbook 652, table 3-3 (from memory), lets go as much.
REFILL_AT = {"initial": 0.5, "development": 0.6, "mid": 0.8, "late": 0.8}
REFILL_SHALLOW = 0.6  # from mid-season on, with roots under 0.6 m or a share p of 0.3 or less
_SHALLOW_M, _TENDER_P = 0.6, 0.3


def full_roots_m(crop: Crop, rooting_limit_m: float | None) -> float:
    """How deep the roots of the grown crop go in a bed that ends at this depth, if it does."""
    return crop.root_min_m if rooting_limit_m is None else min(crop.root_min_m, rooting_limit_m)


def refill_share(crop: Crop, stage: str, *, root_depth_m: float) -> float:
    """The share of the readily available water that may be gone in that stage, 0 to 1."""
    shallow = root_depth_m < _SHALLOW_M or crop.depletion_fraction <= _TENDER_P
    share = REFILL_AT[stage]
    return min(share, REFILL_SHALLOW) if shallow else share


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A zone that is due, and the words for it."""

    net_mm: float
    words: str


def need_of(
    *,
    missing_mm: float,
    raw_mm: float,
    refill_at: float,
    expected_etc_mm: float,
    rain_doubt_days: int,
) -> Need | None:
    """Whether what is missing asks for a dose, and how deep.

    Due when the depletion has passed `refill_at` of the readily available water, or when waiting
    for the next allowed day would let it pass all of it. While rain is unknown on a few recent
    days, only the second reason counts: rain that nobody measured may have fallen.

    Parameters
    ----------
    missing_mm : float
        Depletion of the evening before, less rain that has fallen since. [mm]
    raw_mm : float
        Readily available water. [mm]
    refill_at : float
        Share of the readily available water that may be gone, 0 to 1. [-]
    expected_etc_mm : float
        What the crop will use until the next allowed day after this one. [mm]
    rain_doubt_days : int
        Days in a row, up to the evening before, whose rain nobody knows.
    """
    if missing_mm <= 0.0:
        return None
    doubtful = 0 < rain_doubt_days <= DOUBTFUL_DAYS
    if missing_mm >= refill_at * raw_mm and not doubtful:
        return Need(net_mm=missing_mm, words="the allowed share is used up")
    if missing_mm + expected_etc_mm > raw_mm:
        words = "it would run short before the next chance"
        return Need(net_mm=missing_mm, words=words + (", and rain is unknown" if doubtful else ""))
    return None


def even_litres(*, net_mm: float, ground_m2: float, evenness: float) -> float:
    """Litres to spread so that the low quarter of the ground gets `net_mm`.

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
    """
    return net_mm * ground_m2 / evenness


@dataclass(frozen=True, slots=True, kw_only=True)
class Soaking:
    """How the wetted strip takes water in: a basin that the line fills and the soil drains."""

    strip_m2: float
    intake_mm_s: float
    basin_mm: float

    def seconds_to_full(self, flow_l_s: float, standing_mm: float) -> float:
        """How long the line may run before the basin is full; infinite if the soil keeps up. [s]"""
        gain = flow_l_s / self.strip_m2 - self.intake_mm_s
        if gain <= 0.0:
            return float("inf")
        return max(0.0, self.basin_mm - standing_mm) / gain

    def litres_at_once(self, flow_l_s: float) -> float:
        """Litres one pulse may bring to an empty basin at this flow. [L]"""
        return self.seconds_to_full(flow_l_s, 0.0) * flow_l_s

    def standing_after(self, standing_mm: float, flow_l_s: float, seconds: float) -> float:
        """Depth standing on the strip after so long at this flow. [mm]"""
        rate = flow_l_s / self.strip_m2 - self.intake_mm_s
        return max(0.0, standing_mm + rate * seconds)

    def seconds_to_soak(self, standing_mm: float) -> float:
        """How long what stands takes to soak away. [s]"""
        return standing_mm / self.intake_mm_s


def soaking_of(wet_m2: float, soil: Soil, basin_mm: float) -> Soaking:
    """The ground that a zone's rows wet, as its soil takes water in."""
    return Soaking(
        strip_m2=wet_m2,
        intake_mm_s=soil.intake_mm_h / _S_PER_H,
        basin_mm=basin_mm,
    )


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
