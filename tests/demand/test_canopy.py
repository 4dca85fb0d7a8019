"""What plants that stand apart shade and draw."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.fao56 import (
    density_kcb,
    effective_cover,
    full_cover_kcb,
    noon_sun_height_rad,
)
from support.tables import CROP_NAMES

from controller.demand.plants.canopy import (
    Canopy,
    canopy_on,
    cover_at_full_size,
    density_coefficient,
    field_cover,
)
from controller.demand.soil.daily_balance import KC_MIN, kc_max
from controller.errors import OutOfRange
from crops.catalogue import load
from crops.entry import Crop

CALM = {"wind_2m_m_s": 2.0, "rh_min_pct": 45.0}
CROPS = [load().crop(name) for name in CROP_NAMES]
by_name = pytest.mark.parametrize("crop", CROPS, ids=lambda crop: crop.name)
shares = st.floats(0.0, 1.0)
heights_m = st.floats(0.0, 5.0)
kcbs = st.floats(0.0, 1.3)


def thinned(crop: Crop, share: float, kcb: float | None = None) -> Canopy:
    """The crop at mid-season, or at `kcb`, at that share of the field's own cover."""
    most = kc_max(kcb=crop.kcb_mid, height_m=crop.height_m, **CALM)
    dense = field_cover(kcb=crop.kcb_mid, kc_max=most, height_m=crop.height_m)
    return canopy_on(
        kcb_table=crop.kcb_mid if kcb is None else kcb,
        kcb_mid_table=crop.kcb_mid,
        kc_max=most,
        height_m=crop.height_m,
        cover_full=share * dense,
    )


def by_density(cover: float, effective_cover: float, height_m: float, kcb_full: float) -> float:
    """FAO-56, eq. 98, with the project's density coefficient."""
    density = density_coefficient(cover=cover, effective_cover=effective_cover, height_m=height_m)
    return KC_MIN + (kcb_full - KC_MIN) * density


# Published figures


def test_example_41_plants_of_2_m_on_three_tenths_of_the_ground() -> None:
    # PRINTED: Allen et al. (1998), FAO Paper 56, Example 41 and Box 18: fc eff 0.41 (its own rule
    # gives 0.405, so half a digit more), Kcb full 1.15, Kcb mid 0.75.
    sun = noon_sun_height_rad(latitude_deg=40.0, day_of_year=200)
    seen = effective_cover(cover=0.3, height_width_ratio=1.0, sun_height_rad=sun)
    assert seen == approx(0.41, abs=0.01)
    full = full_cover_kcb(height_m=2.0, wind_2m_m_s=1.5, rh_min_pct=55.0)
    assert full == approx(1.15, abs=0.005)
    found = by_density(0.3, seen, height_m=2.0, kcb_full=full)
    assert found == approx(0.75, abs=0.005)


def test_example_32_cover_of_a_crop_of_1_m() -> None:
    # PRINTED: FAO Paper 56, Example 32: Kcb 0.9, Kc max 1.30, fc 0.53.
    most = kc_max(kcb=0.9, wind_2m_m_s=3.0, rh_min_pct=20.0, height_m=1.0)
    assert field_cover(kcb=0.9, kc_max=most, height_m=1.0) == approx(0.53, abs=0.005)


def test_cover_keeps_the_limits_of_its_equation() -> None:
    # WORKED: Kcb at Kc max would shade all, and is cut to 0.99; Kcb at Kc min counts as 0.01 above
    # it, and with no height that is 0.01 / 1.05 of the ground.
    assert field_cover(kcb=1.2, kc_max=1.2, height_m=1.0) == 0.99
    assert field_cover(kcb=0.15, kc_max=1.2, height_m=0.0) == approx(0.01 / 1.05)


@pytest.mark.parametrize("cover_pct", [10, 20, 30, 40, 50, 60, 70, 80, 90])
def test_density_form_follows_the_tomatoes_that_were_measured(cover_pct: float) -> None:
    # PRINTED (from memory): Hanson and May (2006), Agricultural Water Management 81: Kc of
    # drip-irrigated tomatoes over cover C in per cent, 0.126 + 0.0172 C - 0.0000776 C2. Theirs
    # holds the little evaporation there was, and scatters; 0.08 is our choice for that.
    measured = 0.126 + 0.0172 * cover_pct - 0.0000776 * cover_pct**2
    share = cover_pct / 100.0
    full = full_cover_kcb(height_m=0.6, **CALM)
    found = by_density(share, share, height_m=0.6, kcb_full=full)
    assert found == approx(measured, abs=0.08)


