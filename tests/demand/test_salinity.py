"""Salty water: leaching, yield and stress."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.fao56 import stress_with_salt
from support.tables import CROP_NAMES

from controller.demand.soil.salinity import (
    MOST_LEACHING,
    YIELD_RESPONSE,
    leaching_owed_mm,
    leaching_share,
    leaching_share_of,
    root_zone_salt_ds_m,
    salt_stress,
    salt_stress_of,
    water_class,
)
from controller.demand.soil.soil_water import stress_coefficient
from controller.errors import OutOfRange
from crops.catalogue import load

# FAO-56 (1998), Example 39: beans.
BEANS = {"threshold_ds_m": 1.0, "slope_pct_per_ds_m": 19.0}
salts_ds_m = st.floats(0.0, 20.0)
slopes = st.floats(0.1, 100.0)
shares = st.floats(0.0, 1.0)
depths_mm = st.floats(0.0, 2000.0)
TOMATO, BEAN, CARROT = (load().crop(name) for name in ("tomato", "bush_bean", "carrot"))


# Published figures


def test_example_39_beans_in_soil_of_one_and_a_half() -> None:
    # PRINTED: Allen et al. (1998), FAO Paper 56, Example 39: Ks 0.92 by salt alone.
    found = salt_stress(soil_ds_m=1.5, yield_response=1.15, **BEANS)
    assert found == approx(0.92, abs=0.005)


# PRINTED: Example 39, salt and want of water together; TAW 110 mm, RAW 44 mm.
@pytest.mark.parametrize(
    ("missing_mm", "printed"),
    [(0, 0.92), (50, 0.83), (60, 0.69), (70, 0.56), (80, 0.42), (90, 0.28), (100, 0.14)],
)
def test_example_39_beans_that_also_want_water(missing_mm: float, printed: float) -> None:
    salt = salt_stress(soil_ds_m=1.5, yield_response=1.15, **BEANS)
    dry = stress_coefficient(missing_mm, 110, 44)
    found = stress_with_salt(salt_stress=salt, water_stress=dry)
    assert found == approx(printed, abs=0.006)  # the last row gives 0.139, the fourth 0.556


def test_leaching_share_of_the_older_paper() -> None:
    # WORKED from the printed formula (Ayers and Westcot 1985, FAO Paper 29): 1 / (12.5 - 1).
    assert leaching_share(water_ds_m=1.0, soil_ds_m=2.5) == approx(1.0 / 11.5, abs=1e-12)


def test_soil_at_the_usual_leaching_is_half_again_as_salty_as_the_water() -> None:
    # PRINTED: FAO Paper 56, eq. 93: ECe is about 1.5 ECw at a leaching share of 0.15 to 0.20.
    assert root_zone_salt_ds_m(water_ds_m=1.0, leaching_share=0.15) == approx(1.53, abs=0.005)
    low, high = (root_zone_salt_ds_m(water_ds_m=1.0, leaching_share=s) for s in (0.20, 0.15))
    assert low < 1.5 < high


# PRINTED: FAO Paper 29, guidelines for water quality: no restriction below 0.7 dS/m, slight to
# moderate to 3.0, severe above.
@pytest.mark.parametrize(
    ("water", "words"),
    [(0.0, "no problem"), (0.69, "no problem"), (0.7, "slight to moderate"),
     (3.0, "slight to moderate"), (3.01, "severe"), (40.0, "severe")],
)  # fmt: skip
def test_water_has_its_class(water: float, words: str) -> None:
    assert water_class(water) == words


@pytest.mark.parametrize(
    ("crops", "ky"),
    [
        (("bush_bean", "pole_bean", "dry_bean", "pea"), 1.15),
        (("cabbage", "sunflower"), 0.95),
        (("sweet_corn",), 1.25),
        (("onion_dry", "onion_green", "pepper", "potato", "watermelon"), 1.1),
        (("tomato", "tomato_staked"), 1.05),
    ],
)
def test_yield_response_is_the_tables(crops: Any, ky: float) -> None:
    # PRINTED: FAO Paper 56, Table 24.
    assert [YIELD_RESPONSE[name] for name in crops] == [ky] * len(crops)


def test_every_yield_response_is_of_a_crop_we_have() -> None:
    assert set(YIELD_RESPONSE) <= set(CROP_NAMES)


# The equations' shape and limits


def test_stress_stays_where_its_equation_ends() -> None:
    # WORKED: half the yield is lost at 1.0 + 50 / 19 = 3.63 dS/m, where Ks = 1 - 0.5 / 1.15.
    limit = 1.0 + 50.0 / 19.0
    for soil in (limit + 1e-9, limit + 0.1, 30.0):
        found = salt_stress(soil_ds_m=soil, yield_response=1.15, **BEANS)
        assert found == approx(1.0 - 0.5 / 1.15)
    assert salt_stress(soil_ds_m=limit - 0.1, yield_response=1.15, **BEANS) > found


@given(salts_ds_m, salts_ds_m, salts_ds_m, slopes, st.floats(0.1, 5.0))
def test_saltier_soil_never_does_plants_good(
    one: float, other: float, threshold: float, slope: float, ky: float
) -> None:
    crop = {"threshold_ds_m": threshold, "slope_pct_per_ds_m": slope}
    less, more = sorted((one, other))
    fresh, salty = (salt_stress(soil_ds_m=s, yield_response=ky, **crop) for s in (less, more))
    assert 0.0 <= salty <= fresh <= 1.0
    assert salt_stress(soil_ds_m=threshold, yield_response=ky, **crop) == 1.0


@given(salts_ds_m, salts_ds_m, salts_ds_m)
def test_saltier_water_or_a_tenderer_crop_wants_no_less_leaching(
    one: float, other: float, soil: float
) -> None:
    less, more = sorted((one, other))
    low, high = (leaching_share(water_ds_m=w, soil_ds_m=soil) for w in (less, more))
    assert 0.0 <= low <= high <= MOST_LEACHING
    assert leaching_share(water_ds_m=more, soil_ds_m=soil + 1.0) <= high


@given(st.floats(0.01, 20.0), st.floats(0.01, 20.0))
def test_leaching_keeps_the_soil_at_the_salinity_it_was_computed_for(
    water: float, soil: float
) -> None:
    # The two published rules are one: eq. 93 gives back the ECe that FAO-29's share was made for.
    share = leaching_share(water_ds_m=water, soil_ds_m=soil)
    found = root_zone_salt_ds_m(water_ds_m=water, leaching_share=max(share, 1e-4))
    if 1e-4 < share < MOST_LEACHING:
        assert found == approx(soil, rel=1e-9)
    elif share == MOST_LEACHING:
        assert found >= soil * (1.0 - 1e-9)


@pytest.mark.parametrize(
    ("water", "soil", "share"),
    [(0.0, 0.0, 0.0), (0.0, 2.5, 0.0), (5.0, 1.0, MOST_LEACHING), (6.0, 1.0, MOST_LEACHING)],
)
def test_leaching_has_no_hole_where_water_is_fresh_or_the_crop_hopeless(
    water: float, soil: float, share: Any
) -> None:
    assert leaching_share(water_ds_m=water, soil_ds_m=soil) == share


# What is still owed


def test_rain_that_drained_pays_for_leaching() -> None:
    # WORKED: a tenth of 200 mm is 20; 15 drained, 5 are owed; 25 drained, none is.
    assert leaching_owed_mm(entered_mm=200.0, drained_mm=15.0, share=0.1) == approx(5.0)
    assert leaching_owed_mm(entered_mm=200.0, drained_mm=25.0, share=0.1) == 0.0
    assert leaching_owed_mm(owed_mm=7.0, entered_mm=200.0, drained_mm=25.0, share=0.1) == approx(2)


def _fifty_waterings(
    *, water_ds_m: float, held_mm: float, share: float, floor: bool
) -> tuple[float, float]:
    """Fifty of 10 mm after a clean wet winter of 200 mm drained: leached mm, and ECe at the end.

    A box of salt: what drains takes 2C - ECw, C the mean of the root zone, ECe = C / 2.5; at rest
    that is FAO-56 (1998), eq. 93.
    """
    salt, leached = 0.3 * 2.5 * held_mm, 0.0
    owed = 0.0 if floor else -200.0
    for _ in range(50):
        extra = max(owed, 0.0)
        if floor:
            owed = leaching_owed_mm(
                owed_mm=owed, entered_mm=10.0 + extra, drained_mm=extra, share=share
            )
        else:
            owed += share * (10.0 + extra) - extra
        strength = max(2.0 * salt / held_mm - water_ds_m, 0.0)
        salt += (10.0 + extra) * water_ds_m - extra * strength
        leached += extra
    return leached, salt / held_mm / 2.5


@pytest.mark.parametrize(
    ("water", "held", "limit", "share"),
    [(1.5, 140.0, 2.3, 0.15), (1.5, 84.0, 2.3, 0.15), (1.0, 112.0, 1.0, 0.25)],
)
def test_a_wet_winter_is_no_credit_for_the_summer(
    water: float, held: float, limit: float, share: float
) -> None:
    # WORKED: 10 mm with what was owed before, owed' = LR (10 + owed): it tends to 10 LR / (1 - LR),
    # so 50 waterings leach a little less than 50 of those: 88 and 167 mm.
    ought = 50.0 * 10.0 * share / (1.0 - share)
    leached, salt = _fifty_waterings(water_ds_m=water, held_mm=held, share=share, floor=True)
    assert ought - 6.0 < leached < ought and salt < limit
    none, salty = _fifty_waterings(water_ds_m=water, held_mm=held, share=share, floor=False)
    assert none == 0.0 and salty > limit  # one sum over winter and summer


@given(depths_mm, depths_mm, depths_mm, shares)
def test_more_drained_never_owes_more_and_more_watered_never_less(
    entered: float, drained: float, extra: float, share: float
) -> None:
    owed = leaching_owed_mm(entered_mm=entered, drained_mm=drained, share=share)
    assert 0.0 <= owed <= entered
    assert leaching_owed_mm(entered_mm=entered, drained_mm=drained + extra, share=share) <= owed
    assert leaching_owed_mm(entered_mm=entered + extra, drained_mm=drained, share=share) >= owed


@given(st.floats(0.0, MOST_LEACHING), st.lists(st.floats(0.5, 30.0), min_size=30, max_size=60))
def test_doses_that_add_what_is_owed_settle_at_the_share(share: float, lost_mm: Any) -> None:
    # A season of doses, each the day's loss and what is owed: at its end what drained lacks no more
    # than the last dose's own share.
    entered = drained = owed = 0.0
    for lost in lost_mm:
        gives = lost + owed
        entered, drained = entered + gives, drained + owed
        owed = leaching_owed_mm(owed_mm=owed, entered_mm=gives, drained_mm=owed, share=share)
    assert share * entered - drained == approx(owed, abs=1e-6)
    assert owed <= share * gives + 1e-9


# By crop


def test_a_crop_watered_with_its_own_leaching_feels_no_salt() -> None:
    # WORKED: tomato bears 2.5 dS/m: 1 / (12.5 - 1).
    assert leaching_share_of(TOMATO, 1.0) == approx(1.0 / 11.5)
    assert salt_stress_of(TOMATO, 1.0) == 1.0


def test_a_crop_that_would_need_more_than_the_cap_feels_salt() -> None:
    # WORKED: beans (1.0; 19 %) on water of 2.0: 2 / (5 - 2) is over the cap of 0.30, so the soil
    # comes to 1.3 / 0.3 x 2 / 5 = 1.7333; 19 x 0.7333 / 115 = 0.1212.
    assert (BEAN.salinity_threshold_ds_m, BEAN.salinity_slope_pct) == (1.0, 19.0)
    assert leaching_share_of(BEAN, 2.0) == MOST_LEACHING
    assert salt_stress_of(BEAN, 2.0) == approx(1.0 - 19.0 * (1.3 / 1.5 * 2.0 - 1.0) / 115.0)
    assert salt_stress_of(BEAN, 60.0) == approx(1.0 - 0.5 / 1.15)


def test_a_crop_without_a_yield_response_takes_one() -> None:
    # WORKED: carrot (1.0; 14 %) on water of 2.0: 14 x 0.7333 / 100.
    assert CARROT.name not in YIELD_RESPONSE
    assert (CARROT.salinity_threshold_ds_m, CARROT.salinity_slope_pct) == (1.0, 14.0)
    assert salt_stress_of(CARROT, 2.0) == approx(1.0 - 0.14 * (1.3 / 1.5 * 2.0 - 1.0))


def test_no_salt_is_computed_where_a_figure_is_wanting() -> None:
    unknown = dataclasses.replace(BEAN, salinity_threshold_ds_m=None)
    for crop, water in [(BEAN, None), (BEAN, 0.0), (unknown, 3.0)]:
        assert leaching_share_of(crop, water) == 0.0
        assert salt_stress_of(crop, water) == 1.0


@given(st.sampled_from(CROP_NAMES), st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_saltier_water_does_no_crop_good(name: str, one: float, other: float) -> None:
    crop, (less, more) = load().crop(name), sorted((one, other))
    assert 0.0 <= salt_stress_of(crop, more) <= salt_stress_of(crop, less) + 1e-12
    assert salt_stress_of(crop, less) <= 1.0


@pytest.mark.parametrize(
    ("ask", "name"),
    [
        (lambda: water_class(math.nan), "water_ds_m"),
        (lambda: leaching_share(water_ds_m=-1.0, soil_ds_m=2.0), "water_ds_m"),
        (lambda: leaching_share(water_ds_m=1.0, soil_ds_m=math.nan), "soil_ds_m"),
        (lambda: root_zone_salt_ds_m(water_ds_m=1.0, leaching_share=0.0), "leaching_share"),
        (lambda: salt_stress(soil_ds_m=2, yield_response=0.0, **BEANS), "yield_response"),
        (lambda: leaching_owed_mm(entered_mm=-1, drained_mm=0, share=0.1), "entered_mm"),
        (lambda: leaching_owed_mm(entered_mm=1, drained_mm=0, share=1.1), "share"),
        (lambda: salt_stress_of(BEAN, 61.0), "water_ds_m"),
    ],
)
def test_what_cannot_be_is_refused_by_name(ask: Any, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        ask()
