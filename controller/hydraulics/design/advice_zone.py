"""Advice on a zone and its rows: length, level, speed, holes, throttle."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import Literal

from controller.garden.model import Watering, Zone
from controller.garden.plumbing import Drilling, Opening, Walls
from controller.hydraulics.design.limits import (
    WORTH_THROTTLING,
    TakesIn,
    level_enough_m,
    longest_run_s,
    most_that_is_good,
    throttle_to,
)
from controller.hydraulics.design.what_if import ZoneCase, fall_of, with_zone
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import HoleFlow, RowFlow, ZoneFlow
from controller.hydraulics.network.row_shares import MOST_VARIATION
from controller.hydraulics.network.uniformity import by_squares, dose_divisor, real_uniformity
from controller.hydraulics.physics.water_hammer import velocity_m_s
from controller.messages import Message, Quantity
from controller.units import M_PER_FT, M_PER_IN, l_min_from_m3_s

Kind = Literal["harm", "water", "time", "to know"]
Subject = Literal[
    "row length",
    "level",
    "holes",
    "together",
    "throttle",
    "main",
    "speed",
    "surge",
    "house pipe",
    "ends",
    "closing",
    "filter",
    "backflow",
]
_ORDER: tuple[Kind, ...] = ("harm", "water", "time", "to know")


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to build or set otherwise, and the reason.

    `kind` says what it prevents or saves: harm to pipe or house, water, time; or that it is only
    good to know. `zones` are those it names. `saves_m3` is water saved on a hot day, where that can
    be computed. `figures` holds the numbers behind it, units in the keys.
    """

    subject: Subject
    kind: Kind
    where: Message
    message: Message
    based_on: Message
    zones: tuple[str, ...] = ()
    saves_m3: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)


def ranked(advice: Iterable[Advice]) -> tuple[Advice, ...]:
    """Sorted: what prevents harm, then by water saved, then what saves time, then the rest."""
    return tuple(sorted(advice, key=lambda a: (_ORDER.index(a.kind), -a.saves_m3)))


# A full bed's use on a hot day (FAO-56 Table 2, warm; from memory). [mm]
HOT_DAY_MM = 6.0
# A row that is off level by more than this can be seen to be; one that bears it needs no care. Our
# choice. [m]
SEEN_OFF_LEVEL_M = 0.05
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
        name, watering = case.zone.name, case.garden.watering
        for number, row in enumerate(case.zone.rows, 1):
            if row.plugged:
                continue
            holes = case.low.rows[number - 1].holes
            even, wished = real_uniformity(holes, watering), _wished_of(holes, watering)
            if even > wished - WORTH_SHORTENING:
                even = max(even, wished)
            pattern = (row.pipe, row.drilling)
            if even >= wished and pattern in seen:
                continue
            longest_m = _longest_on_supply_m(case, number - 1, wished)
            figures = {"uniformity": even, "wished": wished}
            reach = Message("reach.any")
            if longest_m < inf:
                figures["longest_m"] = longest_m
                reach = Message(
                    "reach.up_to" if longest_m > 0.0 else "reach.none",
                    {"length": Quantity(longest_m, "length")},
                )
            basis = Message("basis.length", {"wished": Quantity(wished, "percent")})
            if even < wished and row.length_m > longest_m:
                yield Advice(
                    subject="row length",
                    kind="water",
                    where=Message("place.row", {"zone": name, "row": number}),
                    message=Message(
                        "advice.too_long",
                        {"length": Quantity(row.length_m, "length"), "reach": reach},
                    ),
                    based_on=basis,
                    zones=(name,),
                    saves_m3=_saved_m3(case, number, wished),
                    figures=figures,
                )
            elif pattern not in seen:
                seen.add(pattern)
                yield Advice(
                    subject="row length",
                    kind="to know",
                    where=Message("place.drilled_as", {"zone": name}),
                    message=Message(
                        "advice.reach",
                        {
                            "pipe": row.pipe.label,
                            "holes": _drilled(row.drilling),
                            "reach": reach,
                        },
                    ),
                    based_on=basis,
                    zones=(name,),
                    figures=figures,
                )


def _drilled(drilling: Drilling) -> Message:
    """The holes of a drilling."""
    return Message(
        "holes.both_walls" if drilling.walls is Walls.BOTH else "holes.drilled",
        {
            "group": drilling.group,
            "bore": Quantity(drilling.bore_m, "bore"),
            "every": Quantity(drilling.every_m, "length"),
        },
    )


