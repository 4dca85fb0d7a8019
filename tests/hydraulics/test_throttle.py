"""How far to throttle: long enough for the clock, for the valve's travel, for the soil."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import time

import pytest
from pytest import approx
from support.gardens import a_garden, a_zone
from support.wording import said

from controller.garden.model import Watering, Window, Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.design.limits import longest_run_s, lost_share, throttle_to
from controller.units import m3_from_l


@dataclass(frozen=True)
class Soaks:
    """2 m2 that take in 0.01 mm a second and let 3 mm stand."""

    strip_m2: float = 2.0
    intake_mm_s: float = 0.01
    basin_mm: float = 3.0


def travelling(seconds: float, relay: int | None = 17) -> Zone:
    zone = a_zone(relay=relay)
    return replace(zone, valve=replace(zone.valve, opens_in_s=seconds, closes_in_s=seconds))


def target_l_s(zone: Zone, *, wanted_l: float, drains_l: float = 0.0, **more: Soaks) -> float:
    found = throttle_to(
        zone,
        wanted_m3=m3_from_l(wanted_l),
        drains_m3=m3_from_l(drains_l),
        takes_in=more.get("takes_in"),
    )
    return 1000.0 * found.flow_m3_s


def test_the_share_lost_is_half_of_each_travel_at_full_flow_and_what_fills_the_line() -> None:
    # WORKED: 0.5 L/s for (8 + 8) / 2 s are 4 L, and 1 L in the line: 5 of 20 L.
    share = lost_share(
        travelling(8.0).valve,
        flow_m3_s=m3_from_l(0.5),
        wanted_m3=m3_from_l(20.0),
        drains_m3=m3_from_l(1.0),
    )
    assert share == approx(0.25, abs=1e-12)


@pytest.mark.parametrize(
    ("zone", "wanted_l", "drains_l", "l_s"),
    [
        # WORKED: 12 L in the two minutes of a relay, 0.1 L/s; in the five of a hand, 0.04.
        (travelling(0.0), 12.0, 0.0, 0.1),
        (travelling(0.0, relay=None), 12.0, 0.0, 0.04),
        # 8 s at 0.1 L/s are 0.8 L, under a quarter of 12: the clock still decides.
        (travelling(8.0), 12.0, 0.0, 0.1),
        # 60 s of travel: a quarter, 3 L, in 60 s.
        (travelling(60.0), 12.0, 0.0, 0.05),
        # With 0.6 L in the line 2.4 L are left for the travel.
        (travelling(60.0), 12.0, 0.6, 0.04),
        # With 3 L in the line no throttling brings it under a quarter: 15 L in two minutes.
        (travelling(60.0), 12.0, 3.0, 0.125),
    ],
)
def test_the_slowest_of_clock_and_travel_decides(
    zone: Zone, wanted_l: float, drains_l: float, l_s: float
) -> None:
    assert target_l_s(zone, wanted_l=wanted_l, drains_l=drains_l) == approx(l_s, rel=1e-9)


def test_slow_soil_asks_for_less_and_the_holes_for_some() -> None:
    by_soil = target_l_s(travelling(0.0), wanted_l=24.0, takes_in=Soaks())
    # WORKED: 24 L on 2 m2 are 12 mm, 3 of them may stand and 9 soak in at 0.01 mm/s: 900 s, and
    # 24 L in 900 s are 0.0267 L/s; 16 holes of 1/16 in under 10 cm, at Cd 0.766 (Lichtarowicz,
    # 0.80 for fast water), give 16 x 127 mL/min, 0.0339.
    assert by_soil == approx(16 * 0.127 / 60.0, rel=0.01)
    by_clock = target_l_s(travelling(0.0), wanted_l=24.0)
    assert by_clock == approx(0.2, rel=1e-9)


def test_a_zone_has_its_part_of_the_weekday_with_least_window() -> None:
    zones = [a_zone(name, relay=line) for name, line in (("a", 17), ("b", 27), ("c", 22))]
    zones = [replace(z, valve=replace(z.valve, longest_open_s=1e6)) for z in zones]
    windows = (
        Window(opens=time(22), closes=time(2), weekdays=frozenset({0, 3})),
        Window(opens=time(5), closes=time(6), weekdays=frozenset({3})),
        Window(opens=time(5), closes=time(9), valves=frozenset({ValveKind.HAND})),
    )
    garden = a_garden(*zones, watering=Watering(windows=windows, most_open=2))
    # WORKED: Mondays have 4 h past midnight, Thursdays 5 h, other days none: two thirds of 4 h.
    assert longest_run_s(garden, zones[0]) == approx(4 * 3600 * 2 / 3)
    short = replace(zones[0], valve=replace(zones[0].valve, longest_open_s=600.0))
    assert longest_run_s(garden, short) == 600.0


def test_no_time_is_asked_for_beyond_what_it_may_run() -> None:
    zone = travelling(0.0)
    found = throttle_to(
        zone, wanted_m3=m3_from_l(24.0), drains_m3=0.0, takes_in=Soaks(intake_mm_s=1e-4),
        longest_s=300.0,
    )  # fmt: skip
    assert found.flow_m3_s == approx(m3_from_l(24.0) / 300.0)
    assert said(found.why[1]) == "as far as 5 min allows, the longest it may run"
