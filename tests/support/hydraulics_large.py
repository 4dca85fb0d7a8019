"""Invented gardens of many rows, their EPANET networks, and random networks of up to sixty rows."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ENTRANCE_K, Face, Opening, Row, Run, Supply, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import drilled_holes
from controller.hydraulics.network.main_tree import PAST_FORK_K, TEE_RUN_K
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.physics.pipe import PIPES, viscosity_m2_s
from controller.units import GRAVITY_M_S2
from support.hydraulics_epanet import GRAVITY_M_S2 as ENGINE_GRAVITY_M_S2
from support.hydraulics_epanet import VISCOSITY_M2_S, Net
from support.hydraulics_gardens import GPM_M3_S, PSI_M, a_drilling, a_garden, a_row, a_zone
from support.hydraulics_rows import NO_EFFECTS
from support.hydraulics_trees import Outlet, Span


def _temperature_of(viscosity: float) -> float:
    """The temperature at which water has a viscosity, by halving. [°C]"""
    low, high = 0.0, 40.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if viscosity_m2_s(middle) > viscosity else (low, middle)
    return low


ENGINE_WATER_C = _temperature_of(VISCOSITY_M2_S)


def many_rows(count: int, *, alike: bool) -> Garden:
    """`count` zones of one row, about 40 holes each, at sixty tees or fewer along 60 m of main.

    All drilled alike, or no two alike in length and slope; valves from full open to well throttled.
    """
    zones, tees = [], min(count, 60)
    for i in range(count):
        other = 0.0 if alike else (i * 0.6180339887) % 1.0
        row = a_row(
            length_m=6.2 + (0.6 * (other - 0.5)),
            far_height_m=0.0 if alike else 0.06 * (other - 0.5),
        )
        zones.append(
            a_zone(
                f"z{i:04d}",
                row,
                main_run_m=2.0 + (i % tees) * 60.0 / tees,
                opening=Opening(loss_k=10.0 ** (0.5 * (i % 7))),
            )
        )
    # The tap grows with the rows, 8 gal/min for every ten, and the main with the flow, 2 in for
    # sixty; so the heads are alike whatever the count.
    supply = Supply(
        static_head_m=50 * PSI_M,
        test_head_m=25 * PSI_M,
        test_flow_m3_s=8 * GPM_M3_S * max(1.0, count / 10.0),
    )
    two_in = PIPES["2 in"]
    main = replace(two_in, bore_m=two_in.bore_m * (count / 60.0) ** 0.4)
    return replace(a_garden(*zones, supply=supply), main=main)


def on_arms(garden: Garden, arms: int) -> Garden:
    """The same zones on a trunk of 12 m with arms at equal distances, each of a size below it."""
    trunk = Run(name="trunk", length_m=12.0, pipe=garden.main, loss_k=ENTRANCE_K)
    thinner = replace(garden.main, label="arm", bore_m=0.75 * garden.main.bore_m)
    far_m = max(zone.main_run_m for zone in garden.zones)
    runs = [
        Run(
            name=f"arm {number}",
            parent="trunk",
            from_m=12.0 * (number + 1) / arms,
            length_m=far_m,
            pipe=thinner,
            loss_k=1.3,
        )
        for number in range(arms)
    ]
    zones = tuple(
        replace(zone, run=f"arm {number % arms}") for number, zone in enumerate(garden.zones)
    )
    return replace(garden, runs=(trunk, *runs), zones=zones)


def forked_at_random(garden: Garden, seed: int) -> Garden:
    """The same zones on a main of two to eight runs of any sizes, forking anywhere."""
    rng = Random(seed)
    runs: list[Run] = []
    for number in range(rng.randint(2, 8)):
        parent = rng.choice([None, *runs, *runs])
        runs.append(
            Run(
                name=f"r{number}",
                parent=parent.name if parent else "",
                from_m=rng.choice([0.5, 1.0]) * parent.length_m if parent else 0.0,
                length_m=rng.uniform(1.0, 15.0),
                pipe=PIPES[rng.choice(["1/2 in", "3/4 in", "1 in", "1-1/4 in"])],
                loss_k=rng.uniform(0.0, 3.0),
                tees_counted=rng.random() < 0.3,
            )
        )
    zones = []
    for zone in garden.zones:
        run = rng.choice(runs)
        run_m = rng.choice([0.0, 0.3, 0.5, 1.0]) * run.length_m
        zones.append(replace(zone, run=run.name, main_run_m=run_m))
    return replace(garden, runs=tuple(runs), zones=tuple(zones))


def random_garden(seed: int, most_rows: int = 60) -> Garden:
    """A house or barrel with one to sixty rows of every sort, one to three to a zone."""
    rng = Random(seed)
    barrel = rng.random() < 0.25
    zones: list[Zone] = []
    left = rng.randint(1, most_rows)
    while left > 0:
        in_zone = min(left, rng.choice([1, 1, 1, 2, 3]))
        left -= in_zone
        throttled = 10 ** rng.uniform(1.0, 5.5)
        zones.append(
            a_zone(
                f"z{len(zones):02d}",
                *[_random_row(rng, in_use=not zones) for _ in range(in_zone)],
                main_run_m=rng.choice([0.0, 4.0, 9.0, 15.0, 20.0, 26.0, 30.0]),
                rise_m=rng.choice([0.0, rng.uniform(-0.5, 0.5)]),
                opening=Opening(loss_k=rng.choice([0.0, 10.0, throttled])),
            )
        )
    static_m = rng.uniform(0.6, 2.5) if barrel else rng.uniform(15.0, 45.0)
    supply = Supply(
        static_head_m=static_m,
        test_head_m=static_m * rng.uniform(0.1, 0.7),
        test_flow_m3_s=rng.uniform(2e-4, 9e-4),
    )
    return a_garden(*zones, supply=supply)


def _random_row(rng: Random, *, in_use: bool) -> Row:
    """A row drilled anyhow: in clusters, through both walls, sloping, sagging, humped, plugged."""
    length_m = rng.uniform(1.0, 12.0)
    drains = {"drain_bore_m": 0.001, "drain_every_m": 1.0} if rng.random() < 0.2 else {}
    return a_row(
        a_drilling(
            bore_m=rng.choice([0.00119, 0.0015875, 0.00198, 0.003175]),
            every_m=rng.choice([0.1524, 0.3048]),
            group=rng.choice([1, 1, 2, 3]),
            face=rng.choice(list(Face)),
            walls=rng.choice([Walls.ONE, Walls.ONE, Walls.BOTH]),
            discharge_coefficient=rng.uniform(0.6, 0.82),
            **drains,
        ),
        length_m=length_m,
        pipe=PIPES[rng.choice(["1/2 in", "3/4 in", "1 in"])],
        inlet_height_m=rng.choice([0.0, rng.uniform(-0.1, 0.1)]),
        middle_height_m=rng.choice([0.0, rng.uniform(-0.1, 0.1)]),
        far_height_m=rng.choice([0.0, rng.uniform(-0.15, 0.15)]),
        plugged=rng.random() < 0.05 and not in_use,
        plugged_holes=(1,) if rng.random() < 0.2 else (),
        plugged_beyond_m=0.7 * length_m if rng.random() < 0.15 else None,
    )


def raced_lines(garden: Garden) -> Lines:
    """A garden's lines as EPANET can solve them too: its water, and no effect it does not know.

    The one place where a race builds our side; `raced_net` is the engine's side of it.
    """
    return Lines(garden, water_temp_c=ENGINE_WATER_C, effects=NO_EFFECTS)


def raced_net(garden: Garden) -> Net:
    """The garden's network for EPANET, with heads that make up for its gravity of 32.2 ft/s2.

    Holes, friction and valves know gravity times head alone: heads and heights a little lower under
    a little more gravity are the same flows.
    """
    net, less = net_of(garden), GRAVITY_M_S2 / ENGINE_GRAVITY_M_S2
    return Net(
        supply=replace(
            net.supply,
            static_head_m=less * net.supply.static_head_m,
            test_head_m=less * net.supply.test_head_m,
        ),
        spans=net.spans,
        outlets=tuple(replace(outlet, z_m=less * outlet.z_m) for outlet in net.outlets),
    )


def zone_flows_of(garden: Garden, net: Net, hole_flows_m3_s: list[float]) -> dict[str, float]:
    """The flow of each zone from those of `net_of`'s outlets, which are named by zone and row."""
    names = [zone.name for zone in garden.zones]
    found = dict.fromkeys(names, 0.0)
    for outlet, flow_m3_s in zip(net.outlets, hole_flows_m3_s, strict=True):
        found[names[int(outlet.node[1:].partition("R")[0])]] += flow_m3_s
    return found


