"""A zone as advice looks at it: what it gives alone, and how to ask what else it could."""

from __future__ import annotations

from dataclasses import dataclass

from controller.garden.model import Drilling, Garden, Walls, Zone
from controller.garden.show import show_bore, show_length
from controller.hydraulics.corrections import Corrections
from controller.hydraulics.evenness import real_uniformity
from controller.hydraulics.flows import ZoneFlow
from controller.hydraulics.lines import Lines
from controller.hydraulics.whatif import hold_valve, with_zone

# A full bed's use on a hot day (FAO-56 Table 2, warm; from memory). [mm]
HOT_DAY_MM = 6.0
# Off level by more than this a row can be seen to be: what bears it needs no care. Our choice. [m]
SEEN_OFF_LEVEL_M = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneCase:
    """One zone that gives water; its valve is held as it stands."""

    garden: Garden
    zone: Zone
    flow: ZoneFlow
    corrections: Corrections
    drains_m3: float

    @property
    def uniformity(self) -> float:
        """Low-quarter uniformity with drill and level. [-]"""
        return real_uniformity(self.flow.holes, self.garden.watering)

    def dose_m3(self, uniformity: float) -> float:
        """Water of a hot day at a uniformity, without what drains. [m3]"""
        return HOT_DAY_MM / 1000.0 * self.zone.ground_m2 / uniformity

    def with_zone(self, zone: Zone) -> Lines:
        """The lines with the zone changed."""
        return Lines(with_zone(self.garden, zone), corrections=self.corrections)


def zone_case(garden: Garden, lines: Lines, zone: str, corrections: Corrections) -> ZoneCase:
    """The case of one zone, running alone."""
    return ZoneCase(
        garden=hold_valve(garden, lines, zone),
        zone=garden.zone(zone),
        flow=lines.open_set(frozenset((zone,))).zones[zone],
        corrections=corrections,
        drains_m3=lines.line(zone).drains_m3,
    )


def holes_words(drilling: Drilling, us: bool) -> str:
    """As in "3 holes of 1/16 in every 4 ft, through both walls"."""
    count = "a hole" if drilling.group == 1 else f"{drilling.group} holes"
    walls = ", through both walls," if drilling.walls is Walls.BOTH else ""
    bore, every = show_bore(drilling.bore_m, us), show_length(drilling.every_m, us)
    return f"{count} of {bore} every {every}{walls}"
