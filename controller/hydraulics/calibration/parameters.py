"""The unknowns of a garden's lines before any field test, each with its prior error.

An unknown is the natural logarithm of a factor on the garden file's value; 0 is that value itself.
Only a zone's level is a difference of height.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from math import exp, hypot, log, sqrt
from typing import Literal

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Supply, SupplyKind
from controller.hydraulics.calibration.hole_law_error import DETACHED_BELOW, MAY_BOIL_M
from controller.hydraulics.calibration.measurements import Bucket, Measurement, Stream
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import drilled_holes
from controller.hydraulics.network.main_tree import MainTree
from controller.hydraulics.network.supplies import at_level, planning_curve, with_readings
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.hydraulics.network.valve_opening import Alone, unknown_k
from controller.hydraulics.physics.orifice import Water, discharge_coefficient
from controller.hydraulics.physics.pipe import LAST_ANGLE_DEG, loss_k_at, viscosity_m2_s
from controller.units import HEAD_M_PER_PSI

Kind = Literal[
    "static head",
    "test flow",
    "bore",
    "exponent",
    "discharge",
    "open holes",
    "level",
    "take-off",
    "valve",
]

# Errors of what a garden file says, one standard deviation, of the logarithm. All our choice.
# Holes, by wall over bore: 0.78 +- 0.07 of a short tube that runs full, 0.68 +- 0.07 between, 0.62
# +- 0.03 of a thin plate; a coefficient the gardener gives is one somebody measured.
RUNS_FULL_ERROR, BETWEEN_ERROR, THIN_ERROR, GIVEN_ERROR = 0.09, 0.10, 0.05, 0.05
BORE_ERROR = 0.02  # the drill against its name
# A handle read to three degrees; a loss coefficient from some table: a decade; not known: two.
ANGLE_ERROR, GIVEN_K_ERROR, UNKNOWN_K_ERROR = 0.7, 2.3, 4.6
# The flow test: a bucket's marks and a stopwatch; the gauge: a psi, of a low head at most 5 %.
TEST_FLOW_ERROR, HEAD_ERROR = 0.045, 0.05
ALONE_FLOW_ERROR = 0.05
# Under some 12 m of head and more, a hole gives between 0.61 (its jet loose) and what is computed.
BOILING_ERROR = 0.08
UNTESTED_ERROR = 0.6  # a regulator's fall, from none to twice the assumed one
# Drift of a supply: it grows with the root of the years since the flow test; the last is for a
# garden file without a date (some four years). Exponent: 1.85 of smooth pipe, 2 of fittings.
DRIFT_A_YEAR, UNDATED_DRIFT, EXPONENT_ERROR = 0.05, 0.15, 0.04
# A take-off's loss, for which handbooks differ by a factor of two and more; the share of holes that
# run; a zone's height over the tap, measured by tape and level across a garden, less for a low
# barrel.
TAKE_OFF_ERROR, OPEN_HOLES_ERROR, LEVEL_ERROR_M = 0.5, 0.04, 0.02
# Width of a prior that the tests have refuted: a supply that changed, plugged holes, a handle that
# was moved or misread.
RELEASED: Mapping[Kind, float] = {"test flow": 0.6, "open holes": 0.25, "valve": 3.0}
# The tests say nothing of an unknown whose error fell by less than this share.
NOTHING_LEARNT = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """One unknown; `prior_value` is the garden file's value (a factor, a loss, a head, a flow)."""

    kind: Kind
    zone: str | None
    prior_value: float
    prior_error: float

    def value(self, log_factor: float) -> float:
        """Value of the unknown.

        Parameters
        ----------
        log_factor : float
            Natural logarithm of the factor on the file's value; for a level, metres over it. [-, m]

        Returns
        -------
        float
            The file's value times the factor, or plus the metres. [-, m or m3/s, by its kind]

        Source
        ------
        The definition above.
        """
        if self.kind == "level":
            return self.prior_value + log_factor
        return self.prior_value * exp(log_factor)


