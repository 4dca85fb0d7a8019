"""Supply, main, valves and drilled lines as one tree of spans, with what tests have taught."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf

from controller.errors import InputError, require_range
from controller.hydraulics.network.tree_solver import SupplyLaw, Tree
from controller.hydraulics.physics.orifice import hole_law
from controller.hydraulics.physics.pipe import PVC_ROUGHNESS_M, WATER_TEMP_C, viscosity_m2_s
from controller.units import GRAVITY_M_S2

__all__ = ["Outlet", "Span", "SupplyCurve", "TreeFlow", "solve_tree"]

_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyCurve:
    """Head at the tap, falling with the flow through one tested point; heads against the tap. [m]

    The exponent 2 is that of fittings and rough pipe; 1.85 moves the flow of a garden by about 2 %.
    Where `limit`, another such curve, is lower, it rules: the mains before a regulator, the pump
    that fills a pressure tank. The lower of two falling curves falls too.
    """

    static_head_m: float
    test_head_m: float
    test_flow_m3_s: float
    exponent: float = 2.0
    limit: SupplyCurve | None = None

    def __post_init__(self) -> None:
        require_range("static_head_m", self.static_head_m, 0.0, 1000.0)
        require_range("test_head_m", self.test_head_m, -1.0, 1000.0)
        require_range("test_flow_m3_s", self.test_flow_m3_s, 1e-9, 10.0)
        require_range("exponent", self.exponent, 1.0, 3.0)
        if self.test_head_m >= self.static_head_m:
            raise InputError(
                "the flow test must read less pressure than the still tap: found "
                f"{self.test_head_m:.2f} m of head flowing, {self.static_head_m:.2f} m still"
            )
        if self.limit is not None and self.limit.static_head_m < self.static_head_m:
            raise InputError(
                "what limits a supply stands at least as high as the supply itself: found "
                f"{self.limit.static_head_m:.2f} m of head, still, before "
                f"{self.static_head_m:.2f} m"
            )

    @property
    def k(self) -> float:
        """Head lost at a flow of 1 m3/s."""
        return float((self.static_head_m - self.test_head_m) / self.test_flow_m3_s**self.exponent)

    @property
    def law(self) -> tuple[float, float, float, tuple[SupplyLaw, ...]]:
        """Head of the still tap, k and exponent; and the same of each curve that limits it."""
        limits: tuple[SupplyLaw, ...] = ()
        if self.limit is not None:
            *own, beyond = self.limit.law
            limits = ((own[0], own[1], own[2]), *beyond)
        return self.static_head_m, self.k, self.exponent, limits

    def head_m(self, flow_m3_s: float) -> float:
        """Head at the tap.

        Parameters
        ----------
        flow_m3_s : float
            Flow drawn, 0 or more. [m3/s]

        Returns
        -------
        float
            Head at the tap, below 0 beyond what an open tap gives. [m]

        Raises
        ------
        OutOfRange
            If the flow is negative or not a number.

        Source
        ------
        Static head less a loss by a power of the flow; common practice, no source.
        """
        require_range("flow_m3_s", flow_m3_s, 0.0, 1e3)
        own = float(self.static_head_m - self.k * flow_m3_s**self.exponent)
        return own if self.limit is None else min(own, self.limit.head_m(flow_m3_s))

    def flow_m3_s(self, head_m: float = 0.0) -> float:
        """Flow at which the tap's head has fallen to a value.

        Parameters
        ----------
        head_m : float
            Head at the tap; 0 is an open tap. [m]

        Returns
        -------
        float
            Flow, 0 where the head is above the static one. [m3/s]

        Raises
        ------
        OutOfRange
            If the head is not a number.

        Source
        ------
        The inverse of `head_m`.
        """
        require_range("head_m", head_m, -1000.0, inf)
        lost = max(0.0, self.static_head_m - head_m)
        own = float((lost / self.k) ** (1.0 / self.exponent))
        return own if self.limit is None else min(own, self.limit.flow_m3_s(head_m))

    def limited_from_m3_s(self) -> float:
        """Flow from which on the limit rules, as where a regulator drops out.

        Returns
        -------
        float
            Flow at which the two curves cross; infinite without a limit, or where that is
            higher up to the flow of the open tap. [m3/s]

        Source
        ------
        Bisection between no flow and that of the open tap.
        """
        if self.limit is None:
            return inf
        low, high = 0.0, self.flow_m3_s(0.0)
        own = replace(self, limit=None)
        if self.limit.head_m(high) > own.head_m(high):
            return inf
        for _ in range(100):
            middle = 0.5 * (low + high)
            if self.limit.head_m(middle) >= own.head_m(middle):
                low = middle
            else:
                high = middle
        return high


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """Factors and coefficients that take the place of what drill sizes and tables say.

    `discharge` multiplies the discharge coefficient of every hole of a zone (a worn drill and a
    wide bore count in it, too); `valve_k` is the loss coefficient of a zone's take-off and valve
    together, on the velocity in its first row's pipe; `level_m` is how much higher [m] a zone's
    rows lie than the garden file says; `supply` replaces the supply curve.
    """

    discharge: Mapping[str, float] = field(default_factory=dict)
    valve_k: Mapping[str, float] = field(default_factory=dict)
    level_m: Mapping[str, float] = field(default_factory=dict)
    supply: SupplyCurve | None = None


NOTHING_MEASURED = Corrections()
