"""What a drilled row wets: the strip its water soaks into, and the ground that is wet between days.

Water soaks in along the whole row, for a pool spreads; but between waterings the sun dries only
what the holes keep wet, which for groups of holes at big plants is a disc at each group.
"""

from __future__ import annotations

from math import asin, pi, sqrt

from controller.garden.model import Face, Row, Walls, Zone
from controller.hydraulics.jets import DETACHED_VELOCITY_COEFFICIENT, reach_m
from controller.hydraulics.lines import Lines
from crops.catalogue import Soil


def strip_width_m(row: Row, soil: Soil) -> float:
    """Width of the strip: as the gardener says, else the soil's, else all of the row's ground.

    A row drilled through both walls wets its whole ground (common practice, no source).
    """
    if row.wetted_width_m is not None:
        width = row.wetted_width_m
    elif row.drilling.walls is Walls.BOTH:
        width = row.ground_width_m
    else:
        width = soil.wetted_width_m
    return min(width, row.ground_width_m)


def strip_m2(zone: Zone, soil: Soil) -> float:
    """The strip along all rows of a zone that are in use. [m2]"""
    return sum(row.length_m * strip_width_m(row, soil) for row in zone.rows if not row.plugged)


def wet_ground_m2(row: Row, soil: Soil, *, reach_m: float = 0.0) -> float:
    """The ground of a row that its holes keep wet: discs at its stations, joined where they meet.

    Parameters
    ----------
    row : Row
        A row in use.
    soil : Soil
        Its `wetted_width_m` is a disc's diameter, unless the row says its own.
    reach_m : float
        How far streams to one side land: the strip reaches from the pipe to there. [m]

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
    as wide as its soil's strip is our choice.
    """
    width, drilling = strip_width_m(row, soil), row.drilling
    along = row.wetted_width_m or soil.wetted_width_m
    if drilling.walls is Walls.BOTH:
        return row.length_m * width * min(1.0, along / drilling.every_m)
    width = min(width, along)
    # A group's discs run together: half a disc at either end, a strip between.
    group_m = min((drilling.group - 1) * drilling.group_gap_m, drilling.every_m)
    station = width * group_m
    if group_m < drilling.every_m:
        station += disc_of_a_line_m2(diameter_m=width, every_m=drilling.every_m - group_m)
    station += min(width + group_m, drilling.every_m) * reach_m
    return min(row.length_m * station / drilling.every_m, row.ground_m2)


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
    """How far the streams of a row that looks to one side land; 0 for any other row. [m]"""
    row = zone.rows[row_number]
    if row.drilling.face is not Face.SIDE or row.drilling.walls is Walls.BOTH:
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
