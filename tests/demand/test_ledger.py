"""The ledger: no water made or lost. Published examples: tests/published/test_ledger_fao56.py."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.plots import day, days, planted, plot

from controller.demand.ledger import advance, ledger_over, next_day
from controller.errors import OutOfRange
from crops.catalogue import load

CATALOGUE = load()
CROPS = CATALOGUE.crops_with(())
LOAM = CATALOGUE.soil("loam")  # 0.26 / 0.12; TEW 20, REW 9

depth = st.floats(0, 60)
rain = st.none() | st.just(0.0) | st.floats(0, 2) | st.floats(0, 80)


@st.composite
def plots(draw):
    """A zone with up to three plantings one after the other, with or without bare days between."""
    plantings, first = [], draw(st.integers(-40, 20))
    for _ in range(draw(st.integers(0, 3))):
        length = draw(st.integers(1, 50))
        plantings.append(planted(draw(st.sampled_from(CATALOGUE.crop_names)), first, length))
        first += length + draw(st.integers(0, 15))
    return plot(*plantings, rooting_limit_m=draw(st.none() | st.floats(0.1, 1.0)))


@st.composite
def seasons(draw):
    """A plot, its soil, its weather and its watering."""
    weather = draw(
        st.lists(st.tuples(st.floats(0, 14), rain, st.floats(0, 30)), min_size=1, max_size=70)
    )
    run = days([(eto, rained) for eto, rained, _ in weather])
    watered = {today.day: mm for today, (_, _, mm) in zip(run, weather, strict=True) if mm > 15}
    soil = CATALOGUE.soil(draw(st.sampled_from(CATALOGUE.soil_names)))
    return draw(plots()), soil, run, watered


def left_over(found):
    """What the day's identity does not account for: nothing, if no water is made or lost."""
    return found.depletion_mm - (
        found.start_depletion_mm
        - (found.rain_mm - found.rain_unused_mm - found.runoff_mm)
        - found.watered_mm
        + found.used_mm
        + found.drained_mm
        + found.handed_over_mm
    )


def one_day(previous=None, *, zone, soil=LOAM, watered_mm=0.0, number=0, **weather):
    return advance(
        previous,
        zone=zone,
        soil=soil,
        crop_for=CROPS,
        today=day(number, **weather),
        watered_mm=watered_mm,
    )


@given(season=seasons())
@settings(max_examples=150, deadline=None)
def test_every_day_closes_and_hands_its_depletion_to_the_next(season):
    zone, soil, run, watered = season
    ledger = ledger_over(zone, soil, CROPS, run, watered)
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


@given(season=seasons())
@settings(max_examples=50, deadline=None)
def test_a_whole_season_closes(season):
    zone, soil, run, watered = season
    ledger = ledger_over(zone, soil, CROPS, run, watered)
    came = sum(found.rain_mm - found.rain_unused_mm + found.watered_mm for found in ledger)
    went = sum(found.used_mm + found.drained_mm + found.handed_over_mm for found in ledger)
    assert ledger[0].start_depletion_mm + went - came == approx(ledger[-1].depletion_mm, abs=1e-8)
    assert sum(found.watered_mm for found in ledger) == approx(sum(watered.values()), abs=1e-9)


@given(season=seasons())
@settings(max_examples=50, deadline=None)
def test_no_day_holds_a_figure_that_is_no_number(season):
    zone, soil, run, watered = season
    for found in ledger_over(zone, soil, CROPS, run, watered):
        for column in fields(found):
            value = getattr(found, column.name)
            assert not isinstance(value, float) or math.isfinite(value), column.name


@given(season=seasons(), more=st.lists(st.floats(0, 40), min_size=70, max_size=70))
@settings(max_examples=150, deadline=None)
def test_more_rain_never_leaves_the_soil_drier(season, more):
    zone, soil, run, watered = season
    wetter = [
        today if today.rain_mm is None else replace(today, rain_mm=today.rain_mm + extra)
        for today, extra in zip(run, more, strict=False)
    ]
    dry = ledger_over(zone, soil, CROPS, run, watered)
    wet = ledger_over(zone, soil, CROPS, wetter, watered)
    for with_less, with_more in zip(dry, wet, strict=True):
        assert with_more.depletion_mm <= with_less.depletion_mm + 1e-9


