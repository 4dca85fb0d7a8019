"""Readers of a new garden's answers, for what people write otherwise than a garden file has it."""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable
from datetime import date, timedelta
from zoneinfo import available_timezones

from controller.errors import CropFileError, QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
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


def some_day(found: str, today: date) -> date:
    """A day: 2031-04-22, 22 April, April 22 2031, today, yesterday, tomorrow, +7 or -10."""
    small = " ".join(found.casefold().replace(",", " ").split())
    if small in _NAMED_DAYS:
        return today + timedelta(days=_NAMED_DAYS[small])
    if re.fullmatch(r"[+-]\d{1,3}", small):
        return v.calendar_day(today + timedelta(days=int(small)))
    day, month, year = 0, 0, today.year
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
            try:
                return v.calendar_day(date(year, month, day))
            except ValueError:
                pass  # no such day: the error follows below
    try:
        return v.calendar_day(found)
    except QuantityError as wrong:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", found.strip()):
            raise QuantityError(
                f"found {q.spell(found)}; a day is written as in 2031-04-22, 22 April, today or -10"
            ) from wrong
        raise


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
            raise QuantityError(f"found {q.spell(found)}; {unknown}") from unknown

    def begun(self, letters: str) -> list[Crop]:
        """The crops of which a name begins with these letters."""
        key = _key(letters)
        return [
            crop
            for crop in self._catalogue.crops()
            if key and any(_key(n).startswith(key) for n in (crop.name, crop.label, *crop.also))
        ]

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
