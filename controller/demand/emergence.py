"""The day on which what was sown is up, where nobody has said that it is."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from datetime import date, timedelta

from controller.demand.records import DayInput
from controller.demand.warmth import (
    SOIL_DAYS,
    NormalTemps,
    emergence_rate,
    soil_temperature_c,
)
from controller.garden.model import Planting
from crops.catalogue import Crop

# Soil into which such a crop is sown as a rule; our choice: the coldest of these in which it comes
# up at all.
_ORDINARY_SOIL_C = (15.0, 20.0, 25.0)
USUAL_EMERGENCE_DAYS = 14  # our choice, where neither gardener nor table has a figure
LONGEST_SEEDBED_DAYS = 45  # our choice: what has not come up by then will hardly do so


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
    crop: Crop, planting: Planting, days: Mapping[date, DayInput], normal_temps: NormalTemps | None
) -> tuple[date, bool]:
    """The day plants are up by the table, and whether only `LONGEST_SEEDBED_DAYS` made it so.

    A day without temperatures takes the normal ones; failing those, the soil stays as warm as it
    was; and with no warmth known at all the day counts as one of `USUAL_EMERGENCE_DAYS`.
    """
    if planting.emerges_days is not None:
        return planting.start + timedelta(days=planting.emerges_days), False
    if not crop.emergence_days:
        return planting.start + timedelta(days=USUAL_EMERGENCE_DAYS), False
    air: deque[float] = deque(maxlen=SOIL_DAYS)
    for back in range(SOIL_DAYS - 1, 0, -1):
        _take_mean(air, planting.start - timedelta(days=back), days, normal_temps)
    done = 0.0
    for number in range(LONGEST_SEEDBED_DAYS):
        today = planting.start + timedelta(days=number)
        _take_mean(air, today, days, normal_temps)
        soil_c = soil_temperature_c(tuple(air))
        done += (
            1.0 / USUAL_EMERGENCE_DAYS
            if soil_c is None
            else emergence_rate(soil_c, crop.emergence_days)
        )
        if done >= 1.0 - 1e-9:
            return today + timedelta(days=1), False
    return planting.start + timedelta(days=LONGEST_SEEDBED_DAYS), True


def _take_mean(
    air: deque[float], day: date, days: Mapping[date, DayInput], normal_temps: NormalTemps | None
) -> None:
    found = days.get(day)
    if found is not None and found.tmin_c is not None and found.tmax_c is not None:
        air.append((found.tmin_c + found.tmax_c) / 2.0)
    elif normal_temps is not None and (pair := normal_temps(day)) is not None:
        air.append((pair[0] + pair[1]) / 2.0)
