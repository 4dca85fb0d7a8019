"""The ground that a drilled row wets: one geometry for soaking in, for evaporation and for roots.

Each hole, or group of holes, wets a disc as wide as its soil spreads water; discs that meet join,
and close holes make a strip. A stream to one side shifts the strip and does not widen it; holes
through both walls make two strips, as far apart as their streams land.
"""

from __future__ import annotations

from math import asin, pi, sqrt

from controller.garden.model import Zone
from controller.garden.plumbing import Face, Row, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.jets import DETACHED_VELOCITY_COEFFICIENT, reach_m
from crops.catalogue import Soil


def strip_width_m(row: Row, soil: Soil) -> float:
    """How wide water spreads from a hole: as the gardener says, else as the soil's table does."""
    width = soil.wetted_width_m if row.wetted_width_m is None else row.wetted_width_m
    return min(width, row.ground_width_m)


def wet_ground_m2(row: Row, soil: Soil, *, reach_m: float = 0.0) -> float:
    """The ground that a row wets: discs at its holes, joined where they meet.

    Parameters
    ----------
    row : Row
        A row in use.
    soil : Soil
        Its `wetted_width_m` is a disc's diameter, unless the row says its own.
    reach_m : float
        How far from the pipe the streams land: it parts the two strips of a row drilled through
        both walls. [m]

    Returns
    -------
    float
        Not more than the row's ground. [m2]

    Raises
    ------
    OutOfRange
        Never: a garden's rows have been checked.

    Source
    ------
    Geometry: equal discs along a line, of a group taken as one body. That a hole keeps a disc wet
    as wide as its soil's strip is our choice; that two strips nearer than their width join to one
    of both widths less what they share is exact for strips and near it for discs.
    """
    width, drilling = strip_width_m(row, soil), row.drilling
    # A group's discs run together: half a disc at either end, a strip between.
    group_m = min((drilling.group - 1) * drilling.group_gap_m, drilling.every_m)
    station = width * group_m
    if group_m < drilling.every_m:
        station += disc_of_a_line_m2(diameter_m=width, every_m=drilling.every_m - group_m)
    if drilling.walls is Walls.BOTH:
        station *= 1.0 + min(2.0 * reach_m / width, 1.0)
    return min(row.length_m * station / drilling.every_m, row.ground_m2)


def zone_wet_ground_m2(zone: Zone, soil: Soil, lines: Lines) -> float:
    """The ground that all rows of a zone in use wet. [m2]"""
    return sum(
        wet_ground_m2(row, soil, reach_m=side_reach_m(zone, number, lines))
        for number, row in enumerate(zone.rows)
        if not row.plugged
    )


def disc_of_a_line_m2(*, diameter_m: float, every_m: float) -> float:
    """The share of one disc in the union of equal discs along a line.

    Parameters
    ----------
    diameter_m : float
        Diameter of each. [m]
    every_m : float
        From centre to centre. [m]

    Returns
    -------
    float
        Area of the union for each disc. [m2]

    Raises
    ------
    OutOfRange
        Never: any two positive lengths do.

    Source
    ------
    Geometry: the chord 2 sqrt(r^2 - x^2), integrated from -every/2 to every/2.
    """
    radius, half = diameter_m / 2.0, every_m / 2.0
    if half >= radius:
        return pi * radius**2
    return 2.0 * (half * sqrt(radius**2 - half**2) + radius**2 * asin(half / radius))


def side_reach_m(zone: Zone, row_number: int, lines: Lines) -> float:
    """How far level streams land: of holes to one side or through both walls; else 0. [m]"""
    row = zone.rows[row_number]
    if row.drilling.face is not Face.SIDE and row.drilling.walls is not Walls.BOTH:
        return 0.0
    flow = lines.open_set(frozenset((zone.name,))).zones[zone.name].rows[row_number]
    over = (hole.head_m - hole.z_m for hole in flow.holes if not hole.plugged)
    heads = [head for head in over if head > 0.0]
    if not heads:
        return 0.0
    return reach_m(
        head_m=sum(heads) / len(heads),
        drop_m=row.pipe.outside_m / 2.0,
        velocity_coefficient=DETACHED_VELOCITY_COEFFICIENT,
    )
