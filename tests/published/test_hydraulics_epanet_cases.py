"""Every case of the files of EPANET (2.2, wntr 1.5.0), to the tolerance they state.

epanet_cases.json has mains that are chains, epanet_cases_branched.json mains that fork.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.hydraulics_rows import Hole, Lateral, lateral_flow
from support.hydraulics_trees import Outlet, Span, TreeFlow, solve_tree

from controller.hydraulics.network.supply_curve import SupplyCurve

# RECORDED from EPANET 2.2 (wntr 1.5.0), an outside program; the files' heads say how.
CASES = [
    case
    for name in ("epanet_cases.json", "epanet_cases_branched.json")
    for case in json.loads((Path(__file__).parent / name).read_text(encoding="utf-8"))["cases"]
]


def solved(case: Any) -> tuple[TreeFlow, dict[str, list[float]]]:
    """Our answer to a case, and the hole flows of each open row in the file's order."""
    supply = case["supply"]
    spans = [
        Span(
            upstream=pipe["from"],
            downstream=pipe["to"],
            length_m=pipe["length_m"],
            bore_m=pipe["d_m"],
            roughness_m=pipe["rough_m"],
            loss_k=pipe["k"],
        )
        for pipe in case["pipes"]
    ]
    outlets: list[Outlet] = []
    places: dict[str, list[int | None]] = {}
    for row in case["rows"]:
        if not row["open"]:
            continue
        spans.append(
            Span(
                upstream=row["node"],
                downstream=row["id"],
                length_m=0.0,
                bore_m=row["d_valve_m"],
                loss_k=row["k_valve"],
            )
        )
        before, at_m, holes = row["id"], 0.0, row["holes"]
        places[row["id"]] = []
        for i, x_m in enumerate(holes["x_m"]):
            name = f"{row['id']} {i}"
            spans.append(
                Span(
                    upstream=before,
                    downstream=name,
                    length_m=x_m - at_m,
                    bore_m=row["d_m"],
                    roughness_m=row["rough_m"],
                )
            )
            before, at_m = name, x_m
            if i in holes["plugged"]:
                places[row["id"]].append(None)
                continue
            places[row["id"]].append(len(outlets))
            outlets.append(
                Outlet(
                    node=name,
                    z_m=holes["z_m"][i],
                    bore_m=holes["d_m"][i],
                    discharge_coefficient=holes["cd"][i],
                )
            )
    flow = solve_tree(
        supply=SupplyCurve(
            static_head_m=supply["static_head_m"],
            test_head_m=supply["test_head_m"],
            test_flow_m3_s=supply["test_flow_m3s"],
            exponent=supply["exponent"],
        ),
        spans=spans,
        outlets=outlets,
        viscosity_m2_s=case["nu_m2_s"],
        gravity_m_s2=case["g_m_s2"],
    )
    return flow, {
        row: [0.0 if i is None else flow.outlet_flows_m3_s[i] for i in numbers]
        for row, numbers in places.items()
    }


def test_the_files_hold_sixteen_cases() -> None:
    assert [case["id"][0] for case in CASES].count("o") == 12
    assert [case["id"][0] for case in CASES].count("b") == 4


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_network_flows_as_in_epanet(case: Any) -> None:
    flow, rows = solved(case)
    expect = case["expect"]
    largest_hole = max(max(row["hole_flow_m3s"]) for row in expect["rows"].values())
    largest_row = max(row["flow_m3s"] for row in expect["rows"].values())
    assert set(rows) == set(expect["rows"])
    assert flow.supply_flow_m3_s == pytest.approx(expect["supply_flow_m3s"], rel=1e-3)
    for node, head_m in expect["node_head_m"].items():
        assert flow.heads_m[node] == pytest.approx(head_m, abs=2e-3), node
    for name, row in expect["rows"].items():
        assert flow.heads_m[name] == pytest.approx(row["inlet_head_m"], abs=2e-3), name
        allowed = 1e-3 * max(row["flow_m3s"], 0.1 * largest_row)
        assert sum(rows[name]) == pytest.approx(row["flow_m3s"], abs=allowed), name
        assert len(rows[name]) == len(row["hole_flow_m3s"])
        for i, (ours, theirs) in enumerate(zip(rows[name], row["hole_flow_m3s"], strict=True)):
            allowed = 2e-3 * max(theirs, 0.1 * largest_hole)
            assert ours == pytest.approx(theirs, abs=allowed), (name, i)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_row_marched_from_its_closed_end_flows_as_in_epanet(case: Any) -> None:
    expect = case["expect"]["rows"]
    largest_hole = max(max(row["hole_flow_m3s"]) for row in expect.values())
    for row in case["rows"]:
        if not row["open"]:
            continue
        holes, theirs = row["holes"], expect[row["id"]]
        free = [i for i in range(len(holes["x_m"])) if i not in holes["plugged"]]
        lateral = Lateral(
            bore_m=row["d_m"],
            roughness_m=row["rough_m"],
            holes=tuple(
                Hole(
                    x_m=holes["x_m"][i],
                    z_m=holes["z_m"][i],
                    bore_m=holes["d_m"][i],
                    discharge_coefficient=holes["cd"][i],
                )
                for i in free
            ),
        )
        flow = lateral_flow(
            lateral,
            theirs["inlet_head_m"],
            viscosity_m2_s=case["nu_m2_s"],
            gravity_m_s2=case["g_m_s2"],
        )
        for i, ours in zip(free, flow.hole_flows_m3_s, strict=True):
            allowed = 2e-3 * max(theirs["hole_flow_m3s"][i], 0.1 * largest_hole)
            assert ours == pytest.approx(theirs["hole_flow_m3s"][i], abs=allowed), (row["id"], i)