@given(season=seasons(), split=st.integers(0, 70))
@settings(max_examples=30, deadline=None)
def test_yesterdays_ledger_is_all_that_today_needs(season, split):
    zone, soil, run, watered = season
    whole = ledger_over(zone, soil, CROPS, run, watered)
    first = ledger_over(zone, soil, CROPS, run[:split], watered)
    last = first[-1] if first else None
    rest = ledger_over(zone, soil, CROPS, run[split:], watered, last)
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
def test_the_bucket_makes_and_loses_no_water(taw, missing, share, rained, watered, demand, off):
    start, runoff = missing * taw, off * rained
    found = next_day(
        depletion_mm=start,
        taw_mm=taw,
        raw_mm=share * taw,
        rain_mm=rained,
        watered_mm=watered,
        demand_mm=demand,
        runoff_mm=runoff,
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
def test_a_drier_morning_never_makes_a_wetter_evening(taw, share, demand, one, other):
    # Without the bound on use this fails when the demand is above TAW - RAW.
    rest = {"taw_mm": taw, "raw_mm": share * taw, "rain_mm": 0.0, "watered_mm": 0.0}
    low, high = (
        next_day(depletion_mm=missing * taw, demand_mm=demand, **rest).depletion_mm
        for missing in sorted((one, other))
    )
    assert low <= high + 1e-9


def test_water_enters_before_stress_is_judged():
    # WORKED: 60 of TAW 100 gone, RAW 40; 30 mm of watering leaves 30 gone, so no stress; 5 used.
    found = next_day(depletion_mm=60, taw_mm=100, raw_mm=40, rain_mm=0, watered_mm=30, demand_mm=5)
    assert (found.stress, found.depletion_mm) == (1.0, approx(35.0, abs=1e-9))


def test_the_crop_drinks_before_the_surplus_drains():
    # WORKED, eq. 88: 10 gone, 14 of rain, 3 used: 14 - 3 - 10 = 1 mm drains, and the soil is full.
    found = next_day(depletion_mm=10, taw_mm=100, raw_mm=40, rain_mm=14, watered_mm=0, demand_mm=3)
    assert (found.drained_mm, found.depletion_mm) == (approx(1.0, abs=1e-9), 0.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"depletion_mm": 101.0},
        {"raw_mm": 101.0},
        {"rain_mm": -1.0},
        {"watered_mm": math.nan},
        {"demand_mm": math.inf},
        {"runoff_mm": 1.0},
        {"taw_mm": math.nan},
    ],
)
def test_a_bucket_that_cannot_be_is_refused_by_name(wrong):
    sound = {"depletion_mm": 10.0, "taw_mm": 100.0, "raw_mm": 40.0, "rain_mm": 0.0}
    sound |= {"watered_mm": 0.0, "demand_mm": 5.0}
    with pytest.raises(OutOfRange, match=next(iter(wrong))):
        next_day(**{**sound, **wrong})


def test_a_planting_without_a_yesterday_starts_just_watered_in():
    found = one_day(zone=plot(planted("leek", 0, 100)))
    # WORKED: Kc initial 0.7 on ETo 5 mm is 3.5 mm, from a full root zone.
    assert (found.start_depletion_mm, found.depletion_mm) == (0.0, approx(3.5, abs=1e-9))
    assert (found.account, found.stage, found.day_of_planting) == (
        "leek from 2031-04-01",
        "initial",
        1,
    )


def test_bare_soil_without_a_yesterday_starts_with_its_ready_water_gone():
    found = one_day(zone=plot())
    assert (found.account, found.crop, found.stage) == ("bare", None, "bare")
    assert (found.start_depletion_mm, found.taw_mm, found.raw_mm) == (9.0, approx(20.0), 9.0)
    # WORKED: Kr = 1 at REW; 1.15 * 5 mm = 5.75 mm.
    assert found.depletion_mm == approx(14.75, abs=1e-9)


def test_bare_soil_never_loses_more_than_the_surface_holds():
    ledger = ledger_over(plot(), LOAM, CROPS, days([(9.0, 0.0)] * 60), {})
    assert ledger[-1].depletion_mm == approx(20.0, abs=0.01)
    assert ledger[-1].used_mm < 0.01


def test_a_planting_takes_over_what_the_surface_lacks():
    ledger = ledger_over(plot(planted("leek", 20, 60)), LOAM, CROPS, days([(9.0, 0.0)] * 21), {})
    bare, leek = ledger[-2:]
    # WORKED: TAW at 0.20 m is 28 mm, more than the 20 the surface can lack: nothing handed over.
    assert (leek.taw_mm, leek.handed_over_mm) == (approx(28.0, abs=1e-9), 0.0)
    assert leek.start_depletion_mm == bare.depletion_mm


def test_what_a_smaller_account_cannot_take_over_is_handed_over():
    zone = plot(planted("tomato", 0, 100))
    ledger = ledger_over(zone, LOAM, CROPS, days([(8.0, 0.0)] * 101), {})
    tomato, bare = ledger[-2:]
    assert tomato.depletion_mm > 60
    assert bare.account == "bare"
    assert bare.handed_over_mm == approx(20.0 - tomato.depletion_mm, abs=1e-9)
    assert left_over(bare) == approx(0.0, abs=1e-9)


