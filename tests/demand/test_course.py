"""Where a planting stands: by date, by warmth, and as a person saw it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.plots import SPRING, day, planted
from support.said import said
from support.tables import CROP_NAMES

from controller.demand.plants.course import Course, in_first_year
from controller.demand.plants.development import USUAL_EMERGENCE_DAYS, ordinary_emergence_days
from controller.demand.plants.observations import EVENTS
from controller.demand.plants.stages import FIRST_ROOTS_M, Settling, crop_on
from controller.demand.records import DayInput, Observation
from controller.errors import OutOfRange
from controller.garden.model import Planting
from controller.wording.say import say
from crops.catalogue import load
from crops.entry import Crop

CROPS = [load().crop(name) for name in CROP_NAMES]
LETTUCE = load().crop("lettuce")  # stages 20/30/15/10, base 4.4 °C
ONION = load().crop("onion")  # stages 15/25/70/40, stopped when its tops fall
BEAN = load().crop("dry bean")  # stages 20/30/40/20, tapered


def when(number: int) -> date:
    """The date of day `number` of a planting that starts on 1 April, from 1."""
    return SPRING + timedelta(days=number - 1)


def noted(event: Any, number: int) -> Observation:
    return Observation(zone="invented plot", day=when(number), event=event)


def warm(degree_days_c: float, *, length: int = 200, base_c: float = 4.4) -> dict[date, DayInput]:
    """Steady days with so many degree days over the base."""
    mean = base_c + degree_days_c
    return {(today := day(n, tmin_c=mean, tmax_c=mean)).day: today for n in range(-10, length)}


def normal(degree_days_c: float, base_c: float = 4.4) -> Callable[[date], tuple[float, float]]:
    return lambda _: (base_c + degree_days_c, base_c + degree_days_c)


def course(
    crop: Crop = LETTUCE,
    *events: Observation,
    days: Any = None,
    normal_temps: Any = None,
    length: int = 120,
    **more: Any,
) -> Course:
    return Course(
        crop,
        planted(crop.name, 0, length, **more),
        days or {},
        observations=events,
        normal_temps=normal_temps,
    )


def position(of: Course, number: int) -> float:
    return of.on(when(number)).position


def test_by_date_the_position_is_the_day_of_the_planting() -> None:
    plain = course()
    assert [position(plain, n) for n in (1, 2, 75, 120)] == [1, 2, 75, 120]
    assert plain.remarks == ()


def test_a_day_outside_the_planting_is_refused() -> None:
    for number in (0, 121):
        with pytest.raises(OutOfRange, match=r"^day_of_planting: "):
            course().on(when(number))


def test_a_short_planting_is_cut_off_and_nothing_else() -> None:
    assert course(length=30).on(when(30)) == course().on(when(30))


def test_days_to_the_late_stage_are_those_of_the_table() -> None:
    # WORKED: 65 days come before it; on its first day none is left.
    assert [course().days_to_late(when(n)) for n in (1, 65, 66, 70)] == [65.0, 1.0, 0.0, -4.0]


def test_a_first_year_is_that_of_a_perennial_not_yet_grown_and_ends_where_the_next_begins() -> None:
    asparagus = load().crop("asparagus")
    young = planted("asparagus", 0, 900, years_before=0)
    anniversary = SPRING.replace(year=SPRING.year + 1)
    assert in_first_year(young, asparagus, SPRING)
    assert in_first_year(young, asparagus, anniversary - timedelta(days=1))
    assert not in_first_year(young, asparagus, anniversary)
    assert not in_first_year(young, asparagus, SPRING - timedelta(days=1))
    assert not in_first_year(replace(young, years_before=1), asparagus, SPRING)
    assert not in_first_year(replace(young, years_before=None), asparagus, SPRING)
    assert not in_first_year(young, LETTUCE, SPRING)
    # One that rests until the gardener's own day has its first year from there.
    later = replace(young, grows_from=SPRING + timedelta(days=30))
    assert in_first_year(later, asparagus, anniversary + timedelta(days=29))
    assert not in_first_year(later, asparagus, anniversary + timedelta(days=30))


# Warmth


def test_a_day_half_as_warm_again_as_usual_counts_for_one_and_a_half() -> None:
    # WORKED: 12 degree days against 8 usual: day n is like day 1 + 1.5 (n - 1). Day 14 is 20.5, the
    # first in the development stage.
    quick = course(days=warm(12.0), normal_temps=normal(8.0), by_warmth=True)
    assert [position(quick, n) for n in (1, 2, 13, 14)] == approx([1, 2.5, 19, 20.5], abs=1e-6)
    assert (quick.on(when(13)).stage, quick.on(when(14)).stage) == ("initial", "development")
    assert quick.on(when(14)).day_of_planting == 14
    assert quick.remarks == ()


def test_the_gardeners_own_sums_of_warmth_go_before_the_normals() -> None:
    # WORKED: 200 degree days for 20 days are 10 a day, so 12 make 1.2 positions; day 16 is 19. On
    # day 17 the last initial position takes 1/1.2 of the day, the rest goes at 240 for 30 days, 8 a
    # day: 20 + (1 - 1/1.2) 12/8 = 20.25. From there 1.5 a day.
    sums = (200.0, 240.0, 120.0, 80.0)
    own = course(days=warm(12.0), normal_temps=normal(3.0), by_warmth=True, stage_warmth=sums)
    assert [position(own, n) for n in (16, 17, 18)] == approx([19, 20.25, 21.75], abs=1e-5)


def test_the_late_stage_goes_at_its_own_pace_from_within_the_day_that_reaches_it() -> None:
    # WORKED: as above to 63.75 on day 46. Late goes at 10 days for 40 degree days, 3 a day: 1.25 of
    # mid take 1.25/1.5 of day 47, and the sixth that is left makes 0.5 of late.
    sums = (200.0, 240.0, 120.0, 40.0)
    own = course(days=warm(12.0), by_warmth=True, stage_warmth=sums)
    assert [position(own, n) for n in (46, 47, 48)] == approx([63.75, 65.5, 68.5], abs=1e-5)


def test_each_stage_is_measured_by_the_warmth_of_its_own_dates() -> None:
    # WORKED: usual are 6 degree days on the 20 initial days and 12 on the 30 of development. With
    # 12 a day the first stage goes at 2 a day: 1, 3, ... 19 on day 10. Half of day 11 ends it, and
    # the other half makes 0.5 at 1 a day.
    def spring(on: date) -> tuple[float, float]:
        return normal(6.0 if on < when(21) else 12.0)(on)

    quick = course(days=warm(12.0), normal_temps=spring, by_warmth=True)
    assert [position(quick, n) for n in (10, 11, 12)] == approx([19, 20.5, 21.5], abs=1e-6)


def test_without_a_base_temperature_the_stages_go_by_days_and_say_so() -> None:
    plain = course(
        replace(LETTUCE, gdd_base_c=None), days=warm(12.0), normal_temps=normal(8.0), by_warmth=True
    )
    assert position(plain, 60) == 60
    assert "no base temperature" in say(plain.remarks[0], us=False)


def test_in_an_ordinary_year_warmth_and_date_agree() -> None:
    usual = course(days=warm(8.0), normal_temps=normal(8.0), by_warmth=True)
    assert [position(usual, n) for n in range(1, 121)] == approx(range(1, 121), abs=1e-4)
    assert [usual.on(when(n)).stage for n in (20, 21, 50, 51, 65, 66)] == [
        *("initial", "development", "development", "mid", "mid", "late")
    ]


def test_a_day_without_temperatures_counts_as_one() -> None:
    gap = warm(12.0)
    del gap[when(3)]
    gap[when(4)] = day(3)  # weather, but no temperatures
    quick = course(days=gap, normal_temps=normal(8.0), by_warmth=True)
    # WORKED: a warm day counts 12/8 = 1.5, a day without temperatures 1.
    assert [position(quick, n) for n in (2, 3, 4, 5)] == approx([2.5, 3.5, 4.5, 6.0], abs=1e-6)


def test_frost_holds_the_course() -> None:
    cold = course(days=warm(-10.0), normal_temps=normal(8.0), by_warmth=True)
    assert position(cold, 40) == 1.0


@pytest.mark.parametrize(
    ("crop", "normal_temps", "told"),
    [
        (LETTUCE, None, "neither its stages_warmth nor the garden's normal temperatures"),
        (LETTUCE, lambda _: None, "less than 1 degree day"),
        (LETTUCE, normal(0.5), "less than 1 degree day over 4.4 °C"),
    ],
)
def test_without_a_measure_the_stages_go_by_days_and_say_so(
    crop: Crop, normal_temps: Any, told: str
) -> None:
    plain = course(crop, days=warm(12.0), normal_temps=normal_temps, by_warmth=True)
    assert [position(plain, n) for n in (2, 60)] == [2, 60]
    assert len(plain.remarks) == 1
    assert told in say(plain.remarks[0], us=False)


def test_a_stage_goes_by_warmth_from_one_degree_day_a_day_on_and_the_others_are_named() -> None:
    # WORKED: 20 degree days for 20 days are just one a day: at 2 a day it goes twice as fast.
    just = course(days=warm(2.0), by_warmth=True, stage_warmth=(20.0, 29.0, 15.0, 10.0))
    assert [position(just, n) for n in (1, 2, 3)] == [1, 3, 5]
    (words,) = said(just.remarks)
    assert "its development stage goes by days: an ordinary day there has less than" in words
    two = course(days=warm(2.0), by_warmth=True, stage_warmth=(19.0, 29.0, 15.0, 10.0))
    assert "its initial and development stages go by days: an ordinary" in say(
        two.remarks[0], us=False
    )
    assert [position(two, n) for n in (1, 2, 3)] == [1, 2, 3]


# Observations


@pytest.mark.parametrize(
    ("event", "first", "stage"),
    [("spreading", 21, "development"), ("full", 51, "mid"), ("ripening", 66, "late")],
)
def test_what_was_seen_puts_the_plants_at_the_first_day_of_that_stage(
    event: str, first: float, stage: str
) -> None:
    plain, seen = course(), course(LETTUCE, noted(event, 30))
    assert (position(seen, 30), seen.on(when(30)).stage) == (first, stage)
    assert (position(seen, 29), position(seen, 31)) == (29, first + 1)
    assert all(position(seen, n) == position(plain, n) for n in range(1, 30))
    assert seen.on(when(30)).day_of_planting == 30


def test_each_of_several_observations_holds_from_its_day_on() -> None:
    seen = course(LETTUCE, noted("full", 44), noted("spreading", 15), noted("ripening", 70))
    assert [position(seen, n) for n in (14, 15, 43, 44, 69, 70)] == [14, 21, 49, 51, 76, 66]
    assert seen.remarks == ()


def test_what_was_seen_on_one_day_counts_in_the_order_of_growth() -> None:
    seen = course(LETTUCE, noted("full", 44), noted("spreading", 44))
    assert (position(seen, 44), seen.remarks) == (51, ())


def test_by_warmth_the_course_goes_on_from_what_was_seen() -> None:
    # WORKED: day 10 is put at 21; 1.5 a day from there.
    quick = course(
        LETTUCE, noted("spreading", 10), days=warm(12.0), normal_temps=normal(8.0), by_warmth=True
    )
    assert [position(quick, n) for n in (9, 10, 12)] == approx([13, 21, 24], abs=1e-6)


def test_roots_and_height_do_not_shrink_when_the_course_is_set_back() -> None:
    back = course(LETTUCE, noted("spreading", 45))
    days = [
        crop_on(LETTUCE, back.on(when(n)), supported=False, wind_2m_m_s=2, rh_min_pct=45)
        for n in range(1, 121)
    ]
    for figure in ("root_depth_m", "height_m", "grown"):
        run = [getattr(each, figure) for each in days]
        assert run == sorted(run)
        assert run[43] == run[44] == run[67] < run[69]  # they wait until the curve has caught up
    assert days[44].kc < days[43].kc


def test_the_day_that_plants_were_lifted_is_their_last() -> None:
    gone = course(LETTUCE, noted("gone", 61))
    assert (gone.ends, course().ends) == (when(61), when(120))
    assert gone.on(when(61)) == course().on(when(61))
    with pytest.raises(OutOfRange):
        gone.on(when(62))


@pytest.mark.parametrize(
    ("events", "told"),
    [
        ([("full", 121)], '"full" noted for 2031-07-30 does not count: the planting is in the'),
        ([("full", 0)], "the planting is in the ground from 2031-04-01 to 2031-07-29"),
        ([("full", 40), ("spreading", 50)], '"full" was noted for 2031-05-10 already'),
        ([("full", 40), ("full", 50)], '"full" was noted for 2031-05-10 already'),
        (
            [("gone", 40), ("ripening", 50)],
            "the planting is in the ground from 2031-04-01 to 2031-05-10",
        ),
        ([("up", 5)], "set out as plants, not sown"),
        ([("wilted", 5)], "no planting can show that"),
    ],
)
def test_what_makes_no_sense_is_left_aside_and_told(
    events: list[tuple[str, int]], told: str
) -> None:
    kept = [noted(*each) for each in events[:-1]]
    found, without = course(LETTUCE, *kept, noted(*events[-1])), course(LETTUCE, *kept)
    assert len(found.remarks) == 1
    assert told in say(found.remarks[0], us=False)
    assert found.ends == without.ends
    assert all(found.on(when(n)) == without.on(when(n)) for n in range(1, 41))


# Seedbeds and settling in


def test_a_seedbed_lasts_until_the_table_has_plants_up() -> None:
    # PRINTED, germination table: lettuce 4 days in soil of 15 °C; April's sun adds 1 °C to the
    # air's 14, and 1.3 is the garden row's: 5.2, so up after six days.
    sown = course(days=warm(14.0, base_c=0.0), transplanted=False)
    assert sown.emerges == when(7)
    assert [sown.on(when(n)).phase for n in (1, 6, 7, 30)] == ["seedbed", "seedbed", "", ""]


def test_plants_seen_earlier_or_later_than_the_table_says_end_the_seedbed_then() -> None:
    for number in (3, 9):
        seen = course(LETTUCE, noted("up", number), days=warm(15.0, base_c=0.0), transplanted=False)
        assert seen.emerges == when(number)
        assert seen.on(when(number - 1)).phase == "seedbed"
        assert seen.on(when(number)).phase == ""
        # The table counts from sowing, with the 4 days of an ordinary emergence in it.
        assert position(seen, number) == 5
        assert position(seen, number + 10) == 15


def test_a_late_emergence_moves_all_that_follows_and_no_seedbed_is_in_development() -> None:
    """The reported fault: at once "seedbed" and "development", with roots of 0.44 m."""
    bean = load().crop("bush bean")
    start = when(1)
    late = course(bean, noted("up", 41), days=warm(12.0, base_c=0.0), transplanted=False)
    below = [late.on(start + timedelta(days=n)) for n in range(40)]
    assert {(at.phase, at.stage) for at in below} == {("seedbed", "initial")}
    first_roots_m = [
        crop_on(bean, at, supported=False, wind_2m_m_s=2.0, rh_min_pct=45.0).root_depth_m
        for at in below
    ]
    assert max(first_roots_m) == FIRST_ROOTS_M
    # PRINTED, germination table: bean 16 days in soil of 15 °C; ours are at most 14.
    assert position(late, 41) == 15
    # WORKED: up 26 days later than the 15th, so each stage begins 26 days later.
    plain = course(bean, noted("up", 15), days=warm(12.0, base_c=0.0), transplanted=False)
    assert [late.on(when(n + 26)).stage for n in range(16, 60)] == [
        plain.on(when(n)).stage for n in range(16, 60)
    ]


def test_by_warmth_too_it_begins_where_its_table_has_it_up() -> None:
    cold_then_warm = {
        **warm(4.0, base_c=0.0, length=30),
        **{when(n): warm(18.0, base_c=0.0, length=90)[when(n)] for n in range(31, 91)},
    }
    seen = course(LETTUCE, noted("up", 31), days=cold_then_warm, transplanted=False, by_warmth=True)
    assert seen.on(when(30)).position <= 5.0
    assert position(seen, 31) == 5.0
    assert position(seen, 32) > 5.0


def test_ordinary_emergence_is_the_table_s_in_soil_of_15_degrees_or_the_next_that_will_do() -> None:
    # PRINTED, germination table: carrot 10 days in 15 °C; melon does not come up in less than 20.
    assert ordinary_emergence_days(load().crop("carrot")) == approx(10.0)
    assert ordinary_emergence_days(load().crop("melon")) == approx(8.0)
    assert ordinary_emergence_days(load().crop("pepper")) == USUAL_EMERGENCE_DAYS  # 25 days
    assert ordinary_emergence_days(load().crop("leek")) <= USUAL_EMERGENCE_DAYS


def test_plants_that_spread_have_come_up() -> None:
    seen = course(LETTUCE, noted("spreading", 12), days=warm(1.0, base_c=0.0), transplanted=False)
    assert seen.emerges == when(12)


def test_a_seedbed_too_cold_ends_after_75_days_and_asks_for_a_look() -> None:
    sown = course(days=warm(0.0, base_c=0.0), transplanted=False)
    assert sown.emerges == when(76)
    assert 'note "up" if it is' in say(sown.remarks[0], us=False)
    early = course(days=warm(0.0, base_c=0.0, length=20), transplanted=False)
    assert early.remarks == ()  # nobody knows yet


def test_what_was_set_out_settles_in_for_a_week() -> None:
    plain = course()
    assert plain.emerges is None
    assert [plain.on(when(n)).phase for n in (1, 7, 8)] == ["settling", "settling", ""]
    planting = planted("lettuce", 0, 60)
    assert Course(LETTUCE, planting, {}, settling_days=0).on(when(1)).phase == ""


def test_a_perennial_settles_in_for_its_own_days_on_the_roots_it_was_set_out_with() -> None:
    strawberry = load().crop("strawberry")
    assert strawberry.first_years is not None
    moist, roots_m = strawberry.first_years.moist_days, strawberry.first_years.roots_m
    young = course(strawberry, years_before=0)
    assert young.on(when(1)).settling == Settling(
        days_left=moist, at_most_days_between=3, roots_m=min(roots_m, strawberry.root_min_m)
    )
    last = young.on(when(moist)).settling
    assert last is not None and last.days_left == 1
    assert young.on(when(moist + 1)).settling is None
    assert course(strawberry, years_before=1).on(when(1)).settling is None
    # Roots end where the crop's do.
    shallow = replace(strawberry, root_min_m=0.5 * roots_m)
    on_first = course(shallow, years_before=0).on(when(1)).settling
    assert on_first is not None and on_first.roots_m == 0.5 * roots_m


def test_established_plants_neither_come_up_nor_settle() -> None:
    grape = course(load().crop("grape"), years_before=None)
    assert grape.emerges is None
    assert grape.on(when(1)).phase == ""


# The end of watering


def test_onions_are_stopped_only_when_their_tops_were_seen_to_fall() -> None:
    unseen = course(ONION, length=160)
    assert not any(unseen.on(when(n)).stopped for n in range(1, 161))
    seen = course(ONION, noted("tops fallen", 118), length=160)
    assert [seen.on(when(n)).stopped for n in (117, 118, 160)] == [False, True, True]
    assert [seen.on(when(n)).phase for n in (117, 118)] == ["", "dry-down"]


@pytest.mark.parametrize("name", ["onion dry", "garlic", "potato"])
def test_yellow_lower_leaves_stop_no_water_and_long_before_the_late_stage_move_nothing(
    name: str,
) -> None:
    # The lowest leaves of garlic go from the start of bulbing on, four to six weeks before lifting,
    # when it asks for most (from memory).
    crop = load().crop(name)
    late = sum(crop.stage_days[:3]) + 1
    plain = course(crop, length=late + 40)
    for number, first in ((late - 22, late - 22), (late - 21, late), (late + 9, late)):
        seen = course(crop, noted("ripening", number), length=late + 40)
        assert position(seen, number) == first
        assert not any(seen.on(when(n)).stopped for n in range(1, late + 41))
    early = course(crop, noted("ripening", late - 22), length=late + 40)
    assert all(early.on(when(n)) == plain.on(when(n)) for n in range(1, late + 41))


def test_fallen_tops_go_on_from_the_yellow_leaves_before_them() -> None:
    seen = course(ONION, noted("ripening", 105), noted("tops fallen", 117), length=160)
    assert [position(seen, n) for n in (105, 116, 117)] == [111, 122, 123]


def test_onions_late_by_the_calendar_ask_for_a_look() -> None:
    def remarks(known: int, *events: Observation) -> Any:
        found = course(ONION, *events, days=warm(10.0, length=known), length=160)
        return said(found.remarks)

    assert remarks(110) == ()  # the weather is known to day 110, the last of the mid-season
    assert 'note "tops fallen"' in remarks(111)[0]
    assert "yellow leaves were noted" in remarks(118, noted("ripening", 115))[0]
    assert remarks(118, noted("tops fallen", 115)) == ()


# Picking


TOMATO = load().crop("tomato")


def test_a_first_ripe_fruit_is_not_the_end_of_the_mid_season() -> None:
    # The rule after FAO-56, chapter 6: mid-season lasts to the start of maturity, shown by leaves.
    length = sum(TOMATO.stage_days) + 60
    plain, seen = (course(TOMATO, *e, length=length) for e in ((), [noted("first ripe", 75)]))
    assert all(seen.on(when(n)) == plain.on(when(n)) for n in range(1, length + 1))
    # WORKED: the late stage must begin its own length before the last day.
    ends = length - TOMATO.stage_days[3]
    assert [seen.on(when(n)).stage for n in (ends, ends + 1)] == ["mid", "late"]
    assert seen.remarks == ()


@pytest.mark.parametrize("event", ["ripening", "last picking"])
def test_picking_is_over_when_a_person_says_so(event: str) -> None:
    day, length = sum(TOMATO.stage_days[:3]) + 11, sum(TOMATO.stage_days) + 90
    seen = course(TOMATO, noted("first ripe", 75), noted(event, day), length=length)
    assert [seen.on(when(n)).stage for n in (day - 1, day, day + 1)] == ["mid", "late", "late"]
    late = length - TOMATO.stage_days[3]
    assert [position(seen, n) for n in (day, day + 1)] == [late + 1, late + 2]


def test_a_first_fruit_may_be_noted_before_or_after_anything_else() -> None:
    seen = course(TOMATO, noted("ripening", 100), noted("first ripe", 105), noted("gone", 110))
    assert seen.remarks == ()
    again = course(TOMATO, noted("first ripe", 100), noted("first ripe", 105))
    assert '"first ripe" was noted for' in say(again.remarks[0], us=False)


def test_picking_moves_no_perennial_and_no_crop_left_to_dry() -> None:
    for crop in CROPS:
        if not (crop.perennial or crop.dry_down):
            continue
        plain, seen = course(crop), course(crop, noted("first ripe", 30))
        assert all(seen.on(when(n)) == plain.on(when(n)) for n in range(1, 121))
        if crop.perennial:
            last = course(crop, noted("last picking", 60))
            assert all(last.on(when(n)) == plain.on(when(n)) for n in range(1, 121))


def test_lifted_in_an_older_logbook_ends_no_perennial() -> None:
    # "harvested" was written down as "lifted" then.
    strawberry = course(load().crop("strawberry"), noted("lifted", 60))
    assert strawberry.ends == when(120)
    assert 'if the plants are gone, note "gone"' in say(strawberry.remarks[0], us=False)
    assert course(load().crop("strawberry"), noted("gone", 60)).ends == when(60)
    assert course(LETTUCE, noted("lifted", 61)).ends == when(61)


def test_dry_beans_get_nothing_in_the_last_half_of_their_late_stage() -> None:
    # FAO-56, annex 8. WORKED: days 91 to 110 are late; the last half are 101 to 110.
    plain = course(BEAN)
    assert [plain.on(when(n)).stopped for n in (91, 100, 101, 120)] == [False, False, True, True]
    assert plain.on(when(101)).phase == "dry-down"
    early = course(BEAN, noted("ripening", 80))
    assert [early.on(when(n)).stopped for n in (89, 90)] == [False, True]


def test_other_crops_are_watered_to_their_last_day() -> None:
    for crop in CROPS:
        if not crop.dry_down:
            assert not course(crop, noted("ripening", 110)).on(when(120)).stopped


# Perennials


GRAPE = load().crop("grape")
STANDING = Planting(crop="grape", start=date(2030, 3, 15), until=date(2035, 12, 31))


def test_a_perennial_begins_again_each_year() -> None:
    course_ = Course(GRAPE, STANDING, {})
    for at, number in [
        (date(2031, 3, 14), 365),
        (date(2031, 3, 15), 1),
        (date(2032, 3, 14), 366),
        (date(2033, 1, 1), 293),
    ]:
        found = course_.on(at)
        assert (found.day_of_planting, found.position) == (number, number)


def test_a_perennial_of_29_february_begins_again_on_the_28th() -> None:
    standing = Planting(crop="grape", start=date(2032, 2, 29), until=date(2037, 12, 31))
    course_ = Course(GRAPE, standing, {})
    for at, number in [
        (date(2033, 2, 27), 365),
        (date(2033, 2, 28), 1),
        (date(2032, 2, 29), 1),
        (date(2036, 2, 28), 366),
        (date(2036, 2, 29), 1),
    ]:
        assert course_.on(at).day_of_planting == number


def test_what_was_seen_of_a_perennial_counts_for_its_year() -> None:
    seen = Observation(zone="invented plot", day=date(2031, 5, 1), event="full")
    again = Observation(zone="invented plot", day=date(2032, 5, 20), event="full")
    course_ = Course(GRAPE, STANDING, {}, observations=[again, seen])
    assert course_.remarks == ()
    assert course_.on(date(2031, 5, 1)).position == course_.on(date(2032, 5, 20)).position == 71
    assert course_.on(date(2033, 5, 1)).position == 48


# What holds for any crop


@given(
    crop=st.sampled_from(CROPS),
    seen=st.lists(st.tuples(st.sampled_from(sorted(EVENTS)), st.integers(-5, 130)), max_size=4).map(
        lambda each: [noted(*one) for one in each]
    ),
    more=st.fixed_dictionaries({"transplanted": st.booleans(), "by_warmth": st.booleans()}),
    warmth=st.floats(-5, 25),
    cut=st.integers(1, 120),
)
@settings(max_examples=60)
def test_nothing_seen_changes_the_days_before_it_nor_shrinks_a_plant(
    crop: Crop, seen: Any, more: Any, warmth: float, cut: int
) -> None:
    days = warm(warmth, base_c=0.0)
    full = course(crop, *seen, days=days, normal_temps=normal(10.0, 0.0), **more)
    known = [each for each in seen if each.day <= when(cut)]
    early = course(crop, *known, days=days, normal_temps=normal(10.0, 0.0), **more)
    last = min((full.ends - SPRING).days + 1, cut)
    if early.emerges != full.emerges and early.emerges is not None:
        # Seen up later than it was taken to be: until then it was below ground, and no plant.
        last = min(last, (early.emerges - SPRING).days)
    before = [(full.on(when(n)), early.on(when(n))) for n in range(1, last + 1)]
    assert all(one.position == other.position for one, other in before)
    furthest = [one.furthest for one, _ in before]
    assert furthest == sorted(furthest)
    assert all(one.position <= one.furthest for one, _ in before)


@pytest.mark.benchmark(group="sixty courses")
def test_the_courses_of_a_whole_garden(benchmark: Any) -> None:
    days = warm(9.0)

    def of_sixty() -> None:
        for crop in (CROPS + CROPS)[:60]:
            one = course(
                crop,
                days=days,
                normal_temps=normal(10.0),
                by_warmth=True,
                transplanted=False,
                length=180,
            )
            one.on(when(180))

    benchmark(of_sixty)  # 0.04 s on a small machine with nothing else to do
