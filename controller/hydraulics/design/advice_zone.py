"""Advice on a zone and its rows: holes, throttle, length, level."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import inf

from controller.garden.model import Watering, Zone
from controller.garden.plumbing import Drilling, Opening
from controller.garden.show import show_about, show_depth, show_duration, show_length
from controller.hydraulics.design.advice_base import (
    HOT_DAY_MM,
    SEEN_OFF_LEVEL_M,
    Advice,
    ZoneCase,
    fall_of,
    figures,
    holes_words,
    quoted,
    show_off_level,
    show_rate,
    show_speed,
)
from controller.hydraulics.design.limits import (
    WORTH_THROTTLING,
    TakesIn,
    level_enough_m,
    longest_run_s,
    most_that_is_good,
    throttle_to,
)
from controller.hydraulics.design.what_if import with_zone
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import HoleFlow, RowFlow, ZoneFlow
from controller.hydraulics.network.row_shares import MOST_VARIATION
from controller.hydraulics.network.uniformity import by_squares, dose_divisor, real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.units import M_PER_FT, M_PER_IN, l_min_from_m3_s

# Uniformity wished of a row: the low-quarter uniformity where "excellent" begins; and, where drill
# and level alone give less, the uniformity that the pipe itself shall keep. The second is our
# choice.
WISHED_UNIFORMITY, WISHED_OF_THE_PIPE = 0.90, 0.96
# A row is too long where it misses that by more than this, one point. Our choice.
WORTH_SHORTENING = 0.01
# Speed of water at a row's inlet above which friction and joints suffer: the guideline of 5 ft/s in
# mains (utilities' practice; from memory).
FASTEST_ROW_M_S = 5.0 * M_PER_FT
# Most stations tried in a row; no garden has longer rows.
_MOST_STATIONS = 200


def of_length(cases: list[ZoneCase]) -> Iterator[Advice]:
    """Longest level row for each drilling, and rows that are too long for theirs."""
    seen: set[tuple[object, ...]] = set()
    for case in cases:
        us, watering = case.garden.us_units, case.garden.watering
        for number, row in enumerate(case.zone.rows, 1):
            if row.plugged:
                continue
            holes = case.low.rows[number - 1].holes
            even, wished = real_uniformity(holes, watering), wished_of(holes, watering)
            if even > wished - WORTH_SHORTENING:
                even = max(even, wished)
            pattern = (row.pipe, row.drilling)
            if even >= wished and pattern in seen:
                continue
            longest_m = longest_on_supply_m(case, number - 1, wished)
            if longest_m == inf:
                reach = "over any length a garden has"
            else:
                reach = f"up to {show_length(longest_m, us)}" if longest_m > 0.0 else "at no length"
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
                    saves_m3=_saved_m3(case, number, wished),
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
    """Uniformity to wish of a row: `WISHED_UNIFORMITY`, or less where drill and level take more.

    Parameters
    ----------
    holes : sequence of HoleFlow
        The row's holes as solved; the error of level counts by their heads.
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
    Drill and level by `real_uniformity` of holes with equal flows; the pipe's part is added by
    squares.
    """
    alike = [replace(hole, flow_m3_s=1.0) for hole in holes if hole.flow_m3_s > 0.0]
    return min(WISHED_UNIFORMITY, by_squares(WISHED_OF_THE_PIPE, real_uniformity(alike, watering)))


def longest_on_supply_m(case: ZoneCase, index: int, wished: float) -> float:
    """Longest level row in the place of a row of the zone, fed by this supply and valve.

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
        lines = case.with_zone(replace(case.garden.zone(case.zone.name), rows=rows), low=True)
        flow = lines.open_set(frozenset((case.zone.name,))).zones[case.zone.name]
        return real_uniformity(flow.rows[index].holes, case.garden.watering) >= wished

    stations = most_that_is_good(good, _MOST_STATIONS)
    return inf if stations == _MOST_STATIONS else stations * every_m


