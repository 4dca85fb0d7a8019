"""The flows of lines and main as text and as a document, with the fit to the field tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from controller.garden.model import Garden, Watering
from controller.garden.plumbing import Row, Run, SupplyKind
from controller.garden.show import quoted, show_short
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.hole_law_error import Range, evenness_range
from controller.hydraulics.calibration.result import Fitted
from controller.hydraulics.network.filling import LineFill, line_fill
from controller.hydraulics.network.garden_lines import HoleFlow, Lines, RowFlow, SetFlow, ZoneFlow
from controller.hydraulics.network.uniformity import real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.messages import Message
from controller.paper.amounts import Units
from controller.paper.picture import row_bars
from controller.paper.text import paragraph
from controller.units import GRAVITY_M_S2, in_from_m, l_from_m3, l_min_from_m3_s
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
    units = Units(lines.garden.us_units)
    return [_run_line(use, units) for use in run_uses(lines)]


def _run_line(use: RunUse, units: Units) -> str:
    run = use.run
    begins = "the tap"
    if run.parent:
        begins = f'{units.length(run.from_m)} along "{run.parent}"'
    words = f'"{run.name}": {units.length(run.length_m)} of {run.pipe.label} from {begins}'
    if not use.feeds:
        return f"{words}; feeds no zone"
    return (
        f"{words}; feeds {quoted(use.feeds)}. The most it carries, with "
        f'"{use.thirstiest}" open alone: '
        f"{units.short_flow(use.flow_m3_s)} at {units.speed(use.speed_m_s)}, "
        f"{units.short_pressure(use.lost_m)} lost in it"
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


def flow_text(
    found: Found,
    lines: Lines,
    bands: Bands,
    *,
    holes: bool = False,
    bars: bool = False,
) -> str:
    """A block for each set; flow in gal/min or L/min, pressure in psi or kPa."""
    garden = lines.garden
    units = Units(garden.us_units)
    text: list[str] = []
    for names, flows in found:
        alone = len(names) == 1
        text.append(f"{names[0]} open alone" if alone else f"open together: {', '.join(names)}")
        text.append(
            f"  at the tap {units.pressure(flows.tap_head_m)}, with "
            f"{units.flow(flows.supply_flow_m3_s)} drawn in all"
        )
        low, high = lines.flow_range(frozenset(names))
        if high - low > _STEADY * high:
            between = _BETWEEN[garden.supply.kind]
            text.append("  " + between.format(low=units.flow(low), high=units.flow(high)))
        for name in names:
            text += _zone(flows.zones[name], lines, names, bands, holes=holes, bars=bars)
        text.append("")
    text += [
        *paragraph(even_words(garden)),
        "Give or take: two standard errors of what is known of drill, valve and supply.",
    ]
    if bands.next_test is not None:
        test = say(bands.next_test, us=units.us)
        text += paragraph(f"The field test that would help most: {test}.")
    return "\n".join(text) + "\n"


def even_words(garden: Garden) -> str:
    """The heading for every figure of evenness: what it includes."""
    scatter, error_m = garden.watering.drilling_scatter, garden.watering.level_error_m
    off = Units(garden.us_units).about(error_m)
    heights = f" and heights {off} off" if error_m > 0.0 else ""
    return (
        "Even: the low quarter of the holes against their mean, with a drilling scatter of "
        f"{100 * scatter:.3g} %{heights} in it; the spread is the pipe's alone."
    )


def _zone(
    zone: ZoneFlow,
    lines: Lines,
    opened: Sequence[str],
    bands: Bands,
    *,
    holes: bool,
    bars: bool,
) -> list[str]:
    """One zone of an open set."""
    garden, together = lines.garden, frozenset(opened)
    units, watering, described = Units(garden.us_units), garden.watering, garden.zone(zone.zone)
    error, even = bands.error(zone.zone, opened), evenness_range(lines, zone.zone, together)
    who = f"{zone.zone}: " if len(opened) > 1 else ""
    decides = "the supply" if zone.decided_by == "supply" else "the valve's opening"
    text = [
        f"  {who}{units.flow(zone.flow_m3_s)}, {_how_sure(zone, error)}, even "
        f"{100 * real_uniformity(zone.holes, watering):.0f} %;",
        f"    {decides} decides the flow",
        *_filling(line_fill(lines, zone.zone, together), units),
    ]
    if even is not None:
        text.append(
            f"    evenness {100 * even.low:.0f} to {100 * even.high:.0f} %: in rows so dense the "
            "water's speed counts"
        )
    if zone.dry_holes:
        text.append(f"    {zone.dry_holes} holes give nothing: too little pressure, or too high")
    for number, (row, drawn) in enumerate(zip(zone.rows, described.rows, strict=True), 1):
        over_pipe_m = gauge_m(row, drawn) - described.rise_m - drawn.inlet_height_m
        of_row = real_uniformity(row.holes, watering)
        text += _row(row, over_pipe_m, number, of_row, units, holes=holes)
        if bars:
            text += [f"      {line}" for line in row_bars(row, units, 74)]
    return text


def gauge_m(row: RowFlow, drawn: Row) -> float:
    """What a gauge at a row's inlet shows, against the tap: total less velocity head. [m]"""
    speed_m_s = velocity_m_s(flow_m3_s=row.flow_m3_s, bore_m=drawn.pipe.bore_m)
    return row.inlet_head_m - speed_m_s**2 / (2.0 * GRAVITY_M_S2)


