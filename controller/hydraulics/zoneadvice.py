"""Advice on a zone as a whole: which holes for its plants, and how far to throttle it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from controller.garden.model import Drilling, Opening, Zone
from controller.garden.show import show_depth, show_duration, show_length
from controller.hydraulics.advised import Advice, figures, show_off_level, show_rate
from controller.hydraulics.design import level_enough_m
from controller.hydraulics.lines import Lines
from controller.hydraulics.throttle import WORTH_THROTTLING, TakesIn, longest_run_s, throttle_to
from controller.hydraulics.whatif import with_zone
from controller.hydraulics.zonecase import (
    HOT_DAY_MM,
    SEEN_OFF_LEVEL_M,
    ZoneCase,
    fall_of,
    holes_words,
)
from controller.units import M_PER_IN, l_min_from_m3_s

# Holes for close crops, and where big plants begin: common practice, no source.
CLOSE_CROP_M, CLOSE_EVERY_M, CLOSE_BORE_M, BIG_PLANT_M = 0.20, 0.1524, 0.0015875, 0.40


def of_holes(cases: list[ZoneCase], crop_spacing: Callable[[str], float]) -> Iterator[Advice]:
    """Bore and distance of holes that miss the plants they are for, and what better ones give."""
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
    """Flow to throttle a zone to, so that time can be kept and the soil keeps up."""
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
    """With a flow the zone can give, alone: its valve's loss, and how level its rows must be.

    Then what it gives at the ends of the supply's fall, the full one first.
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
    """A distance as one would mark it: whole inches, or whole centimetres; at least one."""
    unit_m = M_PER_IN if us else 0.01
    return max(1, round(metres / unit_m)) * unit_m


def _better_drilling(drilling: Drilling, gap_m: float) -> Drilling | None:
    """Holes that meet each plant, where the ones drilled do not; None where they do."""
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
