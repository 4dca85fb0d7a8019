"""A valve from what was seen: flows and streams led back through the network, there and back."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone

from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.plumbing import Face, Opening, Supply, Walls
from controller.hydraulics.network.geometry import coefficient_at, drilled_holes
from controller.hydraulics.network.main_tree import MainTree
from controller.hydraulics.network.supplies import planning_curve
from controller.hydraulics.network.valve_opening import Alone, seen_hole
from controller.hydraulics.physics import jets
from controller.hydraulics.physics.orifice import Water
from controller.hydraulics.physics.pipe import viscosity_m2_s

UP = a_drilling(face=Face.UP)
SIDE = a_drilling(face=Face.SIDE)
DOWN = a_drilling(face=Face.DOWN)


def alone(garden: Garden, name: str = "ash") -> Alone:
    zone = garden.zone(name)
    return Alone(
        zone,
        [drilled_holes(row, zone.rise_m) for row in zone.rows],
        supply=planning_curve(garden.supply),
        main=MainTree.of(garden),
        water=Water(viscosity_m2_s=viscosity_m2_s()),
        us_units=garden.us_units,
    )


def a_stream(opening: Opening, drilling: Any = UP, **changes: Any) -> Alone:
    return alone(a_garden(a_zone("ash", a_row(drilling), opening=opening, **changes)))


def coefficient_of(found: Alone, over_m: float) -> float:
    """Of the first hole, which runs full, at a head."""
    return coefficient_at(found._holes[0][0], found._water, over_m)


@pytest.mark.parametrize("stream_m", [0.045, 0.0762, 0.225, 0.45])
def test_a_stream_tells_the_flow_of_a_short_row(stream_m: float) -> None:
    # WORKED: a hole running full gives a sqrt(2 g z), whatever its coefficient; the 16 holes of a
    # level 8 ft row differ by less than 0.5 %. At 0.225 m that is 0.25 L/min a hole.
    found = a_stream(Opening(stream_m=stream_m))
    area_m2 = 3.14159265 / 4 * 0.0015875**2
    hole_m3_s = area_m2 * jets.exit_speed_from_height_m_s(stream_m)
    assert found.flow_m3_s(found.loss_k()) == pytest.approx(16 * hole_m3_s, rel=5e-3)


def test_a_reach_tells_the_flow_of_a_short_row() -> None:
    found = a_stream(Opening(reach_m=0.37, reach_drop_m=0.15), SIDE)
    # WORKED: 0.37 m from 0.15 m up is 2.12 m/s: 0.252 L/min through 1/16 in.
    assert found.flow_m3_s(found.loss_k()) * 60000 / 16 == pytest.approx(0.252, rel=0.01)


def test_the_printed_throttled_row_comes_back_from_its_stream() -> None:
    # RECORDED from EPANET 2.2 (the house of test_hydraulics_tables): a row throttled by K 1e4 runs
    # at 0.82 psi, which throws 0.64 * 0.82 * 0.70307 m = 0.369 m. A stream is read to a few
    # percent, and K goes as its square: the loss comes back within a tenth.
    found = a_stream(Opening(stream_m=0.369), a_drilling(face=Face.UP), main_run_m=4.572)
    assert found.loss_k() == pytest.approx(1e4, rel=0.1)
    assert found.flow_m3_s(found.loss_k()) * 60000 == pytest.approx(5.1, rel=0.03)


@given(loss_k=st.floats(1e2, 1e7), far_m=st.floats(-0.02, 0.02))
def test_a_loss_comes_back_from_the_stream_it_makes(loss_k: float, far_m: float) -> None:
    row = a_row(UP, far_height_m=far_m)
    throttled = a_garden(a_zone("ash", row, opening=Opening(loss_k=loss_k)))
    made = alone(throttled)
    hole = made._rows_with(made._holes, made.loss_k())[0].holes[0]
    over_m = hole.head_m - hole.z_m
    high_m = jets.height_m(head_m=over_m, velocity_coefficient=coefficient_of(made, over_m))
    if high_m < 0.002:
        return
    seen = alone(a_garden(a_zone("ash", row, opening=Opening(stream_m=high_m))))
    assert seen.loss_k() == pytest.approx(made.loss_k(), rel=1e-3)


def test_the_first_open_hole_of_the_first_row_in_use_is_the_one_that_was_seen() -> None:
    rows = (a_row(UP, plugged=True), a_row(UP, plugged_holes=(1, 2), far_height_m=0.05))
    found = alone(a_garden(a_zone("ash", *rows, opening=Opening(stream_m=0.1))))
    row, place, _ = seen_hole(found.zone, found._holes, turned=False, up=True)
    assert (row, place) == (1, 2)


def test_holes_that_look_down_cannot_be_read_and_how_to_read_them_is_said() -> None:
    with pytest.raises(InputError, match=r"look down: turn the pipe to look, turn it back"):
        a_stream(Opening(stream_m=0.1), DOWN).loss_k()
    with pytest.raises(InputError, match="looks level to the side, and those of its row 1 look up"):
        a_stream(Opening(reach_m=0.1, reach_drop_m=0.1), UP).loss_k()


def test_a_pipe_turned_to_look_is_computed_as_it_lay_and_then_turned_back() -> None:
    up = a_stream(Opening(stream_m=0.1))
    turned = a_stream(Opening(stream_m=0.1, turned=True), DOWN)
    assert turned.loss_k() == pytest.approx(up.loss_k(), rel=1e-9)
    # WORKED: turned back, the holes lie 26.7 mm lower; a throttled valve hardly notices.
    back, before = turned.flow_m3_s(turned.loss_k()), up.flow_m3_s(up.loss_k())
    assert 1.0 < back / before < 1.01
    level = a_stream(Opening(reach_m=0.3, reach_drop_m=0.15), SIDE)
    was_up = a_stream(Opening(reach_m=0.3, reach_drop_m=0.15, turned=True), UP)
    assert was_up.loss_k() == pytest.approx(level.loss_k(), rel=1e-9)
    was_side = a_stream(Opening(stream_m=0.1, turned=True), SIDE)
    assert was_side.loss_k() == pytest.approx(up.loss_k(), rel=1e-9)


def test_the_upper_hole_of_a_pair_shows_its_stream_without_turning() -> None:
    found = a_stream(Opening(stream_m=0.1), a_drilling(face=Face.DOWN, walls=Walls.BOTH))
    _, place, _ = seen_hole(found.zone, found._holes, turned=False, up=True)
    assert place == 1


def test_a_stream_taller_than_the_supply_could_throw_names_the_tallest() -> None:
    # RECORDED: 1.86 m. A row of 60 holes draws the tap down: of its 35 m it keeps 3.
    long = a_row(UP, length_m=9.144)
    zone = a_zone("ash", long, opening=Opening(stream_m=3.0))
    with pytest.raises(
        InputError, match=r"3 m high .* full open the supply throws at most 1\.86 m there"
    ):
        alone(a_garden(zone)).loss_k()
    barrel = Supply(static_head_m=1.2, test_head_m=0.3, test_flow_m3_s=3e-4)
    with pytest.raises(InputError, match="throws at most"):
        alone(
            a_garden(a_zone("ash", a_row(UP), opening=Opening(stream_m=1.5)), supply=barrel)
        ).loss_k()


def test_a_stream_at_a_hole_the_water_does_not_reach_is_refused() -> None:
    barrel = Supply(static_head_m=1.2, test_head_m=0.3, test_flow_m3_s=3e-4)
    high = a_zone("ash", a_row(UP), rise_m=1.5, opening=Opening(stream_m=0.1))
    with pytest.raises(InputError, match="the supply throws none there"):
        alone(a_garden(high, supply=barrel)).loss_k()


def test_the_tallest_stream_itself_is_believed() -> None:
    full = a_stream(Opening(angle_deg=0.0))
    hole = full._rows_with(full._holes, 4.0)[0].holes[0]
    over_m = hole.head_m - hole.z_m
    tallest_m = jets.height_m(head_m=over_m, velocity_coefficient=coefficient_of(full, over_m))
    assert a_stream(Opening(stream_m=tallest_m * (1 - 1e-9))).loss_k() == pytest.approx(
        4.0, abs=0.1
    )


def test_a_stream_of_a_plugged_zone_is_refused() -> None:
    zone = a_zone("ash", a_row(UP, plugged=True), opening=Opening(stream_m=0.1))
    with pytest.raises(InputError, match="a stream was seen, but all its holes are plugged"):
        alone(a_garden(zone)).loss_k()


def test_an_unknown_opening_is_a_middle_between_a_third_and_three_times_its_flow() -> None:
    found = a_stream(Opening(unknown=True))
    middle = found.flow_m3_s(found.loss_k())
    # RECORDED from EPANET 2.2 for this row at K 1e3, 1e4, 1e5: 14.2, 5.1, 1.63 L/min.
    assert middle * 60000 == pytest.approx(5.1, rel=0.02)
    assert found.flow_m3_s(1e3) * 60000 == pytest.approx(14.2, rel=0.02)
    assert found.flow_m3_s(1e5) * 60000 == pytest.approx(1.63, rel=0.02)


def test_an_unknown_opening_gives_each_hole_alike_however_many_there_are() -> None:
    def per_hole(holes: int) -> float:
        row = a_row(UP, length_m=0.1524 * holes)
        found = alone(a_garden(a_zone("ash", row, opening=Opening(unknown=True))))
        return found.flow_m3_s(found.loss_k()) / holes

    # A third of the flow less or more is within the band; a fixed loss would be off by four.
    assert per_hole(8) == pytest.approx(per_hole(32), rel=0.3)


def test_a_measured_flow_comes_back() -> None:
    found = a_stream(Opening(alone_flow_m3_s=2.5e-5), DOWN)
    assert found.flow_m3_s(found.loss_k()) == pytest.approx(2.5e-5, rel=1e-6)
