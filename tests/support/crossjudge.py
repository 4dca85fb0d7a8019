"""One cell of the cross: a fault, a kind of valve, a moment; and whether it ended as all must."""

from __future__ import annotations

import logging
import shutil
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from itertools import combinations, product
from math import inf
from pathlib import Path
from unittest import mock

import pytest

from controller.daemon.openings import BEAT_S
from support.crossfaults import NAMES, Fault
from support.crosspins import never_both
from support.crossworld import (
    FLOW_L_S,
    KINDS,
    MOMENTS,
    ODD_NIGHTS,
    OPENER,
    SHUTTER,
    CrossWorld,
    Fit,
    quicker_accepting,
)

Cell = tuple[str, str, str]


def cannot(fault: Fault, kind: str, moment: str) -> str:
    """Why a cell cannot exist; empty if it does."""
    if moment in ("travelling", "closing") and kind in ("low", "high"):
        return f"a solenoid without a master has no time of {moment}"
    return fault.cannot(kind, moment)


CELLS: tuple[Cell, ...] = tuple(
    (name, kind, moment)
    for name, kind, moment in product(NAMES, KINDS, MOMENTS)
    if not cannot(NAMES[name], kind, moment)
)


def calm(base: Path, kind: str, moment: str, fit: Fit) -> dict[str, float]:
    """What the two days give when nothing happens; what a zone's day is made of.

    Where nothing strikes, all moments of a plain morning are one.
    """
    return _calm(base, kind, moment if moment in ODD_NIGHTS else "open", fit)


@cache
def _calm(base: Path, kind: str, moment: str, fit: Fit) -> dict[str, float]:
    # Its garden file stays: looked at seldom.
    with mock.patch("controller.daemon.engine.GARDEN_EVERY_S", 300.0):
        world = CrossWorld(Path(tempfile.mkdtemp(dir=base)), kind, moment, fit)
        world.run_to_the_end()
    given = {zone: world.credited(zone) for zone in ("a", "b")}
    assert min(given.values()) > 2.0
    # A meter ahead of both shares its litres by flows without travel: only the sum is sure.
    zones = [["a", "b"]] if fit.meter else [["a"], ["b"]]
    for those in zones:
        ran = sum(world.true_litres(zone) for zone in those)
        assert sum(given[zone] for zone in those) == pytest.approx(ran, rel=0.02)
    world.kill()
    return given


def complaints(base: Path, cell: Cell) -> list[str]:
    """What is wrong with the end of this cell."""
    name, kind, moment = cell
    fault = NAMES[name]
    usual = calm(base, kind, moment, fault.fit)
    folder = Path(tempfile.mkdtemp(dir=base))
    early = fault.early and moment == "at start"
    world = CrossWorld(folder, kind, moment, fault.fit, early=fault.strike if early else None)
    try:
        if not early:
            world.reach(lambda: fault.strike(world))
        world.run_to_the_end()
        return list(_judged(world, fault, usual))
    finally:
        for do in world.at_the_end:
            do()
        world.kill()
        shutil.rmtree(folder)


def _judged(world: CrossWorld, fault: Fault, usual: dict[str, float]) -> Iterator[str]:
    if not never_both(world.pins.moves, OPENER, SHUTTER):
        yield "both lines of the ball were on"
    for zone in ("a", "b"):
        # A master ahead of a line that does not obey shuts for it.
        if zone == "a" and not fault.obeys_with(world.kind) and "master" not in world.kind:
            continue
        for begins, ends in world.water(zone):
            due = [d for z, o, d in world.orders.values() if z == zone and o <= ends]
            latest = max(due, default=begins) + world.closing_s(zone) + fault.late_s + 0.05
            if ends > latest:
                yield f"{zone} ran {ends - latest:.1f} s too long"
    if any(world.shape(zone)[-1][1] > 0.0 for zone in ("a", "b")):
        yield "a valve is open at the end"
    if not fault.recorded(world):
        yield f"not on record: {world.happenings()}"
    keys = [r.key for r in world.pulses()]
    if len(keys) != len(set(keys)):
        yield "a pulse ran twice"
    yield from fault.besides(world, usual)
    blur_s = fault.blur_at(world.moment)
    deaths, run_s = world.fate.deaths, BEAT_S + 0.2
    for zone in ("a", "b"):
        touched = zone == "a" or fault.wide
        credited, true = world.credited(zone), world.true_litres(zone)
        blur_l = FLOW_L_S * (deaths * (run_s + world.fate.dead_s) + (blur_s if touched else 0.0))
        if abs(credited - true) > 0.02 * true + 0.01 + blur_l:
            yield f"{zone}: {true:.2f} L ran, {credited:.2f} L are written"
        # Planned anew, the same water may come in one pulse more or less, with its own filling.
        spare_l = 0.03 * usual[zone] + 2.0 * world.fill_l("b") + 0.1 * deaths
        least, most = usual[zone] - spare_l, usual[zone] + spare_l
        if touched:
            # What ran too long is counted, and the next dose may not be due yet.
            least, most = least - world.overrun_l(zone), most + world.overrun_l(zone)
        sure = not touched or (fault.owes and blur_s < inf)
        if sure and not least <= credited <= most:
            yield f"{zone}: {credited:.2f} L in two days, else {usual[zone]:.2f} L"
        if true > 1.2 * most + fault.more_l + (blur_l if blur_s < inf else 0.0):
            yield f"{zone}: {true:.2f} L ran, else {usual[zone]:.2f} L"


def some_of_each() -> list[Cell]:
    """Few cells in which any two of family, kind and moment meet, and every fault is met."""
    needed: set[object] = set()
    seen: dict[Cell, set[object]] = {}
    for cell in CELLS:
        name, kind, moment = cell
        axes = (NAMES[name].family, kind, moment)
        pairs: set[object] = {
            (i, j, axes[i], axes[j]) for i, j in combinations(range(len(axes)), 2)
        }
        seen[cell] = pairs | {("fault", name)}
        needed |= pairs
    chosen: list[Cell] = []
    times: dict[str, int] = defaultdict(int)
    # Each fault in turn takes the cell that brings most pairs not seen yet; the first of equals.
    while needed or any(not times[name] for name in NAMES):
        for name in NAMES:
            mine = [c for c in CELLS if c[0] == name and c not in chosen]
            best = max(mine, key=lambda c: len(seen[c] & needed))
            if not times[name] or seen[best] & needed:
                chosen.append(best)
                times[name] += 1
                needed -= seen[best]
    return chosen


@contextmanager
def quickly() -> Iterator[None]:
    """With longer waits where nothing is waited for, and nothing logged: it is the same daemon."""
    was = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    with (
        mock.patch("controller.daemon.engine.GARDEN_EVERY_S", 900.0),
        mock.patch("controller.daemon.valve_set.END_PATIENCE_S", 0.01),
        mock.patch("controller.daemon.garden_reload.accept", quicker_accepting()),
    ):
        yield
    logging.disable(was)


def run_some(base: str, cells: list[Cell]) -> list[tuple[Cell, list[str]]]:
    """Run these cells, in a process of their own if need be; those with complaints."""
    with quickly():
        told = [(cell, complaints(Path(base), cell)) for cell in cells]
    return [(cell, words) for cell, words in told if words]
