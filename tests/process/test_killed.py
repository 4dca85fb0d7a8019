"""The daemon dies at random moments of a hasty season, in every way a board knows."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from process.recorder import PERSIST, RELEASED
from process.verdict import season_of_deaths

# Of each kernel; `python -m process.measure deaths` does 150 of each.
DEATHS = int(os.environ.get("ROWGATE_DEATHS", "12"))


@pytest.mark.slow
@pytest.mark.alone
@pytest.mark.parametrize(("mode", "seed"), [(PERSIST, 7), (RELEASED, 8)])
def test_however_often_it_dies_it_ends_dry_and_gives_the_dose_once(
    tmp_path: Path, mode: str, seed: int
) -> None:
    verdict = season_of_deaths(tmp_path, mode=mode, seed=seed, deaths=DEATHS)
    print("\n".join(verdict.lines()))
