"""Rows as curves agree with the whole tree, hole by hole, over all heads a garden can have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.hydraulics_large import many_rows, random_garden
from support.hydraulics_rows import head_at, marches_counted

from controller.errors import InputError
from controller.garden.plumbing import Face, Opening, Row, Supply, Walls
from controller.hydraulics.network.assembly import solve_row
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import drilled_holes, row_shape
from controller.hydraulics.network.lateral import LateralFlow
from controller.hydraulics.network.march import RowMarch, Shape
from controller.hydraulics.network.row_curves import MOVED, RowCurve
from controller.hydraulics.network.supply_curve import Corrections
from controller.hydraulics.physics.orifice import Water
from controller.hydraulics.physics.pipe import PIPES, viscosity_m2_s

WATER = Water(viscosity_m2_s=viscosity_m2_s())
ROWS = {
    "level": a_row(),
    "long": a_row(length_m=18.0),
    "rising": a_row(length_m=9.0, far_height_m=0.1),
    "falling": a_row(length_m=9.0, far_height_m=-0.1),
    "sagging": a_row(length_m=6.0, middle_height_m=-0.05),
    "humped": a_row(length_m=6.0, middle_height_m=0.05, far_height_m=-0.03),
    "pairs": a_row(a_drilling(face=Face.DOWN, walls=Walls.BOTH)),
    "clusters": a_row(a_drilling(group=3, every_m=0.3048, bore_m=0.00198), length_m=6.0),
    "drained": a_row(a_drilling(face=Face.UP, drain_bore_m=0.0008, drain_every_m=0.8)),
    "plugged tail": a_row(length_m=9.0, plugged_beyond_m=5.5, far_height_m=0.08),
    "plugged holes": a_row(plugged_holes=(1, 2, 9, 16), middle_height_m=0.02),
    "one hole": a_row(length_m=0.1),
}
HEADS_M = [0.01 * 1.09**k for k in range(95)]  # 1 cm to 33 m


def shape_of(row: Row, rise_m: float = 0.0) -> tuple[Shape, float]:
    """A row's shape and the height of its lowest hole. [m]"""
    found = row_shape(row, drilled_holes(row, rise_m), WATER)
    assert found is not None
    return found


def curve_and_row(row: Row) -> tuple[RowCurve, float, Callable[[float], LateralFlow]]:
    """A row's curve, the height of its lowest hole, and the row hole by hole, by its inlet head."""
    holes = drilled_holes(row, 0.0)
    shape, lowest_m = shape_of(row)

    def solved(inlet_head_m: float) -> LateralFlow:
        return solve_row(row, holes, inlet_head_m, WATER)

    return RowCurve(shape, WATER.viscosity_m2_s), lowest_m, solved


@pytest.mark.parametrize("name", ROWS)
def test_a_curve_meets_the_row_solved_hole_by_hole(name: str) -> None:
    curve, lowest_m, solved = curve_and_row(ROWS[name])
    counted = [h.kind == "hole" for h in drilled_holes(ROWS[name], 0.0) if not h.plugged]
    for over_m in HEADS_M:
        exact = solved(lowest_m + over_m)
        if exact.flow_m3_s <= 0.0:
            assert over_m <= curve.sill_m
            continue
        dry = curve.settle(exact.flow_m3_s)
        if dry == MOVED:
            dry = curve.settle(exact.flow_m3_s)
        head_m, slope = head_at(curve, exact.flow_m3_s)
        # An error in the head at this flow, turned into one of the flow at this head.
        assert abs(head_m - over_m) / slope <= 1e-5 * exact.flow_m3_s, over_m
        is_dry = [q <= 0.0 for q in exact.hole_flows_m3_s]
        assert dry == sum(d and c for d, c in zip(is_dry, counted, strict=True)), over_m


@pytest.mark.parametrize("name", ROWS)
def test_head_grows_with_flow_all_along_a_curve(name: str) -> None:
    curve, _, _ = curve_and_row(ROWS[name])
    top = curve.flow_near(33.0)
    flows = [top * 0.9**k for k in range(60, -1, -1)]
    for flow in flows:
        curve.settle(flow)
    answers = [head_at(curve, flow) for flow in flows]
    assert all(a[0] < b[0] for a, b in pairwise(answers))
    assert all(slope > 0.0 for _, slope in answers)


@pytest.mark.parametrize("end_m", [1e-9, 1e-3, 0.03, 0.4, 5.0])
@pytest.mark.parametrize("name", ROWS)
def test_the_slopes_of_a_march_are_its_differences(name: str, end_m: float) -> None:
    row = ROWS[name]
    shape, _ = shape_of(row)
    water = RowMarch(shape, WATER.viscosity_m2_s)
    for pool, about in enumerate(water.pools):
        if end_m >= about.full_m:
            continue
        step = 1e-6 * end_m
        (below, here, above) = (water.march(pool, end_m + d) for d in (-step, 0.0, step))
        head, flow, head_slope, flow_slope, dry = here
        assert below[0] <= head <= above[0]
        assert below[1] < flow < above[1]
        if below[4] == dry == above[4]:
            # Heads and flows are found to 1e-11: what that leaves of their differences.
            lost = 1e-11 / (2 * step)
            assert (above[0] - below[0]) / (2 * step) == pytest.approx(
                head_slope, rel=1e-4, abs=lost * (1.0 + head)
            )
            assert (above[1] - below[1]) / (2 * step) == pytest.approx(
                flow_slope, rel=1e-4, abs=lost * flow + flow_slope * 1e-17 / step
            )


