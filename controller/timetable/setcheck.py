"""What `check` says of zones open together: which never are, and what forks of the main take."""

from __future__ import annotations

from itertools import combinations

from controller.garden.model import Garden
from controller.garden.show import show_length, show_pressure
from controller.hydraulics.lines import Lines
from controller.hydraulics.together import (
    StaysOpen,
    before_valve_m,
    closing_heads_m,
    that_stay_open,
    uncounted_at_forks_m,
)
from controller.timetable.finding import Finding, caution

_MANY_NAMES = 5
# Of the head before a valve, what a fork may take uncounted before it is worth saying. Our choice.
FORK_TAKES = 0.05


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


def of_forks(garden: Garden, lines: Lines) -> list[Finding]:
    """Zones whose thin stream leaves a fast run of the main, with the thirstiest open beside it."""
    if not garden.runs or garden.watering.most_open < 2:
        return []
    watering = [z.name for z in garden.zones if any(not row.plugged for row in z.rows)]
    alone = {name: lines.zone_flows(frozenset((name,)))[name] for name in watering}
    thirstiest = sorted(watering, key=lambda name: -alone[name])
    found: list[Finding] = []
    for name in watering:
        others = [other for other in thirstiest if other != name][: garden.watering.most_open - 1]
        opened = frozenset((name, *others))
        has_m = before_valve_m(lines, opened, name)
        missed_m = uncounted_at_forks_m(lines, opened, name)
        if others and missed_m > FORK_TAKES * max(0.0, has_m):
            us = garden.us_units
            found.append(
                caution(
                    f'zone "{name}"',
                    f"with {_named(sorted(others), 'and')} open too, its stream leaves a run of "
                    f"the main much faster than itself: that may take up to "
                    f"{show_length(missed_m, us)} of head more than is computed, of the "
                    f"{show_length(max(0.0, has_m), us)} before its valve; a bigger pipe before "
                    "the fork helps, or fewer zones at once",
                )
            )
    return found


def _named(names: list[str], last_word: str = "or") -> str:
    """A few names, or the first of many."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) > _MANY_NAMES:
        return f"{', '.join(quoted[:_MANY_NAMES])} and {len(quoted) - _MANY_NAMES} more"
    *most, last = quoted
    return f"{', '.join(most)} {last_word} {last}" if most else last
