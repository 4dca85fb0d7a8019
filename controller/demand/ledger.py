"""One zone, one day: the soil-water account, which makes and loses no water.

Depths are over the whole ground the rows serve. The order of a day's events is part of the result
and is this:

1. the account changes hands (a planting begins or ends) and roots grow;
2. rain and watering enter, early in the day;
3. stress follows from what is then missing;
4. the crop uses water, or bare soil loses it;
5. what is left above field capacity drains (FAO-56, eq. 85 and 88).

Under a planting the account is the root zone (eq. 82-86). Between plantings it is the layer that
dries by evaporation, the top 0.10 m, which loses Kr * 1.15 * ETo (FAO-56, eq. 74, and annex 7 for
1.15). When the account changes, at most the new one's capacity is taken over as missing and the
rest is handed over; soil that roots reach joins at field capacity. So dryness left deep by an
earlier crop is not remembered: water the bed through before the next one.

An account without a yesterday starts full under a planting (just watered in: eq. 87 after a
soaking) and, on bare soil, with the readily evaporable water gone (our choice: neither just
rained on nor dried out).

Each day is a function of yesterday's `LedgerDay` and today's inputs, and of nothing else. The dual
coefficients (eq. 69, with `Crop.kcb_*` and the exposed wetted fraction) would come in at
`_account`, as another way to the day's demand beside the single Kc; the bucket stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil import (
    depletion_fraction_adjusted,
    rain_unused_mm,
    raw_mm,
    stress_coefficient,
    taw_mm,
)
from controller.demand.stages import crop_on
from controller.errors import OutOfRange, require_range
from controller.garden.model import Planting, Zone
from crops.catalogue import Crop, Soil
from crops.entry import SURFACE_LAYER_M

BARE_SOIL_KC = 1.15  # evaporation from wet bare soil over ETo: FAO-56 (1998), annex 7
BARE = "bare"


@dataclass(frozen=True, slots=True)
class BucketDay:
    """What `next_day` found."""

    stress: float  # Ks, or Kr on bare soil
    used_mm: float
    drained_mm: float
    depletion_mm: float  # at the end of the day


def next_day(
    *,
    depletion_mm: float,
    taw_mm: float,
    raw_mm: float,
    rain_mm: float,
    watered_mm: float,
    demand_mm: float,
    runoff_mm: float = 0.0,
) -> BucketDay:
    """One day of a bucket of soil: water enters, is used under stress, and runs over.

    Parameters
    ----------
    depletion_mm : float
        Water missing at the start of the day, 0 to `taw_mm`. [mm]
    taw_mm : float
        What the bucket holds. [mm]
    raw_mm : float
        What may be missing before use slows, 0 to `taw_mm`. [mm]
    rain_mm : float
        Rain that counts. [mm]
    watered_mm : float
        Watering. [mm]
    demand_mm : float
        What would be used without stress. [mm]
    runoff_mm : float
        Rain that runs off the surface, not above `rain_mm`. [mm]

    Returns
    -------
    BucketDay
        depletion_mm (end) = depletion_mm (start) - (rain_mm - runoff_mm) - watered_mm + used_mm
        + drained_mm, between 0 and `taw_mm`.

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    No more is used than the bucket holds. This binds only if the demand is above
    `taw_mm - raw_mm`, and makes the depletion at the end grow with that at the start, whatever the
    demand: more rain never leaves the soil drier.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 84 to 86 and 88, without capillary rise.
    """
    if not (
        0.0 <= depletion_mm <= taw_mm < 5000.0
        and 0.0 <= raw_mm <= taw_mm
        and 0.0 <= runoff_mm <= rain_mm < 5000.0
        and 0.0 <= watered_mm < 5000.0
        and 0.0 <= demand_mm < 100.0
    ):
        _say_which(
            taw_mm=(taw_mm, 5000.0),
            depletion_mm=(depletion_mm, taw_mm),
            raw_mm=(raw_mm, taw_mm),
            rain_mm=(rain_mm, 5000.0),
            runoff_mm=(runoff_mm, rain_mm),
            watered_mm=(watered_mm, 5000.0),
            demand_mm=(demand_mm, 100.0),
        )
    missing_mm = depletion_mm - (rain_mm - runoff_mm) - watered_mm
    stress = stress_coefficient(depletion_mm=missing_mm, taw_mm=taw_mm, raw_mm=raw_mm)
    used_mm = min(stress * demand_mm, taw_mm - missing_mm)
    missing_mm += used_mm
    if missing_mm < 0.0:
        return BucketDay(stress, used_mm, -missing_mm, 0.0)
    return BucketDay(stress, used_mm, 0.0, min(missing_mm, taw_mm))


def advance(
    previous: LedgerDay | None,
    *,
    zone: Zone,
    soil: Soil,
    crop_for: Callable[[str], Crop],
    today: DayInput,
    watered_mm: float,
) -> LedgerDay:
    """The zone's ledger for `today`, from yesterday's (None: the account opens today).

    `watered_mm` is spread over the zone's whole ground. Runoff is nought: a small bed takes in its
    rain; a share of heavy rain would come off here. OutOfRange if `today` is not the day after.
    """
    day, eto_mm = today.day, today.eto_mm
    if previous is not None and day.toordinal() - previous.day.toordinal() != 1:
        gap = (day - previous.day).days
        raise OutOfRange("days since the ledger's last day", gap, 1, 1)
    account = _account(zone, soil, crop_for, today)
    if previous is not None:
        start_mm = previous.depletion_mm
    else:
        start_mm = 0.0 if account.crop is not None else account.raw_mm
    # The difference that a change of account, or of the roots' limit, cannot take over:
    opening_mm = min(start_mm, account.taw_mm)
    rain_mm = today.rain_mm if today.rain_mm is not None else 0.0
    unused_mm = rain_unused_mm(rain_mm=rain_mm, eto_mm_day=eto_mm)
    found = next_day(
        depletion_mm=opening_mm,
        taw_mm=account.taw_mm,
        raw_mm=account.raw_mm,
        rain_mm=rain_mm - unused_mm,
        watered_mm=watered_mm,
        demand_mm=account.etc_mm,
    )
    return LedgerDay(
        zone=zone.name,
        day=day,
        account=account.name,
        crop=account.crop,
        stage=account.stage,
        day_of_planting=account.day_of_planting,
        eto_mm=eto_mm,
        method=today.method,
        kc=account.kc,
        etc_mm=account.etc_mm,
        stress=found.stress,
        used_mm=found.used_mm,
        rain_mm=rain_mm,
        rain_known=today.rain_mm is not None,
        rain_unused_mm=unused_mm,
        runoff_mm=0.0,
        watered_mm=watered_mm,
        drained_mm=found.drained_mm,
        handed_over_mm=opening_mm - start_mm,
        start_depletion_mm=start_mm,
        depletion_mm=found.depletion_mm,
        root_depth_m=account.depth_m,
        taw_mm=account.taw_mm,
        raw_mm=account.raw_mm,
        depletion_fraction=account.depletion_fraction,
        measured=today.measured,
    )


def ledger_over(
    zone: Zone,
    soil: Soil,
    crop_for: Callable[[str], Crop],
    days: Sequence[DayInput],
    watered_mm: Mapping[date, float],
    previous: LedgerDay | None = None,
) -> list[LedgerDay]:
    """The zone's ledger over a run of days; a day that is not in `watered_mm` got none."""
    ledger = []
    for today in days:
        previous = advance(
            previous,
            zone=zone,
            soil=soil,
            crop_for=crop_for,
            today=today,
            watered_mm=watered_mm.get(today.day, 0.0),
        )
        ledger.append(previous)
    return ledger


