"""A main that forks: what must not matter does not, a chain is a tree, and water is conserved."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import pi
from typing import Any

import pytest
from fluids import fittings as crane
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from support.hydraulics_gardens import a_garden, a_zone

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ENTRANCE_K, STRAIGHT_K, Begins, Opening, Run, begin_k
from controller.hydraulics.design.open_together import before_valve_m
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.main_tree import (
    PAST_FORK_K,
    TAP,
    TEE_RUN_K,
    Joints,
    MainTree,
)
from controller.hydraulics.network.valve_opening import Alone
from controller.hydraulics.physics.pipe import PIPES
from controller.units import GRAVITY_M_S2

SIZES = ("1/2 in", "3/4 in", "1 in", "1-1/4 in")


def a_run(name: str, parent: Run | None = None, **changes: object) -> Run:
    """Ten metres of 1 in pipe without a loss at its beginning, from the tap or a run's end."""
    values: dict[str, object] = {
        "parent": parent.name if parent else "",
        "from_m": parent.length_m if parent else 0.0,
        "length_m": 10.0,
        "pipe": PIPES["1 in"],
        "loss_k": 0.0,
    }
    return Run(name=name, **(values | changes))  # type: ignore[arg-type]


def on(run: Run, name: str, part: float = 1.0, **changes: object) -> Zone:
    """A zone some part of the way along a run."""
    return a_zone(name, run=run.name, main_run_m=part * run.length_m, **changes)


def all_of(garden: Garden) -> frozenset[str]:
    return frozenset(zone.name for zone in garden.zones)


def flows(garden: Garden) -> dict[str, float]:
    """Flow of each zone with all open, by the whole tree."""
    return {
        name: zone.flow_m3_s for name, zone in Lines(garden).open_set(all_of(garden)).zones.items()
    }


@st.composite
def forked(draw: st.DrawFn) -> Garden:
    """Up to seven runs, each from the tap or from anywhere along an earlier one; zones on them."""
    runs: list[Run] = []
    for number in range(draw(st.integers(1, 7))):
        parent = draw(st.sampled_from([None, *runs]))
        part = draw(st.sampled_from([0.0, 0.25, 0.5, 1.0, 1.0]))
        runs.append(
            a_run(
                f"r{number}",
                parent,
                from_m=part * parent.length_m if parent else 0.0,
                length_m=draw(st.floats(0.5, 30.0)),
                pipe=PIPES[draw(st.sampled_from(SIZES))],
                loss_k=draw(st.floats(0.0, 5.0)),
                tees_counted=draw(st.booleans()),
            )
        )
    zones = [
        on(
            draw(st.sampled_from(runs)),
            f"z{number}",
            draw(st.sampled_from([0.0, 0.3, 0.5, 1.0, 1.0])),
            rise_m=draw(st.floats(-0.5, 0.5)),
            opening=Opening(loss_k=draw(st.sampled_from([0.0, 30.0, 3000.0]))),
        )
        for number in range(draw(st.integers(1, 6)))
    ]
    return a_garden(*zones, runs=tuple(runs))


@given(forked(), st.randoms(use_true_random=False))
@settings(max_examples=25)
def test_names_and_order_of_runs_change_nothing(garden: Garden, rng: Any) -> None:
    numbers = list(range(len(garden.runs)))
    rng.shuffle(numbers)
    new = {run.name: f"other {n}" for run, n in zip(garden.runs, numbers, strict=True)} | {"": ""}
    left = list(garden.runs)
    runs: list[Run] = []
    while left:
        placed = {"", *(run.name for run in runs)}
        ready = [run for run in left if new[run.parent] in placed]
        run = rng.choice(ready)
        left.remove(run)
        runs.append(replace(run, name=new[run.name], parent=new[run.parent]))
    zones = tuple(replace(zone, run=new[zone.run]) for zone in garden.zones)
    renamed = replace(garden, runs=tuple(runs), zones=zones)
    assert flows(renamed) == pytest.approx(flows(garden), rel=1e-7)
    lines, other = Lines(garden), Lines(renamed)
    opened = all_of(garden)
    assert other.zone_flows(opened) == pytest.approx(lines.zone_flows(opened), rel=1e-7)