def agree(lines: Lines, zones: frozenset[str]) -> None:
    """Flows within 1e-5 of themselves, or of a thousandth of the supply's; dry holes the same.

    The second holds for zones that get a sliver: millimetres of head left of tens of metres.
    """
    quick, dry = lines.zone_flows(zones), lines.zone_dry_holes(zones)
    exact = lines.open_set(zones)
    assert set(quick) == set(dry) == set(zones)
    for name in zones:
        flow = exact.zones[name].flow_m3_s
        allowed = 1e-5 * max(flow, 0.001 * exact.supply_flow_m3_s)
        assert quick[name] == pytest.approx(flow, rel=0, abs=allowed), name
        assert dry[name] == exact.zones[name].dry_holes, name


@pytest.mark.parametrize("seed", range(12))
def test_zones_of_a_random_garden_get_what_the_whole_tree_gives_them(seed: int) -> None:
    garden = random_garden(seed, most_rows=24)
    names = [zone.name for zone in garden.zones]
    lines = Lines(garden)
    for count in {1, len(names) // 2 or 1, len(names)}:
        agree(lines, frozenset(names[-count:]))


@pytest.mark.parametrize("seed", range(4))
def test_tees_of_zones_that_are_shut_change_nothing(seed: int) -> None:
    """The quick way takes what lies between open zones as one pipe; the whole tree does not."""
    garden = many_rows(30, alike=False)
    rng = Random(seed)
    for count in (1, 2, 3, 5, 8):
        names = frozenset(zone.name for zone in rng.sample(garden.zones, count))
        lines = Lines(garden)
        quick, exact = lines.zone_flows(names), lines.open_set(names)
        for name in names:
            assert quick[name] == pytest.approx(exact.zones[name].flow_m3_s, rel=1e-7), name


def test_a_season_of_sets_is_not_all_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    lines, rng = Lines(many_rows(30, alike=True)), Random(5)
    names = [zone.name for zone in lines.garden.zones]
    first = frozenset(names[:4])
    flows = dict(lines.zone_flows(first))
    monkeypatch.setattr("controller.hydraulics.network.garden_lines._MOST_QUICK", 100)
    for _ in range(150):
        lines.zone_flows(frozenset(rng.sample(names, 4)))
        assert len(lines._quick) <= 100
    assert lines.zone_flows(first) == pytest.approx(flows, rel=1e-7)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 300))
def test_two_hundred_more_random_gardens(seed: int) -> None:
    garden = random_garden(seed)
    names = [zone.name for zone in garden.zones]
    for zones in (frozenset(names), frozenset(names[::3])):
        lines = Lines(garden)
        quick = lines.zone_flows(zones)
        by = "the whole tree" if lines._sets else "curves"
        agree(lines, zones)
        exact = {name: zone.flow_m3_s for name, zone in lines.open_set(zones).zones.items()}
        apart = [abs(quick[name] / flow - 1.0) for name, flow in exact.items() if flow > 0.0]
        print(f"seed {seed}: {len(zones)} zones by {by}, worst {max(apart, default=0.0):.1e}")


@pytest.mark.parametrize("seed", range(1000, 1012))
def test_no_tap_or_valve_is_too_strange(seed: int) -> None:
    # From a puddle to a fire main, supplies of other exponents, valves all but shut, zones above
    # the water: the curves agree with the whole tree or leave the set to it, and never break.
    rng = Random(seed)
    static_m = rng.choice([0.0, 0.01, 0.3, 3.0, 100.0, 400.0])
    garden = random_garden(seed, most_rows=12)
    garden = replace(
        garden,
        zones=tuple(
            replace(
                zone,
                rise_m=rng.choice([zone.rise_m, -3.0, 5.0, -0.01]),
                opening=Opening(loss_k=rng.choice([0.0, 1e-3, 1e5, 1e9, 1e12])),
            )
            for zone in garden.zones
        ),
        supply=Supply(
            static_head_m=static_m,
            test_head_m=static_m - rng.choice([0.005, 0.5 * static_m + 0.001]),
            test_flow_m3_s=rng.choice([1e-6, 1e-4, 1e-2]),
            exponent=rng.choice([1.0, 1.85, 2.0, 3.0]),
        ),
    )
    agree(Lines(garden), frozenset(zone.name for zone in garden.zones))


