"""A garden's true water by a small forward model of the tests' own, not controller/hydraulics.

Rows are marched from the far end: free jets through holes, Darcy-Weisbach with Blasius' friction
factor (0.316 Re^-1/4; common practice, no source) between them, no recovery of velocity head. A
zone is so many rows alike behind one valve, a square law; all zones hang on one tee. The tap's head
falls with the square of the flow. Faults: an end without its cap (a free outlet of the pipe's bore,
one velocity head), and holes plugged where the dice say.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import exp, log, pi, sqrt
from random import Random

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Opening, Supply, SupplyKind, Valve, ValveKind
from controller.units import head_m_from_psi, m3_s_from_gal_min, m_from_ft
from support.gardens import a_row, a_zone
from support.metered import a_metered_garden

G = 9.80665
VISCOSITY = 1.1e-6  # water at 16 deg C, m2/s
HOLE_CD = 0.80  # a short tube running full: 0.80 to 0.82 (handbooks)
BARREL_FALLS_TO = 0.2  # of its full level
_END_HEADS = [10.0 ** (-4.0 + 0.25 * n) for n in range(23)]  # 0.1 mm to 30 m

Curve = list[tuple[float, float]]
"""Head at the tee against flow, both rising. [m, m3/s]"""


@dataclass(frozen=True)
class TrueZone:
    """A zone as it truly is."""

    name: str
    rows: int
    holes: int
    every_m: float
    bore_m: float  # of the pipe
    hole_m: float
    valve_k: float  # head lost per flow squared, valve and way to it

    def curve(self, *, plugged: Collection[int] = (), lost_cap: bool = False) -> Curve:
        """The zone's flow by the head at the tee; holes are plugged in each row, a cap is lost in
        the first."""
        good = self._row(plugged=plugged)
        first = self._row(plugged=plugged, lost_cap=True) if lost_cap else good
        found = []
        for head, flow in first:
            total = flow + (self.rows - 1) * at(good, head)
            found.append((head + self.valve_k * total**2, total))
        return found

    def _row(self, *, plugged: Collection[int] = (), lost_cap: bool = False) -> Curve:
        area, hole = pi * self.bore_m**2 / 4.0, pi * self.hole_m**2 / 4.0
        found = []
        for end in _END_HEADS:
            head, flow = end, area * sqrt(2.0 * G * end) if lost_cap else 0.0
            for number in range(self.holes, 0, -1):
                if number not in plugged:
                    flow += HOLE_CD * hole * sqrt(2.0 * G * head)
                head += self._lost(flow, area)
            found.append((head, flow))
        return found

    def _lost(self, flow: float, area: float) -> float:
        if flow <= 0.0:
            return 0.0
        speed = flow / area
        factor: float = 0.316 * (speed * self.bore_m / VISCOSITY) ** -0.25
        return factor * self.every_m / self.bore_m * speed**2 / (2.0 * G)


def at(curve: Curve, head: float) -> float:
    """A curve's flow at a head, by straight lines on logarithms, drawn on beyond its ends."""
    place = min(max(bisect_left(curve, (head, 0.0)), 1), len(curve) - 1)
    (h0, q0), (h1, q1) = curve[place - 1], curve[place]
    if head <= 0.0:
        return 0.0
    return exp(log(q0) + (log(head) - log(h0)) / (log(h1) - log(h0)) * (log(q1) - log(q0)))


@dataclass
class World:
    """Zones on one tap. Faults come and go; flows are remembered for each state."""

    zones: Mapping[str, TrueZone]
    static_m: float
    supply_k: float
    by_loss: bool = False  # a weak tap loses more on the way, and stands as high as ever
    faults: dict[str, tuple[tuple[int, ...], bool]] = field(default_factory=dict)
    _curves: dict[object, Curve] = field(default_factory=dict)
    _flows: dict[object, float] = field(default_factory=dict)

    def flow_m3_s(self, opened: frozenset[str], tap: float = 1.0) -> float:
        """What the tap gives to these zones, its still head a share of the usual; or its loss that
        much more."""
        if not opened:
            return 0.0
        # On rounded shares of the tap, straight lines between; a season asks for thousands.
        low = int(tap / 0.02) * 0.02
        part = (tap - low) / 0.02
        return (1.0 - part) * self._solved(opened, low) + part * self._solved(opened, low + 0.02)

    def _solved(self, opened: frozenset[str], tap: float) -> float:
        key = (
            opened,
            round(tap, 4),
            self.by_loss,
            tuple(sorted((z, self.faults.get(z)) for z in opened)),
        )
        if key not in self._flows:
            curves = [self._curve(zone) for zone in sorted(opened)]
            static_m, supply_k = tap * self.static_m, self.supply_k
            if self.by_loss:
                static_m, supply_k = self.static_m, self.supply_k / tap
            low, high = 0.0, static_m
            for _ in range(40):
                middle = 0.5 * (low + high)
                flow = sum(at(curve, middle) for curve in curves)
                if static_m - supply_k * flow**2 > middle:
                    low = middle
                else:
                    high = middle
            self._flows[key] = sum(at(curve, low) for curve in curves)
        return self._flows[key]

    def _curve(self, zone: str) -> Curve:
        plugged, lost = self.faults.get(zone, ((), False))
        key = (zone, plugged, lost)
        if key not in self._curves:
            self._curves[key] = self.zones[zone].curve(plugged=plugged, lost_cap=lost)
        return self._curves[key]


