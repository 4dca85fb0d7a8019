"""One drilled lateral at a known inlet head, marched hole by hole from its closed end."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from controller.errors import InputError, require_range
from controller.hydraulics.gradient import Tree
from controller.hydraulics.pipe import (
    PVC_ROUGHNESS_M,
    WATER_TEMP_C,
    head_loss_m,
    viscosity_m2_s,
)
from controller.units import GRAVITY_M_S2

_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)
_MOST_MARCHES = 100
_MET_M = 1e-11


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """An open hole: where it sits along the pipe, the height of its mouth, and what it passes."""

    x_m: float
    z_m: float
    bore_m: float
    discharge_coefficient: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lateral:
    """A pipe closed at its last hole; holes in the order of their distance from the inlet."""

    bore_m: float
    holes: tuple[Hole, ...]
    roughness_m: float = PVC_ROUGHNESS_M

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


@dataclass(frozen=True, slots=True, kw_only=True)
class LateralFlow:
    """What the lateral gives; flows and heads in the order of its holes."""

    flow_m3_s: float
    inlet_head_m: float
    hole_flows_m3_s: tuple[float, ...]
    hole_heads_m: tuple[float, ...]


def solve_lateral(
    lateral: Lateral,
    inlet_head_m: float,
    *,
    viscosity_m2_s: float = _WATER_M2_S,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> LateralFlow:
    """Flow of each hole of a lateral whose inlet is held at a head.

    Parameters
    ----------
    lateral : Lateral
        The pipe and its open holes.
    inlet_head_m : float
        Piezometric head at x = 0, on the datum of the holes' heights. [m]
    viscosity_m2_s : float
        Kinematic viscosity; water at 15 °C unless said. [m2/s]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    LateralFlow
        Flows [m3/s] and piezometric heads [m]; a hole above the grade line gives 0.

    Raises
    ------
    OutOfRange
        If the head is not a number.
    NoSolution
        If the flows of a row that cannot be marched do not settle either.

    Notes
    -----
    The head at the inlet grows with that at the closed end, which lies between the lowest hole and
    the inlet head; that bracket is narrowed until the march meets the inlet. Where friction has all
    but used up the head before the far end, the smallest change there is metres at the inlet: no
    number a computer holds will meet it, and the row is solved as a tree of one branch instead.

    Source
    ------
    Step-by-step manifold calculation; common practice, no source.
    """
    require_range("inlet_head_m", inlet_head_m, -1e4, 1e4)
    lowest_m = min((hole.z_m for hole in lateral.holes), default=inlet_head_m)
    if lowest_m >= inlet_head_m:
        return _still(lateral, inlet_head_m)
    low, high = lowest_m, inlet_head_m
    low_miss, high_miss = lowest_m - inlet_head_m, 0.0
    for step in range(_MOST_MARCHES):
        end = high
        if step:
            end = (low * high_miss - high * low_miss) / (high_miss - low_miss)
            # A step in three halves, so that neither end can stay for long.
            if step % 3 == 0 or not low < end < high:
                end = 0.5 * (low + high)
        flows, heads, met = _march(lateral, end, viscosity_m2_s, gravity_m_s2)
        miss = met - inlet_head_m
        if abs(miss) <= _MET_M:
            return LateralFlow(
                flow_m3_s=sum(flows),
                inlet_head_m=inlet_head_m,
                hole_flows_m3_s=tuple(flows),
                hole_heads_m=tuple(heads),
            )
        if end in (low, high) and step:
            break
        if miss > 0.0:
            high, high_miss, low_miss = end, miss, low_miss * (0.5 if step else 1.0)
        else:
            low, low_miss, high_miss = end, miss, high_miss * 0.5
    return _as_tree(lateral, inlet_head_m, viscosity_m2_s, gravity_m_s2)


def _as_tree(
    lateral: Lateral, inlet_head_m: float, viscosity_m2_s: float, gravity_m_s2: float
) -> LateralFlow:
    """The same row with all its flows and heads as unknowns."""
    tree = Tree(viscosity_m2_s=viscosity_m2_s, gravity_m_s2=gravity_m_s2)
    node, at_m = -1, 0.0
    nodes: list[int] = []
    for hole in lateral.holes:
        node = tree.add_span(node, hole.x_m - at_m, lateral.bore_m, lateral.roughness_m, 0.0)
        tree.add_hole(node, hole.z_m, hole.bore_m, hole.discharge_coefficient)
        nodes.append(node)
        at_m = hole.x_m
    _, heads, _, flows = tree.solve(inlet_head_m, 0.0, 2.0)
    return LateralFlow(
        flow_m3_s=sum(flows),
        inlet_head_m=inlet_head_m,
        hole_flows_m3_s=tuple(flows),
        hole_heads_m=tuple(heads[i] for i in nodes),
    )


def _march(
    lateral: Lateral, end_head_m: float, viscosity: float, gravity: float
) -> tuple[list[float], list[float], float]:
    """Hole flows and heads, and the head at the inlet, that go with a head at the closed end."""
    flows, heads = [0.0] * len(lateral.holes), [0.0] * len(lateral.holes)
    head, passing, at_m = end_head_m, 0.0, lateral.holes[-1].x_m
    for i in range(len(lateral.holes) - 1, -1, -1):
        hole = lateral.holes[i]
        head += _lost(lateral, passing, at_m - hole.x_m, viscosity, gravity)
        at_m, heads[i] = hole.x_m, head
        if head > hole.z_m:
            speed = sqrt(2.0 * gravity * (head - hole.z_m))
            flows[i] = hole.discharge_coefficient * pi / 4.0 * hole.bore_m**2 * speed
            passing += flows[i]
    return flows, heads, head + _lost(lateral, passing, at_m, viscosity, gravity)


def _lost(
    lateral: Lateral, flow: float, length_m: float, viscosity: float, gravity: float
) -> float:
    """Head lost by a flow over a length of the lateral."""
    if flow == 0.0 or length_m <= 0.0:
        return 0.0
    return head_loss_m(
        flow_m3_s=flow,
        length_m=length_m,
        bore_m=lateral.bore_m,
        roughness_m=lateral.roughness_m,
        viscosity_m2_s=viscosity,
        gravity_m_s2=gravity,
    )


def _still(lateral: Lateral, inlet_head_m: float) -> LateralFlow:
    """All holes above the water: nothing flows."""
    count = len(lateral.holes)
    return LateralFlow(
        flow_m3_s=0.0,
        inlet_head_m=inlet_head_m,
        hole_flows_m3_s=(0.0,) * count,
        hole_heads_m=(inlet_head_m,) * count,
    )
