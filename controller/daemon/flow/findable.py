"""What the flow watch can find in a garden, known before anything breaks.

For each zone on a relay, open alone: how a lost end cap, and a fifth of its holes clogged, change
its flow, and from when the meter shows it. Each change is made to the garden and its lines are
solved again, with the valve where it stands. A throttled valve, or a weak tap, decides the flow and
hides what lies behind it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from controller.daemon.flow.input_pins import ErrorOf, computed_of
from controller.daemon.flow.monitor import SETTLES_S, fill_seconds
from controller.daemon.flow.rules import (
    LEAST_COUNTS,
    LEAST_S,
    STILL_COUNTS,
    ComputedFlow,
    passing_shares,
    unknown_words,
)
from controller.daemon.flow.trend import LEAST_ALONE, LEAST_CHANGE, WINDOWS
from controller.errors import RowgateError
from controller.garden.model import Garden, Meter, Zone
from controller.garden.plumbing import Row, ValveKind
from controller.garden.show import show_flow
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import drilled_holes
from controller.hydraulics.network.supply_curve import Corrections
from controller.units import l_from_m3, m3_from_l

# How large a change must be for the past weeks to show it: the least that is reported, and half a
# per cent to one for the scatter of days. For a zone alone, the tap's swing as well. Our choice,
# tried in tests/season/test_flow_seasons.py.
SURE_CHANGE, SURE_ALONE = LEAST_CHANGE + 0.015, LEAST_ALONE + 0.05
EVERY_FIFTH = 5
_HOUR_S = 3600.0
_NAME = 22  # of a zone, at most, in the table


@dataclass(frozen=True, slots=True, kw_only=True)
class Findable:
    """One zone: its flow alone, the band that passes, and how two faults change the flow, as
    shares.

    `within_days` says how soon each fault is reported: 0 at the next watering, some days once the
    zone has a past, None never. `judged_after_s`: how long it must be open alone before anything
    is.
    """

    zone: str
    computed: ComputedFlow
    least_share: float
    most_share: float
    lost_cap: float
    clogged: float
    lost_cap_within_days: int | None
    clogged_within_days: int | None
    judged_after_s: float
    counted: bool  # its flow is above the meter's least
    decided_by: str

    def row(self) -> dict[str, Any]:
        """The row for `--json`."""
        return {
            "zone": self.zone,
            "flow_l_s": self.computed.flow_l_s,
            "flow_standard_error_fraction": self.computed.error,
            "flow_known": self.computed.is_known,
            "counted": self.counted,
            "passes_from_fraction": self.least_share,
            "passes_to_fraction": self.most_share,
            "lost_cap_change_fraction": self.lost_cap,
            "lost_cap_found_within_days": self.lost_cap_within_days,
            "fifth_clogged_change_fraction": self.clogged,
            "fifth_clogged_found_within_days": self.clogged_within_days,
            "judged_after_s": self.judged_after_s,
        }


def findable(
    garden: Garden, lines: Lines, corrections: Corrections, bands: ErrorOf
) -> tuple[Findable, ...]:
    """What the meter can find in each zone that a relay opens, in the order of the garden file.

    Zones without water are left out; without a meter it is empty. `corrections` is what field tests
    taught of `lines`, for the garden with a fault in it; `bands` is how sure the flows are.

    Changes of flow are by hydraulics/network/garden_lines.py. A lost cap is taken as a hole of the
    pipe's own bore at the far end of the row where it changes least; clogged holes are every fifth
    of every row.
    """
    meter = garden.meter
    if meter is None:
        return ()
    watched = [z for z in garden.zones if z.valve.kind is ValveKind.RELAY and z.rows]
    found = []
    for zone in watched:
        try:
            one = _of_zone(garden, meter, zone, lines, corrections, bands, others=len(watched) - 1)
        except RowgateError:
            continue  # its flow cannot be computed; `check` has a fault or a caution for that
        found += [one] if one is not None else []
    return tuple(found)


def leak_from_l_s(meter: Meter) -> float:
    """The smallest leak that is surely found while all is shut. [L/s]"""
    return max(meter.least_flow_l_s, STILL_COUNTS * meter.litres_per_pulse / _HOUR_S)


def findable_lines(found: tuple[Findable, ...]) -> list[str]:
    """The table as text: a heading, and a line for each zone."""
    if not found:
        return []
    width = min(_NAME, max(len("zone"), *(len(one.zone) for one in found)))
    lines = [f"{'zone':{width}}  {'lost end cap':>20}  {'a fifth clogged':>20}  found after"]
    for one in found:
        cells = (
            _cell(one.lost_cap, one.lost_cap_within_days),
            _cell(one.clogged, one.clogged_within_days),
        )
        minutes, seconds = divmod(round(one.judged_after_s), 60)
        lines.append(
            f"{one.zone[:width]:{width}}  {cells[0]:>20}  {cells[1]:>20}  "
            f"{minutes}:{seconds:02d} min"
        )
    return lines


def findable_remarks(found: tuple[Findable, ...], garden: Garden) -> list[str]:
    """The remarks below the table: what it means, and what helps where it shows no fault."""
    meter, us = garden.meter, garden.us_units
    if meter is None or not found:
        return []
    together = garden.watering.most_open > 1 and len(found) > 1
    lines = [
        'Each zone open alone. "In days": once the meter has seen it on a week or two of days',
        *(
            [
                "In a set the change is spread over all of its flow: most_open = 1 shows a fault "
                "sooner"
            ]
            if together
            else []
        ),
        f"A leak while all is shut shows from {show_flow(m3_from_l(leak_from_l_s(meter)), us)} on",
    ]
    for one in found:
        if not one.computed.is_known:
            lines.append(unknown_words([one.zone], one.computed, us=us))
    slow = [one.zone for one in found if not one.counted]
    if slow:
        lines.append(
            f"{_listed(slow)}: the meter may stand still at so small a flow; litres go by time, "
            "and only a burst would show"
        )
    hidden = [one for one in found if one.lost_cap_within_days is None]
    valve = [one.zone for one in hidden if one.decided_by == "valve"]
    supply = [one.zone for one in hidden if one.decided_by != "valve"]
    for zones, what in ((valve, "valve"), (supply, "tap")):
        if zones:
            lines.append(
                f"{_listed(zones)}: the {what} decides the flow, and a lost end cap hardly "
                "changes it: look at the far ends once a week while it waters; a gauge at a far "
                "end falls to nothing"
            )
    plugs = [one.zone for one in found if one.clogged_within_days is None and one not in hidden]
    plugs += [one.zone for one in hidden if one.clogged_within_days is None]
    if plugs:
        lines.append(
            f"{_listed(sorted(plugs))}: clogged holes hardly change the flow: count the streams "
            "once a month, or put cups under a few holes (rowgate note cups)"
        )
    return lines


def _of_zone(
    garden: Garden,
    meter: Meter,
    zone: Zone,
    lines: Lines,
    corrections: Corrections,
    bands: ErrorOf,
    *,
    others: int,
) -> Findable | None:
    alone = frozenset((zone.name,))
    computed = computed_of(alone, lines, bands)
    if computed.flow_l_s <= 0.0:
        return None
    standing = replace(
        corrections,
        valve_k={**corrections.valve_k, zone.name: lines.valve_loss_k(zone.name)},
    )

    def share(rows: tuple[Row, ...]) -> float:
        """How a fault changes the zone's flow."""
        changed = replace(garden, zones=(replace(zone, rows=rows),))
        flow_l_s = l_from_m3(Lines(changed, corrections=standing).zone_flows(alone)[zone.name])
        return flow_l_s / computed.flow_l_s - 1.0

    caps = {row: _without_cap(row) for row in dict.fromkeys(zone.rows)}
    lost_cap = min(
        share(tuple(caps[r] if n == at else r for n, r in enumerate(zone.rows)))
        for at in {zone.rows.index(row) for row in caps}
    )
    clogged = share(tuple(_fifth_clogged(row, zone.rise_m) for row in zone.rows))
    counted = computed.flow_l_s > meter.least_flow_l_s
    least, most = passing_shares(computed)
    fill_s = fill_seconds(lines.line(zone.name).volume_m3, computed.flow_l_s)
    sure = SURE_CHANGE if others > 0 else SURE_ALONE

    def within_days(change: float) -> int | None:
        passes = least <= 1.0 + change <= most
        if computed.is_known and not passes and (change > 0.0 or counted):
            return 0
        if abs(change) < sure or not counted:
            return None
        return WINDOWS[1]

    return Findable(
        zone=zone.name,
        computed=computed,
        least_share=least,
        most_share=most,
        lost_cap=lost_cap,
        clogged=clogged,
        lost_cap_within_days=within_days(lost_cap),
        clogged_within_days=within_days(clogged),
        judged_after_s=zone.valve.opens_in_s
        + fill_s
        + SETTLES_S
        + max(LEAST_S, LEAST_COUNTS * meter.litres_per_pulse / computed.flow_l_s),
        counted=counted,
        decided_by=lines.open_set(alone).zones[zone.name].decided_by,
    )


def _without_cap(row: Row) -> Row:
    """The row with its end open: one drain hole as wide as the pipe, at its far end."""
    end_m = row.length_m if row.plugged_beyond_m is None else 0.999 * row.plugged_beyond_m
    # The first drain hole stands half of their distance from the inlet.
    drilling = replace(row.drilling, drain_bore_m=row.pipe.bore_m, drain_every_m=2.0 * end_m)
    return replace(row, drilling=drilling)


def _fifth_clogged(row: Row, rise_m: float) -> Row:
    """The row with every fifth of its open holes plugged, the third first."""
    holes = drilled_holes(row, rise_m)
    numbers = [hole.number for hole in holes if hole.kind == "hole" and not hole.plugged]
    more = numbers[EVERY_FIFTH // 2 :: EVERY_FIFTH]
    return replace(row, plugged_holes=tuple(sorted({*row.plugged_holes, *more})))


def _cell(change: float, within_days: int | None) -> str:
    soon = {0: "at once", None: "hidden"}.get(within_days, f"in {within_days} days")
    return f"{100.0 * change:+.0f} %, {soon}"


def _listed(zones: list[str]) -> str:
    return ", ".join(f'"{zone}"' for zone in zones)
