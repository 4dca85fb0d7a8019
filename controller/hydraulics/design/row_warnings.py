"""Warnings about rows that do not run reliably, and the ways to mend them.

A row whose far end lies above the water never fills. A hole above the grade line stays dry, and
lets air in where water flows on past it. A hole under a head that surface tension can hold may drip
or not, whatever the hole law gives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf, isclose, pi, sqrt
from typing import Literal

from controller.garden.model import Zone
from controller.hydraulics.network.results import HoleFlow, RowFlow, ZoneFlow
from controller.hydraulics.physics.jets import TRUSTED_BELOW_M
from controller.hydraulics.physics.orifice import first_drip_head_m
from controller.hydraulics.physics.pipe import unknown_loss_k
from controller.messages import Message, Quantity, Value

Kind = Literal["never fills", "stays dry", "may not run", "lets air in"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowWarning:
    """A warning about a row: its holes by number, and a message that says what to do.

    `raise_m` is the head that the worst of them lacks to run. `flow_m3_s` is about the zone's flow
    once it runs. `plug` is the number of the zone's holes, evenly spread, to plug for the same
    effect at the present flow.
    """

    row: int
    kind: Kind
    holes: tuple[int, ...]
    raise_m: float
    flow_m3_s: float
    plug: int
    message: Message


def doubtful_rows(zone_flow: ZoneFlow, *, most_m3_s: float = inf) -> tuple[RowWarning, ...]:
    """Rows, or parts of rows, that do not fill or may not run at these flows, row by row.

    Parameters
    ----------
    zone_flow : ZoneFlow
        An open zone, as `Lines.open_set` gives it.
    most_m3_s : float
        Flow of the zone alone with its valve full open: more is not advised. [m3/s]

    Notes
    -----
    The flow needed is found with all heads raised by what is lacking and friction unchanged; a long
    row needs a little more. Surface tension: `orifice.first_drip_head_m`. The rest is the hole law.
    """
    found: list[RowWarning] = []
    for number, row in enumerate(zone_flow.rows, 1):
        holes = [hole for hole in row.holes if hole.kind == "hole" and not hole.plugged]
        sucks = {id(hole) for hole in row.holes[: max(row.air_at, default=-1) + 1]}
        airy = [hole for hole in holes if hole.flow_m3_s <= 0.0 and id(hole) in sucks]
        if airy:
            found.append(_airy(zone_flow, number, row, airy))
        dry = [hole for hole in holes if hole.flow_m3_s <= 0.0 and id(hole) not in sucks]
        weak = [
            hole
            for hole in holes
            if hole.flow_m3_s > 0.0 and _over_m(hole) < first_drip_head_m(hole.bore_m)
        ]
        if dry:
            beyond = [hole for hole in holes if hole.x_m >= dry[0].x_m]
            at_far_end = all(hole.flow_m3_s <= 0.0 for hole in beyond)
            kind: Kind = "never fills" if at_far_end else "stays dry"
            found.append(_warning(zone_flow, number, kind, dry, most_m3_s))
        if weak:
            found.append(
                _warning(zone_flow, number, "may not run", weak, most_m3_s, remedy=not dry)
            )
    return tuple(found)


def stream_warning(zone: Zone, zone_flow: ZoneFlow) -> Message | None:
    """Warning that the reading of a stream is too low; None where it is good enough.

    Above 2 psi the air takes an eighth of the height and more (jets.py). `zone_flow` is the zone's
    with only this zone open.
    """
    if zone.opening.stream_m is None and zone.opening.reach_m is None:
        return None
    over_m = next((_over_m(hole) for hole in zone_flow.open_holes), 0.0)
    if over_m <= TRUSTED_BELOW_M:
        return None
    return Message(
        "zone.strong_stream",
        {"pressure": Quantity(over_m, "pressure"), "limit": Quantity(TRUSTED_BELOW_M, "pressure")},
    )


def unmeasured_loss_k(zone: Zone, zone_flow: ZoneFlow) -> tuple[float, float, float] | None:
    """Loss of take-off and an unknown valve, much, half and little open; None if it is known.

    Loss coefficients, least first [-], by `pipe.unknown_loss_k` for the open holes behind it.
    """
    holes_m2 = sum(pi / 4.0 * hole.bore_m**2 for hole in zone_flow.open_holes)
    if not zone.opening.unknown or holes_m2 <= 0.0:
        return None
    least, middle, most = unknown_loss_k(holes_m2=holes_m2, bore_m=zone.rows[0].pipe.bore_m)
    return zone.take_off_k + least, zone.take_off_k + middle, zone.take_off_k + most


def opening_warning(zone: Zone, zone_flow: ZoneFlow, loss_k: float) -> Message | None:
    """Warning that a zone's flow is a guess; None where its valve was set, seen or measured.

    `zone_flow` is the zone's with only this zone open, computed with `loss_k`; a fitted loss is no
    guess.
    """
    guessed = unmeasured_loss_k(zone, zone_flow)
    if guessed is None or not isclose(loss_k, guessed[1], rel_tol=1e-9):
        return None
    return Message("zone.opening_unknown", {"flow": Quantity(zone_flow.flow_m3_s, "flow")})


def _airy(zone_flow: ZoneFlow, number: int, row: RowFlow, holes: Sequence[HoleFlow]) -> RowWarning:
    """Holes of a falling row, or before a crest, that let air in instead of water out."""
    numbers = tuple(hole.number for hole in holes)
    at = row.holes[row.air_at[0]]
    ways = [Message("way.lay_level"), Message("way.feed_low_end")]
    if zone_flow.decided_by == "valve":
        ways.insert(0, Message("way.throttle_low_end"))
    drain = at.kind == "drain"
    enters = Message("holes.drain_hole" if drain else "holes.hole", {"number": at.number})
    return RowWarning(
        row=number,
        kind="lets air in",
        holes=numbers,
        raise_m=max(0.0, *(-_over_m(hole) for hole in holes)),
        flow_m3_s=zone_flow.flow_m3_s,
        plug=0,
        message=Message(
            "row.lets_air_in",
            {
                "row": number,
                "at": enters,
                "count": len(numbers),
                "holes": _named(numbers),
                "ways": tuple(ways),
            },
        ),
    )


def _warning(
    zone_flow: ZoneFlow,
    row: int,
    kind: Kind,
    holes: Sequence[HoleFlow],
    most_m3_s: float,
    *,
    remedy: bool = True,
) -> RowWarning:
    """One warning; without a remedy where the remedy for the row's dry holes is also theirs."""
    raise_m = max(first_drip_head_m(hole.bore_m) - _over_m(hole) for hole in holes)
    more = _more_flow(zone_flow, raise_m)
    open_holes = len(zone_flow.open_holes)
    flow_m3_s = more * zone_flow.flow_m3_s
    plug = min(open_holes - 1, ceil(open_holes * (1.0 - 1.0 / more)) if more > 0.0 else 0)
    numbers = tuple(hole.number for hole in holes)
    values: dict[str, Value] = {"row": row, "count": len(numbers), "holes": _named(numbers)}
    if kind == "never fills":
        values["beyond"] = Quantity(holes[0].x_m, "length")
        message = Message("row.never_fills", values)
    elif kind == "stays dry":
        message = Message("row.stays_dry", values)
    else:
        held_m = max(first_drip_head_m(hole.bore_m) for hole in holes)
        values["over"] = Quantity(min(map(_over_m, holes)), "about length")
        values["held"] = Quantity(held_m, "about length")
        message = Message("row.may_not_run", values)
    ways = [Message("way.lower_pipe", {"by": Quantity(raise_m, "about length")})]
    if plug > 0:
        ways.insert(0, Message("way.plug_some", {"count": plug, "of": open_holes}))
    if more > 0.0 and zone_flow.decided_by == "valve" and flow_m3_s <= most_m3_s:
        then, now = Quantity(flow_m3_s, "flow"), Quantity(zone_flow.flow_m3_s, "flow")
        ways.insert(0, Message("way.open_valve", {"then": then, "now": now}))
    if kind != "may not run":
        ways.append(Message("way.plug_those"))
    if remedy:
        message = Message("row.with_ways", {"warning": message, "ways": tuple(ways)})
    return RowWarning(
        row=row,
        kind=kind,
        holes=numbers,
        raise_m=raise_m,
        flow_m3_s=flow_m3_s,
        plug=plug,
        message=message,
    )


