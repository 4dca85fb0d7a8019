"""A crop on a given day. The published examples are in tests/published/test_ledger_fao56.py."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.fao56 import mid_and_end
from support.plots import day, planted
from support.tables import CROP_NAMES

from controller.demand.plants.course import Course
from controller.demand.plants.stages import CourseDay, CropDay, climate_shift, crop_on
from controller.errors import OutOfRange
from crops.catalogue import load
from crops.entry import Crop

CROPS = [load().crop(name) for name in CROP_NAMES]
LETTUCE = load().crop("lettuce")  # stages 20/30/15/10; roots 0.3 m
STANDARD = {"wind_2m_m_s": 2.0, "rh_min_pct": 45.0}  # the climate of the table


def on(
    number: int,
    *,
    crop: Crop = LETTUCE,
    climate: Any = STANDARD,
    supported: bool = False,
    **more: Any,
) -> CropDay:
    at = Course(crop, planted(crop.name, 0, 120, **more), {}).on(day(number - 1).day)
    return crop_on(crop, at, supported=supported, **climate)


def at(position: float, *, furthest: float = 0.0, stage: Any = "mid") -> CourseDay:
    return CourseDay(
        stage=stage, position=position, day_of_planting=int(position), furthest=furthest
    )


@pytest.mark.parametrize(
    ("number", "stage"),
    [
        (1, "initial"),
        (20, "initial"),
        (21, "development"),
        (50, "development"),
        (51, "mid"),
        (65, "mid"),
        (66, "late"),
        (75, "late"),
        (120, "late"),
    ],
)
def test_a_stage_ends_on_its_last_day(number: int, stage: str) -> None:
    assert (on(number).stage, on(number).day_of_planting) == (stage, number)


def test_kc_stays_at_its_end_until_the_planting_ends() -> None:
    assert on(75).kc == on(120).kc == approx(LETTUCE.kc_end, abs=1e-9)


def test_kc_is_the_tables_in_the_tables_climate() -> None:
    assert (on(1).kc, on(60).kc) == (LETTUCE.kc_ini, LETTUCE.kc_mid)


def test_stage_lengths_of_the_planting_go_before_the_tables() -> None:
    assert on(11, stage_days=(10, 5, 5, 5)).stage == "development"


def test_between_two_days_of_the_table_the_curve_is_straight() -> None:
    # WORKED, eq. 66: lettuce, half a day after day 20 + 15 = 35: 0.7 + 15.5/30 * 0.3 = 0.855.
    found = crop_on(LETTUCE, at(35.5, stage="development"), supported=False, **STANDARD)
    assert found.kc == approx(0.855, abs=1e-9)
    assert found.kcb == approx(0.15 + 15.5 / 30 * 0.75, abs=1e-9)


def test_roots_start_at_seed_depth_and_are_full_when_mid_season_begins() -> None:
    # WORKED, FAO-56 annex 8, eq. 8-1: 0.20 m through the 20 initial days, then in step with Kcb to
    # 0.30 m after 30 more: on day 35 half the way, as Kcb is.
    assert on(1).root_depth_m == on(20).root_depth_m == approx(0.20, abs=1e-9)
    assert on(35).root_depth_m == approx(0.25, abs=1e-9)
    assert on(50).root_depth_m == on(120).root_depth_m == approx(LETTUCE.root_min_m, abs=1e-9)


def test_height_grows_evenly_from_a_hand_to_full_when_mid_season_begins() -> None:
    # WORKED: a seedling of 0.10 m (our choice); lettuce is 0.3 m high after 50 days: half way on
    # day 26.
    assert LETTUCE.height_m == 0.3
    assert [on(n).height_m for n in (1, 26, 51, 120)] == approx([0.1, 0.2, 0.3, 0.3])
    assert on(1).full_height_m == 0.3 and on(1).kcb_mid == LETTUCE.kcb_mid
    low = replace(LETTUCE, height_m=0.06)
    assert [on(n, crop=low).height_m for n in (1, 120)] == approx([0.06, 0.06])


def test_young_perennials_stand_as_high_as_the_fourth_root_of_their_cover() -> None:
    # WORKED: asparagus shades 0.15 of 0.8 in its first year: 0.1875^0.25 is 0.658 of its height.
    asparagus = load().crop("asparagus")
    first = replace(at(30.0), year=1)
    found = crop_on(asparagus, first, supported=False, **STANDARD)
    assert found.full_height_m == approx(0.658 * asparagus.height_m, abs=5e-4)


def test_roots_of_young_perennials_reach_aside_from_their_second_year_on() -> None:
    # WORKED: asparagus takes three years: none aside in the first, half way after the second.
    asparagus = load().crop("asparagus")

    def rooted(year: int, position: float = 1.0) -> float:
        young = replace(at(position), year=year)
        return crop_on(asparagus, young, supported=False, **STANDARD).rooted

    last = float(sum(asparagus.stage_days)) + 1.0
    assert [rooted(1), rooted(1, last), rooted(2)] == [0.0, 0.0, 0.0]
    assert [rooted(2, last), rooted(3), rooted(3, last)] == approx([0.5, 0.5, 1.0])


def test_established_plants_have_their_roots_from_the_first_day() -> None:
    asparagus = load().crop("asparagus")
    assert on(1, crop=asparagus, years_before=None).root_depth_m == asparagus.root_min_m


def test_what_has_grown_stays_when_the_curve_is_set_back() -> None:
    young = crop_on(LETTUCE, at(21.0, stage="development"), supported=False, **STANDARD)
    back = crop_on(
        LETTUCE, at(21.0, furthest=60.0, stage="development"), supported=False, **STANDARD
    )
    assert (back.kc, back.kcb) == (young.kc, young.kcb)
    assert (back.root_depth_m, back.height_m, back.grown) == (0.3, LETTUCE.height_m, 1.0)
    assert young.grown == approx(20 / 50, abs=1e-9)


# PRINTED, FAO-56 tables 12 and 17, footnote 2: Kc mid, Kcb mid of plants on 1.5-2 m supports.
@pytest.mark.parametrize(
    ("name", "kc", "kcb"),
    [
        ("green bean", 1.15, 1.10),
        ("pepper", 1.15, 1.10),
        ("cucumber", 1.15, 1.10),
        ("tomato", 1.20, 1.15),
        ("dry bean", 1.20, 1.15),
        ("pea", 1.20, 1.15),
    ],
)
def test_plants_on_supports_use_more_and_stand_higher(name: str, kc: float, kcb: float) -> None:
    crop = load().crop(name)
    mid_day = sum(crop.stage_days[:2]) + 1
    found, plain = (on(mid_day, crop=crop, supported=yes) for yes in (True, False))
    assert (found.kc, found.kcb) == (approx(kc, abs=1e-9), approx(kcb, abs=1e-9))
    assert 1.5 - 1e-9 <= found.height_m <= 2.0
    assert (plain.kc, plain.height_m) == (crop.kc_mid, approx(crop.height_m, abs=1e-9))


def test_the_wind_takes_plants_on_supports_at_their_own_height() -> None:
    # WORKED, eq. 62: tomato 1.8 m high on supports, wind 4 m/s: 1.20 + 0.08 (1.8/3)^0.3 = 1.2686.
    windy = {"wind_2m_m_s": 4.0, "rh_min_pct": 45.0}
    found = on(80, crop=load().crop("tomato"), climate=windy, supported=True)
    assert found.kc == approx(1.20 + 0.08 * 0.6**0.3, abs=1e-9)


def test_supports_change_nothing_where_no_table_has_a_figure_for_them() -> None:
    assert on(60, supported=True) == on(60)


def test_wind_and_dry_air_raise_kc_only_from_the_development_stage_on() -> None:
    windy = {"wind_2m_m_s": 5.0, "rh_min_pct": 25.0}
    assert on(20, climate=windy).kc == on(20).kc
    assert all(on(number, climate=windy).kc > on(number).kc for number in (21, 50, 60, 75))


def test_an_end_under_045_feels_no_wind() -> None:
    windy = {"wind_2m_m_s": 5.0, "rh_min_pct": 25.0}
    for name in ("kc_end", "kcb_end"):
        low, high = (mid_and_end(height_m=0.4, **windy, **{name: end})[1] for end in (0.44, 0.45))
        figure = name.removesuffix("_end")
        assert getattr(low, figure) == approx(0.44, abs=1e-12)
        assert getattr(high, figure) > 0.45 + 0.05
    bean = load().crop("dry bean")
    assert on(110, crop=bean, climate=windy).kc == approx(bean.kc_end, abs=1e-9)
    assert on(110, crop=bean, climate=windy).kcb == approx(bean.kcb_end, abs=1e-9)


def test_wind_moves_kcb_by_as_much_as_kc() -> None:
    windy = {"wind_2m_m_s": 5.0, "rh_min_pct": 25.0}
    blown, calm = on(60, climate=windy), on(60)
    assert blown.kcb - calm.kcb == approx(blown.kc - calm.kc, abs=1e-9)
    assert blown.kcb - calm.kcb > 0.05


# FAO-56, eq. 62: for 1 to 6 m/s, 20 to 80 %, 0.1 to 10 m.
@pytest.mark.parametrize(
    ("outside", "limit"),
    [
        ((0.2, 45, 1), (1, 45, 1)),
        ((9, 45, 1), (6, 45, 1)),
        ((2, 5, 1), (2, 20, 1)),
        ((2, 99, 1), (2, 80, 1)),
        ((4, 30, 14), (4, 30, 10)),
    ],
)
def test_the_climate_counts_only_within_the_limits_of_the_equation(
    outside: tuple[float, float, float], limit: tuple[float, float, float]
) -> None:
    names = ("wind_2m_m_s", "rh_min_pct", "height_m")
    beyond, at = (dict(zip(names, values, strict=True)) for values in (outside, limit))
    assert climate_shift(**beyond) == climate_shift(**at)


def test_plants_lower_than_a_hand_feel_no_climate() -> None:
    assert climate_shift(wind_2m_m_s=5, rh_min_pct=25, height_m=0.09) == 0.0


@pytest.mark.parametrize("wrong", [{"wind_2m_m_s": float("nan")}, {"rh_min_pct": 101.0}])
def test_impossible_weather_is_refused(wrong: dict[str, Any] | dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        on(60, climate={**STANDARD, **wrong})


@given(
    crop=st.sampled_from(CROPS),
    length=st.integers(1, 500),
    stage_days=st.none() | st.tuples(*[st.integers(0, 90)] * 4).filter(any),
    wind=st.floats(0, 15),
    humidity=st.floats(0, 100),
    supported=st.booleans(),
)
def test_a_crop_grows_and_stays_within_its_figures(
    crop: Crop, length: int, stage_days: Any, wind: float, humidity: float, supported: bool
) -> None:
    planting = planted(crop.name, 0, length, stage_days=stage_days)
    course = Course(crop, planting, {})
    # Past one year a perennial begins again, so only the first year must grow without a step back.
    season = [
        crop_on(
            crop,
            course.on(planting.start + timedelta(days=number)),
            supported=supported,
            wind_2m_m_s=wind,
            rh_min_pct=humidity,
        )
        for number in range(0, min(length, 365), 7)
    ]
    roots = [each.root_depth_m for each in season]
    assert roots == sorted(roots)
    assert all(0.05 <= each <= crop.root_min_m + 1e-9 for each in roots)
    highest_kc = max(crop.kc_ini, crop.kc_mid, crop.kc_end, crop.kc_mid_supported or 0.0)
    tallest_m = max(crop.height_m, crop.height_supported_m or 0.0)
    highest_kc += 0.26 * max(tallest_m / 3, 0.01) ** 0.3
    assert all(0.0 <= each.kc <= highest_kc + 1e-9 for each in season)
    assert all(0.0 <= each.kcb <= highest_kc + 1e-9 for each in season)
    assert all(0.0 < each.height_m <= tallest_m + 1e-9 for each in season)
