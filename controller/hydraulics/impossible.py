"""Tests that cannot be true: of what is not there, or more than the pressure could do."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, pi, sqrt

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.show import show_flow, show_length, show_pressure
from controller.hydraulics.foretold import height_of_m, reading_error, said
from controller.hydraulics.measured import Bucket, Count, Cups, Gauge, Measurement, Stream
from controller.hydraulics.rowshape import DrilledHole, drilled_holes
from controller.hydraulics.unknowns import BORE_ERROR, open_holes, unknowns_of
from controller.units import GRAVITY_M_S2


def refuse_impossible(garden: Garden, measurements: Sequence[Measurement]) -> None:
    """InputError for a test of what is not there, or that no water at this pressure could show."""
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
    """The static head at the most that the file and the gauges at the still tap allow."""
    static = unknowns_of(garden, jets=False)[0]
    heads_m = [static.value(3.0 * static.prior_error)]
    for test in measurements:
        if isinstance(test, Gauge) and not test.zones:
            heads_m.append(test.head_m + 3.0 * test.error_m)
    return max(heads_m)


def _most_m3_s(garden: Garden, test: Measurement, still_m: float) -> float:
    """What the holes (or the main, of an open tap) pass at all of the head without any loss."""
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
