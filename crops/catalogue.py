"""The crop and soil tables: reading, checking, look-up by any name.

`load()` reads crops.toml, the files of `MORE_CROPS` and soils.toml beside this file. A gardener's
own crops and soils come before them: each names what it is `like` and the figures that it changes.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any, Protocol, TypeVar

from controller.errors import CropFileError
from crops.entry import (
    CROP_FIGURES,
    RANGES,
    SOIL_FIGURES,
    STAGES,
    Crop,
    Soil,
    autumn_of,
    checked_crop,
    checked_soil,
    crop_figures,
    soil_figures,
)
from crops.firstyears import FirstYears, first_years_of, kinds_of

__all__ = ["Catalogue", "Changes", "Crop", "Soil", "load", "read_tables"]


class Changes(Protocol):
    """An own crop or soil as a gardener describes it (OwnCrop and OwnSoil of the garden model)."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def like(self) -> str | None:
        """The entry of the table that it starts from; None: the one of its own name, if any."""

    @property
    def changes(self) -> Mapping[str, float]:
        """Figures that differ, by the names of `CROP_FIGURES` or `SOIL_FIGURES`."""


# Read after crops.toml, whose head is valid for them; no name may occur twice.
MORE_CROPS = ("greens_and_herbs.toml", "grains_and_covers.toml", "trees_bushes_lawns.toml")
# In the order of a row of crops.toml: kc_mid, kcb_mid, height_m.
SUPPORTED = ("kc_mid_supported", "kcb_mid_supported", "height_supported_m")

EMERGENCE = ("emergence_base_c", "emergence_least_c", "emergence_slower")

_Entry = TypeVar("_Entry", bound=Crop | Soil)


class Catalogue:
    """All crops and soils by any name; case, spaces, hyphens and plurals do not matter."""

    def __init__(self, crops: Iterable[Crop], soils: Iterable[Soil]) -> None:
        self._crop_by_name = _index(crops, "crop")
        self._soil_by_name = _index(soils, "soil")

    def crops(self) -> tuple[Crop, ...]:
        """All crops of the tables, by their labels."""
        found = {crop.name: crop for crop in self._crop_by_name.values()}
        return tuple(sorted(found.values(), key=lambda crop: crop.label))

    def crop(self, name: str, own: Iterable[Changes] = ()) -> Crop:
        """The crop of that name, the gardener's own first; CropFileError if there is none."""
        return _find("crop", name, tuple(own), self._crop_by_name, _changed_crop)

    def soil(self, name: str, own: Iterable[Changes] = ()) -> Soil:
        """The soil of that name, the gardener's own first; CropFileError if there is none."""
        return _find("soil", name, tuple(own), self._soil_by_name, _changed_soil)


@lru_cache(maxsize=1)
def load() -> Catalogue:
    """Read the tables that come with Rowgate."""
    crops, soils, *more = (
        (files("crops") / name).read_text(encoding="utf-8")
        for name in ("crops.toml", "soils.toml", *MORE_CROPS)
    )
    return read_tables(crops, soils, dict(zip(MORE_CROPS, more, strict=True)))


def read_tables(
    crops_toml: str, soils_toml: str, more_crops: Mapping[str, str] | None = None
) -> Catalogue:
    """Make a catalogue from tables as text; CropFileError if one is wrong.

    `more_crops` are further files of crops by their names; the first file's `[where]` holds for
    their figures too.
    """
    crops, soils = _parsed("crops.toml", crops_toml), _parsed("soils.toml", soils_toml)
    kinds = kinds_of(crops.get("first_years", {}))
    crop_list = [
        _crop_from_row(file, name, row, kinds)
        for file, text in {"crops.toml": crops_toml, **(more_crops or {})}.items()
        for name, row in _parsed(file, text).get("crop", {}).items()
    ]
    soil_list: list[Soil] = []
    for name, row in soils.get("soil", {}).items():
        soil_list.append(_soil_from_row(name, row, soil_list, soils.get("where", {})))
    return Catalogue(crop_list, soil_list)


