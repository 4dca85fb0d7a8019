"""The branched cases of EPANET (2.2, wntr 1.5.0) as gardens: the whole tree and the quick way."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.hydraulics_rows import NO_EFFECTS

from controller.garden.model import Garden
from controller.garden.plumbing import Opening, Pipe, Run, Supply, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.pipe import viscosity_m2_s
from controller.units import GRAVITY_M_S2

# RECORDED from EPANET 2.2 (wntr 1.5.0), an outside program; the file's head says how.
CASES = json.loads(
    (Path(__file__).parent / "epanet_cases_branched.json").read_text(encoding="utf-8")
)["cases"]


def water_temp_c(viscosity: float) -> float:
    """The water as thin as that."""
    low, high = 0.0, 45.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if viscosity_m2_s(middle) > viscosity else (low, middle)
    return low


def plain(garden: Garden, case: dict[str, Any]) -> Lines:
    """Its lines with the case's water, and no effect that EPANET does not have."""
    temp_c = water_temp_c(case["nu_m2_s"])
    return Lines(garden, water_temp_c=temp_c, effects=NO_EFFECTS)


def lines_of(case: dict[str, Any]) -> tuple[Lines, float]:
    """The case as a garden, and by how much its heights are stretched.

    EPANET's gravity is not ours. Losses go with 1/g and jets with the root of g h, so heights
    stretched by the ratio of the two give the same flows.
    """
    stretch = case["g_m_s2"] / GRAVITY_M_S2
    runs: list[Run] = []
    ends: dict[str, Run] = {}
    for pipe in case["pipes"]:
        parent = ends.get(pipe["from"])
        run = Run(
            name=pipe["id"],
            parent=parent.name if parent else "",
            from_m=parent.length_m if parent else 0.0,
            length_m=pipe["length_m"],
            pipe=Pipe(label="own", bore_m=pipe["d_m"], wall_m=0.003, roughness_m=pipe["rough_m"]),
            loss_k=pipe["k"],
            tees_counted=True,
        )
        runs.append(run)
        ends[pipe["to"]] = run
    zones = []
    for row in case["rows"]:
        holes = row["holes"]
        x_m, z_m = holes["x_m"], holes["z_m"]
        places = sorted(set(x_m))
        every_m = places[1] - places[0]
        slope = (z_m[-1] - z_m[0]) / (x_m[-1] - x_m[0])
        at_inlet_m = z_m[0] - slope * x_m[0]
        length_m = x_m[-1] + 0.5 * every_m
        (bore_m,), (coefficient,) = set(holes["d_m"]), set(holes["cd"])
        run = ends[row["node"]]
        zones.append(
            a_zone(
                row["id"],
                a_row(
                    a_drilling(
                        bore_m=bore_m,
                        every_m=every_m,
                        first_m=x_m[0],
                        walls=Walls.BOTH if len(x_m) == 2 * len(places) else Walls.ONE,
                        discharge_coefficient=coefficient,
                    ),
                    length_m=length_m,
                    pipe=Pipe(
                        label="own", bore_m=row["d_m"], wall_m=0.003, roughness_m=row["rough_m"]
                    ),
                    inlet_height_m=stretch * at_inlet_m,
                    far_height_m=stretch * (at_inlet_m + slope * length_m),
                    plugged_holes=tuple(number + 1 for number in holes["plugged"]),
                ),
                run=run.name,
                main_run_m=run.length_m,
                opening=Opening(loss_k=row["k_valve"]),
                take_off_k=0.0,
            )
        )
    supply = case["supply"]
    garden = a_garden(
        *zones,
        runs=tuple(runs),
        supply=Supply(
            static_head_m=stretch * supply["static_head_m"],
            test_head_m=stretch * supply["test_head_m"],
            test_flow_m3_s=supply["test_flow_m3s"],
            exponent=supply["exponent"],
        ),
    )
    return plain(garden, case), stretch


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_garden_on_a_forked_main_flows_as_in_epanet(case: dict[str, Any]) -> None:
    lines, stretch = lines_of(case)
    opened = frozenset(row["id"] for row in case["rows"] if row["open"])
    whole, quick = lines.open_set(opened), lines.zone_flows(opened)
    expect = case["expect"]
    largest_hole = max(max(row["hole_flow_m3s"]) for row in expect["rows"].values())
    largest_row = max(row["flow_m3s"] for row in expect["rows"].values())
    assert opened == set(expect["rows"])
    assert whole.supply_flow_m3_s == pytest.approx(expect["supply_flow_m3s"], rel=1e-3)
    assert whole.tap_head_m / stretch == pytest.approx(expect["node_head_m"]["tap"], abs=2e-3)
    for name, row in expect["rows"].items():
        zone = whole.zones[name]
        allowed = 1e-3 * max(row["flow_m3s"], 0.1 * largest_row)
        assert zone.flow_m3_s == pytest.approx(row["flow_m3s"], abs=allowed), name
        assert quick[name] == pytest.approx(row["flow_m3s"], abs=allowed), name
        assert quick[name] == pytest.approx(zone.flow_m3_s, rel=1e-5), name
        (ours,) = zone.rows
        assert ours.inlet_head_m / stretch == pytest.approx(row["inlet_head_m"], abs=2e-3), name
        assert len(ours.holes) == len(row["hole_flow_m3s"])
        for hole, flow in zip(ours.holes, row["hole_flow_m3s"], strict=True):
            allowed = 2e-3 * max(flow, 0.1 * largest_hole)
            assert hole.flow_m3_s == pytest.approx(flow, abs=allowed), (name, hole.number)


# By case, for all loss coefficients of the main half as much more or less, and none or doubled: by
# how many per cent the supply and the row it moves most are moved at most. RECORDED; an independent
# solver had 0.1 to 1.0 for the supply, and 1, 1, 5 and 4 for a row, with none or doubled.
WORTH = {
    "b01": ((0.1, 0.5), (0.2, 1.0)),
    "b02": ((0.2, 0.5), (0.2, 0.9)),
    "b03": ((0.6, 2.9), (1.1, 5.6)),
    "b04": ((0.2, 1.9), (0.3, 3.9)),
}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_what_the_losses_of_fittings_are_worth(case: dict[str, Any]) -> None:
    lines, _ = lines_of(case)
    opened = frozenset(row["id"] for row in case["rows"] if row["open"])
    as_said = lines.zone_flows(opened)
    for factors, (supply_most, row_most) in zip(
        ((0.5, 1.5), (0.0, 2.0)), WORTH[case["id"]], strict=True
    ):
        moved_supply, moved_row = 0.0, 0.0
        for factor in factors:
            runs = tuple(replace(run, loss_k=factor * run.loss_k) for run in lines.garden.runs)
            changed = plain(replace(lines.garden, runs=runs), case).zone_flows(opened)
            total = sum(changed.values()) / sum(as_said.values())
            moved_supply = max(moved_supply, 100 * abs(total - 1.0))
            rows = (100 * abs(changed[name] / as_said[name] - 1.0) for name in opened)
            moved_row = max(moved_row, *rows)
        print(
            f"{case['id']}, K times {factors}: supply {moved_supply:.2f} %, row {moved_row:.2f} %"
        )
        assert 0.0 < moved_supply <= supply_most
        assert 0.8 * row_most <= moved_row <= row_most