def net_of(garden: Garden) -> Net:
    """All zones of a garden open, as a network in EPANET's terms; holes at one place are two nodes.

    EPANET knows one hole a node: the second of a pair straight through the pipe gets a node of its
    own behind a valve without loss.
    """
    lines = Lines(garden)
    spans: list[Span] = []
    outlets: list[Outlet] = []
    stations = _add_main(spans, garden)
    for z, zone in enumerate(garden.zones):
        valve = f"V{z}"
        bore_m, loss_k = zone.rows[0].pipe.bore_m, lines.valve_loss_k(zone.name)
        spans.append(_span(stations[zone.run, zone.main_run_m], valve, 0.0, bore_m, loss_k))
        for r, row in enumerate(zone.rows):
            _add_row(spans, outlets, valve, f"V{z}R{r}", row, zone.rise_m)
    return Net(
        supply=SupplyCurve(
            static_head_m=garden.supply.static_head_m,
            test_head_m=garden.supply.test_head_m,
            test_flow_m3_s=garden.supply.test_flow_m3_s,
        ),
        spans=tuple(spans),
        outlets=tuple(outlets),
    )


def _add_main(spans: list[Span], garden: Garden) -> dict[tuple[str, float], str]:
    """The main's spans, run by run; the node where each zone or run leaves."""
    far_m = max(zone.main_run_m for zone in garden.zones)
    one = Run(name="", length_m=far_m, pipe=garden.main, loss_k=ENTRANCE_K)
    stations = {("", 0.0): "tap"}
    for run in garden.runs or (one,):
        tees = {zone.main_run_m for zone in garden.zones if zone.run == run.name}
        forks = {other.from_m for other in garden.runs if other.parent == run.name}
        before, at_m, loss_k = stations[run.parent, run.from_m], 0.0, run.loss_k
        stations[run.name, 0.0] = before
        for run_m in sorted((tees | forks) - {0.0}):
            stations[run.name, run_m] = name = f"S{len(stations)}"
            if run_m in tees and not run.tees_counted:
                loss_k += TEE_RUN_K
            spans.append(_span(before, name, run_m - at_m, run.pipe.bore_m, loss_k))
            before, at_m = name, run_m
            loss_k = PAST_FORK_K if run_m in forks and not run.tees_counted else 0.0
    return stations


