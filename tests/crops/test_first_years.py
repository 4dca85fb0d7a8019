"""The first years of perennials: their figures, their kinds, and what is refused."""

from __future__ import annotations

from importlib.resources import files

import pytest
from pytest import approx
from support.tables import CROP_NAMES, source_of

from controller.errors import CropFileError
from crops.catalogue import Catalogue, load, read_tables
from crops.entry import Crop

CROPS = (files("crops") / "crops.toml").read_text(encoding="utf-8")
SOILS = (files("crops") / "soils.toml").read_text(encoding="utf-8")
PERENNIALS = [crop for crop in map(load().crop, CROP_NAMES) if crop.perennial]

APPLE = """
[crop.apple]
perennial = true
kc = [0.45, 0.95, 0.7]
kcb = [0.35, 0.9, 0.65]
stage_days = [30, 50, 130, 30]
height_m = 4.0
roots_m = [1.0, 2.0]
depletion_fraction = 0.5
in_row_spacing_m = 3.0
"""


def with_crop(row: str) -> Catalogue:
    return read_tables(CROPS + row, SOILS)


# Roots in metres at the end of years 1, 2 and 3: gardeners' custom (common practice, no source).
@pytest.mark.parametrize(
    ("name", "depths"),
    [
        ("asparagus", (0.45, 0.8, 1.2)),
        ("rhubarb", (0.35, 0.5, 0.6)),
        ("raspberry", (0.3, 0.5, 0.6)),
        ("blueberry", (0.2, 0.25, 0.3)),
        ("strawberry", (0.2,)),
        ("grape", (0.5, 0.8, 1.0)),
    ],
)
def test_roots_grow_about_as_gardeners_say(name: str, depths: tuple[float, ...]) -> None:
    crop = load().crop(name)
    assert crop.first_years is not None
    for year, depth_m in enumerate(depths, 1):
        assert crop.first_years.roots_by(year, full_m=crop.root_min_m) == approx(depth_m, abs=0.1)


def test_a_tree_roots_about_as_gardeners_say() -> None:
    apple = with_crop(APPLE).crop("apple")
    assert apple.first_years is not None
    for year, depth_m in enumerate((0.5, 0.7, 0.9), 1):
        assert apple.first_years.roots_by(year, full_m=1.0) == approx(depth_m, abs=0.2)


@pytest.mark.parametrize("crop", PERENNIALS, ids=lambda crop: crop.name)
def test_every_perennial_has_first_years_that_lead_to_its_full_growth(crop: Crop) -> None:
    young = crop.first_years
    assert young is not None
    assert "common practice, no source" in source_of(crop, "first_years")
    assert young.kind or "first_years" in crop.from_memory
    covers = [young.stand_in(year).cover for year in range(1, young.years + 2)]
    assert covers == sorted(covers)
    assert covers[-1] == approx(young.cover_full)
    depths = [young.roots_by(n / 4, full_m=crop.root_min_m) for n in range(4 * young.years + 8)]
    assert depths == sorted(depths)
    assert depths[0] == approx(min(young.roots_m, crop.root_min_m))
    assert depths[-1] == approx(crop.root_min_m)
    assert young.moist_days >= 14


def test_only_perennials_have_first_years() -> None:
    for name in CROP_NAMES:
        crop = load().crop(name)
        assert (crop.first_years is None) is (not crop.perennial)


@pytest.mark.parametrize(
    ("height_m", "kind"), [(4.0, "tree"), (2.5, "tree"), (1.5, "bush"), (0.5, "herb")]
)
def test_a_perennial_that_names_no_kind_has_that_of_its_height(height_m: float, kind: str) -> None:
    crop = with_crop(APPLE.replace("height_m = 4.0", f"height_m = {height_m}")).crop("apple")
    assert crop.first_years is not None
    assert crop.first_years.kind == kind


def test_a_perennial_may_name_its_kind() -> None:
    bush = with_crop(APPLE + 'first_years = "bush"\n').crop("apple")
    assert bush.first_years is not None
    assert (bush.first_years.kind, bush.first_years.label) == ("bush", "a bush")


def test_a_gardeners_own_perennial_has_the_first_years_of_what_it_is_like() -> None:
    class Own:
        name, like, changes = "loganberry", "raspberry", {"height_m": 1.8}

    found = load().crop("loganberry", [Own()])
    assert found.first_years == load().crop("raspberry").first_years


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ('"shrub"', "found 'shrub'; allowed are tree, bush, "),
        ("{ roots_m = 0.2 }", "years: found None; allowed is 1 to 15"),
        (
            "{ roots_m = 3, years = 3, cover = [0.1], cover_full = 0.4, moist_days = 7 }",
            "roots_m: found 3; allowed is 0.05 to 1",
        ),
        (
            "{ roots_m = 0.2, years = 3, cover = [], cover_full = 0.4, moist_days = 7 }",
            "cover: found []; needs a share of the ground for each year",
        ),
        (
            "{ roots_m = 0.2, years = 2, cover = [0.3, 0.2], cover_full = 0.4, moist_days = 7 }",
            "cover: found [0.3, 0.2]; needs at most a figure for each of the 2 years, growing",
        ),
        (
            "{ rots_m = 0.2, years = 2, cover = [0.3], cover_full = 0.4, moist_days = 7 }",
            "rots_m: there is no such figure",
        ),
    ],
)
def test_figures_that_cannot_be_are_refused(written: str, said: str) -> None:
    with pytest.raises(CropFileError) as caught:
        with_crop(f"{APPLE}first_years = {written}\n")
    assert said in str(caught.value)
    assert 'crops.toml, crop "apple", first_years' in str(caught.value)


def test_an_annual_with_first_years_is_refused() -> None:
    row = APPLE.replace("perennial = true", 'first_years = "tree"')
    with pytest.raises(CropFileError, match="only a perennial has them"):
        with_crop(row)
