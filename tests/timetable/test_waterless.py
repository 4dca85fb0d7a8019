"""Each zone that gets no water in the days planned is named with why."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan
from support.said import said

from controller.demand.records import Observation
from controller.garden.model import Garden, Hold, Planting, Watering
from controller.paper.plan_rows import no_water_rows
from controller.paper.printout import timetable_text
from controller.paper.text import WIDTH
from controller.timetable.need.jobs import NOTHING_GIVEN
from controller.timetable.records import Timetable
from controller.wording.say import say

DAY = timedelta(days=1)
SPRING, TODAY = date(2031, 4, 1), date(2031, 7, 1)
DAYS = even_days(SPRING - 10 * DAY, TODAY + 60 * DAY)


def standing(crop: str, start: date, until: date) -> Planting:
    return Planting(crop=crop, start=start, until=until)


LEEK = standing("leek", SPRING, TODAY + 60 * DAY)
GARLIC = Planting(
    crop="garlic", start=SPRING, until=TODAY + 40 * DAY, stage_days=(10, 20, 50, 30)
)  # by 1 July, day 92, it is late
ENDED = standing("lettuce", SPRING, TODAY - 10 * DAY)
COMING = standing("carrot", TODAY + 20 * DAY, TODAY + 90 * DAY)


def plan(*plantings: Planting, count: int = 3, seen: tuple[Observation, ...] = ()) -> Timetable:
    garden = a_garden(a_zone("a", plantings=plantings), a_zone("wet", 27, plantings=(LEEK,)))
    given = replace(NOTHING_GIVEN, observations=seen)
    return a_plan(garden, DAYS, first=TODAY, count=count, given=given)


def noted(event: str, day: date) -> Observation:
    return Observation(zone="a", day=day, event=event)


GONE_ON, FALLEN_ON = TODAY - 5 * DAY, TODAY - 3 * DAY


@pytest.mark.parametrize(
    ("plantings", "seen", "why", "words"),
    [
        ((), (), "nothing planted", "the garden file has no planting for it"),
        ((COMING,), (), "not begun", "Carrot begins on 2031-07-21"),
        (
            (ENDED,),
            (),
            "over",
            "Lettuce ended on 2031-06-21; if it still grows, write a later until",
        ),
        ((ENDED, COMING), (), "between plantings", "2031-06-21; Carrot begins on 2031-07-21"),
        (
            (LEEK,),
            (noted("gone", GONE_ON),),
            "gone",
            "noted as gone on 2031-06-26; if it still grows",
        ),
        # An older logbook's word for it.
        ((LEEK,), (noted("lifted", GONE_ON),), "gone", "(rowgate note withdraw)"),
        (
            (GARLIC,),
            (noted("tops fallen", FALLEN_ON),),
            "drying",
            "since 2031-06-28: its tops were seen to have fallen or dried; lift it by 2031-07-19",
        ),
    ],
)
def test_a_zone_without_water_is_named_with_why(
    plantings: tuple[Planting, ...], seen: tuple[Observation, ...], why: str, words: str
) -> None:
    (found,) = plan(*plantings, seen=seen).no_water
    assert (found.zone, found.part, found.why) == ("a", "", why)
    assert words in say(found.message, us=False)


def test_yellow_leaves_of_garlic_keep_its_water() -> None:
    """As older logbooks have it too: "ripening" stood for yellow leaves and for fallen tops."""
    given = replace(NOTHING_GIVEN, observations=(noted("ripening", FALLEN_ON),))
    days = even_days(SPRING - 10 * DAY, TODAY + 10 * DAY)
    garden = a_garden(a_zone("a", plantings=(GARLIC,)))
    timetable = a_plan(garden, days, first=TODAY, count=7, given=given)
    assert "a" in {pulse.zone for pulse in timetable.pulses} and timetable.no_water == ()
    assert any("yellow leaves were noted" in remark for remark in said(timetable.remarks))


def test_a_bed_that_has_enough_says_how_much_is_gone() -> None:
    timetable = a_plan(
        a_garden(a_zone("a", plantings=(LEEK,))),
        even_days(SPRING - 10 * DAY, TODAY + 60 * DAY, eto_mm=1.0, rain_mm=3.0),
        first=TODAY,
        count=3,
    )
    (found,) = timetable.no_water
    assert found.why == "nothing needed"
    # WORKED: each day's rain fills what each day takes, so on each evening a day's loss is gone.
    evenings = [r for r in timetable.ledger if TODAY - DAY <= r.day < TODAY + 2 * DAY]
    gone = max(row.wet_depletion_mm for row in evenings)
    words = say(found.message, us=False)
    assert f"{gone:.1f}".rstrip("0").rstrip(".") in words and "watered from" in words


WET = even_days(SPRING - 10 * DAY, TODAY + 60 * DAY, eto_mm=1.0, rain_mm=3.0)


def _enough(planting: Planting, count: int = 1) -> str:
    garden = a_garden(a_zone("a", plantings=(planting,)))
    (found,) = a_plan(garden, WET, first=TODAY, count=count).no_water
    assert found.why == "nothing needed"
    return say(found.message, us=False)


def test_what_is_set_out_settling_or_in_its_seedbed_is_said_as_such() -> None:
    set_out = standing("leek", TODAY, TODAY + 60 * DAY)
    assert _enough(set_out) == "Leek has enough: set out or sown that day, it is watered in by hand"
    settling = standing("leek", TODAY - 3 * DAY, TODAY + 60 * DAY)
    sown = replace(settling, crop="carrot", transplanted=False, emerges_days=14)
    for planting in (settling, sown):
        words = _enough(planting, count=2)
        assert words.endswith(" is missing") and "watered from" not in words


def test_beans_left_to_dry_say_since_when() -> None:
    # WORKED: 110 days of stages, the last 20 late; its last half begins on day 101, 10 July.
    bean = Planting(
        crop="dry_bean", start=SPRING, until=TODAY + 40 * DAY, stage_days=(20, 30, 40, 20)
    )
    garden = a_garden(a_zone("a", plantings=(bean,)))
    (found,) = a_plan(garden, DAYS, first=SPRING + 105 * DAY, count=2).no_water
    assert found.why == "drying"
    assert "dries down since 2031-07-10: it is left to dry in the last half" in say(
        found.message, us=False
    )


def test_what_keeps_the_water_back_is_named() -> None:
    hold = Hold(begins=datetime(2031, 6, 30), ends=datetime(2031, 7, 9), reason="the tap is off")
    garden = a_garden(
        a_zone("a", plantings=(LEEK,)), watering=Watering(windows=(EVERY_DAY,), holds=(hold,))
    )
    days = even_days(SPRING - 10 * DAY, TODAY + 60 * DAY, eto_mm=8.0)
    given = replace(NOTHING_GIVEN, litres={("a", TODAY - n * DAY): 0.0 for n in range(1, 60)})
    (found,) = a_plan(garden, days, first=TODAY, count=2, given=given).no_water
    assert found.why == "not given" and "the tap is off" in say(found.message, us=False)


def test_each_part_and_each_stretch_has_its_own_reason() -> None:
    rows = (a_row(), a_row())
    lettuce = replace(ENDED, rows=(1,), until=TODAY)
    carrot = replace(COMING, rows=(2,))
    garden = a_garden(a_zone("a", rows=rows, plantings=(lettuce, carrot)))
    days = even_days(SPRING - 10 * DAY, TODAY + 60 * DAY, eto_mm=0.5, rain_mm=6.0)
    found = a_plan(garden, days, first=TODAY, count=4).no_water
    assert [(f.part, f.why) for f in found] == [
        *(("row 1", "nothing needed"), ("row 1", "over"), ("row 2", "not begun"))
    ]


def test_it_stands_on_the_paper_and_in_the_rows() -> None:
    timetable = plan(ENDED)
    garden: Garden = a_garden(a_zone("a", plantings=(ENDED,)), a_zone("wet", 27, plantings=(LEEK,)))
    text = timetable_text(timetable, garden)
    assert "Without water\n-------------\n  a (over): Lettuce ended on 2031-06-21" in text
    assert max(map(len, text.splitlines())) <= WIDTH
    (row,) = no_water_rows(timetable, us=False)
    assert (row["zone"], row["part"], row["why"]) == ("a", "", "over")
