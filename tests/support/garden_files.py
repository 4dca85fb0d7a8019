"""Small garden files as text, read with every pipe and a few known crops and soils."""

from __future__ import annotations

from typing import Any

import pytest

from controller.errors import GardenFileError
from controller.garden.model import Garden
from controller.garden.read import read_garden_text
from controller.hydraulics.pipe import PIPES

CROPS = ["leek", "carrot", "tomato_staked"]
SOILS = ["loam", "sandy_loam"]

# The quick way: one zone in ten lines, without a bed. Invented.
TEN_LINES = """\
supply = { static_pressure = "48 psi", flow_test = { flow = "7.5 gal/min", pressure = "31 psi" } }
[site]
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
[[zone]]
name = "leeks"
row = [{ length = "11 ft", every = "6 in", bore = "1/16 in" }]
planting = [{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }]
"""


def read(text: str, **more: Any) -> Garden:
    """The garden of the text."""
    return read_garden_text(
        text, pipes=PIPES, **{"known_crops": CROPS, "known_soils": SOILS, **more}
    )


def faults(text: str, **more: Any) -> list[str]:
    """What is said of a text that must not read."""
    with pytest.raises(GardenFileError) as caught:
        read(text, **more)
    return list(caught.value.faults)


def with_row(row: str) -> str:
    """The ten lines with this row, or these, in place of theirs."""
    return TEN_LINES.replace('{ length = "11 ft", every = "6 in", bore = "1/16 in" }', row)


def with_planting(*plantings: str) -> str:
    """The ten lines with these plantings in place of theirs."""
    before, _ = TEN_LINES.split("planting = ")
    return before + "planting = [" + ", ".join("{ " + p + " }" for p in plantings) + "]\n"


def in_zone(line: str) -> str:
    """The ten lines with more in the zone, from line 9 on."""
    return TEN_LINES.replace('name = "leeks"\n', f'name = "leeks"\n{line}\n')
