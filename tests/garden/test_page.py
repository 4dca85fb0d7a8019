"""docs/garden-file.md has every key a garden file may hold, and no other."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from controller.garden import hardware, values
from controller.garden import schema as w
from controller.garden.fittings import FITTINGS_K, Begins
from controller.garden.model import Action, SensorKind
from controller.garden.plumbing import Device
from controller.garden.pydantic_form import WrittenCrop, WrittenSoil

PAGE = (Path(__file__).parents[2] / "docs/garden-file.md").read_text(encoding="utf-8")

# By heading of the page: the tables it describes.
TABLES = {
    "`[site]`": [w.WrittenSite],
    "`[supply]`": [w.WrittenSupply, w.WrittenFlowTest],
    "`[main]`": [w.WrittenMain],
    "`[[main.run]]`": [w.WrittenRun],
    "`[[bed]]`": [w.WrittenBed],
    "`[[zone]]`": [w.WrittenZone],
    "A valve": [hardware.WrittenValve],
    "A row": [w.WrittenRow, w.WrittenDrain],
    "A planting": [w.WrittenPlanting],
    "`[watering]`": [w.WrittenWatering, w.WrittenWindow, w.WrittenHold],
    "`[weather]`": [w.WrittenWeather],
    "`[board]`": [w.WrittenBoard],
    "`[master]`": [hardware.WrittenMaster],
    "`[meter]`": [hardware.WrittenMeter, hardware.WrittenWhen],
    "`[[sensor]]`": [hardware.WrittenSensor],
    "`[health]`": [hardware.WrittenHealth],
    "`[[crop]]` and `[[soil]]`": [WrittenCrop, WrittenSoil],
}


def section(heading: str) -> str:
    start = re.search(rf"^#+ {re.escape(heading)}$", PAGE, re.M)
    assert start, heading
    return re.split(r"^#+ ", PAGE[start.end() :], maxsplit=1, flags=re.M)[0]


def keys(tables: Any) -> set[str]:
    return {field.alias or name for table in tables for name, field in table.model_fields.items()}


@pytest.mark.parametrize("heading", TABLES)
def test_the_page_has_every_key_of_a_table(heading: str) -> None:
    code = " ".join(re.findall(r"`([^`]*)`", section(heading)))
    words = set(re.findall(r"[a-z_]+", code))
    assert keys(TABLES[heading]) - words == set()


@pytest.mark.parametrize("heading", TABLES)
def test_the_page_has_no_key_that_does_not_read(heading: str) -> None:
    cells = re.findall(r"^\| (`[^|]*?) \|", section(heading), re.M)
    named = {key for cell in cells for key in re.findall(r"`([a-z_]+)`", cell)}
    assert named - keys(TABLES[heading]) == set()


def test_every_table_of_the_file_is_on_the_page() -> None:
    top = {field.alias or name for name, field in w.WrittenGarden.model_fields.items()} - {"units"}
    headed = set(re.findall(r"\[+([a-z]+)\]+", " ".join(TABLES)))
    assert headed == top


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("`[[bed]]`", values.MULCHES),
        ("`[[main.run]]`", [*Begins, *FITTINGS_K]),
        ("A valve", Device),
        ("`[meter]`", Action),
        ("`[[sensor]]`", SensorKind),
        ("`[weather]`", [*values.SERVICES, *values.FILE_KINDS, *values.CLIMATES, values.OFF]),
    ],
)
def test_the_page_has_every_word_that_a_key_allows(heading: str, words: str) -> None:
    assert [word for word in words if f'"{word}"' not in section(heading)] == []
