"""How far to throttle a zone so that a hot day's water takes long enough to be timed."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Protocol

from controller.garden.model import Garden, Valve, ValveKind, Window, Zone
from controller.garden.show import show_duration
from controller.hydraulics.advised import show_off_level
from controller.hydraulics.design import flow_at_head_m3_s, soaking_flow_m3_s

# A hot day's dose should take so long, for a hand and for a relay to time it well. Our choice. [s]
HAND_S, RELAY_S = 300.0, 120.0
# While a valve travels, and while its line fills and runs out, the near and the low holes get what
# the others miss: no more than this part of a hot day's water should pass so. Our choice.
LOST_SHARE = 0.25
# A zone that gives no more than this times the flow advised is left as it is. Our choice.
WORTH_THROTTLING = 1.25
# Head to keep over the holes: below it a centimetre of level error costs over 5 % of a hole's flow
# (half of 1/10, by the square root of the orifice law). Our choice.
LEAST_HEAD_M = 0.10


class TakesIn(Protocol):
    """How a zone's ground takes water in; the timetable's Soaking fits."""

    @property
    def strip_m2(self) -> float:
        """Ground that gets wet."""

    @property
    def intake_mm_s(self) -> float:
        """Depth the soil takes in a second."""

    @property
    def basin_mm(self) -> float:
        """Depth that may stand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Throttle:
    """A flow to throttle a zone to, alone, and what for."""

    flow_m3_s: float
    why: str


def lost_share(valve: Valve, *, flow_m3_s: float, wanted_m3: float, drains_m3: float) -> float:
    """Part of a dose that passes while the valve travels and the line fills and runs out.

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
        Above 1 where that is more than the dose itself. [-]

    Source
    ------
    Half of each travel at full flow; volume of the line.
    """
    return (flow_m3_s * _travel_water_s(valve) + drains_m3) / wanted_m3


def longest_run_s(garden: Garden, zone: Zone) -> float:
    """How long a zone may run on a hot day, so that the other zones find their time too.

    Parameters
    ----------
    garden : Garden
        The garden, with its windows.
    zone : Zone
        The zone.

    Returns
    -------
    float
        Its valve's longest opening, or its part of the windows if that is less: of the weekday
        with least of them, shared by the zones of its kind of valve, `most_open` at a time.
        Infinite without windows and limit. [s]

    Raises
    ------
    OutOfRange
        Never, for the garden model.

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
    us_units: bool = False,
) -> Throttle:
    """The flow at which a dose takes long enough, its valve's travel is little, and it soaks in.

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
    us_units : bool
        Whether the words are in US units.

    Returns
    -------
    Throttle
        Never so little that the holes would be left without a hand's breadth of water, or that the
        dose would take longer than it may. [m3/s]

    Raises
    ------
    OutOfRange
        If the dose is not a number.

    Source
    ------
    The dose over `HAND_S` or `RELAY_S`; where the valve travels, `lost_share` solved for the flow
    at `LOST_SHARE`; the soil's steady intake and its basin (design.py).
    """
    dose_m3 = wanted_m3 + drains_m3
    shortest_s = HAND_S if zone.valve.kind is ValveKind.HAND else RELAY_S
    target_m3_s, why = dose_m3 / shortest_s, "so that its time can be kept"
    spare_m3, travel_s = LOST_SHARE * wanted_m3 - drains_m3, _travel_water_s(zone.valve)
    if spare_m3 > 0.0 and travel_s * target_m3_s > spare_m3:
        target_m3_s, why = spare_m3 / travel_s, "so that little passes while its valve travels"
    if takes_in is not None and takes_in.strip_m2 > 0.0:
        soaks_m3_s = soaking_flow_m3_s(
            dose_m3=dose_m3,
            strip_m2=takes_in.strip_m2,
            intake_mm_h=takes_in.intake_mm_s * 3600.0,
            basin_mm=takes_in.basin_mm,
        )
        if soaks_m3_s < target_m3_s:
            target_m3_s, why = soaks_m3_s, "so that the soil takes it in as one pulse"
    if dose_m3 > target_m3_s * longest_s:
        target_m3_s = dose_m3 / longest_s
        why += f", as far as {show_duration(round(longest_s))}, the longest it may run, allows"
    least_m3_s = sum(
        flow_at_head_m3_s(row=row, over_holes_m=LEAST_HEAD_M)
        for row in zone.rows
        if not row.plugged
    )
    if target_m3_s < least_m3_s:
        target_m3_s = least_m3_s
        over = show_off_level(LEAST_HEAD_M, us_units)
        why += f", as far as {over} of water over the holes allows"
    return Throttle(flow_m3_s=target_m3_s, why=why)


def _travel_water_s(valve: Valve) -> float:
    """Seconds of full flow that pass while the valve travels: half of each way."""
    return (valve.opens_in_s + valve.closes_in_s) / 2.0


def _seconds(window: Window) -> float:
    """How long a window is; one that ends at or before its start runs past midnight."""
    opens, closes = window.opens, window.closes
    minutes = 60 * (closes.hour - opens.hour) + closes.minute - opens.minute
    seconds = 60.0 * minutes + closes.second - opens.second
    return seconds if seconds > 0.0 else seconds + 86400.0
