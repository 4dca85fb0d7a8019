"""Real uniformity beside random draws: holes drilled and laid by chance, the lowest quarter taken.

The draws know the definition alone (the mean of the lowest quarter of a row's own holes over their
mean), numpy's random numbers, and the flows of the row as solved.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot
from typing import Any

import numpy as np
import pytest
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.hydraulics_rows import longest_row_m

from controller.garden.model import Garden, Watering, Zone
from controller.garden.plumbing import Supply, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import DrilledHole
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.uniformity import (
    by_squares,
    low_quarter_uniformity,
    real_uniformity,
    scattered_uniformity,
)
from controller.hydraulics.physics.pipe import PIPES

DRAWS = 4000
SCATTERS = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25)
PAIRS = a_drilling(every_m=0.0762, first_m=0.0381, walls=Walls.BOTH)
# Row, head held at its inlet: level ones that lose head along them, and crooked ones with little.
ROWS = {
    "8 holes, level": (a_row(length_m=1.22), 0.7),
    "16 holes, level": (a_row(), 0.7),
    "40 holes, level": (a_row(length_m=6.1), 0.7),
    "60 holes, level": (a_row(length_m=9.15), 0.7),
    "80 holes, level": (a_row(length_m=12.2), 0.7),
    "100 holes, level": (a_row(length_m=15.25), 0.7),
    "120 holes, level": (a_row(length_m=18.3), 0.7),
    "160 holes, pairs": (a_row(PAIRS, length_m=6.1), 0.7),
    "40 holes, 2 in up, 3 in of head": (a_row(length_m=6.1, far_height_m=0.0508), 0.0762),
    "40 holes, 2 in up, 6 in of head": (a_row(length_m=6.1, far_height_m=0.0508), 0.1524),
    "40 holes, hump, 3 in of head": (a_row(length_m=6.1, middle_height_m=0.0508), 0.0762),
    "40 holes, sag, 1.5 in of head": (a_row(length_m=6.1, middle_height_m=-0.0508), 0.0381),
    "40 holes, some dry": (a_row(length_m=6.1, far_height_m=0.0508), 0.0508),
    "16 holes, 4 cm up, 5 cm of head": (a_row(far_height_m=0.04), 0.05),
    "8 holes, 4 cm up, 5 cm of head": (a_row(length_m=1.22, far_height_m=0.04), 0.05),
}


def held(row: Any, head_m: float, **habits: Any) -> Garden:
    """A supply that holds the head at the row's inlet."""
    supply = Supply(static_head_m=head_m, test_head_m=head_m - 1e-6, test_flow_m3_s=1e-2)
    garden = a_garden(a_zone("ash", row, take_off_k=0.0, main_run_m=0.0), supply=supply)
    return replace(garden, watering=Watering(windows=(), **habits))


def alone(lines: Lines) -> ZoneFlow:
    return lines.open_set(frozenset(("ash",))).zones["ash"]


def by_definition(flows: np.ndarray) -> np.ndarray:
    """Low-quarter uniformity of each line of holes; a broken hole counts by its fraction."""
    flows = np.sort(flows, axis=-1)
    quarter = flows.shape[-1] / 4.0
    whole = int(quarter)
    low = flows[..., :whole].sum(-1) + (quarter - whole) * flows[..., whole]
    found: np.ndarray = low / quarter / flows.mean(-1)
    return found


def drawn(flows: list[float], scatter: float) -> float:
    """Mean over many rows drilled with that scatter."""
    rng = np.random.default_rng(12)
    holes = np.maximum(0.0, 1.0 + scatter * rng.standard_normal((DRAWS, len(flows))))
    return float(by_definition(np.array(flows) * holes).mean())


@pytest.fixture(scope="module")
def grid() -> list[tuple[str, int, float, float, float, float]]:
    """Row, its holes, its pipe's uniformity, the scatter, the draws' uniformity, and ours."""
    found = []
    for name, (row, head_m) in ROWS.items():
        flow = alone(Lines(held(row, head_m)))
        flows = [hole.flow_m3_s for hole in flow.holes]
        for scatter in SCATTERS:
            ours = scattered_uniformity(flows, [scatter * one for one in flows])
            found.append((name, len(flows), flow.evenness, scatter, drawn(flows, scatter), ours))
    return found


def test_real_uniformity_is_that_of_rows_drilled_at_random(grid: Any) -> None:
    assert min(pipe for _, _, pipe, *_ in grid) < 0.6  # WORKED: the grid reaches from 0.36 to 1
    errors = [ours - true for *_, true, ours in grid]
    squares = [by_squares(pipe, max(0.0, 1 - 1.27 * cv)) - true for _, _, pipe, cv, true, _ in grid]
    product = [pipe * (1 - 1.27 * cv) - true for _, _, pipe, cv, true, _ in grid]
    for what, found in (("mixture", errors), ("squares", squares), ("product", product)):
        bias, worst = sum(found) / len(found), max(map(abs, found))
        print(f"{what}: bias {100 * bias:+.2f} points, largest {100 * worst:.2f}")
    # Asked: our choice. A tenth of a point on the whole, and a point at worst (8 holes, tilted).
    assert abs(sum(errors)) / len(errors) < 0.0015
    assert max(map(abs, errors)) < 0.01
    long = [ours - true for _, holes, *_, true, ours in grid if holes >= 40]
    assert max(map(abs, long)) < 0.004
    # What this replaces: squares of the two figures, and their product.
    assert max(map(abs, squares)) > 0.04 and max(map(abs, product)) > 0.1


