"""The ledger: no water made or lost. Published examples: tests/published/test_ledger_fao56.py."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.plots import day, days, ground, ledger_over, planted, plot
from support.tables import CROP_NAMES, SOIL_NAMES

from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil.daily_balance import bucket_day
from controller.demand.soil.ground import Season, parts_of
from controller.demand.soil.water_balance import advance, corrected_by_reading
from controller.errors import OutOfRange
from controller.garden.model import Coefficients, Zone
from controller.garden.plumbing import Drilling, Face, Row
from controller.hydraulics.physics.pipe import PIPES
from crops.catalogue import load
from crops.entry import Soil

CATALOGUE = load()
CROPS = CATALOGUE.crop
LOAM = CATALOGUE.soil("loam")  # 0.26 / 0.12; TEW 20, REW 9

depth = st.floats(0, 60)
rain = st.none() | st.just(0.0) | st.floats(0, 2) | st.floats(0, 80)


@st.composite
def plots(draw: st.DrawFn) -> Zone:
    """A zone with up to three plantings one after the other, with or without bare days between."""
    plantings, first = [], draw(st.integers(-40, 20))
    for _ in range(draw(st.integers(0, 3))):
        length = draw(st.integers(1, 50))
        plantings.append(planted(draw(st.sampled_from(CROP_NAMES)), first, length))
        first += length + draw(st.integers(0, 15))
    return plot(
        *plantings,
        rooting_limit_m=draw(st.none() | st.floats(0.1, 1.0)),
        mulch=draw(st.sampled_from(["none", "straw", "plastic"])),
        mulch_cover=draw(st.floats(0, 1)),
        exposure=draw(st.floats(0.5, 2.5)),
        holds_rain=draw(st.booleans()),
    )


@st.composite
def seasons(draw: st.DrawFn, coefficients: Sequence[Coefficients] = tuple(Coefficients)) -> Any:
    """A ground of either kind of coefficient, its weather and its watering."""
    weather = draw(
        st.lists(st.tuples(st.floats(0, 14), rain, st.floats(0, 30)), min_size=1, max_size=70)
    )
    run = days([(eto, rained) for eto, rained, _ in weather])
    watered = {today.day: mm for today, (_, _, mm) in zip(run, weather, strict=True) if mm > 15}
    part = ground(
        draw(plots()),
        CATALOGUE.soil(draw(st.sampled_from(SOIL_NAMES))),
        CROPS,
        run,
        coefficients=draw(st.sampled_from(coefficients)),
        line_fraction=draw(st.floats(0.01, 1)),
        under_canopy=draw(st.booleans()),
    )
    return part, run, watered


def left_over(found: LedgerDay) -> float:
    """What the day's identity does not account for: nothing, if no water is made or lost."""
    return found.depletion_mm - (
        found.start_depletion_mm
        - (found.rain_mm - found.rain_unused_mm - found.runoff_mm)
        - found.watered_mm
        + found.used_mm
        + found.drained_mm
        + found.handed_over_mm
    )


def one_day(
    previous: LedgerDay | None = None,
    *,
    zone: Zone,
    soil: Soil = LOAM,
    watered_mm: float = 0.0,
    number: int = 0,
    **weather: Any,
) -> LedgerDay:
    today = day(number, **weather)
    return advance(
        previous, part=ground(zone, soil, CROPS, [today]), today=today, watered_mm=watered_mm
    )