@by_name
@pytest.mark.parametrize("share", [0.5, 0.7, 0.9])
def test_thinned_table_agrees_with_the_quick_form(crop: Crop, share: float) -> None:
    # PRINTED as a formula: FAO Paper 56, eq. 94: Kcb less 1 - (fc / fc dense)^0.5, which the paper
    # offers as a first approximation; 0.1 is our choice for that. Below half the cover it parts
    # from eq. 98, and for shrubs of Kcb 0.45 it falls below bare soil.
    if crop.kcb_mid >= 0.7:
        quick = crop.kcb_mid - (1.0 - math.sqrt(share))
        assert thinned(crop, share).kcb == approx(quick, abs=0.1)


@by_name
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_thinned_table_agrees_with_the_density_form_of_plants_that_tall(
    crop: Crop, share: float
) -> None:
    # FAO Paper 56, eq. 98 with Kcb full from the height alone, which knows nothing of the crop;
    # 0.15 is our choice for that. Where Kcb full from the height is less than the table's Kcb, as
    # it is for low beans, the two must part near full cover. Trees whose leaves hold water back
    # (citrus, fig) are left out: eq. 76 reads their low Kcb as little cover, 0.09 for the citrus
    # that table 12 has at 0.50.
    if crop.height_m >= 2.5 and crop.kcb_mid < 0.7:
        return
    found = thinned(crop, share)
    full = full_cover_kcb(height_m=crop.height_m, **CALM)
    by_height = density_kcb(
        cover=found.cover, effective_cover=found.cover, height_m=crop.height_m, kcb_full=full
    )
    assert found.kcb == approx(by_height, abs=0.15)


# Cover of full-grown plants


def test_plants_apart_shade_their_discs() -> None:
    # WORKED: discs of 0.3 m, each on 0.5 m x 0.8 m: pi 0.15^2 / 0.4.
    found = cover_at_full_size(spread_m=0.3, spacing_m=0.5, line_gap_m=0.8)
    assert found == approx(math.pi * 0.0225 / 0.4, abs=1e-12)


def test_plants_that_meet_in_the_line_lose_the_lens_they_share() -> None:
    # WORKED: r 0.3, plants 0.4 apart: each pair shares 2 r2 acos(d/2r) - d/2 sqrt(4 r2 - d2); one
    # lens for each plant, ground 0.4 x 1.0.
    lens = 2 * 0.09 * math.acos(0.4 / 0.6) - 0.2 * math.sqrt(0.36 - 0.16)
    found = cover_at_full_size(spread_m=0.6, spacing_m=0.4, line_gap_m=1.0)
    assert found == approx((math.pi * 0.09 - lens) / 0.4, abs=1e-12)


def test_a_dense_line_is_a_strip_as_wide_as_its_plants() -> None:
    # WORKED: scallops of 0.01 m between plants of 0.4 m are nothing.
    found = cover_at_full_size(spread_m=0.4, spacing_m=0.01, line_gap_m=1.0)
    assert found == approx(0.4, abs=1e-4)


def test_plants_that_reach_the_corner_between_four_shade_all() -> None:
    # WORKED: half the diagonal of 0.3 x 0.4 is 0.25.
    assert cover_at_full_size(spread_m=0.5, spacing_m=0.3, line_gap_m=0.4) == 1.0
    assert cover_at_full_size(spread_m=0.49, spacing_m=0.3, line_gap_m=0.4) < 1.0
    assert cover_at_full_size(spread_m=0.0, spacing_m=0.3, line_gap_m=0.4) == 0.0


@pytest.mark.parametrize("spread_m", [0.2, 0.35, 0.45, 0.5, 0.56, 0.8, 1.5])
@pytest.mark.parametrize(("along_m", "across_m"), [(0.3, 0.5), (0.5, 0.3), (0.4, 0.4), (0.1, 0.9)])
def test_cover_is_what_counting_points_among_many_plants_gives(
    spread_m: float, along_m: float, across_m: float
) -> None:
    # Outside the closed form: points of a fine grid that lie in any disc of a large patch.
    points, hit, reach = 60, 0, spread_m / 2.0
    along, across = (range(-n, n + 2) for n in (int(reach / along_m), int(reach / across_m)))
    plants = [(i * along_m, j * across_m) for i in along for j in across]
    for i in range(points):
        for j in range(points):
            x, y = (i + 0.5) / points * along_m, (j + 0.5) / points * across_m
            hit += any((x - a) ** 2 + (y - b) ** 2 <= reach**2 for a, b in plants)
    found = cover_at_full_size(spread_m=spread_m, spacing_m=along_m, line_gap_m=across_m)
    assert found == approx(hit / points**2, abs=0.012)


