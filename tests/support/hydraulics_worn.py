"""Plain and worn gardens with their hidden truth, and field tests done in them; all invented.

How far off each thing may be is drawn here, apart from what the fit takes for its priors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from math import exp, log
from random import Random

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Face, Opening, Row, Supply, SupplyKind, Valve, ValveKind
from controller.hydraulics.calibration.measurements import (
    Bucket,
    Count,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.result import Fitted, corrections_for
from controller.hydraulics.calibration.uncertainty import FlowErrors, possible_tests
from controller.hydraulics.network.garden_lines import Lines
from support.hydraulics_forward import Drawn, G, TrueGarden
from support.hydraulics_gardens import GPM_M3_S, PSI_M, a_drilling, a_garden, a_row, a_zone
from support.wording import said

INCH = 0.0254

WEAR = ("dull bit", "filter", "plugged", "slope")


@dataclass(frozen=True)
class Invented:
    """A garden as its file has it, as it is, and the dice for its tests."""

    garden: Garden
    true: TrueGarden
    rng: Random
    wear: tuple[str, ...]


def invented(seed: int, *, worn: bool) -> Invented:
    """Two or three zones on mains, now and then on a barrel; a worn one has one or two wears."""
    rng = Random(seed)
    garden = _as_written(rng)
    names = [zone.name for zone in garden.zones]
    wear = tuple(rng.sample(WEAR, rng.choice((1, 1, 2)))) if worn else ()
    thin = any(z.rows[0].pipe.wall_m < 1.4 * z.rows[0].drilling.bore_m for z in garden.zones)
    file_flow, filtered = exp(rng.gauss(0.0, 0.04)), 1.0
    if "filter" in wear:
        filtered = rng.uniform(0.6, 0.85)
    valves = {}
    for zone in garden.zones:
        k, opening = 0.0, zone.opening
        if opening.angle_deg:
            k = exp(log(_angle_k(opening.angle_deg)) + rng.gauss(0.0, 0.6))
        elif opening.loss_k is not None:
            k = opening.loss_k * exp(rng.gauss(0.0, 1.0))
        elif opening.unknown:
            holes = sum(int(r.length_m / r.drilling.every_m) for r in zone.rows)
            k = exp(rng.uniform(log(1e3), log(6e4))) * (16.0 / holes) ** 2
        valves[zone.name] = k
    worst = rng.choice(names)
    drawn = Drawn(
        static=exp(rng.gauss(0.0, min(PSI_M / garden.supply.static_head_m, 0.04))),
        test_flow=file_flow * filtered,
        exponent=rng.uniform(1.85, 2.0),
        bore=exp(rng.gauss(0.0, 0.015)),
        coefficient={
            n: exp(rng.gauss(0.0, 0.07 if not thin else 0.08))
            * (rng.uniform(0.85, 0.93) if "dull bit" in wear else 1.0)
            for n in names
        },
        plugged={worst: rng.uniform(0.08, 0.25)} if "plugged" in wear else {},
        take_off_k={n: 4.0 * exp(rng.gauss(0.0, 0.4)) for n in names},
        valve_k=valves,
        level_m={n: rng.gauss(0.0, 0.015) for n in names},
        tilt_m={
            n: rng.gauss(0.0, 0.008)
            + (rng.choice((-1, 1)) * rng.uniform(0.02, 0.05) if "slope" in wear else 0.0)
            for n in names
        },
        bumps_m=0.003,
        scatter=garden.watering.drilling_scatter,
        barrel_share=rng.uniform(0.1, 0.9),
    )
    return Invented(garden, TrueGarden(garden, drawn, rng), rng, wear)


def _angle_k(angle_deg: float) -> float:
    """A plug cock's loss (Weisbach, as handbooks print it), logarithms between the lines."""
    table = ((10, 0.29), (20, 1.56), (30, 5.47), (40, 17.3), (50, 52.6), (60, 206.0), (65, 486.0))
    for (a, ka), (b, kb) in pairwise(table):
        if angle_deg <= b:
            return float(ka * (kb / ka) ** ((angle_deg - a) / (b - a)))
    return table[-1][1]


def _nearest(running: Sequence[int], number: int) -> int:
    return min(running, key=lambda r: (abs(r - number), r))


def _as_written(rng: Random) -> Garden:
    barrel = rng.random() < 0.15
    zones: list[Zone] = []
    for name in "abc"[: rng.choice((2, 2, 3))]:
        face = rng.choice((Face.UP, Face.DOWN, Face.SIDE))
        rows: tuple[Row, ...] = tuple(
            a_row(
                a_drilling(
                    bore_m=rng.choice((INCH / 16, INCH / 16, 5 * INCH / 64)),
                    discharge_coefficient=None,
                    face=face,
                ),
                length_m=0.3048 * rng.choice((8.0, 10.0, 15.0, 20.0, 25.0)),
            )
            for _ in range(rng.choice((1, 1, 2)))
        )
        opening = Opening(angle_deg=0.0)
        if not barrel:
            opening = rng.choice(
                (
                    opening,
                    opening,
                    Opening(unknown=True),
                    Opening(unknown=True),
                    Opening(angle_deg=rng.uniform(35.0, 60.0)),
                    Opening(loss_k=exp(rng.uniform(log(3e2), log(2e4)))),
                )
            )
        zones.append(
            a_zone(
                name,
                *rows,
                opening=opening,
                main_run_m=rng.choice((3.0, 6.0, 10.0, 15.0)),
                valve=Valve(kind=ValveKind.RELAY, relay_line=17 + len(zones)),
            )
        )
    if barrel:
        supply = Supply(
            static_head_m=rng.uniform(1.0, 2.0),
            test_head_m=0.0,
            test_flow_m3_s=rng.uniform(3.0, 6.0) * GPM_M3_S,
            kind=SupplyKind.BARREL,
            falls_to_m=0.5,
        )
    else:
        static = rng.uniform(35.0, 65.0) * PSI_M
        test = rng.choice((0.0, rng.uniform(0.3, 0.6) * static))
        supply = Supply(
            static_head_m=static,
            test_head_m=test,
            test_flow_m3_s=rng.uniform(5.0, 10.0) * GPM_M3_S * (1.0 if test else 1.3),
        )
    return a_garden(*zones, supply=supply)


