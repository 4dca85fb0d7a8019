"""What `check` says of a garden whose file reads well: where water, pipe or clock will disappoint.

A fault is something that cannot work as described; a caution something that will work badly or
needs a look. Design advice with numbers to aim at comes in a later piece of work.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from controller.garden.model import Garden, ValveKind, Zone
from controller.garden.show import show_length
from controller.hydraulics.evenness import with_drilling_scatter
from controller.hydraulics.linefill import line_fill
from controller.hydraulics.lines import Lines, ZoneFlow
from controller.hydraulics.together import before_valve_m
from controller.timetable.dose import even_litres, soaking_of
from controller.timetable.plan import Grounds
from controller.timetable.trust import barrel_words, zone_words
from controller.units import (
    M_PER_FT,
    l_from_m3,
    psi_from_head_m,
)

# Water main guideline of 5 ft/s, for friction and surge (utilities' practice; from memory).
FASTEST_MAIN_M_S = 5 * M_PER_FT
# A full bed's use on a hot day, for judging times (FAO-56 Table 2, warm; from memory).
HOT_DAY_MM = 6.0
# Close crops (carrots, onions, salad) are drilled every few inches, big plants get a group of holes
# each, a whole bed is drilled through both walls: common practice, no source.
CLOSE_CROP_M = 0.2
UNEVEN = 0.7  # class limit between fair and poor (ASAE EP458 usage; from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to know about the garden."""

    weight: Literal["fault", "caution"]
    where: str
    words: str


def findings(garden: Garden, grounds: Grounds, lines: Lines) -> list[Finding]:
    """All faults and cautions, zone by zone, faults first."""
    found: list[Finding] = []
    if not garden.zones:
        found.append(Finding(weight="fault", where="garden", words="it has no zone"))
    for zone in garden.zones:
        found += _of_zone(zone, garden, grounds, lines)
    found += _of_barrel(garden, lines)
    found += _of_windows(garden)
    return sorted(found, key=lambda f: f.weight != "fault")


def _of_zone(zone: Zone, garden: Garden, grounds: Grounds, lines: Lines) -> list[Finding]:
    where = f'zone "{zone.name}"'
    if all(row.plugged for row in zone.rows):
        return [Finding(weight="caution", where=where, words="every row is plugged; it is skipped")]
    alone = frozenset((zone.name,))
    flow = lines.open_set(alone).zones[zone.name]
    if flow.flow_m3_s <= 0.0:
        return [
            Finding(
                weight="fault",
                where=where,
                words="no hole of it gives water, even with nothing else open: its holes lie "
                "higher than the water rises",
            )
        ]
    return [
        *_of_flow(where, zone, garden, flow, lines),
        *_of_dose(where, zone, garden, grounds, flow, lines),
        *_of_plantings(where, zone, grounds),
    ]


