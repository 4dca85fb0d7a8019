"""Where the holes of a row sit, and what drains from it."""

from __future__ import annotations

from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hydraulics_gardens import a_drilling, a_row

from controller.errors import InputError
from controller.garden.plumbing import Face, Walls
from controller.hydraulics.network.geometry import drained_m3, drilled_holes, height_m, volume_m3

OUTSIDE_M = 1.050 * 0.0254
ROW_M3 = pi / 4 * (0.804 * 0.0254) ** 2 * 2.4384


def test_an_eight_foot_row_every_six_inches_has_sixteen_holes() -> None:
    holes = drilled_holes(a_row(), 0.0)
    assert [hole.number for hole in holes] == list(range(1, 17))
    # WORKED: from 3 in to 93 in.
    assert holes[0].x_m == pytest.approx(0.0762)
    assert holes[-1].x_m == pytest.approx(2.3622)


def test_a_last_station_at_the_very_end_is_drilled() -> None:
    row = a_row(a_drilling(every_m=0.3, first_m=0.3), length_m=0.3 * 7)
    assert len(drilled_holes(row, 0.0)) == 7


def test_a_group_stands_around_its_station() -> None:
    row = a_row(a_drilling(every_m=1.0, first_m=0.5, group=3, group_gap_m=0.03))
    # WORKED: stations at 0.5 and 1.5 m.
    assert [hole.x_m for hole in drilled_holes(row, 0.0)] == pytest.approx(
        [0.47, 0.5, 0.53, 1.47, 1.5, 1.53]
    )


def test_a_hole_that_falls_off_the_pipe_is_not_drilled() -> None:
    row = a_row(a_drilling(every_m=1.0, first_m=0.01, group=3, group_gap_m=0.03), length_m=1.02)
    # WORKED: stations at 0.01 and 1.01 m; of each group one lies off the pipe.
    assert [hole.x_m for hole in drilled_holes(row, 0.0)] == pytest.approx([0.01, 0.04, 0.98, 1.01])


@pytest.mark.parametrize(("face", "height"), [(Face.DOWN, -0.5), (Face.SIDE, 0.0), (Face.UP, 0.5)])
def test_a_mouth_sits_on_the_wall_it_is_drilled_through(face: Face, height: float) -> None:
    holes = drilled_holes(a_row(a_drilling(face=face)), -0.2)
    assert {round(hole.z_m, 9) for hole in holes} == {round(-0.2 + height * OUTSIDE_M, 9)}


@pytest.mark.parametrize("face", [Face.DOWN, Face.UP])
def test_through_both_walls_upright_a_pair_differs_by_the_outside_diameter(face: Face) -> None:
    holes = drilled_holes(a_row(a_drilling(face=face, walls=Walls.BOTH)), 0.0)
    assert len(holes) == 32
    assert holes[0].x_m == holes[1].x_m
    assert abs(holes[0].z_m - holes[1].z_m) == pytest.approx(OUTSIDE_M, abs=1e-12)


def test_through_both_walls_sideways_a_pair_is_level() -> None:
    holes = drilled_holes(a_row(a_drilling(walls=Walls.BOTH)), 0.0)
    assert holes[0].z_m == holes[1].z_m


def test_drain_holes_look_down_from_half_their_distance_on() -> None:
    drilling = a_drilling(face=Face.UP, drain_bore_m=0.001, drain_every_m=0.8)
    drains = [hole for hole in drilled_holes(a_row(drilling), 0.0) if hole.kind == "drain"]
    # WORKED: half of 0.8 m, then every 0.8 m.
    assert [hole.x_m for hole in drains] == pytest.approx([0.4, 1.2, 2.0])
    assert [hole.number for hole in drains] == [1, 2, 3]
    assert drains[0].z_m == pytest.approx(-OUTSIDE_M / 2)


def test_drain_holes_do_not_change_the_numbers_of_the_holes() -> None:
    with_drains = a_row(a_drilling(drain_bore_m=0.001, drain_every_m=0.8), plugged_holes=(5,))
    plugged = [hole for hole in drilled_holes(with_drains, 0.0) if hole.plugged]
    assert [(hole.kind, hole.number) for hole in plugged] == [("hole", 5)]
    assert plugged[0].x_m == pytest.approx(0.0762 + 4 * 0.1524)


def test_a_tail_beyond_a_plug_is_out_of_use() -> None:
    holes = drilled_holes(a_row(plugged_beyond_m=1.0), 0.0)
    assert [hole.number for hole in holes if not hole.plugged] == [1, 2, 3, 4, 5, 6, 7]


