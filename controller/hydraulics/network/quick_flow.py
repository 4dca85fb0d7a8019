"""Flow of each open zone from the curves of its rows, by Newton on a small tree without holes.

The method is that of tree_solver.py, with a row's curve in place of a hole's law. The stretches of
the main are the spans; a zone is its valve with the rows behind it. Where a curve is not valid
there is no answer, and the exact tree must be solved.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt

from controller.hydraulics.network.main_tree import Joints
from controller.hydraulics.network.row_curves import MOVED, NOWHERE, RowCurve
from controller.hydraulics.network.tree_solver import SpanLaw, SupplyLaw, losses

# Change of a row's flow in the last step, over itself or over the total flow. The next step would
# change it by about the square of that. So earlier questions, which refine the curves, move no flow
# by more than rounding, and no plan.
_NEARLY, _CLOSE_ENOUGH = 3e-7, 1e-10
# Friction factor to start from.
_ROUGHLY = 0.02
# Half a dozen steps are usual; rows that are about to run dry may cycle.
_PATIENT_STEPS, _MOST_STEPS = 10, 60
# Flows that still change by this much or less cycle about a bend of a curve.
_ROUND_A_BEND = 0.1
# A row at rest begins to run again from this head over its lowest hole on. [m]
_DRY_BELOW_M = 1e-7
_STILL = (0.0, 0.0)
_MARKS = 8  # about so many; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsAlike:
    """Rows of one zone that share a curve and the height of their lowest open hole."""

    curve: RowCurve
    lowest_m: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLaw:
    """A zone in the small tree; `loss` is its valve's loss at 1 m3/s, by a square law. [m]"""

    zone: str
    station: int  # index in the main's spans, -1 for the tap itself
    loss: float
    rows: tuple[RowsAlike, ...]
    # Computed from the others: flow of each row, and of all, at one metre before the valve.
    about: tuple[float, ...] = ()
    takes: float = 0.0
    curved: bool = True  # whether each row has a curve at all

    def __post_init__(self) -> None:
        free = sum(row.count * row.curve.flow_at_one_metre for row in self.rows)
        held = 1.0 / sqrt(1.0 + self.loss * free * free)
        about = tuple(held * row.curve.flow_at_one_metre for row in self.rows)
        object.__setattr__(self, "about", about)
        object.__setattr__(self, "takes", held * free)
        object.__setattr__(self, "curved", all(flow > 0.0 for flow in about))