def test_the_row_that_was_told_too_little(grid: Any) -> None:
    # A row that the draws find at some 91 % was told two points less by the product.
    row = min((one for one in grid if one[3] == 0.05), key=lambda one: abs(one[4] - 0.911))
    _, _, pipe, scatter, true, ours = row
    assert pipe * (1 - 1.27 * scatter) < true - 0.015
    assert ours == pytest.approx(true, abs=0.002)


def test_the_longest_row_is_as_even_as_wished_when_it_is_drilled() -> None:
    wishes: list[dict[str, Any]] = [
        {"least_uniformity": 0.90, "scatter_fraction": 0.05},
        {"least_uniformity": 0.90 / (1 - 1.27 * 0.05)},  # as it was: the product
    ]
    longest_m, shorter_m = (
        longest_row_m(pipe=PIPES["3/4 in"], drilling=a_drilling(), inlet_head_m=0.703, **wish)
        for wish in wishes
    )
    for more, allowed in ((0.0, 0.897), (5 * 0.1524, 0.0)):
        flow = alone(Lines(held(a_row(length_m=longest_m + more), 0.703)))
        found = drawn([hole.flow_m3_s for hole in flow.holes], 0.05)
        assert found >= allowed
        assert more == 0.0 or found < 0.901
    assert 0.15 < 1.0 - shorter_m / longest_m < 0.20


class Drilled(Lines):
    """Lines whose holes came out of the drill by chance, and lie where chance laid them."""

    rng: np.random.Generator
    scatter = level_m = 0.0

    def _by_chance(self, hole: DrilledHole) -> DrilledHole:
        factor = max(0.01, 1.0 + self.scatter * self.rng.standard_normal())
        return replace(
            hole,
            discharge_coefficient=factor * hole.discharge_coefficient,
            flow_factor=factor * hole.flow_factor,
            z_m=hole.z_m + self.level_m * self.rng.standard_normal(),
        )

    def _row_holes(self, zone: Zone) -> tuple[tuple[DrilledHole, ...], ...]:
        if zone.name not in self._holes:
            self._holes[zone.name] = tuple(
                tuple(self._by_chance(hole) for hole in holes) for holes in super()._row_holes(zone)
            )
        return self._holes[zone.name]


@pytest.mark.parametrize(
    ("name", "scatter", "level_m"),
    [
        ("60 holes, level", 0.1, 0.0),
        ("40 holes, 2 in up, 6 in of head", 0.05, 0.003),
        ("16 holes, 4 cm up, 5 cm of head", 0.05, 0.003),
        ("40 holes, level", 0.05, 0.05),
    ],
)
def test_rows_drilled_and_laid_by_chance_and_solved_anew(
    name: str, scatter: float, level_m: float
) -> None:
    # The whole network solved for each row: what scatters also moves the heads along the row.
    row, head_m = ROWS[name]
    garden = held(row, head_m, drilling_scatter=scatter, level_error_m=level_m)
    rng = np.random.default_rng(5)
    found = []
    for _ in range(150):
        lines = Drilled(garden)
        lines.rng, lines.scatter, lines.level_m = rng, scatter, level_m
        found.append(low_quarter_uniformity([h.flow_m3_s for h in alone(lines).holes]))
    mean, error = float(np.mean(found)), float(np.std(found)) / len(found) ** 0.5
    ours = real_uniformity(alone(Lines(garden)).holes, garden.watering)
    print(f"{name}: drawn {100 * mean:.2f}, ours {100 * ours:.2f}")
    assert ours == pytest.approx(mean, abs=0.006 + 3 * error)


def test_an_error_of_level_is_a_cause_of_its_own_where_there_is_little_head() -> None:
    # WORKED: 3 mm under 3 cm is 3/(2 x 30) = 5 % of a hole's flow, as the drill's 5 %: together
    # 7.07 %, and 1 - 1.27 x 0.0707 = 0.910 of many holes.
    row = a_row(a_drilling(every_m=0.01, first_m=0.005, bore_m=0.0005), length_m=1.0)
    garden = held(row, 0.03, drilling_scatter=0.05, level_error_m=0.003)
    flow = alone(Lines(garden))
    assert flow.evenness > 0.999
    assert real_uniformity(flow.holes, garden.watering) == pytest.approx(
        1 - 1.271 * hypot(0.05, 0.05), abs=0.002
    )
    # Under pressure it is nothing.
    strong = alone(Lines(held(a_row(), 10.0)))
    level, none = (Watering(windows=(), level_error_m=error) for error in (0.003, 0.0))
    assert real_uniformity(strong.holes, level) == pytest.approx(
        real_uniformity(strong.holes, none), abs=1e-5
    )