def test_what_film_sheds_enters_neither_store_nor_either_surface() -> None:
    leek = planted("leek", 0, 100)
    dry = [(5.0, 0.0)] * 12
    under = {
        share: ledger_over(
            ground(
                plot(leek, mulch="plastic", mulch_cover=0.5, mulch_rain=share, holds_rain=True),
                LOAM, CROPS, days([*dry, (0.0, 6.0)]), line_fraction=0.4,
                coefficients=Coefficients.DUAL,
            ),
            days([*dry, (0.0, 6.0)]),
            {},
        )
        for share in (1.0, 0.25)
    }  # fmt: skip
    before, (all_in, some) = under[1.0][-2], (under[share][-1] for share in (1.0, 0.25))
    assert before == under[0.25][-2]
    # WORKED: a quarter of 6 mm is 1.5; what is shed, 4.5 mm, is run off.
    assert (all_in.runoff_mm, some.runoff_mm) == (0.0, approx(4.5))
    assert left_over(some) == approx(0.0, abs=1e-9)
    for store in (
        "wet_depletion_mm", "rest_depletion_mm", "surface_depletion_mm",
        "rest_surface_depletion_mm",
    ):  # fmt: skip
        was = getattr(before, store)
        assert was > 6.0
        # A surface lacks no more than its root zone, which may hold a little more.
        slack = 0.1 if "surface" in store else 1e-9
        assert getattr(all_in, store) == approx(was - 6.0, abs=slack)
        assert getattr(some, store) == approx(was - 1.5, abs=slack)


def over(
    zone: Zone, run: list[DayInput], watered: dict[date, float] | None = None
) -> list[LedgerDay]:
    return ledger_over(ground(zone, LOAM, CROPS, run), run, watered or {})


@given(season=seasons())
@settings(max_examples=150)
def test_every_day_closes_and_hands_its_depletion_to_the_next(season: Any) -> None:
    part, run, watered = season
    ledger = ledger_over(part, run, watered)
    assert [found.day for found in ledger] == [today.day for today in run]
    for found in ledger:
        assert left_over(found) == approx(0.0, abs=1e-9)
        assert 0.0 <= found.depletion_mm <= found.taw_mm
        assert 0.0 <= found.raw_mm <= found.taw_mm
        assert 0.0 <= found.used_mm <= found.etc_mm + 1e-12
        assert 0.0 <= found.stress <= 1.0
        assert found.drained_mm >= 0.0
    for before, after in pairwise(ledger):
        assert after.start_depletion_mm == before.depletion_mm


@given(season=seasons(), moisture=st.floats(0, 0.6))
@settings(max_examples=50)
def test_a_day_that_starts_anew_from_a_reading_closes_too(season: Any, moisture: float) -> None:
    part, run, watered = season
    was = ledger_over(part, run, watered)[-1]
    now = corrected_by_reading(was, moisture=moisture, field_capacity=part.soil.field_capacity)
    assert left_over(now) == approx(0.0, abs=1e-9)
    assert 0.0 <= now.wet_depletion_mm <= now.taw_mm
    assert 0.0 <= now.surface_depletion_mm <= was.surface_depletion_mm
    wet = now.wetted_fraction
    together = wet * now.wet_depletion_mm + (1.0 - wet) * now.rest_depletion_mm
    assert now.depletion_mm == approx(together, abs=1e-9)
    if was.crop is None:
        assert now == was
    else:
        # FAO-56 (1998), eq. 87.
        missing = 1000.0 * (part.soil.field_capacity - moisture) * now.root_depth_m
        assert now.wet_depletion_mm == approx(min(max(missing, 0.0), now.taw_mm))


@given(season=seasons())
@settings(max_examples=50)
def test_a_whole_season_closes(season: Any) -> None:
    part, run, watered = season
    ledger = ledger_over(part, run, watered)
    came = sum(
        found.rain_mm - found.rain_unused_mm - found.runoff_mm + found.watered_mm
        for found in ledger
    )
    went = sum(found.used_mm + found.drained_mm + found.handed_over_mm for found in ledger)
    assert ledger[0].start_depletion_mm + went - came == approx(ledger[-1].depletion_mm, abs=1e-8)
    assert sum(found.watered_mm for found in ledger) == approx(sum(watered.values()), abs=1e-9)