@dataclass(slots=True)
class _Account:
    """What the bucket is today, and what is asked of it."""

    name: str
    crop: str | None
    stage: str
    day_of_planting: int
    kc: float
    etc_mm: float
    depth_m: float
    taw_mm: float
    raw_mm: float
    depletion_fraction: float


def _account(zone: Zone, soil: Soil, crop_for: Callable[[str], Crop], today: DayInput) -> _Account:
    planting = _planting_on(zone, today.day)
    if planting is None:
        tew_mm = soil.tew_mm
        return _Account(
            BARE, None, BARE, 0, BARE_SOIL_KC, BARE_SOIL_KC * today.eto_mm,
            SURFACE_LAYER_M, tew_mm, soil.rew_mm, soil.rew_mm / tew_mm,
        )  # fmt: skip
    crop = crop_on(
        crop_for(planting.crop),
        planting,
        today.day,
        wind_2m_m_s=today.wind_2m_m_s,
        rh_min_pct=today.rh_min_pct,
    )
    etc_mm, depth_m = crop.kc * today.eto_mm, crop.root_depth_m
    if zone.bed.rooting_limit_m is not None:
        depth_m = min(depth_m, zone.bed.rooting_limit_m)
    held_mm = taw_mm(
        field_capacity=soil.field_capacity, wilting_point=soil.wilting_point, root_depth_m=depth_m
    )
    fraction = depletion_fraction_adjusted(crop.depletion_fraction, etc_mm_day=etc_mm)
    return _Account(
        _account_name(planting.crop, planting.start), planting.crop, crop.stage,
        crop.day_of_planting, crop.kc, etc_mm, depth_m, held_mm,
        raw_mm(taw_mm=held_mm, depletion_fraction=fraction), fraction,
    )  # fmt: skip


def _planting_on(zone: Zone, day: date) -> Planting | None:
    for planting in zone.plantings:
        if planting.start <= day <= planting.until:
            return planting
    return None


@lru_cache(maxsize=1024)
def _account_name(crop: str, start: date) -> str:
    return f"{crop} from {start.isoformat()}"


def _say_which(**values: tuple[float, float]) -> None:
    for name, (value, high) in values.items():
        require_range(name, value, 0.0, high)
    raise OutOfRange("a depth of water", float("nan"), 0.0, 5000.0)