def _add_row(
    spans: list[Span], outlets: list[Outlet], valve: str, name: str, row: Row, rise_m: float
) -> None:
    """One row's spans and open holes; a pair level with each other counts as one hole."""
    before, at_m = valve, 0.0
    last: dict[float, int] = {}
    for i, hole in enumerate(drilled_holes(row, rise_m)):
        if hole.plugged:
            continue
        node = f"{name}H{i}"
        if hole.x_m - at_m > 1e-9:
            spans.append(_span(before, node, hole.x_m - at_m, row.pipe.bore_m, 0.0))
            before, at_m, last = node, hole.x_m, {}
        elif hole.z_m in last:
            twin = outlets[last[hole.z_m]]
            bore_m = (twin.bore_m**2 + hole.bore_m**2) ** 0.5
            outlets[last[hole.z_m]] = replace(twin, bore_m=bore_m)
            continue
        else:
            spans.append(_span(before, node, 0.0, row.pipe.bore_m, 0.0))
        last[hole.z_m] = len(outlets)
        outlets.append(
            Outlet(
                node=node,
                z_m=hole.z_m,
                bore_m=hole.bore_m,
                discharge_coefficient=hole.discharge_coefficient,
            )
        )


def _span(upstream: str, downstream: str, length_m: float, bore_m: float, loss_k: float) -> Span:
    return Span(
        upstream=upstream, downstream=downstream, length_m=length_m, bore_m=bore_m, loss_k=loss_k
    )
