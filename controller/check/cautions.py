"""The findings of `check`: all faults and cautions of a garden.

A fault cannot work as described; a caution works badly or needs a look. Design advice
(hydraulics/design/advice.py) repeats some of it with more figures: those findings name its subject
in `about`.
"""

from __future__ import annotations

from datetime import date, timedelta
from ipaddress import ip_address

from controller.check.finding import Finding, alike_once, caution, fault, in_zone
from controller.check.likely_slips import of_beds, of_pressure, of_start, of_zone_rows
from controller.check.place_checks import of_place
from controller.check.supply_checks import of_forks, of_sets, of_supply
from controller.check.zone_checks import (
    hot_day_litres,
    of_bare_rows,
    of_covers,
    of_dose,
    of_plantings,
)
from controller.garden.model import Garden, Satisfy, Zone
from controller.garden.plumbing import SupplyKind
from controller.hydraulics.calibration.hole_law_error import jet_warning
from controller.hydraulics.design.advice_zone import row_speeds_m_s
from controller.hydraulics.design.open_together import first_that_stays_open
from controller.hydraulics.design.row_warnings import (
    doubtful_rows,
    opening_warning,
    stream_warning,
    unmeasured_loss_k,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.supplies import planning_curve, supply_states
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.hydraulics.network.uniformity import LEAST_UNIFORMITY, real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.messages import Message, Quantity
from controller.timetable.need.jobs import Grounds
from controller.timetable.windows import clock_change_messages
from controller.units import M_PER_FT

# A smaller change of flow while a barrel empties gives no caution. Our choice.
_WORTH_SAYING = 0.10
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
        found.append(fault(Message("place.garden"), Message("check.no_zone")))
    found += of_place(garden, grounds.crop)
    found += of_pressure(garden)
    found += of_start(garden)
    found += of_beds(garden)
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
    where = in_zone(zone.name)
    if all(row.plugged for row in zone.rows):
        return [caution(where, Message("check.all_plugged"))]
    flow = lines.open_set(frozenset((zone.name,))).zones[zone.name]
    if flow.flow_m3_s <= 0.0:
        return [fault(where, Message("check.no_water"))]
    return [
        *of_zone_rows(zone),
        *_of_flow(zone, garden, flow, lines),
        *of_dose(zone, garden, grounds, flow, lines),
        *of_plantings(zone, grounds),
        *of_bare_rows(zone, garden, flow),
        *of_covers(zone, garden),
    ]


def _of_flow(zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[Finding]:
    messages: list[Message] = []
    if flow.dry_holes:
        messages.append(Message("check.dry_holes", {"holes": flow.dry_holes}))
    messages += _zone_messages(zone, garden, flow, lines)
    even = real_uniformity(flow.holes, garden.watering)
    if even < UNEVEN:
        short = even < LEAST_UNIFORMITY and garden.watering.satisfy is Satisfy.DRIEST_QUARTER
        messages.append(
            Message(
                "check.uneven_and_short" if short else "check.uneven",
                {
                    "driest": Quantity(even, "percent"),
                    "least": LEAST_UNIFORMITY,
                    "gets": Quantity(even / LEAST_UNIFORMITY, "percent"),
                },
            )
        )
    way = lines.main.way_to(lines.main.place(zone))
    bore_m, run = min(((one.pipe.bore_m, one.run) for one in way), default=(garden.main.bore_m, ""))
    speed = velocity_m_s(flow_m3_s=flow.flow_m3_s, bore_m=bore_m)
    if speed > FASTEST_MAIN_M_S:
        messages.append(
            Message(
                "check.fast_run" if run else "check.fast_main",
                {
                    "speed": Quantity(speed, "speed"),
                    "run": run,
                    "most": Quantity(FASTEST_MAIN_M_S, "speed"),
                },
            )
        )
    where = in_zone(zone.name)
    found = [caution(where, message) for message in messages]
    for number, speed in row_speeds_m_s(zone, flow).items():
        if speed > WILD_ROW_M_S:
            message = Message("check.fast_row", {"speed": Quantity(speed, "speed")})
            row = Message("place.row", {"zone": zone.name, "row": number})
            found.append(caution(row, message, about="speed"))
    stays = first_that_stays_open(lines, frozenset((zone.name,)))
    if stays is not None:
        still_m = supply_states(garden.supply).start.static_head_m
        most_m = max(still_m, lines.supply.static_head_m) - zone.rise_m
        message = Message(
            "check.assumed_stays_open" if stays.assumed else "check.stays_open",
            {
                "wants": Quantity(stays.wants_m, "pressure"),
                "has": Quantity(max(0.0, stays.has_m), "pressure"),
                "helps": Message("check.throttle_behind")
                if most_m >= stays.wants_m
                else Message(
                    "check.never_so_high", {"most": Quantity(max(0.0, most_m), "pressure")}
                ),
            },
        )
        found.append(fault(where, message))
    return found


def _zone_messages(zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[Message]:
    """Warnings about one zone alone: its rows, its stream, its opening, its barrel."""
    loss_k = lines.valve_loss_k(zone.name)
    rows = doubtful_rows(flow, most_m3_s=_wide_open_m3_s(zone, lines))
    messages = alike_once([row.message for row in rows])
    others = jet_warning(flow, lines), stream_warning(zone, flow)
    messages += [one for one in others if one is not None]
    guess = opening_warning(zone, flow, loss_k)
    unmeasured = unmeasured_loss_k(zone, flow)
    if guess is not None and unmeasured is not None:
        most, least = (
            _alone_on(lines.supply, zone, garden, k).flow_m3_s
            for k in (unmeasured[0], unmeasured[2])
        )
        messages.append(
            Message(
                "check.unknown_opening",
                {
                    "guess": guess,
                    "least": Quantity(least, "flow"),
                    "most": Quantity(most, "flow"),
                },
            )
        )
    fall = _fall_message(zone, garden, flow, lines, loss_k)
    return messages if fall is None else [*messages, fall]


def _fall_message(
    zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines, loss_k: float
) -> Message | None:
    """Message on how a zone's flow falls with a barrel's level; None for a steady supply."""
    states = supply_states(garden.supply)
    if garden.supply.kind is not SupplyKind.BARREL or lines.supply != planning_curve(garden.supply):
        return None  # steady, or replaced by a measured curve
    start, end = (_alone_on(curve, zone, garden, loss_k) for curve in (states.start, states.end))
    spread = (start.flow_m3_s - end.flow_m3_s) / flow.flow_m3_s
    if spread < _WORTH_SAYING and end.dry_holes == flow.dry_holes:
        return None
    return Message(
        "check.barrel_falls_dry" if end.dry_holes > flow.dry_holes else "check.barrel_falls",
        {
            "full": Quantity(garden.supply.static_head_m, "length"),
            "lowest": Quantity(garden.supply.falls_to_m or 0.0, "length"),
            "first": Quantity(start.flow_m3_s, "flow"),
            "last": Quantity(end.flow_m3_s, "flow"),
            "middle": Quantity(flow.flow_m3_s, "flow"),
            "dry": end.dry_holes,
        },
    )


def _wide_open_m3_s(zone: Zone, lines: Lines) -> float:
    """Flow of the zone alone with its valve fully open: the limit of any advice. [m3/s]"""
    if zone.opening.angle_deg == 0.0:
        return lines.zone_flows(frozenset((zone.name,)))[zone.name]
    return _alone_on(lines.supply, zone, lines.garden, zone.take_off_k).flow_m3_s


def _alone_on(curve: SupplyCurve, zone: Zone, garden: Garden, loss_k: float) -> ZoneFlow:
    """The zone alone on another supply curve, with its valve as it is now."""
    lines = Lines(garden, corrections=Corrections(valve_k={zone.name: loss_k}, supply=curve))
    return lines.open_set(frozenset((zone.name,))).zones[zone.name]


def _hot_day_m3(garden: Garden, lines: Lines) -> float:
    """A hot day's water of all zones, for a barrel or a pump; else 0. [m3]"""
    if garden.supply.holds_m3 is None and garden.supply.pump is None:
        return 0.0
    wanted_l = 0.0
    for zone in garden.zones:
        flow = lines.open_set(frozenset((zone.name,))).zones[zone.name]
        even = real_uniformity(flow.holes, garden.watering)
        if zone.plantings and even > 0.0:
            wanted_l += hot_day_litres(zone.ground_m2, even, garden.watering)
    return wanted_l / 1000.0


def _of_barrel(garden: Garden, hot_day_m3: float) -> list[Finding]:
    """A caution if a hot day's water is more than the barrel gives between its levels."""
    holds_m3 = garden.supply.holds_m3
    if holds_m3 is None or hot_day_m3 <= holds_m3:
        return []
    wanted, holds = Quantity(hot_day_m3, "volume"), Quantity(holds_m3, "volume")
    message = Message("check.small_barrel", {"wanted": wanted, "holds": holds})
    return [caution(Message("place.supply"), message)]


def _of_windows(garden: Garden) -> list[Finding]:
    kinds = {zone.valve.kind for zone in garden.zones}
    allowed = {kind for window in garden.watering.windows for kind in window.valves}
    return [
        fault(Message("place.watering"), Message("check.no_window", {"kind": kind.value}))
        for kind in sorted(kinds - allowed)
    ]


def _of_clock_changes(garden: Garden, today: date) -> list[Finding]:
    """Windows of the next year that a change of the clocks makes longer or shorter."""
    zone_info, last = garden.site.zone_info, today + timedelta(days=365)
    return [
        caution(Message("place.watering"), Message("check.clock_change", {"change": change}))
        for change in clock_change_messages(garden.watering, zone_info, today, last)
    ]


def _of_health(garden: Garden) -> list[Finding]:
    """A health address that other computers can reach."""
    health = garden.health
    if health.port is None or ip_address(health.address).is_loopback:
        return []
    message = Message("check.health_address", {"address": health.address})
    return [caution(Message("place.health"), message)]
