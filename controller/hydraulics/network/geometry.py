"""A row's holes from its drilling: the place, height and kind of each, and whether it is plugged.

Heights of a row are those of the pipe's middle line. The mouth of a hole that faces down lies half
an outside diameter below it, that of a hole that faces up half above; a hole to the side lies level
with it. Drilling through both walls gives a pair of holes, an outside diameter apart in height when
they face up and down, level when they face sideways.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import acos, floor, inf, pi, sqrt
from typing import Literal

from controller.errors import InputError, require_range
from controller.garden.plumbing import Drilling, Face, Row, Walls
from controller.hydraulics.network.march import Mouth, Shape, shape_of
from controller.hydraulics.physics.orifice import (
    HoleLaw,
    Water,
    discharge_coefficient,
    hole_law,
    momentum_sigma,
    passes,
    times,
)

Kind = Literal["hole", "drain"]
# A hole is at a place if it lies within a hundredth of a millimetre of it. [m]
_SAME_PLACE_M = 1e-5
# Slices of a row for the water that drains from it: 0.5 % of the length each.
_SLICES = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class DrilledHole:
    """One hole as drilled. Holes and drain holes are each numbered from 1 at the inlet."""

    number: int
    kind: Kind
    x_m: float
    z_m: float  # of the mouth, against the tap
    bore_m: float
    discharge_coefficient: float
    plugged: bool
    wall_m: float
    floor_m: float  # of the pipe there, its outside, against the tap
    flow_factor: float = 1.0  # what field tests found, in the discharge coefficient already


def law_of(hole: DrilledHole, water: Water) -> HoleLaw:
    """The hole's law in this water, with the effects counted.

    Examples
    --------
    The coefficient of fast water, from wall over bore:

    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> law = law_of(drilled_holes(row, 0.0)[0], Water(viscosity_m2_s=1.139e-6))
    >>> round(1.0 / law[1], 2)
    0.8
    """
    return _law(hole.bore_m, hole.discharge_coefficient, hole.flow_factor, hole.wall_m, water)


def coefficient_at(hole: DrilledHole, water: Water, over_m: float) -> float:
    """The hole's discharge coefficient at a driving head, with the correction of field tests in it.

    Parameters
    ----------
    hole : DrilledHole
        The hole.
    water : Water
        Viscosity, air and the effects that are counted.
    over_m : float
        Head over the mouth. [m]

    Returns
    -------
    float
        Coefficient; that of fast water where the head is not above 0. [-]

    Raises
    ------
    OutOfRange
        If bore or coefficient is outside its range.

    Source
    ------
    orifice.py.

    Examples
    --------
    Slow water has a smaller coefficient; 0.75 for this hole under 5 cm:

    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> water = Water(viscosity_m2_s=1.139e-6)
    >>> round(coefficient_at(drilled_holes(row, 0.0)[0], water, 0.05), 2)
    0.75
    """
    if over_m <= 0.0:
        return hole.discharge_coefficient
    law = law_of(hole, water)
    return hole.flow_factor * passes(law, over_m)[0] / (law[0] * sqrt(over_m))


@lru_cache(maxsize=4096)
def _law(
    bore_m: float, discharge_coefficient: float, factor: float, wall_m: float, water: Water
) -> HoleLaw:
    effects = water.effects
    sigma = effects.momentum
    # A wide bore and a worn edge pass more at any head, even where the water cavitates.
    law = hole_law(
        bore_m=bore_m,
        discharge_coefficient=discharge_coefficient / factor,
        wall_m=wall_m if effects.varying else None,
        viscosity_m2_s=water.viscosity_m2_s,
        air_m=water.air_m,
        sigma=momentum_sigma(wall_m=wall_m, bore_m=bore_m) if sigma is None else sigma,
    )
    return times(factor, law)


def mouths_of(holes: Sequence[DrilledHole], water: Water) -> list[Mouth]:
    """A row's open holes as a march wants them."""
    return [
        Mouth(
            x_m=hole.x_m,
            z_m=hole.z_m,
            floor_m=hole.floor_m,
            law=law_of(hole, water),
            counted=hole.kind == "hole",
        )
        for hole in holes
        if not hole.plugged
    ]


def row_shape(row: Row, holes: Sequence[DrilledHole], water: Water) -> tuple[Shape, float] | None:
    """Shape of a row and the height of its lowest open hole [m]; None for a row without any.

    Examples
    --------
    Sixteen holes that face down, half an outside diameter (13.3 mm) below the middle line:

    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> shape, lowest_m = row_shape(row, drilled_holes(row, 0.0), Water(viscosity_m2_s=1.139e-6))
    >>> len(shape.steps), round(lowest_m, 4)
    (16, -0.0133)
    """
    return shape_of(
        row.pipe.bore_m,
        row.pipe.roughness_m,
        mouths_of(holes, water),
        vented=water.effects.vented,
    )


