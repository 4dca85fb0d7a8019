"""Whether what stands in a zone can do with its holes and its water: dry gaps, salt, its age."""

from __future__ import annotations

from datetime import date, timedelta

from controller.demand.facts import rows_named
from controller.demand.pace import winters
from controller.demand.salts import CLASSES, leaching_share_of, salt_stress_of, water_class
from controller.demand.stages import (
    LEAST_SCALE,
    MOST_SCALE,
    first_picking_days,
    scale_of,
    stage_days_of,
)
from controller.garden.model import Garden, Planting, Site, Zone
from controller.garden.show import show_about, show_length, show_volume
from controller.hydraulics.evenness import dose_divisor, real_uniformity
from controller.hydraulics.flows import ZoneFlow
from controller.timetable.dose import even_litres
from controller.timetable.dosecheck import HOT_DAY_MM
from controller.timetable.finding import Finding, caution
from controller.timetable.jobs import Grounds
from controller.units import M_PER_FT, m3_from_l
from crops.catalogue import Crop

# Close crops (carrots, onions, salad) are drilled every few inches, big plants get a group of holes
# each, a whole bed is drilled through both walls: common practice, no source.
CLOSE_CROP_M = 0.2
# Plants that stand as far apart as the holes, or nearly, stand at them. Our choice.
_NO_NEARER = 1.1
# Set out in these months (in the north, and in the south) a perennial mostly rests until spring.
# Our choice.
_LATE_MONTHS = {True: frozenset((9, 10, 11, 12, 1)), False: frozenset((3, 4, 5, 6, 7))}
_LONGEST_WINTER_DAYS = 200
# Less of the water than this, given to bare rows, is not worth a plug. Our choice.
_BARE_SHARE = 0.1
# Our choices. So much longer than its stages a planting is asked about, where its use falls to such
# a share by then: crops that end as green as they were lack nothing.
LONGER_BY = 0.15
DROPS_TO = 0.93


def of_plantings(where: str, zone: Zone, grounds: Grounds) -> list[Finding]:
    """What the zone's drilling and water do not give what is planted there."""
    if not zone.plantings:
        return [caution(where, "nothing is planted: it gets no water")]
    soil, us = grounds.soil(zone.bed.soil), grounds.garden.us_units
    found: dict[str, None] = {}
    for planting in zone.plantings:
        crop = grounds.crop(planting.crop)
        for words in (
            _salt_words(crop, grounds.garden.supply.salt_ds_m),
            _age_words(planting, crop, grounds.garden.site),
            length_words(planting, crop, grounds.garden.site),
        ):
            if words:
                found[words] = None
        apart_m = planting.spacing_m or crop.in_row_spacing_m
        sown = not planting.transplanted
        if not (sown or planting.spacing_m or apart_m <= CLOSE_CROP_M):
            continue  # big plants, taken to stand at their groups of holes
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
    """Rows on the zone's valve that hold nothing all the while others are watered."""
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
    """How old each perennial is taken to be: its zone, and the words."""
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


def _age_words(planting: Planting, crop: Crop, site: Site) -> str:
    """What is said of a planting's age that does not fit the crop, or is missing."""
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


def length_words(planting: Planting, crop: Crop, site: Site) -> str:
    """What is asked where the planting stands far longer, or shorter, than its stages."""
    own = planting.stage_days or planting.stage_warmth or planting.by_warmth
    if planting.harvest_days is not None:
        if crop.perennial:
            return f"{crop.label} is a perennial: harvest_in says nothing of it"
        scale = planting.harvest_days / first_picking_days(crop)
        if not LEAST_SCALE <= scale <= MOST_SCALE:
            return (
                f"{crop.label}: harvest_in is {planting.harvest_days} days, and the crop table has "
                f"{first_picking_days(crop):.0f}; its stages are changed no further than to "
                f"{scale_of(crop, planting.harvest_days):g} of the table's; write stages if the "
                "days are right"
            )
    if crop.perennial or own or (crop.autumn and winters(planting, site.latitude_deg)):
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


def _salt_words(crop: Crop, water_ds_m: float | None) -> str:
    """What salty water does to a crop, where it does anything."""
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
