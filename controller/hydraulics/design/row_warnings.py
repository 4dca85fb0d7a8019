"""Warnings about rows that do not run reliably, and what to do about them.

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
from controller.garden.show import show_about, show_flow, show_length, show_pressure
from controller.hydraulics.network.results import HoleFlow, RowFlow, ZoneFlow
from controller.hydraulics.physics.jets import TRUSTED_BELOW_M
from controller.hydraulics.physics.orifice import first_drip_head_m
from controller.hydraulics.physics.pipe import unknown_loss_k

Kind = Literal["never fills", "stays dry", "may not run", "lets air in"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowWarning:
    """A warning about a row: its holes by number, and words that say what to do.

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
    words: str


def doubtful_rows(
    zone_flow: ZoneFlow, *, most_m3_s: float = inf, us_units: bool = False
) -> tuple[RowWarning, ...]:
    """Rows, or parts of rows, that do not fill or may not run at these flows.

    Parameters
    ----------
    zone_flow : ZoneFlow
        An open zone, as `Lines.open_set` gives it.
    most_m3_s : float
        Flow of the zone alone with its valve full open: more is not advised. [m3/s]
    us_units : bool
        Whether the words are in US units.

    Returns
    -------
    tuple of RowWarning
        Row by row; heads in `raise_m` [m], flows in `flow_m3_s` [m3/s]; none for plugged rows.

    Raises
    ------
    OutOfRange
        Never, for flows of the network.

    Notes
    -----
    The flow needed is found with all heads raised by what is lacking and friction unchanged; a long
    row needs a little more.

    Source
    ------
    Surface tension: `orifice.first_drip_head_m`. The rest is the hole law.
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
            found.append(_warning(zone_flow, number, kind, dry, us_units, most_m3_s))
        if weak:
            found.append(
                _warning(
                    zone_flow, number, "may not run", weak, us_units, most_m3_s, remedy=not dry
                )
            )
    return tuple(found)


def stream_doubt(zone: Zone, zone_flow: ZoneFlow, *, us_units: bool = False) -> str | None:
    """Why the reading of a stream is too low; None where it is good enough.

    Parameters
    ----------
    zone : Zone
        The zone; there is no warning without a stream or reach as its opening.
    zone_flow : ZoneFlow
        Its flow with only this zone open.
    us_units : bool
        Whether the words are in US units.

    Returns
    -------
    str or None
        Words for the gardener.

    Raises
    ------
    OutOfRange
        Never, for flows of the network.

    Source
    ------
    jets.py: above 2 psi the air takes an eighth of the height and more.
    """
    if zone.opening.stream_m is None and zone.opening.reach_m is None:
        return None
    over_m = next((_over_m(hole) for hole in zone_flow.open_holes), 0.0)
    if over_m <= TRUSTED_BELOW_M:
        return None
    return (
        f"its stream means {show_pressure(over_m, us_units)} at the first hole; over "
        f"{show_pressure(TRUSTED_BELOW_M, us_units)} the air takes an eighth of it and more, so "
        "more flows than is computed: measure the flow, or read a smaller stream"
    )


def unmeasured_loss_k(zone: Zone, zone_flow: ZoneFlow) -> tuple[float, float, float] | None:
    """Loss of take-off and an unknown valve, much, half and little open; None if it is known.

    Parameters
    ----------
    zone : Zone
        The zone.
    zone_flow : ZoneFlow
        Its flow, for the open holes behind the valve.

    Returns
    -------
    tuple of float, or None
        Loss coefficients, least first. [-]

    Raises
    ------
    OutOfRange
        Never, for zones of the garden model.

    Source
    ------
    pipe.py: `unknown_loss_k`.
    """
    holes_m2 = sum(pi / 4.0 * hole.bore_m**2 for hole in zone_flow.open_holes)
    if not zone.opening.unknown or holes_m2 <= 0.0:
        return None
    least, middle, most = unknown_loss_k(holes_m2=holes_m2, bore_m=zone.rows[0].pipe.bore_m)
    return zone.take_off_k + least, zone.take_off_k + middle, zone.take_off_k + most


def opening_doubt(
    zone: Zone, zone_flow: ZoneFlow, loss_k: float, *, us_units: bool = False
) -> str | None:
    """Why a zone's flow is a guess; None where its valve was set, seen or measured.

    Parameters
    ----------
    zone : Zone
        The zone.
    zone_flow : ZoneFlow
        Its flow with only this zone open.
    loss_k : float
        The loss coefficient its flow was computed with; a fitted one is no guess. [-]
    us_units : bool
        Whether the words are in US units.

    Returns
    -------
    str or None
        Words for the gardener.

    Raises
    ------
    OutOfRange
        Never, for flows of the network.

    Source
    ------
    pipe.py: `unknown_loss_k`.
    """
    guessed = unmeasured_loss_k(zone, zone_flow)
    if guessed is None or not isclose(loss_k, guessed[1], rel_tol=1e-9):
        return None
    return (
        "how far its valve is open is unknown: it is timed at a middle flow, "
        f"{show_flow(zone_flow.flow_m3_s, us_units)} alone, and the true one may be a third of "
        "that or three times; measure it with only this zone open"
    )


def _airy(zone_flow: ZoneFlow, number: int, row: RowFlow, holes: Sequence[HoleFlow]) -> RowWarning:
    """Holes of a falling row, or before a crest, that let air in instead of water out."""
    numbers = tuple(hole.number for hole in holes)
    at = row.holes[row.air_at[0]]
    what = "drain hole" if at.kind == "drain" else "hole"
    stay = (
        f"hole {_spoken(numbers)} stays" if len(numbers) == 1 else f"holes {_spoken(numbers)} stay"
    )
    ways = ["lay the row level", "feed it at its low end"]
    if zone_flow.decided_by == "valve":
        ways.insert(0, "open the valve further, and throttle at the row's low end if at all")
    return RowWarning(
        row=number,
        kind="lets air in",
        holes=numbers,
        raise_m=max(0.0, *(-_over_m(hole) for hole in holes)),
        flow_m3_s=zone_flow.flow_m3_s,
        plug=0,
        words=f"row {number} falls away from its water: air enters at {what} {at.number}, and "
        f"{stay} dry (turned down they may trickle); {', or '.join(ways)}",
    )


def _warning(
    zone_flow: ZoneFlow,
    row: int,
    kind: Kind,
    holes: Sequence[HoleFlow],
    us: bool,
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
    which = f"hole{'s' if len(numbers) > 1 else ''} {_spoken(numbers)}"
    if kind == "never fills":
        said = (
            f"row {row} never fills beyond {show_length(holes[0].x_m, us)} from its inlet: {which} "
            "lie above the water"
        )
    elif kind == "stays dry":
        said = f"row {row}: {which} lie above the water and stay dry"
    else:
        least_m = min(map(_over_m, holes))
        held_m = max(first_drip_head_m(hole.bore_m) for hole in holes)
        said = (
            f"row {row}: {which} may not run: only {show_about(least_m, us)} of water stand over "
            f"the lowest of them, and surface tension can hold {show_about(held_m, us)}"
        )
    ways = [f"lower the pipe there by {show_about(raise_m, us)}"]
    if more > 0.0:
        if plug > 0:
            ways.insert(0, f"plug about {plug} of its {open_holes} open holes, evenly spread")
        if zone_flow.decided_by == "valve" and flow_m3_s <= most_m3_s:
            ways.insert(
                0,
                f"open the valve until it gives about {show_flow(flow_m3_s, us)} alone instead of "
                f"{show_flow(zone_flow.flow_m3_s, us)}",
            )
    if kind != "may not run":
        ways.append("plug those and plan without them")
    return RowWarning(
        row=row,
        kind=kind,
        holes=numbers,
        raise_m=raise_m,
        flow_m3_s=flow_m3_s,
        plug=plug,
        words=f"{said}; {', or '.join(ways)}" if remedy else said,
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


def _spoken(numbers: Sequence[int]) -> str:
    """ "1, 4 to 9": runs of numbers are told by their ends; "every second" where both walls are."""
    if len(numbers) > 2 and all(b - a == 2 for a, b in pairwise(numbers)):
        return f"{numbers[0]} to {numbers[-1]}, every second,"
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)
