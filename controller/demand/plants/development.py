"""How fast a planting goes through its stages, from the day it is up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

from controller.demand.climate.radiation import day_length_h, day_of_year
from controller.demand.plants.degree_days import (
    OPEN_GROUND,
    SOIL_DAYS,
    Ground,
    NormalSpread,
    NormalTemps,
    emergence_rate,
    soil_temperature_c,
    usual_degree_days,
)
from controller.demand.plants.stages import STAGE_NAMES, stage_days_of
from controller.demand.records import DayInput
from controller.demand.soil.mulch import Mulch
from controller.garden.model import Planting
from controller.messages import Message, Quantity, Value
from crops.catalogue import Crop, Soil
from crops.entry import Autumn

# Soil into which such a crop is usually sown: the coldest of these in which it comes up at all. Our
# choice.
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
    """When plants are up by the table; `gave_up`: it is only the limit `LONGEST_SEEDBED_DAYS`.

    `soil_c` is the soil's temperature at seed depth on each day until then, if known. [°C]
    """

    up: date
    gave_up: bool
    soil_c: Mapping[date, float]


def ground_of(mulch: Mulch, soil: Soil, *, south: bool) -> Ground:
    """How mulch and soil of a bed change the temperature at seed depth, for `soil_temperature_c`.

    Source
    ------
    Our choices; see `STRAW_HOLDS`, `FILM_WARMS_C` and `HEAVY_FIELD_CAPACITY`.

    Examples
    --------
    >>> from controller.demand.soil.mulch import mulch_of
    >>> from crops.catalogue import load
    >>> ground_of(mulch_of("plastic", 1.0), load().soil("loam"), south=False)
    Ground(holds=0.0, film_c=2.0, sun_share=1.0, south=False)
    """
    return Ground(
        holds=STRAW_HOLDS * mulch.cover if mulch.kind == "organic" else 0.0,
        film_c=FILM_WARMS_C * mulch.cover if mulch.kind == "plastic" else 0.0,
        sun_share=0.5 if soil.field_capacity >= HEAVY_FIELD_CAPACITY else 1.0,
        south=south,
    )


def ordinary_emergence_days(crop: Crop) -> float:
    """Days from sowing to emergence that a crop's table of stages has in its initial stage.

    Returns
    -------
    float
        Days of the germination table in soil of 15 °C, or of 20 or 25 °C if nothing comes up in
        colder soil. At most `USUAL_EMERGENCE_DAYS`, which also stand in for a crop without a
        figure. [days]

    Source
    ------
    `emergence_days` of the crop. Which soil: our choice, for FAO-56, table 11, counts stages from
    the planting date and does not say how warm the soil was.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> ordinary_emergence_days(load().crop("carrot"))
    10.0
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
    """The day on which plants are up, by the warmth of the soil or the gardener's own days.

    The planting's own `emerges_days` go before the table. A day without temperatures takes the
    normal ones [°C]; without those the soil stays as warm as it was. If no temperature is known at
    all, each day makes its share of `USUAL_EMERGENCE_DAYS`. The day is at most
    `LONGEST_SEEDBED_DAYS` after sowing.

    Source
    ------
    The sum of `degree_days.emergence_rate` over the days; see there.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> bed = {"start": date(2031, 4, 1), "until": date(2031, 8, 1), "transplanted": False}
    >>> sown = Planting(crop="carrot", **bed)
    >>> emergence_of(load().crop("carrot"), sown, {}, lambda day: (9.0, 19.0)).up
    datetime.date(2031, 4, 15)
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


def too_cold(crop: Crop, soil_c: Mapping[date, float], day: date | None) -> Message | None:
    """How warm the soil is and should be on that day, if it is too cold for seed.

    `soil_c` is the temperature at seed depth by day [°C]. None if that is warm enough, or unknown.

    Source
    ------
    `emergence_least_c` of the crop; see crops.toml.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> today = date(2031, 4, 1)
    >>> too_cold(load().crop("tomato"), {today: 8.0}, today).values["least"].si
    10.0
    """
    found_c = None if day is None else soil_c.get(day)
    least_c = crop.emergence_least_c
    if found_c is None or least_c is None or found_c >= least_c:
        return None
    found, least = Quantity(found_c, "both temperatures"), Quantity(least_c, "both temperatures")
    return Message("soil.too_cold", {"found": found, "least": least})


def cold_soil_warning(crop: Crop, found: Emergence, today: date | None) -> Message | None:
    """The warning that soil is too cold for seed that is not up; None if there is none.

    Source
    ------
    As `too_cold`.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> today = date(2031, 4, 1)
    >>> found = Emergence(up=date(2031, 4, 20), gave_up=False, soil_c={today: 8.0})
    >>> cold_soil_warning(load().crop("tomato"), found, today).code
    'soil.seed_may_rot'
    """
    soil = too_cold(crop, found.soil_c, today)
    if soil is None:
        return None
    return Message("soil.seed_may_rot", {"soil": soil, "up": found.up.isoformat()})


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
    return soil_temperature_c(
        before_c,
        day=day,
        tmin_c=low_c,
        tmax_c=high_c,
        solar_mj_m2=solar,
        snow=today is not None and today.snow_mm > 0.0,
        ground=ground,
    )


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
    """Last position of each stage, and days of the table per degree day in it (None: by days)."""

    ends: tuple[int, int, int, int]
    per_degree_day: tuple[float | None, float | None, float | None, float | None]
    base_c: float
    upper_c: float
    # Of the stages from mid on: the last position before it, and the day it may begin.
    not_before: tuple[tuple[int, date], ...] = ()

    @property
    def by_days(self) -> bool:
        """Whether all stages go by days."""
        return not any(self.per_degree_day)

    def after(self, position: float, day: date, today: DayInput | None) -> float:
        """The position a day later, by the day's warmth; 1 further if no temperature is known."""
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
) -> tuple[Pace, tuple[Message, ...]]:
    """The pace of a planting's stages.

    `normal_temps` are the lowest and highest temperature usual for a date, `normal_spread` their
    standard deviation [°C]. Latitude in degrees, south negative; None: no crop overwinters. The
    remarks are on stages that go by days though warmth was asked for.

    Source
    ------
    A stage's length in days over its degree days, on the dates that it has by date: our choice.
    Crops that overwinter go by `Crop.autumn`.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> summer = {"start": date(2031, 5, 1), "until": date(2031, 8, 20)}
    >>> pace, remarks = pace_of(load().crop("dry bean"), Planting(crop="dry bean", **summer), None)
    >>> pace.ends, pace.by_days, remarks
    ((20, 50, 90, 110), True, ())
    """
    days = stage_days_of(crop, planting)
    ends = tuple(accumulate(days))
    autumn = crop.autumn
    if autumn is not None and latitude_deg is not None and overwinters(planting, latitude_deg):
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
        remarks.append(Message("stages.no_base"))
    elif planting.by_warmth and base_c is not None:
        sums: list[float | None] = list(planting.stage_warmth or ())
        if not sums and normal_temps is None:
            remarks.append(Message("stages.no_normals"))
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
            stages: dict[str, Value] = {"stages": tuple(by_days), "count": len(by_days)}
            limits = {"least": LEAST_DAILY_WARMTH_C, "base": base_c}
            remarks.append(Message("stages.by_days", {**stages, **limits}))
    pace = Pace(
        ends=ends,  # type: ignore[arg-type]
        per_degree_day=tuple(rates),  # type: ignore[arg-type]
        base_c=base_c if base_c is not None else 0.0,
        upper_c=crop.gdd_upper_c,
    )
    return pace, tuple(remarks)