def _more_flow(zone_flow: ZoneFlow, raise_m: float) -> float:
    """Factor by which the zone's flow grows when all its heads are raised; 0 if nothing flows."""
    holes = [hole for row in zone_flow.rows for hole in row.holes if not hole.plugged]
    running = [hole for hole in holes if hole.flow_m3_s > 0.0 and _over_m(hole) > 0.0]
    if not running:
        return 0.0
    # Flow over bore squared and root of the head, as the mean of the running holes.
    usual = sum(h.flow_m3_s for h in running) / sum(h.bore_m**2 * sqrt(_over_m(h)) for h in running)
    raised = sum(usual * h.bore_m**2 * sqrt(max(0.0, _over_m(h) + raise_m)) for h in holes)
    return raised / sum(h.flow_m3_s for h in running)


def _over_m(hole: HoleFlow) -> float:
    """Head over the mouth; negative above the water."""
    return hole.head_m - hole.z_m


def _named(numbers: Sequence[int]) -> Message:
    """Runs of hole numbers by their ends; every second hole where both walls are drilled."""
    if len(numbers) > 2 and all(b - a == 2 for a, b in pairwise(numbers)):
        return Message("holes.every_second", {"first": numbers[0], "last": numbers[-1]})
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    named = (str(a) if a == b else Message("holes.run", {"first": a, "last": b}) for a, b in runs)
    return Message("holes.runs", {"runs": tuple(named)})