@given(forked(), st.data())
@settings(max_examples=25)
def test_a_run_in_two_of_the_same_size_flows_as_one(garden: Garden, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(garden.runs) - 1))
    run = garden.runs[at]
    cut_m = data.draw(st.floats(0.1, 0.9)) * run.length_m
    # What leaves exactly at the cut is at a joint then, which has fittings of its own.
    assume(all(zone.run != run.name or zone.main_run_m != cut_m for zone in garden.zones))
    assume(all(one.parent != run.name or one.from_m != cut_m for one in garden.runs))
    first = replace(run, length_m=cut_m)
    second = a_run(
        "second",
        first,
        length_m=run.length_m - cut_m,
        pipe=run.pipe,
        tees_counted=run.tees_counted,
    )

    def moved(name: str, at_m: float) -> tuple[str, float]:
        return (name, at_m) if name != run.name or at_m <= cut_m else ("second", at_m - cut_m)

    runs = [*garden.runs[:at], first, second]
    for one in garden.runs[at + 1 :]:
        parent, from_m = moved(one.parent, one.from_m)
        runs.append(replace(one, parent=parent, from_m=from_m))
    zones = []
    for zone in garden.zones:
        name, run_m = moved(zone.run, zone.main_run_m)
        zones.append(replace(zone, run=name, main_run_m=run_m))
    halved = replace(garden, runs=tuple(runs), zones=tuple(zones))
    assert flows(halved) == pytest.approx(flows(garden), rel=1e-7)
    for zone, other in zip(garden.zones, halved.zones, strict=True):
        length_m = MainTree.of(garden).length_to_m(zone)
        assert MainTree.of(halved).length_to_m(other) == pytest.approx(length_m, abs=1e-9)


@given(forked())
@settings(max_examples=40)
def test_the_quick_way_meets_the_whole_tree(garden: Garden) -> None:
    lines = Lines(garden)
    names = sorted(all_of(garden))
    for opened in (frozenset(names), frozenset(names[::2]), frozenset(names[:1])):
        whole = {name: zone.flow_m3_s for name, zone in lines.open_set(opened).zones.items()}
        assert lines.zone_flows(opened) == pytest.approx(whole, rel=1e-5)


@given(forked())
@settings(max_examples=25)
def test_water_is_conserved_and_heads_fit_at_every_place(garden: Garden) -> None:
    lines, opened = Lines(garden), all_of(garden)
    found = lines.open_set(opened)
    assert found.supply_flow_m3_s == pytest.approx(
        sum(zone.flow_m3_s for zone in found.zones.values()), rel=1e-12
    )
    # Each stretch at the sum of what leaves beyond it brings the head down to what each valve,
    # at its own flow, leaves behind it: so nothing is lost or made at a fork.
    for zone in garden.zones:
        flow, bore_m = found.zones[zone.name], zone.rows[0].pipe.bore_m
        loss_k = lines.valve_loss_k(zone.name)
        lost_m = 8.0 * loss_k * flow.flow_m3_s**2 / (pi**2 * GRAVITY_M_S2 * bore_m**4)
        before_m = before_valve_m(lines, opened, zone.name) + zone.rise_m
        assert before_m - lost_m == pytest.approx(flow.valve_head_m, abs=1e-3)


def test_two_equal_arms_get_equal_flows() -> None:
    trunk = a_run("trunk", loss_k=0.5)
    left, right = (a_run(name, trunk, pipe=PIPES["3/4 in"], loss_k=1.5) for name in ("l", "r"))
    garden = a_garden(on(left, "a"), on(right, "b"), runs=(trunk, left, right))
    found = flows(garden)
    assert found["a"] == pytest.approx(found["b"], rel=1e-9)
    quick = Lines(garden).zone_flows(frozenset("ab"))
    assert quick["a"] == pytest.approx(quick["b"], rel=1e-7)
    longer = replace(right, length_m=right.length_m + 1.0)
    found = flows(a_garden(on(left, "a"), on(longer, "b"), runs=(trunk, left, longer)))
    assert found["a"] > found["b"] * 1.001


ALONG = {"a": 0.0, "b": 4.0, "c": 9.0, "d": 9.0, "e": 20.0}


def test_a_chain_given_as_runs_is_the_chain_to_the_last_digit() -> None:
    chain = a_garden(*(a_zone(name, main_run_m=at_m) for name, at_m in ALONG.items()))
    run = a_run("all of it", length_m=25.0, loss_k=ENTRANCE_K)
    tree = a_garden(
        *(a_zone(name, run=run.name, main_run_m=at_m) for name, at_m in ALONG.items()), runs=(run,)
    )
    assert flows(tree) == flows(chain)
    opened = frozenset(ALONG)
    assert Lines(tree).zone_flows(opened) == Lines(chain).zone_flows(opened)
    for name in ALONG:
        assert before_valve_m(Lines(tree), opened, name) == before_valve_m(
            Lines(chain), opened, name
        )