def drilled_holes(row: Row, rise_m: float) -> tuple[DrilledHole, ...]:
    """All holes of a row from inlet to far end, drain holes included.

    Parameters
    ----------
    row : Row
        The row; its heights are against the zone's outlet.
    rise_m : float
        Height of the zone's outlet against the tap. [m]

    Returns
    -------
    tuple of DrilledHole
        In the order of their distance from the inlet, plugged ones included.

    Raises
    ------
    InputError
        If the drilling has no spacing, or a plugged hole's number is beyond the last hole.
    OutOfRange
        If a bore or wall is out of range.

    Notes
    -----
    A hole of a group that would fall off either end of the pipe is not drilled. From a plug along
    the pipe (`plugged_beyond_m`) on, nothing flows.

    Source
    ------
    Geometry of the drilling as garden/model.py words it.
    """
    drilling, radius_m = row.drilling, row.pipe.outside_m / 2.0
    first_offset_m = {Face.DOWN: -radius_m, Face.UP: radius_m, Face.SIDE: 0.0}[drilling.face]
    offsets_m = [first_offset_m]
    if drilling.walls is Walls.BOTH:
        offsets_m.append(-first_offset_m)
    places: list[tuple[float, float, float, Kind]] = [
        (x_m, offset_m, drilling.bore_m, "hole")
        for x_m in hole_places_m(drilling, row.length_m)
        for offset_m in offsets_m
    ]
    if drilling.drain_bore_m is not None and drilling.drain_every_m is not None:
        every_m = drilling.drain_every_m
        places += [
            (x_m, -radius_m, drilling.drain_bore_m, "drain")
            for x_m in _stations_m(every_m / 2.0, every_m, row.length_m)
        ]
        places.sort(key=lambda place: place[0])
    bores_m: dict[Kind, float] = {kind: bore_m for _, _, bore_m, kind in places}
    coefficients = {kind: _coefficient(row, bore_m, kind) for kind, bore_m in bores_m.items()}
    end_m = _open_length_m(row)
    count = {"hole": 0, "drain": 0}
    holes: list[DrilledHole] = []
    for x_m, offset_m, bore_m, kind in places:
        count[kind] += 1
        number = count[kind]
        axis_m = rise_m + height_m(row, x_m)
        holes.append(
            DrilledHole(
                number=number,
                kind=kind,
                x_m=x_m,
                z_m=axis_m + offset_m,
                bore_m=bore_m,
                discharge_coefficient=coefficients[kind],
                wall_m=row.pipe.wall_m,
                floor_m=axis_m - radius_m,
                plugged=row.plugged
                or x_m > end_m + _SAME_PLACE_M
                or (kind == "hole" and number in row.plugged_holes),
            )
        )
    strange = [number for number in row.plugged_holes if not 1 <= number <= count["hole"]]
    if strange:
        raise InputError(
            f"plugged hole {strange[0]}: the row has {count['hole']} holes, "
            "numbered from 1 at the inlet"
        )
    return tuple(holes)


def _coefficient(row: Row, bore_m: float, kind: Kind) -> float:
    """The coefficient that the garden file gives, else by wall and bore."""
    given = row.drilling.discharge_coefficient
    if given is not None and kind == "hole":
        return given
    return discharge_coefficient(wall_m=row.pipe.wall_m, bore_m=bore_m)


def hole_places_m(drilling: Drilling, length_m: float) -> list[float]:
    """Distances of the drilled places from the inlet, each group around its station.

    Parameters
    ----------
    drilling : Drilling
        The pattern, without drain holes.
    length_m : float
        Length of the row. [m]

    Returns
    -------
    list of float
        Distances, nearest first; a hole that would fall off the pipe is left out. [m]

    Raises
    ------
    InputError
        If the distance between stations is not above 0.

    Source
    ------
    Geometry of the drilling as garden/model.py words it.
    """
    half_m = (drilling.group - 1) * drilling.group_gap_m / 2.0
    stations_m = _stations_m(drilling.first_m, drilling.every_m, length_m)
    return sorted(
        min(max(x_m, 0.0), length_m)
        for station_m in stations_m
        for x_m in (station_m - half_m + i * drilling.group_gap_m for i in range(drilling.group))
        if -_SAME_PLACE_M <= x_m <= length_m + _SAME_PLACE_M
    )


def height_m(row: Row, x_m: float) -> float:
    """Height of the pipe's middle line against the zone's outlet.

    Parameters
    ----------
    row : Row
        The row, measured at inlet, middle and far end.
    x_m : float
        Distance from the inlet, 0 to the row's length. [m]

    Returns
    -------
    float
        Height; the middle's sag or hump is spread as a parabola. [m]

    Raises
    ------
    OutOfRange
        If the place is not on the row.

    Source
    ------
    Our choice: a pipe that sags between two fixed ends hangs close to a parabola.

    Examples
    --------
    A row that sags by 5 cm, in its middle:

    >>> from dataclasses import replace
    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> height_m(replace(row, middle_height_m=-0.05), 1.2192)
    -0.05
    """
    share = require_range("x_m", x_m, 0.0, row.length_m + _SAME_PLACE_M) / row.length_m
    straight_m = row.inlet_height_m + (row.far_height_m - row.inlet_height_m) * share
    return straight_m + row.middle_height_m * 4.0 * share * (1.0 - share)


