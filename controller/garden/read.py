"""Reader of garden files: it gives a `Garden`, or all faults with their lines."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from controller.errors import GardenFileError
from controller.garden.checks import Known, check
from controller.garden.faults import Faults
from controller.garden.from_file.garden import fill
from controller.garden.model import Garden
from controller.garden.plumbing import Pipe
from controller.garden.pydantic_form import read_table
from controller.garden.quantities import is_us
from controller.garden.schema import NEEDED, WrittenGarden
from controller.garden.size import MOST_BYTES, require_size, too_large

# A quantity without quotes, the most common mistake: length = 11 ft
_BARE_QUANTITY = re.compile(r"=\s*([-+]?\d[\d ./,-]*\s*[A-Za-z%°][A-Za-z0-9/]*)\s*(?:#|,|\}|$)")


def read_garden(
    path: str | Path,
    *,
    pipes: Mapping[str, Pipe],
    known_crops: Known | None = None,
    known_soils: Known | None = None,
) -> Garden:
    """Read a garden file.

    `pipes` are the known pipe sizes. `known_crops` and `known_soils` are the known names, or
    functions that give None for a known name and a message for any other; with None any name is
    accepted. Raises `GardenFileError` with all faults.
    """
    try:
        with Path(path).open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise too_large(str(path))
        text = raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise GardenFileError([f"{path}: not UTF-8 text; save it as UTF-8"]) from error
    except OSError as error:
        raise GardenFileError([f"{path}: cannot be read: {error.strerror or error}"]) from error
    return read_garden_text(
        text, path=str(path), pipes=pipes, known_crops=known_crops, known_soils=known_soils
    )


def read_garden_text(
    text: str,
    *,
    path: str = "garden.toml",
    pipes: Mapping[str, Pipe],
    known_crops: Known | None = None,
    known_soils: Known | None = None,
) -> Garden:
    """Read the text of a garden file; `path` only names it in the faults."""
    require_size(text, path)
    data = _toml(text, path)
    faults = Faults(path, text, data)
    written = read_table(WrittenGarden, data, faults, NEEDED)
    us_units = written.units if written.units is not None else written.site.units
    if us_units is None:
        us_units = _mostly_us(data)
    garden = fill(written, faults=faults, pipes=pipes, us_units=us_units)
    check(written, garden, faults, known_crops=known_crops, known_soils=known_soils)
    faults.raise_if_any()
    return garden


def _toml(text: str, path: str) -> dict[str, Any]:
    """The values of the TOML text; GardenFileError with its first mistake and line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise GardenFileError([_slip(text, path, str(error))]) from error
    except RecursionError as error:
        raise GardenFileError([f"{path}: lists within lists too deep to read"]) from error
    except ValueError as error:  # a number of thousands of digits
        raise GardenFileError([f"{path}: cannot be read: {error}"]) from error


def _slip(text: str, path: str, message: str) -> str:
    """The parser's message, with the line and a hint for the two most common mistakes."""
    at = re.search(r" \(at line (\d+), column \d+\)$", message)
    lines = text.split("\n")
    line_no = int(at[1]) if at else max(1, len(text.rstrip().split("\n")))
    what = re.sub(r" \(at .*\)$", "", message)
    line = lines[line_no - 1] if line_no <= len(lines) else ""
    bare = _BARE_QUANTITY.search(line)
    hint = f'; a quantity stands in quotes, as in "{bare[1].strip()}"' if bare else ""
    if not bare and "{" in line and "}" not in line[line.rindex("{") :]:
        hint = "; a table in { } stands on one line: write a long row under [[zone.row]] instead"
    return f"{path}, line {line_no}: not valid TOML: {what[:1].lower()}{what[1:]}{hint}"


def _mostly_us(data: Any) -> bool:
    """Whether most quantities of the file are in US units; metric on a tie (our choice)."""
    found = [us for us in map(is_us, _texts(data)) if us is not None]
    return sum(found) * 2 > len(found)


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict | list):
        for inner in data.values() if isinstance(data, dict) else data:
            yield from _texts(inner)