def test_a_chain_of_many_runs_is_the_chain() -> None:
    chain = a_garden(*(a_zone(name, main_run_m=at_m) for name, at_m in ALONG.items()))
    ends = [4.0, 9.0, 20.0]
    runs: list[Run] = []
    for number, (from_m, to_m) in enumerate(pairwise([0.0, *ends])):
        runs.append(
            a_run(
                f"r{number}",
                runs[-1] if runs else None,
                length_m=to_m - from_m,
                loss_k=0.0 if runs else ENTRANCE_K,
            )
        )
    zones = [
        on(runs[0], name, 0.0) if at_m == 0.0 else on(runs[ends.index(at_m)], name)
        for name, at_m in ALONG.items()
    ]
    tree = a_garden(*zones, runs=tuple(runs))
    assert flows(tree) == pytest.approx(flows(chain), rel=1e-7)


def test_shutting_an_arm_is_leaving_it_out() -> None:
    trunk = a_run("trunk", loss_k=0.5)
    left = a_run("left", trunk, loss_k=1.5)
    right = a_run("right", trunk, loss_k=1.5)
    both = a_garden(on(left, "a"), on(right, "b"), on(right, "c"), runs=(trunk, left, right))
    only = a_garden(on(left, "a"), runs=(trunk, left))
    opened = frozenset("a")
    assert Lines(both).open_set(opened).zones["a"].flow_m3_s == pytest.approx(
        Lines(only).open_set(opened).zones["a"].flow_m3_s, rel=1e-9
    )
    assert Lines(both).zone_flows(opened)["a"] == pytest.approx(
        Lines(only).zone_flows(opened)["a"], rel=1e-7
    )
    # The head at the still end of the shut arm is that of the fork.
    shut = before_valve_m(Lines(both), opened, "b")
    assert shut == pytest.approx(before_valve_m(Lines(both), opened, "c"), abs=1e-12)
    assert shut > before_valve_m(Lines(both), opened, "a")


def test_losses_stand_where_they_are_said_to() -> None:
    trunk = a_run("trunk", length_m=12.0, loss_k=ENTRANCE_K)
    arm = a_run("arm", trunk, from_m=5.0, loss_k=1.3, pipe=PIPES["3/4 in"])
    garden = a_garden(on(trunk, "near", 0.25), on(trunk, "far"), on(arm, "side"), runs=(trunk, arm))
    main = MainTree.of(garden)
    said = [(one.run, one.above, one.length_m, one.loss_k) for one in main.stretches]
    # WORKED: to the tee at 3 m with the entrance, on to the fork at 5 m, straight on past it to the
    # tee at 12 m; the arm begins at the fork.
    assert said == [
        ("trunk", TAP, 3.0, ENTRANCE_K + TEE_RUN_K),
        ("trunk", 0, 2.0, 0.0),
        ("trunk", 1, 7.0, PAST_FORK_K + TEE_RUN_K),
        ("arm", 1, 10.0, 1.3 + TEE_RUN_K),
    ]
    side = garden.zone("side")
    assert [one.run for one in main.way_to(main.place(side))] == ["trunk", "trunk", "arm"]
    assert main.length_to_m(side) == 15.0
    whole = MainTree.of(replace(garden, runs=(trunk, replace(arm, tees_counted=True))))
    assert whole.stretches[-1].loss_k == 1.3


def test_a_measured_flow_comes_back_through_a_fork() -> None:
    trunk = a_run("trunk", loss_k=0.5)
    arm = a_run("arm", trunk, pipe=PIPES["1/2 in"], loss_k=1.3)
    zone = on(arm, "a", opening=Opening(alone_flow_m3_s=5e-5))
    garden = a_garden(zone, on(trunk, "b"), runs=(trunk, arm))
    assert Lines(garden).zone_flows(frozenset("a"))["a"] == pytest.approx(5e-5, rel=1e-6)
    lines = Lines(garden)
    alone = Alone(
        zone,
        lines._row_holes(zone),
        supply=lines.supply,
        main=lines.main,
        water=lines.water,
    )
    assert alone.flow_m3_s(lines.valve_loss_k("a")) == pytest.approx(5e-5, rel=1e-6)


