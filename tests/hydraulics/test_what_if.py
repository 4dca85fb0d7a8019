"""What small changes do to a zone, and how a row's water is shared out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.uniformity import emission_uniformity
from support.wording import said

from controller.errors import InputError
from controller.garden.model import Watering
from controller.garden.plumbing import Opening
from controller.hydraulics.design.what_if import WORN, Change, WhatIf, what_if
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.row_shares import (
    drained_share,
    grade_of,
    row_shares,
)
from controller.hydraulics.network.uniformity import low_quarter_uniformity, real_uniformity
from controller.paper.advice import what_if_text

HABITS = Watering(windows=())
ALONE = frozenset(("ash",))


def _by_change(found: tuple[WhatIf, ...]) -> dict[Change, WhatIf]:
    return {one.change: one for one in found}


def test_each_change_is_tried_once_and_a_neighbour_only_where_there_is_one() -> None:
    all_six = {"tilt up", "tilt down", "drain", "plugged tail", "worn hole", "together"}
    found = what_if(a_garden(a_zone("ash"), a_zone("bay")), "ash")
    assert {one.change for one in found} == all_six
    assert len(found) == 6
    assert set(_by_change(what_if(a_garden(a_zone("ash")), "ash"))) == all_six - {"together"}


def test_a_tilt_is_what_the_same_garden_measured_tilted_gives() -> None:
    # The change solved by what_if against the garden written down with it.
    found = _by_change(what_if(a_garden(a_zone("ash")), "ash"))["tilt up"]
    tilted = Lines(a_garden(a_zone("ash", a_row(far_height_m=0.01)))).open_set(ALONE).zones["ash"]
    assert found.flow_m3_s == pytest.approx(tilted.flow_m3_s, rel=1e-9)
    assert found.evenness == pytest.approx(real_uniformity(tilted.holes, HABITS), rel=1e-9)


def test_a_centimetre_matters_to_a_throttled_row_and_not_to_an_open_one() -> None:
    slow = a_zone("ash", opening=Opening(alone_flow_m3_s=1.5 / 60000))
    throttled = _by_change(what_if(a_garden(slow), "ash"))["tilt up"]
    open_row = _by_change(what_if(a_garden(a_zone("ash")), "ash"))["tilt up"]
    # WORKED: a pipe of 0.96 takes sqrt(0.04^2 + 0.07^2) - 0.07 = 1 point off a row of 0.93.
    assert throttled.evenness_before - throttled.evenness > 0.008
    assert open_row.evenness_before - open_row.evenness < 0.001
    # A valve that decides the flow holds it: the tilt only moves water along the row.
    assert abs(throttled.flow_change) < 0.001


def test_a_measured_flow_is_kept_as_a_loss_and_not_as_a_flow() -> None:
    # Half the supply's head must mean less flow although the garden file gives a flow.
    slow = a_zone("ash", opening=Opening(alone_flow_m3_s=10 / 60000))
    other = a_zone("bay", a_row(length_m=6.0))
    together = _by_change(what_if(a_garden(slow, other), "ash"))["together"]
    assert together.flow_change < -0.3
    tail = _by_change(what_if(a_garden(slow), "ash"))["plugged tail"]
    assert tail.flow_m3_s < 10 / 60000 * (1 - 1e-6)


def test_a_worn_hole_at_a_held_head_passes_the_square_of_its_bore() -> None:
    # WORKED: one hole of 16 at 1.2 the bore, where the head hardly moves, adds (1.44 - 1)/16 of the
    # row's flow: 2.75 %. The drill's wall over bore, which sets Cd, is kept (a given Cd).
    strong = replace(a_garden().supply, static_head_m=2.0, test_head_m=1.999, test_flow_m3_s=1e-3)
    garden = a_garden(a_zone("ash", take_off_k=0.0, main_run_m=0.0), supply=strong)
    worn = _by_change(what_if(garden, "ash"))["worn hole"]
    assert worn.flow_change == pytest.approx((WORN**2 - 1) / 16, rel=0.03)


def test_a_drain_hole_takes_its_share_and_is_tried_off_where_there_is_one() -> None:
    drilling = a_drilling(drain_bore_m=0.002, drain_every_m=2.4384)
    garden = a_garden(a_zone("ash", a_row(drilling)))
    without = _by_change(what_if(garden, "ash"))["drain"]
    assert said(without.message).startswith("without its drain holes")
    assert without.flow_change < 0.0
    dry = a_garden(a_zone("ash"))
    assert _by_change(what_if(dry, "ash"))["drain"].flow_change > 0.0
    zone = Lines(garden).open_set(ALONE).zones["ash"]
    assert 0.05 < drained_share(zone) < 0.15


def test_an_unknown_zone_is_refused_and_a_dry_one_has_nothing_to_tell() -> None:
    with pytest.raises(InputError, match="no zone"):
        what_if(a_garden(a_zone("ash")), "oak")
    dry = a_garden(a_zone("ash", rise_m=60.0))
    assert what_if(dry, "ash") == ()
    assert what_if_text((), us=False) == ""


def test_the_text_fits_eighty_columns_in_both_units() -> None:
    found = what_if(a_garden(a_zone("ash"), a_zone("bay")), "ash")
    for us in (False, True):
        text = what_if_text(found, us=us)
        assert max(map(len, text.splitlines())) <= 80
        assert ("gal/min" in text) == us
        assert "-0 %" not in text


@given(
    length=st.floats(1.0, 15.0),
    loss_k=st.sampled_from([0.0, 1e4, 1e6]),
    tilt=st.floats(-0.03, 0.03),
    plugged=st.sets(st.integers(1, 6)),
)
@settings(max_examples=30)
def test_a_rows_holes_sum_to_its_flow_and_the_low_quarter_is_the_weakest(
    length: float, loss_k: float, tilt: float, plugged: Any
) -> None:
    row = a_row(
        a_drilling(drain_bore_m=0.0015875, drain_every_m=3.0),
        length_m=length,
        far_height_m=tilt,
        plugged_holes=tuple(plugged),
    )
    zone = a_zone("ash", row, opening=Opening(loss_k=loss_k))
    flow = Lines(a_garden(zone)).open_set(ALONE).zones["ash"].rows[0]
    shares = row_shares(flow, HABITS)
    running = [h for h in shares.holes if h.kind == "hole" and not h.plugged]
    if not running or flow.flow_m3_s <= 0.0:
        assert shares.uniformity == 0.0
        return
    assert sum(h.flow_m3_s for h in shares.holes) == pytest.approx(flow.flow_m3_s, rel=1e-9)
    low = [h.flow_m3_s for h in running if h.low_quarter]
    assert len(low) == (len(running) + 3) // 4
    assert max(low) <= min([h.flow_m3_s for h in running if not h.low_quarter] or [max(low)])
    pipe = low_quarter_uniformity([h.flow_m3_s for h in running])
    assert flow.evenness == pytest.approx(pipe, rel=1e-9)
    assert shares.uniformity == real_uniformity(flow.holes, HABITS)
    # The published formula knows no error of level.
    drilled = row_shares(flow, replace(HABITS, level_error_m=0.0))
    flows = [h.flow_m3_s for h in running]
    emission = emission_uniformity(
        least_flow=min(flows),
        mean_flow=sum(flows) / len(flows),
        scatter_fraction=HABITS.drilling_scatter,
    )
    assert emission <= drilled.uniformity + 1e-9


def test_classes_are_those_of_practice() -> None:
    # PRINTED (from memory): ASAE EP405/EP458 usage: 90, 80, 70 %.
    assert [grade_of(du) for du in (0.95, 0.90, 0.89, 0.8, 0.7, 0.69, 0.0)] == [
        "excellent",
        "excellent",
        "good",
        "good",
        "fair",
        "poor",
        "poor",
    ]
