"""Advice on single rows: how long they may be, and how level they must lie."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from controller.garden.model import Row, Watering
from controller.garden.show import show_length
from controller.hydraulics.advised import Advice, quoted, show_off_level
from controller.hydraulics.design import level_enough_m, most_that_is_good
from controller.hydraulics.evenness import by_squares, real_uniformity
from controller.hydraulics.flows import HoleFlow, RowFlow
from controller.hydraulics.shares import MOST_VARIATION
from controller.hydraulics.zonecase import HOT_DAY_MM, SEEN_OFF_LEVEL_M, ZoneCase, holes_words

# Wished of a row: real low-quarter uniformity where "excellent" begins; where drill and level alone
# take more than that, what the pipe may add to it. The second is our choice.
WISHED_UNIFORMITY, WISHED_OF_THE_PIPE = 0.90, 0.96
# Stations tried in a row at most: longer ones are no garden's.
_MOST_STATIONS = 200


def of_length(cases: list[ZoneCase]) -> Iterator[Advice]:
    """Longest level row for each way of drilling; and rows that are too long for theirs."""
    seen: set[tuple[object, ...]] = set()
    for case in cases:
        us, watering = case.garden.us_units, case.garden.watering
        for number, row in enumerate(case.zone.rows, 1):
            if row.plugged:
                continue
            holes = case.flow.rows[number - 1].holes
            even, wished = real_uniformity(holes, watering), wished_of(holes, watering)
            pattern = (row.pipe, row.drilling)
            if even >= wished and pattern in seen:
                continue
            longest_m = longest_on_supply_m(case, number - 1, wished)
            reach = (
                "over any length a garden has"
                if longest_m == inf
                else f"up to {show_length(longest_m, us)}"
            )
            figures = {"uniformity": even, "wished": wished}
            if longest_m < inf:
                figures["longest_m"] = longest_m
            basis = (
                f"the row marched hole by hole on this supply, level, {100 * wished:.0f} % low-"
                "quarter uniformity, drill and error of level in it"
            )
            if even < wished and row.length_m > longest_m:
                yield Advice(
                    subject="row length",
                    kind="water",
                    where=f'zone "{case.zone.name}", row {number}',
                    words=f"{show_length(row.length_m, us)} is too long for its holes: such a row "
                    f"is even {reach}; feed it in its middle, which halves the length that counts, "
                    "or drill fewer or smaller holes, or take the next pipe",
                    based_on=basis,
                    saves_m3=_saved_m3(row, even, wished),
                    figures=figures,
                )
            elif pattern not in seen:
                seen.add(pattern)
                yield Advice(
                    subject="row length",
                    kind="to know",
                    where=f'rows drilled as in zone "{case.zone.name}"',
                    words=f"{row.pipe.label} pipe with {holes_words(row.drilling, us)} stays even "
                    f"{reach}, if level",
                    based_on=basis,
                    figures=figures,
                )


def wished_of(holes: Sequence[HoleFlow], watering: Watering) -> float:
    """Uniformity to wish of a row: `WISHED_UNIFORMITY`, or what drill and level leave of it.

    Parameters
    ----------
    holes : sequence of HoleFlow
        The row's holes as they run: the error of level counts by their heads.
    watering : Watering
        The garden's scatter of drilling and error of level.

    Returns
    -------
    float
        Low-quarter uniformity. [-]

    Raises
    ------
    OutOfRange
        Never, for the garden model.

    Source
    ------
    Drill and level by `real_uniformity` of holes with like flows; what the pipe may add, by
    squares.
    """
    alike = [replace(hole, flow_m3_s=1.0) for hole in holes if hole.flow_m3_s > 0.0]
    return min(WISHED_UNIFORMITY, by_squares(WISHED_OF_THE_PIPE, real_uniformity(alike, watering)))


def longest_on_supply_m(case: ZoneCase, index: int, wished: float) -> float:
    """Longest level row in the place of one of a zone's, fed by this supply and valve.

    Parameters
    ----------
    case : ZoneCase
        The zone.
    index : int
        Which of its rows, from 0.
    wished : float
        Low-quarter uniformity wished, with drill and level. [-]

    Returns
    -------
    float
        Length; infinite where two hundred stations are not enough. [m]

    Raises
    ------
    NoSolution
        If the flows do not settle.

    Source
    ------
    The garden's network solved again for each length tried.
    """
    row = case.zone.rows[index]
    every_m = row.drilling.every_m

    def good(stations: int) -> bool:
        level = replace(
            row,
            length_m=stations * every_m,
            far_height_m=row.inlet_height_m,
            middle_height_m=0.0,
            plugged_holes=(),
            plugged_beyond_m=None,
        )
        rows = (*case.zone.rows[:index], level, *case.zone.rows[index + 1 :])
        lines = case.with_zone(replace(case.garden.zone(case.zone.name), rows=rows))
        flow = lines.open_set(frozenset((case.zone.name,))).zones[case.zone.name]
        return real_uniformity(flow.rows[index].holes, case.garden.watering) >= wished

    stations = most_that_is_good(good, _MOST_STATIONS)
    return inf if stations == _MOST_STATIONS else stations * every_m


def of_level(cases: list[ZoneCase]) -> Iterator[Advice]:
    """How level each row must lie, and which does not."""
    basis = (
        f"rows marched with their far end or middle off level, up to {100 * MOST_VARIATION:.0f} % "
        "between strongest and weakest hole (ASAE practice, from memory), the head at the inlet "
        "as computed now"
    )
    easy: list[str] = []
    for case in cases:
        watering = case.garden.watering
        allowed: list[float] = []
        level = _levelled(case)
        for number, (row, flow) in enumerate(zip(case.zone.rows, case.flow.rows, strict=True), 1):
            if row.plugged or not any(not h.plugged for h in flow.holes):
                continue
            off_m = max(abs(row.far_height_m - row.inlet_height_m), abs(row.middle_height_m))
            enough_m = level_enough_m(
                row=row,
                inlet_head_m=level[number - 1].inlet_head_m,
                rise_m=case.zone.rise_m,
                most_m=max(SEEN_OFF_LEVEL_M, off_m),
            )
            allowed.append(enough_m)
            if off_m <= enough_m or flow.variation <= MOST_VARIATION:
                continue
            even = real_uniformity(flow.holes, watering)
            levelled = real_uniformity(level[number - 1].holes, watering)
            yield Advice(
                subject="level",
                kind="water",
                where=f'zone "{case.zone.name}", row {number}',
                words=f"it lies {show_off_level(off_m)} off level, and with so little water over "
                f"its holes it bears only {show_off_level(enough_m)}: level it, or open the valve "
                "further",
                based_on=basis,
                saves_m3=_saved_m3(row, even, levelled),
                figures={"off_m": off_m, "level_enough_m": enough_m},
            )
        if allowed and min(allowed) >= SEEN_OFF_LEVEL_M:
            easy.append(case.zone.name)
        elif allowed and min(allowed) > 0.0:
            yield Advice(
                subject="level",
                kind="to know",
                where=f'zone "{case.zone.name}"',
                words=f"its rows are level enough within {show_off_level(min(allowed))}, at the "
                "far end and in the middle",
                based_on=basis,
                figures={"level_enough_m": min(allowed)},
            )
    if easy:
        yield Advice(
            subject="level",
            kind="to know",
            where="level",
            words=f"within {show_off_level(SEEN_OFF_LEVEL_M)}, which the eye sees, is level "
            f"enough for {quoted(easy)} as they run now",
            based_on=basis,
            figures={"level_enough_m": SEEN_OFF_LEVEL_M},
        )


def _levelled(case: ZoneCase) -> tuple[RowFlow, ...]:
    """Each row as it runs were all of the zone's rows level."""
    zone = case.garden.zone(case.zone.name)
    rows = [replace(r, far_height_m=r.inlet_height_m, middle_height_m=0.0) for r in zone.rows]
    lines = case.with_zone(replace(zone, rows=tuple(rows)))
    return lines.open_set(frozenset((zone.name,))).zones[zone.name].rows


def _saved_m3(row: Row, now: float, then: float) -> float:
    """Water of a hot day on a row's ground that a better uniformity saves; a dry row has no sum."""
    if now <= 0.0 or then <= now:
        return 0.0
    return HOT_DAY_MM / 1000.0 * row.ground_m2 * (1.0 / now - 1.0 / then)
