"""Newton on all flows and heads of a tree at once, eliminated exactly from the leaves to the root.

Todini and Pilati (1988), global gradient method; in a tree its linear system needs no matrix. Plain
lists, no objects: this is the inner loop of all flows of lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import log, pi, sqrt

from controller.errors import NoSolution
from controller.hydraulics.physics.orifice import LINEAR_BELOW_M, HoleLaw, over_for, passes
from controller.hydraulics.physics.pipe import LAMINAR_BELOW, TURBULENT_FROM, transition_cubic

# Swamee-Jain with natural logarithms, see pipe.py.
SWAMEE_JAIN = 0.25 * log(10.0) ** 2
# Change of all flows in the last step, over their sum. A dozen steps are usual. Where all holes lie
# within a hair of the grade line, rounding limits the accuracy, so the tolerance is wider from the
# fortieth step on. After two hundred steps the flows are cycling.
_CLOSE_ENOUGH, _ROUNDING = 1e-9, 1e-6
_PATIENT_STEPS, _MOST_STEPS = 40, 200

# Of a span: friction 8 L/(pi2 g D5), fittings 8 K/(pi2 g D4), Re per flow, e/(3.7 D), laminar
# slope, cubic of the transition.
SpanLaw = tuple[float, float, float, float, float, tuple[float, float, float, float]]
# Of a supply: head at no flow, head lost at 1 m3/s, exponent of the flow.
SupplyLaw = tuple[float, float, float]
# A place whose holes feel the water's speed, linearised in the head there: flow to it as s + t *
# head, flow on behind it likewise, velocity head per flow squared, and the flows before and behind
# about which it is linearised.
_Bend = tuple[float, float, float, float, float, float, float]


def span_law(
    length_m: float,
    bore_m: float,
    roughness_m: float,
    loss_k: float,
    viscosity_m2_s: float,
    gravity_m_s2: float,
) -> SpanLaw:
    """The figures of a span that `losses` needs and that do not change with the flow."""
    relative = roughness_m / bore_m
    return (
        8.0 * length_m / (pi**2 * gravity_m_s2 * bore_m**5),
        8.0 * loss_k / (pi**2 * gravity_m_s2 * bore_m**4),
        4.0 / (pi * bore_m * viscosity_m2_s),
        relative / 3.7,
        128.0 * viscosity_m2_s * length_m / (pi * gravity_m_s2 * bore_m**4),
        _cubic(relative),
    )


@lru_cache(maxsize=64)
def _cubic(relative: float) -> tuple[float, float, float, float]:
    """The transition's cubic, the same for every span of a pipe."""
    return transition_cubic(relative)


