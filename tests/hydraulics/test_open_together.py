"""The head before a valve is the network's own, in cold water, too."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest
from pytest import approx
from support.gardens import a_garden, a_zone

from controller.hydraulics.design.open_together import (
    StaysOpen,
    before_valve_m,
    first_that_stays_open,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.units import GRAVITY_M_S2, head_m_from_psi
from controller.wording.say import say

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


@pytest.mark.parametrize("names", [("a", "b"), ("a", "c"), ("b", "c"), ("a", "b", "c")])
def test_each_stretch_of_the_main_loses_by_what_flows_through_it(names: tuple[str, ...]) -> None:
    runs_m = {"a": 5.0, "b": 40.0, "c": 90.0}
    zones = [
        a_zone(name, relay=4 + i, main_run_m=run_m, rise_m=-0.2 * i)
        for i, (name, run_m) in enumerate(runs_m.items())
    ]
    lines, opened = Lines(a_garden(*zones)), frozenset(names)
    for name, flow in lines.open_set(opened).zones.items():
        # WORKED: as above, behind each valve of the set.
        zone = lines.garden.zone(name)
        bore_m, loss_k = zone.rows[0].pipe.bore_m, lines.valve_loss_k(name)
        lost_m = 8.0 * loss_k * flow.flow_m3_s**2 / (pi**2 * GRAVITY_M_S2 * bore_m**4)
        expected_m = flow.valve_head_m + lost_m - zone.rise_m
        assert before_valve_m(lines, opened, name) == approx(expected_m, abs=1e-3)


def test_the_valve_that_lacks_most_is_named() -> None:
    near, far = a_zone("near"), a_zone("far", relay=4, main_run_m=90.0)
    names = frozenset(("near", "far"))
    free = Lines(a_garden(near, far))
    has_m = {name: before_valve_m(free, names, name) for name in names}
    assert has_m["far"] < has_m["near"]

    def asking(near_m: float, far_m: float) -> str | None:
        zones = [
            replace(zone, valve=replace(zone.valve, least_closing_head_m=least_m))
            for zone, least_m in ((near, near_m), (far, far_m))
        ]
        found = first_that_stays_open(Lines(a_garden(*zones)), names)
        return None if found is None else found.zone

    # WORKED: 1 mm to spare is enough, 1 mm short is not; the one that lacks more is named.
    assert asking(has_m["near"] - 0.001, has_m["far"] - 0.001) is None
    assert asking(has_m["near"] - 0.001, has_m["far"] + 0.001) == "far"
    assert asking(has_m["near"] + 0.002, has_m["far"] + 0.001) == "near"
    assert asking(0.0, 0.0) is None


def test_what_a_valve_lacks_is_said_in_the_gardeners_units() -> None:
    # WORKED: 1 psi is 6894.757 Pa, 6.9 kPa.
    found = StaysOpen(zone="leeks", wants_m=head_m_from_psi(10), has_m=head_m_from_psi(6))
    assert say(found.message, us=True) == (
        'the valve of "leeks" needs 10 psi before it to shut, and 6 psi would be left'
    )
    assert "68.9 kPa before it to shut, and 41.4 kPa" in say(found.message, us=False)