def test_a_plugged_row_has_no_open_hole() -> None:
    assert all(hole.plugged for hole in drilled_holes(a_row(plugged=True), 0.0))


def test_a_plugged_hole_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match="16 holes"):
        drilled_holes(a_row(plugged_holes=(17,)), 0.0)


def test_a_coefficient_of_the_gardeners_own_stands() -> None:
    assert {hole.discharge_coefficient for hole in drilled_holes(a_row(), 0.0)} == {0.80}


def test_without_one_it_comes_from_wall_over_bore() -> None:
    holes = drilled_holes(a_row(a_drilling(discharge_coefficient=None)), 0.0)
    # PRINTED: a short tube that runs full, 0.80 to 0.82 (handbooks; orifice.py names them).
    assert holes[0].discharge_coefficient == pytest.approx(0.80, abs=0.005)


def test_a_row_keeps_its_measured_heights() -> None:
    row = a_row(inlet_height_m=0.10, middle_height_m=-0.03, far_height_m=0.04)
    assert height_m(row, 0.0) == pytest.approx(0.10, abs=1e-12)
    assert height_m(row, row.length_m / 2) == pytest.approx(0.07 - 0.03, abs=1e-12)
    assert height_m(row, row.length_m) == pytest.approx(0.04, abs=1e-12)


def test_a_row_holds_a_cylinder_of_water() -> None:
    assert volume_m3(a_row()) == pytest.approx(ROW_M3, rel=1e-12)
    assert volume_m3(a_row(plugged_beyond_m=1.2192)) == pytest.approx(ROW_M3 / 2, rel=1e-12)
    assert volume_m3(a_row(plugged=True)) == 0.0


@pytest.mark.parametrize(
    ("changes", "share"),
    [
        ({"face": Face.DOWN}, 1.0),
        ({"face": Face.SIDE}, 0.5),
        ({"face": Face.UP}, 0.0),
        ({"face": Face.UP, "drain_bore_m": 0.001, "drain_every_m": 1.0}, 1.0),
        ({"face": Face.UP, "walls": Walls.BOTH}, 1.0),
    ],
)
def test_what_drains_of_a_level_row_is_what_lies_above_its_holes(
    changes: dict[str, Any], share: float
) -> None:
    assert drained_m3(a_row(a_drilling(**changes))) == pytest.approx(share * ROW_M3, abs=1e-12)


def test_a_plugged_row_drains_nothing() -> None:
    assert drained_m3(a_row(plugged=True)) == 0.0


def test_a_sag_between_two_holes_keeps_its_water() -> None:
    ends = a_drilling(every_m=2.0, first_m=0.2192, face=Face.DOWN)
    level, sagging = a_row(ends), a_row(ends, middle_height_m=-0.1)
    assert drained_m3(level) == pytest.approx(ROW_M3)
    assert 0.0 < drained_m3(sagging) < 0.5 * ROW_M3


def test_a_tilted_row_with_holes_up_empties_down_to_its_lowest_hole() -> None:
    # WORKED: 0.5 m of fall over a pipe of 20 mm: all but the stretch below the last hole and the
    # slanted tip above it, within a tenth of the row.
    row = a_row(a_drilling(face=Face.UP), far_height_m=-0.5)
    assert 0.85 * ROW_M3 < drained_m3(row) < 0.97 * ROW_M3


@given(
    inlet=st.floats(-0.1, 0.1),
    middle=st.floats(-0.1, 0.1),
    far=st.floats(-0.1, 0.1),
    face=st.sampled_from(list(Face)),
)
def test_no_row_drains_more_than_it_holds(
    inlet: float, middle: float, far: float, face: Face
) -> None:
    row = a_row(
        a_drilling(face=face), inlet_height_m=inlet, middle_height_m=middle, far_height_m=far
    )
    assert -1e-15 <= drained_m3(row) <= volume_m3(row) * (1 + 1e-12)


@given(
    inlet=st.floats(-0.1, 0.1),
    middle=st.floats(-0.1, 0.1),
    far=st.floats(-0.1, 0.1),
)
def test_turning_the_holes_down_never_drains_less(inlet: float, middle: float, far: float) -> None:
    heights = {"inlet_height_m": inlet, "middle_height_m": middle, "far_height_m": far}
    up, side, down = (
        drained_m3(a_row(a_drilling(face=face), **heights))
        for face in (Face.UP, Face.SIDE, Face.DOWN)
    )
    assert up <= side + 1e-12 <= down + 2e-12