# Where a disc just touches a side, the root of a rounding error shows.
TANGENT = 1e-7
sizes_m = st.floats(0.01, 5.0)


@given(sizes_m, sizes_m, sizes_m, st.floats(1.0, 3.0))
def test_wider_plants_or_closer_ones_never_shade_less(
    spread: float, along: float, across: float, factor: float
) -> None:
    one = cover_at_full_size(spread_m=spread, spacing_m=along, line_gap_m=across)
    wider = cover_at_full_size(spread_m=spread * factor, spacing_m=along, line_gap_m=across)
    closer = cover_at_full_size(spread_m=spread, spacing_m=along / factor, line_gap_m=across)
    swapped = cover_at_full_size(spread_m=spread, spacing_m=across, line_gap_m=along)
    assert 0.0 <= one <= min(wider, closer) + TANGENT
    assert max(wider, closer) <= 1.0
    assert swapped == approx(one, abs=1e-9)


# The density form


@given(shares, shares, heights_m, st.floats(0.15, 1.3))
def test_density_form_grows_with_cover_between_its_limits(
    one: float, other: float, height: float, full: float
) -> None:
    low, high = sorted((one, other))
    thin, dense = (by_density(c, c, height, full) for c in (low, high))
    assert 0.15 <= thin <= dense <= full + 1e-12
    assert by_density(0.0, 0.0, height, full) == 0.15
    assert by_density(1.0, 1.0, height, full) == approx(full)


@by_name
@pytest.mark.parametrize("share", [0.02, 0.2, 0.4, 0.6, 0.8, 0.98])
def test_a_bed_has_the_density_forms_kcb_with_its_crops_own_full_cover(
    crop: Crop, share: float
) -> None:
    # FAO-56 (1998), eq. 98, as an oracle of its own: the Kcb full that gives the table's Kcb at the
    # field's cover gives the bed's at the bed's.
    most = kc_max(kcb=crop.kcb_mid, height_m=crop.height_m, **CALM)
    field = field_cover(kcb=crop.kcb_mid, kc_max=most, height_m=crop.height_m)
    field_share = density_kcb(
        cover=field, effective_cover=field, height_m=crop.height_m, kcb_full=1.0, kc_min=0.0
    )
    found = thinned(crop, share)
    expected = density_kcb(
        cover=share * field,
        effective_cover=share * field,
        height_m=crop.height_m,
        kcb_full=KC_MIN + (crop.kcb_mid - KC_MIN) / field_share,
    )
    assert found.cover == approx(share * field, abs=1e-12)
    assert found.kcb == approx(expected, abs=1e-12)


# The canopy of a day


@st.composite
def mid_seasons(draw: st.DrawFn) -> dict[str, float]:
    mid = draw(st.floats(0.3, 1.25))
    return {
        "kcb_mid_table": mid,
        "kc_max": max(1.2, mid + 0.05),
        "height_m": draw(heights_m),
    }


@given(mid_seasons(), kcbs)
def test_a_field_has_the_tables_kcb_to_the_last_digit(season: Any, kcb: float) -> None:
    unknown = canopy_on(kcb_table=kcb, cover_full=None, **season)
    closed = canopy_on(kcb_table=kcb, cover_full=1.0, **season)
    assert unknown == closed
    assert unknown.kcb == kcb


@given(mid_seasons(), kcbs, shares, shares)
def test_thinner_plants_draw_and_shade_no_more_and_never_more_than_the_table(
    season: Any, kcb: float, a: float, b: float
) -> None:
    low, high = sorted((a, b))
    thin, dense = (canopy_on(kcb_table=kcb, cover_full=c, **season) for c in (low, high))
    assert min(kcb, 0.15) <= thin.kcb <= dense.kcb + 1e-12
    assert dense.kcb <= kcb
    assert 0.0 <= thin.cover <= dense.cover + 1e-12
    assert dense.cover <= 0.99


