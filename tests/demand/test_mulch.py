"""What a mulch takes off what the ground and the plants lose."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.tables import CROP_NAMES

from controller.demand.soil.mulch import (
    KINDS,
    Mulch,
    evaporation_factor,
    kc_under_mulch,
    mulch_of,
    transpiration_factor,
)
from controller.errors import InputError, OutOfRange
from crops.catalogue import load
from crops.entry import Crop

BARE = mulch_of("none", 1.0)
FILM = mulch_of("plastic", 1.0)
CROPS = [load().crop(name) for name in CROP_NAMES]
VEGETABLES = [c for c in CROPS if c.kcb_ini == 0.15 and c.kc_mid >= 0.9]

covers = st.floats(0.0, 1.0)
kinds = st.sampled_from(sorted(KINDS))


# PRINTED: Allen et al. (1998), FAO Paper 56, chapter 10: evaporation falls by 5 % for each 10 % of
# the surface covered; half covered, by 25 %.
@pytest.mark.parametrize(("cover", "left"), [(0.0, 1.0), (0.3, 0.85), (0.5, 0.75), (1.0, 0.5)])
@pytest.mark.parametrize("name", ["straw", "leaves", "compost", "bark", "grass"])
def test_organic_mulch_takes_five_per_cent_for_each_tenth(
    name: str, cover: float, left: float
) -> None:
    mulch = mulch_of(name, cover)
    assert evaporation_factor(mulch) == approx(left, abs=1e-9)
    assert transpiration_factor(mulch) == 1.0


def test_plastic_takes_five_to_fifteen_per_cent_off_kcb() -> None:
    # PRINTED: FAO Paper 56, chapter 10: Kcb -5 to -15 %.
    assert 0.85 <= transpiration_factor(FILM) <= 0.95


@pytest.mark.parametrize("crop", VEGETABLES, ids=lambda crop: crop.name)
def test_plastic_takes_ten_to_thirty_per_cent_off_kc_mid(crop: Crop) -> None:
    # PRINTED: FAO Paper 56, chapter 10: Kc -10 to -30 %; its Example 45 takes 15 %.
    taken = 1.0 - kc_under_mulch(kc=crop.kc_mid, kcb=crop.kcb_mid, mulch=FILM) / crop.kc_mid
    assert 0.10 <= taken <= 0.30
    assert taken == approx(0.15, abs=0.04)


@pytest.mark.parametrize("kc_ini", [0.6, 0.7])
def test_plastic_leaves_kc_initial_about_a_tenth(kc_ini: float) -> None:
    # PRINTED: FAO Paper 56, chapter 10: about 0.10; 0.90 x 0.15 alone is 0.135, nothing is added.
    assert kc_under_mulch(kc=kc_ini, kcb=0.15, mulch=FILM) == approx(0.10, abs=0.05)


def test_single_coefficient_under_straw_keeps_its_basal_part() -> None:
    # WORKED: Kc 1.05 with Kcb 0.95 under straw on half the ground: 0.95 + 0.75 x 0.10.
    assert kc_under_mulch(kc=1.05, kcb=0.95, mulch=mulch_of("straw", 0.5)) == approx(1.025)


def test_a_basal_part_above_kc_is_all_of_kc() -> None:
    # WORKED: 0.90 x 0.4; no evaporation below nothing is taken off.
    assert kc_under_mulch(kc=0.4, kcb=0.5, mulch=FILM) == approx(0.36)


def test_film_lets_in_what_one_field_was_found_to() -> None:
    # PRINTED (abstract: soya in Japan): 61 % less soaked in under film; its holes and the paths
    # beside it are open, taken as a tenth of the ground (our choice). WORKED: 0.1 + 0.9 x 0.31.
    assert mulch_of("plastic", 0.9).rain_share == approx(0.379)
    assert mulch_of("plastic", 0.9).rain_share == approx(1.0 - 0.61, abs=0.02)
    assert mulch_of("plastic", 0.9, 0.2).rain_share == 0.2
    assert mulch_of("plastic", 0.0).rain_share == mulch_of("straw", 1.0).rain_share == 1.0
    with pytest.raises(OutOfRange, match="mulch_rain"):
        mulch_of("plastic", 1.0, 1.2)


@given(kinds, covers, covers, st.floats(0, 1.4), st.floats(0, 1.4))
def test_more_mulch_never_means_more_water(
    name: str, one: float, other: float, kc: float, kcb: float
) -> None:
    less, more = (mulch_of(name, c) for c in sorted((one, other)))
    assert 0.0 <= evaporation_factor(more) <= evaporation_factor(less) <= 1.0
    assert 0.90 - 1e-12 <= transpiration_factor(more) <= transpiration_factor(less) <= 1.0
    under = [kc_under_mulch(kc=kc, kcb=kcb, mulch=m) for m in (more, less)]
    assert 0.0 <= under[0] <= under[1] + 1e-12
    assert under[1] <= kc + 1e-12


@given(kinds, st.floats(0, 1.4), st.floats(0, 1.4))
def test_a_mulch_that_covers_nothing_changes_nothing(name: str, kc: float, kcb: float) -> None:
    assert kc_under_mulch(kc=kc, kcb=kcb, mulch=mulch_of(name, 0.0)) == approx(kc)


def test_no_mulch_covers_nothing_whatever_is_said() -> None:
    assert mulch_of(" None ", 1.0) == BARE == Mulch(kind="none", cover=0.0)
    assert evaporation_factor(BARE) == transpiration_factor(BARE) == 1.0


def test_an_unknown_mulch_is_told_what_is_known() -> None:
    with pytest.raises(InputError, match=r'found "gravel"; allowed are none, straw, leaves'):
        mulch_of("gravel", 1.0)


@pytest.mark.parametrize("cover", [-0.1, 1.1, math.nan])
def test_a_share_that_cannot_be_is_refused(cover: Any) -> None:
    with pytest.raises(OutOfRange, match="mulch_cover"):
        mulch_of("straw", cover)
    with pytest.raises(OutOfRange, match="kc"):
        kc_under_mulch(kc=math.nan, kcb=0.5, mulch=FILM)
