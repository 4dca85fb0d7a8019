"""The head before a valve is the network's own, in cold water, too."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest
from pytest import approx
from support.gardens import a_garden, a_zone

from controller.hydraulics.lines import Lines
from controller.hydraulics.together import before_valve_m
from controller.units import GRAVITY_M_S2

ALONE = frozenset("a")


@pytest.mark.parametrize("water_temp_c", [1.0, 15.0, 30.0])
def test_the_head_before_a_valve_is_that_behind_it_and_what_it_loses(water_temp_c: float) -> None:
    zone = a_zone(main_run_m=60.0, rise_m=0.5)
    supply = replace(a_garden().supply, water_temp_c=water_temp_c)
    lines = Lines(a_garden(zone, supply=supply))
    flow = lines.open_set(ALONE).zones["a"]
    # WORKED: h = K v2 / 2g = 8 K Q2 / (pi2 g D4), on the first row's pipe.
    bore_m = zone.rows[0].pipe.bore_m
    lost_m = 8.0 * lines.valve_loss_k("a") * flow.flow_m3_s**2 / (pi**2 * GRAVITY_M_S2 * bore_m**4)
    expected_m = flow.valve_head_m + lost_m - zone.rise_m
    # The quick flow stands for the whole tree's to 1e-5.
    assert before_valve_m(lines, ALONE, "a") == approx(expected_m, abs=1e-3)
