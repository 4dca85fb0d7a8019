"""How long one set takes, beside EPANET's engine; run with --benchmark-only, and -s for ratios."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import log
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest
from support.hydraulics_epanet import GRAVITY_M_S2, VISCOSITY_M2_S, Engine, random_net
from support.hydraulics_large import (
    many_rows,
    net_of,
    on_arms,
    raced_lines,
    raced_net,
    zone_flows_of,
)
from support.hydraulics_trees import solve_tree

from controller.garden.model import Garden
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import drilled_holes, row_shape
from controller.hydraulics.network.row_curves import RowCurve
from controller.hydraulics.physics.orifice import Effects, Water

# real time: speed is what is measured, by benchmarks and slow tests

FULL = Effects(vented=False)
SEEDS = (1, 9, 24, 38)  # 124 to 198 holes, two with dry ones


@pytest.mark.benchmark(group="four networks of drilled rows")
def test_ours(benchmark: Any) -> None:
    nets = [random_net(seed) for seed in SEEDS]

    def all_nets() -> list[Any]:
        return [
            solve_tree(
                supply=net.supply,
                spans=net.spans,
                outlets=net.outlets,
                viscosity_m2_s=VISCOSITY_M2_S,
                gravity_m_s2=GRAVITY_M_S2,
            )
            for net in nets
        ]

    assert len(benchmark(all_nets)) == len(SEEDS)


@pytest.mark.benchmark(group="four networks of drilled rows")
def test_epanet_written_opened_and_solved(benchmark: Any, tmp_path: Path) -> None:
    pytest.importorskip("wntr")
    nets = [random_net(seed) for seed in SEEDS]

    def all_nets() -> list[Any]:
        answers = []
        for net in nets:
            engine = Engine(net, tmp_path)
            try:
                answers.append(engine.solve())
            finally:
                engine.close()
        return answers

    assert len(benchmark(all_nets)) == len(SEEDS)


@pytest.mark.benchmark(group="one network, engine kept open")
def test_epanet_kept_open(benchmark: Any, tmp_path: Path) -> None:
    pytest.importorskip("wntr")
    engine = Engine(random_net(24), tmp_path)
    try:
        benchmark(engine.run)
    finally:
        engine.close()


@pytest.mark.benchmark(group="one network, engine kept open")
def test_ours_on_the_same(benchmark: Any) -> None:
    net = random_net(24)
    flow = benchmark(
        lambda: solve_tree(
            supply=net.supply,
            spans=net.spans,
            outlets=net.outlets,
            viscosity_m2_s=VISCOSITY_M2_S,
            gravity_m_s2=GRAVITY_M_S2,
        )
    )
    assert flow.supply_flow_m3_s > 0.0


def best_s(job: Callable[[], object], times: int) -> float:
    """The shortest of several runs: what the machine can do when nothing else asks it. [s]"""
    found = []
    for _ in range(times):
        begun = perf_counter()
        job()
        found.append(perf_counter() - begun)
    return min(found)


def answered_again(lines: Lines, names: frozenset[str]) -> dict[str, float]:
    """One open set from the curves as they stand, its remembered answer forgotten."""
    lines._quick.clear()
    return dict(lines.zone_flows(names))


def flows_from_nothing(garden: Garden, names: frozenset[str]) -> None:
    Lines(garden).zone_flows(names)


def by_the_tree(garden: Garden, names: frozenset[str]) -> None:
    Lines(garden, effects=FULL).open_set(names)


def names_of(garden: Garden) -> frozenset[str]:
    return frozenset(zone.name for zone in garden.zones)


def whole_curves(garden: Garden, water: Water) -> None:
    """Each shape's curve from nothing, believed everywhere from 1 cm of head to the tap's own."""
    done = set()
    for zone in garden.zones:
        for row in zone.rows:
            holes = drilled_holes(row, zone.rise_m)
            found = row_shape(row, holes, water)
            assert found is not None
            shape, _ = found
            if shape in done:
                continue
            done.add(shape)
            curve = RowCurve(shape, water.viscosity_m2_s)
            low, high = curve.flow_near(0.01), curve.flow_near(garden.supply.static_head_m)
            for k in range(101):
                curve.settle(low * (high / low) ** (k / 100.0))


@pytest.mark.benchmark(group="sixty rows open together")
@pytest.mark.parametrize("alike", [False, True], ids=["no two alike", "all alike"])
def test_sixty_rows_from_their_curves(benchmark: Any, tmp_path: Path, alike: bool) -> None:
    """The answers that are timed are compared, on the same water and under the same gravity."""
    pytest.importorskip("wntr")
    garden = many_rows(60, alike=alike)
    names, net = names_of(garden), raced_net(garden)
    lines = raced_lines(garden)
    lines.zone_flows(names)
    benchmark(answered_again, lines, names)
    whole = Lines(garden)
    whole.zone_flows(names)
    engine = Engine(net, tmp_path)
    try:
        engine.run()
        sucked = zone_flows_of(garden, net, engine.flows())
        rounds_s = best_s(engine.solve, 3)
        engine.run()
        theirs = zone_flows_of(garden, net, engine.flows())
        # Turn and turn about, so that a busy moment is everybody's.
        given, unaware, curves, effects = [], [], [], []
        for _ in range(12):
            given.append(best_s(engine.run, 4))
            curves.append(best_s(lambda: answered_again(lines, names), 10))
            effects.append(best_s(lambda: answered_again(whole, names), 10))
        engine.forget()
        for _ in range(6):
            unaware.append(best_s(engine.run, 4))
            curves.append(best_s(lambda: answered_again(lines, names), 10))
    finally:
        engine.close()
    given_s, unaware_s, curves_s, effects_s = map(min, (given, unaware, curves, effects))
    first_s = best_s(lambda: raced_lines(garden).zone_flows(names), 5)
    first_all_s = best_s(lambda: Lines(garden).zone_flows(names), 5)
    whole_s, all_s = (best_s(partial(whole_curves, garden, one.water), 2) for one in (lines, whole))
    tree_s = best_s(lambda: raced_lines(garden).open_set(names), 3)
    ours = answered_again(lines, names)
    supply = sum(ours.values())
    apart = max(abs(ours[name] - flow) / max(flow, supply / 600) for name, flow in theirs.items())
    wrong = max(abs(sucked[name] - flow) / max(flow, supply / 600) for name, flow in theirs.items())
    holes = sum(len(row.holes) for z in lines.open_set(names).zones.values() for row in z.rows)
    dry = sum(lines.zone_dry_holes(names).values())
    print(
        f"\n60 rows, {'all alike' if alike else 'no two alike'}, {holes} holes, {dry} dry: "
        f"engine given the dry holes {1e3 * given_s:.2f} ms, not given them "
        f"{1e3 * unaware_s:.2f} ms, with its rounds {1e3 * rounds_s:.1f} ms; "
        f"curves known {1e3 * curves_s:.3f} ms: {given_s / curves_s:.1f}, "
        f"{unaware_s / curves_s:.1f}, {rounds_s / curves_s:.0f} times faster; with all effects "
        f"{1e3 * effects_s:.3f} ms: {given_s / effects_s:.1f}, {unaware_s / effects_s:.1f}, "
        f"{rounds_s / effects_s:.0f}; "
        f"first answer from nothing {1e3 * first_s:.1f} ms, {first_s / given_s:.2f} solves "
        f"({1e3 * first_all_s:.1f} ms, {first_all_s / given_s:.2f} with all effects); "
        f"whole curves from nothing {1e3 * whole_s:.0f} ms, {whole_s / given_s:.1f} solves "
        f"({1e3 * all_s:.0f} ms, {all_s / given_s:.1f} with all effects); "
        f"whole tree with every hole {1e3 * tree_s:.0f} ms, {tree_s / given_s:.1f} solves; "
        f"zones apart by {apart:.1e}, and by {wrong:.1e} where the engine is not given them"
    )
    # Both were asked the same: a zone's flow within a thousandth (a tenth of the mean zone's where
    # its own is less), as in tests/published.
    assert apart < 1e-3
    # Half of what is asked for, so that a busy machine does not fail a sound build.
    assert curves_s < unaware_s / 10.0
    assert curves_s < given_s / 7.0
    assert first_s < 6.0 * unaware_s
    flows = lines.zone_flows(names)
    for name, zone in lines.open_set(names).zones.items():
        assert flows[name] == pytest.approx(zone.flow_m3_s, rel=1e-5)


@pytest.mark.benchmark(group="sixty rows open together")
@pytest.mark.parametrize("alike", [False, True], ids=["no two alike", "all alike"])
def test_sixty_rows_on_six_arms_from_their_curves(
    benchmark: Any, tmp_path: Path, alike: bool
) -> None:
    pytest.importorskip("wntr")
    garden = on_arms(many_rows(60, alike=alike), 6)
    names = names_of(garden)
    lines = Lines(garden)
    lines.zone_flows(names)
    benchmark(answered_again, lines, names)
    engine = Engine(net_of(garden), tmp_path)
    try:
        engine_s = best_s(engine.run, 20)
    finally:
        engine.close()
    curves_s = best_s(lambda: answered_again(lines, names), 50)
    print(
        f"\n60 rows on six arms, {'all alike' if alike else 'no two alike'}: "
        f"engine kept open {1e3 * engine_s:.2f} ms; "
        f"curves known {1e3 * curves_s:.3f} ms, {engine_s / curves_s:.1f} times faster"
    )
    # Half of what is asked for, so that a busy machine does not fail a sound build.
    assert curves_s < engine_s / 10.0
    flows = lines.zone_flows(names)
    for name, zone in lines.open_set(names).zones.items():
        assert flows[name] == pytest.approx(zone.flow_m3_s, rel=1e-5)


@pytest.mark.benchmark(group="ten, a hundred, a thousand rows")
@pytest.mark.parametrize("alike", [False, True], ids=["no two alike", "all alike"])
def test_cost_grows_as_the_rows_do(benchmark: Any, alike: bool) -> None:
    counts = (10, 100, 1000)
    known, first, tree = [], [], []
    for count in counts:
        garden = many_rows(count, alike=alike)
        names = names_of(garden)
        lines = Lines(garden)
        lines.zone_flows(names)
        known.append(best_s(partial(answered_again, lines, names), 10))
        first.append(best_s(partial(flows_from_nothing, garden, names), 2))
        # Rows that let air in are marched from their curves; here the tree itself is timed.
        tree.append(best_s(partial(by_the_tree, garden, names), 1))
    benchmark.pedantic(answered_again, (lines, names), rounds=3)
    said = []
    for what, costs in (("curves known", known), ("from nothing", first), ("whole tree", tree)):
        exponent = fitted_exponent(counts, costs)
        shown = ", ".join(f"{1e3 * cost:.3g}" for cost in costs)
        said.append(f"{what} {shown} ms, exponent {exponent:.2f}")
        assert exponent < 1.25, what
    print(f"\n10, 100, 1000 rows, {'all alike' if alike else 'no two alike'}: {'; '.join(said)}")


def fitted_exponent(counts: tuple[int, ...], costs: list[float]) -> float:
    """Slope of a straight line through the logarithms, by least squares."""
    xs, ys = [log(count) for count in counts], [log(cost) for cost in costs]
    x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
    over = sum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True))
    return over / sum((x - x_mean) ** 2 for x in xs)