def of_speed(cases: list[ZoneCase]) -> Iterator[Advice]:
    """Rows that water enters too fast, and what they may draw instead."""
    for case in cases:
        us = case.garden.us_units
        speeds = row_speeds_m_s(case.zone, case.full)
        if not speeds or (speed := max(speeds.values())) <= FASTEST_ROW_M_S:
            continue
        number = max(speeds, key=lambda one: speeds[one])
        flow_m3_s = case.full.rows[number - 1].flow_m3_s
        yield Advice(
            subject="speed",
            kind="to know",
            where=f'zone "{case.zone.name}", row {number}',
            words=f"water enters it at {show_speed(speed, us)}: over "
            f"{show_speed(FASTEST_ROW_M_S, us)} friction, which grows nearly as the square, can "
            "make it uneven, dry-fitted joints are pushed apart, and shutting it knocks; throttle "
            "it to "
            f"{show_rate(flow_m3_s * FASTEST_ROW_M_S / speed, us)} a row, feed it in its middle, "
            "or take the next pipe",
            based_on="flow over the bore's area, the supply at its fullest; 5 ft/s as in mains "
            "(utilities' practice, from memory)",
            figures={"velocity_m_s": speed, "row_flow_m3_s": flow_m3_s},
        )


def row_speeds_m_s(zone: Zone, flow: ZoneFlow) -> dict[int, float]:
    """Speed of water at the inlet of each row of a zone, by the row's number. [m/s]"""
    return {
        number: velocity_m_s(flow_m3_s=found.flow_m3_s, bore_m=row.pipe.bore_m)
        for number, (row, found) in enumerate(zip(zone.rows, flow.rows, strict=True), 1)
        if not row.plugged
    }


def of_level(cases: list[ZoneCase]) -> Iterator[Advice]:
    """How level each row must lie, and which rows do not."""
    basis = (
        f"rows marched with their far end or middle off level, up to {100 * MOST_VARIATION:.0f} % "
        "between strongest and weakest hole (ASAE practice, from memory), the head at the inlet "
        "as computed now"
    )
    easy: list[str] = []
    for case in cases:
        us = case.garden.us_units
        allowed: list[float] = []
        level = _levelled(case, low=True)
        for number, (row, flow) in enumerate(zip(case.zone.rows, case.low.rows, strict=True), 1):
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
            levelled = real_uniformity(_levelled(case)[number - 1].holes, case.garden.watering)
            yield Advice(
                subject="level",
                kind="water",
                where=f'zone "{case.zone.name}", row {number}',
                words=f"it lies {show_off_level(off_m, us)} off level, and{_when_low(case)} "
                f"{_bears(flow, enough_m, us)}: level it{_or_open(case, number)}",
                based_on=basis,
                saves_m3=_saved_m3(case, number, levelled),
                figures={"off_m": off_m, "level_enough_m": enough_m},
            )
        if allowed and min(allowed) >= SEEN_OFF_LEVEL_M:
            easy.append(case.zone.name)
        elif allowed and min(allowed) > 0.0:
            yield Advice(
                subject="level",
                kind="to know",
                where=f'zone "{case.zone.name}"',
                words=f"its rows are level enough within {show_off_level(min(allowed), us)}"
                f"{_when_low(case).rstrip(',')}, at the far end and in the middle",
                based_on=basis,
                figures={"level_enough_m": min(allowed)},
            )
    if easy:
        yield Advice(
            subject="level",
            kind="to know",
            where="level",
            words=f"within {show_off_level(SEEN_OFF_LEVEL_M, us)}, which the eye sees, is level "
            f"enough for {quoted(easy)} as they run now",
            based_on=basis,
            figures={"level_enough_m": SEEN_OFF_LEVEL_M},
        )


def _bears(flow: RowFlow, enough_m: float, us: bool) -> str:
    """How far off level a row may lie, and the reason for the limit."""
    if enough_m <= 0.0:
        return "its friction alone takes all that its holes may differ"
    over_m = min(h.head_m - h.z_m for h in flow.holes if h.kind == "hole" and not h.plugged)
    over = show_about(over_m, us) if over_m > 0.0 else "no water"
    return f"with {over} over its driest hole it bears only {show_off_level(enough_m, us)}"


def _or_open(case: ZoneCase, number: int) -> str:
    """Whether opening the valve further would help as well; nothing where it is full open."""
    zone = case.garden.zone(case.zone.name)
    if case.zone.opening.angle_deg == 0.0:
        return ""
    free = {name: k for name, k in case.corrections.valve_k.items() if name != zone.name}
    wide = replace(case, low_corrections=replace(case.low_corrections, valve_k=free))
    rows = _rows_of(wide, replace(zone, opening=Opening(angle_deg=0.0)), low=True)
    if rows[number - 1].variation <= MOST_VARIATION:
        return ", or open the valve further"
    return "; to open the valve wide would not be enough"


