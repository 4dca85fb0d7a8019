"""Small garden files as text, read with every pipe and a few known crops and soils."""

from __future__ import annotations

from typing import Any

import pytest

from controller.errors import GardenFileError
from controller.garden.model import Garden
from controller.garden.read import read_garden_text
from controller.hydraulics.physics.pipe import PIPES

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


# A tap whose zones are turned by hand; each comes by `hand_zone`. Invented.
BY_HAND = """
[site]
name = "Small"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
[supply]
static_pressure = "48 psi"
flow_test = { fill = "5 gal", seconds = 40 }
"""
# A metric garden with a file of weather; its zones come behind it. Invented.
WITH_WEATHER = """
[site]
name = "Invented"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
units = "metric"
[supply]
static_pressure = "40 psi"
flow_test = { flow = "8 gal/min", pressure = "20 psi" }
[weather]
file = "weather.csv"
"""
LEEKS = 'crop = "leek", transplanted = 2031-04-22, until = 2031-10-10'


def hand_zone(name: str, *plantings: str, rows: int = 1) -> str:
    """A zone on a hand valve, with rows alike."""
    row = '{ length = "11 ft", every = "6 in", bore = "1/16 in" }'
    planted = ", ".join(f"{{ {one} }}" for one in plantings)
    return (
        f'[[zone]]\nname = "{name}"\nmain_run = "18 ft"\nvalve = {{ hand = true }}\n'
        f"row = [ {', '.join([row] * rows)} ]\nplanting = [ {planted} ]\n"
    )


# A main that forks behind the shed, and once more along its right arm. Invented.
FORKED = """\
[site]
name = "Orchard Lane"
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
[supply]
static_pressure = "48 psi"
flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }
[[main.run]]
name = "trunk"
from = "tap"
length = "30 ft"
size = "1 in"
[[main.run]]
name = "left arm"
from = "trunk"
length = "40 ft"
size = "3/4 in"
fittings = ["elbow", "elbow"]
[[main.run]]
name = "right arm"
from = "trunk"
length = "25 ft"
size = "1 in"
[[main.run]]
name = "cold frame"
from = "right arm"
along = "10 ft"
length = "12 ft"
size = "1/2 in"
[[zone]]
name = "leeks"
run = "left arm"
row = [{ length = "11 ft", every = "6 in", bore = "1/16 in" }]
planting = [{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }]
[[zone]]
name = "carrots"
run = "right arm"
along = "20 ft"
row = [{ length = "20 ft", every = "6 in", bore = "1/16 in" }]
planting = [{ crop = "carrot", sown = 2031-04-10, until = 2031-08-20 }]
[[zone]]
name = "salad"
run = "cold frame"
row = [{ length = "8 ft", every = "6 in", bore = "1/16 in" }]
planting = [{ crop = "leek", transplanted = 2031-04-22, until = 2031-06-10 }]
"""


def forked(*swaps: tuple[str, str]) -> str:
    """The forked garden with some of its words swapped, each where it first stands."""
    text = FORKED
    for old, new in swaps:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text
