"""The tests' own water: an invented garden as it really is, marched hole by hole from the ends.

Nothing of `controller.hydraulics` is used. A row is marched from its closed end, a zone is its
rows behind a valve, the main a chain, the supply a falling curve. What nobody knows of a garden
(bore, coefficient, scatter, level, plugged holes, valve, take-off, supply) is drawn here.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import exp, log10, pi, sqrt
from random import Random

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Face, Row, SupplyKind, Walls

G = 9.80665
NU = 1.139e-6  # water at 15 degrees C; handbooks print 1.14e-6. [m2/s]
# Fittings of the main, on its velocity: a tee's run, a sharp entrance (handbooks, from memory).
RUN_K, ENTRANCE_K = 0.4, 0.5
# Is momentum won back past a hole (sigma 1 and more), and does the coefficient fall where water is
# slow or boils? Both can be left out, for a comparison with a model that has neither.
MOMENTUM, VARYING = True, True
AIR_M = 10.33 - 0.17  # of air over vapour, at the sea and 15 degrees C (steam tables)


def friction(reynolds: float, roughness: float) -> float:
    """Laminar, Haaland's form of the rough law, a straight line between (2000 to 4000)."""
    if reynolds < 2000.0:
        return 64.0 / max(reynolds, 1e-9)
    turbulent = (-1.8 * log10((roughness / 3.7) ** 1.11 + 6.9 / max(reynolds, 4000.0))) ** -2
    if reynolds >= 4000.0:
        return float(turbulent)
    share = (reynolds - 2000.0) / 2000.0
    return float(0.032 * (1.0 - share) + turbulent * share)


def lost_m(flow: float, length: float, bore: float, roughness: float, k: float) -> float:
    """Darcy-Weisbach and fittings. [m]"""
    if flow <= 0.0:
        return 0.0
    v = flow / (pi / 4.0 * bore**2)
    f = friction(v * bore / NU, roughness / bore) if length > 0.0 else 0.0
    return (f * length / bore + k) * v * v / (2.0 * G)


@dataclass(frozen=True)
class Mouth:
    """One open or plugged hole: from the inlet, height against the tap, coefficient times area."""

    number: int
    x: float
    z: float
    ca: float
    cd: float
    bore: float
    plugged: bool


@dataclass
class TrueRow:
    """A row of one pipe with its holes as they are, nearest first."""

    row: Row
    holes: list[Mouth]
    sigma: float
    table: tuple[list[float], list[float]] = field(default_factory=lambda: ([], []))

    def march(self, end_head: float) -> tuple[float, float, list[float]]:
        """Head and flow at the inlet, and each hole's flow, with a head at the closed end."""
        pipe, head, flow = self.row.pipe, end_head, 0.0
        area = pi / 4.0 * pipe.bore_m**2
        flows = [0.0] * len(self.holes)
        for i in range(len(self.holes) - 1, -1, -1):
            hole = self.holes[i]
            if i < len(self.holes) - 1:
                span = self.holes[i + 1].x - hole.x
                head += lost_m(flow, span, pipe.bore_m, pipe.roughness_m, 0.0)
            over = head - hole.z
            if hole.plugged or over <= 0.0:
                continue
            q = self.passes(hole, over)
            if self.sigma:
                for _ in range(4):
                    v2 = (flow**2 + (flow + q) ** 2) / 2.0 / area**2
                    q = self.passes(hole, max(0.0, over - self.sigma * v2 / (2.0 * G)))
            flows[i] = q
            flow += q
        if self.holes:
            head += lost_m(flow, self.holes[0].x, pipe.bore_m, pipe.roughness_m, 0.0)
        return head, flow, flows

    def passes(self, hole: Mouth, over: float) -> float:
        """One hole: Torricelli, rubbing at low speed (Lichtarowicz), boiling at high (Nurick)."""
        if over <= 0.0:
            return 0.0
        plain = hole.ca * sqrt(2.0 * G * over)
        if not VARYING:
            return plain
        ratio = self.row.pipe.wall_m / self.row.drilling.bore_m
        reynolds = self.row.drilling.bore_m * sqrt(2.0 * G * over) / NU
        inverse = 1.0 / hole.cd
        inverse += 20.0 / reynolds * (1.0 + 2.25 * ratio)
        inverse -= 0.005 * ratio / (1.0 + 7.5 * log10(0.00015 * reynolds) ** 2)
        slowed = 1.0 / inverse
        return plain * min(slowed, 0.615 * sqrt((over + AIR_M) / over)) / hole.cd

    def prepare(self, most: float) -> None:
        """A table of inlet head and flow, close where the row begins to run."""
        low = min((h.z for h in self.holes if not h.plugged), default=0.0)
        heads, flows = [low], [0.0]
        over = 2e-4
        while heads[-1] < most:
            head, flow, _ = self.march(low + over)
            heads.append(head)
            flows.append(flow)
            over *= 1.12
        self.table = heads, flows

    def flow(self, head: float) -> float:
        """Flow with a head at the inlet."""
        heads, flows = self.table
        if head <= heads[0]:
            return 0.0
        high = min(bisect_right(heads, head), len(heads) - 1)
        low = high - 1
        # The square of the flow is nearly straight in the head.
        share = (head - heads[low]) / (heads[high] - heads[low])
        return sqrt(flows[low] ** 2 + min(share, 1.0) * (flows[high] ** 2 - flows[low] ** 2))

    def at(self, inlet: float) -> list[float]:
        """Each hole's flow with a head at the inlet."""
        low = min((h.z for h in self.holes if not h.plugged), default=0.0)
        if inlet <= low:
            return [0.0] * len(self.holes)
        end = crossing(lambda h: self.march(h)[0] - inlet, low, inlet)
        return self.march(end)[2]


