"""How long one set takes, beside EPANET's engine; run with --benchmark-only."""

from __future__ import annotations

import pytest
from support.hydraulics_epanet import GRAVITY_M_S2, VISCOSITY_M2_S, Engine, random_net

from controller.hydraulics.network import solve_tree

SEEDS = (1, 9, 24, 38)  # 124 to 198 holes, two with dry ones


@pytest.mark.benchmark(group="four networks of drilled rows")
def test_ours(benchmark):
    nets = [random_net(seed) for seed in SEEDS]

    def all_nets():
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
def test_epanet_written_opened_and_solved(benchmark, tmp_path):
    pytest.importorskip("wntr")
    nets = [random_net(seed) for seed in SEEDS]

    def all_nets():
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
def test_epanet_kept_open(benchmark, tmp_path):
    pytest.importorskip("wntr")
    engine = Engine(random_net(24), tmp_path)
    try:
        benchmark(engine.run)
    finally:
        engine.close()


@pytest.mark.benchmark(group="one network, engine kept open")
def test_ours_on_the_same(benchmark):
    net = random_net(24)
    flow = benchmark(lambda: solve_tree(supply=net.supply, spans=net.spans, outlets=net.outlets))
    assert flow.supply_flow_m3_s > 0.0
