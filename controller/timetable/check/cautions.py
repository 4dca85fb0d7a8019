"""The findings of `check`: all faults and cautions of a garden.

A fault cannot work as described; a caution works badly or needs a look. Design advice
(hydraulics/design/advice.py) repeats some of it with more figures: those findings name its subject
in `about`.
"""

from __future__ import annotations

from datetime import date, timedelta
from ipaddress import ip_address

from controller.garden.model import Garden, Satisfy, Zone
from controller.garden.plumbing import SupplyKind
from controller.garden.show import show_flow, show_length, show_pressure, show_volume
from controller.hydraulics.calibration.hole_law_error import jet_words
from controller.hydraulics.design.advice_base import show_speed
from controller.hydraulics.design.advice_zone import row_speeds_m_s
from controller.hydraulics.design.open_together import first_that_stays_open
from controller.hydraulics.design.row_warnings import (
    doubtful_rows,
    opening_doubt,
    stream_doubt,
    unmeasured_loss_k,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.supplies import planning_curve, supply_states
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.hydraulics.network.uniformity import LEAST_UNIFORMITY, dose_divisor, real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.timetable.check.finding import Finding, caution, unsaid
from controller.timetable.check.place_checks import of_place
from controller.timetable.check.supply_checks import of_forks, of_sets, of_supply
from controller.timetable.check.zone_checks import HOT_DAY_MM, of_bare_rows, of_dose, of_plantings
from controller.timetable.covers import of_covers
from controller.timetable.need.dose import even_litres
from controller.timetable.need.jobs import Grounds
from controller.timetable.windows import clock_change_messages
from controller.units import M_PER_FT
from controller.wording.say import say

# A smaller change of flow while a barrel empties gives no caution. Our choice.
_WORTH_SAYING = 0.10


def zone_messages(zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[str]:
    """Doubts about one zone alone: its rows, its stream, its opening, its barrel."""
    us = garden.us_units
    messages = [
        doubt.words
        for doubt in doubtful_rows(flow, most_m3_s=_wide_open_m3_s(zone, lines), us_units=us)
    ]
    jets = jet_words(flow, lines, us_units=us)
    if jets is not None:
        messages.append(jets)
    stream = stream_doubt(zone, flow, us_units=us)
    if stream is not None:
        messages.append(stream)
    loss_k = lines.valve_loss_k(zone.name)
    guess = opening_doubt(zone, flow, loss_k, us_units=us)
    unmeasured = unmeasured_loss_k(zone, flow)
    if guess is not None and unmeasured is not None:
        high, low = (
            _alone_on(lines.supply, zone, garden, k).flow_m3_s
            for k in (unmeasured[0], unmeasured[2])
        )
        messages.append(f"{guess} (from {show_flow(low, us)} to {show_flow(high, us)} is likely)")
    fall = _fall_message(zone, garden, flow, lines, loss_k)
    if fall is not None:
        messages.append(fall)
    return messages


def barrel_message(garden: Garden, wanted_m3: float) -> str | None:
    """Message if a hot day's water is more than the barrel gives between its levels."""
    holds_m3, us = garden.supply.holds_m3, garden.us_units
    if holds_m3 is None or wanted_m3 <= holds_m3:
        return None
    return (
        f"a hot day asks for {show_volume(wanted_m3, us)}, and the barrel gives "
        f"{show_volume(holds_m3, us)} from full to its lowest: it must be filled up meanwhile, or "
        "the later zones get less than is computed"
    )


def _fall_message(
    zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines, loss_k: float
) -> str | None:
    """Message on how a zone's flow falls with a barrel's level; None for a steady supply."""
    states = supply_states(garden.supply)
    if garden.supply.kind is not SupplyKind.BARREL or lines.supply != planning_curve(garden.supply):
        return None  # steady, or replaced by a measured curve
    if flow.flow_m3_s <= 0.0:
        return None  # `check` has a fault for this
    us = garden.us_units
    start, end = (_alone_on(curve, zone, garden, loss_k) for curve in (states.start, states.end))
    spread = (start.flow_m3_s - end.flow_m3_s) / flow.flow_m3_s
    if spread < _WORTH_SAYING and end.dry_holes == flow.dry_holes:
        return None
    lowest_m = garden.supply.falls_to_m or 0.0
    words = (
        f"while the barrel falls from {show_length(garden.supply.static_head_m, us)} to "
        f"{show_length(lowest_m, us)} it gives {show_flow(start.flow_m3_s, us)} at first and "
        f"{show_flow(end.flow_m3_s, us)} at the end; it is timed at the "
        f"{show_flow(flow.flow_m3_s, us)} of the middle"
    )
    if end.dry_holes > flow.dry_holes:
        words += f", and {end.dry_holes} of its holes are dry at the end"
    return words


def _wide_open_m3_s(zone: Zone, lines: Lines) -> float:
    """Flow of the zone alone with its valve fully open: the limit of any advice. [m3/s]"""
    if zone.opening.angle_deg == 0.0:
        return lines.zone_flows(frozenset((zone.name,)))[zone.name]
    return _alone_on(lines.supply, zone, lines.garden, zone.take_off_k).flow_m3_s


def _alone_on(curve: SupplyCurve, zone: Zone, garden: Garden, loss_k: float) -> ZoneFlow:
    """The zone alone on another supply curve, with its valve as it is now."""
    lines = Lines(garden, corrections=Corrections(valve_k={zone.name: loss_k}, supply=curve))
    return lines.open_set(frozenset((zone.name,))).zones[zone.name]


__all__ = ["Finding", "findings", "unsaid"]

# Water main guideline of 5 ft/s, for friction and surge (utilities' practice; from memory).
FASTEST_MAIN_M_S = 5 * M_PER_FT
# Twice this speed into a row gives a caution also without `--advice`. Our choice.
WILD_ROW_M_S = 2.0 * FASTEST_MAIN_M_S
UNEVEN = 0.7  # class limit between fair and poor (ASAE EP458 usage; from memory)


def findings(
    garden: Garden, grounds: Grounds, lines: Lines, *, today: date | None = None
) -> list[Finding]:
    """All faults and cautions, zone by zone, faults first.

    With the garden's date, also the effect of the next year's clock changes on its windows.
    """
    found: list[Finding] = []
    if not garden.zones:
        found.append(Finding(weight="fault", where="garden", words="it has no zone"))
    found += of_place(garden, grounds.crop)
    for zone in garden.zones:
        found += _of_zone(zone, garden, grounds, lines)
    found += of_sets(garden, lines)
    found += of_forks(garden, lines)
    hot_day_m3 = _hot_day_m3(garden, lines)
    found += _of_barrel(garden, hot_day_m3)
    found += of_supply(garden, lines, hot_day_m3=hot_day_m3)
    found += _of_windows(garden)
    if today is not None:
        found += _of_clock_changes(garden, today)
    found += _of_health(garden)
    return sorted(found, key=lambda f: f.weight != "fault")


def _of_zone(zone: Zone, garden: Garden, grounds: Grounds, lines: Lines) -> list[Finding]:
    where = f'zone "{zone.name}"'
    if all(row.plugged for row in zone.rows):
        return [caution(where, "every row is plugged; it is skipped")]
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
        *of_dose(where, zone, garden, grounds, flow, lines),
        *of_plantings(where, zone, grounds),
        *of_bare_rows(where, zone, garden, flow),
        *of_covers(zone, garden),
    ]


def _of_flow(where: str, zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[Finding]:
    messages: list[str] = []
    if flow.dry_holes:
        messages.append(f"{flow.dry_holes} of its holes stay dry even when it runs alone")
    messages += zone_messages(zone, garden, flow, lines)
    even = real_uniformity(flow.holes, garden.watering)
    if even < UNEVEN:
        words = (
            f"it waters unevenly: the driest quarter gets {100 * even:.0f} % of the mean; a "
            "shorter or more level row, or feeding it in the middle, helps"
        )
        if even < LEAST_UNIFORMITY and garden.watering.satisfy is Satisfy.DRIEST_QUARTER:
            words += (
                f". No dose is divided by less than {LEAST_UNIFORMITY:g}, so that quarter gets "
                f"only {100 * even / LEAST_UNIFORMITY:.0f} % of what it asks for: mend the row"
            )
        messages.append(words)
    way = lines.main.way_to(lines.main.place(zone))
    bore_m, run = min(((one.pipe.bore_m, one.run) for one in way), default=(garden.main.bore_m, ""))
    speed = velocity_m_s(flow_m3_s=flow.flow_m3_s, bore_m=bore_m)
    if speed > FASTEST_MAIN_M_S:
        through = f'the run "{run}" of the main' if run else "the main"
        messages.append(
            f"alone it draws {show_speed(speed, garden.us_units)} through {through}; over "
            f"{show_speed(FASTEST_MAIN_M_S, garden.us_units)} surge and noise grow"
        )
    found = [caution(where, words) for words in messages]
    for number, speed in row_speeds_m_s(zone, flow).items():
        if speed > WILD_ROW_M_S:
            found.append(
                caution(
                    f"{where}, row {number}",
                    f"water enters it at {show_speed(speed, garden.us_units)}: friction can make "
                    "it uneven, and dry-fitted joints are pushed apart; throttle it, feed it in "
                    "its middle, or take the next pipe",
                    about="speed",
                )
            )
    stays = first_that_stays_open(lines, frozenset((zone.name,)))
    if stays is not None:
        us = garden.us_units
        found.append(
            Finding(
                weight="fault",
                where=where,
                words=f"its valve wants {show_pressure(stays.wants_m, us)} before it to shut, and "
                f"with it open only {show_pressure(max(0.0, stays.has_m), us)} are left: it is "
                "not opened; throttle the row behind it, or take a valve that shuts without "
                "pressure",
            )
        )
    return found


def _of_health(garden: Garden) -> list[Finding]:
    """A health address that other computers can reach."""
    health = garden.health
    if health.port is None or ip_address(health.address).is_loopback:
        return []
    words = (
        f"{health.address} is seen beyond this board, and no password is asked: whoever is on its "
        "networks reads when the garden is watered, and when nobody looks"
    )
    return [caution("health", words)]


def _hot_day_m3(garden: Garden, lines: Lines) -> float:
    """A hot day's water of all zones, for a barrel or a pump; else 0. [m3]"""
    if garden.supply.holds_m3 is None and garden.supply.pump is None:
        return 0.0
    wanted_l = 0.0
    for zone in garden.zones:
        flow = lines.open_set(frozenset((zone.name,))).zones[zone.name]
        even = real_uniformity(flow.holes, garden.watering)
        if zone.plantings and even > 0.0:
            divisor = dose_divisor(even, garden.watering)
            wanted_l += even_litres(net_mm=HOT_DAY_MM, ground_m2=zone.ground_m2, evenness=divisor)
    return wanted_l / 1000.0


def _of_barrel(garden: Garden, hot_day_m3: float) -> list[Finding]:
    """A caution if the barrel does not hold a hot day's water of all zones."""
    words = barrel_message(garden, hot_day_m3)
    return [] if words is None else [caution("supply", words)]


def _of_clock_changes(garden: Garden, today: date) -> list[Finding]:
    """Windows of the next year that a change of the clocks makes longer or shorter."""
    zone_info, last = garden.site.zone_info, today + timedelta(days=365)
    return [
        caution(
            "watering",
            f"{say(found, us=garden.us_units)}; a window clear of that hour is as long as it says",
        )
        for found in clock_change_messages(garden.watering, zone_info, today, last)
    ]


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
