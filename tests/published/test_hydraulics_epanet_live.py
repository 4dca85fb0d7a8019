"""Random drilled networks solved by us and, at once, by EPANET 2.2 through wntr."""

from __future__ import annotations

import pytest
from support.hydraulics_epanet import GRAVITY_M_S2, VISCOSITY_M2_S, Engine, random_net

from controller.hydraulics.network import solve_tree

pytest.importorskip("wntr")


def compare(seed: int, folder) -> None:
    """Holes within 2e-3 of the larger of own flow and a tenth of the largest, supply 1e-4."""
    net = random_net(seed)
    ours = solve_tree(
        supply=net.supply,
        spans=net.spans,
        outlets=net.outlets,
        viscosity_m2_s=VISCOSITY_M2_S,
        gravity_m_s2=GRAVITY_M_S2,
    )
    engine = Engine(net, folder)
    try:
        tap_head_m, flows = engine.solve()
    finally:
        engine.close()
    largest = max(flows)
    assert ours.supply_flow_m3_s == pytest.approx(sum(flows), rel=1e-4)
    assert ours.tap_head_m == pytest.approx(tap_head_m, abs=1e-3)
    for i, (mine, theirs) in enumerate(zip(ours.outlet_flows_m3_s, flows, strict=True)):
        assert mine == pytest.approx(theirs, abs=2e-3 * max(theirs, 0.1 * largest)), i


# Two nets without dry holes, one barrel with most holes dry, two with plugged tails and dry holes.
@pytest.mark.parametrize("seed", [1, 6, 15, 30, 47])
def test_a_random_network_flows_as_in_epanet(seed, tmp_path):
    compare(seed, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60, 110))
def test_fifty_more_random_networks_flow_as_in_epanet(seed, tmp_path):
    compare(seed, tmp_path)
