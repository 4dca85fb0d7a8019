"""The flows of lines and main, as text and as a document."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from controller.garden.model import Garden, Watering
from controller.garden.plumbing import Row, Run, SupplyKind
from controller.garden.show import show_about, show_flow, show_length, show_pressure
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.hole_law_error import Range
from controller.hydraulics.design.advice_base import quoted
from controller.hydraulics.network.filling import LineFill
from controller.hydraulics.network.garden_lines import HoleFlow, Lines, RowFlow, SetFlow, ZoneFlow
from controller.hydraulics.network.uniformity import real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.paper.amounts import open_time, volume
from controller.paper.picture import row_bars
from controller.units import (
    GRAVITY_M_S2,
    M_PER_FT,
    gal_min_from_m3_s,
    in_from_m,
    l_from_m3,
    l_min_from_m3_s,
    m_from_ft,
    psi_from_head_m,
)
from controller.wording.say import say


@dataclass(frozen=True, slots=True, kw_only=True)
class RunUse:
    """A run with the zones it feeds; speed and loss with the thirstiest of them open alone."""

    run: Run
    feeds: tuple[str, ...]
    thirstiest: str = ""
    flow_m3_s: float = 0.0
    speed_m_s: float = 0.0
    lost_m: float = 0.0


def run_uses(lines: Lines) -> list[RunUse]:
    """The runs of a garden's main in their order; none for a main of one pipe.

    Raises
    ------
    InputError, NoSolution
        As `Lines.zone_flows`.
    """
    garden, main = lines.garden, lines.main
    uses = []
    for run in garden.runs:
        fed = [
            zone
            for zone in garden.zones
            if any(one.run == run.name for one in main.way_to(main.place(zone)))
        ]
        if not fed:
            uses.append(RunUse(run=run, feeds=()))
            continue
        alone = {z.name: lines.zone_flows(frozenset((z.name,)))[z.name] for z in fed}
        zone = max(fed, key=lambda one: alone[one.name])
        flow = alone[zone.name]
        uses.append(
            RunUse(
                run=run,
                feeds=tuple(one.name for one in fed),
                thirstiest=zone.name,
                flow_m3_s=flow,
                speed_m_s=velocity_m_s(flow_m3_s=flow, bore_m=run.pipe.bore_m),
                lost_m=main.loss_m(
                    to=main.place(zone),
                    flow_m3_s=flow,
                    viscosity_m2_s=lines.viscosity_m2_s,
                    run=run.name,
                ),
            )
        )
    return uses


def run_lines(lines: Lines) -> list[str]:
    """A line for each run, for a gardener."""
    us = lines.garden.us_units
    return [_line(use, us) for use in run_uses(lines)]


def _line(use: RunUse, us: bool) -> str:
    run = use.run
    begins = "the tap"
    if run.parent:
        begins = f'{show_length(run.from_m, us)} along "{run.parent}"'
    words = f'"{run.name}": {show_length(run.length_m, us)} of {run.pipe.label} from {begins}'
    if not use.feeds:
        return f"{words}; feeds no zone"
    speed = f"{use.speed_m_s / M_PER_FT:.1f} ft/s" if us else f"{use.speed_m_s:.1f} m/s"
    return (
        f"{words}; feeds {quoted(use.feeds)}. The most it carries, with "
        f'"{use.thirstiest}" open alone: '
        f"{show_flow(use.flow_m3_s, us)} at {speed}, {show_pressure(use.lost_m, us)} lost in it"
    )


def run_rows(lines: Lines) -> list[dict[str, object]]:
    """The runs for programs; SI, units in the keys."""
    return [
        {
            "run": use.run.name,
            "from": use.run.parent or "tap",
            "along_m": use.run.from_m,
            "length_m": use.run.length_m,
            "size": use.run.pipe.label,
            "bore_m": use.run.pipe.bore_m,
            "loss_k": use.run.loss_k,
            "feeds": list(use.feeds),
            "thirstiest": use.thirstiest,
            "flow_m3_s": use.flow_m3_s,
            "speed_m_s": use.speed_m_s,
            "lost_m": use.lost_m,
        }
        for use in run_uses(lines)
    ]


_STEADY = 0.005  # a range that is narrower does not show in the figures
UNKNOWN_FROM = 0.33  # above a third the error of a logarithm is no per cent any more
Found = Sequence[tuple[Sequence[str], SetFlow]]
# Between what a supply moves. Steady ones have no words.
_BETWEEN = {
    SupplyKind.BARREL: "{low} at the barrel's lowest, {high} when it is full",
    SupplyKind.PUMP: "{high} from a full tank at first, down to {low}",
    SupplyKind.REGULATOR: "from {low} to {high}, for nobody tested the regulator's fall",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowFacts:
    """What a page of flows needs beside the flows; zones and open sets go by name."""

    bands: Bands  # how sure each flow is
    fills: Callable[[str, Sequence[str]], LineFill]  # how a zone's line fills within a set
    # The least and the most a set gives while the supply rises and falls. [m3/s]
    ranges: Callable[[Sequence[str]], tuple[float, float]]
    # The range of a zone's evenness within a set; None where the computed figure stands.
    evens: Callable[[str, Sequence[str]], Range | None]


def flow_text(
    found: Found,
    garden: Garden,
    facts: FlowFacts,
    *,
    holes: bool = False,
    bars: bool = False,
) -> str:
    """A block for each set; flow in gal/min or L/min, pressure in psi or metres of water."""
    us = garden.us_units
    lines: list[str] = []
    for names, flows in found:
        alone = len(names) == 1
        lines.append(f"{names[0]} open alone" if alone else f"open together: {', '.join(names)}")
        lines.append(
            f"  tap {_pressure(flows.tap_head_m, us=us)}, "
            f"drawing {_flow(flows.supply_flow_m3_s, us=us)} in all"
        )
        low, high = facts.ranges(names)
        if high - low > _STEADY * high:
            between = _BETWEEN[garden.supply.kind]
            lines.append("  " + between.format(low=_flow(low, us=us), high=_flow(high, us=us)))
        for name in names:
            lines += _zone(flows.zones[name], garden, names, facts, holes=holes, bars=bars)
        lines.append("")
    lines += [
        *textwrap.wrap(even_words(garden), 80, subsequent_indent="  "),
        "Give or take: two standard errors of what is known of drill, valve and supply.",
    ]
    next_test = facts.bands.next_test
    if next_test is not None:
        lines += textwrap.wrap(
            f"The field test that would tell most: {say(next_test, us=garden.us_units)}.",
            80,
            subsequent_indent="  ",
        )
    return "\n".join(lines) + "\n"


def even_words(garden: Garden) -> str:
    """The heading for every figure of evenness: what it includes."""
    scatter, error_m = garden.watering.drilling_scatter, garden.watering.level_error_m
    heights = f" and heights {show_about(error_m, garden.us_units)} off" if error_m > 0.0 else ""
    return (
        "Even: the low quarter of the holes against their mean, with a drilling scatter of "
        f"{100 * scatter:.3g} %{heights} in it; the spread is the pipe's alone."
    )


def _zone(
    zone: ZoneFlow,
    garden: Garden,
    opened: Sequence[str],
    facts: FlowFacts,
    *,
    holes: bool,
    bars: bool,
) -> list[str]:
    """One zone of an open set."""
    us, watering, described = garden.us_units, garden.watering, garden.zone(zone.zone)
    error, even = facts.bands.error(zone.zone, opened), facts.evens(zone.zone, opened)
    who = f"{zone.zone}: " if len(opened) > 1 else ""
    decides = "the supply" if zone.decided_by == "supply" else "the valve's opening"
    lines = [
        f"  {who}{_flow(zone.flow_m3_s, us=us)}, {_how_sure(zone, error)}, even "
        f"{100 * real_uniformity(zone.holes, watering):.0f} %;",
        f"    {decides} decides the flow",
        *_filling(facts.fills(zone.zone, opened), us=us),
    ]
    if even is not None:
        lines.append(
            f"    evenness {100 * even.low:.0f} to {100 * even.high:.0f} %: in rows so dense the "
            "water's speed counts"
        )
    if zone.dry_holes:
        lines.append(f"    {zone.dry_holes} holes give nothing: too little pressure, or too high")
    for number, (row, drawn) in enumerate(zip(zone.rows, described.rows, strict=True), 1):
        over_pipe_m = gauge_m(row, drawn) - described.rise_m - drawn.inlet_height_m
        of_row = real_uniformity(row.holes, watering)
        lines += _row(row, over_pipe_m, number, of_row, us=us, holes=holes)
        if bars:
            lines += [f"      {line}" for line in row_bars(row, 74, us=us)]
    return lines


def gauge_m(row: RowFlow, drawn: Row) -> float:
    """What a gauge at a row's inlet shows, against the tap: total less velocity head. [m]"""
    speed_m_s = velocity_m_s(flow_m3_s=row.flow_m3_s, bore_m=drawn.pipe.bore_m)
    return row.inlet_head_m - speed_m_s**2 / (2.0 * GRAVITY_M_S2)


