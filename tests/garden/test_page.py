"""docs/garden-file.md has every key a garden file may hold, and no other, with its default."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import MISSING, fields
from itertools import chain
from pathlib import Path
from typing import Any

import pytest

from controller.garden import device_schema, model, plumbing, values
from controller.garden import schema as w
from controller.garden.model import Action, SensorKind
from controller.garden.plumbing import FITTINGS_K, Begins, Device
from controller.garden.pydantic_form import (
    Needed,
    Table,
    Unwritten,
    WrittenCrop,
    WrittenSoil,
    key_of,
)

PAGE = (Path(__file__).parents[2] / "docs/garden-file.md").read_text(encoding="utf-8")

# By heading of the page: the tables it describes.
TABLES: dict[str, list[type[Table]]] = {
    "`[site]`": [w.WrittenSite],
    "`[supply]`": [w.WrittenSupply, w.WrittenFlowTest],
    "`[main]`": [w.WrittenMain],
    "`[[main.run]]`": [w.WrittenRun],
    "`[[bed]]`": [w.WrittenBed],
    "`[[zone]]`": [w.WrittenZone],
    "A valve": [device_schema.WrittenValve],
    "A row": [w.WrittenRow, w.WrittenDrain],
    "A planting": [w.WrittenPlanting],
    "`[watering]`": [w.WrittenWatering, w.WrittenWindow, w.WrittenHold],
    "`[weather]`": [w.WrittenWeather],
    "`[board]`": [w.WrittenBoard],
    "`[master]`": [device_schema.WrittenMaster],
    "`[meter]`": [device_schema.WrittenMeter, device_schema.WrittenWhen],
    "`[[sensor]]`": [device_schema.WrittenSensor],
    "`[health]`": [device_schema.WrittenHealth],
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


def defaults() -> Iterator[tuple[str, str, str, str]]:
    """Heading and key of each constant default, with its text and its reason."""
    for heading, tables in TABLES.items():
        for table in tables:
            for name, field in table.model_fields.items():
                key, unwritten = key_of(table, name)
                if table is w.WrittenZone and name in w.WrittenGround.model_fields:
                    continue  # the keys of a bed
                if isinstance(field.default, float | int | str) and field.default:
                    unwritten = unwritten or Unwritten()
                if unwritten is not None:
                    yield heading, key, unwritten.text(field.default, False), unwritten.why


def row_of(heading: str, key: str) -> str:
    """The row of the page that describes a key, without its signs for code."""
    rows = re.findall(r"^\| .*$", section(heading), re.M)
    own = [row for row in rows if f"`{key}`" in row.split(" | ")[0]]
    (row,) = own or [row for row in rows if f"`{key} = " in row]
    return re.sub('[`"]', "", row)


@pytest.mark.parametrize(("heading", "key", "shown", "why"), list(defaults()))
def test_the_page_has_the_default_of_a_key(heading: str, key: str, shown: str, why: str) -> None:
    row = row_of(heading, key)
    said = row.partition("optional")[2] or row.split(" | ")[2]
    # A length of 0 m is better said by what it means, as in "at the tap".
    assert re.search(rf"(?<![\w.]){re.escape(shown)}(?![\w.]\w)", said) or (why and why in said)


def test_a_required_key_says_what_it_needs() -> None:
    """A fault without these words would say only the key."""
    tables: list[type[Table]] = [*chain(*TABLES.values()), w.WrittenGarden]
    required = [
        (table.__name__, name, field.metadata)
        for table in tables
        for name, field in table.model_fields.items()
        if field.is_required()
    ]
    assert [one[:2] for one in required if not any(isinstance(m, Needed) for m in one[2])] == []
    assert len(required) > 20


# What is made of a table of the file.
MADE: dict[type[Table], list[type[Any]]] = {
    w.WrittenSite: [model.Site],
    w.WrittenSupply: [plumbing.Supply, plumbing.Pump],
    w.WrittenBed: [model.Bed],
    w.WrittenZone: [model.Zone],
    device_schema.WrittenValve: [plumbing.Valve],
    w.WrittenRow: [plumbing.Row, plumbing.Drilling],
    w.WrittenPlanting: [model.Planting],
    w.WrittenWatering: [model.Watering],
    w.WrittenWindow: [model.Window],
    w.WrittenWeather: [model.WeatherSource],
    w.WrittenBoard: [model.Board],
    device_schema.WrittenMeter: [model.Meter],
    device_schema.WrittenSensor: [model.Sensor],
    device_schema.WrittenHealth: [model.HealthAddress],
}


def test_a_model_that_is_built_in_code_has_the_defaults_of_the_file() -> None:
    """Those of the same name, without the ones that the file makes from other keys."""
    of_file: dict[tuple[str, str], object] = {}
    of_model: dict[tuple[str, str], object] = {}
    for table, models in MADE.items():
        for made in models:
            for one in fields(made):
                written = table.model_fields.get(one.name)
                if written and one.default is not MISSING and written.default is not None:
                    of_model[made.__name__, one.name] = one.default
                    of_file[made.__name__, one.name] = written.default
    assert of_model == of_file
    assert len(of_model) > 30


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
