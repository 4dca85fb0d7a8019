"""A field test against the network: predicted reading, error, and tests that cannot be true.

Flows and speeds are compared by their natural logarithms, a gauge by its head.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, hypot, log, pi, sqrt

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Face, Row, Walls
from controller.garden.show import show_flow, show_length, show_pressure
from controller.hydraulics.calibration.measurements import (
    METER_SHARE,
    Bucket,
    Count,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.parameters import BORE_ERROR, open_holes, unknowns_of
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import DrilledHole, drilled_holes
from controller.hydraulics.network.results import HoleFlow
from controller.hydraulics.physics.jets import (
    DETACHED_VELOCITY_COEFFICIENT,
    RUNS_FULL_FROM,
    exit_speed_from_height_m_s,
    exit_speed_from_reach_m_s,
)
from controller.units import GRAVITY_M_S2

# Error of a stream's height: 3 % at best, and as much as the drag of the air takes, about 12 % for
# each metre (computed with a drop model, uncertain). Our choice.
_STREAM_SHARE, _DRAG_PER_M = 0.03, 0.12
# Where the wall is 0.7 to 1.4 bores thick a stream may fill its hole or not, which makes its speed
# 0.75 or 0.97 of the ideal one; the latter is taken. Our choice.
_EITHER_FROM, _EITHER_SHARE = 0.7, 0.12
_NEXT_TO_NOTHING = 1e-15  # a dry hole's flow, so that it has a logarithm. [m3/s]
# How far a hole's mouth may lie off its pipe's line: drilled a little off the crown. Our choice;
# that the pipe lies a little off level is the garden's own `level_error`. [m]
_MOUTH_M = 0.004
# Under a film of water only the level decides; such a hole says nothing.
_MOST_LEVEL_ERROR = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """Values of the unknowns that streams and counts need besides the network's flows.

    `bore` is the true bore over the drill's name; `open_holes` is the share of a zone's holes that
    run: the network spreads the flow over all holes, so each running hole gives more by that share.
    [-]
    """

    bore: float
    open_holes: Mapping[str, float]


def level_errors(measurement: Cups, garden: Garden) -> list[float]:
    """Error of each cup's flow by the error of a hole's level: sigma_z over twice the head.

    Parameters
    ----------
    measurement : Cups
        Cups; each head is found from the cup itself, and is at least a quarter of their mean.
    garden : Garden
        The garden, for the drilling.

    Returns
    -------
    list of float
        Standard errors of the logarithms of the flows. [-]

    Source
    ------
    q = Cd a sqrt(2 g h), so that dq/q = dh/2h.
    """
    zone = garden.zone(measurement.zone)
    row = zone.rows[measurement.row - 1]
    by_number = {h.number: h for h in drilled_holes(row, zone.rise_m) if h.kind == "hole"}
    heads_m = []
    for number, volume_m3 in zip(measurement.holes, measurement.volumes_m3, strict=True):
        hole = by_number[number]
        speed_m_s = (
            volume_m3
            / measurement.time_s
            / (hole.discharge_coefficient * pi / 4.0 * hole.bore_m**2)
        )
        heads_m.append(speed_m_s**2 / (2.0 * GRAVITY_M_S2))
    least_m = max(0.25 * _mean(heads_m), 1e-6)
    off_m = hypot(_MOUTH_M, garden.watering.level_error_m)
    return [min(_MOST_LEVEL_ERROR, off_m / (2.0 * max(h, least_m))) for h in heads_m]


def _weights(measurement: Measurement, garden: Garden) -> list[float]:
    """Weight of each hole of a test: cups by their errors, streams all alike."""
    if not isinstance(measurement, Cups):
        return [1.0] * len(hole_figures(measurement))
    scatter = garden.watering.drilling_scatter
    return [
        1.0 / (measurement.error_share**2 + scatter**2 + level**2)
        for level in level_errors(measurement, garden)
    ]


def said(measurement: Measurement, garden: Garden) -> tuple[float, float]:
    """A test's reading as one figure, and its standard error, drilling scatter included.

    A test of `n` holes among `N` gives the mean of all within the scatter times sqrt(1/n - 1/N).
    """
    scatter = garden.watering.drilling_scatter
    if isinstance(measurement, Gauge):
        return measurement.head_m, measurement.error_m
    if isinstance(measurement, MeterRun):
        volume_m3 = measurement.after_m3 - measurement.before_m3
        watch = measurement.time_error_s / measurement.time_s
        error = hypot(measurement.error_m3 / volume_m3, METER_SHARE, watch)
        return log(volume_m3 / measurement.time_s), error
    if isinstance(measurement, Bucket):
        watch = measurement.time_error_s / measurement.time_s
        others = 0.0
        if measurement.zone is not None and measurement.row is not None:
            zone = garden.zone(measurement.zone)
            others = _sampling(scatter, open_holes(zone, measurement.row), open_holes(zone))
        error = hypot(measurement.error_share, watch, others)
        return log(measurement.volume_m3 / measurement.time_s), error
    if isinstance(measurement, Cups):
        everything = open_holes(garden.zone(measurement.zone))
        weights = _weights(measurement, garden)
        levels = level_errors(measurement, garden)
        total = sum(weights)
        own = sqrt(
            sum(
                w * w * (measurement.error_share**2 + level**2)
                for w, level in zip(weights, levels, strict=True)
            )
        )
        alike = total**2 / sum(w * w for w in weights)
        error = hypot(
            own / total,
            measurement.time_error_s / measurement.time_s,
            _sampling(scatter, alike, everything),
        )
        return _mean(hole_figures(measurement), weights), error
    if isinstance(measurement, Count):
        everything = open_holes(garden.zone(measurement.zone))
        return log(measurement.running / everything), measurement.error_holes / everything
    if isinstance(measurement, Stream):
        zone = garden.zone(measurement.zone)
        n, figures = len(measurement.holes), hole_figures(measurement)
        read = _mean([reading_error(measurement, i) ** 2 for i in range(n)])
        drop = (
            0.5 * measurement.error_m / measurement.drop_m
            if measurement.reaches_m and measurement.drop_m
            else 0.0
        )
        height_m = _mean([height_of_m(figure) for figure in figures])
        model = 0.5 * (_STREAM_SHARE + _DRAG_PER_M * height_m)
        row = zone.rows[measurement.row - 1]
        if _runs_full(row):
            others = _sampling(scatter, n, open_holes(zone))
        else:
            either = row.pipe.wall_m >= _EITHER_FROM * row.drilling.bore_m
            others = _EITHER_SHARE if either else 0.0
        return _mean(figures), hypot(sqrt(read / n), drop, model, others)
    raise InputError(f"{measurement.shown}: no field test we know")


def predicted(measurement: Measurement, lines: Lines, tried: Tried) -> float:
    """What the network predicts that a test shows, as the same figure that `said` gives.

    Parameters
    ----------
    measurement : Measurement
        The test.
    lines : Lines
        The network, with the corrections to try.
    tried : Tried
        The bore and the shares of open holes in those corrections.

    Returns
    -------
    float
        Logarithm of a flow in m3/s, of a speed in m/s or of a share; for a gauge its head. [-, m]

    Raises
    ------
    InputError, NoSolution
        As `Lines.open_set`.

    Source
    ------
    garden_lines.py; for streams jets.py.
    """
    if isinstance(measurement, Bucket) and measurement.zone is None:
        return log(lines.supply.flow_m3_s(0.0))
    if isinstance(measurement, Count):
        return log(tried.open_holes.get(measurement.zone, 1.0))
    flow = lines.open_set(measurement.zones)
    if isinstance(measurement, Gauge):
        return flow.tap_head_m
    if isinstance(measurement, MeterRun):
        return _log(flow.supply_flow_m3_s)
    if isinstance(measurement, Bucket):
        zone_flow = flow.zones[str(measurement.zone)]
        row = measurement.row
        return _log(zone_flow.flow_m3_s if row is None else zone_flow.rows[row - 1].flow_m3_s)
    return _mean(holes_predicted(measurement, lines, tried), _weights(measurement, lines.garden))


def hole_figures(measurement: Measurement) -> list[float]:
    """Logarithm of each cup's flow or each stream's speed; empty for other tests."""
    if isinstance(measurement, Cups):
        return [log(volume_m3 / measurement.time_s) for volume_m3 in measurement.volumes_m3]
    if isinstance(measurement, Stream):
        if measurement.heights_m:
            return [log(exit_speed_from_height_m_s(z_m)) for z_m in measurement.heights_m]
        drop_m = measurement.drop_m or 0.0
        return [
            log(exit_speed_from_reach_m_s(reach_m=x_m, drop_m=drop_m))
            for x_m in measurement.reaches_m
        ]
    return []


def holes_predicted(measurement: Measurement, lines: Lines, tried: Tried) -> list[float]:
    """The same as predicted by the network, hole by hole; only running holes can be measured."""
    if not isinstance(measurement, Cups | Stream):
        return []
    zone = lines.garden.zone(measurement.zone)
    row = zone.rows[measurement.row - 1]
    flow = lines.open_set(measurement.zones).zones[measurement.zone].rows[measurement.row - 1]
    by_number = {hole.number: hole for hole in flow.holes if hole.kind == "hole"}
    holes = [by_number[number] for number in measurement.holes]
    share = tried.open_holes.get(measurement.zone, 1.0)
    if isinstance(measurement, Cups):
        return [_log(hole.flow_m3_s / share) for hole in holes]
    up = bool(measurement.heights_m)
    return [_log(_speed_m_s(hole, row, up, tried.bore, share)) for hole in holes]


def hole_error(measurement: Measurement, garden: Garden, place: int) -> float:
    """Standard error of one hole of a test, including the scatter of its drilling.

    Parameters
    ----------
    measurement : Measurement
        Cups or streams.
    garden : Garden
        The garden, for the scatter of its drilling.
    place : int
        Place of the hole in the test, from 0.

    Returns
    -------
    float
        Of the logarithm of its flow or speed. [-]

    Source
    ------
    Errors as stated, and the scatter of the drilling.
    """
    own = 0.0
    if isinstance(measurement, Cups):
        own = hypot(measurement.error_share, level_errors(measurement, garden)[place])
    elif isinstance(measurement, Stream):
        own = reading_error(measurement, place)
    return hypot(own, garden.watering.drilling_scatter)


def is_level_unsure(measurement: Measurement, garden: Garden, place: int) -> bool:
    """Whether the error of level moves a hole's flow by more than the scatter of drilling."""
    if not isinstance(measurement, Cups):
        return False
    return level_errors(measurement, garden)[place] > garden.watering.drilling_scatter