@given(
    loss_k=st.floats(0.0, 1e6),
    rise_m=st.floats(-1.0, 1.0),
    far_m=st.floats(-0.2, 0.2),
    middle_m=st.floats(-0.1, 0.1),
    static_m=st.floats(0.3, 40.0),
)
@settings(max_examples=60)
def test_two_zones_of_any_slope_get_what_the_whole_tree_gives_them(
    loss_k: float, rise_m: float, far_m: float, middle_m: float, static_m: float
) -> None:
    garden = a_garden(
        a_zone("ash", a_row(), a_row(far_height_m=far_m), rise_m=rise_m),
        a_zone(
            "bay", a_row(length_m=5.0, middle_height_m=middle_m), opening=Opening(loss_k=loss_k)
        ),
        supply=Supply(static_head_m=static_m, test_head_m=0.4 * static_m, test_flow_m3_s=4e-4),
    )
    agree(Lines(garden), frozenset(["ash", "bay"]))


def test_no_hole_is_looked_at_where_curves_will_do(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = Lines(many_rows(10, alike=False))
    monkeypatch.setattr(lines, "open_set", None)
    names = frozenset(zone.name for zone in lines.garden.zones)
    assert all(flow > 0.0 for flow in lines.zone_flows(names).values())
    assert set(lines.zone_dry_holes(names)) == names


def test_rows_drilled_alike_share_a_curve_at_any_height() -> None:
    row = ROWS["humped"]
    low, low_m = shape_of(row)
    high, high_m = shape_of(row, 1.234567)
    assert low == high
    assert high_m - low_m == pytest.approx(1.234567)


def test_a_row_wholly_plugged_has_no_curve_and_no_flow() -> None:
    row = a_row(plugged=True)
    assert row_shape(row, drilled_holes(row, 0.0), WATER) is None
    lines = Lines(a_garden(a_zone("ash", row), a_zone("bay")))
    both = frozenset(["ash", "bay"])
    assert lines.zone_flows(both)["ash"] == 0.0
    assert lines.zone_dry_holes(both)["ash"] == 0


def test_a_curve_is_not_believed_at_the_brink_or_beyond_its_ends() -> None:
    curve, _, _ = curve_and_row(ROWS["level"])
    assert curve.settle(1e-12) is None  # a drip: less than a micrometre of head
    assert curve.settle(1.0) is None  # a cubic metre a second


def test_a_row_that_eats_up_its_head_is_left_to_the_whole_tree() -> None:
    # 3/16 in every 2 in through both walls of a 40 m row: the far half stands still.
    drilling = a_drilling(bore_m=0.0047625, every_m=0.0508, walls=Walls.BOTH)
    row = a_row(drilling, length_m=40.0, pipe=PIPES["1/2 in"])
    lines = Lines(a_garden(a_zone("ash", row)))
    alone = frozenset(["ash"])
    assert lines.zone_flows(alone)["ash"] == lines.open_set(alone).zones["ash"].flow_m3_s


@pytest.mark.parametrize("seed", range(6))
def test_an_answer_does_not_depend_on_what_was_asked_before(seed: int) -> None:
    garden = random_garden(seed, most_rows=30)
    names, dice = [zone.name for zone in garden.zones], Random(seed)
    asked = [frozenset(dice.sample(names, dice.randint(1, min(4, len(names))))) for _ in range(30)]
    forth, back = Lines(garden), Lines(garden)
    found = {zones: dict(forth.zone_flows(zones)) for zones in asked}
    for zones in reversed(asked):
        for name, flow in back.zone_flows(zones).items():
            # As rounding lets them: a plan must not hang on it.
            assert found[zones][name] == pytest.approx(flow, rel=1e-11, abs=1e-16)


def test_what_field_tests_taught_counts_in_the_curves() -> None:
    garden = a_garden(a_zone("ash"), a_zone("bay"))
    taught = Corrections(discharge={"ash": 0.8}, valve_k={"bay": 3e4})
    lines = Lines(garden, corrections=taught)
    agree(lines, frozenset(["ash", "bay"]))
    plain = Lines(garden).zone_flows(frozenset(["bay"]))["bay"]
    assert lines.zone_flows(frozenset(["bay"]))["bay"] < 0.9 * plain


def test_with_nothing_open_there_is_nothing_to_tell() -> None:
    assert not Lines(a_garden(a_zone("ash"))).zone_flows(frozenset())


def test_an_unknown_zone_is_refused_as_by_the_whole_tree() -> None:
    with pytest.raises(InputError, match='did you mean "ash"'):
        Lines(a_garden(a_zone("ash"))).zone_flows(frozenset(["asch"]))


def test_asking_again_marches_no_more() -> None:
    row = ROWS["long"]
    shape, lowest_m = shape_of(row)
    _, _, solved = curve_and_row(row)
    flows = [solved(lowest_m + over_m).flow_m3_s for over_m in HEADS_M]
    with marches_counted() as marches:
        curve = RowCurve(shape, WATER.viscosity_m2_s)
        for flow in flows:
            curve.settle(flow)
        (marched,) = marches
        # WORKED: 1 cm to 33 m is log4(3300) = 5.8 steps of four to one, each cell with its middle;
        # the rest is friction's transition, which each hole crosses elsewhere, and from 13 m on
        # where each hole begins to cavitate. Three for each head would say that no cell outlives
        # the asking.
        assert 12 <= marched <= 3 * len(flows)
        assert all(curve.settle(flow) != MOVED for flow in flows)
        assert marches == [marched]