def crossing(
    miss: Callable[[float], float], low: float, high: float, tolerance: float = 1e-8
) -> float:
    """Where a rising function is 0, by Illinois steps."""
    a, b = miss(low), miss(high)
    if a >= 0.0:
        return low
    if b <= 0.0:
        return high
    x = low
    for _ in range(100):
        x = (low * b - high * a) / (b - a)
        m = miss(x)
        if abs(m) < tolerance or high - low < 1e-13 * max(1.0, abs(high)):
            break
        if m > 0.0:
            high, b, a = x, m, a / 2.0
        else:
            low, a, b = x, m, b / 2.0
    return x


@dataclass(frozen=True)
class Drawn:
    """What is really so of a garden, against what its file says; all by zone where it may be."""

    static: float = 1.0  # static head over the file's
    test_flow: float = 1.0  # flow at the file's tested head, over the file's
    exponent: float = 2.0
    bore: float = 1.0
    coefficient: Mapping[str, float] = field(default_factory=dict)
    plugged: Mapping[str, float] = field(default_factory=dict)  # share of the holes
    take_off_k: Mapping[str, float] = field(default_factory=dict)
    valve_k: Mapping[str, float] = field(default_factory=dict)
    level_m: Mapping[str, float] = field(default_factory=dict)
    tilt_m: Mapping[str, float] = field(default_factory=dict)  # at the far end
    bumps_m: float = 0.0
    scatter: float = 0.0
    barrel_share: float = 0.5  # how far down the barrel stands


