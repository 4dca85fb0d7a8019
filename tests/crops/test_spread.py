"""How wide plants grow, held against how far apart rows of them usually stand."""

from __future__ import annotations

import pytest

from controller.demand.plants.canopy import cover_at_full_size, field_cover
from crops.catalogue import load

# Row distances in m as gardens and market gardens have them: common practice, no source.
USUAL_ROWS_M = {
    "tomato": (0.8, 1.2),
    "tomato on stakes": (0.7, 1.0),
    "pepper": (0.5, 0.75),
    "eggplant": (0.6, 0.9),
    "zucchini": (0.9, 1.5),
    "winter squash": (1.5, 2.5),
    "pumpkin": (2.0, 3.0),
    "bush bean": (0.4, 0.6),
    "pea": (0.3, 0.75),
    "sweet corn": (0.7, 0.9),
    "carrot": (0.2, 0.4),
    "beet": (0.25, 0.45),
    "onion": (0.2, 0.4),
    "leek": (0.25, 0.45),
    "lettuce": (0.25, 0.45),
    "spinach": (0.2, 0.4),
    "kale": (0.45, 0.75),
    "cabbage": (0.5, 0.75),
    "broccoli": (0.5, 0.75),
    "celery": (0.3, 0.6),
    "potato": (0.65, 0.9),
    "strawberry": (0.3, 0.6),
}


@pytest.mark.parametrize("name", USUAL_ROWS_M)
def test_at_usual_distances_plants_shade_what_the_tables_field_does(name: str) -> None:
    """The cover that FAO-56, eq. 76 gives the table's Kcb mid lies between those of both."""
    crop = load().crop(name)
    kc_max = max(1.2, crop.kcb_mid + 0.05)  # eq. 72 in the table's climate
    field = field_cover(kcb=crop.kcb_mid, kc_max=kc_max, height_m=crop.height_m)
    close, wide = (
        cover_at_full_size(
            spread_m=crop.spread_m, spacing_m=crop.in_row_spacing_m, line_gap_m=gap_m
        )
        for gap_m in USUAL_ROWS_M[name]
    )
    assert wide <= field <= close