def _filling(fill: LineFill, *, us: bool) -> list[str]:
    """How the line fills before it waters, and what runs out of it after."""
    if not math.isfinite(fill.first_s):
        return ["    its line never fills"]
    lines = [
        f"    its line holds {_volume(fill.volume_m3, us=us)} and fills in "
        f"{open_time(fill.first_s)}"
    ]
    if fill.drains_m3 > 0.0:
        lines.append(
            f"    {_volume(fill.drains_m3, us=us)} run out at its low end after a pulse: "
            f"{open_time(fill.again_s)} of the next"
        )
    else:
        lines.append("    it stays full between pulses")
    return lines


def _volume(volume_m3: float, *, us: bool) -> str:
    return volume(l_from_m3(volume_m3), us=us)


def _how_sure(zone: ZoneFlow, error: float) -> str:
    if zone.flow_m3_s <= 0.0:
        return "dry" if error <= 0.0 else "dry, though it might just run"
    return give_or_take(error)


def give_or_take(error: float) -> str:
    """A relative standard error as a band of two of them; a third and more says only "unknown"."""
    if error > UNKNOWN_FROM:
        return "flow all but unknown: measure it"
    return f"give or take {200 * error:.0f} %"


def _row(
    row: RowFlow, over_pipe_m: float, number: int, even: float, *, us: bool, holes: bool
) -> list[str]:
    running = [h.flow_m3_s for h in row.holes if not h.plugged]
    lines = [
        f"    row {number}: {_flow(row.flow_m3_s, us=us)} at {_pressure(over_pipe_m, us=us)}; "
        f"even {100 * even:.0f} %, spread {100 * row.variation:.0f} %; "
        f"{len(running)} holes"
    ]
    if running:
        low, high = min(running), max(running)
        lines.append(f"      a hole gives {6e7 * low:.0f} to {6e7 * high:.0f} mL/min")
    if row.air_at:
        at, last = row.holes[row.air_at[0]], row.holes[row.air_at[-1]]
        lines.append(f"      air enters at {_named(at)}; up to {_named(last)} no water comes out")
    if holes:
        lines += [_hole(hole, us=us) for hole in row.holes]
    return lines