@given(season=seasons())
@settings(max_examples=50)
def test_no_day_holds_a_figure_that_is_no_number(season: Any) -> None:
    part, run, watered = season
    for found in ledger_over(part, run, watered):
        for column in fields(found):
            value = getattr(found, column.name)
            assert not isinstance(value, float) or math.isfinite(value), column.name


@given(
    season=seasons(coefficients=[Coefficients.SINGLE]),
    more=st.lists(st.floats(0, 40), min_size=70, max_size=70),
)
@settings(max_examples=150)
def test_more_rain_never_leaves_the_soil_drier(season: Any, more: Any) -> None:
    part, run, watered = season
    wetter = [
        today if today.rain_mm is None else replace(today, rain_mm=today.rain_mm + extra)
        for today, extra in zip(run, more, strict=False)
    ]
    dry = ledger_over(part, run, watered)
    wet = ledger_over(part, wetter, watered)
    for with_less, with_more in zip(dry, wet, strict=True):
        assert with_more.depletion_mm <= with_less.depletion_mm + 1e-9


@given(season=seasons(), split=st.integers(0, 70))
@settings(max_examples=30)
def test_yesterdays_ledger_is_all_that_today_needs(season: Any, split: int) -> None:
    part, run, watered = season
    whole = ledger_over(part, run, watered)
    first = ledger_over(part, run[:split], watered)
    last = first[-1] if first else None
    rest = ledger_over(part, run[split:], watered, last)
    assert first + rest == whole


@given(
    taw=st.floats(1, 300),
    missing=st.floats(0, 1),
    share=st.floats(0, 1),
    rained=depth,
    watered=depth,
    demand=st.floats(0, 60),
    off=st.floats(0, 1),
)
def test_the_bucket_makes_and_loses_no_water(
    taw: float,
    missing: float,
    share: float,
    rained: float,
    watered: float,
    demand: float,
    off: float,
) -> None:
    start, runoff = missing * taw, off * rained
    found = bucket_day(
        depletion_mm=start,
        taw_mm=taw,
        raw_mm=share * taw,
        entering_mm=rained - runoff + watered,
        demand_mm=demand,
    )
    gained, lost = rained - runoff + watered, found.used_mm + found.drained_mm
    assert gained - lost == approx(start - found.depletion_mm, abs=1e-9)
    assert 0.0 <= found.depletion_mm <= taw
    assert 0.0 <= found.used_mm <= demand


@given(
    taw=st.floats(1, 300),
    share=st.floats(0, 1),
    demand=st.floats(0, 60),
    one=st.floats(0, 1),
    other=st.floats(0, 1),
)
def test_a_drier_morning_never_makes_a_wetter_evening(
    taw: float, share: float, demand: float, one: float, other: float
) -> None:
    # Without the bound on use this fails when the demand is above TAW - RAW.
    rest: dict[str, Any] = {"taw_mm": taw, "raw_mm": share * taw, "entering_mm": 0.0}
    low, high = (
        bucket_day(depletion_mm=missing * taw, demand_mm=demand, **rest).depletion_mm
        for missing in sorted((one, other))
    )
    assert low <= high + 1e-9


def test_water_enters_before_stress_is_judged() -> None:
    # WORKED: 60 of TAW 100 gone, RAW 40; 30 mm of watering leaves 30 gone, so no stress; 5 used.
    found = bucket_day(depletion_mm=60, taw_mm=100, raw_mm=40, entering_mm=30, demand_mm=5)
    assert (found.stress, found.depletion_mm) == (1.0, approx(35.0, abs=1e-9))


def test_the_crop_drinks_before_the_surplus_drains() -> None:
    # WORKED, eq. 88: 10 gone, 14 of rain, 3 used: 14 - 3 - 10 = 1 mm drains, and the soil is full.
    found = bucket_day(depletion_mm=10, taw_mm=100, raw_mm=40, entering_mm=14, demand_mm=3)
    assert (found.drained_mm, found.depletion_mm) == (approx(1.0, abs=1e-9), 0.0)