def done(asked: Measurement, it: Invented) -> Measurement | None:
    """The test asked for, as somebody does it in the true garden; None where nothing runs."""
    true, rng, zones = it.true, it.rng, asked.zones
    if isinstance(asked, Gauge):
        head = max(0.0, true.open(zones)[0] + rng.gauss(0.0, PSI_M))
        return replace(asked, head_m=head)
    if isinstance(asked, MeterRun):
        flow = sum(true.open(zones)[1].values())
        if flow <= 1e-8:
            return None
        # Until it has counted about what was asked for, or half an hour.
        time_s = float(round(min(max(120.0, (asked.after_m3 - asked.before_m3) / flow), 1800.0)))
        volume = flow * (time_s + rng.gauss(0.0, 1.0)) * exp(rng.gauss(0.0, 0.015))
        read = round((volume + rng.gauss(0.0, 0.7e-3)) * 1e3) / 1e3
        return replace(asked, after_m3=asked.before_m3 + max(read, 1e-3), time_s=time_s)
    if isinstance(asked, Bucket):
        if asked.zone is None:
            flow = true.open_tap()
        elif asked.row is None:
            flow = true.flow(asked.zone, zones)
        else:
            flow = true.row_flow(asked.zone, asked.row, zones)
        if flow <= 1e-8:
            return None
        time_s = asked.time_s
        volume = flow * (time_s + rng.gauss(0.0, 1.0)) * exp(rng.gauss(0.0, 0.03))
        return replace(asked, volume_m3=volume)
    if isinstance(asked, Cups):
        flows = true.holes(asked.zone, asked.row, zones)
        running = [n for n, q in enumerate(flows, 1) if q > 1e-9]
        if len(running) < 2:
            return None
        # Who meets a plugged hole takes the next that runs.
        holes = {_nearest(running, n) for n in asked.holes}
        time_s = asked.time_s + rng.gauss(0.0, 1.0)
        caught = {n: flows[n - 1] * time_s * exp(rng.gauss(0.0, 0.05)) for n in sorted(holes)}
        return replace(asked, holes=tuple(caught), volumes_m3=tuple(caught.values()))
    if isinstance(asked, Stream):
        flows = true.holes(asked.zone, asked.row, zones)
        by_number = {h.number: h for h in true.rows[asked.zone][asked.row - 1].holes}
        running = [n for n, q in enumerate(flows, 1) if q > 1e-9]
        holes = {_nearest(running, n) for n in asked.holes}
        shared, heights = rng.gauss(0.0, 1.0), {}
        for n in sorted(holes):
            area = by_number[n].bore ** 2 * 0.785398
            height = (flows[n - 1] / area) ** 2 / (2.0 * G)
            off = exp(shared * (0.03 + 0.12 * height))
            heights[n] = max(1e-3, height * off + rng.gauss(0.0, 0.005))
        return replace(asked, holes=tuple(heights), heights_m=tuple(heights.values()))
    if isinstance(asked, Count):
        rows = true.rows[asked.zone]
        return replace(asked, running=sum(not h.plugged for row in rows for h in row.holes))
    raise AssertionError(asked)


def asked_next(garden: Garden, fitted: Fitted) -> Measurement | None:
    """The very test that a fit proposes next."""
    if fitted.next_test is None:
        return None
    lines = Lines(garden, corrections=corrections_for(garden, fitted)[0])
    for zone in garden.zones:  # where no figure stands, that of the prior does
        lines.valve_loss_k(zone.name)
    by_words = {said(message): test for test, message in possible_tests(garden, lines)}
    return by_words[said(fitted.next_test.message)]


@dataclass
class Tally:
    """True flows within the 95 % band, of those whose band says anything."""

    inside: int = 0
    asked: int = 0
    unknown: int = 0
    width: float = 0.0

    def add(self, true: float, found: float, error: float) -> None:
        """One flow."""
        if error > 0.33:
            self.unknown += 1
            return
        self.asked += 1
        self.width += 1.96 * error
        if found <= 0.0 or true <= 0.0:
            self.inside += (found <= 0.0) == (true <= 0.0)
        else:
            self.inside += abs(log(true / found)) <= 1.96 * error

    @property
    def share(self) -> float:
        """Share inside."""
        return self.inside / max(1, self.asked)


def tallied(it: Invented, fitted: Fitted, alone: Tally, pairs: Tally) -> None:
    """Compare each zone alone, and each pair, with the truth."""
    lines = Lines(it.garden, corrections=corrections_for(it.garden, fitted)[0])
    errors = FlowErrors(it.garden, fitted)
    names = [zone.name for zone in it.garden.zones]
    sets = [(frozenset({n}), alone) for n in names]
    sets += [(frozenset(pair), pairs) for pair in combinations(names, 2)]
    for opened, tally in sets:
        known, found = errors.of_zones(opened), lines.zone_flows(opened)
        for name in opened:
            tally.add(it.true.flow(name, opened), found[name], known[name])
