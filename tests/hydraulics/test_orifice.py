"""One drilled hole."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hydraulics_rows import hole_passes_m3_s, torricelli_m3_s

from controller.errors import OutOfRange
from controller.hydraulics.physics.orifice import (
    discharge_coefficient,
    first_drip_head_m,
    hole_law,
)
from controller.hydraulics.physics.pipe import PIPES

BORE_M, WALL_M = 0.0015875, PIPES["3/4 in"].wall_m


@given(head_m=st.floats(-50.0, 0.0))
def test_a_hole_above_the_grade_line_gives_nothing(head_m: float) -> None:
    flow = hole_passes_m3_s(head_over_hole_m=head_m, bore_m=BORE_M, discharge_coefficient=0.8)
    assert flow == 0.0


@given(head_m=st.floats(1e-6, 50.0))
def test_four_times_the_head_doubles_the_flow(head_m: float) -> None:
    one = hole_passes_m3_s(head_over_hole_m=head_m, bore_m=BORE_M, discharge_coefficient=0.8)
    four = hole_passes_m3_s(head_over_hole_m=4 * head_m, bore_m=BORE_M, discharge_coefficient=0.8)
    assert four == pytest.approx(2 * one, rel=1e-12)


@given(head_m=st.floats(1e-6, 50.0), coefficient=st.floats(0.5, 1.0))
def test_a_constant_coefficient_is_torricellis_law(head_m: float, coefficient: float) -> None:
    figures = {"head_over_hole_m": head_m, "bore_m": BORE_M, "discharge_coefficient": coefficient}
    assert hole_passes_m3_s(**figures) == pytest.approx(torricelli_m3_s(**figures), rel=1e-12)


@pytest.mark.parametrize("bore_m", [nan, 0.0, -0.001])
def test_a_bore_that_is_none_is_refused(bore_m: Any) -> None:
    with pytest.raises(OutOfRange, match="bore_m"):
        hole_law(bore_m=bore_m, discharge_coefficient=0.8)


@given(ratio=st.floats(0.02, 2.3))
def test_a_thicker_wall_never_passes_less_until_the_tube_runs_full(ratio: float) -> None:
    thin = discharge_coefficient(wall_m=ratio * BORE_M, bore_m=BORE_M)
    thick = discharge_coefficient(wall_m=(ratio + 0.05) * BORE_M, bore_m=BORE_M)
    assert 0.55 < thin <= thick + 2e-4 < 0.82


def test_a_sixteenth_inch_hole_in_three_quarter_pipe_runs_as_a_short_tube() -> None:
    # PRINTED (Idelchik, see orifice.py): the wall is 1.97 bores thick, and a tube that long runs
    # full: 0.80, not the thin plate's 0.61.
    assert pytest.approx(1.97, abs=0.005) == WALL_M / BORE_M
    assert discharge_coefficient(wall_m=WALL_M, bore_m=BORE_M) == pytest.approx(0.80, abs=0.005)


def test_a_wall_of_more_than_ten_bores_is_refused() -> None:
    with pytest.raises(OutOfRange, match="wall_m/bore_m"):
        discharge_coefficient(wall_m=0.0102, bore_m=0.001)


def test_a_wider_hole_drips_sooner() -> None:
    assert first_drip_head_m(0.003) < first_drip_head_m(0.0015)
