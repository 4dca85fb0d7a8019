"""Limits to build by: how level, how slow, how far to throttle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from typing import Protocol

from controller.errors import require_range
from controller.garden.model import Garden, Window, Zone
from controller.garden.plumbing import Row, Valve, ValveKind
from controller.hydraulics.network.assembly import solve_row
from controller.hydraulics.network.geometry import drilled_holes
from controller.hydraulics.network.uniformity import flow_variation
from controller.hydraulics.physics.orifice import ALL_EFFECTS, Effects, Water
from controller.hydraulics.physics.pipe import WATER_TEMP_C, viscosity_m2_s
from controller.messages import Message, Quantity

_NEAR_ENOUGH_M = 1e-4
_S_PER_H = 3600.0
_WATER_M2_S = viscosity_m2_s(WATER_TEMP_C)


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
        Largest height tried; where the row bears it, it is the answer. [m]
    effects : Effects
        What is counted (orifice.py).

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

    Examples
    --------
    A 20 ft row of 40 holes under 14 in of head, which EPANET 2.2 finds to vary by 13 % when it is
    2 in off level:

    >>> from controller.garden.plumbing import Drilling, Face
    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762, face=Face.SIDE)
    >>> row = Row(length_m=6.096, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> as_epanet = Effects(momentum=0.0, varying=False, vented=False)
    >>> enough_m = level_enough_m(
    ...     row=row, inlet_head_m=0.3556, most_variation=0.13, effects=as_epanet
    ... )
    >>> round(enough_m, 2)
    0.05
    """
    require_range("most_m", most_m, _NEAR_ENOUGH_M, 1e3)
    at_m = row.inlet_height_m
    level = replace(row, far_height_m=at_m, middle_height_m=0.0)
    require_range("most_variation", most_variation, 0.0, 1.0)
    water = Water(viscosity_m2_s=_WATER_M2_S, effects=effects)

    def even(shape: Row) -> bool:
        flows = _hole_flows(shape, rise_m, inlet_head_m, water)
        return bool(flows) and max(flows) > 0.0 and flow_variation(flows) <= most_variation

    if not even(level):
        return 0.0

    def good(off_m: float) -> bool:
        shapes = (
            replace(level, far_height_m=at_m + off_m),
            replace(level, far_height_m=at_m - off_m),
            replace(level, middle_height_m=off_m),
            replace(level, middle_height_m=-off_m),
        )
        return all(even(shape) for shape in shapes)

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

    Examples
    --------
    Sixteen holes that pass 0.8 a sqrt(2 g x 0.1 m) = 0.133 L/min each, less some per cent for
    slow water and friction:

    >>> from controller.garden.plumbing import Drilling
    >>> from controller.hydraulics.physics.pipe import PIPES
    >>> drilling = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762)
    >>> row = Row(length_m=2.4384, pipe=PIPES["3/4 in"], drilling=drilling, ground_width_m=0.3)
    >>> round(6e4 * flow_at_head_m3_s(row=row, over_holes_m=0.1), 1)
    2.0
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
    """Flow at which a dose soaks in during one pulse, without overflowing the basin.

    Parameters
    ----------
    dose_m3 : float
        Water to give. [m3]
    strip_m2 : float
        Ground the row wets. [m2]
    intake_mm_h : float
        Steady intake of the soil. [mm/h]
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

    Examples
    --------
    20 mm on 0.73 m2 into a basin of 10 mm: 10 mm must soak in, 40 min at 15 mm/h:

    >>> flow_m3_s = soaking_flow_m3_s(
    ...     dose_m3=0.0146, strip_m2=0.73, intake_mm_h=15.0, basin_mm=10.0
    ... )
    >>> round(0.0146 / flow_m3_s / 60.0, 3)
    40.0
    """
    require_range("dose_m3", dose_m3, 0.0, 1e4)
    require_range("strip_m2", strip_m2, 1e-6, 1e6)
    require_range("intake_mm_h", intake_mm_h, 1e-6, 1e5)
    depth_mm = 1000.0 * dose_m3 / strip_m2
    if depth_mm <= basin_mm:
        return inf
    return dose_m3 * intake_mm_h / _S_PER_H / (depth_mm - basin_mm)


def most_that_is_good(good: Callable[[int], bool], most: int) -> int:
    """Largest number up to `most` that is good, where no number beyond a bad one is; 0 if none.

    Examples
    --------
    >>> most_that_is_good(lambda number: number * number <= 50, 100)
    7
    """
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


# Least time of a hot day's dose, so that a hand or a relay can time it well. Our choice. [s]
HAND_S, RELAY_S = 300.0, 120.0
# While a valve travels, and while its line fills and drains, near and low holes get the water that
# the others miss. At most this part of a hot day's water should pass that way. Our choice.
LOST_SHARE = 0.25
# A zone that gives at most this times the advised flow is left as it is. Our choice.
WORTH_THROTTLING = 1.25
# Least head over the holes: below it an error of level of 1 cm changes a hole's flow by over 5 %
# (half of 1/10, by the square root of the orifice law). Our choice.
LEAST_HEAD_M = 0.10