@given(mid_seasons(), kcbs, kcbs, shares)
def test_a_growing_crop_draws_and_shades_more(
    season: Any, one: float, other: float, full: float
) -> None:
    young, grown = (canopy_on(kcb_table=k, cover_full=full, **season) for k in sorted((one, other)))
    assert young.kcb <= grown.kcb + 1e-12
    assert young.cover <= grown.cover + 1e-12


@by_name
def test_there_is_no_step_where_a_bed_becomes_a_field(crop: Crop) -> None:
    just_under, field = thinned(crop, 1.0 - 1e-9), thinned(crop, 1.0)
    assert just_under.kcb == approx(field.kcb, abs=1e-7)
    assert just_under.cover == approx(field.cover, abs=1e-7)


@by_name
def test_at_mid_season_the_plants_shade_their_full_size(crop: Crop) -> None:
    most = kc_max(kcb=crop.kcb_mid, height_m=crop.height_m, **CALM)
    field = field_cover(kcb=crop.kcb_mid, kc_max=most, height_m=crop.height_m)
    for full in (0.05 * field, 0.5 * field, 0.95 * field):
        found = canopy_on(
            kcb_table=crop.kcb_mid,
            kcb_mid_table=crop.kcb_mid,
            kc_max=most,
            height_m=crop.height_m,
            cover_full=full,
        )
        assert found.cover == approx(full, abs=1e-12)
        assert found.kcb < crop.kcb_mid


@by_name
def test_no_plants_leave_bare_soil_and_seedlings_are_seedlings_anywhere(crop: Crop) -> None:
    assert thinned(crop, 0.0).kcb == approx(min(0.15, crop.kcb_mid))
    assert thinned(crop, 0.3, kcb=0.15).kcb == 0.15
    assert thinned(crop, 0.3, kcb=0.05).kcb == 0.05


def test_no_plants_leave_what_dry_bare_soil_loses() -> None:
    # FAO-56 (1998), eq. 76: 0.15 to 0.20.
    assert by_density(0.0, 0.0, height_m=0.5, kcb_full=1.1) == 0.15


def test_a_tall_crop_is_measured_at_its_full_height_all_season() -> None:
    # WORKED: vines of 2 m with Kcb mid 0.8 under Kc max 1.2 shade (0.65 / 1.05)^2 = 0.383 in the
    # table's field. Plants that will shade 0.39 are that field, from their first day of 0.2 m on;
    # measured at 0.2 m the field would be (0.65 / 1.05)^1.1 = 0.590.
    day: dict[str, Any] = {"kcb_table": 0.4, "kcb_mid_table": 0.8, "kc_max": 1.2, "height_m": 0.2}
    assert canopy_on(**day, cover_full=0.39, full_height_m=2.0).kcb == 0.4
    assert canopy_on(**day, cover_full=0.39).kcb < 0.39


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"kcb_table": math.nan}, "kcb_table"),
        ({"kcb_mid_table": -0.1}, "kcb_mid_table"),
        ({"kc_max": math.inf}, "kc_max"),
        ({"height_m": 31.0}, "height_m"),
        ({"full_height_m": math.nan}, "full_height_m"),
        ({"cover_full": 1.01}, "cover_full"),
        ({"cover_full": math.nan}, "cover_full"),
    ],
)
def test_a_day_that_cannot_be_is_refused_by_name(
    change: dict[str, Any] | dict[str, float], name: str
) -> None:
    day: dict[str, Any] = {"kcb_table": 0.9, "kcb_mid_table": 1.0, "kc_max": 1.2, "height_m": 0.5}
    with pytest.raises(OutOfRange, match=name):
        canopy_on(**{**day, "cover_full": 0.5, **change})


@pytest.mark.parametrize(
    ("ask", "name"),
    [
        (lambda: cover_at_full_size(spread_m=-1, spacing_m=0.3, line_gap_m=0.3), "spread_m"),
        (lambda: cover_at_full_size(spread_m=1, spacing_m=0.0, line_gap_m=0.3), "spacing_m"),
        (lambda: cover_at_full_size(spread_m=1, spacing_m=0.3, line_gap_m=math.nan), "line_gap_m"),
    ],
)
def test_what_cannot_be_is_refused_by_name(ask: Any, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        ask()
