"""Checks that dose, holes, salt and covers suit the plantings of a zone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

from controller.check.finding import Finding, alike_once, caution, in_zone
from controller.demand.plants.development import overwinters
from controller.demand.plants.stages import (
    LEAST_SCALE,
    MOST_SCALE,
    first_picking_days,
    packet_scale,
    stage_days_of,
)
from controller.demand.soil.salinity import CLASSES, leaching_share_of, salt_stress_of, water_class
from controller.garden.model import Cover, Garden, Planting, Site, Watering, Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.design.limits import (
    LOST_SHARE,
    WORTH_THROTTLING,
    longest_run_s,
    lost_share,
    throttle_to,
)
from controller.hydraulics.network.filling import line_fill
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.uniformity import dose_divisor, real_uniformity
from controller.messages import Message, Quantity, Value
from controller.timetable.covers import dated
from controller.timetable.need.dose import even_litres, soaking_of
from controller.timetable.need.jobs import Grounds
from controller.timetable.need.wetted_area import zone_wet_ground_m2
from controller.units import l_from_m3, m3_from_l
from crops.catalogue import Crop

# Water use of a full bed on a hot day, to judge times (FAO-56 Table 2, warm; from memory).
HOT_DAY_MM = 6.0
SHORTEST_BY_HAND_S = 30.0  # our choice
# More pulses than this take too long. Our choice.
MANY_PULSES = 6
# For a meter that ends pulses, one tick may be at most this share of a dose. Our choice.
COARSE_SHARE = 0.05


def hot_day_litres(ground_m2: float, uniformity: float, watering: Watering) -> float:
    """Water of a hot day on this ground, for rows of this uniformity. [L]"""
    divisor = dose_divisor(uniformity, watering)
    return even_litres(net_mm=HOT_DAY_MM, ground_m2=ground_m2, evenness=divisor)


def of_dose(
    zone: Zone, garden: Garden, grounds: Grounds, flow: ZoneFlow, lines: Lines
) -> Iterator[Finding]:
    """Cautions on a hot day's water: its time, its intake, its share of filling and travel."""
    even = real_uniformity(flow.holes, garden.watering)
    if even <= 0.0 or zone.ground_m2 <= 0.0:
        return
    where = in_zone(zone.name)
    filling = line_fill(lines, zone.name, frozenset((zone.name,)))
    wanted_l = hot_day_litres(zone.ground_m2, even, garden.watering)
    wanted_m3, drains_m3 = m3_from_l(wanted_l), filling.drains_m3
    wanted = Quantity(wanted_m3, "volume")
    soil = grounds.soil(zone.bed.soil)
    soak = soaking_of(zone_wet_ground_m2(zone, soil, lines), soil, garden.watering.basin_mm)
    target = throttle_to(
        zone,
        wanted_m3=wanted_m3,
        drains_m3=drains_m3,
        takes_in=soak,
        longest_s=longest_run_s(garden, zone),
    )
    helps = flow.flow_m3_s >= WORTH_THROTTLING * target.flow_m3_s
    then_s = (wanted_m3 + drains_m3) / target.flow_m3_s
    throttle = Message(
        "check.throttle",
        {
            "flow": Quantity(target.flow_m3_s, "rough flow"),
            "takes": Quantity(round(then_s), "duration"),
        },
    )
    seconds = (wanted_m3 + drains_m3) / flow.flow_m3_s
    if seconds < SHORTEST_BY_HAND_S and zone.valve.kind is ValveKind.HAND:
        yield caution(
            where,
            Message(
                "check.short_by_hand_throttle" if helps else "check.short_by_hand",
                {"seconds": seconds, "throttle": throttle},
            ),
            about="throttle",
        )
    if drains_m3 > LOST_SHARE * wanted_m3:
        yield caution(
            where,
            Message(
                "check.filling",
                {
                    "fills": Quantity(drains_m3, "volume"),
                    "seconds": filling.again_s,
                    "wanted": wanted,
                },
            ),
        )
    share = lost_share(
        zone.valve, flow_m3_s=flow.flow_m3_s, wanted_m3=wanted_m3, drains_m3=drains_m3
    )
    travel_s = zone.valve.opens_in_s + zone.valve.closes_in_s
    if share > LOST_SHARE and travel_s > 0.0 and flow.flow_m3_s > target.flow_m3_s:
        yield caution(
            where,
            Message(
                "check.travel",
                {
                    "share": Quantity(share, "percent"),
                    "travel": Quantity(travel_s, "duration"),
                    "throttle": throttle,
                },
            ),
            about="throttle",
        )
    if wanted_m3 > zone.daily_cap_m3:
        cap = Quantity(zone.daily_cap_m3, "volume")
        yield caution(where, Message("check.over_cap", {"wanted": wanted, "cap": cap}))
    pulses = math.ceil(wanted_l / soak.litres_at_once(l_from_m3(flow.flow_m3_s)))
    if pulses > MANY_PULSES:
        yield caution(
            where,
            Message(
                "check.many_pulses_throttle" if helps else "check.many_pulses",
                {"pulses": pulses, "throttle": throttle},
            ),
            about="throttle",
        )
    meter = garden.meter
    if meter is not None and meter.by_litres and meter.litres_per_pulse > COARSE_SHARE * wanted_l:
        tick = Quantity(m3_from_l(meter.litres_per_pulse), "volume")
        yield caution(where, Message("check.coarse_meter", {"tick": tick, "wanted": wanted}))


