"""A tree of named spans and plain holes, solved by the program's own `Tree`.

For comparison with other network solvers, which describe a network by its nodes and pipes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from controller.errors import InputError, require_range
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.network.tree_solver import Tree
from controller.hydraulics.physics.orifice import hole_law
from controller.hydraulics.physics.pipe import PVC_ROUGHNESS_M, WATER_TEMP_C, viscosity_m2_s
from controller.units import GRAVITY_M_S2

_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of one pipe between two named nodes, with the fittings in it; length 0 is fine."""

    upstream: str
    downstream: str
    length_m: float
    bore_m: float
    roughness_m: float = PVC_ROUGHNESS_M
    loss_k: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """A hole at a node, of a constant coefficient; `z_m` is the height of its mouth."""

    node: str
    z_m: float
    bore_m: float
    discharge_coefficient: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeFlow:
    """What flows: heads by node, flows in the order of the spans and of the outlets given."""

    supply_flow_m3_s: float
    tap_head_m: float
    heads_m: Mapping[str, float]
    span_flows_m3_s: tuple[float, ...]
    outlet_flows_m3_s: tuple[float, ...]


def solve_tree(
    *,
    supply: SupplyCurve,
    spans: Sequence[Span],
    outlets: Sequence[Outlet],
    tap: str = "tap",
    viscosity_m2_s: float = _WATER_M2_S,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> TreeFlow:
    """Flows and heads of a tree of spans fed at the tap, with holes anywhere in it.

    Parameters
    ----------
    supply : SupplyCurve
        What the tap gives.
    spans : sequence of Span
        In any order; each node but the tap ends exactly one.
    outlets : sequence of Outlet
        Open holes; several may sit at one node.
    tap : str
        Name of the node the supply feeds.
    viscosity_m2_s : float
        Kinematic viscosity; water at 15 °C unless said. [m2/s]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    TreeFlow
        Piezometric heads [m] and flows [m3/s]; a hole above the grade line gives 0.

    Raises
    ------
    InputError
        If the spans are not a tree below the tap, or an outlet is at no node of it.
    OutOfRange
        If a length, bore or coefficient is outside its range.
    NoSolution
        If the flows do not settle.

    Notes
    -----
    No water or air flows in through a hole, and a stretch above the grade line counts as full pipe:
    where holes above the water let air in (lateral.py), this gives too much.

    Source
    ------
    Todini and Pilati (1988), global gradient method; see tree_solver.py.
    """
    tree = Tree(viscosity_m2_s=viscosity_m2_s, gravity_m_s2=gravity_m_s2)
    number = {tap: -1}
    span_node = [0] * len(spans)
    for index in _from_the_tap(spans, tap):
        span = spans[index]
        node = tree.add_span(
            number[span.upstream],
            require_range("length_m", span.length_m, 0.0, 1e5),
            require_range("bore_m", span.bore_m, 1e-4, 10.0),
            require_range("roughness_m", span.roughness_m, 0.0, 0.05 * span.bore_m),
            require_range("loss_k", span.loss_k, 0.0, 1e15),
        )
        number[span.downstream] = span_node[index] = node
    if any(outlet.node == tap for outlet in outlets):
        raise InputError("a hole cannot sit at the tap itself; give it a span of length 0")
    for outlet in outlets:
        if outlet.node not in number:
            raise InputError(f'an outlet hangs at "{outlet.node}", which no span reaches')
        tree.add_hole(
            number[outlet.node],
            require_range("z_m", outlet.z_m, -1e4, 1e4),
            hole_law(
                bore_m=outlet.bore_m,
                discharge_coefficient=outlet.discharge_coefficient,
                gravity_m_s2=gravity_m_s2,
            ),
        )
    tap_head_m, heads, flows, holes = tree.solve(*supply.law)
    return TreeFlow(
        supply_flow_m3_s=sum(holes),
        tap_head_m=tap_head_m,
        heads_m={name: tap_head_m if i < 0 else heads[i] for name, i in number.items()},
        span_flows_m3_s=tuple(flows[i] for i in span_node),
        outlet_flows_m3_s=tuple(holes),
    )


def _from_the_tap(spans: Sequence[Span], tap: str) -> list[int]:
    """The spans' indices in an order in which each starts where an earlier one ended."""
    below: dict[str, list[int]] = {}
    for index, span in enumerate(spans):
        below.setdefault(span.upstream, []).append(index)
    order: list[int] = []
    seen, waiting = {tap}, [tap]
    while waiting:
        for index in below.get(waiting.pop(), ()):
            end = spans[index].downstream
            if end in seen:
                raise InputError(f'two spans end at "{end}"; the pipes must branch like a tree')
            seen.add(end)
            order.append(index)
            waiting.append(end)
    if len(order) < len(spans):
        lost = next(span for span in spans if span.upstream not in seen)
        raise InputError(f'the span from "{lost.upstream}" hangs on nothing that reaches "{tap}"')
    return order