def unknowns_of(
    garden: Garden, today: date | None = None, *, jets: bool = True
) -> tuple[Unknown, ...]:
    """The unknowns of a garden: the supply, the drill, each zone's holes, level and valve.

    `today` gives the age of the flow test in the garden file. Without `jets` the errors leave out
    the uncertainty of jets under high pressure, for which each zone has to be solved.
    """
    supply = garden.supply
    gauge = min(HEAD_M_PER_PSI / supply.static_head_m, HEAD_ERROR)
    if supply.kind is SupplyKind.BARREL:  # tests are done at any level of its fall
        low = (supply.falls_to_m or 0.0) / supply.static_head_m
        gauge = hypot(gauge, (1.0 - low) / (1.0 + low) / sqrt(3.0))
    still_m = supply.static_head_m
    if supply.pump is not None:  # the tank stands anywhere between the switch pressures
        low = supply.pump.on_head_m / supply.pump.off_head_m
        gauge = hypot(gauge, (1.0 - low) / (1.0 + low) / sqrt(3.0))
        still_m = supply.pump.shut_off_head_m
    flowing = (
        0.5 * HEAD_M_PER_PSI / (still_m - supply.test_head_m) if supply.test_head_m > 0.0 else 0.0
    )
    found = [
        Unknown(kind="static head", zone=None, prior_value=supply.static_head_m, prior_error=gauge),
        Unknown(
            kind="test flow",
            zone=None,
            prior_value=supply.test_flow_m3_s,
            prior_error=UNTESTED_ERROR
            if supply.test_assumed
            else hypot(TEST_FLOW_ERROR, min(flowing, 0.25), _drift(supply, today)),
        ),
        Unknown(kind="bore", zone=None, prior_value=1.0, prior_error=BORE_ERROR),
        Unknown(
            kind="exponent", zone=None, prior_value=supply.exponent, prior_error=EXPONENT_ERROR
        ),
    ]
    boiling = _boiling_errors(garden) if jets else {}
    for zone in garden.zones:
        # The mean of the zone's holes as drilled, including their scatter about the drill's bore.
        scatter = garden.watering.drilling_scatter / sqrt(max(open_holes(zone), 1))
        found.append(
            Unknown(
                kind="discharge",
                zone=zone.name,
                prior_value=1.0,
                prior_error=hypot(_discharge_error(zone), scatter, boiling.get(zone.name, 0.0)),
            )
        )
        found += [
            Unknown(
                kind="open holes", zone=zone.name, prior_value=1.0, prior_error=OPEN_HOLES_ERROR
            ),
            Unknown(
                kind="level",
                zone=zone.name,
                prior_value=0.0,
                prior_error=min(LEVEL_ERROR_M, 0.05 * supply.static_head_m),
            ),
        ]
    for zone in garden.zones:
        valve = _valve(garden, zone)
        if valve is not None:
            found.append(valve)
        elif zone.take_off_k > 0.0:
            found.append(
                Unknown(
                    kind="take-off",
                    zone=zone.name,
                    prior_value=zone.take_off_k,
                    prior_error=TAKE_OFF_ERROR,
                )
            )
    return tuple(found)


def released(unknown: Unknown) -> Unknown:
    """The unknown with the wide prior that it has once the tests have refuted it."""
    return replace(unknown, prior_error=RELEASED[unknown.kind])


def corrections_of(
    garden: Garden, unknowns: Sequence[Unknown], log_factors: Sequence[float]
) -> Corrections:
    """The corrections that these values make; a zone without values of its own gets none."""
    by_kind = {
        (unknown.kind, unknown.zone): unknown.value(x)
        for unknown, x in zip(unknowns, log_factors, strict=True)
    }
    bore = by_kind["bore", None]
    static_m = by_kind["static head", None]
    valve_k: dict[str, float] = {}
    for (kind, zone), value in by_kind.items():
        if zone is not None and kind == "valve":
            valve_k[zone] = garden.zone(zone).take_off_k + value
        elif zone is not None and kind == "take-off":
            valve_k[zone] = value
    return Corrections(
        discharge={
            # Plugged holes are spread over the row, because nobody knows which they are.
            zone: value * by_kind["open holes", zone] * bore**2
            for (kind, zone), value in by_kind.items()
            if kind == "discharge" and zone is not None
        },
        valve_k=valve_k,
        level_m={
            zone: value
            for (kind, zone), value in by_kind.items()
            if kind == "level" and zone is not None
        },
        supply=_curve(
            garden.supply,
            gauge=static_m / garden.supply.static_head_m,
            test_flow_m3_s=by_kind["test flow", None],
            exponent=min(by_kind["exponent", None], 3.0),
        ),
    )


