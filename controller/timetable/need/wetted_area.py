"""The ground that a drilled row wets; intake, evaporation and roots all use this geometry.

Each hole, or group of holes, wets a disc. Its diameter is how far the soil spreads water. Discs
that meet join, and close holes make a strip. A stream to one side moves the strip and makes it no
wider. Holes through both walls make two strips, as far apart as their streams land.
"""

from __future__ import annotations

from math import asin, pi, sqrt

from controller.garden.model import Zone
from controller.garden.plumbing import Face, Row, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.jets import DETACHED_VELOCITY_COEFFICIENT, reach_m
from crops.catalogue import Soil


def strip_width_m(row: Row, soil: Soil) -> float:
    """Diameter of the ground that one hole wets.

    Parameters
    ----------
    row : Row
        Its own `wetted_width_m` comes first, and its `ground_width_m` is the limit.
    soil : Soil
        Its `wetted_width_m` counts for a row without its own.

    Returns
    -------
    float
        Above 0. [m]

    Source
    ------
    The crop and soil tables (`crops/`) name the source of each soil's width.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # a row and a soil, as far as they count here
    >>> row = Example(wetted_width_m=None, ground_width_m=0.3)
    >>> strip_width_m(row, Example(wetted_width_m=0.4))
    0.3
    """
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
        Distance from the pipe at which the streams land. It counts for a row drilled through both
        walls, which wets two strips. [m]

    Returns
    -------
    float
        Above 0, and not more than the row's ground. [m2]

    Source
    ------
    Geometry: equal discs along a line; the discs of a group are one body. Two choices are ours:
    the disc of a hole is as wide as the soil's strip, and two strips that overlap count with both
    widths less the overlap. The second is exact for strips and nearly exact for discs.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # a row and a soil, as far as they count here
    >>> drilling = Example(group=1, group_gap_m=0.0, every_m=0.5, walls=Walls.ONE)
    >>> row = Example(wetted_width_m=0.3, ground_width_m=0.5, length_m=4.0, ground_m2=2.0,
    ...               drilling=drilling)
    >>> round(wet_ground_m2(row, None), 4)  # eight discs, 30 cm wide, 50 cm apart
    0.5655
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
    """The ground that all rows of a zone wet, without the plugged ones.

    Parameters
    ----------
    zone : Zone
        Its rows.
    soil : Soil
        Its `wetted_width_m` counts for rows without their own.
    lines : Lines
        The network; how far the streams land follows from its heads.

    Returns
    -------
    float
        0 or more, at most the ground of the zone. [m2]

    Source
    ------
    The sum of `wet_ground_m2`.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # a zone whose only row is plugged
    >>> zone_wet_ground_m2(Example(rows=(Example(plugged=True),)), None, None)
    0
    """
    return sum(
        wet_ground_m2(row, soil, reach_m=side_reach_m(zone, number, lines))
        for number, row in enumerate(zone.rows)
        if not row.plugged
    )


def disc_of_a_line_m2(*, diameter_m: float, every_m: float) -> float:
    """Area for each disc in the union of equal discs along a line.

    Parameters
    ----------
    diameter_m : float
        Diameter of each, above 0. [m]
    every_m : float
        From centre to centre, above 0. [m]

    Returns
    -------
    float
        Above 0, and at most the area of one disc. [m2]

    Source
    ------
    Geometry: the chord 2 sqrt(r^2 - x^2), integrated from -every/2 to every/2.

    Examples
    --------
    >>> round(disc_of_a_line_m2(diameter_m=0.3, every_m=0.5), 5)
    0.07069
    >>> round(disc_of_a_line_m2(diameter_m=0.3, every_m=0.1), 5)
    0.02943
    """
    radius, half = diameter_m / 2.0, every_m / 2.0
    if half >= radius:
        return pi * radius**2
    return 2.0 * (half * sqrt(radius**2 - half**2) + radius**2 * asin(half / radius))


def side_reach_m(zone: Zone, row_number: int, lines: Lines) -> float:
    """Distance from the pipe at which level streams land, of holes on one side or in both walls.

    Parameters
    ----------
    zone : Zone
        It runs alone.
    row_number : int
        From 0.
    lines : Lines
        The network; the mean head of the row's holes counts.

    Returns
    -------
    float
        0 for holes that face up or down, and for a row without water. [m]

    Source
    ------
    hydraulics/physics/jets.reach_m, with the fall from the middle of the pipe to its underside.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # a row whose holes face down
    >>> row = Example(drilling=Example(face=Face.DOWN, walls=Walls.ONE))
    >>> side_reach_m(Example(rows=(row,)), 0, None)
    0.0
    """
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
