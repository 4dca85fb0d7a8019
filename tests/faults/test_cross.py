"""Every fault at every moment with every kind of valve: each cell ends alike.

Lines that obey are shut by their deadline, a ball's two lines are never on together, the fault is
on record, the other zone is not harmed, the litres are those that ran, and what was not given is
given once, with the next watering. `support.crossjudge` says so of one cell.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.crossfaults import FAULTS, NAMES
from support.crossjudge import CELLS, Cell, cannot, run_some, some_of_each
from support.crossworld import KINDS, MOMENTS

FEW = some_of_each()
BATCH = 24  # cells handed to a process at a time
IN_ALL = 3620  # as docs/daemon-proof.md says
PROOF = Path(__file__).parents[2] / "docs" / "daemon-proof.md"


@pytest.fixture(scope="module")
def base() -> Iterator[Path]:
    """In memory where there is such a place: thousands of logbooks are written."""
    memory = Path("/dev/shm")
    path = Path(tempfile.mkdtemp(dir=memory if os.access(memory, os.W_OK) else None))
    yield path
    shutil.rmtree(path)


@pytest.mark.parametrize("family", dict.fromkeys(fault.family for fault in FAULTS))
def test_a_fault_ends_with_the_garden_safe_and_its_water_owed_once(base: Path, family: str) -> None:
    cells = [cell for cell in FEW if NAMES[cell[0]].family == family]
    assert len(cells) >= 2
    assert run_some(str(base), cells) == []


@pytest.mark.slow
def test_every_fault_at_every_moment_with_every_kind_of_valve_ends_alike(base: Path) -> None:
    batches = [CELLS[at : at + BATCH] for at in range(0, len(CELLS), BATCH)]
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        jobs = [(str(base), list(batch)) for batch in batches]
        found: list[tuple[Cell, list[str]]] = [
            item for part in pool.starmap(run_some, jobs, chunksize=1) for item in part
        ]
    assert found == []


def _dropped() -> Counter[str]:
    return Counter(
        why
        for name in NAMES
        for kind in KINDS
        for moment in MOMENTS
        if (why := cannot(NAMES[name], kind, moment))
    )


def test_no_cell_is_dropped_but_for_a_reason() -> None:
    dropped = _dropped()
    assert len(NAMES) == len(FAULTS)
    assert len(CELLS) == IN_ALL == len(FAULTS) * len(KINDS) * len(MOMENTS) - dropped.total()
    assert len(dropped) == 5, dropped


def test_any_two_of_family_kind_and_moment_meet_in_the_few() -> None:
    def pairs(cells: tuple[Cell, ...] | list[Cell]) -> set[tuple[str, str]]:
        axes = [(NAMES[name].family, kind, moment) for name, kind, moment in cells]
        return {pair for f, k, m in axes for pair in ((f, k), (f, m), (k, m))}

    assert pairs(FEW) == pairs(CELLS)
    assert {name for name, *_ in FEW} == set(NAMES)


def test_the_proof_says_how_many_cells_there_are_of_each_kind_of_fault() -> None:
    said = PROOF.read_text(encoding="utf-8")
    faults = Counter(fault.family for fault in FAULTS)
    cells = Counter(NAMES[name].family for name, *_ in CELLS)
    for family in faults:
        assert f"| {family} | {faults[family]} | {cells[family]} |" in said
    dropped, all_of_them = _dropped(), len(FAULTS) * len(KINDS) * len(MOMENTS)
    assert f"- {len(FAULTS)} faults, below" in said
    assert f"That is {len(CELLS)} cells" in said
    assert f"{dropped.total()} of the {all_of_them} cannot exist" in said
    for why, many in dropped.items():
        many = many if "solenoid" not in why else 2 * many  # of travelling, and of closing
        assert f"{many} because" in said.replace("\n", " "), why
    assert f"takes {len(FEW)} cells" in said