def _named(hole: HoleFlow) -> str:
    return f"{'drain hole' if hole.kind == 'drain' else 'hole'} {hole.number}"


def _hole(hole: HoleFlow, *, us: bool) -> str:
    if us:
        where = f"{hole.x_m / m_from_ft(1.0):6.2f} ft"
        head = f"{in_from_m(hole.head_m - hole.z_m):7.1f} in"
    else:
        where, head = f"{hole.x_m:6.3f} m", f"{hole.head_m - hole.z_m:7.3f} m"
    state = "plugged" if hole.plugged else f"{6e7 * hole.flow_m3_s:7.1f} mL/min"
    drain = " drain" if hole.kind == "drain" else ""
    return f"      {hole.number:>4}  {where}  {head} of water over it  {state}{drain}"


def flow_document(found: Found, garden: Garden, facts: FlowFacts) -> list[dict[str, object]]:
    """Every set, zone, row and hole; SI, units in the keys; heads against the tap's height.

    `uniformity` is with drill and level, `evenness` of the pipe alone.
    """
    return [
        {
            "open": list(names),
            "supply_flow_m3_s": flows.supply_flow_m3_s,
            "supply_flow_range_m3_s": list(facts.ranges(names)),
            "tap_head_m": flows.tap_head_m,
            "zones": [
                _zone_document(
                    flows.zones[name],
                    garden.watering,
                    facts.bands.error(name, names),
                    facts.fills(name, names),
                    facts.evens(name, names),
                )
                for name in names
            ],
        }
        for names, flows in found
    ]


def _zone_document(
    zone: ZoneFlow, watering: Watering, error: float, fill: LineFill, even: Range | None
) -> dict[str, object]:
    return {
        "zone": zone.zone,
        "flow_m3_s": zone.flow_m3_s,
        "flow_l_min": l_min_from_m3_s(zone.flow_m3_s),
        "flow_standard_error_fraction": error,
        "line_m3": fill.volume_m3,
        "line_drains_m3": fill.drains_m3,
        "line_fills_s": fill.first_s if math.isfinite(fill.first_s) else None,
        "valve_head_m": zone.valve_head_m,
        "uniformity": real_uniformity(zone.holes, watering),
        "uniformity_range": None if even is None else [even.low, even.high],
        "evenness": zone.evenness,
        "variation": zone.variation,
        "dry_holes": zone.dry_holes,
        "decided_by": zone.decided_by,
        "rows": [
            {
                "row": number,
                "flow_m3_s": row.flow_m3_s,
                "inlet_head_m": row.inlet_head_m,
                "uniformity": real_uniformity(row.holes, watering),
                "evenness": row.evenness,
                "variation": row.variation,
                "air_at_x_m": [row.holes[i].x_m for i in row.air_at],
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
    """A pressure in psi or metres; a small one reads better as a height of water."""
    if us:
        psi = psi_from_head_m(head_m)
        return f"{psi:.2f} psi" if psi >= 1.0 else f"{in_from_m(head_m):.1f} in of water"
    return f"{head_m:.2f} m" if head_m >= 1.0 else f"{100.0 * head_m:.1f} cm of water"