def test_a_planting_without_a_yesterday_starts_just_watered_in() -> None:
    found = one_day(zone=plot(planted("leek", 0, 100)))
    # WORKED: Kc initial 0.7 on ETo 5 mm is 3.5 mm, from a full root zone.
    assert (found.start_depletion_mm, found.depletion_mm) == (0.0, approx(3.5, abs=1e-9))
    assert (found.account, found.stage, found.day_of_planting) == (
        "leek from 2031-04-01",
        "initial",
        1,
    )


def test_bare_soil_without_a_yesterday_starts_with_its_ready_water_gone() -> None:
    found = one_day(zone=plot())
    assert (found.account, found.crop, found.stage) == ("bare", None, "bare")
    assert (found.start_depletion_mm, found.taw_mm, found.raw_mm) == (9.0, approx(20.0), 9.0)
    # WORKED: Kr = 1 at REW; 1.15 * 5 mm = 5.75 mm.
    assert found.depletion_mm == approx(14.75, abs=1e-9)


def test_bare_soil_is_one_layer_wherever_the_line_wets_it() -> None:
    # WORKED: 14.75 mm as above; 1.15 of 5 mm went, and no plant draws. Then 20 mm of rain: 5.25
    # drain but for the 5.75 that the air takes first.
    first = one_day(zone=plot())
    wet = one_day(first, zone=plot(), number=1, rain_mm=20.5)
    for found, missing in ((first, 14.75), (wet, 0.0)):
        assert [
            found.wet_depletion_mm,
            found.rest_depletion_mm,
            found.surface_depletion_mm,
            found.rest_surface_depletion_mm,
        ] == approx([missing] * 4)
        assert (found.kc, found.ke, found.wet_kc, found.stress) == approx((1.15, 1.15, 1.15, 1.0))
        assert (found.evaporated_mm, found.transpired_mm) == (approx(5.75), 0.0)
        assert (found.day_of_planting, found.root_depth_m) == (0, 0.1)
    assert wet.drained_mm == wet.wet_drained_mm == approx(20.5 - 14.75 - 5.75)
    dry = over(plot(), days([(9.0, 0.0)] * 60))[-1]
    assert dry.ke == dry.wet_kc == approx(dry.stress * 1.15) and dry.stress < 0.01


def test_a_planting_finds_both_surfaces_as_dry_as_the_bare_ground_left_them() -> None:
    run = days([(5.0, 0.0)] * 4)
    ledger = dual(plot(planted("leek", 3, 60)), [*run[:3], day(3, eto_mm=0.0)], line_fraction=0.4)
    bare, leek = ledger[-2:]
    for store in ("surface_depletion_mm", "rest_surface_depletion_mm", "wet_depletion_mm"):
        assert getattr(leek, store) == approx(bare.depletion_mm)


def test_open_to_the_sun_is_what_the_plants_do_not_shade() -> None:
    zone, run = plot(planted("leek", 0, 60)), days([(5.0, 0.0)] * 40)
    found = dual(zone, run, line_fraction=0.4, under_canopy=False)[-1]
    assert found.cover > 0.02 and found.exposed_fraction == approx(1.0 - found.cover)
    assert over(zone, run)[-1].exposed_fraction == 1.0  # the single Kc has it within


def test_plants_shade_their_rows_by_the_ground_that_each_has() -> None:
    # WORKED: discs of 0.4 m at 0.4 m cover pi/4 of lines 0.4 m apart, and half of it at 0.8 m; of
    # 4 and 8 square metres together that is pi/6. 50 plants stand on two rows of 10 m.
    leek = replace(CROPS("leek"), spread_m=0.4)
    rows = tuple(
        Row(
            length_m=10.0, pipe=PIPES["3/4 in"], ground_width_m=width_m,
            drilling=Drilling(bore_m=0.0016, every_m=0.15, first_m=0.07, face=Face.DOWN),
        )
        for width_m in (0.4, 0.8)
    )  # fmt: skip
    zone = replace(plot(planted("leek", 0, 60, spacing_m=0.4)), rows=rows)
    season = Season(crop_for=lambda _: leek, days={})
    (part,) = parts_of(zone, LOAM, season)
    (facts,) = part.plantings
    assert (part.zone, part.ground_m2, facts.plants) == (zone.name, approx(12.0), approx(50.0))
    assert facts.cover_full == approx(math.pi / 6.0)
    unknown = Season(crop_for=lambda _: replace(leek, spread_m=None), days={})  # type: ignore[arg-type]
    assert parts_of(zone, LOAM, unknown)[0].plantings[0].cover_full is None


