"""What the lines deliver, as a person reads it and as a document."""

from __future__ import annotations

from collections.abc import Sequence

from controller.garden.model import Garden
from controller.hydraulics.lines import HoleFlow, RowFlow, SetFlow, ZoneFlow
from controller.units import (
    gal_min_from_m3_s,
    in_from_m,
    l_min_from_m3_s,
    m_from_ft,
    psi_from_head_m,
)

Found = Sequence[tuple[Sequence[str], SetFlow]]


def flow_text(found: Found, garden: Garden, *, holes: bool) -> str:
    """A block a set; flow in gal/min or L/min, pressure in psi or metres of water."""
    us = garden.us_units
    lines: list[str] = []
    for names, flows in found:
        alone = len(names) == 1
        lines.append(f"{names[0]} open alone" if alone else f"open together: {', '.join(names)}")
        lines.append(
            f"  tap {_pressure(flows.tap_head_m, us=us)}, "
            f"drawing {_flow(flows.supply_flow_m3_s, us=us)} in all"
        )
        for name in names:
            lines += _zone(flows.zones[name], us=us, holes=holes, named=not alone)
        lines.append("")
    lines.append("Even: the low quarter of the holes against their mean, without drilling scatter.")
    return "\n".join(lines) + "\n"


def _zone(zone: ZoneFlow, *, us: bool, holes: bool, named: bool) -> list[str]:
    who = f"{zone.zone}: " if named else ""
    decides = "the supply" if zone.decided_by == "supply" else "the valve's opening"
    lines = [
        f"  {who}{_flow(zone.flow_m3_s, us=us)}, even {100 * zone.evenness:.0f} %; "
        f"{decides} decides the flow"
    ]
    if zone.dry_holes:
        lines.append(f"    {zone.dry_holes} holes give nothing: too little pressure, or too high")
    for number, row in enumerate(zone.rows, 1):
        lines += _row(row, number, us=us, holes=holes)
    return lines


def _row(row: RowFlow, number: int, *, us: bool, holes: bool) -> list[str]:
    running = [h.flow_m3_s for h in row.holes if not h.plugged]
    lines = [
        f"    row {number}: {_flow(row.flow_m3_s, us=us)} at {_pressure(row.inlet_head_m, us=us)}; "
        f"even {100 * row.evenness:.0f} %, spread {100 * row.variation:.0f} %; "
        f"{len(running)} holes"
    ]
    if running:
        low, high = min(running), max(running)
        lines.append(f"      a hole gives {6e7 * low:.0f} to {6e7 * high:.0f} mL/min")
    if holes:
        lines += [_hole(hole, us=us) for hole in row.holes]
    return lines


def _hole(hole: HoleFlow, *, us: bool) -> str:
    if us:
        where = f"{hole.x_m / m_from_ft(1.0):6.2f} ft"
        head = f"{in_from_m(hole.head_m - hole.z_m):7.1f} in"
    else:
        where, head = f"{hole.x_m:6.3f} m", f"{hole.head_m - hole.z_m:7.3f} m"
    state = "plugged" if hole.plugged else f"{6e7 * hole.flow_m3_s:7.1f} mL/min"
    drain = " drain" if hole.kind == "drain" else ""
    return f"      {hole.number:>4}  {where}  {head} of water over it  {state}{drain}"


def flow_document(found: Found) -> list[dict[str, object]]:
    """Every set, zone, row and hole; SI, units in the keys; heads against the tap's height."""
    return [
        {
            "open": list(names),
            "supply_flow_m3_s": flows.supply_flow_m3_s,
            "tap_head_m": flows.tap_head_m,
            "zones": [_zone_document(flows.zones[name]) for name in names],
        }
        for names, flows in found
    ]


def _zone_document(zone: ZoneFlow) -> dict[str, object]:
    return {
        "zone": zone.zone,
        "flow_m3_s": zone.flow_m3_s,
        "flow_l_min": l_min_from_m3_s(zone.flow_m3_s),
        "valve_head_m": zone.valve_head_m,
        "evenness": zone.evenness,
        "variation": zone.variation,
        "dry_holes": zone.dry_holes,
        "decided_by": zone.decided_by,
        "rows": [
            {
                "row": number,
                "flow_m3_s": row.flow_m3_s,
                "inlet_head_m": row.inlet_head_m,
                "evenness": row.evenness,
                "variation": row.variation,
                "holes": [
                    {
                        "hole": h.number,
                        "kind": h.kind,
                        "x_m": h.x_m,
                        "z_m": h.z_m,
                        "bore_m": h.bore_m,
                        "head_m": h.head_m,
                        "flow_m3_s": h.flow_m3_s,
                        "plugged": h.plugged,
                    }
                    for h in row.holes
                ],
            }
            for number, row in enumerate(zone.rows, 1)
        ],
    }


def _flow(flow_m3_s: float, *, us: bool) -> str:
    if us:
        return f"{gal_min_from_m3_s(flow_m3_s):.2f} gal/min"
    return f"{l_min_from_m3_s(flow_m3_s):.2f} L/min"


def _pressure(head_m: float, *, us: bool) -> str:
    return f"{psi_from_head_m(head_m):.2f} psi" if us else f"{head_m:.2f} m"
