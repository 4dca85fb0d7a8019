"""One drilled lateral at a known inlet head: the march from its closed end that meets that head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.errors import require_range
from controller.hydraulics.network.march import Mouth, Record, RowMarch, shape_of
from controller.hydraulics.network.tree_solver import Tree
from controller.hydraulics.physics.pipe import WATER_TEMP_C, viscosity_m2_s
from controller.units import GRAVITY_M_S2

_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)
_MOST_MARCHES = 100
_MET_M = 1e-11


@dataclass(frozen=True, slots=True, kw_only=True)
class LateralFlow:
    """What the lateral gives; flows and heads in the order of its holes.

    `hole_heads_m` are total heads in the pipe beside the holes. `hole_overs_m` drive the holes: the
    head over the mouth less what the water's speed takes. `air_at` are the holes that let air in
    while water flows on past them.
    """

    flow_m3_s: float
    inlet_head_m: float
    hole_flows_m3_s: tuple[float, ...]
    hole_heads_m: tuple[float, ...]
    hole_overs_m: tuple[float, ...]
    air_at: tuple[int, ...] = ()


def solve_lateral(
    bore_m: float,
    roughness_m: float,
    mouths: Sequence[Mouth],
    inlet_head_m: float,
    *,
    vented: bool,
    viscosity_m2_s: float = _WATER_M2_S,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> LateralFlow:
    """Flow of each open hole of a pipe, closed at its end, whose inlet is held at a head.

    Parameters
    ----------
    bore_m : float
        Inside diameter of the pipe. [m]
    roughness_m : float
        Its roughness. [m]
    mouths : sequence of Mouth
        Open holes in the order of their distance from the inlet.
    inlet_head_m : float
        Total head at x = 0, on the datum of the holes' heights: what a gauge there shows, and the
        velocity head. [m]
    vented : bool
        Whether a hole above the water lets air in; else the pipe is always full.
    viscosity_m2_s : float
        Kinematic viscosity; water at 15 °C unless said. [m2/s]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    LateralFlow
        Flows [m3/s] and heads [m]; a hole above the grade line gives 0.

    Raises
    ------
    OutOfRange
        If the head is not a number.
    NoSolution
        If the flows of a row that cannot be marched do not settle either.

    Notes
    -----
    The head at the inlet grows with that at the closed end, which lies between the lowest hole and
    the inlet head; that bracket is narrowed until the march (march.py) meets the inlet. A row with
    crests is first marched as far as the water gets over them. Where friction uses up almost all
    the head before the far end, the smallest change there is metres at the inlet: no double meets
    it, and `Tree` solves the row as one branch instead.

    Source
    ------
    Step-by-step manifold calculation; common practice, no source. Momentum, cross-flow and the
    coefficient: orifice.py. Air: a pipe open to the air above its water holds no suction.
    """
    require_range("inlet_head_m", inlet_head_m, -1e4, 1e4)
    shaped = shape_of(bore_m, roughness_m, mouths, vented=vented, apart=True)
    if shaped is None or shaped[1] >= inlet_head_m:
        return _still(mouths, inlet_head_m)
    shape, lowest_m = shaped
    row = RowMarch(shape, viscosity_m2_s, gravity_m_s2)
    if inlet_head_m - lowest_m <= row.sill_m:
        return _still(mouths, inlet_head_m)
    met = _met(row, inlet_head_m - lowest_m)
    if met is None:
        tree = Tree(viscosity_m2_s=viscosity_m2_s, gravity_m_s2=gravity_m_s2)
        return _as_tree(tree, bore_m, roughness_m, mouths, inlet_head_m)
    return _recorded(mouths, row, met, inlet_head_m, lowest_m)


def _met(row: RowMarch, wanted_m: float) -> tuple[int, float] | None:
    """The pool, and the head in it, whose march meets a head at the inlet; over the lowest hole."""
    pool, low_miss = 0, row.sill_m - wanted_m
    while pool + 1 < len(row.pools):
        reached = row.march(pool, row.pools[pool].full_m)[0] - wanted_m
        if reached >= 0.0:
            break
        pool, low_miss = pool + 1, reached
    water = row.pools[pool]
    low, high = 0.0, min(water.full_m, max(wanted_m - water.lowest_m, 0.0))
    high_miss = 0.0
    for step in range(_MOST_MARCHES):
        end = high
        if step:
            end = (low * high_miss - high * low_miss) / (high_miss - low_miss)
            # Every third step halves the bracket, so that neither end stays for long.
            if step % 3 == 0 or not low < end < high:
                end = 0.5 * (low + high)
        miss = row.march(pool, end)[0] - wanted_m
        if abs(miss) <= _MET_M:
            return pool, end
        if end in (low, high) and step:
            return None
        if miss > 0.0:
            high, high_miss, low_miss = end, miss, low_miss * (0.5 if step else 1.0)
        else:
            low, low_miss, high_miss = end, miss, high_miss * 0.5
    return None


def _recorded(
    mouths: Sequence[Mouth],
    row: RowMarch,
    met: tuple[int, float],
    inlet_head_m: float,
    lowest_m: float,
) -> LateralFlow:
    """March once more from the end head that meets the inlet, and record each hole."""
    record = Record()
    row.march(*met, record)
    flows, overs, heads = [], [], []
    for flow, over, head in reversed(record.holes):
        flows.append(flow)
        overs.append(over)
        heads.append(head + lowest_m)
    # Holes beyond a crest lack the same head as the water at the crest.
    lacks_m = max(0.0, row.pools[met[0]].full_m - met[1])
    for mouth in mouths[len(flows) :]:
        flows.append(0.0)
        overs.append(-lacks_m)
        heads.append(mouth.z_m - lacks_m)
    first = _first_holes(mouths)
    return LateralFlow(
        flow_m3_s=sum(flows),
        inlet_head_m=inlet_head_m,
        hole_flows_m3_s=tuple(flows),
        hole_heads_m=tuple(heads),
        hole_overs_m=tuple(overs),
        air_at=tuple(sorted(first[step] for step in record.air)),
    )


def _first_holes(mouths: Sequence[Mouth]) -> list[int]:
    """The hole nearest the inlet in each step of the march, from the closed end."""
    return [
        i
        for i in range(len(mouths) - 1, -1, -1)
        if i == 0 or round(mouths[i].x_m - mouths[i - 1].x_m, 9) > 0.0
    ]


def _as_tree(
    tree: Tree,
    bore_m: float,
    roughness_m: float,
    mouths: Sequence[Mouth],
    inlet_head_m: float,
) -> LateralFlow:
    """The same row, always full, with all flows and heads as unknowns of a tree."""
    node, at_m = -1, 0.0
    nodes: list[int] = []
    for mouth in mouths:
        if node < 0 or mouth.x_m > at_m:
            node = tree.add_span(node, mouth.x_m - at_m, bore_m, roughness_m, 0.0)
        tree.add_hole(node, mouth.z_m, mouth.law)
        nodes.append(node)
        at_m = mouth.x_m
    _, heads, spans, flows = tree.solve(inlet_head_m, 0.0, 2.0)
    speeds_m = tree.speed_heads_m(spans, flows)
    return LateralFlow(
        flow_m3_s=sum(flows),
        inlet_head_m=inlet_head_m,
        hole_flows_m3_s=tuple(flows),
        hole_heads_m=tuple(heads[i] for i in nodes),
        hole_overs_m=tuple(
            heads[i] - mouth.z_m - speeds_m.get(j, 0.0)
            for j, (i, mouth) in enumerate(zip(nodes, mouths, strict=True))
        ),
    )


def _still(mouths: Sequence[Mouth], inlet_head_m: float) -> LateralFlow:
    """All holes above the water: nothing flows."""
    count = len(mouths)
    return LateralFlow(
        flow_m3_s=0.0,
        inlet_head_m=inlet_head_m,
        hole_flows_m3_s=(0.0,) * count,
        hole_heads_m=(inlet_head_m,) * count,
        hole_overs_m=tuple(inlet_head_m - mouth.z_m for mouth in mouths),
    )