def _speed_m_s(
    hole: HoleFlow, row: Row, upward: bool, bore_factor: float, open_share: float
) -> float:
    """Speed of a hole's stream, with the pipe turned until the hole faces up or level."""
    radius_m = row.pipe.outside_m / 2.0
    own = {Face.DOWN: -1.0, Face.UP: 1.0, Face.SIDE: 0.0}[row.drilling.face]
    if row.drilling.walls is Walls.BOTH and hole.number % 2 == 0:
        own = -own
    over_m = hole.head_m - hole.z_m
    turned_m = over_m - radius_m * ((1.0 if upward else 0.0) - own)
    if over_m <= 0.0 or turned_m <= 0.0:
        return 0.0
    if not _runs_full(row):
        return DETACHED_VELOCITY_COEFFICIENT * sqrt(2.0 * GRAVITY_M_S2 * turned_m)
    area_m2 = pi / 4.0 * (hole.bore_m * bore_factor) ** 2
    return hole.flow_m3_s / open_share / area_m2 * sqrt(turned_m / over_m)


def _runs_full(row: Row) -> bool:
    return row.pipe.wall_m >= RUNS_FULL_FROM * row.drilling.bore_m


def reading_error(test: Stream, place: int) -> float:
    """Standard error of one stream's speed from the tape alone.

    Parameters
    ----------
    test : Stream
        Heights or reaches.
    place : int
        Place of the hole in the test, from 0.

    Returns
    -------
    float
        Error of the logarithm of the speed, which grows with the root of a height, or with a reach.
        [-]

    Source
    ------
    v = sqrt(2 g z) and v = x sqrt(g/(2 y)).
    """
    if test.heights_m:
        return 0.5 * test.error_m / test.heights_m[place]
    return test.error_m / test.reaches_m[place]