class Spans:
    """The spans of a main, joined for each set of zones where pipe and flow are the same."""

    def __init__(self, laws: Sequence[SpanLaw], above: Sequence[int]) -> None:
        """`above` as in `Joints`."""
        self._laws = laws
        self._joints = Joints(above, lambda a, b: laws[a][2:4] == laws[b][2:4])
        self._friction = self._joints.totals([law[0] for law in laws])
        self._fitting = self._joints.totals([law[1] for law in laws])
        self._laminar = self._joints.totals([law[4] for law in laws])
        # Positions of all places along the main.
        self.marks = frozenset(range(0, len(laws), max(1, len(laws) // _MARKS)))
        self._friction_to: list[float] = []  # from the tap to the end of each
        self._fitting_to: list[float] = []
        for law, before in zip(laws, above, strict=True):
            self._friction_to.append(law[0] + (self._friction_to[before] if before >= 0 else 0.0))
            self._fitting_to.append(law[1] + (self._fitting_to[before] if before >= 0 else 0.0))

    def as_open(self, stations: Collection[int]) -> tuple[list[SpanLaw], list[int], dict[int, int]]:
        """The joined spans, the span above each, and the new place of each station.

        Spans of one pipe with the same flow lose as one: their friction, fittings and laminar loss
        add up, all else belongs to the pipe. Spans that feed no open zone are left out.
        """
        pieces, now = self._joints.pieces(stations)
        spans: list[SpanLaw] = []
        for _, last, parts in pieces:
            law = self._laws[last]
            friction, fitting = self._friction.over(parts), self._fitting.over(parts)
            spans.append((friction, fitting, law[2], law[3], self._laminar.over(parts), law[5]))
        return spans, [above for above, _, _ in pieces], now

    def seen_from(self, stations: Collection[int]) -> Callable[[int], tuple[int, bool, int]]:
        """As `Joints.seen_from`."""
        return self._joints.seen_from(stations)

    def share_beyond(self, station: int, stretch: int) -> float:
        """Largest share of the main's loss, on the way from the tap, that lies beyond a stretch."""
        if station < 0:
            return 0.0
        shares = (
            1.0 - (up_to[stretch] if stretch >= 0 else 0.0) / up_to[station]
            for up_to in (self._friction_to, self._fitting_to)
            if up_to[station] > 0.0
        )
        return max(shares, default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickFlow:
    """Flows of the zones of a set together, and how many of their holes are dry."""

    flows_m3_s: Mapping[str, float]
    dry_holes: Mapping[str, int]
    behind_m: Mapping[str, float]  # total head behind each zone's valve
    tap_head_m: float


def quick_set(
    zones: Sequence[ZoneLaw],
    main: Spans,
    *,
    static_head_m: float,
    supply_k: float,
    exponent: float,
    limits: Sequence[SupplyLaw] = (),
    roughly: bool = False,
) -> QuickFlow | None:
    """Flows of the zones open together, or None where the curves are not valid.

    The head at the tap is static - k * flow**n, or that of a limit where it is lower. `roughly`
    takes the curves as they are, where no cell can be confirmed.

    They are not valid where a row's head lies within a micrometre over its lowest hole, or within a
    ten millionth of the head at which one more hole begins to run; where friction uses up a row's
    head so fully that its end is as good as still; or where Newton cycles.
    """
    if not all(zone.curved for zone in zones):
        return None
    supply = ((static_head_m, supply_k, exponent), *limits)
    small = _SmallTree(zones, main, supply)
    for _ in range(_MOST_STEPS):
        if not small.rests():
            return None
        dry = small.settled()
        if dry is None:
            return small.told([0] * len(small.cells)) if roughly else None
        if MOVED not in dry:
            return small.told(dry) if small.at_rest or roughly else None
    return None


class _SmallTree:
    """Zones on a main; the unknowns are the flows of the rows (one for rows alike)."""

    def __init__(
        self,
        zones: Sequence[ZoneLaw],
        main: Spans,
        supply: Sequence[SupplyLaw],
    ) -> None:
        self._zones = zones
        self._main, self._above, at = main.as_open({zone.station for zone in zones})
        # From the leaves to the tap: each span and the one above it, -1 for the tap.
        self._upwards = list(enumerate(self._above))[::-1]
        (self._static, self._k, self._exponent), *self._limits = supply
        self._rows = [(i, row) for i, zone in enumerate(zones) for row in zone.rows]
        self._of_zone = [(at[zone.station], zone.loss) for zone in zones]
        self._of_row = [(i, row.lowest_m, row.count) for i, row in self._rows]
        self.cells = [NOWHERE] * len(self._rows)
        self._flows = self._start()
        self._behind, self._tap_head = [0.0] * len(zones), self._static
        self.at_rest = False

    def _start(self) -> list[float]:
        """First flows, by square laws, with heights only at the rows."""
        takes = [0.0] * (len(self._main) + 1)
        for zone, (at, _) in zip(self._zones, self._of_zone, strict=True):
            takes[at] += zone.takes
        squared = [_ROUGHLY * law[0] + law[1] for law in self._main]
        shares = [1.0] * len(self._main)
        for i, above in self._upwards:
            shares[i] = 1.0 / (1.0 + squared[i] * takes[i] * takes[i])
            takes[above] += takes[i] * sqrt(shares[i])
        # For the supply, the square law that meets its own at half of the static head.
        head = _begins(takes[-1], self._static, self._k, self._exponent)
        for limit, k, n in self._limits:
            head = min(head, _begins(takes[-1], limit, k, n))
        heads = [*shares, head]
        for i, above in enumerate(self._above):
            heads[i] *= heads[above]
        return [
            law * sqrt(over) if (over := heads[at] - row.lowest_m) > row.curve.sill_m else 0.0
            for zone, (at, _) in zip(self._zones, self._of_zone, strict=True)
            for law, row in zip(zone.about, zone.rows, strict=True)
        ]

    def rests(self) -> bool:
        """Iterate the rows' flows on the curves as they are; False if they do not settle.

        Flows that cycle closely about a bend are good enough to confirm the curves there; `at_rest`
        is then False.
        """
        before = self._flows
        try:
            for step in range(_MOST_STEPS):
                self.at_rest = self._step()
                if self.at_rest:
                    return all(flow < inf for flow in self._flows)
                if step == _MOST_STEPS - 1:
                    near = _ROUND_A_BEND * sum(self._flows)
                    pairs = zip(before, self._flows, strict=True)
                    return all(abs(a - b) <= _ROUND_A_BEND * b + 1e-3 * near for a, b in pairs)
                if step >= _PATIENT_STEPS and step % 8:
                    # Cycling about a bend of some curve: take the mean.
                    self._flows = [0.5 * (a + b) for a, b in zip(before, self._flows, strict=True)]
                before = list(self._flows)
        except (OverflowError, ZeroDivisionError):
            return False  # overflow
        return False

    def settled(self) -> list[int] | None:
        """Dry holes of each row where its curve is confirmed; MOVED where it has just been."""
        found: list[int] = []
        for (_, row), flow, cell in zip(self._rows, self._flows, self.cells, strict=True):
            dry = row.curve.holes
            if flow > 0.0:
                dry = cell[-1]
                if dry == MOVED or not cell[0] <= log(flow) < cell[1]:
                    settled = row.curve.settle(flow)
                    if settled is None:
                        return None
                    dry = settled
            found.append(dry)
        if MOVED in found:
            self.cells = [NOWHERE] * len(self._rows)
        return found

    def told(self, dry: Sequence[int]) -> QuickFlow:
        """Flows and dry holes by zone."""
        flow_of = [0.0] * len(self._zones)
        dry_of = [0] * len(self._zones)
        for (i, _, count), flow, holes in zip(self._of_row, self._flows, dry, strict=True):
            flow_of[i] += count * flow
            dry_of[i] += count * holes
        names = [zone.zone for zone in self._zones]
        return QuickFlow(
            flows_m3_s=dict(zip(names, flow_of, strict=True)),
            dry_holes=dict(zip(names, dry_of, strict=True)),
            behind_m=dict(zip(names, self._behind, strict=True)),
            tap_head_m=self._tap_head,
        )

    def _step(self) -> bool:
        """One step of Newton on all rows; True where it changed almost nothing."""
        flows, zones, stations = self._flows, len(self._zones), len(self._main)
        # Up from the rows, flow = s + t * head: rows to valve, valve to station, station to tap.
        s_of, t_of, q_of = [0.0] * zones, [0.0] * zones, [0.0] * zones
        tangents: list[tuple[float, float]] = []
        cells = self.cells
        for k, (i, lowest_m, count) in enumerate(self._of_row):
            flow = flows[k]
            if flow <= 0.0:
                tangents.append(_STILL)
                continue
            y = log(flow)
            from_y, to_y, y0, x0, c1, c2, c3, _ = cells[k]
            if not from_y <= y < to_y:
                cells[k] = self._rows[k][1].curve.cell(y)
                from_y, to_y, y0, x0, c1, c2, c3, _ = cells[k]
            y -= y0
            head = exp(x0 + y * (c1 + y * (c2 + y * c3)))
            t = flow / (head * (c1 + y * (2.0 * c2 + 3.0 * y * c3)))
            s = flow - t * (head + lowest_m)
            tangents.append((s, t))
            s_of[i] += count * s
            t_of[i] += count * t
            q_of[i] += count * flow
        # The tap itself comes last, where index -1 finds it.
        s_sum, t_sum, q_sum = [0.0] * (stations + 1), [0.0] * (stations + 1), [0.0] * (stations + 1)
        for (at, loss), s, t, q in zip(self._of_zone, s_of, t_of, q_of, strict=True):
            loss_q = loss * q
            den = 1.0 + 2.0 * loss_q * t
            s_sum[at] += (s + t * loss_q * q) / den
            t_sum[at] += t / den
            q_sum[at] += q
        for i, above in self._upwards:
            q_sum[above] += q_sum[i]
        slopes, rests = losses(q_sum[:stations], self._main)
        for i, above in self._upwards:
            den = 1.0 + slopes[i] * t_sum[i]
            s_sum[above] += (s_sum[i] - t_sum[i] * rests[i]) / den
            t_sum[above] += t_sum[i] / den
        # Down again from the supply.
        power = self._k * q_sum[-1] ** (self._exponent - 1.0)
        g = self._exponent * power
        tap = (self._static - (power - g) * q_sum[-1] - g * s_sum[-1]) / (1.0 + g * t_sum[-1])
        for limit, lost, n in self._limits:  # as in tree_solver.py
            power = float(lost * q_sum[-1] ** (n - 1.0))
            g = n * power
            meets = (limit - (power - g) * q_sum[-1] - g * s_sum[-1]) / (1.0 + g * t_sum[-1])
            tap = min(tap, meets)
        heads = [0.0] * stations + [tap]
        for i, above in enumerate(self._above):
            head = heads[above]
            heads[i] = (head - rests[i] - slopes[i] * s_sum[i]) / (1.0 + slopes[i] * t_sum[i])
        behind = [
            (heads[at] + loss * q * (q - 2.0 * s)) / (1.0 + 2.0 * loss * q * t)
            for (at, loss), s, t, q in zip(self._of_zone, s_of, t_of, q_of, strict=True)
        ]
        self._behind, self._tap_head = behind, tap
        near = _CLOSE_ENOUGH * q_sum[-1]
        at_rest = True
        for k, (i, lowest_m, _) in enumerate(self._of_row):
            before = flows[k]
            if before > 0.0:
                s, t = tangents[k]
                flow = s + t * behind[i]
                if flow < 0.0:
                    flow = 0.0
            else:
                over, curve = behind[i] - lowest_m, self._rows[k][1].curve
                flow = curve.flow_near(over) if over > curve.sill_m + _DRY_BELOW_M else 0.0
            flows[k] = flow
            if at_rest and abs(flow - before) > _NEARLY * flow + near:
                at_rest = False
        return at_rest


def _begins(takes: float, static: float, k: float, exponent: float) -> float:
    """A first head at the tap, for lines with this flow at one metre."""
    if static <= 0.0:
        return 0.0
    half = float((0.5 * static / k) ** (1.0 / exponent))
    return static / (1.0 + 0.5 * static * (takes / half) ** 2)