def volume_m3(row: Row) -> float:
    """Water in the row's pipe when full.

    Parameters
    ----------
    row : Row
        The row.

    Returns
    -------
    float
        Volume up to the far end, or to a plug; 0 for a row out of use. [m3]

    Source
    ------
    A cylinder of the pipe's inside diameter.

    Examples
    --------
    Eight feet of 3/4 in pipe, in litres; pi/4 x (0.204 dm)2 x 24.4 dm:

    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> round(1000.0 * volume_m3(row), 2)
    0.8
    """
    return 0.0 if row.plugged else pi / 4.0 * row.pipe.bore_m**2 * _open_length_m(row)


def drained_m3(row: Row) -> float:
    """Water that drains from the row after its valve has closed.

    Parameters
    ----------
    row : Row
        The row.

    Returns
    -------
    float
        Volume that leaves through the open holes; the next pulse must fill it again. [m3]

    Raises
    ------
    InputError
        As `drilled_holes`.

    Notes
    -----
    The pipe is cut into slices. Each keeps the water below the lowest level it can fall to: over
    all open holes, the higher of the hole's mouth and the highest bottom of the pipe on the way.
    So a level row with holes down (or drain holes) empties; with holes to the side it keeps half,
    with holes up it keeps all. A tilted or sagging row keeps the water in its hollows. Air is
    assumed to find a way in, and drops held by surface tension are left out.

    Source
    ------
    Communicating vessels; common practice, no source.

    Examples
    --------
    A level row with holes down empties, one with holes up keeps all; in litres:

    >>> from dataclasses import replace
    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> round(1000.0 * drained_m3(row), 2)
    0.8
    >>> drained_m3(replace(row, drilling=replace(drilling, face=Face.UP)))
    0.0
    """
    outlets = sorted((hole.x_m, hole.z_m) for hole in drilled_holes(row, 0.0) if not hole.plugged)
    if not outlets:
        return 0.0
    end_m, radius_m = _open_length_m(row), row.pipe.bore_m / 2.0
    slice_m = end_m / _SLICES
    middles_m = [(i + 0.5) * slice_m for i in range(_SLICES)]
    axes_m = [height_m(row, x_m) for x_m in middles_m]
    down = _spill_levels(middles_m, axes_m, outlets, radius_m)
    mirrored = [(end_m - x_m, z_m) for x_m, z_m in reversed(outlets)]
    up = _spill_levels(middles_m, axes_m[::-1], mirrored, radius_m)[::-1]
    left = sum(
        _filled_share((min(a, b) - axis_m) / radius_m)
        for a, b, axis_m in zip(down, up, axes_m, strict=True)
    )
    return volume_m3(row) * (1.0 - left / _SLICES)


def _open_length_m(row: Row) -> float:
    """Length of the row that water can reach, to its far end or to a plug. [m]"""
    if row.plugged_beyond_m is None:
        return row.length_m
    return min(row.length_m, max(0.0, row.plugged_beyond_m))


def _stations_m(first_m: float, every_m: float, length_m: float) -> list[float]:
    """Places from `first_m` on, `every_m` apart, up to the end of the pipe."""
    if every_m <= 0.0:
        raise InputError("holes need a distance between them above 0")
    if first_m > length_m + _SAME_PLACE_M:
        return []
    count = floor((length_m - first_m + _SAME_PLACE_M) / every_m) + 1
    return [first_m + i * every_m for i in range(count)]


def _spill_levels(
    middles_m: Sequence[float],
    axes_m: Sequence[float],
    outlets: Sequence[tuple[float, float]],
    radius_m: float,
) -> list[float]:
    """Level to which each slice can fall through holes at it or nearer the inlet."""
    levels: list[float] = []
    level_m, next_outlet = inf, 0
    half_m = (middles_m[1] - middles_m[0]) / 2.0 + _SAME_PLACE_M
    for x_m, axis_m in zip(middles_m, axes_m, strict=True):
        while next_outlet < len(outlets) and outlets[next_outlet][0] <= x_m + half_m:
            level_m = min(level_m, outlets[next_outlet][1])
            next_outlet += 1
        level_m = max(level_m, axis_m - radius_m)
        levels.append(level_m)
    return levels


def _filled_share(level: float) -> float:
    """Part of a circle of radius 1 below a level measured from its centre."""
    if level <= -1.0:
        return 0.0
    if level >= 1.0:
        return 1.0
    return (acos(-level) + level * sqrt(1.0 - level * level)) / pi