def _of_flow(where: str, zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[Finding]:
    found: list[Finding] = []

    def caution(words: str) -> None:
        found.append(Finding(weight="caution", where=where, words=words))

    if flow.dry_holes:
        caution(f"{flow.dry_holes} of its holes stay dry even when it runs alone")
    for words in zone_words(zone, garden, flow, lines):
        caution(words)
    even = with_drilling_scatter(flow.evenness, garden.watering.drilling_scatter)
    if even < UNEVEN:
        caution(
            f"it waters unevenly: the driest quarter gets {100 * even:.0f} % of the mean; a "
            "shorter or more level row, or feeding it in the middle, helps"
        )
    speed = flow.flow_m3_s / (math.pi / 4 * garden.main.bore_m**2)
    if speed > FASTEST_MAIN_M_S:
        caution(
            f"alone it draws {speed:.1f} m/s ({speed / M_PER_FT:.1f} ft/s) through the main; over "
            "5 ft/s surge and noise grow"
        )
    least = zone.valve.least_closing_head_m
    alone = frozenset((zone.name,))
    before_m = before_valve_m(lines, alone, zone.name)
    if zone.valve.kind is ValveKind.RELAY and least > 0.0 and before_m < least:
        found.append(
            Finding(
                weight="fault",
                where=where,
                words=f"its valve wants {psi_from_head_m(least):.1f} psi to close, and with it "
                f"open only {psi_from_head_m(before_m):.1f} psi are left before it: throttle the "
                "row, or take a valve that closes without pressure",
            )
        )
    return found


def _of_dose(
    where: str, zone: Zone, garden: Garden, grounds: Grounds, flow: ZoneFlow, lines: Lines
) -> list[Finding]:
    found: list[Finding] = []
    even = with_drilling_scatter(flow.evenness, garden.watering.drilling_scatter)
    if even <= 0.0:
        return found
    filling = line_fill(lines, zone.name, frozenset((zone.name,)))
    line_l = l_from_m3(filling.drains_m3)
    wanted_l = even_litres(net_mm=HOT_DAY_MM, ground_m2=zone.ground_m2, evenness=even)
    flow_l_s = l_from_m3(flow.flow_m3_s)
    seconds = (wanted_l + line_l) / flow_l_s
    if seconds < 30.0 and zone.valve.kind is ValveKind.HAND:
        found.append(
            Finding(
                weight="caution",
                where=where,
                words=f"a hot day's water passes in {seconds:.0f} s: too short to time by hand; "
                "throttle the valve and measure its flow",
            )
        )
    if line_l > 0.25 * wanted_l:
        found.append(
            Finding(
                weight="caution",
                where=where,
                words=f"filling its line takes {line_l:.1f} L and {filling.again_s:.0f} s beside "
                f"{wanted_l:.1f} L of a hot day's water: fewer, larger doses waste less",
            )
        )
    if wanted_l > l_from_m3(zone.daily_cap_m3):
        found.append(
            Finding(
                weight="caution",
                where=where,
                words=f"a hot day asks for {wanted_l:.0f} L, over its daily cap of "
                f"{l_from_m3(zone.daily_cap_m3):.0f} L",
            )
        )
    soak = soaking_of(zone, grounds.soil(zone.bed.soil), garden.watering.basin_mm)
    pulses = math.ceil(wanted_l / soak.litres_at_once(flow_l_s))
    if pulses > 6:
        found.append(
            Finding(
                weight="caution",
                where=where,
                words=f"its soil takes a hot day's water in only in {pulses} pulses: throttle the "
                "row, widen the wetted strip, or shape a deeper basin",
            )
        )
    return found


def _of_plantings(where: str, zone: Zone, grounds: Grounds) -> list[Finding]:
    if not zone.plantings:
        return [
            Finding(weight="caution", where=where, words="nothing is planted: it gets no water")
        ]
    found: list[Finding] = []
    soil = grounds.soil(zone.bed.soil)
    for name in dict.fromkeys(planting.crop for planting in zone.plantings):
        crop = grounds.crop(name)
        for number, row in enumerate(zone.rows, 1):
            wet_m = soil.wetted_width_m if row.wetted_width_m is None else row.wetted_width_m
            gap_m = row.drilling.every_m
            if crop.in_row_spacing_m <= CLOSE_CROP_M and gap_m > wet_m:
                us = grounds.garden.us_units
                words = (
                    f"row {number}: holes stand {show_length(gap_m, us)} apart and each wets about "
                    f"{show_length(wet_m, us)}: {crop.label} between them stays dry; close crops "
                    "want a hole every hand's breadth"
                )
                found.append(Finding(weight="caution", where=where, words=words))
    return found


def _of_barrel(garden: Garden, lines: Lines) -> list[Finding]:
    """Whether a hot day's water of all zones is in the barrel."""
    if garden.supply.holds_m3 is None:
        return []
    scatter, wanted_l = garden.watering.drilling_scatter, 0.0
    for zone in garden.zones:
        flow = lines.open_set(frozenset((zone.name,))).zones[zone.name]
        even = with_drilling_scatter(flow.evenness, scatter)
        if zone.plantings and even > 0.0:
            wanted_l += even_litres(net_mm=HOT_DAY_MM, ground_m2=zone.ground_m2, evenness=even)
    words = barrel_words(garden, wanted_l / 1000.0)
    return [] if words is None else [Finding(weight="caution", where="supply", words=words)]


def _of_windows(garden: Garden) -> list[Finding]:
    kinds = {zone.valve.kind for zone in garden.zones}
    allowed = {kind for window in garden.watering.windows for kind in window.valves}
    return [
        Finding(
            weight="fault",
            where="watering",
            words=f"no window lets {kind.value} valves water",
        )
        for kind in sorted(kinds - allowed)
    ]
