"""A regulator and a pump's tank against Boyle's law, EPANET, and a pump followed second by second.

The simulated pump lives here, apart from the product's curve: a tank of air and water, a switch,
and a pump with its own curve, in steps of a twentieth of a second.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt
from pathlib import Path
from typing import Any

import pytest
from pytest import approx
from support.hydraulics_trees import Outlet, Span, TreeFlow, solve_tree
from support.supplies import BEFORE, GPM, PSI_M, PUMP, WELL
from support.supplies import REGULATOR as PLAIN_REGULATOR

from controller.garden.plumbing import Pump
from controller.hydraulics.network.supplies import (
    Cycle,
    RunsOn,
    air_head_m,
    drawdown_m3,
    held,
    planning_curve,
    pump_round,
    supply_states,
)
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.units import (
    GRAVITY_M_S2,
    m3_from_gal,
    m_from_ft,
    psi_from_head_m,
)

# 25 psi closed, 21 psi at 5 gal/min; 50 psi before it, 25 at 8 gal/min; 0.05 psi/(gal/min)2 open.
REGULATOR = replace(
    PLAIN_REGULATOR,
    before=replace(BEFORE, open_loss_m=0.05 * 64 * PSI_M, open_flow_m3_s=8 * GPM),
)


def demand(gpm: float, at_psi: float) -> list[Outlet]:
    """One hole at the tap's height that takes so much at that pressure, and as its root."""
    area_m2 = gpm * GPM / sqrt(2.0 * GRAVITY_M_S2 * at_psi * PSI_M) / 0.8
    return [
        Outlet(node="hole", z_m=0.0, bore_m=sqrt(4.0 * area_m2 / pi), discharge_coefficient=0.8)
    ]


AT_THE_TAP = [Span(upstream="tap", downstream="hole", length_m=0.0, bore_m=0.05)]


def flowing(supply: SupplyCurve, gpm: float, at_psi: float) -> TreeFlow:
    return solve_tree(supply=supply, spans=AT_THE_TAP, outlets=demand(gpm, at_psi))


@pytest.mark.parametrize(
    ("gpm", "flows_gpm", "psi"),
    [
        # WORKED: 25 - 0.8 Q = 20 (Q/3)^2; the same with 6; 50 - (25/64 + 0.05) Q^2 with 12.
        (3.0, 3.179, 22.46),
        (6.0, 6.027, 20.18),
        (12.0, 9.289, 11.98),
    ],
)
def test_a_regulator_holds_its_setting_down_to_its_drop_out(
    gpm: float, flows_gpm: float, psi: float
) -> None:
    found = flowing(planning_curve(REGULATOR), gpm, 20.0)
    assert found.supply_flow_m3_s / GPM == approx(flows_gpm, abs=5e-4)
    assert psi_from_head_m(found.tap_head_m) == approx(psi, abs=5e-3)


def test_a_regulator_drops_out_where_its_line_meets_the_mains() -> None:
    # WORKED: 25 - 0.8 Q = 50 - 0.440625 Q^2: Q = (0.8 + sqrt(0.64 + 44.0625))/0.88125 = 8.495.
    curve = planning_curve(REGULATOR)
    assert curve.limited_from_m3_s() / GPM == approx(8.495, abs=1e-3)
    below, above = (curve.head_m(q * GPM) / PSI_M for q in (8.4, 8.6))
    assert below == approx(25 - 0.8 * 8.4)
    assert above == approx(50 - 0.440625 * 8.6**2)


def test_a_tank_gives_what_boyles_law_says() -> None:
    # PRINTED: a trade journal's column on pressure tanks: 85 gal, 28 psi of air, 30 to 50 psi:
    # 25.1 gal (read as quoted).
    tank = Pump(
        on_head_m=30 * PSI_M,
        off_head_m=50 * PSI_M,
        tank_m3=m3_from_gal(85.0),
        pre_charge_head_m=28 * PSI_M,
        shut_off_head_m=62 * PSI_M,
    )
    assert drawdown_m3(tank) / m3_from_gal(1.0) == approx(25.1, abs=0.05)
    # WORKED: (28 + 14.7)(1/44.7 - 1/64.7) of 75.7 L.
    assert 1000 * drawdown_m3(PUMP) == approx(22.35, abs=0.01)


@pytest.mark.parametrize(
    ("on_psi", "off_psi", "share"),
    # WORKED: (on - 2 + 14.7)(1/(on + 14.7) - 1/(off + 14.7)).
    [(20, 40, 0.345), (30, 50, 0.295), (40, 60, 0.258)],
)
def test_a_tank_gives_so_much_of_its_volume(on_psi: int, off_psi: int, share: float) -> None:
    tank = Pump(
        on_head_m=on_psi * PSI_M,
        off_head_m=off_psi * PSI_M,
        tank_m3=1.0,
        pre_charge_head_m=(on_psi - 2) * PSI_M,
        shut_off_head_m=100 * PSI_M,
    )
    assert drawdown_m3(tank) == approx(share, abs=6e-4)


