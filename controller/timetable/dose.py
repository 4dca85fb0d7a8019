"""How much a zone is to get: from what is missing in the ground to litres through the valve.

    even litres = missing depth (mm) * ground served (m2) / evenness
    litres      = even litres + pulses * what fills the line and runs out after

Evenness is the low-quarter uniformity of the zone's own holes as the network computes it, times
what hand drilling costs, so that the driest quarter of the ground gets the missing depth.
The account is credited with the missing depth; what the rest of the ground gets beyond it passes.
"""

from __future__ import annotations

from dataclasses import dataclass

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