def _wished_of(holes: Sequence[HoleFlow], watering: Watering) -> float:
    """Uniformity to wish of a row: `WISHED_UNIFORMITY`, or less where drill and level take more.

    Drill and level count as for holes with equal flows; the pipe's part is added by squares.
    """
    alike = [replace(hole, flow_m3_s=1.0) for hole in holes if hole.flow_m3_s > 0.0]
    return min(WISHED_UNIFORMITY, by_squares(WISHED_OF_THE_PIPE, real_uniformity(alike, watering)))


def _longest_on_supply_m(case: ZoneCase, index: int, wished: float) -> float:
    """Longest level row in the place of a row of the zone (from 0), fed by this supply and valve.

    The network is solved for each length tried; infinite where `_MOST_STATIONS` are not enough.
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
        speeds = row_speeds_m_s(case.zone, case.full)
        if not speeds or (speed := max(speeds.values())) <= FASTEST_ROW_M_S:
            continue
        number = max(speeds, key=lambda one: speeds[one])
        flow_m3_s = case.full.rows[number - 1].flow_m3_s
        yield Advice(
            subject="speed",
            kind="to know",
            where=Message("place.row", {"zone": case.zone.name, "row": number}),
            message=Message(
                "advice.speed",
                {
                    "speed": Quantity(speed, "speed"),
                    "most": Quantity(FASTEST_ROW_M_S, "speed"),
                    "flow": Quantity(flow_m3_s * FASTEST_ROW_M_S / speed, "rough flow"),
                },
            ),
            based_on=Message("basis.speed"),
            zones=(case.zone.name,),
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
    basis = Message("basis.level", {"variation": Quantity(MOST_VARIATION, "percent")})
    easy: list[str] = []
    for case in cases:
        name = case.zone.name
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
                where=Message("place.row", {"zone": name, "row": number}),
                message=Message(
                    "advice.off_level_when_low" if case.falls else "advice.off_level",
                    {
                        "off": Quantity(off_m, "off level"),
                        "bears": _bears(flow, enough_m),
                        "or_open": _or_open(case, number),
                    },
                ),
                based_on=basis,
                zones=(name,),
                saves_m3=_saved_m3(case, number, levelled),
                figures={"off_m": off_m, "level_enough_m": enough_m},
            )
        if allowed and min(allowed) >= SEEN_OFF_LEVEL_M:
            easy.append(name)
        elif allowed and min(allowed) > 0.0:
            yield Advice(
                subject="level",
                kind="to know",
                where=Message("place.zone", {"zone": name}),
                message=Message(
                    "advice.level_within_when_low" if case.falls else "advice.level_within",
                    {"within": Quantity(min(allowed), "off level")},
                ),
                based_on=basis,
                zones=(name,),
                figures={"level_enough_m": min(allowed)},
            )
    if easy:
        within = Quantity(SEEN_OFF_LEVEL_M, "off level")
        yield Advice(
            subject="level",
            kind="to know",
            where=Message("place.level"),
            message=Message("advice.level_by_eye", {"within": within, "zones": tuple(easy)}),
            based_on=basis,
            zones=tuple(easy),
            figures={"level_enough_m": SEEN_OFF_LEVEL_M},
        )


def _bears(flow: RowFlow, enough_m: float) -> Message:
    """How far off level a row may lie, and the reason for the limit."""
    if enough_m <= 0.0:
        return Message("level.friction")
    over_m = min(h.head_m - h.z_m for h in flow.holes if h.kind == "hole" and not h.plugged)
    return Message(
        "level.bears",
        {
            "over": Quantity(over_m, "about length") if over_m > 0.0 else Message("level.no_water"),
            "enough": Quantity(enough_m, "off level"),
        },
    )


def _or_open(case: ZoneCase, number: int) -> Message | str:
    """Whether opening the valve further would help as well; empty where it is full open."""
    zone = case.garden.zone(case.zone.name)
    if case.zone.opening.angle_deg == 0.0:
        return ""
    free = {name: k for name, k in case.corrections.valve_k.items() if name != zone.name}
    wide = replace(case, low_corrections=replace(case.low_corrections, valve_k=free))
    rows = _rows_of(wide, replace(zone, opening=Opening(angle_deg=0.0)), low=True)
    if rows[number - 1].variation <= MOST_VARIATION:
        return Message("level.or_open")
    return Message("level.opening_is_not_enough")


def _levelled(case: ZoneCase, *, low: bool = False) -> tuple[RowFlow, ...]:
    """Each row as it would run if all rows of the zone were level."""
    zone = case.garden.zone(case.zone.name)
    rows = [replace(r, far_height_m=r.inlet_height_m, middle_height_m=0.0) for r in zone.rows]
    return _rows_of(case, replace(zone, rows=tuple(rows)), low=low)


def _rows_of(case: ZoneCase, zone: Zone, *, low: bool) -> tuple[RowFlow, ...]:
    lines = case.with_zone(zone, low=low)
    return lines.open_set(frozenset((zone.name,))).zones[zone.name].rows


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
        zone = case.garden.zone(case.zone.name)
        # Distances are marked on a pipe in whole inches or centimetres.
        marked_m = M_PER_IN if case.garden.us_units else 0.01
        for crop in dict.fromkeys(planting.crop for planting in zone.plantings):
            gap_m = max(1, round(crop_spacing(crop) / marked_m)) * marked_m
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
            each_m3_s = then_m3_s / plants
            yield Advice(
                subject="holes",
                kind="to know",
                where=Message(
                    "place.rows", {"zone": zone.name, "rows": tuple(str(i + 1) for i in better)}
                ),
                message=Message(
                    "advice.holes",
                    {
                        "crop": crop.replace("_", " "),
                        "apart": Quantity(gap_m, "length"),
                        "every": Quantity(zone.rows[first].drilling.every_m, "length"),
                        "holes": _drilled(better[first]),
                        "then": Quantity(then_m3_s, "rough flow"),
                        "now": Quantity(now_m3_s, "rough flow"),
                        "each": Quantity(each_m3_s, "rough flow"),
                    },
                ),
                based_on=Message("basis.holes"),
                zones=(zone.name,),
                figures={
                    "every_m": better[first].every_m,
                    "bore_m": better[first].bore_m,
                    "group": float(better[first].group),
                    "row_flow_m3_s": then_m3_s,
                    "plant_flow_m3_s": each_m3_s,
                },
            )


def of_throttle(
    cases: list[ZoneCase], soaking: Callable[[Zone], TakesIn] | None
) -> Iterator[Advice]:
    """Flow to throttle a zone to, so that its time can be kept and the soil takes the water in."""
    for case in cases:
        zone = case.zone
        watering = case.garden.watering
        even = real_uniformity(case.flow.holes, watering)
        if even <= 0.0 or zone.ground_m2 <= 0.0:
            continue
        wanted_m3 = HOT_DAY_MM / 1000.0 * zone.ground_m2 / dose_divisor(even, watering)
        dose_m3 = wanted_m3 + case.drains_m3
        target = throttle_to(
            zone,
            wanted_m3=wanted_m3,
            drains_m3=case.drains_m3,
            takes_in=None if soaking is None else soaking(zone),
            longest_s=longest_run_s(case.garden, zone),
        )
        target_m3_s = target.flow_m3_s
        if case.flow.flow_m3_s < WORTH_THROTTLING * target_m3_s:
            continue
        loss_k, level_m, (full_m3_s, low_m3_s) = _throttled(case, target_m3_s)
        if level_m <= 0.0:
            care = Message("care.far_holes")
        elif level_m >= SEEN_OFF_LEVEL_M:
            care = Message("care.by_eye")
        else:
            care = Message("care.within", {"within": Quantity(level_m, "off level")})
        ends = Message(
            "throttle.barrel",
            {"full": Quantity(full_m3_s, "rough flow"), "low": Quantity(low_m3_s, "rough flow")},
        )
        now_s, then_s = dose_m3 / case.flow.flow_m3_s, dose_m3 / target_m3_s
        yield Advice(
            subject="throttle",
            kind="time",
            where=Message("place.zone", {"zone": zone.name}),
            message=Message(
                "advice.throttle",
                {
                    "now": Quantity(round(now_s), "duration"),
                    "flow": Quantity(target_m3_s, "rough flow"),
                    "ends": ends if case.falls else "",
                    "why": target.why,
                    "then": Quantity(round(then_s), "duration"),
                    "care": care,
                    "loss_k": Quantity(loss_k, "rough number"),
                },
            ),
            based_on=Message("basis.throttle", {"use": Quantity(HOT_DAY_MM, "depth")}),
            zones=(zone.name,),
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