def test_thin_air_makes_a_tank_give_more() -> None:
    # WORKED: 14.7 - 5 x 0.53 = 12.05 psi at 5000 ft.
    assert air_head_m(m_from_ft(5000.0)) / PSI_M == approx(12.05)
    assert drawdown_m3(PUMP, elevation_m=1500.0) > 1.02 * drawdown_m3(PUMP)


@dataclass
class Seen:
    """What the simulated pump did: litres passed, times of its starts, pressure at the end."""

    litres: float
    starts_s: list[float]
    psi: float


def simulated(gpm: float, *, seconds: float, psi: float = 50.0, runs: bool = False) -> Seen:
    """A 75.7 L tank, 28 psi of air, a 30/50 switch, a pump of 62 psi shut and 10 gal/min at 40.

    The lines take so many gal/min at 40 psi, as the root of the pressure.
    """
    litres_per_gpm_s, step_s = 3.785411784 / 60.0, 0.05
    air_l_psi = 75.7 * (28.0 + 14.7)
    water_l = 75.7 - air_l_psi / (psi + 14.7)
    seen = Seen(litres=0.0, starts_s=[], psi=psi)
    for i in range(round(seconds / step_s)):
        psi = air_l_psi / (75.7 - water_l) - 14.7
        if not runs and psi <= 30.0:
            runs = True
            seen.starts_s.append(i * step_s)
        elif runs and psi >= 50.0:
            runs = False
        gives = 10.0 * sqrt(max(0.0, 62.0 - psi) / 22.0) if runs else 0.0
        takes = gpm * sqrt(max(0.0, psi) / 40.0)
        seen.litres += takes * litres_per_gpm_s * step_s
        water_l += (gives - takes) * litres_per_gpm_s * step_s
    seen.psi = psi
    return seen


def test_ten_minutes_of_a_pump_are_the_steady_curves_within_two_per_cent() -> None:
    steady = 600_000 * flowing(planning_curve(WELL), 4.0, 40.0).supply_flow_m3_s
    # WORKED: 4 gal/min at 40 psi for ten minutes.
    assert steady == approx(151.4, abs=0.1)
    full = simulated(4.0, seconds=600.0).litres
    at_cut_in = simulated(4.0, seconds=600.0, psi=30.0, runs=True).litres
    assert (full, at_cut_in) == (approx(149.3, abs=0.3), approx(149.7, abs=0.3))
    assert steady == approx(full, rel=0.02)
    assert steady == approx(at_cut_in, rel=0.02)


@pytest.mark.parametrize("gpm", [1.0, 2.0, 4.0, 6.0])
def test_a_pump_starts_as_often_as_the_simulated_one(gpm: float) -> None:
    found = pump_round(PUMP, runs_alone(), lambda head_m: takes(gpm, head_m))
    starts = simulated(gpm, seconds=1500.0).starts_s
    assert isinstance(found, Cycle)
    assert found.every_s == approx(starts[-1] - starts[-2], abs=0.5)
    if gpm == 4.0:
        # RECORDED from the simulated pump above.
        assert found.every_s == approx(152, abs=0.5)


@pytest.mark.parametrize(("gpm", "psi", "settles_gpm"), [(14.0, 29.84, 12.09), (8.0, 45.86, 8.57)])
def test_a_pump_that_runs_on_settles_where_the_simulated_one_does(
    gpm: float, psi: float, settles_gpm: float
) -> None:
    # WORKED: 62 - 0.22 (Q/1)^2 = 40 (Q/14)^2; the same with 8.
    found = pump_round(PUMP, runs_alone(), lambda head_m: takes(gpm, head_m))
    assert isinstance(found, RunsOn)
    assert psi_from_head_m(found.head_m) == approx(psi, abs=5e-3)
    assert found.flow_m3_s / GPM == approx(settles_gpm, abs=5e-3)
    assert simulated(gpm, seconds=3600.0).psi == approx(psi, abs=0.05)


def test_the_steady_curve_is_the_pumps_own_beyond_it_and_the_middle_below() -> None:
    beyond = flowing(planning_curve(WELL), 14.0, 40.0)
    # WORKED: 62 - 0.22 Q^2 = 40 (Q/14)^2.
    assert psi_from_head_m(beyond.tap_head_m) == approx(29.84, abs=5e-3)
    assert beyond.supply_flow_m3_s / GPM == approx(12.09, abs=5e-3)
    # Near balance the pump sits long above the middle: 5 % more in the first ten minutes.
    near = 600_000 * flowing(planning_curve(WELL), 8.0, 40.0).supply_flow_m3_s
    assert simulated(8.0, seconds=600.0).litres == approx(1.05 * near, rel=0.01)