# Close crops (carrots, onions, salad) get a hole every few inches, big plants a group of holes
# each, a whole bed holes through both walls: common practice, no source.
CLOSE_CROP_M = 0.2
# Plants at about the spacing of the holes stand at the holes. Our choice.
_NO_NEARER = 1.1
# Set out in these months (in the north, and in the south) a perennial mostly rests until spring.
# Our choice.
_LATE_MONTHS = {True: frozenset((9, 10, 11, 12, 1)), False: frozenset((3, 4, 5, 6, 7))}
_LONGEST_WINTER_DAYS = 200
# A smaller share of the water for bare rows is not worth a plug. Our choice.
_BARE_SHARE = 0.1
# Our choices. A planting that stands so much longer than its stages gets a question, if its use
# falls to such a share by then: crops that are green at the end lack nothing.
LONGER_BY = 0.15
DROPS_TO = 0.93


def of_plantings(zone: Zone, grounds: Grounds) -> list[Finding]:
    """Cautions on plantings that the zone's drilling or water does not suit."""
    where = in_zone(zone.name)
    if not zone.plantings:
        return [caution(where, Message("check.nothing_planted"))]
    soil, site = grounds.soil(zone.bed.soil), grounds.garden.site
    found: list[Message] = []
    for planting in zone.plantings:
        crop = grounds.crop(planting.crop)
        for message in (
            _salt_message(crop, grounds.garden.supply.salt_ds_m),
            _age_message(planting, crop, site),
            length_message(planting, crop, site),
        ):
            if message is not None:
                found.append(message)
        apart_m = planting.spacing_m or crop.in_row_spacing_m
        sown = not planting.transplanted
        if not (sown or planting.spacing_m or apart_m <= CLOSE_CROP_M):
            continue  # big plants: we take them to stand at their groups of holes
        for number, row in enumerate(zone.rows, 1):
            if row.plugged or (planting.rows and number not in planting.rows):
                continue
            wet_m = soil.wetted_width_m if row.wetted_width_m is None else row.wetted_width_m
            every_m = row.drilling.every_m
            if every_m > wet_m and every_m > apart_m * _NO_NEARER:
                found.append(
                    Message(
                        "check.holes_apart_sown" if sown else "check.holes_apart",
                        {
                            "row": number,
                            "every": Quantity(every_m, "length"),
                            "wets": Quantity(wet_m, "about length"),
                            "crop": crop.label,
                            "apart": Quantity(apart_m, "about length"),
                        },
                    )
                )
    once = [message for n, message in enumerate(found) if message not in found[:n]]
    return [caution(where, message) for message in alike_once(once)]


