"""The share of readily available water that may be gone, beside a handbook's own figures."""

from __future__ import annotations

import pytest

from controller.timetable.need.dose import REFILL_AT, refill_share
from crops.catalogue import load

CATALOGUE = load()
STAGES = ("initial", "development", "mid", "late")
# NRCS, National Engineering Handbook, part 652, table 3-3: management allowed depletion in percent
# of the available water at establishment, vegetative growth, flowering and yield, and ripening;
# from memory.
NEH_652_MAD = {
    "bush_bean": (40, 40, 40, 40),
    "sweet_corn": (50, 40, 40, 40),
    "garlic": (30, 30, 30, 30),
    "onion_dry": (40, 30, 30, 30),
    "lettuce": (40, 50, 40, 20),
    "spinach": (25, 25, 25, 25),
    "pea": (50, 50, 50, 50),
    "potato": (35, 35, 35, 50),
    "grape": (40, 40, 40, 50),
    "apple": (50, 50, 50, 50),
}


@pytest.mark.parametrize("name", NEH_652_MAD)
def test_no_stage_lets_go_more_than_the_handbook_allows(name: str) -> None:
    """So no crop carries a share of its own: the handbook's, over p, lies at or above ours."""
    crop = CATALOGUE.crop(name)
    for stage, mad in zip(STAGES, NEH_652_MAD[name], strict=True):
        share = refill_share(crop, stage, root_depth_m=crop.root_min_m)
        assert share * crop.depletion_fraction <= mad / 100.0 + 0.01, stage


def test_the_share_grows_with_the_roots_and_is_less_for_tender_and_shallow_crops() -> None:
    tomato, lettuce = CATALOGUE.crop("tomato"), CATALOGUE.crop("lettuce")
    deep = [refill_share(tomato, stage, root_depth_m=tomato.root_min_m) for stage in STAGES]
    assert deep == [REFILL_AT[stage] for stage in STAGES] == [0.5, 0.6, 0.8, 0.8]
    # A bed of 0.3 m over rubble, or a crop of p 0.3: never more than 0.6.
    assert refill_share(tomato, "mid", root_depth_m=0.3) == 0.6
    assert [refill_share(lettuce, s, root_depth_m=0.3) for s in STAGES] == [0.5, 0.6, 0.6, 0.6]
