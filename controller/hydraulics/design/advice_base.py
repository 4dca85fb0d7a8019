"""One piece of advice, and the zone it looks at."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import floor, log10
from typing import Literal

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Drilling, SupplyKind, Walls
from controller.garden.show import listed, show_bore, show_length
from controller.hydraulics.design.what_if import hold_valve, with_zone
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.supplies import at_level, planning_curve, supply_states
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.hydraulics.network.uniformity import dose_divisor, real_uniformity
from controller.units import (
    M_PER_FT,
    gal_from_m3,
    gal_min_from_m3_s,
    in_from_m,
    l_from_m3,
    l_min_from_m3_s,
    psi_from_head_m,
)

Kind = Literal["harm", "water", "time", "to know"]
Subject = Literal[
    "row length",
    "level",
    "holes",
    "together",
    "throttle",
    "main",
    "speed",
    "surge",
    "house pipe",
    "ends",
    "closing",
    "filter",
    "backflow",
]
_ORDER: tuple[Kind, ...] = ("harm", "water", "time", "to know")


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to build or set otherwise, and the reason.

    `kind` says what it prevents or saves: harm to pipe or house, water, time; or that it is only
    good to know. `saves_m3` is water saved on a hot day, where that can be computed. `figures`
    holds the numbers behind the words, units in the keys.
    """

    subject: Subject
    kind: Kind
    where: str
    words: str
    based_on: str
    saves_m3: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)


def ranked(advice: Iterable[Advice]) -> tuple[Advice, ...]:
    """Sorted: what prevents harm, then by water saved, then what saves time, then the rest."""
    return tuple(sorted(advice, key=lambda a: (_ORDER.index(a.kind), -a.saves_m3)))


def advice_text(advice: Iterable[Advice], *, us: bool) -> str:
    """Each piece as a paragraph of 80 columns, with its basis below."""
    pieces = list(advice)
    lines: list[str] = []
    for number, one in enumerate(pieces):
        saves = f" Saves about {show_litres(one.saves_m3, us)} on a hot day."
        words = f"{one.where}: {one.words}.{saves if one.saves_m3 > 0.0 else ''}"
        lines += textwrap.wrap(words, 80, initial_indent="- ", subsequent_indent="  ")
        # Printed once for neighbours with the same basis.
        if [after.based_on for after in pieces[number + 1 : number + 2]] != [one.based_on]:
            basis = f"({one.based_on})"
            lines += textwrap.wrap(basis, 80, initial_indent="    ", subsequent_indent="     ")
    return "\n".join(lines) + "\n" if lines else ""


def advice_rows(advice: Iterable[Advice]) -> list[dict[str, object]]:
    """The same for programs; SI, units in the keys."""
    return [
        {
            "subject": one.subject,
            "kind": one.kind,
            "where": one.where,
            "words": one.words,
            "based_on": one.based_on,
            "saves_m3": one.saves_m3,
            "figures": dict(one.figures),
        }
        for one in advice
    ]


def figures(value: float, count: int) -> str:
    """A number to so many figures, written out: 240, 2.4, 0.024."""
    if value == 0.0:
        return "0"
    decimals = count - 1 - floor(log10(abs(value)))
    text = f"{round(value, decimals):.{max(0, decimals)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_rate(flow_m3_s: float, us: bool) -> str:
    """A flow to three figures: nobody sets a valve closer."""
    if us:
        return f"{figures(gal_min_from_m3_s(flow_m3_s), 3)} gal/min"
    return f"{figures(l_min_from_m3_s(flow_m3_s), 3)} L/min"


def show_litres(volume_m3: float, us: bool) -> str:
    """A volume to two figures."""
    if us:
        return f"{figures(gal_from_m3(volume_m3), 2)} gal"
    return f"{figures(l_from_m3(volume_m3), 2)} L"


def show_head(head_m: float, us: bool) -> str:
    """A head as pressure, in psi or metres of water."""
    if us:
        return f"{figures(psi_from_head_m(head_m), 3)} psi"
    return f"{figures(head_m, 3)} m of water"


def show_off_level(metres: float, us: bool) -> str:
    """A small height in both units, the garden's first, because levels are marked in either."""
    size_mm = 1000.0 * metres
    metric = f"{figures(size_mm, 2)} mm" if size_mm < 10.0 else f"{figures(size_mm / 10.0, 2)} cm"
    both = f"{figures(in_from_m(metres), 2)} in", metric
    first, second = both if us else both[::-1]
    return f"{first} ({second})"


def show_speed(m_s: float, us: bool) -> str:
    """A velocity in both units, the garden's first, because the guideline is known in feet."""
    both = f"{m_s / M_PER_FT:.1f} ft/s", f"{m_s:.1f} m/s"
    first, second = both if us else both[::-1]
    return f"{first} ({second})"


def quoted(names: Iterable[str]) -> str:
    """Names of zones or rows in a sentence, each between its own marks."""
    return listed(f'"{name}"' for name in names)


# A full bed's use on a hot day (FAO-56 Table 2, warm; from memory). [mm]
HOT_DAY_MM = 6.0
# A row that is off level by more than this can be seen to be; one that bears it needs no care. Our
# choice. [m]
SEEN_OFF_LEVEL_M = 0.05
# A barrel that may run dry is judged while this part of its fall is left; after that comes the last
# tenth of its water. Our choice.
LOW_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneCase:
    """One zone that gives water, with its valve as it stands.

    `flow` is its flow as planned; `full` and `low` are its flows with a barrel full and near its
    lowest. On a steady supply all three are equal.
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
        """Water of a hot day as planned, without what drains. [m3]"""
        divisor = dose_divisor(self.uniformity, self.garden.watering)
        return HOT_DAY_MM / 1000.0 * self.zone.ground_m2 / divisor

    def with_zone(self, zone: Zone, *, low: bool = False) -> Lines:
        """The lines with the zone changed, on the planned supply or on the low one."""
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
    """The supply full and low: a barrel with `LOW_SHARE` of its fall left, or less if given."""
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
