"""The day on which what was sown is up, where nobody has said that it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from controller.demand.mulch import Mulch
from controller.demand.records import DayInput
from controller.demand.warmth import (
    OPEN_GROUND,
    SOIL_DAYS,
    Ground,
    NormalTemps,
    emergence_rate,
    soil_warmth_c,
)
from controller.garden.model import Planting
from crops.catalogue import Crop, Soil

# Soil into which such a crop is sown as a rule; our choice: the coldest of these in which it comes
# up at all.
_ORDINARY_SOIL_C = (15.0, 20.0, 25.0)
USUAL_EMERGENCE_DAYS = 14  # our choice, where neither gardener nor table has a figure
# Our choice: parsley, parsnip and leek take two months in soil of 5 °C (the germination table and
# thermal time); what has not come up by then will hardly do so.
LONGEST_SEEDBED_DAYS = 75
# Our choices. A seedbed's straw lies thin, and keeps out a third of the surface's swing. Black film
# warms soil by 2 to 4 °C in spring (from memory of trials; 3.1 on the mean of film-covered ridges,
# Ren 2017, abstract). Soil that holds this much water at field capacity warms half as fast.
STRAW_HOLDS = 0.3
FILM_WARMS_C = 2.0
HEAVY_FIELD_CAPACITY = 0.35
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergence:
    """When plants are up by the table; `gave_up`: only `LONGEST_SEEDBED_DAYS` made it so.

    `soil_c` is the soil's temperature at seed depth on each day until then, where it is known.
    """

    up: date
    gave_up: bool
    soil_c: Mapping[date, float]


def ground_of(mulch: Mulch, soil: Soil, *, south: bool) -> Ground:
    """What a bed does to the warmth of its soil."""
    return Ground(
        holds=STRAW_HOLDS * mulch.cover if mulch.kind == "organic" else 0.0,
        film_c=FILM_WARMS_C * mulch.cover if mulch.kind == "plastic" else 0.0,
        sun_share=0.5 if soil.field_capacity >= HEAVY_FIELD_CAPACITY else 1.0,
        south=south,
    )


def ordinary_emergence_days(crop: Crop) -> float:
    """Days from sowing to emergence that a crop's table of stages has in its initial stage.

    Of the germination table in soil of 15 °C, or of 20 or 25 °C where it does not come up in less;
    never more than `USUAL_EMERGENCE_DAYS`, which stand in for a crop without a figure. Our choice:
    FAO-56, table 11, counts its stages from the planting date and does not say how warm soils were.
    """
    if crop.emergence_days:
        for soil_c in _ORDINARY_SOIL_C:
            rate = emergence_rate(soil_c, crop.emergence_days)
            if rate > 0.0:
                return min(1.0 / rate, float(USUAL_EMERGENCE_DAYS))
    return float(USUAL_EMERGENCE_DAYS)


def emergence_of(
    crop: Crop,
    planting: Planting,
    days: Mapping[date, DayInput],
    normal_temps: NormalTemps | None,
    ground: Ground = OPEN_GROUND,
) -> Emergence:
    """The day plants are up by the warmth of the soil, or by the gardener's own days.

    A day without temperatures takes the normal ones; failing those, the soil stays as warm as it
    was; and with no warmth known at all the day counts as one of `USUAL_EMERGENCE_DAYS`.
    """
    own = planting.emerges_days
    if own is None and not crop.emergence_days:
        own = USUAL_EMERGENCE_DAYS
    soil_c: float | None = None
    found: dict[date, float] = {}
    day, done = planting.start - SOIL_DAYS * _DAY, 0.0
    last = planting.start + (LONGEST_SEEDBED_DAYS if own is None else own) * _DAY
    while day < last:
        soil_c = _soil_after(soil_c, day, days.get(day), normal_temps, ground)
        if day >= planting.start:
            if soil_c is not None:
                found[day] = soil_c
            if own is None:
                done += _share_of(crop, soil_c)
        day += _DAY
        if done >= 1.0 - 1e-9:
            return Emergence(up=day, gave_up=False, soil_c=found)
    return Emergence(up=last, gave_up=own is None, soil_c=found)


def too_cold(crop: Crop, soil_c: Mapping[date, float], day: date | None) -> str:
    """How warm soil is and should be, on a day when it is too cold for seed; "" where it is not."""
    found_c = None if day is None else soil_c.get(day)
    least_c = crop.emergence_least_c
    if found_c is None or least_c is None or found_c >= least_c:
        return ""
    return (
        f"soil at seed depth has about {_both(found_c)} by the air, it wants {_both(least_c)} or "
        "more"
    )


def cold_words(crop: Crop, found: Emergence, today: date | None) -> str:
    """What is said on a day when soil is too cold for seed that is not up; "" where it is not."""
    words = too_cold(crop, found.soil_c, today)
    if not words:
        return ""
    return (
        f"too cold, its seed may rot: {words}; up about {found.up.isoformat()}, if at all; "
        'sow it later or again, and note "up" when you see it'
    )


def _both(temp_c: float) -> str:
    return f"{temp_c:.0f} °C ({1.8 * temp_c + 32.0:.0f} °F)"


def _share_of(crop: Crop, soil_c: float | None) -> float:
    if soil_c is None:
        return 1.0 / USUAL_EMERGENCE_DAYS
    rate = emergence_rate(soil_c, crop.emergence_days, crop.emergence_base_c)
    return rate / crop.emergence_slower


def _soil_after(
    before_c: float | None,
    day: date,
    today: DayInput | None,
    normal_temps: NormalTemps | None,
    ground: Ground,
) -> float | None:
    if today is not None and today.tmin_c is not None and today.tmax_c is not None:
        low_c, high_c, solar = today.tmin_c, today.tmax_c, today.solar_mj_m2
    elif normal_temps is not None and (pair := normal_temps(day)) is not None:
        (low_c, high_c), solar = pair, None
    else:
        return before_c
    return soil_warmth_c(
        before_c,
        day=day,
        tmin_c=low_c,
        tmax_c=high_c,
        solar_mj_m2=solar,
        snow=today is not None and today.snow_mm > 0.0,
        ground=ground,
    )