def of_bare_rows(zone: Zone, garden: Garden, flow: ZoneFlow) -> list[Finding]:
    """Cautions on rows of the zone that are bare while others are watered."""
    in_use = [number for number, row in enumerate(zone.rows, 1) if not row.plugged]
    found: dict[tuple[int, ...], Finding] = {}
    for planting in zone.plantings:
        stand = {
            number
            for other in zone.plantings
            if other.start <= planting.until and planting.start <= other.until
            for number in other.rows or in_use
        }
        bare = tuple(number for number in in_use if number not in stand)
        bare_m3_s = sum(flow.rows[number - 1].flow_m3_s for number in bare)
        if bare in found or bare_m3_s < _BARE_SHARE * flow.flow_m3_s:
            continue
        planted = [number for number in in_use if number in stand]
        even = real_uniformity(flow.holes, garden.watering)
        ground_m2 = sum(zone.rows[number - 1].ground_m2 for number in planted)
        hot_m3 = m3_from_l(hot_day_litres(ground_m2, even, garden.watering))
        beside_m3 = hot_m3 * bare_m3_s / max(flow.flow_m3_s - bare_m3_s, 1e-9)
        found[bare] = caution(
            in_zone(zone.name),
            Message(
                "check.bare_rows",
                {
                    "bare": tuple(map(str, bare)),
                    "count": len(bare),
                    "start": planting.start,
                    "until": planting.until,
                    "share": Quantity(bare_m3_s / flow.flow_m3_s, "percent"),
                    "beside": Quantity(beside_m3, "volume"),
                    "hot": Quantity(hot_m3, "volume"),
                    "planted": tuple(map(str, planted)),
                    "planted_count": len(planted),
                },
            ),
        )
    return list(found.values())


def of_covers(zone: Zone, garden: Garden) -> list[Finding]:
    """Cautions on covers of the zone's bed: one over no planting, salt that no rain leaches."""
    where = in_zone(zone.name)
    found = [
        caution(where, Message("check.idle_cover", {"cover": dated(cover)}))
        for cover in zone.bed.covers
        if not _touches(cover, zone) and not _serves_another(cover, zone, garden)
    ]
    salt = garden.supply.salt_ds_m
    dry = [c for c in zone.bed.covers if c.rain_factor == 0.0 and _touches(c, zone)]
    if salt and dry and zone.plantings:
        values: dict[str, Value] = {"cover": dated(dry[0]), "salt": salt}
        found.append(caution(where, Message("check.salt_under_cover", values)))
    return found


def _touches(cover: Cover, zone: Zone) -> bool:
    return not zone.plantings or any(
        cover.begins <= p.until and p.start <= cover.until for p in zone.plantings
    )


def _serves_another(cover: Cover, zone: Zone, garden: Garden) -> bool:
    """Whether the same cover of the bed stands over a planting of another zone."""
    return any(
        other.bed.name == zone.bed.name and cover in other.bed.covers and _touches(cover, other)
        for other in garden.zones
        if other is not zone and other.plantings
    )


def perennials(garden: Garden, grounds: Grounds) -> list[tuple[Message, Message]]:
    """The assumed age of each perennial, with its zone."""
    return [
        (in_zone(zone.name), _age(planting, crop, garden.watering.settling_days))
        for zone in garden.zones
        for planting in zone.plantings
        if (crop := grounds.crop(planting.crop)).perennial
    ]