def _levelled(case: ZoneCase, *, low: bool = False) -> tuple[RowFlow, ...]:
    """Each row as it would run if all rows of the zone were level."""
    zone = case.garden.zone(case.zone.name)
    rows = [replace(r, far_height_m=r.inlet_height_m, middle_height_m=0.0) for r in zone.rows]
    return _rows_of(case, replace(zone, rows=tuple(rows)), low=low)


def _rows_of(case: ZoneCase, zone: Zone, *, low: bool) -> tuple[RowFlow, ...]:
    lines = case.with_zone(zone, low=low)
    return lines.open_set(frozenset((zone.name,))).zones[zone.name].rows


def _when_low(case: ZoneCase) -> str:
    return ", when the barrel is low," if case.falls else ""


def _saved_m3(case: ZoneCase, number: int, then: float) -> float:
    """Water that a better uniformity saves on a row's ground on a hot day, as doses are planned."""
    watering = case.garden.watering
    now = real_uniformity(case.flow.rows[number - 1].holes, watering)
    if now <= 0.0 or then <= now:
        return 0.0
    per = 1.0 / dose_divisor(now, watering) - 1.0 / dose_divisor(then, watering)
    return HOT_DAY_MM / 1000.0 * case.zone.rows[number - 1].ground_m2 * per


# Holes for close crops, and where big plants begin: common practice, no source.
CLOSE_CROP_M, CLOSE_EVERY_M, CLOSE_BORE_M, BIG_PLANT_M = 0.20, 0.1524, 0.0015875, 0.40


def of_holes(cases: list[ZoneCase], crop_spacing: Callable[[str], float]) -> Iterator[Advice]:
    """Bore and distance of holes that miss their plants, and what better ones give."""
    for case in cases:
        us, zone = case.garden.us_units, case.garden.zone(case.zone.name)
        for crop in dict.fromkeys(planting.crop for planting in zone.plantings):
            gap_m = _round_length_m(crop_spacing(crop), us)
            better = {
                index: drilling
                for index, row in enumerate(zone.rows)
                if not row.plugged
                and (drilling := _better_drilling(row.drilling, gap_m)) is not None
                and row.length_m >= drilling.every_m
            }
            if not better:
                continue
            rows = tuple(
                replace(row, drilling=better[i], plugged_holes=(), plugged_beyond_m=None)
                if i in better
                else row
                for i, row in enumerate(zone.rows)
            )
            lines = case.with_zone(replace(zone, rows=rows))
            after = lines.open_set(frozenset((zone.name,))).zones[zone.name]
            first = min(better)
            now_m3_s, then_m3_s = case.flow.rows[first].flow_m3_s, after.rows[first].flow_m3_s
            plants = zone.rows[first].length_m / gap_m
            yield Advice(
                subject="holes",
                kind="to know",
                where=f'zone "{zone.name}", row {" and ".join(str(i + 1) for i in better)}',
                words=f"{crop.replace('_', ' ')} stands {show_length(gap_m, us)} apart, the holes "
                f"{show_length(zone.rows[first].drilling.every_m, us)}: "
                f"{holes_words(better[first], us)} would reach each plant; a row then gives "
                f"{show_rate(then_m3_s, us)} instead of {show_rate(now_m3_s, us)}, "
                f"{show_rate(then_m3_s / plants, us)} a plant",
                based_on="a hole by each plant, three by a big one, one every hand's breadth for "
                "close crops: common practice, no source; flows: the network with the new holes",
                figures={
                    "every_m": better[first].every_m,
                    "bore_m": better[first].bore_m,
                    "group": float(better[first].group),
                    "row_flow_m3_s": then_m3_s,
                    "plant_flow_m3_s": then_m3_s / plants,
                },
            )


