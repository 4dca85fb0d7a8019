"""The crop and soil tables as their files write them: the names of all entries, and the sources."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

from crops.catalogue import MORE_CROPS, SUPPORTED, Crop, Soil
from crops.entry import CROP_FIGURES


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((files("crops") / name).read_text(encoding="utf-8"))


_CROPS, _SOILS = _read("crops.toml"), _read("soils.toml")
CROP_NAMES: tuple[str, ...] = (
    *_CROPS["crop"],
    *(name for file in MORE_CROPS for name in _read(file)["crop"]),
)
SOIL_NAMES: tuple[str, ...] = tuple(_SOILS["soil"])

# The key of a row that holds a figure, where it is not the figure's own name.
_KEY = {
    **{key: key.split("_")[0] for key in CROP_FIGURES if key.startswith(("kc", "salinity"))},
    **dict.fromkeys(("root_min_m", "root_max_m"), "roots_m"),
    **dict.fromkeys(SUPPORTED, "supported"),
}
_WHERE: dict[str, str] = {**_CROPS["where"], **_SOILS["where"]}


def source_of(entry: Crop | Soil, figure: str) -> str:
    """Where one figure of a crop or soil of the tables comes from, in words."""
    usual = _WHERE.get(_KEY.get(figure, figure), entry.source)
    if figure in entry.from_memory and usual.startswith("FAO-56"):
        return f"from memory, or no table's ({entry.source})"
    if figure in entry.from_memory and figure == "emergence_days":
        return f"a near relative's in the {usual}, or as its note says"
    return usual