def test_a_zone_on_a_run_that_is_not_there_is_refused() -> None:
    trunk = a_run("trunk")
    with pytest.raises(InputError, match='no run "trunc"; did you mean "trunk"'):
        Lines(a_garden(a_zone("a", run="trunc"), runs=(trunk,)))


def test_stretches_of_one_pipe_go_together_and_dead_ends_fall_out() -> None:
    # 0 - 1 - 2 of one pipe, 3 of another goes on from 2, 4 leaves from 1, 5 hangs on 4.
    above, pipes = [-1, 0, 1, 2, 1, 4], "aaabaa"

    def alike(a: int, b: int) -> bool:
        return pipes[a] == pipes[b]

    main = Joints(above, alike)

    def joined(ends: set[int]) -> tuple[list[tuple[int, list[int]]], dict[int, int]]:
        pieces, now = main.pieces(ends)
        for _, last, parts in pieces:
            assert main.stretches(parts)[-1] == last
            assert main.totals([1.0, 2.0, 4.0, 8.0, 16.0, 32.0]).over(parts) == sum(
                2.0**i for i in main.stretches(parts)
            )
        return [(before, main.stretches(parts)) for before, _, parts in pieces], now

    # WORKED.
    assert joined({3}) == ([(-1, [0, 1, 2]), (0, [3])], {-1: -1, 3: 1})
    assert joined({5}) == ([(-1, [0, 1, 4, 5])], {-1: -1, 5: 0})
    assert joined({5, 1}) == (
        [(-1, [0, 1]), (0, [4, 5])],
        {-1: -1, 1: 0, 5: 1},
    )
    assert joined({2, 5}) == (
        [(-1, [0, 1]), (0, [2]), (0, [4, 5])],
        {-1: -1, 2: 1, 5: 2},
    )
    assert joined({-1}) == ([], {-1: -1})


@pytest.mark.parametrize(("size", "before"), [("1 in", "1 in"), ("3/4 in", "1 in")])
def test_a_side_branch_loses_what_a_dividing_tee_does(size: str, before: str) -> None:
    # Reference library: `fluids` (Crane TP-410), on the branch's own velocity, with half of the
    # water to all of it going into the branch.
    pipe, trunk = PIPES[size], PIPES[before]
    ours = begin_k(Begins.SIDE, trunk, pipe)
    ratio = (pipe.bore_m / trunk.bore_m) ** 2
    theirs = [
        crane.K_branch_diverging_Crane(trunk.bore_m, pipe.bore_m, 1.0 - part, part, angle=90)
        * (ratio / part) ** 2
        for part in (0.5, 0.999)
    ]
    assert min(theirs) / 1.5 <= ours <= max(theirs)


def test_going_straight_on_loses_what_tees_and_reducers_do() -> None:
    # Reference library: `fluids` (Crane TP-410), on the velocity before the tee, which a quarter of
    # the water leaves at most.
    runs = [
        crane.K_run_diverging_Crane(0.026, 0.026, 1.0 - part, part, angle=90) / (1.0 - part) ** 2
        for part in (0.0, 0.1, 0.25)
    ]
    assert max(runs) <= begin_k(Begins.STRAIGHT, PIPES["1 in"], PIPES["1 in"]) <= 0.12
    for small, big in (("3/4 in", "1 in"), ("1/2 in", "3/4 in"), ("1/2 in", "1 in")):
        reducer = crane.contraction_sharp(Di1=PIPES[big].bore_m, Di2=PIPES[small].bore_m)
        assert begin_k(Begins.STRAIGHT, PIPES[big], PIPES[small]) == pytest.approx(
            reducer, abs=0.16
        )
    widening = begin_k(Begins.STRAIGHT, PIPES["3/4 in"], PIPES["1 in"])
    ratio = PIPES["1 in"].bore_m / PIPES["3/4 in"].bore_m
    theirs = crane.diffuser_sharp(Di1=PIPES["3/4 in"].bore_m, Di2=PIPES["1 in"].bore_m) * ratio**4
    assert widening - STRAIGHT_K == pytest.approx(theirs, rel=1e-6)


def test_rows_get_less_the_narrower_the_run_is() -> None:
    found = []
    for size in SIZES:
        trunk = a_run("trunk", loss_k=0.5, pipe=PIPES[size])
        found.append(flows(a_garden(on(trunk, "a"), runs=(trunk,)))["a"])
    assert found == sorted(found)
    assert found[0] < 0.95 * found[-1]