def test_bare_soil_never_loses_more_than_the_surface_holds() -> None:
    ledger = over(plot(), days([(9.0, 0.0)] * 60))
    # WORKED, FAO-56 (1998), eq. 73: 1000 (0.26 - 0.5 x 0.12) 0.10 = 20 mm.
    assert ledger[-1].depletion_mm == approx(20.0, abs=0.01)
    assert ledger[-1].used_mm < 0.01


def test_a_planting_takes_over_what_the_surface_lacks() -> None:
    ledger = over(plot(planted("leek", 20, 60)), days([(9.0, 0.0)] * 21))
    bare, leek = ledger[-2:]
    # WORKED: TAW at 0.20 m is 28 mm, more than the 20 the surface can lack: nothing handed over.
    assert (leek.taw_mm, leek.handed_over_mm) == (approx(28.0, abs=1e-9), 0.0)
    assert leek.start_depletion_mm == bare.depletion_mm


def test_what_a_smaller_account_cannot_take_over_is_handed_over() -> None:
    zone = plot(planted("tomato", 0, 100))
    ledger = over(zone, days([(8.0, 0.0)] * 101))
    tomato, bare = ledger[-2:]
    assert tomato.depletion_mm > 60
    assert bare.account == "bare"
    assert bare.handed_over_mm == approx(20.0 - tomato.depletion_mm, abs=1e-9)
    assert left_over(bare) == approx(0.0, abs=1e-9)


def test_plantings_follow_each_other_without_a_bare_day() -> None:
    zone = plot(planted("spinach", 0, 40), planted("leek", 40, 60))
    ledger = over(zone, days([(6.0, 0.0)] * 42))
    assert [found.account for found in ledger[38:]] == [
        "spinach from 2031-04-01",
        "spinach from 2031-04-01",
        "leek from 2031-05-11",
        "leek from 2031-05-11",
    ]
    assert ledger[40].day_of_planting == 1
    assert ledger[40].handed_over_mm <= 0.0


def test_roots_reach_soil_that_is_full() -> None:
    zone = plot(planted("tomato", 0, 100))
    ledger = over(zone, days([(5.0, 0.0)] * 60))
    assert ledger[-1].taw_mm > ledger[0].taw_mm
    assert all(found.handed_over_mm == 0.0 for found in ledger)


def test_a_bed_with_a_bottom_stops_the_roots() -> None:
    free = over(plot(planted("tomato", 0, 120)), days([(5.0, 0.0)] * 90))
    zone = plot(planted("tomato", 0, 120), rooting_limit_m=0.3)
    held = over(zone, days([(5.0, 0.0)] * 90))
    assert (free[-1].root_depth_m, held[-1].root_depth_m) == (0.7, 0.3)
    assert held[-1].taw_mm == approx(42.0, abs=1e-9)  # WORKED: 0.14 * 300


def test_a_shallower_bed_hands_over_what_it_no_longer_holds() -> None:
    deep = over(plot(planted("tomato", 0, 120)), days([(7.0, 0.0)] * 80))
    zone = plot(planted("tomato", 0, 120), rooting_limit_m=0.2)
    found = one_day(deep[-1], zone=zone, number=80)
    assert found.handed_over_mm == approx(28.0 - deep[-1].depletion_mm, abs=1e-9)
    assert left_over(found) == approx(0.0, abs=1e-9)


