"""The sheet of a walk, and its lines for the logbook."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller.cli.walk.findings import SKIPPED, Finding, Tried, relay_zones
from controller.garden.model import Garden
from controller.paper.amounts import Units
from controller.paper.text import paragraph


def sheet_text(
    garden: Garden,
    tries: Sequence[Tried],
    found: Sequence[Finding],
    *,
    when: str,
    dry: bool,
    ended: str,
    flow_l_s: Callable[[str], float],
) -> str:
    """What was asked and seen, line by line, then the faults, and how to mend them."""
    water = "water off" if dry else "water on"
    lines = ["", f"Walk of {garden.site.name}, {when}, {water}", ""]
    if tries:
        longest = max(4, *(len(t.zone) for t in tries))
        lines.append(f"  line  {'zone':<{longest}}  what was seen")
        lines += [
            f"  {t.line:>4}  {t.zone:<{longest}}  {_row(t, garden, dry=dry, flow_l_s=flow_l_s)}"
            for t in tries
        ]
        lines.append("")
    lines += [f"Ended early: {ended}.", ""] if ended else []
    lines += ["Findings" if found else "Findings: none"]
    for number, finding in enumerate(found, 1):
        lines += paragraph(f"{finding.words}.", f"{number:>2}. ", "    ")
        lines += ["    In the garden file:"] if finding.change else []
        lines += [f"      {line}" for line in finding.change]
    left = _not_walked(garden, tries)
    if left:
        lines += ["", *paragraph(f"Not walked: {', '.join(left)}.", then="")]
    if not dry and any(t.open_s for t in tries):
        lines += ["", "The water of this walk is not counted as watering."]
    return "\n".join(lines) + "\n"


def logbook_lines(
    garden: Garden,
    tries: Sequence[Tried],
    found: Sequence[Finding],
    *,
    dry: bool,
    ended: str,
    who: str,
) -> list[tuple[str, str | None, int | None]]:
    """Text, zone and line of each entry: the walk as a whole, then each finding."""
    well = ", ".join(f"{t.zone} {t.line}" for t in tries if t.well) or "none"
    moved, opened = len(relay_zones(garden)), sum(not t.not_tried for t in tries)
    whole = (
        f"walk{f' by {who}' if who else ''}, water {'off' if dry else 'on'}: "
        f"{opened} of {moved} lines, {len(found)} findings; well: {well}"
    )
    if ended:
        whole += f"; ended early: {ended}"
    return [(whole, None, None), *((_with_change(f), f.zone, f.line) for f in found)]


def _with_change(finding: Finding) -> str:
    change = "; ".join(finding.change)
    return f"{finding.kind}: {finding.words}{f'; in the garden file: {change}' if change else ''}"


def _row(tried: Tried, garden: Garden, *, dry: bool, flow_l_s: Callable[[str], float]) -> str:
    if tried.not_tried:
        return SKIPPED if tried.not_tried == SKIPPED else "NOT OPENED"
    words = ", ".join(sorted(tried.seen)) or tried.elsewhere or "nothing"
    if tried.well:
        words = "its valve moved" if dry else "its water"
    if tried.clicked is not None:
        words += ", relay clicked" if tried.clicked else ", no click"
    if tried.stopped is not None:
        words += ", stopped" if tried.stopped else ", RAN ON"
    if tried.counts is not None and garden.meter is not None:
        units = Units(garden.us_units)
        metered = units.volume(tried.counts * garden.meter.litres_per_pulse)
        computed = units.volume(flow_l_s(tried.zone) * tried.open_s)
        words += f"; {tried.counts} counts, {metered} (computed {computed})"
    return words


def _not_walked(garden: Garden, tries: Sequence[Tried]) -> list[str]:
    walked = {t.zone for t in tries}
    return [
        f"{zone.name} (hand valve)" if zone.valve.relay_line is None else zone.name
        for zone in garden.zones
        if zone.name not in walked
    ]
