"""Rows that never fill, holes above the water, heads too small to count on: and the way out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.wording import said

from controller.garden.model import Garden
from controller.garden.plumbing import Face, Opening, Row, Supply, Walls
from controller.hydraulics.design.row_warnings import doubtful_rows, opening_warning, stream_warning
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.physics.orifice import first_drip_head_m
from controller.wording.say import say

# A level 20 ft row of 40 holes.
LONG = a_row(length_m=6.096)


def alone(garden: Garden) -> ZoneFlow:
    return Lines(garden).open_set(frozenset(["ash"])).zones["ash"]


def throttled(row: Row, flow_m3_s: float, **changes: object) -> ZoneFlow:
    zone = a_zone("ash", row, opening=Opening(alone_flow_m3_s=flow_m3_s), **changes)
    return alone(a_garden(zone))


def shortest_over_m(flow: ZoneFlow) -> float:
    return min(h.head_m - h.z_m for r in flow.rows for h in r.holes if not h.plugged)


def test_a_row_under_a_good_head_leaves_no_doubt() -> None:
    assert doubtful_rows(alone(a_garden(a_zone("ash")))) == ()
    # WORKED: 3 in of head over every hole is four times what surface tension holds.
    assert doubtful_rows(throttled(LONG, 4.4e-3 / 60)) == ()


def test_a_rising_row_with_little_water_never_fills_to_its_end() -> None:
    # 2 in of rise and 1.58 L/min: at 1.5 in of inlet head 11 of the 40 holes are dry (RECORDED from
    # EPANET 2.2 for this row and its heads, with 0.80 as coefficient). At 2 cm of head slow water
    # has 0.73 (Lichtarowicz): the same flow stands 1/5 higher over the holes, and reaches two more.
    flow = throttled(replace(LONG, far_height_m=0.0508), 1.58e-3 / 60)
    never, *others = doubtful_rows(flow)
    assert never.kind == "never fills"
    assert len(never.holes) == pytest.approx(9, abs=1)
    assert never.holes[-1] == 40
    assert [doubt.kind for doubt in others] == ["may not run"]
    assert "never fills beyond" in said(never.message)
    assert "open the valve until it gives about" in said(never.message)


def test_opening_the_valve_as_far_as_is_said_makes_every_hole_run() -> None:
    row = replace(LONG, far_height_m=0.0508)
    warnings = doubtful_rows(throttled(row, 1.58e-3 / 60))
    more = throttled(row, 1.05 * max(doubt.flow_m3_s for doubt in warnings))
    assert more.dry_holes == 0
    assert shortest_over_m(more) > 0.8 * first_drip_head_m(0.0015875)


def test_nobody_is_told_to_open_a_valve_beyond_wide_open() -> None:
    flow = throttled(replace(LONG, far_height_m=0.0508), 1.58e-3 / 60)
    told = doubtful_rows(flow)[0]
    assert "open the valve" in said(told.message)
    enough, short = (
        doubtful_rows(flow, most_m3_s=part * told.flow_m3_s)[0] for part in (1.01, 0.99)
    )
    assert enough == told
    assert "open the valve" not in said(short.message) and "lower the pipe" in said(short.message)


def test_holes_of_one_wall_are_named_in_one_breath() -> None:
    pairs = a_drilling(every_m=0.0762, first_m=0.0381, walls=Walls.BOTH, face=Face.DOWN)
    warnings = doubtful_rows(throttled(a_row(pairs, length_m=6.096), 1.5e-3 / 60))
    assert any("every second" in said(doubt.message) for doubt in warnings)
    assert max(len(said(doubt.message)) for doubt in warnings) < 500


def test_plugging_as_many_as_is_said_makes_the_others_run() -> None:
    flow = throttled(LONG, 1.6e-3 / 60)
    (doubt,) = doubtful_rows(flow)
    assert doubt.kind == "may not run"
    # Every so many stay open, evenly spread.
    keep = 40 - doubt.plug
    left = {1 + round(i * 39 / (keep - 1)) for i in range(keep)}
    plugged = tuple(n for n in range(1, 41) if n not in left)
    mended = throttled(replace(LONG, plugged_holes=plugged), 1.6e-3 / 60)
    assert shortest_over_m(mended) > 0.9 * first_drip_head_m(0.0015875)
    assert shortest_over_m(flow) < 0.6 * first_drip_head_m(0.0015875)


def test_a_hump_leaves_its_own_holes_dry_and_not_the_far_end() -> None:
    flow = throttled(replace(LONG, middle_height_m=0.0508), 1.5e-3 / 60)
    dry = next(doubt for doubt in doubtful_rows(flow) if doubt.kind == "stays dry")
    assert 1 not in dry.holes
    assert 40 not in dry.holes
    assert "lower the pipe there by" in said(dry.message)


def test_a_full_open_row_on_a_low_barrel_is_told_to_plug_and_not_to_open_further() -> None:
    barrel = Supply(static_head_m=0.25, test_head_m=0.0, test_flow_m3_s=3e-5)
    doubts = doubtful_rows(alone(a_garden(a_zone("ash", LONG), supply=barrel)))
    assert doubts
    assert all("open the valve" not in said(doubt.message) for doubt in doubts)
    assert any("plug about" in said(doubt.message) for doubt in doubts)


def test_a_row_without_any_water_has_nothing_to_scale_from() -> None:
    barrel = Supply(static_head_m=1.2, test_head_m=0.3, test_flow_m3_s=3e-4)
    (doubt,) = doubtful_rows(alone(a_garden(a_zone("ash", rise_m=1.21), supply=barrel)))
    assert (doubt.kind, doubt.flow_m3_s, doubt.plug) == ("never fills", 0.0, 0)
    # WORKED: 1 cm above the still water, and the 19 mm that surface tension holds at 1/16 in.
    assert doubt.raise_m == pytest.approx(0.010 + 0.0187, abs=5e-4)


def test_small_holes_hold_more_water_back_than_large_ones() -> None:
    # WORKED: 4 sigma/(rho g d): 25 mm for 3/64 in, 9 mm for 1/8 in; 15 mm of head is between.
    for bore_m, doubtful in ((0.0011906, True), (0.003175, False)):
        drilling = a_drilling(bore_m=bore_m)
        row = a_row(drilling, length_m=0.5)
        supply = Supply(static_head_m=0.015, test_head_m=0.0, test_flow_m3_s=1.0)
        flow = alone(a_garden(a_zone("ash", row, main_run_m=0.0, take_off_k=0.0), supply=supply))
        assert bool(doubtful_rows(flow)) is doubtful


def test_words_are_in_the_gardeners_units() -> None:
    flow = throttled(LONG, 1.6e-3 / 60)
    assert " gal/min" in say(doubtful_rows(flow)[0].message, us=True)
    assert " L/min" in say(doubtful_rows(flow)[0].message, us=False)


def test_a_stream_read_above_two_psi_is_doubted_and_a_small_one_is_not() -> None:
    zone = a_zone("ash", opening=Opening(stream_m=0.3))
    strong = alone(a_garden(a_zone("ash", opening=Opening(loss_k=2e3))))
    weak = alone(a_garden(a_zone("ash", opening=Opening(loss_k=1e5))))
    assert "the air takes an eighth" in said(stream_warning(zone, strong))
    assert stream_warning(zone, weak) is None
    assert stream_warning(a_zone("ash"), strong) is None


def test_an_unknown_opening_is_doubted_until_its_loss_is_known() -> None:
    zone = a_zone("ash", opening=Opening(unknown=True))
    flow = alone(a_garden(a_zone("ash", opening=Opening(loss_k=1e4))))
    warning = opening_warning(zone, flow, zone.take_off_k + 1e4)
    assert "5.08 L/min alone; the true flow may be a third" in said(warning)
    assert opening_warning(zone, flow, 2e4) is None
    assert opening_warning(a_zone("ash"), flow, 4.0 + 1e4) is None
