"""How fast a planting goes through its stages: by days, or by warmth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

from controller.demand.records import DayInput
from controller.demand.stages import STAGE_NAMES, stage_days_of
from controller.demand.sun import day_length_h, day_of_year
from controller.demand.warmth import NormalSpread, NormalTemps, usual_degree_days
from controller.garden.model import Planting
from crops.catalogue import Crop
from crops.entry import Autumn

# Our choice: a stage whose ordinary day has less warmth than this goes by days. Winter's few degree
# days say little of growth, and one mild day would count as weeks.
LEAST_DAILY_WARMTH_C = 1.0
# Planted in these months (in the north, and in the south) and left to stand so long, garlic and
# onion winter. Our choice.
_AUTUMN, _SOUTHERN_AUTUMN = frozenset((8, 9, 10, 11, 12, 1)), frozenset((2, 3, 4, 5, 6, 7))
LEAST_WINTER_DAYS = 150
YELLOWS_AFTER_DAYS = 30  # bulbs fill for a month at the least: our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Of each stage: its last position, and how far a degree day goes in it (None: by days)."""

    ends: tuple[int, int, int, int]
    per_degree_day: tuple[float | None, float | None, float | None, float | None]
    base_c: float
    upper_c: float
    # Of the stages from mid on: the last position before it, and the day it may begin.
    not_before: tuple[tuple[int, date], ...] = ()

    @property
    def by_days(self) -> bool:
        """Whether warmth plays no part."""
        return not any(self.per_degree_day)

    def after(self, position: float, day: date, today: DayInput | None) -> float:
        """The position a day later, that day's warmth given; without temperatures, 1 further."""
        found = self._after(position, today)
        for end, opens in self.not_before:
            if day < opens and position <= end:
                found = min(found, float(end))
        return found

    def _after(self, position: float, today: DayInput | None) -> float:
        warmth = None
        if today is not None and today.tmin_c is not None and today.tmax_c is not None:
            warmth = usual_degree_days(
                tmin_c=today.tmin_c,
                tmax_c=today.tmax_c,
                spread_c=today.temp_spread_c,
                base_c=self.base_c,
                upper_c=self.upper_c,
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
    crop: Crop,
    planting: Planting,
    normal_temps: NormalTemps | None,
    latitude_deg: float | None = None,
    normal_spread: NormalSpread | None = None,
) -> tuple[Pace, tuple[str, ...]]:
    """The pace of a planting's stages, and remarks where warmth was asked for and cannot be had."""
    days = stage_days_of(crop, planting)
    ends = tuple(accumulate(days))
    autumn = crop.autumn
    if autumn is not None and latitude_deg is not None and winters(planting, latitude_deg):
        return Pace(
            ends=ends,  # type: ignore[arg-type]
            per_degree_day=tuple(n / total for n, total in zip(days, autumn.warmth, strict=True)),  # type: ignore[arg-type]
            base_c=autumn.base_c,
            upper_c=crop.gdd_upper_c,
            not_before=_opens(autumn, planting, latitude_deg, ends),
        ), ()
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
            _ordinary_sum(
                crop,
                base_c,
                planting.start + timedelta(days=end - length),
                length,
                normal_temps,
                normal_spread,
            )
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


def winters(planting: Planting, latitude_deg: float) -> bool:
    """Whether it is planted in autumn and stands through winter, with no stages of its own."""
    if planting.stage_days or planting.stage_warmth:
        return False
    autumn = _AUTUMN if latitude_deg >= 0.0 else _SOUTHERN_AUTUMN
    stands = (planting.until - planting.start).days
    return planting.start.month in autumn and stands >= LEAST_WINTER_DAYS


def _opens(
    autumn: Autumn, planting: Planting, latitude_deg: float, ends: tuple[int, ...]
) -> tuple[tuple[int, date], ...]:
    """From when mid and late may begin: by the hours of day of the spring after planting."""
    covers = first_long_day(planting.start, autumn.cover_from_h, latitude_deg)
    yellows = first_long_day(planting.start, autumn.yellow_from_h, latitude_deg)
    found = []
    if covers is not None:
        found.append((ends[1], covers))
    if yellows is not None:
        found.append((ends[2], yellows + timedelta(days=YELLOWS_AFTER_DAYS)))
    return tuple(found)


def first_long_day(start: date, hours: float, latitude_deg: float) -> date | None:
    """The first day with so many hours after the winter of `start`; None: none is so long.

    Parameters
    ----------
    start : date
        The day of planting, in autumn or winter.
    hours : float
        Length of the day. [h]
    latitude_deg : float
        Latitude, south negative. [deg]

    Returns
    -------
    date or None
        Not before `start`.

    Raises
    ------
    OutOfRange
        If the latitude cannot be.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 34.
    """
    solstice = (12, 21) if latitude_deg >= 0.0 else (6, 21)
    shortest = next(
        found
        for year in range(start.year - 1, start.year + 2)
        if (found := date(year, *solstice)) >= start - timedelta(days=60)
    )
    for number in range(184):
        day = shortest + timedelta(days=number)
        if (
            day >= start
            and day_length_h(latitude_deg=latitude_deg, day_of_year=day_of_year(day)) >= hours
        ):
            return day
    return None


def _a_day(warmth: float | None, per_degree_day: float | None) -> float:
    return 1.0 if warmth is None or per_degree_day is None else warmth * per_degree_day


def _ordinary_sum(
    crop: Crop,
    base_c: float,
    first: date,
    length: int,
    normal_temps: NormalTemps | None,
    normal_spread: NormalSpread | None,
) -> float | None:
    """Degree days of a stage on the dates it has by date; days without normals as the rest."""
    if normal_temps is None:
        return None
    found = [
        usual_degree_days(
            tmin_c=pair[0],
            tmax_c=pair[1],
            spread_c=0.0 if normal_spread is None else normal_spread(day),
            base_c=base_c,
            upper_c=crop.gdd_upper_c,
        )
        for day in (first + timedelta(days=number) for number in range(length))
        if (pair := normal_temps(day)) is not None
    ]
    return sum(found) / len(found) * length if found else None