def test_unknown_rain_is_credited_to_nobody_and_the_day_says_so() -> None:
    zone = plot(planted("leek", 0, 100))
    unknown, none = one_day(zone=zone, rain_mm=None), one_day(zone=zone, rain_mm=0.0)
    assert (unknown.rain_known, unknown.rain_mm) == (False, 0.0)
    assert none.rain_known
    assert unknown.depletion_mm == none.depletion_mm


def test_a_sprinkle_stays_on_the_leaves() -> None:
    zone = plot(planted("leek", 0, 100))
    found = one_day(zone=zone, rain_mm=0.9, eto_mm=5.0)
    assert (found.rain_mm, found.rain_unused_mm) == (0.9, 0.9)
    assert found.depletion_mm == one_day(zone=zone, rain_mm=0.0, eto_mm=5.0).depletion_mm


def test_the_readily_available_share_shrinks_on_a_thirsty_day() -> None:
    zone = plot(planted("leek", 0, 100))
    assert one_day(zone=zone, eto_mm=9.0).raw_mm < one_day(zone=zone, eto_mm=3.0).raw_mm


def test_the_readily_available_share_follows_a_week_of_what_plants_draw() -> None:
    # WORKED: leeks' Kc is 0.7 in the initial stage. Of seven days six had 2 mm and the last 9:
    # a mean of 2.1 mm; FAO-56 (1998), Table 22, note 2: p + 0.04 (5 - 2.1).
    zone, share = plot(planted("leek", 0, 100)), CROPS("leek").depletion_fraction
    found = over(zone, days([(8.0, 0.0)] * 4 + [(2.0, 0.0)] * 6 + [(9.0, 0.0)]))[-1]
    assert found.raw_mm / found.taw_mm == approx(share + 0.04 * 2.9)
    # On its third day there are three; what stood there before it is another account's.
    young = over(
        plot(planted("tomato", 0, 20), planted("leek", 20, 60)),
        days([(9.0, 0.0)] * 20 + [(2.0, 0.0)] * 2 + [(5.0, 0.0)]),
    )[-1]
    assert young.raw_mm / young.taw_mm == approx(share + 0.04 * 2.9)  # 0.7 x 9 / 3 is 2.1 too


def test_the_energy_of_wet_ground_goes_by_rain_and_line_from_day_to_day() -> None:
    # WORKED, FAO-56 (1998), chapter 7, on Kc max: an account begins at 1.2, as if dry for long, and
    # rain and line after long gaps leave it so; rain on the day after the line lowers it to 1.1,
    # and a line on the day after that keeps it there.
    zone = plot(planted("leek", 0, 60))
    rained = [0.0, 9.0, 0.0, 0.0, 0.0, 0.0, 0.0, 9.0, 0.0]
    run = days([(4.0, mm) for mm in rained])
    ledger = dual(zone, run, {run[6].day: 5.0, run[8].day: 5.0})
    assert [found.kc_max_base for found in ledger] == approx(
        [1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.1, 1.1]
    )
    assert [found.dry_days for found in ledger] == [5.0, 0.0, 1.0, 2.0, 3.0, 4.0, 0.0, 0.0, 0.0]
    # The base is that of eq. 72: Ke of ground all wet is base - Kcb (0.15), in the tables' air.
    last = dual(zone, run, {run[6].day: 5.0, run[8].day: 5.0}, under_canopy=False)[-1]
    assert last.ke == approx(1.1 - last.kcb, abs=0.02)