class Tree:
    """A tree of spans with holes; node i ends span i, and its parent (-1: the root) comes first.

    `solve` may be called again with other heads at the root; the tree does not change.
    """

    def __init__(self, *, viscosity_m2_s: float, gravity_m_s2: float) -> None:
        self._viscosity, self._gravity = viscosity_m2_s, gravity_m_s2
        self._parent: list[int] = []
        self._spans: list[SpanLaw] = []
        self._hole_node: list[int] = []
        self._hole_c: list[float] = []
        self._hole_z: list[float] = []
        self._laws: list[HoleLaw] = []
        self._half_heads: list[float] = []
        self._moving: list[int] = []  # holes that feel the water's speed

    def add_span(
        self, parent: int, length_m: float, bore_m: float, roughness_m: float, loss_k: float
    ) -> int:
        """Add a span below `parent`; gives the number of the node at its lower end."""
        self._parent.append(parent)
        self._spans.append(
            span_law(length_m, bore_m, roughness_m, loss_k, self._viscosity, self._gravity)
        )
        self._half_heads.append(4.0 / (pi**2 * self._gravity * bore_m**4))
        return len(self._parent) - 1

    def add_hole(self, node: int, z_m: float, law: HoleLaw) -> int:
        """Add a hole at a node; gives its number."""
        self._hole_node.append(node)
        self._laws.append(law)
        self._hole_c.append(law[0] / law[1])
        self._hole_z.append(z_m)
        if law[-1] != 0.0 and node >= 0:
            self._moving.append(len(self._laws) - 1)
        return len(self._hole_node) - 1

    def solve(
        self,
        static_head_m: float,
        supply_k: float,
        exponent: float,
        limits: Sequence[SupplyLaw] = (),
        *,
        start: Sequence[float] | None = None,
    ) -> tuple[float, list[float], list[float], list[float]]:
        """Root head, node heads, span and hole flows, with root head = static - k * flow**n.

        Where one of the limits, laws of the same form, is lower, it holds. `start` are first flows
        of the holes, such as those of a similar tree, which save steps.
        """
        return self._newton(static_head_m, supply_k, exponent, None, limits, start)

    def solve_for_flow(
        self, flow_m3_s: float, guess_head_m: float
    ) -> tuple[float, list[float], list[float], list[float]]:
        """The same with a given flow through the root; the head there is found."""
        return self._newton(guess_head_m, 0.0, 2.0, flow_m3_s)

    def _newton(
        self,
        static: float,
        supply_k: float,
        exponent: float,
        wanted: float | None,
        limits: Sequence[SupplyLaw] = (),
        start: Sequence[float] | None = None,
    ) -> tuple[float, list[float], list[float], list[float]]:
        parent, spans = self._parent, self._spans
        n, m = len(parent), len(self._hole_node)
        hole_node, c, laws = self._hole_node, self._hole_c, self._laws
        z = self._hole_z
        moving = self._moving_nodes()
        ideal = [law[2] <= 0.0 and law[-1] == 0.0 for law in laws]
        stands = [node not in moving for node in hole_node]
        c2 = [x * x for x in c]
        q_linear = [x * sqrt(LINEAR_BELOW_M) for x in c]
        hole_q = self._begun_at(static, wanted) if start is None else list(start)
        flow, hole_q = self._summed(hole_q)
        root_flow = sum(hole_q)
        head = [static] * n
        root_head = static
        change = total = 0.0
        bends: dict[int, _Bend] = {}
        for step in range(_MOST_STEPS):
            s_sum, t_sum = [0.0] * n, [0.0] * n
            hole_s, hole_t = [0.0] * m, [0.0] * m
            for j in range(m):
                q = hole_q[j]
                if q <= 0.0:
                    continue
                if not ideal[j]:
                    over = over_for(laws[j], q)
                    q, t = passes(laws[j], over)
                    s = q - t * (over + z[j])
                elif q > q_linear[j]:
                    t = c2[j] / (2.0 * q)
                    s = 0.5 * q - t * z[j]
                else:
                    t = c2[j] / q_linear[j]
                    s = -t * z[j]
                hole_s[j], hole_t[j] = s, t
                if stands[j]:
                    s_sum[hole_node[j]] += s
                    t_sum[hole_node[j]] += t
            slope, rest = losses(flow, spans)
            root_s = root_t = 0.0
            for i in range(n - 1, -1, -1):
                if i in moving:
                    bend = self._bend(
                        i, moving[i], flow[i], hole_q, hole_s, hole_t, s_sum[i], t_sum[i]
                    )
                    bends[i] = bend
                    s_sum[i], t_sum[i] = bend[:2]
                den = 1.0 + slope[i] * t_sum[i]
                s, t = (s_sum[i] - t_sum[i] * rest[i]) / den, t_sum[i] / den
                p = parent[i]
                if p >= 0:
                    s_sum[p] += s
                    t_sum[p] += t
                else:
                    root_s += s
                    root_t += t
            if wanted is None:
                flow_n1 = abs(root_flow) ** (exponent - 1.0)
                g = exponent * supply_k * flow_n1
                w = supply_k * flow_n1 * root_flow - g * root_flow
                root_head = (static - w - g * root_s) / (1.0 + g * root_t)
                # The flow of the tree rises with the head, the head of each law falls with the
                # flow. So the tree meets the lowest of the laws at the lowest of its meetings with
                # each. No step then jumps over the kink between two laws.
                for limit, k, power in limits:
                    flow_n1 = abs(root_flow) ** (power - 1.0)
                    g = power * k * flow_n1
                    w = k * flow_n1 * root_flow - g * root_flow
                    root_head = min(root_head, (limit - w - g * root_s) / (1.0 + g * root_t))
            elif root_t > 0.0:
                root_head = (wanted - root_s) / root_t
            else:
                root_head = max(root_head, min(z)) + 0.01
            change, total = 0.0, 0.0
            for i in range(n):
                p = parent[i]
                above = root_head if p < 0 else head[p]
                h = (above - rest[i] - slope[i] * s_sum[i]) / (1.0 + slope[i] * t_sum[i])
                q = s_sum[i] + t_sum[i] * h
                change += abs(q - flow[i])
                total += abs(q)
                head[i], flow[i] = h, q
            for j in range(m):
                q_before, h = hole_q[j], head[hole_node[j]]
                over = h  # against which the hole's mouth is measured
                if not stands[j]:
                    # Head that the water's speed takes, by the mean velocity head before and
                    # behind, along the tangent.
                    s_in, t_in, s_out, t_out, half, before, behind = bends[hole_node[j]]
                    over = h - laws[j][-1] * (
                        half
                        * (
                            before * (2.0 * (s_in + t_in * h) - before)
                            + behind * (2.0 * (s_out + t_out * h) - behind)
                        )
                    )
                if q_before > 0.0:
                    q = max(0.0, hole_s[j] + hole_t[j] * over)
                else:
                    q = passes(laws[j], over - z[j])[0]
                change += abs(q - q_before)
                hole_q[j] = q
            root_flow = root_s + root_t * root_head
            if change <= (_CLOSE_ENOUGH if step < _PATIENT_STEPS else _ROUNDING) * total:
                # Sum the flows once more from the holes, which conserves water to the last digit.
                flow, hole_q = self._summed(hole_q)
                return root_head, head, flow, hole_q
        raise NoSolution("flows of the open line", 0.0, static, change / total if total else change)

    def _begun_at(self, static: float, wanted: float | None) -> list[float]:
        """First flows: three tenths of each hole's flow at the head of a still line; 0 is "dry"."""
        pairs = zip(self._hole_c, self._hole_z, strict=True)
        hole_q = [0.3 * c * sqrt(static - z) if static > z else 0.0 for c, z in pairs]
        if wanted is not None and hole_q:
            start = sum(hole_q)
            m = len(hole_q)
            hole_q = [q * wanted / start for q in hole_q] if start > 0.0 else [wanted / m] * m
        return hole_q

    def _moving_nodes(self) -> dict[int, list[int]]:
        """The holes that feel the water's speed, by their node."""
        found: dict[int, list[int]] = {}
        for j in self._moving:
            found.setdefault(self._hole_node[j], []).append(j)
        return found

    def _bend(
        self,
        node: int,
        holes: Sequence[int],
        before: float,
        hole_q: Sequence[float],
        hole_s: Sequence[float],
        hole_t: Sequence[float],
        s_out: float,
        t_out: float,
    ) -> _Bend:
        """A node's holes and its speed, linearised about the present flows.

        `s_out` + `t_out` * head flows on behind it.
        """
        s = t = taken = 0.0
        for j in holes:
            if hole_q[j] > 0.0:
                s += hole_s[j]
                t += hole_t[j]
                taken += hole_t[j] * self._laws[j][-1]
        behind = before - (hole_q[holes[0]] if len(holes) == 1 else sum([hole_q[j] for j in holes]))
        half = self._half_heads[node]
        feels = taken * half
        den = 1.0 + 2.0 * feels * before
        both = 2.0 * (before + behind)
        gone = before * before + behind * behind
        s_in = s_out + (s - feels * (both * s_out - gone)) / den
        t_in = t_out + (t - feels * both * t_out) / den
        return s_in, t_in, s_out, t_out, half, before, behind

    def speed_heads_m(self, flow: Sequence[float], hole_q: Sequence[float]) -> dict[int, float]:
        """Head by which the water's speed drives each hole less, for the holes that feel it. [m]"""
        if not self._moving:
            return {}
        leaves = [0.0] * len(self._parent)
        for node, q in zip(self._hole_node, hole_q, strict=True):
            leaves[node] += q
        found = {}
        for j in self._moving:
            node = self._hole_node[j]
            before = flow[node]
            behind = before - leaves[node]
            found[j] = (
                self._laws[j][-1] * self._half_heads[node] * (before * before + behind * behind)
            )
        return found

    def _summed(self, hole_q: list[float]) -> tuple[list[float], list[float]]:
        """Flow of each span as the sum of the holes below it."""
        flow = [0.0] * len(self._parent)
        for node, q in zip(self._hole_node, hole_q, strict=True):
            flow[node] += q
        for i in range(len(flow) - 1, -1, -1):
            if self._parent[i] >= 0:
                flow[self._parent[i]] += flow[i]
        return flow, hole_q


