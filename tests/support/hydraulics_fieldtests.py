"""Gardens with a hidden truth, and field tests done in them with honest errors; all invented."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi, sqrt
from random import Random
from typing import Any

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Face, Opening, Row, Supply
from controller.hydraulics.calibration.measurements import (
    METER_SHARE,
    Bucket,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.parameters import corrections_of, open_holes, unknowns_of
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import DrilledHole
from controller.hydraulics.physics.jets import height_m
from controller.hydraulics.physics.pipe import PIPES
from controller.units import GRAVITY_M_S2, HEAD_M_PER_PSI
from support.hydraulics_gardens import GPM_M3_S, PSI_M, a_drilling, a_garden, a_row, a_zone

HOLES_M = (0.0015875, 0.001984375, 0.003175)  # 1/16, 5/64, 1/8 in


class Truth(Lines):
    """The lines as they really are: each hole with a scatter of its own."""

    def __init__(self, garden: Garden, rng: Random, log_factors: list[float]) -> None:
        self.bore_factor = exp(log_factors[2])
        super().__init__(
            garden, corrections=corrections_of(garden, unknowns_of(garden), log_factors)
        )
        self._scattered: dict[str, tuple[tuple[DrilledHole, ...], ...]] = {}
        self._rng, self._scatter = rng, garden.watering.drilling_scatter

    def _row_holes(self, zone: Zone) -> tuple[tuple[DrilledHole, ...], ...]:
        if zone.name not in self._scattered:
            self._scattered[zone.name] = tuple(
                tuple(
                    replace(
                        hole,
                        discharge_coefficient=hole.discharge_coefficient
                        * exp(self._rng.gauss(0.0, self._scatter)),
                    )
                    for hole in row
                )
                for row in super()._row_holes(zone)
            )
        return self._scattered[zone.name]


def a_truth(garden: Garden, rng: Random) -> Truth:
    """A truth drawn from what the priors say of a garden."""
    scatter = garden.watering.drilling_scatter
    log_factors = []
    for unknown in unknowns_of(garden):
        error = unknown.prior_error
        if unknown.kind == "discharge":  # the holes' own scatter comes on top, hole by hole
            holes = open_holes(garden.zone(str(unknown.zone)))
            error = sqrt(error**2 - scatter**2 / holes)
        # Of a valve nobody knows: somewhere in a good decade about the middle of its prior.
        wide = unknown.kind == "valve" and error > 1.0
        log_factors.append(rng.uniform(-1.5, 1.5) if wide else rng.gauss(0.0, error))
    return Truth(garden, rng, log_factors)


def a_random_garden(rng: Random) -> Garden:
    """Two to four zones of one or two rows, full open or throttled by an angle or a loss."""
    zones = []
    for name in "abcd"[: rng.randint(2, 4)]:
        rows = tuple(
            a_row(
                a_drilling(
                    bore_m=rng.choice(HOLES_M),
                    discharge_coefficient=None,
                    face=rng.choice((Face.UP, Face.DOWN, Face.SIDE)),
                ),
                length_m=0.3048 * rng.uniform(4.0, 20.0),
            )
            for _ in range(rng.choice((1, 1, 2)))
        )
        opening = rng.choice(
            (
                Opening(angle_deg=0.0),
                Opening(angle_deg=rng.uniform(30.0, 60.0)),
                Opening(loss_k=exp(rng.uniform(log(3e2), log(1e5)))),
                Opening(angle_deg=rng.uniform(70.0, 85.0)),
            )
        )
        zones.append(a_zone(name, *rows, opening=opening, main_run_m=rng.uniform(2.0, 30.0)))
    static_m = rng.uniform(35.0, 70.0) * PSI_M
    test_m = rng.choice((0.0, rng.uniform(0.3, 0.6) * static_m))
    supply = Supply(
        static_head_m=static_m,
        test_head_m=test_m,
        test_flow_m3_s=rng.uniform(5.0, 12.0) * GPM_M3_S * (1.0 if test_m else 1.3),
    )
    return a_garden(*zones, supply=supply)


def cups(truth: Truth, rng: Random | None, zone: str, **more: Any) -> Cups:
    """Four cups for half a minute under a row."""
    values: dict[str, Any] = {"row": 1, "time_s": 30.0, "zones": frozenset({zone})} | more
    row = truth.open_set(values["zones"]).zones[zone].rows[values["row"] - 1]
    holes = values.pop("holes", None) or _spread(len(row.holes))
    time_s = _timed(values["time_s"], rng)
    return Cups(
        zone=zone,
        holes=holes,
        volumes_m3=tuple(
            row.holes[n - 1].flow_m3_s * time_s * exp(_noise(rng, 0.05)) for n in holes
        ),
        **values,
    )


def bucket(truth: Truth, rng: Random | None, zone: str | None = None, **more: Any) -> Bucket:
    """A bucket under a zone, under one of its rows, or under the tap."""
    zones = frozenset({zone} if zone else ())
    values: dict[str, Any] = {"time_s": 60.0, "row": None, "zones": zones} | more
    if zone is None:
        flow_m3_s = truth.supply.flow_m3_s(0.0)
    else:
        flow = truth.open_set(values["zones"]).zones[zone]
        row = values["row"]
        flow_m3_s = flow.flow_m3_s if row is None else flow.rows[row - 1].flow_m3_s
    volume_m3 = flow_m3_s * _timed(values["time_s"], rng) * exp(_noise(rng, 0.03))
    return Bucket(zone=zone, volume_m3=volume_m3, **values)


def meter_run(truth: Truth, rng: Random | None, *zones: str, time_s: float = 120.0) -> MeterRun:
    """The house meter over two minutes, or over the time for 10 L where that is more."""
    opened = frozenset(zones)
    flow_m3_s = truth.open_set(opened).supply_flow_m3_s
    time_s = max(time_s, 0.010 / flow_m3_s)
    true_m3 = flow_m3_s * _timed(time_s, rng)
    read_m3 = true_m3 * exp(_noise(rng, METER_SHARE)) + _noise(rng, 0.001)
    return MeterRun(zones=opened, before_m3=7.0, after_m3=7.0 + max(read_m3, 1e-4), time_s=time_s)


def gauge(truth: Truth, rng: Random | None, *zones: str) -> Gauge:
    """A gauge at the tap."""
    opened = frozenset(zones)
    return Gauge(
        zones=opened,
        head_m=max(0.0, truth.open_set(opened).tap_head_m + _noise(rng, HEAD_M_PER_PSI)),
    )


def stream(truth: Truth, rng: Random | None, zone: str, row: int = 1) -> Stream:
    """The height of four streams of holes that look up and run full."""
    opened = frozenset({zone})
    flow = truth.open_set(opened).zones[zone].rows[row - 1]
    numbers = _spread(len(flow.holes))
    heights = []
    shared = _noise(rng, 1.0)
    for n in numbers:
        hole = flow.holes[n - 1]
        area_m2 = pi / 4.0 * (hole.bore_m * truth.bore_factor) ** 2
        speed_m_s = hole.flow_m3_s / area_m2
        height = speed_m_s**2 / (2.0 * GRAVITY_M_S2)
        heights.append(
            max(1e-3, height * exp(shared * (0.03 + 0.12 * height)) + _noise(rng, 0.005))
        )
    return Stream(zones=opened, zone=zone, row=row, holes=numbers, heights_m=tuple(heights))


def some_tests(truth: Truth, rng: Random) -> list[Measurement]:
    """What a gardener might do: at least one test for each valve nobody knows, others by chance."""
    tests: list[Measurement] = []
    if rng.random() < 0.7:
        tests.append(gauge(truth, rng))
    if rng.random() < 0.7:
        tests.append(bucket(truth, rng))
    for zone in truth.garden.zones:
        unsure = zone.opening.angle_deg != 0.0
        if unsure or rng.random() < 0.4:
            kind = rng.choice(("meter", "bucket"))
            tests.append(
                meter_run(truth, rng, zone.name)
                if kind == "meter"
                else bucket(truth, rng, zone.name)
            )
        if rng.random() < 0.5 and _runs_well(truth, zone.name):
            tests.append(cups(truth, rng, zone.name))
        if rng.random() < 0.3:
            tests.append(gauge(truth, rng, zone.name))
    return tests


def _runs_well(truth: Truth, zone: str) -> bool:
    """Whether every hole has 5 cm of head and more; nobody puts cups under a row that drips."""
    rows = truth.open_set(frozenset({zone})).zones[zone].rows
    return all(hole.head_m - hole.z_m > 0.05 for row in rows for hole in row.holes)


def _spread(count: int) -> tuple[int, ...]:
    return tuple(sorted({1 + round(i * (count - 1) / 3) for i in range(4)}))


def _noise(rng: Random | None, error: float) -> float:
    return 0.0 if rng is None else rng.gauss(0.0, error)


def _timed(time_s: float, rng: Random | None) -> float:
    return time_s + _noise(rng, 1.0)


__all__ = [
    "PIPES",
    "Row",
    "Truth",
    "a_random_garden",
    "a_truth",
    "bucket",
    "cups",
    "gauge",
    "height_m",
    "meter_run",
    "some_tests",
    "stream",
]
