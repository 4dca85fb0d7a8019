"""Limits to build by: the longest level row, how level is level enough, how slow to let it run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf

from controller.errors import InputError, require_range
from controller.garden.model import Drilling, Pipe, Row
from controller.hydraulics.assembly import solve_row
from controller.hydraulics.evenness import flow_variation, scattered_uniformity
from controller.hydraulics.hole import ALL_EFFECTS, Effects, Water
from controller.hydraulics.pipe import WATER_TEMP_C, viscosity_m2_s
from controller.hydraulics.rowshape import drilled_holes

# A thousand stations, or what a gardener can drill in a week. Our choice.
MOST_STATIONS = 1000
_NEAR_ENOUGH_M = 1e-4
_S_PER_H = 3600.0
_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)

Meets = Callable[[Sequence[float]], bool]


def longest_row_m(
    *,
    pipe: Pipe,
    drilling: Drilling,
    inlet_head_m: float,
    most_variation: float | None = None,
    least_uniformity: float | None = None,
    scatter_fraction: float = 0.0,
    water_temp_c: float = WATER_TEMP_C,
    effects: Effects = ALL_EFFECTS,
) -> float:
    """Longest level row that stays as even as wished at a head held at its inlet.

    Parameters
    ----------
    pipe : Pipe
        The row's pipe.
    drilling : Drilling
        Its holes; drain holes do not count for evenness.
    inlet_head_m : float
        Head at the inlet over the pipe's middle line. [m]
    most_variation : float or None
        Flow variation allowed, 0 to 1. [-]
    least_uniformity : float or None
        Low-quarter uniformity wished, 0 to 1. [-]
    scatter_fraction : float
        Coefficient of variation of hole flows at one head, for the uniformity. [-]
    water_temp_c : float
        Water temperature; colder water is thicker. [°C]
    effects : Effects
        What is counted (hole.py).

    Returns
    -------
    float
        Length, a whole number of the holes' distance; infinite where a thousand stations are not
        enough to break the wish, 0 where the first does. [m]

    Raises
    ------
    InputError
        If nothing is wished.
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    lateral.py, marched for each length tried; doubled until one is uneven, then halved.
    """
    wish = even_enough(
        most_variation=most_variation,
        least_uniformity=least_uniformity,
        scatter_fraction=scatter_fraction,
    )
    require_range("inlet_head_m", inlet_head_m, 0.0, 1e3)
    water = Water(viscosity_m2_s=viscosity_m2_s(water_temp_c), effects=effects)

    def good(stations: int) -> bool:
        row = Row(
            length_m=stations * drilling.every_m,
            pipe=pipe,
            drilling=drilling,
            ground_width_m=1.0,
        )
        return wish(_hole_flows(row, 0.0, inlet_head_m, water))

    stations = most_that_is_good(good, MOST_STATIONS)
    return inf if stations == MOST_STATIONS else stations * drilling.every_m


def level_enough_m(
    *,
    row: Row,
    inlet_head_m: float,
    rise_m: float = 0.0,
    most_variation: float = 0.2,
    most_m: float = 0.5,
    effects: Effects = ALL_EFFECTS,
) -> float:
    """How far a row may lie off level, at its far end or its middle, up or down.

    Parameters
    ----------
    row : Row
        The row; its far end and middle are taken as level with its inlet to begin with.
    inlet_head_m : float
        Piezometric head at its inlet when it lies level, against the tap. [m]
    rise_m : float
        Height of the zone's outlet against the tap. [m]
    most_variation : float
        Flow variation along the row that is still allowed, 0 to 1. [-]
    most_m : float
        Height beyond which nobody needs to know; where it is allowed, it is the answer. [m]
    effects : Effects
        What is counted (hole.py).

    Returns
    -------
    float
        Height off level that the worst of the four shapes still bears, to a hundredth of it; 0
        where friction alone takes all that is allowed. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.
    InputError
        If the row has no open hole.

    Source
    ------
    lateral.py, marched for each height tried, with the head at the inlet held. A throttled valve
    holds the flow instead, and the head follows the row: the worst shape then varies a little less.
    """
    require_range("most_m", most_m, _NEAR_ENOUGH_M, 1e3)
    at_m = row.inlet_height_m
    level = replace(row, far_height_m=at_m, middle_height_m=0.0)
    wish = even_enough(most_variation=most_variation, least_uniformity=None)
    water = Water(viscosity_m2_s=_WATER_M2_S, effects=effects)
    if not wish(_hole_flows(level, rise_m, inlet_head_m, water)):
        return 0.0

    def good(off_m: float) -> bool:
        shapes = (
            replace(level, far_height_m=at_m + off_m),
            replace(level, far_height_m=at_m - off_m),
            replace(level, middle_height_m=off_m),
            replace(level, middle_height_m=-off_m),
        )
        return all(wish(_hole_flows(shape, rise_m, inlet_head_m, water)) for shape in shapes)

    if good(most_m):
        return most_m
    low_m, high_m = 0.0, most_m
    while high_m - low_m > max(_NEAR_ENOUGH_M, 0.01 * low_m):
        middle_m = 0.5 * (low_m + high_m)
        if good(middle_m):
            low_m = middle_m
        else:
            high_m = middle_m
    return low_m


def flow_at_head_m3_s(*, row: Row, over_holes_m: float) -> float:
    """Flow of a row, laid level, whose inlet has this much head over its highest hole.

    Parameters
    ----------
    row : Row
        The row.
    over_holes_m : float
        Head over the highest open hole, drain holes left out. [m]

    Returns
    -------
    float
        Flow of all its holes, drain holes too; 0 where none is open. [m3/s]

    Raises
    ------
    OutOfRange
        If the head is negative or not a number.

    Source
    ------
    lateral.py.
    """
    require_range("over_holes_m", over_holes_m, 0.0, 1e3)
    level = replace(row, inlet_height_m=0.0, far_height_m=0.0, middle_height_m=0.0)
    holes = [hole for hole in drilled_holes(level, 0.0) if not hole.plugged]
    if not holes:
        return 0.0
    highest_m = max((hole.z_m for hole in holes if hole.kind == "hole"), default=0.0)
    water = Water(viscosity_m2_s=_WATER_M2_S)
    return solve_row(level, holes, highest_m + over_holes_m, water).flow_m3_s


def soaking_flow_m3_s(
    *, dose_m3: float, strip_m2: float, intake_mm_h: float, basin_mm: float
) -> float:
    """Flow at which a dose goes into the ground in one pulse, what stands never over the basin.

    Parameters
    ----------
    dose_m3 : float
        Water to give. [m3]
    strip_m2 : float
        Ground the row wets. [m2]
    intake_mm_h : float
        Depth the soil takes in, steadily. [mm/h]
    basin_mm : float
        Depth that may stand on it. [mm]

    Returns
    -------
    float
        Flow; infinite where the basin holds the whole dose. [m3/s]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Water given less water soaked in stands: depth - intake x time = basin, solved for the time.
    """
    require_range("dose_m3", dose_m3, 0.0, 1e4)
    require_range("strip_m2", strip_m2, 1e-6, 1e6)
    require_range("intake_mm_h", intake_mm_h, 1e-6, 1e5)
    depth_mm = 1000.0 * dose_m3 / strip_m2
    if depth_mm <= basin_mm:
        return inf
    return dose_m3 * intake_mm_h / _S_PER_H / (depth_mm - basin_mm)


def even_enough(
    *,
    most_variation: float | None,
    least_uniformity: float | None,
    scatter_fraction: float = 0.0,
) -> Meets:
    """A test of hole flows against a wish; every wish given must be met.

    The uniformity is that of holes with the scatter, the variation that of the pipe alone.
    """
    if most_variation is None and least_uniformity is None:
        raise InputError("name what is wished of the row: a variation or a uniformity")
    if most_variation is not None:
        require_range("most_variation", most_variation, 0.0, 1.0)
    if least_uniformity is not None:
        require_range("least_uniformity", least_uniformity, 0.0, 1.0)

    def meets(flows_m3_s: Sequence[float]) -> bool:
        if not flows_m3_s or max(flows_m3_s) <= 0.0:
            return False
        if most_variation is not None and flow_variation(flows_m3_s) > most_variation:
            return False
        if least_uniformity is None:
            return True
        deviations_m3_s = [scatter_fraction * flow for flow in flows_m3_s]
        return scattered_uniformity(flows_m3_s, deviations_m3_s) >= least_uniformity

    return meets


def most_that_is_good(good: Callable[[int], bool], most: int) -> int:
    """Largest number up to `most` that is good, where no number beyond a bad one is; 0 if none."""
    low, high = 0, 1
    while high < most and good(high):
        low, high = high, min(most, 2 * high)
    if high == most and good(most):
        return most
    while high - low > 1:
        middle = (low + high) // 2
        if good(middle):
            low = middle
        else:
            high = middle
    return low


def _hole_flows(row: Row, rise_m: float, inlet_head_m: float, water: Water) -> list[float]:
    """Flows of the row's open holes, drain holes left out, at a head held at its inlet."""
    holes = [hole for hole in drilled_holes(row, rise_m) if not hole.plugged]
    found = solve_row(row, holes, inlet_head_m, water)
    return [
        flow for hole, flow in zip(holes, found.hole_flows_m3_s, strict=True) if hole.kind == "hole"
    ]
