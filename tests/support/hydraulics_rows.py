"""Rows for tests: plain holes at a held inlet head by the program's own solver, and longest rows.

`torricelli_m3_s` is the hole law by itself, to hold the program's law against.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import exp, inf, log, pi, sqrt
from typing import Any
from unittest import mock

from controller.errors import InputError, require_range
from controller.garden.plumbing import Drilling, Pipe, Row
from controller.hydraulics.design.limits import most_that_is_good
from controller.hydraulics.network.assembly import solve_row
from controller.hydraulics.network.geometry import drilled_holes
from controller.hydraulics.network.lateral import LateralFlow, solve_lateral
from controller.hydraulics.network.march import Mouth, RowMarch
from controller.hydraulics.network.row_curves import RowCurve
from controller.hydraulics.network.uniformity import flow_variation, scattered_uniformity
from controller.hydraulics.physics.orifice import ALL_EFFECTS, Effects, Water, hole_law, passes
from controller.hydraulics.physics.pipe import PVC_ROUGHNESS_M, WATER_TEMP_C, viscosity_m2_s
from controller.units import GRAVITY_M_S2

# As network solvers have it: constant coefficients driven by the total head, pipes always full.
NO_EFFECTS = Effects(momentum=0.0, varying=False, vented=False)
# A thousand stations: as good as any length.
MOST_STATIONS = 1000
_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)


def torricelli_m3_s(
    *,
    head_over_hole_m: float,
    bore_m: float,
    discharge_coefficient: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Torricelli's law with a discharge coefficient, q = Cd a sqrt(2 g h), written out. [m3/s]"""
    area_m2 = pi / 4.0 * bore_m**2
    return discharge_coefficient * area_m2 * sqrt(2.0 * gravity_m_s2 * max(0.0, head_over_hole_m))


def hole_passes_m3_s(
    *,
    head_over_hole_m: float,
    bore_m: float,
    discharge_coefficient: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """A hole of a constant coefficient by the law that the program solves rows with. [m3/s]"""
    law = hole_law(
        bore_m=bore_m, discharge_coefficient=discharge_coefficient, gravity_m_s2=gravity_m_s2
    )
    return passes(law, head_over_hole_m)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """An open hole: its place along the pipe, the height of its mouth, bore and coefficient.

    Its coefficient is constant, and the pipe's floor is where its mouth is. `sigma` is how much the
    water's speed counts (orifice.py).
    """

    x_m: float
    z_m: float
    bore_m: float
    discharge_coefficient: float
    sigma: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lateral:
    """A pipe closed at its last hole; holes in the order of their distance from the inlet.

    In a `vented` one a hole above the water lets air in; else the pipe is always full.
    """

    bore_m: float
    holes: tuple[Hole, ...]
    roughness_m: float = PVC_ROUGHNESS_M
    vented: bool = False

    def __post_init__(self) -> None:
        require_range("bore_m", self.bore_m, 1e-4, 1.0)
        last_m = 0.0
        for hole in self.holes:
            if not hole.x_m >= last_m:
                raise InputError("holes of a lateral go in order from the inlet, x 0 or more")
            last_m = hole.x_m
            require_range("z_m", hole.z_m, -1e4, 1e4)
            require_range("bore_m", hole.bore_m, 1e-5, 1.0)
            require_range("discharge_coefficient", hole.discharge_coefficient, 1e-3, 1.0)


def lateral_flow(
    lateral: Lateral,
    inlet_head_m: float,
    *,
    viscosity_m2_s: float = _WATER_M2_S,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> LateralFlow:
    """The lateral by the program's solver, its inlet held at a total head. [m]"""
    mouths = [
        Mouth(
            x_m=hole.x_m,
            z_m=hole.z_m,
            floor_m=hole.z_m,
            law=hole_law(
                bore_m=hole.bore_m,
                discharge_coefficient=hole.discharge_coefficient,
                sigma=hole.sigma,
                gravity_m_s2=gravity_m_s2,
            ),
        )
        for hole in lateral.holes
    ]
    return solve_lateral(
        lateral.bore_m,
        lateral.roughness_m,
        mouths,
        inlet_head_m,
        vented=lateral.vented,
        viscosity_m2_s=viscosity_m2_s,
        gravity_m_s2=gravity_m_s2,
    )


def longest_row_m(
    *,
    pipe: Pipe,
    drilling: Drilling,
    inlet_head_m: float,
    most_variation: float = 1.0,
    least_uniformity: float = 0.0,
    scatter_fraction: float = 0.0,
    water_temp_c: float = WATER_TEMP_C,
    effects: Effects = ALL_EFFECTS,
) -> float:
    """Longest level row that is as even as wished at a head held at its inlet. [m]

    The program's own solver and uniformity, for each length tried; infinite where a thousand
    stations are even enough.
    """
    water = Water(viscosity_m2_s=viscosity_m2_s(water_temp_c), effects=effects)

    def good(stations: int) -> bool:
        row = Row(
            length_m=stations * drilling.every_m, pipe=pipe, drilling=drilling, ground_width_m=1.0
        )
        holes = [hole for hole in drilled_holes(row, 0.0) if not hole.plugged]
        flows = solve_row(row, holes, inlet_head_m, water).hole_flows_m3_s
        running = [q for hole, q in zip(holes, flows, strict=True) if hole.kind == "hole"]
        if max(running) <= 0.0:
            return False
        even = scattered_uniformity(running, [scatter_fraction * q for q in running])
        return flow_variation(running) <= most_variation and even >= least_uniformity

    stations = most_that_is_good(good, MOST_STATIONS)
    return inf if stations == MOST_STATIONS else stations * drilling.every_m


def head_at(curve: RowCurve, flow_m3_s: float) -> tuple[float, float]:
    """A curve's head at the inlet over the lowest hole [m], and its slope, at a flow above 0.

    Read off the cell that stands there, as the quick solver reads it.
    """
    y = log(flow_m3_s)
    _, _, y0, x0, c1, c2, c3, _ = curve.cell(y)
    d = y - y0
    head = exp(x0 + d * (c1 + d * (c2 + d * c3)))
    return head, head * (c1 + d * (2.0 * c2 + 3.0 * d * c3)) / flow_m3_s


@contextmanager
def marches_counted() -> Iterator[list[int]]:
    """Inside, the list's one number counts the marches of all rows."""
    count = [0]
    march = RowMarch.march

    def counting(self: RowMarch, *args: Any) -> tuple[float, float, float, float, int]:
        count[0] += 1
        return march(self, *args)

    with mock.patch.object(RowMarch, "march", counting):
        yield count
