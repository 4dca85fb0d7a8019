"""The hole whose stream a gardener looks at, and how a pipe lies while it is turned to look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from controller.errors import InputError
from controller.garden.model import Face, Row, Walls, Zone
from controller.hydraulics.rowshape import DrilledHole, height_m

Holes = Sequence[Sequence[DrilledHole]]
# A mouth this far above the pipe's middle line looks up. [m]
_LOOKS_UP_M = 1e-4


def seen_hole(
    zone: Zone, holes_as_laid: Holes, *, turned: bool, up: bool
) -> tuple[int, int, Holes]:
    """Row and place of the hole that was looked at, and the holes as the pipe lay meanwhile."""
    with_holes = [any(map(is_open, row)) for row in holes_as_laid]
    if True not in with_holes:
        raise InputError(f'zone "{zone.name}": a stream was seen, but all its holes are plugged')
    number = with_holes.index(True)
    row = zone.rows[number]
    holes = list(holes_as_laid)
    if turned:
        holes[number] = _turned(holes[number], row, zone.rise_m, Face.UP if up else Face.SIDE)
    for place, hole in enumerate(holes[number]):
        over_axis_m = hole.z_m - zone.rise_m - height_m(row, hole.x_m)
        looks_up, looks_level = over_axis_m > _LOOKS_UP_M, abs(over_axis_m) <= _LOOKS_UP_M
        if is_open(hole) and (looks_up if up else looks_level):
            return number, place, holes
    asked = "up" if up else "level to the side"
    raise InputError(
        f'zone "{zone.name}", opening: a stream is read from a hole that looks {asked}, and '
        f"those of its row {number + 1} look {row.drilling.face}: turn the pipe to look, "
        "turn it back, and add turned = true to the opening"
    )


def is_open(hole: DrilledHole) -> bool:
    """Whether a hole of the pattern, no drain hole, passes water."""
    return hole.kind == "hole" and not hole.plugged


def _turned(
    holes: Sequence[DrilledHole], row: Row, rise_m: float, now: Face
) -> tuple[DrilledHole, ...]:
    """The holes of a row whose pipe is turned about itself until they look up or level."""
    was, radius_m = row.drilling.face, row.pipe.outside_m / 2.0
    if was is now:
        return tuple(holes)
    turned = []
    for hole in holes:
        axis_m = rise_m + height_m(row, hole.x_m)
        offset_m = 0.0  # level, and so do drain holes come to lie when the others turn from there
        if now is Face.UP and was is Face.DOWN:
            offset_m = axis_m - hole.z_m
        elif now is Face.UP and hole.kind == "hole":
            far_wall = row.drilling.walls is Walls.BOTH and hole.number % 2 == 0
            offset_m = -radius_m if far_wall else radius_m
        turned.append(replace(hole, z_m=axis_m + offset_m))
    return tuple(turned)