def _age(planting: Planting, crop: Crop, settling_days: int) -> Message:
    young, before = crop.first_years, planting.years_before
    values: dict[str, Value] = {"crop": crop.label, "start": planting.start}
    if young is None or before is None or before >= young.years:
        return Message("perennial.established", values)
    begins = planting.grows_from or planting.start
    values["full"] = begins.year - before + young.years
    values["as_of"] = Message("perennial.as_of", {"kind": young.label}) if young.kind else ""
    if before:
        return Message("perennial.growing_year", {**values, "nth": before + 1, "year": begins.year})
    roots = Quantity(min(young.roots_m, crop.root_min_m), "rough length")
    more = []
    if settling_days and planting.transplanted:
        days = max(young.moist_days, settling_days)
        more.append(Message("perennial.kept_moist", {"days": days}))
    if planting.grows_from:
        more.append(Message("perennial.rests", {"until": planting.grows_from}))
    return Message(
        "perennial.set_out" if planting.transplanted else "perennial.sown",
        {**values, "roots": roots, "more": tuple(more)},
    )


def _age_message(planting: Planting, crop: Crop, site: Site) -> Message | None:
    """Message on a planting's age that does not fit the crop, or is missing."""
    start, north = planting.start, site.latitude_deg >= 0.0
    if not crop.perennial:
        if planting.years_before == 0 and planting.grows_from is None:
            return None
        return Message("check.no_perennial", {"crop": crop.label, "start": start})
    long = (planting.until - start).days > _LONGEST_WINTER_DAYS
    rests = start.month in _LATE_MONTHS[north] and long and planting.grows_from is None
    if not (planting.transplanted and planting.years_before == 0 and rests):
        return None
    spring = date(start.year + (start.month > 8), 3, 15) if north else date(start.year, 9, 15)
    return Message("check.set_out_late", {"crop": crop.label, "start": start, "spring": spring})


def length_message(planting: Planting, crop: Crop, site: Site) -> Message | None:
    """Question about a planting that is much longer or shorter than its stages."""
    own = planting.stage_days or planting.stage_warmth or planting.by_warmth
    if planting.harvest_days is not None:
        if crop.perennial:
            return Message("check.perennial_harvest", {"crop": crop.label})
        table_days = first_picking_days(crop)
        if not LEAST_SCALE <= planting.harvest_days / table_days <= MOST_SCALE:
            return Message(
                "check.far_harvest",
                {
                    "crop": crop.label,
                    "days": planting.harvest_days,
                    "table_days": table_days,
                    "scale": packet_scale(crop, planting.harvest_days),
                },
            )
    if crop.perennial or own or (crop.autumn and overwinters(planting, site.latitude_deg)):
        return None
    days = stage_days_of(crop, planting)
    stands, full_grown = (planting.until - planting.start).days + 1, days[0] + days[1]
    too_long = stands > sum(days) * (1.0 + LONGER_BY) and crop.kcb_end < DROPS_TO * crop.kcb_mid
    if not too_long and (stands > full_grown or crop.first_picking is not None):
        return None
    return Message(
        "check.stands_long" if too_long else "check.stands_short",
        {
            "crop": crop.label,
            "start": planting.start,
            "stands": stands,
            "stages": sum(days),
            "last": planting.start + timedelta(days=sum(days) - 1),
            "full_grown": full_grown,
        },
    )


def _salt_message(crop: Crop, water_ds_m: float | None) -> Message | None:
    """Message on the effect of salty water on a crop, if there is any."""
    if water_ds_m is None or crop.salinity_threshold_ds_m is None:
        return None
    share = leaching_share_of(crop, water_ds_m)
    left = salt_stress_of(crop, water_ds_m)
    if left >= 1.0 and (share <= 0.0 or water_ds_m <= CLASSES[0][0]):
        return None
    return Message(
        "check.too_salty" if left < 1.0 else "check.salty",
        {
            "salt": water_ds_m,
            "class": water_class(water_ds_m),
            "crop": crop.label,
            "share": Quantity(share, "percent"),
            "left": Quantity(left, "percent"),
        },
    )