def _curve(supply: Supply, *, gauge: float, test_flow_m3_s: float, exponent: float) -> SupplyCurve:
    """The supply's curve, with its still head multiplied by a factor."""
    tested = replace(supply, test_flow_m3_s=test_flow_m3_s, exponent=exponent)
    if supply.kind is SupplyKind.BARREL:
        # Only the level differs from day to day; the loss in pipes and tap stays.
        middle = planning_curve(tested)
        return at_level(middle, gauge * middle.static_head_m)
    # A gauge that reads high reads both heads of the flow test high.
    return planning_curve(
        with_readings(
            tested,
            static_head_m=gauge * supply.static_head_m,
            test_flow_m3_s=test_flow_m3_s,
        )
    )


def is_worth_handing_on(garden: Garden, unknown: Unknown, error: float) -> bool:
    """Whether a valve's loss may be used: from the file, or else once a test has found it."""
    told = not _is_untold(garden.zone(unknown.zone or ""))
    return told or error < (1.0 - NOTHING_LEARNT) * unknown.prior_error


def file_measurements(garden: Garden) -> list[Measurement]:
    """Flows and streams that the garden file gives for a zone open alone, as field tests."""
    found: list[Measurement] = []
    for zone in garden.zones:
        opening, alone = zone.opening, frozenset({zone.name})
        if opening.alone_flow_m3_s is not None:
            found.append(
                Bucket(
                    name=f'flow of "{zone.name}" alone in the garden file',
                    zones=alone,
                    zone=zone.name,
                    volume_m3=60.0 * opening.alone_flow_m3_s,
                    time_s=60.0,
                    error_share=ALONE_FLOW_ERROR,
                    time_error_s=0.0,
                )
            )
        elif opening.stream_m is not None or opening.reach_m is not None:
            row, hole = _first_open_hole(zone)
            found.append(
                Stream(
                    name=f'stream of "{zone.name}" alone in the garden file',
                    zones=alone,
                    zone=zone.name,
                    row=row,
                    holes=(hole,),
                    heights_m=() if opening.stream_m is None else (opening.stream_m,),
                    reaches_m=() if opening.reach_m is None else (opening.reach_m,),
                    drop_m=opening.reach_drop_m,
                )
            )
    return found


def open_holes(zone: Zone, row: int | None = None) -> int:
    """Holes of a zone that are not plugged, drain holes apart; or those of one row, from 1."""
    rows = zone.rows if row is None else zone.rows[row - 1 : row]
    return sum(
        hole.kind == "hole" and not hole.plugged
        for one in rows
        for hole in drilled_holes(one, zone.rise_m)
    )


def _discharge_error(zone: Zone) -> float:
    drilling, pipe = zone.rows[0].drilling, zone.rows[0].pipe
    if drilling.discharge_coefficient is not None:
        return GIVEN_ERROR
    ratio = pipe.wall_m / drilling.bore_m
    if ratio > 1.4:
        return RUNS_FULL_ERROR
    return BETWEEN_ERROR if ratio >= 0.7 else THIN_ERROR


def _boiling_errors(garden: Garden) -> dict[str, float]:
    """Error added for zones whose pressure, open alone, is so high that jets are uncertain."""
    if garden.supply.static_head_m < MAY_BOIL_M:
        return {}
    found: dict[str, float] = {}
    lines = Lines(garden)
    for zone in garden.zones:
        drilling, pipe = zone.rows[0].drilling, zone.rows[0].pipe
        coefficient = drilling.discharge_coefficient or discharge_coefficient(
            wall_m=pipe.wall_m, bore_m=drilling.bore_m
        )
        if coefficient < DETACHED_BELOW:
            continue
        # An unknown valve leaves little of that pressure.
        with suppress(InputError):
            over_m = lines.behind_valves_m(frozenset((zone.name,)))[zone.name] - zone.rise_m
            if over_m >= MAY_BOIL_M:
                found[zone.name] = BOILING_ERROR
    return found


