"""Garlic and onion that stand through winter: stages by warmth and by the length of the day."""

from __future__ import annotations

from datetime import date, timedelta
from statistics import median
from typing import Any

import pytest
from support.stationyears import WAGENINGEN, days_of

from controller.demand.plants.course import Course
from controller.demand.plants.development import first_long_day, overwinters, pace_of
from controller.demand.plants.stages import crop_on
from controller.demand.records import DayInput, Observation
from controller.errors import CropFileError
from controller.garden.model import Planting
from crops.catalogue import load
from crops.entry import Crop, autumn_of

GARLIC, ONION = load().crop("garlic"), load().crop("onion")
WEATHER = {
    w.day: DayInput(
        day=w.day, eto_mm=2.0, method="given", rain_mm=None, tmin_c=w.tmin_c, tmax_c=w.tmax_c
    )
    for w in days_of(WAGENINGEN)
}


def garlic(
    start: date = date(1983, 10, 15), until: date = date(1984, 8, 15), **more: Any
) -> Planting:
    return Planting(crop="garlic", start=start, until=until, **more)


# WORKED by script outside this project from FAO-56 eq. 34: first days of 13, 13.75, 14 and 15 h.
@pytest.mark.parametrize(
    ("latitude", "days"),
    [
        (35, ((4, 18), (5, 12), (5, 22), None)),
        (40, ((4, 14), (5, 2), (5, 9), None)),
        (45, ((4, 10), (4, 25), (4, 30), (5, 25))),
        (50, ((4, 7), (4, 19), (4, 23), (5, 11))),
        (55, ((4, 4), (4, 14), (4, 18), (5, 2))),
    ],
)
def test_the_first_long_days_of_spring(latitude: float, days: Any) -> None:
    for hours, worked in zip((13, 13.75, 14, 15), days, strict=True):
        found = first_long_day(date(2030, 10, 15), hours, latitude)
        assert found == (None if worked is None else date(2031, *worked))


def test_planted_in_january_it_is_the_spring_of_that_year_and_the_south_has_its_own() -> None:
    assert first_long_day(date(2031, 1, 15), 13, 50) == date(2031, 4, 7)
    assert first_long_day(date(2031, 4, 15), 13, -40) == date(2031, 10, 13)


def stages(
    crop: Crop, planting: Planting, latitude_deg: float | None = WAGENINGEN.latitude_deg
) -> dict[str, date]:
    course = Course(crop, planting, WEATHER, latitude_deg=latitude_deg)
    begun: dict[str, date] = {}
    day = planting.start
    while day <= planting.until:
        begun.setdefault(course.on(day).stage, day)
        day += timedelta(days=1)
    return begun


def day_of_year(day: date) -> int:
    return (day - date(day.year, 1, 1)).days


def test_garlic_of_october_stands_in_its_stages_when_gardeners_see_them() -> None:
    # Common practice, no source, for a mild climate by the sea: full cover about 1 May, leaves
    # yellow about 20 June, lifted about 12 July. By its days it was at full cover in February.
    found = [
        stages(GARLIC, garlic(date(year, 10, 15), date(year + 1, 8, 15)))
        for year in range(1976, 1998)
    ]
    full = median(day_of_year(each["mid"]) for each in found)
    late = median(day_of_year(each["late"]) for each in found)
    assert abs(full - day_of_year(date(1981, 5, 1))) <= 20
    assert abs(late - day_of_year(date(1981, 6, 20))) <= 14
    by_days = stages(GARLIC, garlic(), latitude_deg=None)
    assert by_days["mid"] < date(1984, 2, 20)


@pytest.mark.parametrize("crop", [GARLIC, ONION], ids=["garlic", "onion"])
def test_no_bulb_fills_before_the_days_are_long_nor_ripens_in_a_month(crop: Crop) -> None:
    assert crop.autumn is not None
    hours = crop.autumn.cover_from_h
    for year in range(1976, 1998):
        start = date(year, 9, 1)
        begun = stages(crop, Planting(crop=crop.name, start=start, until=date(year + 1, 8, 15)))
        first = first_long_day(start, hours, WAGENINGEN.latitude_deg)
        assert first is not None and begun["mid"] > first - timedelta(1)
        long = first_long_day(start, crop.autumn.yellow_from_h, WAGENINGEN.latitude_deg)
        assert long is not None and begun["late"] >= long + timedelta(days=30)