class TrueGarden:
    """A garden as it is; heads against the tap in m, flows in m3/s."""

    def __init__(self, garden: Garden, drawn: Drawn, rng: Random) -> None:
        self.garden, self.drawn = garden, drawn
        supply = garden.supply
        self.static = supply.static_head_m * drawn.static
        lost = self.static - supply.test_head_m * drawn.static
        self.k = lost / (supply.test_flow_m3_s * drawn.test_flow) ** drawn.exponent
        if supply.kind is SupplyKind.BARREL:
            self.static -= drawn.barrel_share * (self.static - (supply.falls_to_m or 0.0))
        self.rows = {
            zone.name: [self._row(zone, row, rng) for row in zone.rows] for zone in garden.zones
        }
        self.order = sorted(garden.zones, key=lambda zone: zone.main_run_m)
        self._tables: dict[str, tuple[list[float], list[float], list[float]]] = {}
        self._solved: dict[frozenset[str], tuple[float, dict[str, float], dict[str, float]]] = {}

    def _row(self, zone: Zone, row: Row, rng: Random) -> TrueRow:
        drawn, drilling, pipe = self.drawn, row.drilling, row.pipe
        bore = drilling.bore_m * drawn.bore
        ratio = pipe.wall_m / drilling.bore_m
        cd = drilling.discharge_coefficient or coefficient(ratio)
        nominal = cd
        cd *= drawn.coefficient.get(zone.name, 1.0)
        places, x = [], drilling.first_m
        while x <= row.length_m + 1e-9:
            places += [x] * (2 if drilling.walls is Walls.BOTH else 1)
            x += drilling.every_m
        side = {Face.DOWN: -1.0, Face.UP: 1.0, Face.SIDE: 0.0}[drilling.face]
        holes = []
        for n, x in enumerate(places, 1):
            face = -side if drilling.walls is Walls.BOTH and n % 2 == 0 else side
            z = zone.rise_m + drawn.level_m.get(zone.name, 0.0)
            z += row.inlet_height_m + (row.far_height_m - row.inlet_height_m) * x / row.length_m
            z += drawn.tilt_m.get(zone.name, 0.0) * x / row.length_m
            z += face * pipe.outside_m / 2.0 + rng.gauss(0.0, drawn.bumps_m)
            own = exp(rng.gauss(0.0, drawn.scatter))
            ca = cd * own * pi / 4.0 * bore**2
            plugged = rng.random() < drawn.plugged.get(zone.name, 0.0)
            holes.append(Mouth(n, x, z, ca, nominal, bore, plugged or n in row.plugged_holes))
        # With the momentum won back: sigma 1 of a hole that runs full, 1.65 of a thin one.
        sigma = min(1.65, max(1.0, 1.65 - 1.3 * (ratio - 1.0))) if MOMENTUM else 0.0
        made = TrueRow(row, holes, sigma)
        made.prepare(self.static + 1.0)
        return made

    def zone_flow(self, zone: Zone, head: float) -> tuple[float, float]:
        """Flow of a zone, and the head behind its valve, with a head at its tee."""
        pipe, rows = zone.rows[0].pipe, self.rows[zone.name]
        k = self.drawn.take_off_k.get(zone.name, zone.take_off_k)
        k += self.drawn.valve_k.get(zone.name, 0.0)

        if zone.name not in self._tables:
            # The head before the valve at each of many heads behind it.
            behinds = sorted({h for row in rows for h in row.table[0]})
            flows = [sum(row.flow(h) for row in rows) for h in behinds]
            before = [
                h + lost_m(q, 0.0, pipe.bore_m, 0.0, k) for h, q in zip(behinds, flows, strict=True)
            ]
            self._tables[zone.name] = before, flows, behinds
        before, flows, behinds = self._tables[zone.name]
        if head <= before[0]:
            return 0.0, head
        i = bisect_right(before, head, hi=len(before) - 1) - 1
        share = (head - before[i]) / (before[i + 1] - before[i])
        flow = sqrt(flows[i] ** 2 + share * (flows[i + 1] ** 2 - flows[i] ** 2))
        return flow, behinds[i] + share * (behinds[i + 1] - behinds[i])

    def open(self, zones: frozenset[str]) -> tuple[float, dict[str, float], dict[str, float]]:
        """Tap head, each zone's flow, and the head behind each valve, with these open."""
        if zones in self._solved:
            return self._solved[zones]
        main, stations = self.garden.main, sorted({z.main_run_m for z in self.garden.zones})
        # Below the lowest hole nothing flows.
        floor = min(row.table[0][0] for name in self.rows for row in self.rows[name]) - 0.01
        flows: dict[str, float] = {}
        behind: dict[str, float] = {}

        def drawn_from(i: int, at: float, head: float) -> float:
            """Flow that station i and all beyond draw, with a head at the place before it."""
            if i == len(stations):
                return 0.0
            length = stations[i] - at
            k = 0.0 if length <= 0.0 else RUN_K + (ENTRANCE_K if at == 0.0 else 0.0)
            here = [z for z in self.order if z.name in zones and z.main_run_m == stations[i]]
            beyond = any(z.name in zones and z.main_run_m > stations[i] for z in self.order)
            if not here and not beyond:
                return 0.0

            def at_head(h: float) -> float:
                q = 0.0
                for zone in here:
                    flows[zone.name], behind[zone.name] = self.zone_flow(zone, h)
                    q += flows[zone.name]
                return q + drawn_from(i + 1, stations[i], h)

            def miss(h: float) -> float:
                return h + lost_m(at_head(h), length, main.bore_m, main.roughness_m, k) - head

            if length <= 0.0:
                return at_head(head)
            return at_head(crossing(miss, floor, head))

        def tap(h: float) -> float:
            return float(h - self.static + self.k * drawn_from(0, 0.0, h) ** self.drawn.exponent)

        tap_head = crossing(tap, floor, self.static)
        drawn_from(0, 0.0, tap_head)
        self._solved[zones] = tap_head, dict(flows), dict(behind)
        return self._solved[zones]

    def flow(self, zone: str, zones: frozenset[str]) -> float:
        """Flow of one zone with these open."""
        return self.open(zones)[1].get(zone, 0.0)

    def open_tap(self) -> float:
        """What the bare tap gives."""
        return float((self.static / self.k) ** (1.0 / self.drawn.exponent))

    def holes(self, zone: str, row: int, zones: frozenset[str]) -> list[float]:
        """Flow of each hole of a row, from 1 at the inlet."""
        return self.rows[zone][row - 1].at(self.open(zones)[2][zone])

    def row_flow(self, zone: str, row: int, zones: frozenset[str]) -> float:
        """Flow of one row."""
        return self.rows[zone][row - 1].flow(self.open(zones)[2][zone])


def coefficient(ratio: float) -> float:
    """Discharge coefficient of a hole through a wall of `ratio` bores (Idelchik, from memory)."""
    phi = 0.25 + 0.535 * ratio**8 / (0.05 + ratio**7)
    return float((1.5 + (2.4 - ratio) * 10.0**-phi + 0.02 * ratio) ** -0.5)
