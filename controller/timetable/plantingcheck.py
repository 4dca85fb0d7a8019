"""Whether what stands in a zone can do with its holes and its water: dry gaps, salt."""

from __future__ import annotations

from controller.demand.salts import CLASSES, leaching_share_of, salt_stress_of, water_class
from controller.garden.model import Zone
from controller.garden.show import show_about, show_length
from controller.timetable.finding import Finding, caution
from controller.timetable.jobs import Grounds
from crops.catalogue import Crop

# Close crops (carrots, onions, salad) are drilled every few inches, big plants get a group of holes
# each, a whole bed is drilled through both walls: common practice, no source.
CLOSE_CROP_M = 0.2
# Plants that stand as far apart as the holes, or nearly, stand at them. Our choice.
_NO_NEARER = 1.1


def of_plantings(where: str, zone: Zone, grounds: Grounds) -> list[Finding]:
    """What the zone's drilling and water do not give what is planted there."""
    if not zone.plantings:
        return [caution(where, "nothing is planted: it gets no water")]
    soil, us = grounds.soil(zone.bed.soil), grounds.garden.us_units
    found: dict[str, None] = {}
    for planting in zone.plantings:
        crop = grounds.crop(planting.crop)
        words = _salt_words(crop, grounds.garden.supply.salt_ds_m)
        if words:
            found[words] = None
        apart_m = planting.spacing_m or crop.in_row_spacing_m
        sown = not planting.transplanted and not crop.perennial
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
