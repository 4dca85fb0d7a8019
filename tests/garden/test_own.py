"""Crops and soils of the gardener's own: the keys and limits are those of the tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from support.garden_files import TEN_LINES, faults, read

from controller.garden.checks import WHOLE_CROP, WHOLE_SOIL
from controller.garden.pydantic_form import WrittenCrop, WrittenSoil
from crops.catalogue import load
from crops.entry import CROP_FIGURES, SOIL_FIGURES

TABLES = [("crop", key, *span) for key, span in CROP_FIGURES.items()]
TABLES += [("soil", key, *span) for key, span in SOIL_FIGURES.items()]


def own(table: str, figures: Mapping[str, object]) -> str:
    lines = [f"{key} = {value!r}" for key, value in figures.items()]
    return TEN_LINES + "\n".join([f"[[{table}]]", 'name = "mine"', *lines]) + "\n"


def test_every_figure_of_the_tables_may_be_set() -> None:
    assert set(WrittenCrop.model_fields) == {"name", "like", *CROP_FIGURES}
    assert set(WrittenSoil.model_fields) == {"name", "like", *SOIL_FIGURES}


@pytest.mark.parametrize(("table", "key", "low", "high"), TABLES)
def test_a_figure_is_believed_as_far_as_the_tables_believe_it(
    table: Any, key: Any, low: Any, high: Any
) -> None:
    whole = isinstance(low, int)
    known = {"known_crops": None, "known_soils": None}
    for value in (low, high):
        garden = read(own(table, {key: value}), **known)
        (entry,) = garden.own_crops if table == "crop" else garden.own_soils
        assert entry.changes == {key: value}
    for value in (low - (1 if whole else 0.001), high + (1 if whole else 0.001)):
        (fault,) = faults(own(table, {key: value}), **known)
        assert f'{table} "mine", {key}: found {value!r}' in fault


# Invented, and like no other.
CROP = {
    "kc_ini": 0.5,
    "kc_mid": 1.1,
    "kc_end": 0.8,
    "height_m": 0.5,
    "root_min_m": 0.4,
    "root_max_m": 0.8,
    "depletion_fraction": 0.4,
    "in_row_spacing_m": 0.3,
    "days_initial": 20,
    "days_development": 30,
    "days_mid": 40,
    "days_late": 20,
}
SOIL = {
    "field_capacity": 0.3,
    "wilting_point": 0.12,
    "rew_mm": 9.0,
    "intake_mm_h": 12.0,
    "wetted_width_m": 0.4,
}


def test_what_is_like_no_other_tells_what_the_tables_need_and_no_more() -> None:
    assert set(CROP) == set(WHOLE_CROP)
    assert set(SOIL) == set(WHOLE_SOIL)
    tables = load()
    crop_garden, soil_garden = read(own("crop", CROP)), read(own("soil", SOIL))
    assert tables.crop("mine", crop_garden.own_crops).in_row_spacing_m == 0.3
    assert tables.soil("mine", soil_garden.own_soils).wetted_width_m == 0.4
    for table, figures in (("crop", CROP), ("soil", SOIL)):
        for key in figures:
            (fault,) = faults(own(table, {k: v for k, v in figures.items() if k != key}))
            assert f'{table} "mine": found neither like nor {key}; ' in fault