def test_water_counts_as_given_and_the_rest_as_passed() -> None:
    zone, today = plot(planted("leek", 0, 60)), day(0, eto_mm=2.0)
    part = ground(zone, LOAM, CROPS, [today])
    found = advance(
        None, part=part, today=today, watered_mm=8.0, stored_mm=5.0, water_from="planned"
    )
    assert (found.watered_mm, found.passed_mm, found.water_from) == (8.0, 3.0, "planned")
    # WORKED: 5 mm less 0.7 x 2 that the crop drinks first drain from a full root zone.
    assert found.drained_mm == approx(3.6)
    dry = advance(None, part=part, today=today, watered_mm=0.0, water_from="planned")
    assert dry.water_from == ""
    for watered, stored, name in (
        (8.0, 8.1, "stored_mm"),
        (8.0, -0.1, "stored_mm"),
        (-1.0, -1.0, "watered_mm"),
        (5000.1, 0.0, "watered_mm"),
    ):
        with pytest.raises(OutOfRange, match=rf"^{name}: "):
            advance(None, part=part, today=today, watered_mm=watered, stored_mm=stored)
    most = advance(None, part=part, today=day(0, eto_mm=50.0), watered_mm=5000.0)
    assert (most.zone, most.watered_mm, most.passed_mm) == ("invented plot", 5000.0, 0.0)
    with pytest.raises(OutOfRange, match=r"^eto_mm: .* 0 to 50$"):
        advance(None, part=part, today=day(0, eto_mm=50.1), watered_mm=0.0)


@pytest.mark.parametrize("number", [0, -1, 2])
def test_a_day_that_does_not_follow_is_refused(number: int) -> None:
    zone = plot(planted("leek", 0, 100))
    first = one_day(zone=zone)
    with pytest.raises(OutOfRange, match="days since the ledger's last day"):
        one_day(first, zone=zone, number=number)


@pytest.mark.parametrize("wrong", [{"eto_mm": math.nan}, {"eto_mm": -1.0}, {"rain_mm": -2.0}])
def test_weather_that_cannot_be_is_refused(wrong: dict[str, Any] | dict[str, float]) -> None:
    for zone in (plot(), plot(planted("leek", 0, 100))):
        with pytest.raises(OutOfRange):
            one_day(zone=zone, **wrong)


def test_doubtful_weather_stays_marked() -> None:
    found = one_day(zone=plot(), measured=False)
    assert (found.measured, found.method) == (False, "given")


@pytest.mark.parametrize("name", CROP_NAMES)
def test_every_crop_lives_through_a_hot_season_that_is_watered_to_full(name: str) -> None:
    # Refilled each morning, no crop of the table is short on sand at 9 mm/day of reference ET.
    found, run = None, [day(number, eto_mm=9.0) for number in range(200)]
    part = ground(plot(planted(name, 0, 200)), CATALOGUE.soil("sand"), CROPS, run)
    for today in run:
        watered_mm = found.depletion_mm if found else 0.0
        found = advance(found, part=part, today=today, watered_mm=watered_mm)
        # WORKED: new grass, 0.1 m of roots, has 7.0 mm on its first day and wants 7.2.
        assert found.stress == 1.0 or found.taw_mm < found.etc_mm, found
        assert found.drained_mm == 0.0


def dual(
    zone: Zone,
    run: list[DayInput],
    watered: dict[date, float] | None = None,
    *,
    soil: Soil = LOAM,
    **facts: Any,
) -> list[LedgerDay]:
    part = ground(zone, soil, CROPS, run, coefficients=Coefficients.DUAL, **facts)
    return ledger_over(part, run, watered or {})


@given(season=seasons(coefficients=[Coefficients.DUAL]))
@settings(max_examples=100)
def test_plants_and_open_soil_together_are_what_left_the_ground(season: Any) -> None:
    part, run, watered = season
    for found in ledger_over(part, run, watered):
        if found.crop is not None:
            assert found.transpired_mm + found.evaporated_mm == approx(found.used_mm, abs=1e-12)
        assert found.evaporated_mm >= 0.0
        assert found.transpired_mm >= 0.0
        assert 0.0 <= found.surface_depletion_mm <= part.soil.tew_mm + 1e-9
        assert 0.01 <= found.wetted_fraction <= 1.0
        assert 0.0 <= found.cover <= 0.99


