"""Reading of a garden file with the crop, soil and pipe tables to which it refers."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypedDict

from controller.errors import CropFileError
from controller.garden.model import Garden
from controller.garden.plumbing import Pipe
from controller.garden.read import read_garden, read_garden_text
from controller.hydraulics.physics.pipe import PIPES
from crops.catalogue import Catalogue

NameCheck = Callable[[str], str | None]


class _Tables(TypedDict):
    pipes: dict[str, Pipe]
    known_crops: NameCheck
    known_soils: NameCheck


def garden_from_file(path: str | Path, catalogue: Catalogue) -> Garden:
    """Read a garden file; GardenFileError with all faults, also unknown crops and soils."""
    return read_garden(path, **_tables(catalogue))


def garden_from_text(text: str, path: str, catalogue: Catalogue) -> Garden:
    """The same from text; `path` only names it in the faults."""
    return read_garden_text(text, path=path, **_tables(catalogue))


def crop_name_check(catalogue: Catalogue) -> NameCheck:
    """A check that gives None for a known crop, else a message with the nearest name."""
    return _name_check(catalogue.crop)


def _tables(catalogue: Catalogue) -> _Tables:
    return {
        "pipes": dict(PIPES),
        "known_crops": _name_check(catalogue.crop),
        "known_soils": _name_check(catalogue.soil),
    }


def _name_check(find: Callable[[str], object]) -> NameCheck:
    def check(name: str) -> str | None:
        try:
            find(name)
        except CropFileError as unknown:
            return str(unknown)
        return None

    return check
