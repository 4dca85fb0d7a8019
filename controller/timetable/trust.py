"""How far a garden's flows are to be relied on, in words for `check`: barrels, streams, guesses.

Each answer is a place and what to know there.
"""

from __future__ import annotations

from controller.garden.model import Garden, SupplyKind, Zone
from controller.garden.show import show_flow, show_length, show_volume
from controller.hydraulics.corrections import Corrections
from controller.hydraulics.doubts import (
    doubtful_rows,
    opening_doubt,
    stream_doubt,
    unmeasured_loss_k,
)
from controller.hydraulics.flows import ZoneFlow
from controller.hydraulics.lines import Lines
from controller.hydraulics.network import SupplyCurve
from controller.hydraulics.supplies import planning_curve, supply_states
from controller.hydraulics.sureness import jet_words

# Flows that move by less than this over a barrel's fall are not worth a word. Our choice.
_WORTH_SAYING = 0.10


def zone_words(zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines) -> list[str]:
    """What is doubtful about one zone alone: its rows, its stream, its opening, its barrel."""
    us = garden.us_units
    said = [doubt.words for doubt in doubtful_rows(flow, us_units=us)]
    jets = jet_words(flow, lines, us_units=us)
    if jets is not None:
        said.append(jets)
    stream = stream_doubt(zone, flow, us_units=us)
    if stream is not None:
        said.append(stream)
    loss_k = lines.valve_loss_k(zone.name)
    guess = opening_doubt(zone, flow, loss_k, us_units=us)
    unmeasured = unmeasured_loss_k(zone, flow)
    if guess is not None and unmeasured is not None:
        high, low = (
            _alone_on(lines.supply, zone, garden, k).flow_m3_s
            for k in (unmeasured[0], unmeasured[2])
        )
        said.append(f"{guess} (from {show_flow(low, us)} to {show_flow(high, us)} is likely)")
    fall = _fall_words(zone, garden, flow, lines, loss_k)
    if fall is not None:
        said.append(fall)
    return said


def barrel_words(garden: Garden, wanted_m3: float) -> str | None:
    """Whether a hot day's water is more than the barrel gives between its levels."""
    holds_m3, us = garden.supply.holds_m3, garden.us_units
    if holds_m3 is None or wanted_m3 <= holds_m3:
        return None
    return (
        f"a hot day asks for {show_volume(wanted_m3, us)}, and the barrel gives "
        f"{show_volume(holds_m3, us)} from full to its lowest: it must be filled up meanwhile, or "
        "the later zones get less than is reckoned"
    )


def _fall_words(
    zone: Zone, garden: Garden, flow: ZoneFlow, lines: Lines, loss_k: float
) -> str | None:
    """How a zone's flow falls with a barrel's level; None for a steady supply."""
    states = supply_states(garden.supply)
    if garden.supply.kind is not SupplyKind.BARREL or lines.supply != planning_curve(garden.supply):
        return None  # steady, or measured and replaced
    if flow.flow_m3_s <= 0.0:
        return None  # `check` has a fault for that
    us = garden.us_units
    start, end = (_alone_on(curve, zone, garden, loss_k) for curve in (states.start, states.end))
    spread = (start.flow_m3_s - end.flow_m3_s) / flow.flow_m3_s
    if spread < _WORTH_SAYING and end.dry_holes == flow.dry_holes:
        return None
    lowest_m = garden.supply.falls_to_m or 0.0
    words = (
        f"while the barrel falls from {show_length(garden.supply.static_head_m, us)} to "
        f"{show_length(lowest_m, us)} it gives {show_flow(start.flow_m3_s, us)} at first and "
        f"{show_flow(end.flow_m3_s, us)} at the end; it is timed at the "
        f"{show_flow(flow.flow_m3_s, us)} of the middle"
    )
    if end.dry_holes > flow.dry_holes:
        words += f", and {end.dry_holes} of its holes are dry at the end"
    return words


def _alone_on(curve: SupplyCurve, zone: Zone, garden: Garden, loss_k: float) -> ZoneFlow:
    """The zone alone on another curve, its valve left as it stands."""
    lines = Lines(garden, corrections=Corrections(valve_k={zone.name: loss_k}, supply=curve))
    return lines.open_set(frozenset((zone.name,))).zones[zone.name]