class TakesIn(Protocol):
    """How a zone's ground takes water in; the timetable's `Soaking` has these."""

    @property
    def strip_m2(self) -> float:
        """Ground that gets wet. [m2]"""

    @property
    def intake_mm_s(self) -> float:
        """Intake of the soil. [mm/s]"""

    @property
    def basin_mm(self) -> float:
        """Depth that may stand on the ground. [mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Throttle:
    """The flow to throttle a zone to when it is open alone, the reason, and what limits it."""

    flow_m3_s: float
    why: tuple[Message, ...]


def lost_share(valve: Valve, *, flow_m3_s: float, wanted_m3: float, drains_m3: float) -> float:
    """Part of a dose that passes while the valve travels and while the line fills and drains.

    Parameters
    ----------
    valve : Valve
        The zone's valve, with its travel.
    flow_m3_s : float
        The zone's flow. [m3/s]
    wanted_m3 : float
        The dose, without what fills the line. [m3]
    drains_m3 : float
        What fills the line and runs out after. [m3]

    Returns
    -------
    float
        Share of the dose; above 1 where more passes than the dose itself. [-]

    Source
    ------
    Half of each travel at full flow; volume of the line.

    Examples
    --------
    Ten seconds each way at 0.1 L/s, and 1 L to fill the line, of 10 L:

    >>> valve = Valve(kind=ValveKind.RELAY, opens_in_s=10.0, closes_in_s=10.0)
    >>> round(lost_share(valve, flow_m3_s=1e-4, wanted_m3=0.010, drains_m3=0.001), 3)
    0.2
    """
    return (flow_m3_s * _travel_water_s(valve) + drains_m3) / wanted_m3


def longest_run_s(garden: Garden, zone: Zone) -> float:
    """How long a zone may run on a hot day, so that time is left for the other zones.

    Parameters
    ----------
    garden : Garden
        The garden, with its windows.
    zone : Zone
        The zone.

    Returns
    -------
    float
        The valve's longest opening, or the zone's share of the windows if that is less: the windows
        of the weekday with the least time, shared by the zones with the same kind of valve,
        `most_open` at a time. Infinite without windows and limit. [s]

    Source
    ------
    The share is our choice.
    """
    kind = zone.valve.kind
    by_day = [
        sum(_seconds(w) for w in garden.watering.windows if kind in w.valves and day in w.weekdays)
        for day in range(7)
    ]
    open_s = min((seconds for seconds in by_day if seconds > 0.0), default=inf)
    alike = sum(other.valve.kind is kind for other in garden.zones)
    share = min(1.0, garden.watering.most_open / max(1, alike))
    return min(zone.valve.longest_open_s, share * open_s)


def throttle_to(
    zone: Zone,
    *,
    wanted_m3: float,
    drains_m3: float,
    takes_in: TakesIn | None,
    longest_s: float = inf,
) -> Throttle:
    """The flow at which a dose takes long enough, loses little to valve travel, and soaks in.

    Parameters
    ----------
    zone : Zone
        The zone.
    wanted_m3 : float
        A hot day's dose, without what fills the line. [m3]
    drains_m3 : float
        What fills the line and runs out after. [m3]
    takes_in : TakesIn or None
        How its ground takes water in; None leaves the soil out.
    longest_s : float
        How long the zone may run, as `longest_run_s` has it. [s]

    Returns
    -------
    Throttle
        Never so small that the holes have less than `LEAST_HEAD_M` over them, or that the dose
        takes longer than it may. [m3/s]

    Raises
    ------
    OutOfRange
        If the dose is not a number.

    Source
    ------
    The dose over `HAND_S` or `RELAY_S`; where the valve travels, `lost_share` solved for the flow
    at `LOST_SHARE`; the soil's steady intake and its basin (limits.py).
    """
    dose_m3 = wanted_m3 + drains_m3
    shortest_s = HAND_S if zone.valve.kind is ValveKind.HAND else RELAY_S
    target_m3_s, why = dose_m3 / shortest_s, [Message("throttle.time")]
    spare_m3, travel_s = LOST_SHARE * wanted_m3 - drains_m3, _travel_water_s(zone.valve)
    if spare_m3 > 0.0 and travel_s * target_m3_s > spare_m3:
        target_m3_s, why = spare_m3 / travel_s, [Message("throttle.travel")]
    if takes_in is not None and takes_in.strip_m2 > 0.0:
        soaks_m3_s = soaking_flow_m3_s(
            dose_m3=dose_m3,
            strip_m2=takes_in.strip_m2,
            intake_mm_h=takes_in.intake_mm_s * 3600.0,
            basin_mm=takes_in.basin_mm,
        )
        if soaks_m3_s < target_m3_s:
            target_m3_s, why = soaks_m3_s, [Message("throttle.soil")]
    if dose_m3 > target_m3_s * longest_s:
        target_m3_s = dose_m3 / longest_s
        longest = Quantity(round(longest_s), "duration")
        why.append(Message("throttle.longest", {"longest": longest}))
    least_m3_s = sum(
        flow_at_head_m3_s(row=row, over_holes_m=LEAST_HEAD_M)
        for row in zone.rows
        if not row.plugged
    )
    if target_m3_s < least_m3_s:
        target_m3_s = least_m3_s
        why.append(Message("throttle.head", {"head": Quantity(LEAST_HEAD_M, "off level")}))
    return Throttle(flow_m3_s=target_m3_s, why=tuple(why))


def _travel_water_s(valve: Valve) -> float:
    """Seconds of full flow that pass while the valve travels: half of each way."""
    return (valve.opens_in_s + valve.closes_in_s) / 2.0


def _seconds(window: Window) -> float:
    """Length of a window; one that ends at or before its start runs past midnight."""
    opens, closes = window.opens, window.closes
    minutes = 60 * (closes.hour - opens.hour) + closes.minute - opens.minute
    seconds = 60.0 * minutes + closes.second - opens.second
    return seconds if seconds > 0.0 else seconds + 86400.0
