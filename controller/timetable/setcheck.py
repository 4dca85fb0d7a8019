"""What `check` says of zones never open together, for the pressure a valve wants to shut."""

from __future__ import annotations

from itertools import combinations

from controller.garden.model import Garden
from controller.garden.show import show_pressure
from controller.hydraulics.lines import Lines
from controller.hydraulics.together import StaysOpen, closing_heads_m, that_stay_open
from controller.timetable.finding import Finding, caution

_MANY_NAMES = 5


def of_sets(garden: Garden, lines: Lines) -> list[Finding]:
    """Pairs of zones that are never open together, since a valve of them would not shut."""
    wants = set(closing_heads_m(garden))
    watering = [z for z in garden.zones if any(not row.plugged for row in z.rows)]
    alone = {zone.name for zone in watering if not that_stay_open(lines, frozenset((zone.name,)))}
    beside: dict[str, list[tuple[str, StaysOpen]]] = {}
    for one, other in combinations([z.name for z in watering if z.name in alone], 2):
        if garden.watering.most_open < 2 or not wants & {one, other}:
            continue
        for stays in that_stay_open(lines, frozenset((one, other))):
            partner = other if stays.zone == one else one
            beside.setdefault(stays.zone, []).append((partner, stays))
    found: list[Finding] = []
    for name, others in beside.items():
        least = min((stays for _, stays in others), key=lambda stays: stays.has_m)
        found.append(
            caution(
                f'zone "{name}"',
                f"it is never open together with {_named([other for other, _ in others])}: its "
                f"valve wants {show_pressure(least.wants_m, garden.us_units)} before it to shut, "
                f"and as little as {show_pressure(max(0.0, least.has_m), garden.us_units)} would "
                "be left",
            )
        )
    return found


def _named(names: list[str]) -> str:
    """A few names, or the first of many."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) > _MANY_NAMES:
        return f"{', '.join(quoted[:_MANY_NAMES])} and {len(quoted) - _MANY_NAMES} more"
    *most, last = quoted
    return f"{', '.join(most)} or {last}" if most else last
