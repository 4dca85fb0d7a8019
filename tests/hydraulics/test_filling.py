"""Filling and running out: litres and seconds of rows full open, throttled, and in company."""

from __future__ import annotations

from math import inf

import pytest
from pytest import approx
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.hydraulics_rows import NO_EFFECTS

from controller.garden.plumbing import Face, Opening, Supply
from controller.hydraulics.network.filling import line_fill
from controller.hydraulics.network.garden_lines import Lines

ASH = frozenset(["ash"])
DOWN = a_row(a_drilling(face=Face.DOWN))


@pytest.mark.parametrize(("opening", "seconds"), [(0.0, 1.7), (1.15e5, 32.0)])
def test_a_short_row_fills_in_seconds_full_open_and_in_half_a_minute_throttled(
    opening: float, seconds: float
) -> None:
    # WORKED: 8 ft of 3/4 in pipe hold 0.80 L; full open the row takes 28.8 L/min, and 1.5 L/min
    # behind K 1.15e5 (computed with EPANET 2.2: 1.46 at 1.25e5).
    zone = a_zone("ash", DOWN, opening=Opening(loss_k=opening))
    found = line_fill(Lines(a_garden(zone)), "ash", ASH)
    assert found.volume_m3 == approx(0.80e-3, rel=0.005)
    assert found.drains_m3 == approx(found.volume_m3)
    assert found.first_s == found.again_s == approx(seconds, rel=0.03)


def test_filling_takes_longer_the_more_rows_share_the_tap() -> None:
    three = a_garden(a_zone("ash", DOWN), a_zone("bay", DOWN), a_zone("elm", DOWN))
    lines = Lines(three, effects=NO_EFFECTS)
    alone = line_fill(lines, "ash", ASH)
    among = line_fill(lines, "ash", frozenset(["ash", "bay", "elm"]))
    # Computed with EPANET 2.2: 28.7 L/min alone, 13.2 among three.
    assert among.again_s / alone.again_s == approx(28.7 / 13.2, rel=0.03)
    assert among.drains_m3 == alone.drains_m3


def test_holes_up_keep_the_line_full_and_drain_holes_let_it_out() -> None:
    up = line_fill(Lines(a_garden(a_zone("ash", a_row(a_drilling(face=Face.UP))))), "ash", ASH)
    assert (up.drains_m3, up.again_s) == (approx(0.0, abs=1e-9), approx(0.0, abs=1e-5))
    assert up.first_s > 1.0
    drained = a_drilling(face=Face.UP, drain_bore_m=0.0015875, drain_every_m=1.2)
    out = line_fill(Lines(a_garden(a_zone("ash", a_row(drained)))), "ash", ASH)
    assert out.drains_m3 == approx(out.volume_m3, rel=0.01)


def test_a_line_the_water_does_not_reach_never_fills() -> None:
    barrel = Supply(static_head_m=1.2, test_head_m=0.3, test_flow_m3_s=3e-4)
    high = a_zone("ash", DOWN, rise_m=1.5)
    assert line_fill(Lines(a_garden(high, supply=barrel)), "ash", ASH).first_s == inf