def test_in_a_cold_winter_the_clock_stands() -> None:
    course = Course(GARLIC, garlic(date(1978, 10, 15), date(1979, 8, 15)), WEATHER, latitude_deg=52)
    january = course.on(date(1979, 1, 31)).position - course.on(date(1979, 1, 1)).position
    assert january == pytest.approx(0.0, abs=0.5)


def test_what_was_seen_goes_before_the_length_of_the_day() -> None:
    seen = Observation(zone="z", day=date(1984, 3, 1), event="full")
    course = Course(GARLIC, garlic(), WEATHER, observations=[seen], latitude_deg=52)
    assert course.on(date(1984, 3, 1)).stage == "mid"


@pytest.mark.parametrize(
    ("planting", "latitude", "does"),
    [
        (garlic(), 52, True),
        (garlic(), -40, False),
        (garlic(date(1984, 3, 1), date(1984, 9, 1)), 52, False),
        (garlic(date(1984, 4, 20), date(1984, 12, 1)), -40, True),
        (garlic(until=date(1984, 2, 1)), 52, False),
        (garlic(stage_days=(30, 90, 60, 30)), 52, False),
    ],
)
def test_which_plantings_winter(planting: Any, latitude: float, does: bool) -> None:
    assert overwinters(planting, latitude) is does


def test_bulbs_planted_in_autumn_winter_where_they_stand_for_five_months() -> None:
    # Our choice: August to January in the north, February to July in the south; 150 days.
    for month in range(1, 13):
        start = date(1983, month, 15)
        planting = garlic(start, start + timedelta(days=150))
        assert overwinters(planting, 52) is (month in (8, 9, 10, 11, 12, 1))
        assert overwinters(planting, -40) is (month not in (8, 9, 10, 11, 12, 1))
        short = garlic(start, start + timedelta(days=149))
        assert not overwinters(short, 52) and not overwinters(short, -40)


def test_bulbs_fill_for_a_month_at_the_least() -> None:
    pace, _ = pace_of(GARLIC, garlic(), None, 52)
    (mid, covers), (late, yellows) = pace.not_before
    assert (mid, late) == (pace.ends[1], pace.ends[2])
    assert GARLIC.autumn is not None
    assert covers == first_long_day(garlic().start, GARLIC.autumn.cover_from_h, 52)
    long_day = first_long_day(garlic().start, GARLIC.autumn.yellow_from_h, 52)
    assert long_day is not None and yellows == long_day + timedelta(days=30)


def test_autumn_figures_that_do_not_fit_are_refused() -> None:
    for written in ({}, {"warmth": [1, 2, 3]}, {"warmth": [160, 220, 480, 0], "base_c": 5}):
        with pytest.raises(CropFileError, match="autumn: found"):
            autumn_of("crops.toml", written)


def test_in_june_wintered_garlic_stands_in_full_leaf_and_has_its_water() -> None:
    # Every June of Wageningen from 1977 to 1998, wet and dry ones: by its days the table ended in
    # May, and it was watered as dry leaves for weeks.
    for year in range(1976, 1998):
        planting = garlic(date(year, 10, 15), date(year + 1, 8, 15))
        course = Course(GARLIC, planting, WEATHER, latitude_deg=WAGENINGEN.latitude_deg)
        by_days = Course(GARLIC, planting, WEATHER)
        first_of_june = date(year + 1, 6, 1)
        at, was = course.on(first_of_june), by_days.on(first_of_june)
        weather: dict[str, Any] = {"supported": False, "wind_2m_m_s": 2.0, "rh_min_pct": 45.0}
        assert at.stage == "mid"
        assert crop_on(GARLIC, at, **weather).kcb == pytest.approx(GARLIC.kcb_mid)
        assert crop_on(GARLIC, was, **weather).kcb == pytest.approx(GARLIC.kcb_end)