def overwinters(planting: Planting, latitude_deg: float) -> bool:
    """Whether a planting is planted in autumn and stands through winter, without own stages.

    Latitude in degrees, south negative.

    Source
    ------
    Our choice: planted from August to January (south: February to July) for at least
    `LEAST_WINTER_DAYS`.

    Examples
    --------
    >>> garlic = Planting(crop="garlic", start=date(2031, 10, 20), until=date(2032, 7, 10))
    >>> overwinters(garlic, 45.0), overwinters(garlic, -45.0)
    (True, False)
    """
    if planting.stage_days or planting.stage_warmth:
        return False
    autumn = _AUTUMN if latitude_deg >= 0.0 else _SOUTHERN_AUTUMN
    stands = (planting.until - planting.start).days
    return planting.start.month in autumn and stands >= LEAST_WINTER_DAYS


def _opens(
    autumn: Autumn, planting: Planting, latitude_deg: float, ends: tuple[int, ...]
) -> tuple[tuple[int, date], ...]:
    """When mid and late may begin: by the day length of the spring after planting."""
    covers = first_long_day(planting.start, autumn.cover_from_h, latitude_deg)
    yellows = first_long_day(planting.start, autumn.yellow_from_h, latitude_deg)
    found = []
    if covers is not None:
        found.append((ends[1], covers))
    if yellows is not None:
        found.append((ends[2], yellows + timedelta(days=YELLOWS_AFTER_DAYS)))
    return tuple(found)


def first_long_day(start: date, hours: float, latitude_deg: float) -> date | None:
    """The first day of that length after the winter of `start`; None if no day is so long.

    `start` is the day of planting, in autumn or winter; latitude in degrees, south negative, -90 to
    90 (else OutOfRange).

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 34.

    Examples
    --------
    >>> first_long_day(date(2031, 10, 20), 12.0, 45.0)
    datetime.date(2032, 3, 21)
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
    """Degree days of a stage on the dates it has by date; days without normals have the mean."""
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
