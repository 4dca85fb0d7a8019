"""Design advice, for the whole garden or some of its zones."""

from __future__ import annotations

from collections.abc import Collection

from controller.cli.loading import Loaded
from controller.garden.model import Zone
from controller.hydraulics.advice import Advice, advise
from controller.timetable.dose import Soaking, soaking_of
from controller.timetable.tested import Tested
from controller.timetable.wetted import zone_wet_ground_m2


def advice_for(
    loaded: Loaded, tested: Tested, zones: Collection[str] | None = None
) -> tuple[Advice, ...]:
    """What to build or set otherwise; with zones, only what names one of them."""
    garden, grounds = loaded.garden, loaded.grounds

    def soaking(zone: Zone) -> Soaking:
        soil = grounds.soil(zone.bed.soil)
        wet_m2 = zone_wet_ground_m2(zone, soil, tested.lines)
        return soaking_of(wet_m2, soil, garden.watering.basin_mm)

    found = advise(
        garden,
        tested.lines,
        lambda crop: grounds.crop(crop).in_row_spacing_m,
        soaking=soaking,
        corrections=tested.corrections,
    )
    if zones is None:
        return found
    return tuple(a for a in found if any(f'"{zone}"' in a.where + a.words for zone in zones))
