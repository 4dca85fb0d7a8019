"""Gardens with a meter, and the water that really runs in them: other pipes than the file says."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from random import Random
from typing import Any

from controller.garden.model import Garden, Meter
from controller.garden.plumbing import Drilling
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.parameters import corrections_of
from controller.hydraulics.calibration.result import standing
from controller.hydraulics.network.garden_lines import Lines
from controller.logbook.records import PulseState
from controller.units import l_from_m3
from support.daemon import MORNING, World
from support.gardens import a_garden, a_row, a_zone
from support.pins import HandInputs

METER_LINE = 5
START = datetime(2031, 6, 1, 2, 0, tzinfo=UTC)
LITRES_PER_PULSE = 1 / 400  # a small turbine meter; invented
COARSER = 1 / 40  # where minutes of water run each day: a tenth of the pulses to turn

FlowOf = Callable[[frozenset[str]], float]


def a_metered_garden(*zones: Any, **meter: Any) -> Garden:
    """Two zones and a meter ahead of them."""
    zones = zones or (a_zone("a", 17), a_zone("b", 22, rows=(a_row(6.0),)))
    plain = {
        "line": METER_LINE,
        "litres_per_pulse": LITRES_PER_PULSE,
        "debounce_s": 0.0002,
    }
    garden = a_garden(*zones, meter=Meter(**(plain | meter)))
    # The flow test has a day: who wants to see leaks does not leave the supply to years of drift.
    return replace(garden, supply=replace(garden.supply, tested_on=date(2031, 4, 1)))


def a_thirsty_garden(*names_and_lines: tuple[str, int], **meter: Any) -> Garden:
    """Open valves and much ground: minutes of water a day through a meter, about 29 L/min,
    one zone at a time."""
    names_and_lines = names_and_lines or (("a", 17),)
    rows = (a_row(8.0, ground_width_m=5.0, wetted_width_m=4.0),)
    zones = [a_zone(name, line, rows=rows) for name, line in names_and_lines]
    watering = replace(MORNING, most_open=1)
    return replace(a_metered_garden(*zones, **meter), watering=watering)


def true_flow(lines: Lines) -> FlowOf:
    """Litres a second through the meter with a set of zones open."""

    def flow_l_s(opened: frozenset[str]) -> float:
        return l_from_m3(lines.open_set(opened).supply_flow_m3_s) if opened else 0.0

    return flow_l_s


def plugged(garden: Garden, zone: str, holes: Collection[int]) -> Garden:
    """The same garden with these holes of the zone's first row plugged."""

    def changed(row: Any) -> Any:
        return replace(row, plugged_holes=tuple(holes))

    return _with_rows(garden, zone, lambda rows: (changed(rows[0]), *rows[1:]))


def burst(garden: Garden, zone: str, bore_m: float) -> Garden:
    """The same garden with one hole more at the zone's outlet, as wide as said."""
    hole = replace(a_row(0.5), drilling=Drilling(bore_m=bore_m, every_m=0.1, first_m=0.1, group=1))
    return _with_rows(garden, zone, lambda rows: (*rows, hole))


def _with_rows(garden: Garden, zone: str, change: Callable[[Any], Any]) -> Garden:
    zones = tuple(replace(z, rows=change(z.rows)) if z.name == zone else z for z in garden.zones)
    return replace(garden, zones=zones)


def drawn(garden: Garden, dice: Random) -> tuple[Lines, float]:
    """Lines as they may truly be where the file says `garden`: every unknown moved by its error.

    With them the distance of the draw from the file, in standard errors of the farthest unknown.
    """
    unknowns, log_factors, _ = standing(garden, fit(garden, []))
    moves = [dice.gauss(0.0, 1.0) for _ in unknowns]
    at = [x + z * u.prior_error for x, z, u in zip(log_factors, moves, unknowns, strict=True)]
    return Lines(garden, corrections=corrections_of(garden, unknowns, at)), max(map(abs, moves))


class Rig:
    """Turns water into the meter's pulses: what is less than one is kept for the next."""

    def __init__(
        self, inputs: HandInputs, flow_l_s: FlowOf, litres_per_pulse: float = LITRES_PER_PULSE
    ) -> None:
        self.inputs, self.flow_l_s, self.litres_per_pulse = inputs, flow_l_s, litres_per_pulse
        self.dead = False
        self.leak_l_s = 0.0
        self.litres = 0.0
        self._kept_l = 0.0

    def run(self, opened: frozenset[str], from_mono_s: float, to_mono_s: float) -> None:
        """Water runs for a while."""
        litres = (self.flow_l_s(opened) + self.leak_l_s) * (to_mono_s - from_mono_s)
        self.litres += litres
        self._kept_l += litres
        count = int(self._kept_l / self.litres_per_pulse)
        self._kept_l -= count * self.litres_per_pulse
        if self.dead:
            return
        for number in range(count):
            at_s = from_mono_s + (to_mono_s - from_mono_s) * (number + 0.5) / count
            self.inputs.put(METER_LINE, True, at_s)
            self.inputs.put(METER_LINE, False, at_s + (to_mono_s - from_mono_s) * 0.25 / count)


class MeteredWorld(World):
    """A daemon whose open lines let water through pipes as `truth` has them."""

    def __init__(self, folder: Path, garden: Garden, truth: Garden | None = None) -> None:
        inputs = HandInputs()
        per_pulse = garden.meter.litres_per_pulse if garden.meter else LITRES_PER_PULSE
        self.rig = Rig(inputs, true_flow(Lines(truth or garden)), per_pulse)
        self.zone_of = {z.valve.relay_line: z.name for z in garden.zones}
        super().__init__(
            folder, garden, now_utc=START, inputs=inputs, time_passes=MeteredWorld._flow
        )

    def restart(self, **more: Any) -> None:
        self.inputs = self.rig.inputs = HandInputs()  # another process takes the pins anew
        super().restart(**more)

    def _flow(self, from_mono_s: float, to_mono_s: float) -> None:
        opened = frozenset(
            zone for line, zone in self.zone_of.items() if line is not None and self.pins.read(line)
        )
        self.rig.run(opened, from_mono_s, to_mono_s)

    def given(self) -> list[Any]:
        return [r for r in self.pulses() if r.state is PulseState.CLOSED]