def _parsed(file: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CropFileError(f"{file}: {error}") from error


def _crop_from_row(
    file: str, name: str, row: Mapping[str, Any], kinds: Mapping[str, FirstYears]
) -> Crop:
    figures: dict[str, Any] = {}
    for key, names in (
        ("kc", ("kc_ini", "kc_mid", "kc_end")),
        ("kcb", ("kcb_ini", "kcb_mid", "kcb_end")),
        ("stage_days", STAGES),
        ("roots_m", ("root_min_m", "root_max_m")),
        ("salinity", ("salinity_threshold_ds_m", "salinity_slope_pct")),
        ("supported", SUPPORTED),
    ):
        values = row.get(key, ())
        if values and len(values) != len(names):
            raise CropFileError(f'{file}, crop "{name}", {key}: needs {len(names)} figures')
        figures.update(zip(names, values, strict=False))
    figures.update({key: row[key] for key in CROP_FIGURES if key in row})
    plain = ("perennial", "source", "note", "dry_down", "first_picking", *EMERGENCE)
    about = {key: row[key] for key in plain if key in row}
    about["autumn"] = autumn_of(f'{file}, crop "{name}"', row.get("autumn"))
    about |= {"label": row.get("label", name), "family": row.get("family", "")}
    about |= {
        "also": tuple(row.get("also", ())),
        "from_memory": frozenset(row.get("from_memory", ())),
        "emergence_days": tuple(row.get("emergence_days", ())),
        "first_years": first_years_of(
            f'{file}, crop "{name}"',
            row.get("first_years"),
            kinds,
            perennial=bool(row.get("perennial")),
            height_m=figures.get("height_m", 0.0),
        ),
    }
    return checked_crop(f'{file}, crop "{name}"', name, figures, figures, about)


def _soil_from_row(
    name: str, row: Mapping[str, Any], earlier: Iterable[Soil], where: Mapping[str, str]
) -> Soil:
    base = next((soil for soil in earlier if soil.name == row.get("like")), None)
    figures = soil_figures(base) if base else {}
    changes = {key: row[key] for key in SOIL_FIGURES if key in row}
    ranges = {key: (float(row[key][0]), float(row[key][1])) for key in RANGES if key in row}
    about = {
        "label": row.get("label", name),
        "also": tuple(row.get("also", ())),
        "like": row.get("like", ""),
        "from_memory": frozenset(row.get("from_memory", ())),
        "note": row.get("chosen", ""),
        "source": row.get("source", where.get("field_capacity", "")),
        "ranges": ranges or (base.ranges if base else {}),
    }
    return checked_soil(f'soils.toml, soil "{name}"', name, {**figures, **changes}, changes, about)


def _index(entries: Iterable[_Entry], noun: str) -> dict[str, _Entry]:
    found: dict[str, _Entry] = {}
    for entry in entries:
        names: tuple[str, ...] = (entry.name, entry.label, *entry.also)
        for name in names:
            if found.setdefault(_key(name), entry) is not entry:
                raise CropFileError(f'two entries of the {noun} table are called "{name}"')
    return found


def _key(name: str) -> str:
    """The name without what people write differently: case, spaces, signs."""
    return re.sub(r"[\W_]+", "", name.casefold())


def _find(
    noun: str,
    name: str,
    own: tuple[Changes, ...],
    table: Mapping[str, _Entry],
    change: Callable[[_Entry | None, Changes], _Entry],
) -> _Entry:
    key = _key(name)
    in_table = next((table[said] for said in _singulars(key) if said in table), None)
    for mine in own:
        if _key(mine.name) == key:
            if mine.like is None:
                return change(in_table, mine)
            rest = tuple(other for other in own if other is not mine)
            return change(_find(noun, mine.like, rest, table, change), mine)
    if in_table is None:
        raise CropFileError(f'no {noun} is called "{name}"; {_nearest(name, own, table)}')
    return in_table


def _singulars(key: str) -> tuple[str, ...]:
    """The word itself, then its possible singulars: "leeks", "tomatoes", "strawberries"."""
    return key, key.removesuffix("s"), key.removesuffix("es"), key.removesuffix("ies") + "y"


def _nearest(name: str, own: tuple[Changes, ...], table: Mapping[str, _Entry]) -> str:
    spoken = {_key(mine.name): mine.name for mine in own}
    for entry in table.values():
        said_so: tuple[str, ...] = (entry.name.replace("_", " "), entry.label, *entry.also)
        for said in said_so:
            spoken.setdefault(_key(said), said)
    close: dict[str, str] = {}  # by entry: one name of each is enough
    for key in difflib.get_close_matches(_key(name), spoken, n=12, cutoff=0.6):
        close.setdefault(table[key].name if key in table else key, spoken[key])
    if close:
        return "nearest: " + ", ".join(f'"{said}"' for said in list(close.values())[:3])
    return 'nothing is near; own ones may be described with like = "..." and what differs'


def _changed_crop(base: Crop | None, own: Changes) -> Crop:
    if base is None:
        figures: dict[str, Any] = {}
        about: dict[str, Any] = {"family": ""}
    else:
        figures = crop_figures(base)
        about = {
            key: getattr(base, key)
            for key in (
                *("family", "perennial", "source", "from_memory", "note"),
                *(
                    "emergence_days",
                    *EMERGENCE,
                    "autumn",
                    "first_picking",
                    "dry_down",
                    "first_years",
                ),
            )
        }
    changes = dict(own.changes)
    # Kcb follows Kc by as much as the gardener moved it; for a crop without a model it lies at the
    # usual distance below (FAO-56, table 18: 0.10 for vegetables; 0.15 in all on bare soil).
    for part, usual in (("ini", 0.15), ("mid", 0.10), ("end", 0.10)):
        kc, kcb = changes.get(f"kc_{part}"), f"kcb_{part}"
        if kcb in changes or not isinstance(kc, int | float):
            continue
        distance = figures[f"kc_{part}"] - figures[kcb] if base else usual
        figures[kcb] = min(max(0.15 if not base and part == "ini" else kc - distance, 0.0), 2.0)
    # What supports add to the coefficients, they add to the gardener's own too.
    for plain, supported in zip(("kc_mid", "kcb_mid"), SUPPORTED, strict=False):
        value = changes.get(plain, figures.get(plain))
        if base and figures[supported] is not None and isinstance(value, int | float):
            figures[supported] = min(figures[supported] + value - getattr(base, plain), 2.0)
    changed = frozenset("stage_days" if key in STAGES else key for key in changes)
    about |= {
        "label": own.name,
        "from_memory": about.get("from_memory", frozenset()) - changed,
        "changed": changed,
    }
    return checked_crop(f'crop "{own.name}"', own.name, {**figures, **changes}, changes, about)


def _changed_soil(base: Soil | None, own: Changes) -> Soil:
    figures = soil_figures(base) if base else {}
    changes = dict(own.changes)
    about: dict[str, Any] = {"label": own.name, "changed": frozenset(changes)}
    if base:
        about |= {key: getattr(base, key) for key in ("source", "note", "ranges")}
        about |= {"like": base.name, "from_memory": base.from_memory - changes.keys()}
    return checked_soil(f'soil "{own.name}"', own.name, {**figures, **changes}, changes, about)
