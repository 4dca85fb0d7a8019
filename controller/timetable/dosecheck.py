"""What `check` says of a hot day's dose: too short for its valve, its line or its soil."""

from __future__ import annotations

import math
from collections.abc import Iterator

from controller.garden.model import Garden, ValveKind, Zone
from controller.garden.show import show_duration, show_volume
from controller.hydraulics.advised import show_rate
from controller.hydraulics.evenness import dose_divisor, real_uniformity
from controller.hydraulics.flows import ZoneFlow
from controller.hydraulics.linefill import line_fill
from controller.hydraulics.lines import Lines
from controller.hydraulics.throttle import (
    LOST_SHARE,
    WORTH_THROTTLING,
    longest_run_s,
    lost_share,
    throttle_to,
)
from controller.timetable.dose import even_litres, soaking_of
from controller.timetable.finding import Finding, caution
from controller.timetable.jobs import Grounds
from controller.timetable.wetted import zone_wet_ground_m2
from controller.units import l_from_m3, m3_from_l

# A full bed's use on a hot day, for judging times (FAO-56 Table 2, warm; from memory).
HOT_DAY_MM = 6.0
SHORTEST_BY_HAND_S = 30.0  # our choice
# More pulses than this want somebody's patience, or another stream. Our choice.
MANY_PULSES = 6
# A pulse of the meter should be no more of a dose than this, for it to end one. Our choice.
COARSE_SHARE = 0.05


def of_dose(
    where: str, zone: Zone, garden: Garden, grounds: Grounds, flow: ZoneFlow, lines: Lines
) -> Iterator[Finding]:
    """Whether a hot day's water can be timed, soaks in, and is not all filling and travel."""
    even = real_uniformity(flow.holes, garden.watering)
    if even <= 0.0 or zone.ground_m2 <= 0.0:
        return
    us = garden.us_units
    filling = line_fill(lines, zone.name, frozenset((zone.name,)))
    divisor = dose_divisor(even, garden.watering)
    wanted_l = even_litres(net_mm=HOT_DAY_MM, ground_m2=zone.ground_m2, evenness=divisor)
    wanted_m3, drains_m3 = m3_from_l(wanted_l), filling.drains_m3
    soil = grounds.soil(zone.bed.soil)
    soak = soaking_of(zone_wet_ground_m2(zone, soil, lines), soil, garden.watering.basin_mm)
    target = throttle_to(
        zone,
        wanted_m3=wanted_m3,
        drains_m3=drains_m3,
        takes_in=soak,
        longest_s=longest_run_s(garden, zone),
        us_units=us,
    )
    helps = flow.flow_m3_s >= WORTH_THROTTLING * target.flow_m3_s
    then_s = (wanted_m3 + drains_m3) / target.flow_m3_s
    throttle = (
        f"throttle it, alone, to about {show_rate(target.flow_m3_s, us)}: then it takes "
        f"{show_duration(round(then_s))}"
    )
    seconds = (wanted_m3 + drains_m3) / flow.flow_m3_s
    if seconds < SHORTEST_BY_HAND_S and zone.valve.kind is ValveKind.HAND:
        yield caution(
            where,
            f"a hot day's water passes in {seconds:.0f} s: too short to time by hand"
            + (f"; {throttle}" if helps else ""),
            about="throttle",
        )
    if drains_m3 > LOST_SHARE * wanted_m3:
        yield caution(
            where,
            f"filling its line takes {show_volume(drains_m3, us)} and {filling.again_s:.0f} s "
            f"beside {show_volume(wanted_m3, us)} of a hot day's water: fewer, larger doses waste "
            "less",
        )
    share = lost_share(
        zone.valve, flow_m3_s=flow.flow_m3_s, wanted_m3=wanted_m3, drains_m3=drains_m3
    )
    travel_s = zone.valve.opens_in_s + zone.valve.closes_in_s
    if share > LOST_SHARE and travel_s > 0.0 and flow.flow_m3_s > target.flow_m3_s:
        yield caution(
            where,
            f"{100 * share:.0f} % of a hot day's water passes while its valve travels "
            f"({show_duration(travel_s)}) and its line fills: {throttle}",
            about="throttle",
        )
    if wanted_m3 > zone.daily_cap_m3:
        yield caution(
            where,
            f"a hot day asks for {show_volume(wanted_m3, us)}, over its daily cap of "
            f"{show_volume(zone.daily_cap_m3, us)}",
        )
    pulses = math.ceil(wanted_l / soak.litres_at_once(l_from_m3(flow.flow_m3_s)))
    if pulses > MANY_PULSES:
        yield caution(
            where,
            f"its soil takes a hot day's water in only in {pulses} pulses: "
            + (f"{throttle}; or " if helps else "")
            + "widen the wetted strip, or shape a deeper basin",
            about="throttle",
        )
    meter = garden.meter
    if meter is not None and meter.by_litres and meter.litres_per_pulse > COARSE_SHARE * wanted_l:
        yield caution(
            where,
            f"the meter gives a pulse for {show_volume(m3_from_l(meter.litres_per_pulse), us)}, "
            f"and a hot day's water is {show_volume(wanted_m3, us)}: too coarse to end its "
            "openings by",
        )
