"""A zone as advice looks at it: what it gives alone, and how to ask what else it could."""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.garden.model import Drilling, Garden, SupplyKind, Walls, Zone
from controller.garden.show import show_bore, show_length
from controller.hydraulics.corrections import Corrections
from controller.hydraulics.evenness import dose_divisor, real_uniformity
from controller.hydraulics.flows import ZoneFlow
from controller.hydraulics.lines import Lines
from controller.hydraulics.network import SupplyCurve
from controller.hydraulics.supplies import at_level, planning_curve, supply_states
from controller.hydraulics.whatif import hold_valve, with_zone

# A full bed's use on a hot day (FAO-56 Table 2, warm; from memory). [mm]
HOT_DAY_MM = 6.0
# Off level by more than this a row can be seen to be: what bears it needs no care. Our choice. [m]
SEEN_OFF_LEVEL_M = 0.05
# A barrel that may run dry is judged while this part of its fall is left: what comes after is the
# last tenth of its water. Our choice.
LOW_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneCase:
    """One zone that gives water; its valve is held as it stands.

    `flow` is what it gives as it is planned; `full` and `low` on a supply that rises and falls: a
    barrel full, and near its lowest. On a steady supply the three are one.
    """

    garden: Garden
    zone: Zone
    flow: ZoneFlow
    full: ZoneFlow
    low: ZoneFlow
    corrections: Corrections
    low_corrections: Corrections
    drains_m3: float

    @property
    def uniformity(self) -> float:
        """Low-quarter uniformity with drill and level. [-]"""
        return real_uniformity(self.flow.holes, self.garden.watering)

    @property
    def falls(self) -> bool:
        """Whether the supply falls while the zone runs."""
        return self.corrections != self.low_corrections

    @property
    def dose_m3(self) -> float:
        """Water of a hot day as it is planned, without what drains. [m3]"""
        divisor = dose_divisor(self.uniformity, self.garden.watering)
        return HOT_DAY_MM / 1000.0 * self.zone.ground_m2 / divisor

    def with_zone(self, zone: Zone, *, low: bool = False) -> Lines:
        """The lines with the zone changed; as they are planned, or with the supply low."""
        corrections = self.low_corrections if low else self.corrections
        return Lines(with_zone(self.garden, zone), corrections=corrections)


def zone_case(garden: Garden, lines: Lines, zone: str, corrections: Corrections) -> ZoneCase:
    """The case of one zone, running alone."""
    held, alone = hold_valve(garden, lines, zone), frozenset((zone,))
    planned = lines.open_set(alone).zones[zone]
    full, low = (
        corrections if curve == lines.supply else replace(corrections, supply=curve)
        for curve in fall_of(lines)
    )

    def flow_on(others: Corrections) -> ZoneFlow:
        if others == corrections:
            return planned
        return Lines(held, corrections=others).open_set(alone).zones[zone]

    return ZoneCase(
        garden=held,
        zone=garden.zone(zone),
        flow=planned,
        full=flow_on(full),
        low=flow_on(low),
        corrections=corrections,
        low_corrections=low,
        drains_m3=lines.line(zone).drains_m3,
    )


def fall_of(lines: Lines) -> tuple[SupplyCurve, SupplyCurve]:
    """The supply full and low: a barrel, while `LOW_SHARE` of its fall is left, or less if said."""
    supply = lines.garden.supply
    if supply.kind is not SupplyKind.BARREL or lines.supply != planning_curve(supply):
        return lines.supply, lines.supply  # steady, or measured and replaced
    full = supply_states(supply).start
    low_m = supply.falls_to_m or LOW_SHARE * supply.static_head_m
    return full, at_level(full, low_m)


def holes_words(drilling: Drilling, us: bool) -> str:
    """As in "3 holes of 1/16 in every 4 ft, through both walls"."""
    count = "a hole" if drilling.group == 1 else f"{drilling.group} holes"
    walls = ", through both walls," if drilling.walls is Walls.BOTH else ""
    bore, every = show_bore(drilling.bore_m, us), show_length(drilling.every_m, us)
    return f"{count} of {bore} every {every}{walls}"