def test_a_short_pulse_lies_between_cut_in_and_cut_out() -> None:
    states = supply_states(WELL)
    low, middle, high = (
        flowing(curve, 4.0, 40.0).supply_flow_m3_s
        for curve in (states.end, states.middle, states.start)
    )
    # WORKED: (sqrt(50/30) - 1)/2 = 14.5 % of the lowest, sqrt(50/40) = 1.118, sqrt(30/40) = 0.866.
    assert (low / middle, high / middle) == (approx(0.866, abs=1e-3), approx(1.118, abs=1e-3))
    first = simulated(4.0, seconds=5.0).litres / 5000.0
    last = simulated(4.0, seconds=5.0, psi=30.01).litres / 5000.0
    assert 0.999 * low < last < first < 1.001 * high


def takes(gpm: float, head_m: float) -> float:
    return gpm * GPM * sqrt(head_m / (40.0 * PSI_M))


def runs_alone() -> SupplyCurve:
    curve = planning_curve(WELL).limit
    assert curve is not None
    return curve


def epanet(folder: Any, supply_inp: str, outlet: Outlet) -> tuple[float, float]:
    """EPANET's head at the tap and flow, for a supply in its own words. [m, m3/s]"""
    toolkit = pytest.importorskip("wntr.epanet.toolkit")
    # L/s at 1 m, with the gravity the hole was made for.
    emitter = 800.0 * pi / 4.0 * outlet.bore_m**2 * sqrt(2.0 * GRAVITY_M_S2)
    inp = folder / "supply.inp"
    inp.write_text(
        f"[JUNCTIONS]\nbefore 0 0\ntap 0 0\nhole 0 0\n{supply_inp}"
        "[PIPES]\nlast tap hole 0.001 300 0.001 0 OPEN\n"
        f"[EMITTERS]\nhole {emitter!r}\n"
        "[OPTIONS]\nUNITS LPS\nHEADLOSS D-W\nEMITTER EXPONENT 0.5\nTRIALS 500\n"
        "ACCURACY 0.00001\n[TIMES]\nDURATION 0\n[END]\n",
        encoding="ascii",
    )
    lib = toolkit.ENepanet(version=2.2)
    lib.ENopen(str(inp), str(folder / "supply.rpt"), str(folder / "supply.bin"))
    try:
        lib.ENopenH()
        lib.ENinitH(10)
        lib.ENrunH()
        head_m = lib.ENgetnodevalue(lib.ENgetnodeindex("tap"), 10)
        lib.ENcloseH()
    finally:
        lib.ENclose()
    return head_m, emitter / 1000.0 * sqrt(max(0.0, head_m))


@pytest.mark.parametrize("gpm", [3.0, 6.0, 8.0, 12.0, 20.0])
def test_a_regulator_that_does_not_fall_is_epanets_reducing_valve(
    gpm: float, tmp_path: Path
) -> None:
    mains = SupplyCurve(static_head_m=50 * PSI_M, test_head_m=25 * PSI_M, test_flow_m3_s=8 * GPM)
    ours = flowing(held(25 * PSI_M, mains), gpm, 20.0)
    bore_mm = 50.0
    area_m2 = pi / 4.0 * (bore_mm / 1000.0) ** 2
    # 0.02517 stands in EPANET for 8/(pi2 g), 0.0251733 in ft.
    minor = mains.k * 2.0 * 32.2 * 0.3048 * area_m2**2 * 8.0 / (pi**2 * 32.2) / 0.02517
    head_m, flow = epanet(
        tmp_path,
        f"[RESERVOIRS]\ntown {50 * PSI_M!r}\n"
        f"[VALVES]\nmains town before {bore_mm} TCV {minor!r} 0\n"
        f"regulator before tap {bore_mm} PRV {25 * PSI_M!r} 0\n",
        demand(gpm, 20.0)[0],
    )
    assert ours.tap_head_m == approx(head_m, abs=2e-3)
    assert ours.supply_flow_m3_s == approx(flow, rel=2e-4)


@pytest.mark.parametrize("gpm", [11.0, 14.0, 25.0])
def test_a_pump_that_runs_on_is_epanets_pump(gpm: float, tmp_path: Path) -> None:
    ours = flowing(planning_curve(WELL), gpm, 40.0)
    points = "".join(
        f"1 {1000 * q * GPM!r} {(62 - 0.22 * q**2) * PSI_M!r}\n" for q in (0.0, 10.0, 15.0)
    )
    head_m, flow = epanet(
        tmp_path,
        f"[RESERVOIRS]\nwell 0\n[PUMPS]\npump well before HEAD 1\n[CURVES]\n{points}"
        "[VALVES]\nopen before tap 300 TCV 0 0\n",
        demand(gpm, 40.0)[0],
    )
    assert ours.tap_head_m == approx(head_m, abs=5e-3)
    assert ours.supply_flow_m3_s == approx(flow, rel=2e-4)
