"""One row marched from its closed end: heads, flows and their slopes; momentum and vents with it.

The total head falls by friction alone. A hole is driven by that head less its own height and less
`sigma` velocity heads of the water in the pipe beside it (orifice.py). An open hole above the water
lets air in: no water that flows on past it has less head than the pipe's floor there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, log, pi

from controller.hydraulics.network.tree_solver import SWAMEE_JAIN, SpanLaw, span_law
from controller.hydraulics.physics.orifice import HoleLaw, passes
from controller.hydraulics.physics.pipe import LAMINAR_BELOW, TURBULENT_FROM
from controller.units import GRAVITY_M_S2

# Heights are rounded to a nanometre, so that rows drilled alike share a curve at any height.
_DIGITS = 9
# Newton on a place's flow ends when a step moves it by no more than this part; the error is then
# about the square of that.
_STANDS, _MOST_STEPS = 1e-6, 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Mouth:
    """An open hole: place, height of its mouth and of the pipe's floor there, law.

    `counted` is False for a drain hole.
    """

    x_m: float
    z_m: float
    floor_m: float
    law: HoleLaw
    counted: bool = True


# From the closed end to the inlet, one step for each place with an open hole: floor of the pipe
# [m], pipe on to the next place [m], and of each hole there height [m], law, holes counted.
Step = tuple[float, float, tuple[tuple[float, HoleLaw, int], ...]]


@dataclass(frozen=True, slots=True)
class Shape:
    """What two rows must share to share a curve; heights are over the lowest hole."""

    bore_m: float
    roughness_m: float
    vented: bool
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """A part of a row that fills before water flows over the crest behind it.

    The march begins at step `begins`, the crest (or the row's closed end). The water stands up to
    `full_m` over `lowest_m`, the pool's lowest hole; `beyond` holes behind it are dry.
    """

    begins: int
    lowest_m: float
    full_m: float
    beyond: int


@dataclass(frozen=True, slots=True)
class Record:
    """Values that a march meets, from the closed end to the inlet.

    `holes`: flow, driving head and total head of each; `air`: the steps that let air in.
    """

    holes: list[tuple[float, float, float]] = field(default_factory=list)
    air: list[int] = field(default_factory=list)


def shape_of(
    bore_m: float,
    roughness_m: float,
    mouths: Sequence[Mouth],
    *,
    vented: bool,
    apart: bool = False,
) -> tuple[Shape, float] | None:
    """Shape of a row and the height of its lowest open hole [m]; None for a row without any.

    Like holes at one place become one, unless `apart`.

    Parameters
    ----------
    bore_m : float
        Inside diameter of the pipe. [m]
    roughness_m : float
        Its roughness. [m]
    mouths : sequence of Mouth
        Open holes in the order of their distance from the inlet.
    vented : bool
        Whether a hole above the water lets air in.
    apart : bool
        Whether like holes at one place stay apart.

    Returns
    -------
    tuple of Shape and float, or None
        The shape, with heights over the lowest hole; and the height of that hole. [m]

    Source
    ------
    The definition of the march; heights and lengths rounded to a nanometre (our choice).

    Examples
    --------
    >>> from controller.hydraulics.physics.orifice import hole_law
    >>> law = hole_law(bore_m=0.0016, discharge_coefficient=0.8)
    >>> mouths = [Mouth(x_m=x_m, z_m=0.2, floor_m=0.2, law=law) for x_m in (0.5, 1.5)]
    >>> shape, lowest_m = shape_of(0.0204, 1.5e-6, mouths, vented=True)
    >>> lowest_m, [onward_m for _, onward_m, _ in shape.steps]
    (0.2, [1.0, 0.5])
    """
    if not mouths:
        return None
    lowest_m = min(mouth.z_m for mouth in mouths)
    steps: list[Step] = []
    here: list[tuple[float, HoleLaw, int]] = []
    for i in range(len(mouths) - 1, -1, -1):
        mouth = mouths[i]
        here.append((round(mouth.z_m - lowest_m, _DIGITS), mouth.law, int(mouth.counted)))
        onward_m = round(mouth.x_m - (mouths[i - 1].x_m if i else 0.0), _DIGITS)
        if onward_m > 0.0 or i == 0:
            steps.append(
                (
                    round(mouth.floor_m - lowest_m, _DIGITS),
                    onward_m,
                    tuple(here) if apart else _merged(here),
                )
            )
            here = []
    return (
        Shape(bore_m=bore_m, roughness_m=roughness_m, vented=vented, steps=tuple(steps)),
        lowest_m,
    )


def _merged(
    holes: Sequence[tuple[float, HoleLaw, int]],
) -> tuple[tuple[float, HoleLaw, int], ...]:
    """Holes at one place; those that differ only in area become one."""
    found: list[tuple[float, HoleLaw, int]] = []
    for z, law, counted in holes:
        if found and found[-1][0] == z and found[-1][1][1:] == law[1:]:
            _, (area, *_), more = found.pop()
            law, counted = (area + law[0], *law[1:]), counted + more
        found.append((z, law, counted))
    return tuple(found)


class RowMarch:
    """A row's shape, prepared for marches from its closed end."""

    def __init__(
        self, shape: Shape, viscosity_m2_s: float, gravity_m_s2: float = GRAVITY_M_S2
    ) -> None:
        self.holes = sum(counted for _, _, holes in shape.steps for _, _, counted in holes)
        self._pipe: SpanLaw = span_law(
            1.0, shape.bore_m, shape.roughness_m, 0.0, viscosity_m2_s, gravity_m_s2
        )
        # Half a velocity head at a flow of 1 m3/s.
        self._half_head = 4.0 / (pi**2 * gravity_m_s2 * shape.bore_m**4)
        self._vented = shape.vented
        self._steps = [
            (floor, on, holes, any(law[-1] != 0.0 for _, law, _ in holes))
            for floor, on, holes in shape.steps
        ]
        self.pools = _pools(shape)
        self.sill_m = _sill_m(shape, self.pools[0])

    def march(
        self, pool: int, over_m: float, record: Record | None = None
    ) -> tuple[float, float, float, float, int]:
        """From a head at the closed end to the inlet: head, flow, their slopes in it, dry holes.

        The head at the end is over the pool's lowest hole, that at the inlet and the recorded ones
        over the row's.

        Parameters
        ----------
        pool : int
            Number of the pool in `pools`, in which the march begins.
        over_m : float
            Head at the closed end, over that pool's lowest hole, above 0. [m]
        record : Record or None
            Filled with the values met on the way.

        Returns
        -------
        tuple
            Head at the inlet over the row's lowest hole [m], flow [m3/s], slopes of both in
            `over_m` [-, m2/s], and dry holes.

        Source
        ------
        Step-by-step manifold calculation; common practice, no source. Friction: pipe.py. Hole law
        and `sigma`: orifice.py.

        Examples
        --------
        Two holes 1 m apart, 1 m of head at the closed end. Each passes 0.8 a sqrt(2 g) = 0.427
        L/min; laminar friction takes 0.2 mm on the first half metre, 0.2 mm on the last metre:

        >>> from controller.hydraulics.physics.orifice import hole_law
        >>> law = hole_law(bore_m=0.0016, discharge_coefficient=0.8)
        >>> mouths = [Mouth(x_m=x_m, z_m=0.0, floor_m=0.0, law=law) for x_m in (0.5, 1.5)]
        >>> shape, _ = shape_of(0.0204, 1.5e-6, mouths, vented=True)
        >>> head_m, flow_m3_s, *_ = RowMarch(shape, 1.139e-6).march(0, 1.0)
        >>> round(head_m, 4), round(6e4 * flow_m3_s, 3)
        (1.0004, 0.855)
        """
        water = self.pools[pool]
        friction, _, re_per_flow, rough, laminar, (x1, x2, x3, x4) = self._pipe
        head, head_slope = water.lowest_m + over_m, 1.0
        flow = flow_slope = passed = last = 0.0
        dry, half, vented = water.beyond, self._half_head, self._vented
        laminar_to, turbulent_from = LAMINAR_BELOW / re_per_flow, TURBULENT_FROM / re_per_flow
        number = water.begins - 1
        for floor, length, holes, moving in self._steps[water.begins :]:
            number += 1
            if vented and flow > 0.0 and head < floor:
                head, head_slope = floor, 0.0
                if record is not None:
                    record.air.append(number)
            speed = 0.0
            if moving:
                before = flow
                # The flow of the holes grows evenly along a row, which gives a close first guess.
                guess, last = max(0.0, 2.0 * passed - last), passed
                flow, flow_slope, stay_dry = _moving_node(
                    head, head_slope, flow, flow_slope, guess, holes, half
                )
                passed = flow - before
                dry += stay_dry
                if record is not None:
                    speed = half * (before * before + flow * flow)
            else:
                for z, law, counted in holes:
                    over = head - z
                    if over > 0.0:
                        q, q_slope = passes(law, over)
                        flow += q
                        flow_slope += q_slope * head_slope
                    else:
                        dry += counted
            if record is not None:
                for z, law, _ in holes:
                    over = head - z - law[-1] * speed
                    record.holes.append((passes(law, over)[0], over, head))
            if flow < laminar_to:
                slope = laminar * length
                head += slope * flow
                head_slope += slope * flow_slope
            elif flow >= turbulent_from:
                part = 5.74 * (re_per_flow * flow) ** -0.9
                y = rough + part
                ln = log(y)
                f = SWAMEE_JAIN / (ln * ln)
                slope = friction * length * flow
                head += slope * flow * f
                head_slope += slope * f * (2.0 + 1.8 * part / (y * ln)) * flow_slope
            else:
                r = re_per_flow * flow / 2000.0
                f = x1 + r * (x2 + r * (x3 + r * x4))
                re_df = r * (x2 + r * (2.0 * x3 + 3.0 * r * x4))
                slope = friction * length * flow
                head += slope * flow * f
                head_slope += slope * (2.0 * f + re_df) * flow_slope
        return head, flow, head_slope, flow_slope, dry


def _moving_node(
    head: float,
    head_slope: float,
    beyond: float,
    beyond_slope: float,
    guess: float,
    holes: Sequence[tuple[float, HoleLaw, int]],
    half: float,
) -> tuple[float, float, int]:
    """Flow upstream of a place whose holes feel the water's speed, its slope, and dry holes there.

    The velocity head is the mean of those upstream and downstream. That gives one rising equation
    in the flow upstream, which Newton solves between bounds.
    """
    low, high = beyond, inf
    flow = beyond + guess
    slopes = sigma_slopes = gain = 0.0
    dry = 0
    for _ in range(_MOST_STEPS):
        squares = half * (beyond * beyond + flow * flow)
        total = slopes = sigma_slopes = 0.0
        dry = 0
        for z, law, counted in holes:
            sigma = law[-1]
            over = head - z - sigma * squares
            if over > 0.0:
                q, q_slope = passes(law, over)
                total += q
                slopes += q_slope
                sigma_slopes += q_slope * sigma
            else:
                dry += counted
        miss = flow - beyond - total
        gain = 1.0 + 2.0 * half * flow * sigma_slopes
        if miss > 0.0:
            high = flow
        else:
            low = flow
        better = flow - miss / gain
        if not low <= better <= high:
            better = 0.5 * (low + high) if high < inf else beyond + total
        moved, flow = abs(better - flow), better
        if moved <= _STANDS * flow:
            break
    slope = (beyond_slope * (1.0 - 2.0 * half * beyond * sigma_slopes) + slopes * head_slope) / gain
    return flow, slope, dry


def _sill_m(shape: Shape, pool: Pool) -> float:
    """Head at the inlet, over the lowest hole, up to which no water reaches any hole.

    The lowest hole of the first pool, or the highest floor on the way there.
    """
    found = pool.lowest_m
    if shape.vented:
        reached = False
        for floor, _, holes in shape.steps[pool.begins :]:
            reached = reached or any(z == pool.lowest_m for z, _, _ in holes)
            if reached:
                found = max(found, floor)
    return found


def _pools(shape: Shape) -> tuple[Pool, ...]:
    """The pools of a row, nearest the inlet first; the last is the whole row's.

    A crest is an open hole after which the next one lies lower. There is nothing to fill where no
    hole between it and the crest before lies lower than it.
    """
    last = len(shape.steps) - 1
    crests = [
        i for i in range(last, 0, -1) if shape.vented and shape.steps[i - 1][0] < shape.steps[i][0]
    ]
    pools: list[Pool] = []
    begin = last
    for crest in crests:
        floor = shape.steps[crest][0]
        lowest = min(z for _, _, holes in shape.steps[crest : begin + 1] for z, _, _ in holes)
        if lowest < floor:
            beyond = sum(counted for _, _, holes in shape.steps[:crest] for _, _, counted in holes)
            pools.append(Pool(begins=crest, lowest_m=lowest, full_m=floor - lowest, beyond=beyond))
        begin = crest - 1
    lowest = min(z for _, _, holes in shape.steps[: begin + 1] for z, _, _ in holes)
    pools.append(Pool(begins=0, lowest_m=lowest, full_m=inf, beyond=0))
    return tuple(pools)