def height_of_m(log_speed: float) -> float:
    """Height to which a stream of a speed rises.

    Parameters
    ----------
    log_speed : float
        Natural logarithm of the speed in m/s. [-]

    Returns
    -------
    float
        Height. [m]

    Source
    ------
    v2/2g, a body thrown up.
    """
    return exp(log_speed) ** 2 / (2.0 * GRAVITY_M_S2)


def _sampling(scatter: float, n: float, everything: int) -> float:
    return scatter * sqrt(max(0.0, 1.0 / max(n, 1) - 1.0 / max(everything, 1)))


def _mean(values: Sequence[float], weights: Sequence[float] | None = None) -> float:
    if weights is None:
        return sum(values) / len(values)
    return sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)


def _log(value: float) -> float:
    return log(max(value, _NEXT_TO_NOTHING))


def refuse_impossible(garden: Garden, measurements: Sequence[Measurement]) -> None:
    """Raise InputError for a test of what does not exist, or that this pressure cannot give."""
    still_m = _highest_head_m(garden, measurements)
    us = garden.us_units
    for test in measurements:
        for name in sorted(test.zones):
            if name not in {zone.name for zone in garden.zones}:
                raise InputError(f'{test.shown}: zones: the garden has no zone "{name}"')
        if isinstance(test, Cups | Stream):
            _refuse_absent(garden.zone(test.zone), test.row, test.holes, test.shown)
        if isinstance(test, Bucket) and test.zone is not None and test.row is not None:
            _refuse_absent(garden.zone(test.zone), test.row, (), test.shown)
        if isinstance(test, Count):
            drilled = open_holes(garden.zone(test.zone))
            if test.running > drilled:
                raise InputError(
                    f"{test.shown}: running: found {test.running} holes; the garden file has "
                    f'{drilled} in "{test.zone}" that are not plugged'
                )
            continue
        value, error = said(test, garden)
        if isinstance(test, Gauge):
            if test.zones and test.head_m > still_m + 3.0 * test.error_m:
                raise InputError(
                    f"{test.shown}: pressure: found {show_pressure(test.head_m, us)} with water "
                    f"flowing, but the still tap stands at {show_pressure(still_m, us)} at most; "
                    "flowing water has less"
                )
        elif isinstance(test, Stream):
            # By the tape alone: nothing throws higher than the still water stands.
            height_m = height_of_m(value - 3.0 * reading_error(test, 0))
            if height_m > still_m - garden.zone(test.zone).rise_m:
                raise InputError(
                    f"{test.shown}: {'heights' if test.heights_m else 'reaches'}: such a stream "
                    f"would rise {show_length(height_of_m(value), us)}, higher than the still "
                    f"water of the supply could throw it ({show_pressure(still_m, us)})"
                )
        else:
            most_m3_s = _most_m3_s(garden, test, still_m)
            if exp(value - 3.0 * error) > most_m3_s:
                raise InputError(
                    f"{test.shown}: volume and time: found {show_flow(exp(value), us)}, but "
                    f"{_through(test)} pass at most {show_flow(most_m3_s, us)} even with "
                    f"all of the static pressure ({show_pressure(still_m, us)}) behind them"
                )