def drawn_world(dice: Random, *, barrel: bool = False) -> tuple[Garden, World]:
    """A garden as its file has it, and its true water: drill, holes, tap and valves off by chance.

    One to five zones of one to three rows alike; two in five valves throttled, and measured within
    3 % so that the file has their flow; one in ten stands where nobody knows. A barrel stands 1 to
    2 m up, and falls to a fifth of that; its valves are open.
    """
    psi, gal_min = dice.uniform(35.0, 60.0), dice.uniform(6.0, 11.0)
    supply = Supply(
        static_head_m=head_m_from_psi(psi),
        test_head_m=head_m_from_psi(psi / 2.0),
        test_flow_m3_s=m3_s_from_gal_min(gal_min),
    )
    if barrel:
        level_m = dice.uniform(1.0, 2.0)
        supply = Supply(
            kind=SupplyKind.BARREL,
            static_head_m=level_m,
            falls_to_m=BARREL_FALLS_TO * level_m,
            test_head_m=0.0,
            test_flow_m3_s=m3_s_from_gal_min(dice.uniform(5.0, 8.0)),
        )
    static_m = supply.static_head_m * (1.0 + dice.gauss(0.0, 0.02))
    supply_k = (supply.static_head_m - supply.test_head_m) / (
        supply.test_flow_m3_s * (1.0 + dice.gauss(0.0, 0.04))
    ) ** 2
    bore = 1.0 + dice.gauss(0.0, 0.015)  # the drill, and all holes with it
    zones: list[Zone] = []
    truth: dict[str, TrueZone] = {}
    for name in "abcde"[: dice.choice((1, 2, 2, 3, 4, 5))]:
        row = a_row(dice.choice((6.0, 10.0, 15.0, 25.0)))
        rows = dice.choice((1, 1, 2, 3))
        area = pi * row.pipe.bore_m**2 / 4.0
        true = TrueZone(
            name=name,
            rows=rows,
            holes=round(row.length_m / row.drilling.every_m),
            every_m=row.drilling.every_m,
            bore_m=row.pipe.bore_m,
            hole_m=row.drilling.bore_m * bore * sqrt(1.0 + dice.gauss(0.0, 0.03)),
            # The take-off's 4 velocity heads (the model's own default), and 2 for the way to it.
            valve_k=6.0 / (2.0 * G * area**2),
        )
        opening = Opening(angle_deg=0.0)
        chance = 1.0 if barrel else dice.random()
        if chance < 0.1:
            true, _ = _throttled(true, dice.uniform(0.03, 0.9), static_m, supply_k)
            opening = Opening(unknown=True)
        elif chance < 0.5:
            share = dice.uniform(0.15, 0.7)
            true, flow = _throttled(true, share, static_m, supply_k)
            opening = Opening(alone_flow_m3_s=flow * (1.0 + dice.gauss(0.0, 0.03)))
        truth[name] = true
        relay = Valve(kind=ValveKind.RELAY, relay_line=17 + len(zones))
        zones.append(
            a_zone(name, rows=(row,) * rows, opening=opening, valve=relay, main_run_m=m_from_ft(10))
        )
    garden = a_metered_garden(*zones, litres_per_pulse=1.0 / 450.0, least_flow_l_s=1.0 / 60.0)
    garden = replace(garden, supply=supply)
    return garden, World(zones=truth, static_m=static_m, supply_k=supply_k)


def _throttled(
    zone: TrueZone, share: float, static_m: float, supply_k: float
) -> tuple[TrueZone, float]:
    """The zone with its valve turned until it gives that share of its flow alone."""
    alone = frozenset((zone.name,))
    wanted = share * World({zone.name: zone}, static_m, supply_k).flow_m3_s(alone)
    low, high = zone.valve_k, 1e6 * zone.valve_k
    for _ in range(60):
        middle = sqrt(low * high)
        tried = replace(zone, valve_k=middle)
        if World({zone.name: tried}, static_m, supply_k).flow_m3_s(alone) > wanted:
            low = middle
        else:
            high = middle
    return replace(zone, valve_k=low), wanted


class Tap:
    """A tap's still head, as a share of the usual: days that hang together, hot evenings, jitter.

    Of the head: 4 % from day to day (0.8 of a day's departure stays to the next), a tenth less
    between seven and nine, 1 % at each opening. In a hot spell the flow is 15 % less, which is 28 %
    of the head. All our choice.
    """

    def __init__(self, dice: Random, days: int, *, hot: bool) -> None:
        self._dice, now = dice, 0.0
        self.by_day: list[float] = []
        spells = [dice.randrange(10, days) for _ in range(3)] if hot else []
        for day in range(days):
            now = 0.8 * now + dice.gauss(0.0, 0.024)
            weak = any(first <= day < first + 5 for first in spells)
            self.by_day.append((1.0 + now) * (0.72 if weak else 1.0))

    def share(self, day: int, minute: float) -> float:
        """On a day, so many minutes after five."""
        hour = 0.95 if minute > 120.0 else 1.0
        return self.by_day[day] * hour * (1.0 + self._dice.gauss(0.0, 0.01))


class Barrel:
    """The level of a barrel, as a share of a full one: it falls day by day, and rain fills it."""

    def __init__(self, dice: Random, days: int) -> None:
        self.by_day: list[float] = []
        level = 1.0
        for _ in range(days):
            level = 1.0 if level < BARREL_FALLS_TO + 0.1 or dice.random() < 0.1 else level - 0.07
            self.by_day.append(level)

    def share(self, day: int, minute: float) -> float:
        """On a day, so many minutes after five; its water runs meanwhile."""
        return max(BARREL_FALLS_TO, self.by_day[day] - 0.0004 * minute)


def fifth(dice: Random, zone: TrueZone) -> tuple[int, ...]:
    """A fifth of the holes of each row, drawn."""
    return tuple(sorted(dice.sample(range(1, zone.holes + 1), max(1, round(zone.holes / 5)))))


def zone_names(world: World) -> Sequence[str]:
    """Its zones."""
    return sorted(world.zones)