def _is_untold(zone: Zone) -> bool:
    """Whether the garden file leaves the valve's loss unknown."""
    opening = zone.opening
    return opening.unknown or (opening.angle_deg is not None and opening.angle_deg > LAST_ANGLE_DEG)


def _first_open_hole(zone: Zone) -> tuple[int, int]:
    """Row and hole, from 1, where a stream of the garden file was seen."""
    for number, row in enumerate(zone.rows, start=1):
        for hole in drilled_holes(row, zone.rise_m):
            if hole.kind == "hole" and not hole.plugged:
                return number, hole.number
    raise InputError(f'zone "{zone.name}": a stream was seen, but all its holes are plugged')


def _valve(garden: Garden, zone: Zone) -> Unknown | None:
    """Loss of the zone's valve over that of the take-off; None for a valve that is full open."""
    opening = zone.opening
    if _is_untold(zone):
        loss_k, error = throttled_k(zone), UNKNOWN_K_ERROR
    elif opening.loss_k is not None:
        loss_k, error = opening.loss_k, GIVEN_K_ERROR
    elif opening.angle_deg is not None:
        loss_k, error = loss_k_at(opening.angle_deg), ANGLE_ERROR
    else:
        # Where more was seen than the rest of the file allows, the fit shares out the difference,
        # from a valve that is all but full open.
        loss_k, error = _least_k(zone), UNKNOWN_K_ERROR
        with suppress(InputError):
            loss_k = max(loss_k, _seen_k(garden, zone) - zone.take_off_k)
    if loss_k <= 0.0:
        return None
    return Unknown(kind="valve", zone=zone.name, prior_value=loss_k, prior_error=error)


def start_of(garden: Garden, unknown: Unknown) -> float:
    """Where a fit begins: at the prior, but partly shut for a valve that may be shut far.

    Parameters
    ----------
    garden : Garden
        The garden.
    unknown : Unknown
        The unknown.

    Returns
    -------
    float
        Natural logarithm of a factor on the prior. [-]

    Source
    ------
    Our choice: a valve wide open has no slope towards a small stream; a small stream has one
    towards the wide open valve.
    """
    if unknown.kind != "valve" or unknown.prior_error <= 1.0:
        return 0.0
    return max(0.0, log(throttled_k(garden.zone(unknown.zone or "")) / unknown.prior_value))


def throttled_k(zone: Zone) -> float:
    """Middle of the range of loss of a valve that nobody has measured.

    Parameters
    ----------
    zone : Zone
        The zone.

    Returns
    -------
    float
        Loss coefficient over that of the take-off. [-]

    Source
    ------
    `pipe.unknown_loss_k`, so that a fit begins where flows without field tests stand.
    """
    holes = [drilled_holes(row, zone.rise_m) for row in zone.rows]
    return unknown_k(zone, holes) or _least_k(zone)


def _drift(supply: Supply, today: date | None) -> float:
    """How far the supply may have drifted since the flow test in the garden file."""
    if supply.tested_on is None:
        return UNDATED_DRIFT
    years = 1.0 if today is None else max(0.0, (today - supply.tested_on).days / 365.0)
    return DRIFT_A_YEAR * sqrt(years)


def _least_k(zone: Zone) -> float:
    return 0.05 * max(zone.take_off_k, 1.0)


def _seen_k(garden: Garden, zone: Zone) -> float:
    return Alone(
        zone,
        [drilled_holes(row, zone.rise_m) for row in zone.rows],
        supply=planning_curve(garden.supply),
        main=MainTree.of(garden),
        water=Water(viscosity_m2_s=viscosity_m2_s(garden.supply.water_temp_c)),
    ).loss_k()
