"""How fast a planting goes through its stages: by days, or by warmth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

from controller.demand.records import DayInput
from controller.demand.stages import STAGE_NAMES
from controller.demand.warmth import NormalTemps, degree_days
from controller.garden.model import Planting
from crops.catalogue import Crop

# Our choice: a stage whose ordinary day has less warmth than this goes by days. Winter's few degree
# days say little of growth, and one mild day would count as weeks.
LEAST_DAILY_WARMTH_C = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Of each stage: its last position, and how far a degree day goes in it (None: by days)."""

    ends: tuple[int, int, int, int]
    per_degree_day: tuple[float | None, float | None, float | None, float | None]
    base_c: float
    upper_c: float

    @property
    def by_days(self) -> bool:
        """Whether warmth plays no part."""
        return not any(self.per_degree_day)

    def after(self, position: float, today: DayInput | None) -> float:
        """The position a day later, that day's warmth given; without temperatures, 1 further."""
        warmth = None
        if today is not None and today.tmin_c is not None and today.tmax_c is not None:
            warmth = degree_days(
                tmin_c=today.tmin_c, tmax_c=today.tmax_c, base_c=self.base_c, upper_c=self.upper_c
            )
        left = 1.0  # of the day: it may cross into the next stage, which has a pace of its own
        for end, per_degree_day in zip(self.ends[:3], self.per_degree_day, strict=False):
            if position >= end:
                continue
            far = _a_day(warmth, per_degree_day)
            if position + far * left <= end:
                return round(position + far * left, 6)
            left -= (end - position) / far
            position = float(end)
        return round(position + _a_day(warmth, self.per_degree_day[3]) * left, 6)


def pace_of(
    crop: Crop, planting: Planting, normal_temps: NormalTemps | None
) -> tuple[Pace, tuple[str, ...]]:
    """The pace of a planting's stages, and remarks where warmth was asked for and cannot be had."""
    days = planting.stage_days or crop.stage_days
    ends = tuple(accumulate(days))
    base_c = crop.gdd_base_c
    rates: list[float | None] = [None] * 4
    remarks = []
    if planting.by_warmth and base_c is None:
        remarks.append("its stages go by days: no base temperature is known for it")
    elif planting.by_warmth and base_c is not None:
        sums: list[float | None] = list(planting.stage_warmth or ())
        if not sums and normal_temps is None:
            remarks.append(
                "its stages go by days: neither its stages_warmth nor the garden's normal "
                "temperatures are known"
            )
        sums = sums or [
            _ordinary_sum(crop, base_c, planting.start, end - length, length, normal_temps)
            for length, end in zip(days, ends, strict=True)
        ]
        by_days = []
        for number, (length, total) in enumerate(zip(days, sums, strict=True)):
            if total is not None and total >= LEAST_DAILY_WARMTH_C * max(length, 1):
                rates[number] = length / total
            elif length:
                by_days.append(STAGE_NAMES[number])
        if by_days and not remarks:
            go = "stage goes" if len(by_days) == 1 else "stages go"
            remarks.append(
                f"its {' and '.join(by_days)} {go} by days: an ordinary day there has less "
                f"than {LEAST_DAILY_WARMTH_C:g} degree day over {base_c:g} °C, or is not known"
            )
    pace = Pace(
        ends=ends,  # type: ignore[arg-type]
        per_degree_day=tuple(rates),  # type: ignore[arg-type]
        base_c=base_c if base_c is not None else 0.0,
        upper_c=crop.gdd_upper_c,
    )
    return pace, tuple(remarks)


def _a_day(warmth: float | None, per_degree_day: float | None) -> float:
    return 1.0 if warmth is None or per_degree_day is None else warmth * per_degree_day


def _ordinary_sum(
    crop: Crop,
    base_c: float,
    start: date,
    first: int,
    length: int,
    normal_temps: NormalTemps | None,
) -> float | None:
    """Degree days of a stage on the dates it has by date; days without normals as the rest."""
    if normal_temps is None:
        return None
    found = [
        degree_days(tmin_c=pair[0], tmax_c=pair[1], base_c=base_c, upper_c=crop.gdd_upper_c)
        for number in range(first, first + length)
        if (pair := normal_temps(start + timedelta(days=number))) is not None
    ]
    return sum(found) / len(found) * length if found else None
