"""What young trees ask for, against a university's leaflet on watering fruit trees by drip.

University of California leaflet on drip watering of fruit trees (Vossen; read in a stored copy):
water by canopy area alone is too little for young trees; give 2 to 3 times as much to those under
20 % of full size, less from then on until the canopy covers 70 % of the ground. Its example,
PRINTED: a canopy of 10 square feet on a day of 0.20 in takes 1.25 gal, times 2.5 = 3 gal.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import pytest
from pytest import approx

from controller.demand.plants.canopy import canopy_on
from controller.demand.plants.stages import CourseDay, crop_on
from controller.demand.soil.daily_balance import KC_MIN, kc_max
from controller.units import gal_from_m3, m_from_ft, m_from_in
from crops.catalogue import read_tables

# FAO-56 (1998), tables 12 and 17, apples, no ground cover, killing frost: Kc mid 0.95, Kcb 0.90.
APPLE = """
[crop.apple_of_the_leaflet]
perennial = true
first_years = "tree"
kc = [0.45, 0.95, 0.7]
kcb = [0.35, 0.9, 0.65]
stage_days = [30, 50, 130, 30]
height_m = 4.0
roots_m = [1.0, 2.0]
depletion_fraction = 0.5
in_row_spacing_m = 3.0
"""
TREE = read_tables(
    (files("crops") / "crops.toml").read_text(encoding="utf-8") + APPLE,
    (files("crops") / "soils.toml").read_text(encoding="utf-8"),
).crop("apple of the leaflet")


def times_canopy(year: int) -> tuple[float, float, float]:
    """Kcb over the share of ground shaded, in mid-season; that share; Kcb."""
    at = CourseDay(stage="mid", position=100.0, day_of_planting=100, year=year)
    found = crop_on(TREE, at, supported=False, wind_2m_m_s=2.0, rh_min_pct=45.0)
    canopy = canopy_on(
        kcb_table=found.kcb,
        kcb_mid_table=found.kcb_mid,
        kc_max=kc_max(kcb=found.kcb, wind_2m_m_s=2.0, rh_min_pct=45.0, height_m=found.height_m),
        height_m=found.height_m,
        cover_full=None,
        full_height_m=found.full_height_m,
        young=found.young,
    )
    assert found.young is not None
    return canopy.kcb / found.young.cover, found.young.cover, canopy.kcb


# WORKED, eq. 98 with c = 0.03, 0.08, 0.16, 0.24, 0.32 (2 c is the least): 0.15 + 0.75 x 2 c.
@pytest.mark.parametrize(
    ("year", "kcb", "roots_m"),
    [
        *((1, 0.195, 0.30), (2, 0.270, 0.44), (3, 0.390, 0.58)),
        *((4, 0.510, 0.72), (5, 0.630, 0.86)),
    ],
)
def test_a_trees_first_five_years(year: Any, kcb: Any, roots_m: Any) -> None:
    assert times_canopy(year)[2] == approx(kcb, abs=1e-3)
    at = CourseDay(stage="initial", position=1.0, day_of_planting=1, year=year)
    found = crop_on(TREE, at, supported=False, wind_2m_m_s=2.0, rh_min_pct=45.0)
    # WORKED: 0.30 + (1.0 - 0.30) (year - 1) / 5 on the first day of each.
    assert found.root_depth_m == approx(roots_m)


def test_a_young_tree_is_asked_more_for_than_its_canopy_alone_and_less_so_as_it_grows() -> None:
    factors = [times_canopy(year)[0] for year in range(1, 6)]
    assert factors == sorted(factors, reverse=True)
    small = [
        times for times, cover, _ in map(times_canopy, range(1, 6)) if cover < 0.2 * 0.4 + 1e-9
    ]
    assert small and min(small) >= 2.0
    assert factors[-1] < 2.0


def test_the_leaflets_tree() -> None:
    # PRINTED: 10 ft2, 0.20 in: 1.25 gal by area, 3 gal to be given.
    canopy_m2, eto_m = 10.0 * m_from_ft(1.0) ** 2, m_from_in(0.20)
    by_area = gal_from_m3(canopy_m2 * eto_m)
    assert by_area == approx(1.25, rel=0.01)
    # The trees of the leaflet are under a fifth of full size: year 2 of ours. What the plant itself
    # takes (beyond Kc min, which is the bare ground's) lies between its canopy's share and the
    # leaflet's, and with the ground's own loss it is no less than the leaflet gives.
    times, cover, kcb = times_canopy(2)
    plant = by_area * (kcb - KC_MIN) / cover
    assert by_area < plant < 3.0
    assert 3.0 <= by_area * times < 1.5 * 3.0