def test_a_narrow_wet_strip_loses_less_than_a_bed_wetted_all_over() -> None:
    zone, run = plot(planted("leek", 0, 60)), days([(6.0, 0.0)] * 30)
    given = {today.day: 8.0 for today in run}
    strip = dual(zone, run, given, line_fraction=0.3)
    whole = dual(zone, run, given, line_fraction=1.0, under_canopy=False)
    lost_strip, lost_whole = (
        sum(found.evaporated_mm for found in ledger) for ledger in (strip, whole)
    )
    assert 0.15 * lost_whole < lost_strip < 0.5 * lost_whole
    # Ks is 1 on both: what the plants draw is the same.
    assert sum(f.transpired_mm for f in strip) == approx(sum(f.transpired_mm for f in whole))


def test_the_surface_dries_after_the_last_watering_and_the_plants_do_not_notice() -> None:
    # WORKED on day 1: Kcb 0.15, no cover yet, air of the tables: Ke = 1.20 - 0.15.
    zone, run = plot(planted("leek", 0, 60)), days([(6.0, 0.0)] * 14)
    ledger = dual(zone, run, line_fraction=1.0, under_canopy=False)
    assert ledger[0].ke == approx(1.05, abs=0.02)
    assert ledger[0].kcb == approx(0.15, abs=1e-9)
    shares = [found.ke for found in ledger]
    assert shares == sorted(shares, reverse=True)
    assert ledger[-1].ke < 0.1


def test_straw_halves_what_the_open_ground_loses_and_leaves_the_plants_alone() -> None:
    # PRINTED, FAO-56 chapter 10: 5 % less evaporation for each 10 % of the surface mulched.
    run = days([(5.0, 0.0)])
    bare, straw = (
        dual(plot(planted("leek", 0, 60), mulch=mulch), run)[0] for mulch in ("none", "straw")
    )
    assert straw.evaporated_mm == approx(0.5 * bare.evaporated_mm)
    assert straw.transpired_mm == bare.transpired_mm


@pytest.mark.parametrize("coefficients", Coefficients)
def test_an_exposed_bed_loses_more_and_its_coefficient_stays(coefficients: Coefficients) -> None:
    run = days([(5.0, 0.0)])
    plain, windy = (
        ledger_over(
            ground(
                plot(planted("leek", 0, 60), exposure=factor),
                LOAM,
                CROPS,
                run,
                coefficients=coefficients,
            ),
            run,
            {},
        )[0]
        for factor in (1.0, 1.3)
    )
    assert windy.used_mm == approx(1.3 * plain.used_mm)
    assert windy.kc == approx(plain.kc)


@pytest.mark.parametrize("coefficients", Coefficients)
def test_squash_at_six_feet_draw_far_less_than_a_closed_field(coefficients: Coefficients) -> None:
    run = days([(6.0, 0.0)] * 70)
    zone = plot(planted("summer_squash_zucchini", 0, 90))
    close, wide = (
        ledger_over(
            replace(
                part := ground(
                    zone, LOAM, CROPS, run, coefficients=coefficients, line_fraction=0.2
                ),
                plantings=(replace(part.plantings[0], cover_full=cover),),
            ),
            run,
            {today.day: 6.0 for today in run},
        )[-1]
        for cover in (None, 0.25)
    )
    assert wide.cover < 0.5 * close.cover
    assert wide.used_mm < 0.8 * close.used_mm, (wide, close)


def test_a_framed_bed_keeps_the_cloudburst_that_a_sloping_one_sheds() -> None:
    run = days([(5.0, 60.0)])
    kept, shed = (
        dual(plot(planted("leek", 0, 60), holds_rain=holds), run)[0] for holds in (True, False)
    )
    assert kept.runoff_mm == 0.0
    assert shed.runoff_mm > 1.0
    assert left_over(shed) == approx(0.0, abs=1e-9)