def of_throttle(
    cases: list[ZoneCase], soaking: Callable[[Zone], TakesIn] | None
) -> Iterator[Advice]:
    """Flow to throttle a zone to, so that its time can be kept and the soil takes the water in."""
    for case in cases:
        us, zone = case.garden.us_units, case.zone
        if case.uniformity <= 0.0 or zone.ground_m2 <= 0.0:
            continue
        wanted_m3 = case.dose_m3
        dose_m3 = wanted_m3 + case.drains_m3
        target = throttle_to(
            zone,
            wanted_m3=wanted_m3,
            drains_m3=case.drains_m3,
            takes_in=None if soaking is None else soaking(zone),
            longest_s=longest_run_s(case.garden, zone),
            us_units=us,
        )
        target_m3_s = target.flow_m3_s
        if case.flow.flow_m3_s < WORTH_THROTTLING * target_m3_s:
            continue
        loss_k, level_m, ends_m3_s = _throttled(case, target_m3_s)
        if level_m <= 0.0:
            care = "its far holes give less, however level it lies"
        elif level_m >= SEEN_OFF_LEVEL_M:
            care = "level by eye is level enough"
        else:
            care = f"its rows must lie level within {show_off_level(level_m, us)}"
        falls = ""
        if case.falls:
            high, low = (show_rate(one, us) for one in ends_m3_s)
            falls = f" with the barrel at half its fall ({high} when full, {low} when low),"
        now_s, then_s = dose_m3 / case.flow.flow_m3_s, dose_m3 / target_m3_s
        yield Advice(
            subject="throttle",
            kind="time",
            where=f'zone "{zone.name}"',
            words=f"a hot day's water passes in {show_duration(round(now_s))}; throttle it, alone, "
            f"to about {show_rate(target_m3_s, us)}{falls} {target.why}: then it takes "
            f"{show_duration(round(then_s))}, and {care} (set it by meter "
            "or bucket, not by the handle: valve and take-off then lose "
            f"K {figures(loss_k, 2)})",
            based_on=f"a use of {show_depth(HOT_DAY_MM, us)} a day (FAO-56, warm), the network "
            "for the flow, the soil's steady intake and the basin; shortest and longest times and "
            "how much may pass while a valve travels are our choice",
            figures={
                "target_flow_m3_s": target_m3_s,
                "target_flow_l_min": l_min_from_m3_s(target_m3_s),
                "loss_k": loss_k,
                "level_enough_m": level_m,
                "now_s": now_s,
                "then_s": then_s,
            },
        )


def _throttled(case: ZoneCase, flow_m3_s: float) -> tuple[float, float, tuple[float, float]]:
    """For a flow that the zone can give alone: its valve's loss, and how level its rows must be.

    Then its flow at both ends of the supply's fall, the full end first.
    """
    name = case.zone.name
    free = {zone: k for zone, k in case.corrections.valve_k.items() if zone != name}
    rows = [
        replace(row, far_height_m=row.inlet_height_m, middle_height_m=0.0) for row in case.zone.rows
    ]
    zone = replace(case.zone, rows=tuple(rows), opening=Opening(alone_flow_m3_s=flow_m3_s))
    lines = Lines(with_zone(case.garden, zone), corrections=replace(case.corrections, valve_k=free))
    loss_k = lines.valve_loss_k(name)
    held = {**free, name: loss_k}
    full, low = (
        Lines(lines.garden, corrections=replace(case.corrections, valve_k=held, supply=curve))
        .open_set(frozenset((name,)))
        .zones[name]
        for curve in fall_of(lines)
    )
    level_m = min(
        level_enough_m(
            row=row, inlet_head_m=found.inlet_head_m, rise_m=zone.rise_m, most_m=SEEN_OFF_LEVEL_M
        )
        for row, found in zip(zone.rows, low.rows, strict=True)
        if any(not hole.plugged for hole in found.holes)
    )
    return loss_k, level_m, (full.flow_m3_s, low.flow_m3_s)


def _round_length_m(metres: float, us: bool) -> float:
    """A distance to mark on a pipe: whole inches or whole centimetres, at least one."""
    unit_m = M_PER_IN if us else 0.01
    return max(1, round(metres / unit_m)) * unit_m


def _better_drilling(drilling: Drilling, gap_m: float) -> Drilling | None:
    """Holes that meet each plant, where the drilled ones do not; None where they do."""
    if gap_m <= CLOSE_CROP_M:
        if drilling.every_m <= CLOSE_CROP_M:
            return None
        every_m, group, bore_m = CLOSE_EVERY_M, 1, min(drilling.bore_m, CLOSE_BORE_M)
    else:
        if drilling.every_m <= 1.1 * gap_m:
            return None
        every_m, group, bore_m = gap_m, 3 if gap_m >= BIG_PLANT_M else 1, drilling.bore_m
    return replace(
        drilling,
        every_m=every_m,
        first_m=every_m / 2.0,
        group=group,
        bore_m=bore_m,
        discharge_coefficient=(
            drilling.discharge_coefficient if bore_m == drilling.bore_m else None
        ),
    )
