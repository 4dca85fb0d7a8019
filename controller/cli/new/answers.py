"""Readers of a new garden's answers, for what people write otherwise than a garden file has it."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from functools import lru_cache
from zoneinfo import available_timezones

from controller.cli.new import toml
from controller.errors import CropFileError, GardenFileError, QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.hydraulics.physics.pipe import PIPES
from controller.inputs.garden_loader import garden_from_text
from controller.paper.text import WIDTH
from crops.catalogue import Catalogue
from crops.entry import Crop

_NUMBER = r"([+-]?\d+(?:[.,]\d+)?)\s*°?\s*"
# A comma alone parts two numbers only if both have a decimal point: "47,6" is one number.
_COORDINATES = (
    re.compile(
        rf"{_NUMBER}([NS]?)(?:\s*[,;]\s+|\s*;\s*|\s+|(?<=[NS])\s*,?\s*){_NUMBER}([EW]?)", re.I
    ),
    re.compile(r"([+-]?\d+\.\d+)()\s*,\s*([+-]?\d+\.\d+)()"),
)
_NAMED_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}
_MONTHS = {name.casefold(): number for number, name in enumerate(calendar.month_abbr) if name}


def coordinates(found: str) -> tuple[float, float]:
    """Latitude and longitude in degrees, as maps show them: "47.61, 8.13" or "47.61 N 8.13 E"."""
    for form in _COORDINATES:
        if (read := form.fullmatch(found.strip())) is None:
            continue
        latitude, south, longitude, west = read.groups()
        values = []
        for number, letter, limit in (
            (latitude, south, v.LATITUDE),
            (longitude, west, v.LONGITUDE),
        ):
            degrees = float(number.replace(",", "."))
            if letter and degrees < 0:
                raise QuantityError(
                    f"found {q.spell(found)}; a minus sign and a letter both: write one of them"
                )
            values.append(float(limit(-degrees if letter.upper() in ("S", "W") else degrees)))
        return values[0], values[1]
    raise QuantityError(
        f"found {q.spell(found)}; latitude and longitude are two numbers of degrees, north and "
        'east positive, as in "47.61, 8.13" or "33.9 S, 18.4 E"'
    )


def timezone(found: str) -> str:
    """The name of a time zone, or its last part: "zurich" for Europe/Zurich."""
    small = found.strip().casefold().replace(" ", "_")
    ends = sorted(
        name
        for name in available_timezones()
        if name.casefold() == small or name.casefold().rpartition("/")[2] == small
    )
    if len(ends) == 1 or (ends and ends[0].casefold() == small):
        return ends[0]
    return v.timezone(found)


def some_day(found: str, today: date, *, near: date | None = None) -> date:
    """A day: 2031-04-22, 22 April, April 22 2031, today, yesterday, tomorrow, +7 or -10.

    Without a year, that of the year in which it is nearest to the day `near` (today).
    """
    small = " ".join(found.casefold().replace(",", " ").split())
    if small in _NAMED_DAYS:
        return today + timedelta(days=_NAMED_DAYS[small])
    if re.fullmatch(r"[+-]\d{1,3}", small):
        return v.calendar_day(today + timedelta(days=int(small)))
    day, month, year = 0, 0, 0
    for word in small.split():
        if (number := _MONTHS.get(word[:3])) is not None and word.isalpha():
            month = number
        elif re.fullmatch(r"\d{1,2}\.?", word):
            day = int(word.rstrip("."))
        elif re.fullmatch(r"\d{4}", word):
            year = int(word)
        else:
            break
    else:
        if day and month and len(small.split()) <= 3:
            around = near or today
            years = [year] if year else [around.year - 1, around.year, around.year + 1]
            days = [date(y, month, day) for y in years if _is_day(y, month, day)]
            if days:
                return v.calendar_day(min(days, key=lambda one: abs((one - around).days)))
    try:
        return v.calendar_day(found)
    except QuantityError as wrong:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", found.strip()):
            raise QuantityError(
                f"found {q.spell(found)}; a day is written as in 2031-04-22, 22 April, today or -10"
            ) from wrong
        raise


@lru_cache(maxsize=256)  # "back" asks the same again
def first_fault(text: str, catalogue: Catalogue) -> str | None:
    """The first fault of a garden file's text, without its place; None if it reads."""
    try:
        garden_from_text(text, "garden.toml", catalogue)
    except GardenFileError as broken:
        fault = broken.faults[0]
        return fault[fault.find("found ") :] if "found " in fault else fault
    return None


def pipe_size(fault: Callable[[str], str | None]) -> v.Reader:
    """A nominal pipe size that a garden file takes; `fault` as `first_fault` gives it."""

    def read(found: str) -> str:
        if f"{found} in" in PIPES:  # as it is said
            return f"{found} in"
        if fault(_PIPE_TRIAL.format(size=toml.quoted(found))) is not None:
            raise QuantityError(f"found {q.spell(found)}; a pipe is one of {', '.join(PIPES)}")
        return found

    return read


_PIPE_TRIAL = """
site = {{ latitude = 45, longitude = 0, elevation = "0 m", timezone = "UTC" }}
supply = {{ static_pressure = "50 psi", flow_test = {{ fill = "5 gal", seconds = 40 }} }}
main = {{ size = {size} }}
zone = [{{ name = "a", row = [{{ length = "3 m", every = "15 cm", bore = "1.5 mm" }}] }}]
"""


def _is_day(year: int, month: int, day: int) -> bool:
    return 1 <= year <= 9999 and 1 <= day <= calendar.monthrange(year, month)[1]


def whole(what: str, low: int, high: int) -> v.Reader:
    """A whole number."""

    def read(found: str) -> int:
        number: int = v.whole(what, low, high)(
            int(found) if found.isascii() and found.isdigit() else found
        )
        return number

    return read


class CropNames:
    """The crops of the tables, by any of their names or its first letters."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue

    def read(self, found: str) -> Crop:
        """The crop that is meant; else `QuantityError` with those that begin like it."""
        try:
            return self._catalogue.crop(found)
        except CropFileError as unknown:
            begun = self.begun(found)
            if len(begun) == 1:
                return begun[0]
            if begun:
                labels = "; ".join(crop.label for crop in begun)
                raise QuantityError(
                    f"found {q.spell(found)}, with which {len(begun)} begin: {labels}"
                ) from unknown
            _, _, near = str(unknown).partition("; ")
            near = near if near.startswith("nearest") else "no crop in the list begins so"
            raise QuantityError(f'found {q.spell(found)}; {near}; "?" lists all') from unknown

    def begun(self, letters: str) -> list[Crop]:
        """The crops of which a name begins with these letters."""
        key = _key(letters)
        begun = [
            crop
            for crop in self._catalogue.crops()
            if key and any(_key(n).startswith(key) for n in (crop.name, crop.label, *crop.also))
        ]
        return sorted(begun, key=lambda crop: not _key(crop.label).startswith(key))

    def listed(self) -> str:
        """All crops, in columns."""
        return in_columns(crop.label for crop in self._catalogue.crops())


def in_columns(words: Iterable[str]) -> str:
    """Words in columns, to be read downwards."""
    listed = list(words)
    wide = max(map(len, listed)) + 2
    columns = max(1, (WIDTH - 1) // wide)
    deep = -(-len(listed) // columns)
    return "\n".join(
        "".join(f"{word:<{wide}}" for word in listed[row::deep]).rstrip() for row in range(deep)
    )


def _key(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())
