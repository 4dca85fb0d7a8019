"""Checks that dose, holes and salt suit the plantings of a zone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

from controller.demand.plants.development import overwinters
from controller.demand.plants.stages import (
    LEAST_SCALE,
    MOST_SCALE,
    first_picking_days,
    packet_scale,
    stage_days_of,
)
from controller.demand.soil.ground import rows_named
from controller.demand.soil.salinity import CLASSES, leaching_share_of, salt_stress_of, water_class
from controller.garden.model import Garden, Planting, Site, Zone
from controller.garden.plumbing import ValveKind
from controller.garden.show import (
    show_about,
    show_duration,
    show_length,
    show_rough_flow,
    show_volume,
)
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
from controller.timetable.check.finding import Finding, caution
from controller.timetable.need.dose import even_litres, soaking_of
from controller.timetable.need.jobs import Grounds
from controller.timetable.need.wetted_area import zone_wet_ground_m2
from controller.units import M_PER_FT, l_from_m3, m3_from_l
from crops.catalogue import Crop

# Water use of a full bed on a hot day, to judge times (FAO-56 Table 2, warm; from memory).
HOT_DAY_MM = 6.0
SHORTEST_BY_HAND_S = 30.0  # our choice
# More pulses than this take too long. Our choice.
MANY_PULSES = 6
# For a meter that ends pulses, one tick may be at most this share of a dose. Our choice.
COARSE_SHARE = 0.05


def of_dose(
    where: str, zone: Zone, garden: Garden, grounds: Grounds, flow: ZoneFlow, lines: Lines
) -> Iterator[Finding]:
    """Cautions on a hot day's water: its time, its intake, its share of filling and travel."""
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
    )
    helps = flow.flow_m3_s >= WORTH_THROTTLING * target.flow_m3_s
    then_s = (wanted_m3 + drains_m3) / target.flow_m3_s
    throttle = (
        f"throttle it, alone, to about {show_rough_flow(target.flow_m3_s, us)}: then it takes "
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


def of_plantings(where: str, zone: Zone, grounds: Grounds) -> list[Finding]:
    """Cautions on plantings that the zone's drilling or water does not suit."""
    if not zone.plantings:
        return [caution(where, "nothing is planted: it gets no water")]
    soil, us = grounds.soil(zone.bed.soil), grounds.garden.us_units
    found: dict[str, None] = {}
    for planting in zone.plantings:
        crop = grounds.crop(planting.crop)
        for words in (
            _salt_message(crop, grounds.garden.supply.salt_ds_m),
            _age_message(planting, crop, grounds.garden.site),
            length_message(planting, crop, grounds.garden.site),
        ):
            if words:
                found[words] = None
        apart_m = planting.spacing_m or crop.in_row_spacing_m
        sown = not planting.transplanted
        if not (sown or planting.spacing_m or apart_m <= CLOSE_CROP_M):
            continue  # big plants: we take them to stand at their groups of holes
        what = "seeds between them do not come up" if sown else "plants between them stay dry"
        for number, row in enumerate(zone.rows, 1):
            if row.plugged or (planting.rows and number not in planting.rows):
                continue
            wet_m = soil.wetted_width_m if row.wetted_width_m is None else row.wetted_width_m
            every_m = row.drilling.every_m
            if every_m > wet_m and every_m > apart_m * _NO_NEARER:
                words = (
                    f"row {number}: holes stand {show_length(every_m, us)} apart, each wets about "
                    f"{show_about(wet_m, us)}, and {crop.label} stands "
                    f"{show_about(apart_m, us)} apart: {what}; drill nearer, or plant at the holes"
                )
                found[words] = None
    return [caution(where, words) for words in found]


def of_bare_rows(where: str, zone: Zone, garden: Garden, flow: ZoneFlow) -> list[Finding]:
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
        hot_m3 = m3_from_l(
            even_litres(
                net_mm=HOT_DAY_MM,
                ground_m2=sum(zone.rows[number - 1].ground_m2 for number in planted),
                evenness=dose_divisor(even, garden.watering),
            )
        )
        beside_m3 = hot_m3 * bare_m3_s / max(flow.flow_m3_s - bare_m3_s, 1e-9)
        us, many = garden.us_units, len(bare) > 1
        found[bare] = caution(
            where,
            f"{rows_named(bare)} {'hold' if many else 'holds'} nothing from {planting.start} to "
            f"{planting.until}, and {'take' if many else 'takes'} "
            f"{100 * bare_m3_s / flow.flow_m3_s:.0f} % of the valve's water: on a hot day "
            f"{show_volume(beside_m3, us)} beside {show_volume(hot_m3, us)} for "
            f"{rows_named(planted)}; plug {'them' if many else 'it'} (plugged = true) until "
            "something stands there",
        )
    return list(found.values())


def perennials(garden: Garden, grounds: Grounds) -> list[tuple[str, str]]:
    """The assumed age of each perennial: its zone, and a text."""
    found = []
    for zone in garden.zones:
        for planting in zone.plantings:
            crop = grounds.crop(planting.crop)
            if crop.perennial:
                words = f"{crop.label} from {planting.start}: {_age(planting, crop, garden)}"
                found.append((f'zone "{zone.name}"', words))
    return found


def _age(planting: Planting, crop: Crop, garden: Garden) -> str:
    young, before = crop.first_years, planting.years_before
    begins = planting.grows_from or planting.start
    if young is None or before is None or before >= young.years:
        return "established, with all its roots from the first day"
    full = f"as established from {begins.year - before + young.years} on"
    whose = f"; first years as of {young.label}" if young.kind else ""
    if before:
        return f"in growing year {before + 1} in {begins.year}, {full}{whose}"
    how = "newly set out" if planting.transplanted else "newly sown"
    step_m = M_PER_FT / 12.0 if garden.us_units else 0.01
    roots_m = round(min(young.roots_m, crop.root_min_m) / step_m) * step_m
    words = [how, f"roots {show_length(roots_m, garden.us_units)} deep"]
    settling_days = garden.watering.settling_days
    if settling_days and planting.transplanted:
        words.append(f"kept moist for {max(young.moist_days, settling_days)} days")
    if planting.grows_from:
        words.append(f"at rest until {planting.grows_from}")
    return f"{', '.join(words)}; {full}{whose}"


def _age_message(planting: Planting, crop: Crop, site: Site) -> str:
    """Message on a planting's age that does not fit the crop, or is missing; else empty."""
    start, north = planting.start, site.latitude_deg >= 0.0
    if not crop.perennial:
        if planting.years_before == 0 and planting.grows_from is None:
            return ""
        return (
            f"{crop.label} is no perennial: from, established and planted_year say nothing of it, "
            f"and it begins with its first stage on {start}"
        )
    long = (planting.until - start).days > _LONGEST_WINTER_DAYS
    rests = start.month in _LATE_MONTHS[north] and long
    if not (planting.transplanted and planting.years_before == 0 and rests):
        return ""
    if planting.grows_from is not None:
        return ""
    spring = date(start.year + (start.month > 8), 3, 15) if north else date(start.year, 9, 15)
    return (
        f"{crop.label} is set out on {start}, and its growing year is taken to begin on that date "
        "each year; if it rests until spring, add the day from which it grows, as in "
        f"from = {spring}"
    )


def length_message(planting: Planting, crop: Crop, site: Site) -> str:
    """Question about a planting that is much longer or shorter than its stages; else empty."""
    own = planting.stage_days or planting.stage_warmth or planting.by_warmth
    if planting.harvest_days is not None:
        if crop.perennial:
            return f"{crop.label} is a perennial: harvest_in says nothing of it"
        scale = planting.harvest_days / first_picking_days(crop)
        if not LEAST_SCALE <= scale <= MOST_SCALE:
            return (
                f"{crop.label}: harvest_in is {planting.harvest_days} days, and the crop table has "
                f"{first_picking_days(crop):.0f}; its stages are changed no further than to "
                f"{packet_scale(crop, planting.harvest_days):g} of the table's; write stages if "
                "the days are right"
            )
    if crop.perennial or own or (crop.autumn and overwinters(planting, site.latitude_deg)):
        return ""
    days = stage_days_of(crop, planting)
    stands = (planting.until - planting.start).days + 1
    last = planting.start + timedelta(days=sum(days) - 1)
    if stands > sum(days) * (1.0 + LONGER_BY) and crop.kcb_end < DROPS_TO * crop.kcb_mid:
        return (
            f"{crop.label} from {planting.start} stands {stands} days, and its stages end after "
            f"{sum(days)}, on {last}: from then on it is watered as at its end; for a longer "
            "variety write harvest_in, the packet's days, or stages; if it is gone by then, an "
            "earlier until"
        )
    if stands <= days[0] + days[1] and crop.first_picking is None:
        return (
            f"{crop.label} from {planting.start} stands {stands} days, and by its stages it is "
            f"full-grown after {days[0] + days[1]}; for a quick variety write harvest_in, the "
            "packet's days, or stages"
        )
    return ""


def _salt_message(crop: Crop, water_ds_m: float | None) -> str:
    """Message on the effect of salty water on a crop; empty if there is none."""
    if water_ds_m is None or crop.salinity_threshold_ds_m is None:
        return ""
    share = leaching_share_of(crop, water_ds_m)
    left = salt_stress_of(crop, water_ds_m)
    if left < 1.0:
        return (
            f"the water ({water_ds_m:g} dS/m, {water_class(water_ds_m)} by FAO-29) is too salty "
            f"for {crop.label}: with {100 * share:.0f} % more to wash it out, the most that is "
            f"given, its roots still take up only about {100 * left:.0f} % of what they ask for"
        )
    if share > 0.0 and water_ds_m > CLASSES[0][0]:
        return (
            f"the water ({water_ds_m:g} dS/m, {water_class(water_ds_m)} by FAO-29): "
            f"{100 * share:.0f} % of what {crop.label} gets is given beyond its need, to wash salt "
            "below the roots, as far as rain has not done it"
        )
    return ""