def losses(flow: Sequence[float], spans: Sequence[SpanLaw]) -> tuple[list[float], list[float]]:
    """Slope g = dh/dQ of each span, and h - g Q, at the flows given."""
    slopes, rests = [0.0] * len(flow), [0.0] * len(flow)
    for i, (friction, fitting, re_per_flow, rough, laminar, cubic) in enumerate(spans):
        signed = flow[i]
        q = abs(signed)
        slope, loss = 2.0 * fitting * q, fitting * q * q
        if friction > 0.0:
            reynolds = re_per_flow * q
            if reynolds < LAMINAR_BELOW:
                slope += laminar
                loss += laminar * q
            else:
                if reynolds >= TURBULENT_FROM:
                    part = 5.74 * reynolds**-0.9
                    y = rough + part
                    ln = log(y)
                    f = SWAMEE_JAIN / (ln * ln)
                    re_df = 1.8 * SWAMEE_JAIN * part / (y * ln * ln * ln)
                else:
                    x1, x2, x3, x4 = cubic
                    r = reynolds / 2000.0
                    f = x1 + r * (x2 + r * (x3 + r * x4))
                    re_df = r * (x2 + r * (2.0 * x3 + 3.0 * r * x4))
                slope += friction * q * (2.0 * f + re_df)
                loss += friction * f * q * q
        slopes[i] = slope
        rests[i] = (loss if signed >= 0.0 else -loss) - slope * signed
    return slopes, rests
