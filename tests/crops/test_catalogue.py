"""The catalogue: the tables, looking up in them, and what a gardener may lay over them."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.tables import CROP_NAMES, SOIL_NAMES, source_of

from controller.errors import CropFileError
from controller.garden.model import OwnCrop, OwnSoil
from crops.catalogue import load, read_tables
from crops.entry import CROP_FIGURES, STAGES, Crop

CATALOGUE = load()
CROPS = [CATALOGUE.crop(name) for name in CROP_NAMES]
SOILS = [CATALOGUE.soil(name) for name in SOIL_NAMES]
TINY = """
[crop.thing]
label = "Thing"
kc = [0.5, 1.0, 0.8]
kcb = [0.15, 0.9, 0.7]
stage_days = [20, 30, 30, 20]
height_m = 0.4
roots_m = [0.3, 0.6]
depletion_fraction = 0.4
in_row_spacing_m = 0.2
"""


def test_there_are_a_hundred_garden_crops() -> None:
    assert len(CROPS) >= 100


@pytest.mark.parametrize("entry", [*CROPS, *SOILS], ids=lambda entry: entry.name)
def test_every_entry_says_where_each_figure_comes_from(entry: Any) -> None:
    assert entry.source
    for figure in type(entry).__dataclass_fields__:
        assert source_of(entry, figure)
    known = set(type(entry).__dataclass_fields__)
    assert entry.from_memory <= known


@pytest.mark.parametrize("crop", CROPS, ids=lambda crop: crop.name)
def test_every_crop_is_sound(crop: Crop) -> None:
    assert all(days > 0 for days in crop.stage_days)
    # Evergreen citrus uses least at mid-season (FAO-56, table 12), all others most.
    assert 0.2 <= crop.kc_ini <= crop.kc_mid + (0.05 if crop.name == "citrus" else 0.0)
    assert crop.kc_mid <= 1.25
    assert 0.05 <= crop.root_min_m <= crop.root_max_m
    assert 0.1 <= crop.depletion_fraction <= 0.8
    # In their row at the usual spacing full-grown plants meet, or nearly do.
    assert 0.7 * crop.in_row_spacing_m <= crop.spread_m <= max(2.5, crop.height_m + 0.5)
    if crop.kc_mid_supported is not None:
        assert crop.kc_mid <= crop.kc_mid_supported <= 1.25
        assert crop.kcb_mid_supported is not None and crop.height_supported_m is not None
        assert crop.kcb_mid <= crop.kcb_mid_supported < crop.kc_mid_supported
        assert crop.height_m < crop.height_supported_m <= 2.0


def test_a_figure_that_no_table_prints_says_so() -> None:
    leek = CATALOGUE.crop("leek")
    assert "memory" in source_of(leek, "kc_mid")
    assert source_of(CATALOGUE.crop("tomato"), "kc_mid") == "FAO-56 (1998) table 12"
    assert "memory" in source_of(CATALOGUE.soil("loam"), "intake_mm_h")
    assert "memory" in source_of(CATALOGUE.soil("clay"), "curve_number")
    assert "no source" in source_of(leek, "spread_m")
    assert "relative's" in source_of(leek, "emergence_days")
    onion = CATALOGUE.crop("onion")
    assert "Harrington" in source_of(onion, "emergence_days")
    assert "relative's" not in source_of(onion, "emergence_days")
    assert "footnote 2" in source_of(CATALOGUE.crop("pea"), "kc_mid_supported")
    mix = CATALOGUE.soil("raised-bed mix")
    assert "common practice, no source" in source_of(mix, "field_capacity")


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("zucchini", "summer_squash_zucchini"),
        ("Courgettes", "summer_squash_zucchini"),
        ("spring-onion", "onion_green"),
        ("SPRING  ONIONS", "onion_green"),
        ("tomatoes", "tomato"),
        ("strawberries", "strawberry"),
        ("peas", "pea"),
        ("brussels_sprouts", "brussels_sprouts"),
        ("lady's fingers", "okra"),
        ("beetroot", "beet"),
        ("aubergine", "eggplant"),
        ("rocket", "arugula"),
        ("mâche", "corn_salad"),
        ("Lamb's Lettuce", "corn_salad"),
        ("Chinese cabbages", "napa_cabbage"),
        ("lawns", "lawn_cool"),
        ("apple trees", "apple"),
        ("Cherries", "cherry"),
        ("apricots", "peach"),
        ("lemons", "citrus"),
        ("blackcurrants", "currant"),
        ("blackberries", "blackberry"),
        ("raspberries", "raspberry"),
        ("oats", "barley"),
        ("sunchokes", "jerusalem_artichoke"),
        ("field corn", "popcorn"),
        ("corn", "sweet_corn"),
        ("thyme", "thyme"),
        ("sage", "sage"),
        ("rosemary", "rosemary_sage_thyme"),
    ],
)
def test_a_crop_is_found_by_what_people_call_it(said: str, name: str) -> None:
    assert CATALOGUE.crop(said).name == name


def test_every_crop_and_soil_is_found_by_each_of_its_names() -> None:
    for crop in CROPS:
        for said in (crop.name, crop.label, *crop.also):
            assert CATALOGUE.crop(said) is crop
    for soil in SOILS:
        for said in (soil.name, soil.label, *soil.also):
            assert CATALOGUE.soil(said) is soil


def test_the_page_of_crops_has_every_crop_with_its_names_and_no_other() -> None:
    page = (Path(__file__).parents[2] / "docs" / "crops.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (?!crop )(.+?)( \*)? \| (.*) \|$", page, re.M)
    assert len(rows) == len(CROPS)
    for (label, star, also), crop in zip(rows, CROPS, strict=True):
        assert label == crop.label
        assert bool(star) == ("kc_mid" in crop.from_memory), label
        named = also.split(", ") if also else []
        assert set(crop.also) <= set(named)
        assert all(CATALOGUE.crop(said) is crop for said in (label, *named)), label


def test_an_unknown_crop_names_its_nearest() -> None:
    with pytest.raises(CropFileError, match=r'no crop is called "zuchini"; nearest: "zucchini"'):
        CATALOGUE.crop("zuchini")


def test_a_name_that_fits_several_crops_is_asked_back_and_each_named_once() -> None:
    with pytest.raises(CropFileError, match='no crop is called "wheat"; nearest: ') as caught:
        CATALOGUE.crop("wheat")
    near = str(caught.value).partition("nearest: ")[2].replace('"', "").split(", ")
    found = {CATALOGUE.crop(said).name for said in near}
    assert found == {"buckwheat", "wheat_spring", "wheat_winter"}


@pytest.mark.parametrize(
    ("said", "guess"),
    [("lavander", "lavender"), ("goosberry", "gooseberry"), ("raddichio", "radicchio")],
)
def test_a_misspelt_name_is_guessed(said: str, guess: str) -> None:
    with pytest.raises(CropFileError, match=f'nearest: "{guess}"'):
        CATALOGUE.crop(said)


def test_an_unknown_soil_names_its_nearest() -> None:
    with pytest.raises(CropFileError, match=r'"sandy lome"; nearest: "sandy loam"'):
        CATALOGUE.soil("sandy lome")


def test_a_name_near_to_nothing_says_how_to_describe_an_own_one() -> None:
    with pytest.raises(CropFileError, match="like ="):
        CATALOGUE.crop("qqqqq")


@given(st.text(max_size=20))
@settings(max_examples=40)
def test_any_name_is_found_or_refused_in_our_own_words(name: str) -> None:
    for look_up in (CATALOGUE.crop, CATALOGUE.soil):
        try:
            look_up(name)
        except CropFileError as error:
            assert name in str(error)


def test_an_own_crop_starts_from_another_and_changes_what_it_says() -> None:
    own = OwnCrop(name="blue leek", like="leek", changes={"kc_mid": 1.1, "days_mid": 75})
    leek, blue = CATALOGUE.crop("leek"), CATALOGUE.crop("Blue Leek", [own])
    assert (blue.kc_mid, blue.stage_days) == (1.1, (*leek.stage_days[:2], 75, leek.stage_days[3]))
    assert blue.root_min_m == leek.root_min_m
    assert blue.changed == {"kc_mid", "stage_days"}
    # Kcb moved with Kc: WORKED, 0.90 + (1.10 - 1.00) = 1.00.
    assert blue.kcb_mid == approx(1.0, abs=1e-9)


def test_supports_add_to_a_gardeners_own_coefficient_as_to_the_tables() -> None:
    own = OwnCrop(name="plum tomato", like="tomato", changes={"kc_mid": 1.05})
    plum = CATALOGUE.crop("plum tomato", [own])
    # WORKED: 1.20 + (1.05 - 1.15) = 1.10; Kcb likewise 1.15 - 0.10. The frame stays as high.
    assert plum.kc_mid_supported == approx(1.10, abs=1e-9)
    assert plum.kcb_mid_supported == approx(1.05, abs=1e-9)
    assert plum.height_supported_m == 1.8
    told = OwnCrop(name="plum tomato", like="tomato", changes={"kc_mid_supported": 1.3})
    assert CATALOGUE.crop("plum tomato", [told]).kc_mid_supported == 1.3


def test_an_own_crop_comes_up_and_dries_down_as_its_model() -> None:
    own = OwnCrop(name="red onion", like="onion", changes={"spread_m": 0.2})
    onion, red = CATALOGUE.crop("onion"), CATALOGUE.crop("red onion", [own])
    assert (red.emergence_days, red.dry_down) == (onion.emergence_days, "stop")
    assert (red.spread_m, red.changed) == (0.2, frozenset({"spread_m"}))


def test_changes_under_a_tables_own_name_go_before_the_table() -> None:
    own = [OwnCrop(name="Tomatoes", like=None, changes={"root_min_m": 0.5})]
    assert CATALOGUE.crop("tomatoes", own).root_min_m == 0.5
    assert CATALOGUE.crop("tomato").root_min_m == 0.7


def test_an_own_crop_may_build_on_another_own_one() -> None:
    own = [
        OwnCrop(name="b", like="a", changes={"kc_end": 0.6}),
        OwnCrop(name="a", like="leek", changes={"kc_mid": 1.1}),
    ]
    assert (CATALOGUE.crop("b", own).kc_mid, CATALOGUE.crop("b", own).kc_end) == (1.1, 0.6)


def test_own_crops_that_lean_on_each_other_are_refused_not_chased() -> None:
    own = [OwnCrop(name="a", like="b", changes={}), OwnCrop(name="b", like="a", changes={})]
    with pytest.raises(CropFileError, match='no crop is called "a"'):
        CATALOGUE.crop("a", own)


def test_an_own_crop_without_a_model_needs_its_figures() -> None:
    full = {
        "kc_ini": 0.5,
        "kc_mid": 1.05,
        "kc_end": 0.9,
        **dict.fromkeys(STAGES, 25),
        "height_m": 0.5,
        "root_min_m": 0.4,
        "root_max_m": 0.6,
        "depletion_fraction": 0.4,
        "in_row_spacing_m": 0.3,
    }
    made = CATALOGUE.crop("oca", [OwnCrop(name="oca", like=None, changes=full)])
    # PRINTED, FAO-56 (1998), table 18: 0.15 to begin with, and in mid-season Kc less 0.10.
    assert [made.kcb_ini, made.kcb_mid] == [0.15, approx(0.95, abs=1e-9)]
    assert made.gdd_base_c is None
    # Left out, and filled in: plants that just meet in the row, the usual upper limit of heat.
    assert (made.spread_m, made.gdd_upper_c) == (0.3, 30.0)
    assert (made.emergence_days, made.dry_down, made.kc_mid_supported) == ((), "", None)
    del full["kc_mid"], full["days_late"]
    with pytest.raises(CropFileError, match="missing kc_mid, days_late; or say like"):
        CATALOGUE.crop("oca", [OwnCrop(name="oca", like=None, changes=full)])


def test_all_faults_of_an_own_crop_are_told_at_once() -> None:
    wrong = {"kc_mdi": 1.0, "kc_mid": 2.5, "height_m": -1.0, "kc_ini": math.nan}
    with pytest.raises(CropFileError) as caught:
        CATALOGUE.crop("mine", [OwnCrop(name="mine", like="leek", changes=wrong)])
    told = str(caught.value).splitlines()
    assert told == [
        'crop "mine", kc_mdi: there is no such figure; did you mean kc_mid?',
        'crop "mine", kc_mid: found 2.5; allowed is 0 to 2',
        'crop "mine", height_m: found -1.0; allowed is 0.01 to 12',
        'crop "mine", kc_ini: found nan; allowed is 0 to 2',
    ]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"days_mid": 20.5}, "whole days"),
        (dict.fromkeys(STAGES, 0), "no days at all"),
        ({"root_max_m": 0.1}, "less than root_min_m"),
        ({"depletion_fraction": 40}, "allowed is 0.1 to 0.8"),
        ({"spread_m": 30}, "spread_m: found 30; allowed is 0.02 to 10"),
        ({"gdd_base_c": 20, "gdd_upper_c": 20}, "must be more than gdd_base_c, 20"),
    ],
)
def test_figures_that_cannot_be_are_refused(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(CropFileError, match=told):
        CATALOGUE.crop("mine", [OwnCrop(name="mine", like="leek", changes=changes)])


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"wilting_point": 0.26}, "wilting_point: found 0.26, which must be less than field_cap"),
        ({"field_capacity": 0.11}, "must be less than field_capacity, 0.11"),
        ({"rew_mm": 20.0}, "must be less than the 20.0 mm"),
        ({"feild_capacity": 0.3}, "did you mean field_capacity"),
        ({"intake_mm_h": 0.0}, "allowed is 0.1 to 500"),
        ({"curve_number": 100}, "curve_number: found 100; allowed is 30 to 98"),
    ],
)
def test_a_soil_that_cannot_be_is_refused(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(CropFileError, match=told):
        CATALOGUE.soil("mine", [OwnSoil(name="mine", like="loam", changes=changes)])


def test_an_own_soil_sheds_rain_as_its_model_or_as_a_mulched_bed() -> None:
    loam = OwnSoil(name="terrace", like="loam", changes={})
    assert CATALOGUE.soil("terrace", [loam]).curve_number == CATALOGUE.soil("loam").curve_number
    figures = {"field_capacity": 0.3, "wilting_point": 0.1, "rew_mm": 8, "intake_mm_h": 10}
    bare = OwnSoil(name="terrace", like=None, changes={**figures, "wetted_width_m": 0.4})
    assert CATALOGUE.soil("terrace", [bare]).curve_number == 75.0


def test_an_own_soil_dries_by_its_own_figures() -> None:
    own = OwnSoil(name="terrace", like="loam", changes={"field_capacity": 0.30})
    # WORKED, eq. 73: 1000 (0.30 - 0.5 * 0.12) 0.10 = 24 mm.
    assert CATALOGUE.soil("Terrace", [own]).tew_mm == approx(24.0, abs=1e-9)


@given(
    st.dictionaries(st.sampled_from(sorted(CROP_FIGURES)), st.floats() | st.integers(), max_size=6)
)
def test_any_changes_make_a_sound_crop_or_are_refused(changes: dict[str, Any]) -> None:
    try:
        crop = CATALOGUE.crop("mine", [OwnCrop(name="mine", like="leek", changes=changes)])
    except CropFileError:
        return
    assert crop.root_min_m <= crop.root_max_m
    for key, (low, high) in CROP_FIGURES.items():
        if key not in STAGES and (value := getattr(crop, key)) is not None:
            assert low <= value <= high


def test_a_second_file_of_crops_is_read_and_named_in_its_errors() -> None:
    other = TINY.replace("[crop.thing]", "[crop.other]").replace('"Thing"', '"Other"')
    both = read_tables(TINY, "", {"more.toml": other})
    assert (both.crop("thing").label, both.crop("other").label) == ("Thing", "Other")
    with pytest.raises(CropFileError, match=r'more\.toml, crop "other": missing height_m'):
        read_tables(TINY, "", {"more.toml": other.replace("height_m = 0.4\n", "")})
    with pytest.raises(CropFileError, match=r"more\.toml: "):
        read_tables(TINY, "", {"more.toml": "[crop.other"})
    # The same crop in two files is a slip, not a change.
    with pytest.raises(CropFileError, match='two entries of the crop table are called "thing"'):
        read_tables(TINY, "", {"more.toml": TINY})


@pytest.mark.parametrize(
    ("crops", "told"),
    [
        ("[crop.thing", "crops.toml"),
        (TINY.replace("kc = [0.5, 1.0, 0.8]", "kc = [0.5, 1.0]"), "kc: needs 3 figures"),
        (TINY.replace("kcb = [0.15, 0.9, 0.7]\n", ""), "missing kcb_ini, kcb_mid, kcb_end"),
        (TINY.replace("height_m = 0.4\n", ""), "missing height_m"),
        (TINY + "emergence_days = [9, 8, 7]", "needs 5 figures"),
        (TINY + "emergence_days = [12, 9, 0, 7, 6]", "with 0 only at the cold end"),
        (TINY + "emergence_days = [0, 0, 0, 0, 0]", "emergence_days"),
        (TINY + "emergence_days = [0, 9, 8, 7, 6]", "emergence_base_c: found None"),
        (
            TINY + "emergence_days = [0, 9, 8, 7, 6]\nemergence_base_c = 10.0",
            "allowed is -5 to less than 10",
        ),
        (
            TINY + "emergence_days = [0, 9, 8, 7, 6]\nemergence_base_c = 2\nemergence_slower = 9",
            "emergence_slower: found 9; allowed is 1 to 3",
        ),
        (TINY + 'dry_down = "halt"', "allowed are stop and taper"),
        (TINY + TINY.replace("[crop.thing]", "[crop.other]"), 'are called "Thing"'),
    ],
)
def test_a_table_that_does_not_read_says_what_is_wrong(crops: str, told: str) -> None:
    with pytest.raises(CropFileError, match=told):
        read_tables(crops, "")
