"""Advice on a main that forks: the narrow run, surge pipe by pipe, thin streams off fast runs."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest
from support.findings import where_of, words_of
from support.hydraulics_gardens import a_garden, a_row, a_zone
from support.wording import said

from controller.check.supply_checks import of_forks
from controller.garden.model import Garden, Watering
from controller.garden.plumbing import Opening, Run, Supply
from controller.hydraulics.design.advice import HAND_CLOSES_S, advise
from controller.hydraulics.design.advice_zone import Advice
from controller.hydraulics.design.open_together import uncounted_at_forks_m
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.pipe import PIPES
from controller.hydraulics.physics.water_hammer import velocity_m_s, wave_speed_m_s
from controller.units import GRAVITY_M_S2

TRUNK = Run(name="trunk", length_m=10.0, pipe=PIPES["1 in"], loss_k=0.5)
ARM = Run(name="arm", parent="trunk", from_m=10.0, length_m=8.0, pipe=PIPES["1/2 in"], loss_k=1.3)
WIDE = Run(name="wide", parent="trunk", from_m=10.0, length_m=8.0, pipe=PIPES["1 in"], loss_k=1.5)


def two_arms() -> Garden:
    return a_garden(
        a_zone("ash", run="arm", main_run_m=8.0),
        a_zone("bay", run="wide", main_run_m=8.0),
        runs=(TRUNK, ARM, WIDE),
    )


def about(garden: Garden, subject: str) -> list[Advice]:
    found = advise(garden, Lines(garden), lambda crop: 0.1)
    return [one for one in found if one.subject == subject]


def test_the_run_that_is_too_narrow_is_named_with_what_its_next_size_gives() -> None:
    garden = two_arms()
    (advice,) = about(garden, "main")
    assert said(advice.where) == 'main, run "arm"'
    wider = replace(garden, runs=(TRUNK, replace(ARM, pipe=PIPES["3/4 in"]), WIDE))
    alone = frozenset(("ash",))
    before, after = (Lines(one).zone_flows(alone)["ash"] for one in (garden, wider))
    assert advice.figures["gain"] == pytest.approx(after / before - 1.0, abs=1e-5)
    speed = before / (pi / 4.0 * PIPES["1/2 in"].bore_m ** 2)
    assert advice.figures["velocity_m_s"] == pytest.approx(speed, rel=1e-5)


def test_a_run_that_takes_most_of_a_long_way_is_named_though_it_is_slow() -> None:
    long = replace(ARM, length_m=200.0, pipe=PIPES["3/4 in"])
    zone = a_zone("ash", run="arm", main_run_m=200.0)
    (advice,) = about(a_garden(zone, runs=(TRUNK, long)), "main")
    assert said(advice.where) == 'main, run "arm"'
    assert advice.figures["velocity_m_s"] < 1.52
    assert advice.figures["main_share"] > 0.1


def test_a_surge_goes_on_into_a_wider_pipe_by_part() -> None:
    # WORKED: a wave of c V / g at the valve; where the pipe widens 2 A1/c1 / (A1/c1 + A2/c2) of it
    # goes on (momentum and continuity at the joint). The 1/2 in is rated higher, and the wider pipe
    # gets about half: the sum is nearest to its rating in the 1/2 in all the same.
    garden = a_garden(a_zone("ash", run="arm", main_run_m=8.0), runs=(TRUNK, ARM))
    (advice,) = about(garden, "surge")
    flow = Lines(garden).zone_flows(frozenset(("ash",)))["ash"]
    waves = [wave_speed_m_s(bore_m=p.bore_m, wall_m=p.wall_m) for p in (ARM.pipe, TRUNK.pipe)]
    speeds = [velocity_m_s(flow_m3_s=flow, bore_m=p.bore_m) for p in (ARM.pipe, TRUNK.pipe)]
    at_valve_m = waves[0] * speeds[0] / GRAVITY_M_S2
    assert advice.figures["at_once_m"] == pytest.approx(at_valve_m, rel=1e-5)
    assert said(advice.message).count("1/2 in Schedule 40") == 1
    # WORKED: shut in 0.2 s, longer than there and back, 2 sum(L V) / (g t) for the whole column.
    slow_m = 2.0 * (8.0 * speeds[0] + 10.0 * speeds[1]) / (GRAVITY_M_S2 * HAND_CLOSES_S)
    assert advice.figures["usual_m"] == pytest.approx(slow_m, rel=1e-4)


def test_a_surge_grows_into_a_narrower_pipe() -> None:
    trunk, arm = replace(TRUNK, pipe=PIPES["1/2 in"]), replace(ARM, pipe=PIPES["1 in"])
    tank = Supply(static_head_m=6.0, test_head_m=3.0, test_flow_m3_s=6e-4)
    garden = a_garden(a_zone("ash", run="arm", main_run_m=8.0), runs=(trunk, arm), supply=tank)
    (advice,) = about(garden, "surge")
    flow = Lines(garden).zone_flows(frozenset(("ash",)))["ash"]
    near, far = (PIPES[size] for size in ("1 in", "1/2 in"))
    waves = [wave_speed_m_s(bore_m=p.bore_m, wall_m=p.wall_m) for p in (near, far)]
    rise_m = waves[0] * velocity_m_s(flow_m3_s=flow, bore_m=near.bore_m) / GRAVITY_M_S2
    areas = [p.bore_m**2 / wave for p, wave in zip((near, far), waves, strict=True)]
    rise_m *= 2.0 * areas[0] / sum(areas)
    assert advice.figures["at_once_m"] == pytest.approx(rise_m, rel=1e-5)
    assert "1/2 in Schedule 40" in said(advice.message)


def thin_beside_fast(loss_k: float) -> Garden:
    fast = [a_zone(name, *(a_row(),) * 6, run="wide", main_run_m=8.0) for name in ("bay", "cob")]
    thin = a_zone("ash", run="arm", main_run_m=8.0, opening=Opening(loss_k=loss_k))
    garden = a_garden(thin, *fast, runs=(TRUNK, ARM, WIDE))
    return replace(garden, watering=Watering(windows=(), most_open=3))


def test_a_thin_stream_off_a_fast_run_is_a_caution() -> None:
    garden = thin_beside_fast(3e4)
    lines = Lines(garden)
    opened = frozenset(("ash", "bay", "cob"))
    flows = lines.zone_flows(opened)
    # WORKED: one velocity head of the trunk, less what the arm's own velocity was charged with.
    heads = [
        velocity_m_s(flow_m3_s=flow, bore_m=pipe.bore_m) ** 2 / (2.0 * GRAVITY_M_S2)
        for flow, pipe in ((sum(flows.values()), TRUNK.pipe), (flows["ash"], ARM.pipe))
    ]
    charged = ARM.loss_k + 0.4
    missed_m = uncounted_at_forks_m(lines, opened, "ash")
    assert missed_m == pytest.approx(heads[0] - charged * heads[1], rel=1e-6)
    (found,) = of_forks(garden, lines)
    assert where_of(found) == 'zone "ash"'
    assert 'with "bay" and "cob" open too' in words_of(found)


def test_equal_streams_and_one_zone_at_a_time_are_none() -> None:
    garden = two_arms()
    assert of_forks(garden, Lines(garden)) == []
    one = thin_beside_fast(3e4)
    one = replace(one, watering=Watering(windows=(), most_open=1))
    assert of_forks(one, Lines(one)) == []
    chain = replace(one, watering=Watering(windows=(), most_open=3), runs=())
    zones = tuple(replace(zone, run="", main_run_m=5.0) for zone in chain.zones)
    chain = replace(chain, zones=zones)
    assert of_forks(chain, Lines(chain)) == []