def _filling(fill: LineFill, units: Units) -> list[str]:
    """How the line fills before it waters, and what runs out of it after."""
    if not math.isfinite(fill.first_s):
        return ["    its line never fills"]
    lines = [
        f"    its line holds {units.volume(l_from_m3(fill.volume_m3))} and fills in "
        f"{show_short(fill.first_s)}"
    ]
    if fill.drains_m3 > 0.0:
        lines.append(
            f"    {units.volume(l_from_m3(fill.drains_m3))} run out at its low end after a pulse; "
            f"the next takes {show_short(fill.again_s)} more"
        )
    else:
        lines.append("    it stays full between pulses")
    return lines


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
    row: RowFlow, over_pipe_m: float, number: int, even: float, units: Units, *, holes: bool
) -> list[str]:
    running = [h.flow_m3_s for h in row.holes if not h.plugged]
    # A throttled row may run part full at its inlet: there a gauge shows nothing.
    gauge = units.pressure(max(0.0, over_pipe_m))
    lines = [
        f"    row {number}: {units.flow(row.flow_m3_s)} at {gauge}; "
        f"even {100 * even:.0f} %, spread {100 * row.variation:.0f} %; "
        f"{len(running)} holes"
    ]
    if running:
        low, high = min(running), max(running)
        least, most = f"{6e7 * low:.0f}", f"{6e7 * high:.0f}"
        gives = most if least == most else f"{least} to {most}"
        lines.append(f"      a hole gives {gives} mL/min")
    if row.air_at:
        at, last = row.holes[row.air_at[0]], row.holes[row.air_at[-1]]
        lines.append(f"      air enters at {_named(at)}; up to {_named(last)} no water comes out")
    if holes:
        lines += [_hole(hole, units) for hole in row.holes]
    return lines


def _named(hole: HoleFlow) -> str:
    return f"{'drain hole' if hole.kind == 'drain' else 'hole'} {hole.number}"


def _hole(hole: HoleFlow, units: Units) -> str:
    if units.us:
        where = f"{units.distance(hole.x_m):6.2f} ft"
        head = f"{in_from_m(hole.head_m - hole.z_m):7.1f} in"
    else:
        where, head = f"{hole.x_m:6.3f} m", f"{hole.head_m - hole.z_m:7.3f} m"
    state = "plugged" if hole.plugged else f"{6e7 * hole.flow_m3_s:7.1f} mL/min"
    drain = " drain" if hole.kind == "drain" else ""
    return f"      {hole.number:>4}  {where}  {head} of water over it  {state}{drain}"


def flow_document(found: Found, lines: Lines, bands: Bands) -> list[dict[str, object]]:
    """Every set, zone, row and hole; SI, units in the keys; heads against the tap's height.

    `uniformity` is with drill and level, `evenness` of the pipe alone.
    """
    return [
        {
            "open": list(names),
            "supply_flow_m3_s": flows.supply_flow_m3_s,
            "supply_flow_range_m3_s": list(lines.flow_range(frozenset(names))),
            "tap_head_m": flows.tap_head_m,
            "zones": [
                _zone_document(
                    flows.zones[name],
                    lines.garden.watering,
                    bands.error(name, names),
                    line_fill(lines, name, frozenset(names)),
                    evenness_range(lines, name, frozenset(names)),
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


# Named where the tests do not determine them; a take-off or a level is not.
_NAMED = ("static head", "test flow", "bore", "discharge", "valve")


def fitted_words(fitted: Fitted, units: Units) -> list[str]:
    """Which tests contradict, then the value of each unknown; lines of 80 columns."""
    count = f"{fitted.tests} field test{'' if fitted.tests == 1 else 's'}"
    silent = tuple(p.name for p in fitted.parameters if not p.learnt and p.unknown.kind in _NAMED)
    sentences = [
        *(
            Message("fit.contradiction", {"contradiction": one.message})
            for one in fitted.contradictions
        ),
        *fitted.remarks,
        *(parameter.message for parameter in fitted.parameters if parameter.learnt),
        *([Message("fit.nothing_of", {"names": silent})] if silent else []),
    ]
    lines = [f"Fitted to {count}:"]
    for sentence in sentences:
        lines += paragraph(say(sentence, us=units.us), "  - ", "    ")
    return lines
