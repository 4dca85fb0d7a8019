"""The ground a drilled row wets; areas held against a fine grid of points."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.gardens import a_garden, a_row, a_zone

from controller.garden.plumbing import Drilling, Face, Row, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.jets import DETACHED_VELOCITY_COEFFICIENT, reach_m
from controller.timetable.need.wetted_area import (
    disc_of_a_line_m2,
    side_reach_m,
    wet_ground_m2,
    zone_wet_ground_m2,
)
from crops.catalogue import load

LOAM = load().soil("loam")  # discs of 0.45 m


def drilled(every_m: float, *, group: int = 1, gap_m: float = 0.025, **row: object) -> Row:
    """Ten stations' length of a row on wide ground."""
    drilling = Drilling(
        bore_m=0.0016, every_m=every_m, first_m=every_m / 2, group=group, group_gap_m=gap_m
    )
    plain = a_row(drilling=drilling, ground_width_m=1.2)
    return replace(plain, length_m=10.0 * every_m, **row)  # type: ignore[arg-type]


def counted_m2(every_m: float, offsets_m: list[float], diameter_m: float) -> float:
    """One station's share of the union of discs, by counting points of a grid."""
    stations = np.arange(-8, 9) * every_m
    centres = (stations[:, None] + np.asarray(offsets_m)[None, :]).ravel()
    along = (np.arange(600) + 0.5) / 600 * every_m - every_m / 2
    across = ((np.arange(1200) + 0.5) / 1200 - 0.5) * diameter_m
    near = np.abs(along[:, None] - centres[None, :]).min(axis=1)
    covered = near[:, None] ** 2 + across[None, :] ** 2 <= (diameter_m / 2) ** 2
    return float(covered.mean()) * every_m * diameter_m


@settings(max_examples=60)
@given(every_m=st.floats(0.05, 1.5), diameter_m=st.floats(0.2, 0.8))
def test_discs_along_a_line_cover_what_a_grid_counts(every_m: float, diameter_m: float) -> None:
    found = disc_of_a_line_m2(diameter_m=diameter_m, every_m=every_m)
    # At most 8 discs to either side overlap a station; a grid cell is some 1e-3 of the area.
    if every_m > diameter_m / 8:
        assert found == approx(counted_m2(every_m, [0.0], diameter_m), rel=5e-3)
    assert found <= min(pi / 4 * diameter_m**2, every_m * diameter_m) + 1e-12


@settings(max_examples=60)
@given(every_m=st.floats(0.1, 1.0), group=st.integers(1, 6), gap_m=st.floats(0.01, 0.06))
def test_groups_of_holes_wet_what_a_grid_counts(every_m: float, group: int, gap_m: float) -> None:
    """Gaps within a group are small beside a disc: the scallops between are left out, 0.5 %."""
    row = drilled(every_m, group=group, gap_m=gap_m)
    offsets = [(n - (group - 1) / 2) * gap_m for n in range(group)]
    counted = counted_m2(every_m, offsets, 0.45)
    assert wet_ground_m2(row, LOAM) == approx(10.0 * counted, rel=1e-2)


def test_holes_near_together_wet_the_whole_strip() -> None:
    row = drilled(0.05)
    assert wet_ground_m2(row, LOAM) == approx(row.length_m * 0.45, rel=0.01)


def test_groups_at_big_plants_wet_a_disc_each() -> None:
    # WORKED: ten discs of 0.45 m: 10 * pi / 4 * 0.45**2 = 1.590 m2 of 10 m of row.
    row = drilled(1.0)
    assert wet_ground_m2(row, LOAM) == approx(1.590, abs=5e-4)
    zone = a_zone(rows=(row,))
    # What soaks in, evaporates and is within reach of roots is the same ground.
    assert zone_wet_ground_m2(zone, LOAM, Lines(a_garden(zone))) == approx(1.590, abs=5e-4)


def test_a_row_through_both_walls_wets_two_strips_as_far_apart_as_its_streams_land() -> None:
    near = drilled(0.05, ground_width_m=1.5)
    both = replace(near, drilling=replace(near.drilling, walls=Walls.BOTH))
    one = wet_ground_m2(near, LOAM)
    assert wet_ground_m2(both, LOAM) == approx(one)  # no throw, one strip
    # WORKED: strips 0.45 m wide, 0.1 m to either side: 0.45 + 0.2 of 0.45 m; apart: twice one.
    assert wet_ground_m2(both, LOAM, reach_m=0.1) == approx(one * 0.65 / 0.45)
    assert wet_ground_m2(both, LOAM, reach_m=0.4) == approx(2.0 * one)
    narrow = replace(both, ground_width_m=0.6)
    assert wet_ground_m2(narrow, LOAM, reach_m=0.4) == approx(narrow.ground_m2)


def test_the_gardeners_own_width_goes_before_the_soils() -> None:
    own = drilled(0.05, wetted_width_m=0.2)
    assert wet_ground_m2(own, LOAM) == approx(own.length_m * 0.2, rel=0.02)


def test_no_row_wets_more_than_its_ground() -> None:
    narrow = replace(drilled(0.1), ground_width_m=0.3)
    assert wet_ground_m2(narrow, LOAM) <= narrow.ground_m2
    both = replace(narrow, drilling=replace(narrow.drilling, walls=Walls.BOTH))
    assert wet_ground_m2(both, LOAM, reach_m=2.0) == approx(narrow.ground_m2)


@pytest.mark.parametrize("every_m", [0.1, 1.0])
def test_streams_to_one_side_shift_the_strip_and_do_not_widen_it(every_m: float) -> None:
    row = drilled(every_m)
    side = replace(row, drilling=replace(row.drilling, face=Face.SIDE))
    assert wet_ground_m2(side, LOAM, reach_m=0.25) == wet_ground_m2(row, LOAM)


def test_rows_that_look_aside_or_through_both_walls_throw_aside() -> None:
    down = a_row()
    side = replace(down, drilling=replace(down.drilling, face=Face.SIDE))
    both = replace(side, drilling=replace(side.drilling, walls=Walls.BOTH))
    zone = a_zone(rows=(down, side, both))
    lines = Lines(a_garden(zone))
    assert side_reach_m(zone, 0, lines) == 0.0
    assert side_reach_m(zone, 2, lines) > 0.0
    flow = lines.open_set(frozenset("a")).zones["a"].rows[1]
    heads = [hole.head_m - hole.z_m for hole in flow.holes]
    # Between the throws of the weakest and the strongest hole.
    low, high = (
        reach_m(
            head_m=head,
            drop_m=side.pipe.outside_m / 2,
            velocity_coefficient=DETACHED_VELOCITY_COEFFICIENT,
        )
        for head in (min(heads), max(heads))
    )
    assert 0.0 < low <= side_reach_m(zone, 1, lines) <= high