def test_plantings_follow_each_other_without_a_bare_day():
    zone = plot(planted("spinach", 0, 40), planted("leek", 40, 60))
    ledger = ledger_over(zone, LOAM, CROPS, days([(6.0, 0.0)] * 42), {})
    assert [found.account for found in ledger[38:]] == [
        "spinach from 2031-04-01",
        "spinach from 2031-04-01",
        "leek from 2031-05-11",
        "leek from 2031-05-11",
    ]
    assert ledger[40].day_of_planting == 1
    assert ledger[40].handed_over_mm <= 0.0


def test_roots_reach_soil_that_is_full():
    zone = plot(planted("tomato", 0, 100))
    ledger = ledger_over(zone, LOAM, CROPS, days([(5.0, 0.0)] * 60), {})
    assert ledger[-1].taw_mm > ledger[0].taw_mm
    assert all(found.handed_over_mm == 0.0 for found in ledger)


def test_a_bed_with_a_bottom_stops_the_roots():
    free = ledger_over(plot(planted("tomato", 0, 120)), LOAM, CROPS, days([(5.0, 0.0)] * 90), {})
    zone = plot(planted("tomato", 0, 120), rooting_limit_m=0.3)
    held = ledger_over(zone, LOAM, CROPS, days([(5.0, 0.0)] * 90), {})
    assert (free[-1].root_depth_m, held[-1].root_depth_m) == (0.7, 0.3)
    assert held[-1].taw_mm == approx(42.0, abs=1e-9)  # WORKED: 0.14 * 300


def test_a_shallower_bed_hands_over_what_it_no_longer_holds():
    deep = ledger_over(plot(planted("tomato", 0, 120)), LOAM, CROPS, days([(7.0, 0.0)] * 80), {})
    zone = plot(planted("tomato", 0, 120), rooting_limit_m=0.2)
    found = one_day(deep[-1], zone=zone, number=80)
    assert found.handed_over_mm == approx(28.0 - deep[-1].depletion_mm, abs=1e-9)
    assert left_over(found) == approx(0.0, abs=1e-9)


def test_unknown_rain_is_credited_to_nobody_and_the_day_says_so():
    zone = plot(planted("leek", 0, 100))
    unknown, none = one_day(zone=zone, rain_mm=None), one_day(zone=zone, rain_mm=0.0)
    assert (unknown.rain_known, unknown.rain_mm) == (False, 0.0)
    assert none.rain_known
    assert unknown.depletion_mm == none.depletion_mm


def test_a_sprinkle_stays_on_the_leaves():
    zone = plot(planted("leek", 0, 100))
    found = one_day(zone=zone, rain_mm=0.9, eto_mm=5.0)
    assert (found.rain_mm, found.rain_unused_mm) == (0.9, 0.9)
    assert found.depletion_mm == one_day(zone=zone, rain_mm=0.0, eto_mm=5.0).depletion_mm


def test_the_readily_available_share_shrinks_on_a_thirsty_day():
    zone = plot(planted("leek", 0, 100))
    assert one_day(zone=zone, eto_mm=9.0).raw_mm < one_day(zone=zone, eto_mm=3.0).raw_mm


@pytest.mark.parametrize("number", [0, -1, 2])
def test_a_day_that_does_not_follow_is_refused(number):
    zone = plot(planted("leek", 0, 100))
    first = one_day(zone=zone)
    with pytest.raises(OutOfRange, match="days since the ledger's last day"):
        one_day(first, zone=zone, number=number)


@pytest.mark.parametrize("wrong", [{"eto_mm": math.nan}, {"eto_mm": -1.0}, {"rain_mm": -2.0}])
def test_weather_that_cannot_be_is_refused(wrong):
    for zone in (plot(), plot(planted("leek", 0, 100))):
        with pytest.raises(OutOfRange):
            one_day(zone=zone, **wrong)


def test_doubtful_weather_stays_marked():
    found = one_day(zone=plot(), measured=False)
    assert (found.measured, found.method) == (False, "given")


@pytest.mark.parametrize("name", CATALOGUE.crop_names)
def test_every_crop_lives_through_a_hot_season_that_is_watered_to_full(name):
    # Refilled each morning, no crop of the table is short on sand at 9 mm/day of reference ET.
    found, zone = None, plot(planted(name, 0, 200))
    for number in range(200):
        found = one_day(
            found,
            zone=zone,
            soil=CATALOGUE.soil("sand"),
            number=number,
            eto_mm=9.0,
            watered_mm=found.depletion_mm if found else 0.0,
        )
        assert found.stress == 1.0, (number, found)
        assert found.drained_mm == 0.0
