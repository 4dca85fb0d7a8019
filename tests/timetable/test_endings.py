"""What is said of a planting's end, before it and after it, and of stages that do not fit it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan
from support.said import said

from controller.check.zone_checks import length_message
from controller.demand.records import Observation
from controller.demand.soil.ground import Season, parts_of
from controller.garden.model import Planting, Watering
from controller.timetable.notices import ending_messages
from controller.wording.say import say
from crops.catalogue import load

SPRING = date(2031, 5, 1)
DAY = timedelta(days=1)


def stands(crop: str, days: int, **more: Any) -> Planting:
    return Planting(crop=crop, start=SPRING, until=SPRING + (days - 1) * DAY, **more)


def words(day: date, *plantings: Planting, seen: Any = (), days: Any = None) -> Any:
    zone = a_zone(plantings=plantings, rows=(a_row(ground_width_m=1.0),))
    season = Season(crop_for=load().crop, days=days or {}, observations=seen)
    (part,) = parts_of(zone, load().soil("loam"), season)
    return list(said(ending_messages(part, day)))


def test_the_last_week_before_until_is_announced_and_the_end_is_said_after() -> None:
    pea = stands("pea", 80)
    assert words(pea.until - 7 * DAY, pea) == []
    (soon,) = words(pea.until - 6 * DAY, pea)
    assert f"its last day is {pea.until}" in soon
    assert "write a later until" in soon
    (over,) = words(pea.until + DAY, pea)
    assert f"its last day was {pea.until}" in over
    assert "write a later until" in over
    assert words(pea.until + 31 * DAY, pea) == []


def test_where_another_follows_it_is_short_and_where_it_was_lifted_nothing_is_said() -> None:
    pea = stands("pea", 80)
    kale = Planting(crop="kale", start=pea.until + 18 * DAY, until=pea.until + 120 * DAY)
    assert words(pea.until, pea, kale) == []
    assert len(words(pea.until + DAY, pea, kale)) == 1
    assert words(pea.until + 9 * DAY, pea, kale) == []
    lifted = Observation(zone=a_zone().name, day=pea.until - 10 * DAY, event="lifted")
    assert words(pea.until - 5 * DAY, pea, seen=[lifted]) == []


def test_drying_where_it_stands_is_announced_a_week_ahead_and_said_while_it_lasts() -> None:
    crop = load().crop("dry bean")
    assert crop.dry_down == "taper"
    bean = stands("dry bean", sum(crop.stage_days) + 20)
    # WORKED: it dries once its position passes the end less half of late; position n is day n.
    dries = SPRING + (sum(crop.stage_days) - crop.stage_days[3] // 2) * DAY
    assert not words(dries - 7 * DAY, bean)
    (ahead,) = words(dries - 6 * DAY, bean)
    assert f"from {dries} on it gets no more water" in ahead
    (while_it_lasts,) = words(dries, bean)
    assert "its late stage is half over, so it gets no more water" in while_it_lasts


def test_a_crop_left_past_its_stages_is_asked_about() -> None:
    crop = load().crop("lettuce")
    salad = stands("lettuce", 150)
    end = SPRING + (sum(crop.stage_days) - 1) * DAY
    assert words(end + 7 * DAY, salad) == []
    (asked,) = words(end + 8 * DAY, salad)
    assert "8 days past the last of its stages" in asked
    assert "harvest_in" in asked


def test_what_is_to_be_sown_into_cold_soil_is_said_in_the_week_before() -> None:
    bean = stands("bush bean", 100, transplanted=False)
    pea = stands("pea", 100, transplanted=False)
    cold = {
        day: replace(today, tmin_c=4.0, tmax_c=12.0, solar_mj_m2=17.5)
        for day, today in even_days(SPRING - 20 * DAY, SPRING + 3 * DAY).items()
    }
    (cold_words,) = words(SPRING - 7 * DAY, bean, days=cold)
    assert "to be sown in 7 days" in cold_words
    assert "about 8 °C (46 °F) by the air, and it needs 12 °C (54 °F) or more" in cold_words
    assert words(SPRING - 8 * DAY, bean, days=cold) == []
    assert words(SPRING - 2 * DAY, pea, days=cold) == []
    warm = {day: replace(today, tmin_c=12.0, tmax_c=20.0) for day, today in cold.items()}
    assert words(SPRING - 2 * DAY, bean, days=warm) == []


def test_the_plan_says_that_a_planting_is_over() -> None:
    pea = stands("pea", 80)
    garden = a_garden(
        a_zone(plantings=(pea,), rows=(a_row(ground_width_m=1.0),)),
        watering=Watering(windows=(EVERY_DAY,)),
    )
    first = pea.until + 2 * DAY
    weather = even_days(SPRING - DAY, first + 8 * DAY, eto_mm=3.0)
    remarks = said(a_plan(garden, weather, first=first).remarks)
    assert any("so it gets no more water" in remark for remark in remarks)


@pytest.mark.parametrize(
    ("planting", "asked"),
    [
        (
            stands("sweet corn", 106),
            "harvest_in (the days on the seed packet) or stages. If it is gone",
        ),
        (stands("sweet corn", 106, harvest_days=106), ""),
        (stands("sweet corn", 106, stage_days=(25, 30, 35, 16)), ""),
        (stands("sweet corn", 85), ""),
        (stands("tomato", 180), ""),  # picked for weeks
        (stands("lettuce", 30), "For a quick variety write harvest_in"),
        (stands("strawberry", 500, harvest_days=60), "has no meaning for it"),
        (stands("sweet corn", 300, harvest_days=300), "no further than to 1.6"),
        (Planting(crop="garlic", start=date(2030, 10, 15), until=date(2031, 7, 20)), ""),
    ],
)
def test_check_asks_where_stages_and_last_day_do_not_fit(planting: Any, asked: str) -> None:
    found = length_message(planting, load().crop(planting.crop), a_garden(a_zone()).site)
    said = "" if found is None else say(found, us=False)
    assert asked in said if asked else found is None