def _highest_head_m(garden: Garden, measurements: Sequence[Measurement]) -> float:
    """Largest static head that the file and the gauges at the still tap allow."""
    static = unknowns_of(garden, jets=False)[0]
    heads_m = [static.value(3.0 * static.prior_error)]
    for test in measurements:
        if isinstance(test, Gauge) and not test.zones:
            heads_m.append(test.head_m + 3.0 * test.error_m)
    return max(heads_m)


def _most_m3_s(garden: Garden, test: Measurement, still_m: float) -> float:
    """Flow of the holes (or of the main for an open tap) at the full head without any loss."""
    if isinstance(test, Bucket) and test.zone is None:
        return pi / 4.0 * garden.main.bore_m**2 * sqrt(2.0 * GRAVITY_M_S2 * still_m)
    most_m3_s = 0.0
    for name in {test.zone} if isinstance(test, Cups | Bucket) and test.zone else test.zones:
        zone = garden.zone(name)
        for number, row in enumerate(zone.rows, start=1):
            if isinstance(test, Cups | Bucket) and test.row not in (None, number):
                continue
            flows = [
                _ideal_m3_s(hole, still_m)
                for hole in drilled_holes(row, zone.rise_m)
                if not hole.plugged
                and (
                    not isinstance(test, Cups)
                    or (hole.kind == "hole" and hole.number in test.holes)
                )
            ]
            most_m3_s += sum(flows)
    if isinstance(test, Cups):
        most_m3_s /= len(test.holes)
    return most_m3_s


def _ideal_m3_s(hole: DrilledHole, head_m: float) -> float:
    bore_m = hole.bore_m * (1.0 + 3.0 * BORE_ERROR)
    return pi / 4.0 * bore_m**2 * sqrt(2.0 * GRAVITY_M_S2 * max(0.0, head_m - hole.z_m))


def _through(test: Measurement) -> str:
    if isinstance(test, Bucket) and test.zone is None:
        return "the bore of the main would"
    return "its holes" if isinstance(test, Cups) else "the holes"


def _refuse_absent(zone: Zone, row: int, holes: Sequence[int], shown: str) -> None:
    if not 1 <= row <= len(zone.rows):
        raise InputError(f'{shown}: row: found {row}; zone "{zone.name}" has {len(zone.rows)}')
    drilled = {
        hole.number: hole
        for hole in drilled_holes(zone.rows[row - 1], zone.rise_m)
        if hole.kind == "hole"
    }
    for number in holes:
        if number not in drilled:
            raise InputError(f"{shown}: holes: found {number}; the row has {len(drilled)}, from 1")
        if drilled[number].plugged:
            raise InputError(
                f"{shown}: holes: hole {number} is plugged by the garden file, yet it gave water"
            )
