"""Readers of single values of the garden file, with their limits.

Every reader takes a value from TOML and returns it, quantities in SI, or raises a `QuantityError`
that says what was found and what is allowed.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Collection, Mapping
from datetime import date, datetime, time
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden.faults import nearest
from controller.garden.plumbing import FITTINGS_K, Pipe

DAY_NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Reader = Callable[[Any], Any]
SomeDay = TypeVar("SomeDay", date, datetime)
FIRST_YEAR, LAST_YEAR = 1900, 2199  # our choice


def quantity(kind: q.Kind, what: str, example: str, low: float, high: float, bounds: str) -> Reader:
    """A quantity with its unit, low <= value <= high in SI; `bounds` is the text of the limits."""

    def read(found: Any) -> float:
        value = q.parse(found, kind, what=what, example=example)
        if not low <= value <= high:
            raise QuantityError(f"found {q.spell(found)}; {what} is {bounds}, as in {example}")
        return value

    return read


def length(what: str, example: str, low: float, high: float, bounds: str) -> Reader:
    """A length. [m]"""
    return quantity(q.LENGTH, what, example, low, high, bounds)


def number(what: str, example: str, low: float, high: float) -> Reader:
    """A bare number: the unit is in the key's name, or there is none."""

    def read(found: Any) -> float:
        is_number = isinstance(found, int | float) and not isinstance(found, bool)
        if not is_number or not low <= found <= high:
            raise QuantityError(
                f"found {q.spell(found)}; {what} is a bare number from {low:g} to {high:g}, "
                f"as in {example}"
            )
        return float(found)

    return read


def whole(what: str, low: int, high: int) -> Reader:
    """A whole number."""

    def read(found: Any) -> int:
        if isinstance(found, bool) or not isinstance(found, int) or not low <= found <= high:
            raise QuantityError(
                f"found {q.spell(found)}; {what} is a whole number from {low} to {high}"
            )
        return found

    return read


def choice(what: str, choices: Mapping[str, object]) -> Reader:
    """One of a few words."""

    def read(found: Any) -> object:
        key = found.strip().lower() if isinstance(found, str) else ""
        if key not in choices:
            raise QuantityError(f"found {q.spell(found)}; {instead_of(key, what, choices)}")
        return choices[key]

    return read


def clock(found: Any) -> bool:
    """Whether clock times have twelve hours: 12 or 24, as a number or as text."""
    if isinstance(found, str | int) and str(found).strip() in ("12", "24"):
        return str(found).strip() == "12"
    raise QuantityError(f"found {q.spell(found)}; clock is 12 (as in 5:30 pm) or 24 (17:30)")


def instead_of(found: str, what: str, words: Collection[str]) -> str:
    """What to write instead of an unknown word: the nearest, and all allowed ones."""
    *most, last = (f'"{word}"' for word in words)
    near = nearest(found, words)
    hint = f'did you mean "{near}"? ' if near else ""
    return f"{hint}{what} is {', '.join(most)}{' or ' if most else ''}{last}"


def text(what: str, example: str) -> Reader:
    """A line of text. A name must not have a "|", which separates names in the logbook."""

    def read(found: Any) -> str:
        if not isinstance(found, str) or not found.strip():
            raise QuantityError(f'found {q.spell(found)}; {what} is text, as in "{example}"')
        if "|" in found or not found.strip().isprintable() or len(found) > 200:
            raise QuantityError(f'found {q.spell(found)}; {what} is one short line without "|"')
        return found.strip()

    return read


def yes_no(found: Any) -> bool:
    """true or false."""
    if not isinstance(found, bool):
        raise QuantityError(f"found {q.spell(found)}; allowed is true or false, without quotes")
    return found


def timezone(found: Any) -> str:
    """The name of a known time zone."""
    asked = found.strip() if isinstance(found, str) else ""
    try:
        if asked:
            return ZoneInfo(asked).key
    except (KeyError, ValueError, OSError):
        pass  # the error follows below, with the nearest name
    near = nearest(asked, available_timezones())
    hint = f'did you mean "{near}"? ' if near else ""
    raise QuantityError(
        f"found {q.spell(found)}; {hint}a time zone is a name like Europe/Zurich or America/Denver"
    )


def calendar_day(found: Any) -> date:
    """A date, bare as TOML has it or in quotes."""
    day = _day_or_none(found)
    if day is None:
        raise QuantityError(f"found {q.spell(found)}; a date is year-month-day, as in 2031-04-22")
    return _of_our_time(day)


def _day_or_none(found: Any) -> date | None:
    if isinstance(found, date) and not isinstance(found, datetime):
        return found
    if isinstance(found, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", found.strip()):
        try:
            return date.fromisoformat(found.strip())
        except ValueError:
            return None  # no such day
    return None


def _of_our_time(found: SomeDay) -> SomeDay:
    """The day, if it is far enough from the limits of dates; a year 9999 is a mistake."""
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise QuantityError(
            f"found {q.spell(found)}; the year is {FIRST_YEAR} to {LAST_YEAR}, as in 2031-04-22"
        )
    return found


def time_of_day(found: Any) -> time:
    """A local time, as "05:30" or TOML's own 05:30:00."""
    if isinstance(found, time):
        return found
    try:
        if isinstance(found, str) and re.fullmatch(r"\d{1,2}:\d\d", found.strip()):
            return time.fromisoformat(found.strip().zfill(5))
    except ValueError:
        pass  # no such time: the error follows below
    raise QuantityError(f'found {q.spell(found)}; a time is "00:00" to "23:59", as in "05:30"')


def moment(found: Any) -> date | datetime:
    """A day, or a local time on a day."""
    read: date | datetime | None = _day_or_none(found)
    if isinstance(found, datetime):
        read = found
    elif isinstance(found, str) and len(found.strip()) > 10:
        with contextlib.suppress(ValueError):
            read = datetime.fromisoformat(found.strip())
    if read is not None and not (isinstance(read, datetime) and read.tzinfo is not None):
        return _of_our_time(read)
    raise QuantityError(
        f"found {q.spell(found)}; allowed is a date, as in 2031-07-08, "
        f'or a local time on a date, as in "2031-07-08 06:00"'
    )


def seconds(found: Any) -> float:
    """Seconds as a bare number, because of the key's name, or any time with its unit."""
    is_number = isinstance(found, int | float) and not isinstance(found, bool)
    value = float(found) if is_number and abs(found) < 1e6 else None
    if value is None:
        value = q.parse(found, q.DURATION, what="a filling time", example='40 or "40 s"')
    if not 0.5 <= value <= 86400.0:
        raise QuantityError(f"found {q.spell(found)}; a filling time is half a second to a day")
    return value


def pipe(found: Any) -> str | Pipe:
    """A pipe size by its label, or the gardener's own pipe by inside width and wall."""
    if isinstance(found, str):
        return found
    if isinstance(found, dict) and {"bore", "wall"} <= set(found) <= {"bore", "wall", "roughness"}:
        size = {
            key: q.parse(value, q.LENGTH, what=f"a pipe's {key}", example='"20 mm" or "3/4 in"')
            for key, value in found.items()
        }
        rough = size.get("roughness", 1.5e-6)
        if 0.003 <= size["bore"] <= 0.2 and 0.0003 <= size["wall"] <= 0.03 and 0 <= rough <= 0.001:
            return Pipe(
                label=f"{str(found['bore']).strip()} inside",
                bore_m=size["bore"],
                wall_m=size["wall"],
                roughness_m=rough,
            )
    raise QuantityError(
        f'found {q.spell(found)}; a pipe is a size, as in "3/4 in", or its own inside width '
        f'(3 to 200 mm) and wall, as in {{ bore = "20 mm", wall = "2.5 mm" }}'
    )


def fittings(found: Any) -> tuple[str, ...]:
    """A list of fittings by their kinds, or one."""
    listed = [found] if isinstance(found, str) else found
    if not isinstance(listed, list) or len(listed) > 100:
        raise QuantityError(f'found {q.spell(found)}; allowed is a list, as in ["elbow", "elbow"]')
    read = choice("a fitting", {kind: kind for kind in FITTINGS_K})
    return tuple(str(read(one)) for one in listed)


def weekdays(found: Any) -> frozenset[int]:
    """Days of the week by name, 0 for Monday; "daily" is all of them."""
    names = [found] if isinstance(found, str) else found
    if isinstance(names, list) and names and all(isinstance(name, str) for name in names):
        if names == ["daily"]:
            return frozenset(range(7))
        short = [name.strip().lower()[:3] for name in names]
        if all(name in DAY_NAMES for name in short):
            return frozenset(DAY_NAMES.index(name) for name in short)
    raise QuantityError(
        f'found {q.spell(found)}; days are a list, as in ["mon", "thu"], of {", ".join(DAY_NAMES)}'
    )


def hole_numbers(found: Any) -> tuple[int, ...]:
    """Holes by number, 1 at the inlet."""
    if isinstance(found, list):
        return tuple(sorted({whole("a hole's number", 1, 100_000)(one) for one in found}))
    raise QuantityError(
        f"found {q.spell(found)}; plugged holes are a list of numbers, as in [3, 4]"
    )


def names(found: Any) -> tuple[str, ...]:
    """A list of names, or one."""
    listed = [found] if isinstance(found, str) else found
    if isinstance(listed, list) and listed:
        return tuple(text("a name", "leeks")(one) for one in listed)
    raise QuantityError(f'found {q.spell(found)}; allowed is a list of names, as in ["leeks"]')


# The limits are our choice: wide enough for any garden, narrow enough to detect a wrong unit.
LATITUDE = number("a latitude", "47.6", -90, 90)
LONGITUDE = number("a longitude", "8.1", -180, 180)
ELEVATION = length("an elevation", '"410 m" or "1350 ft"', -430.0, 6000.0, "-430 m to 6000 m")
BORE = length("a bore", '"1.5 mm" or "1/16 in"', 1e-4, 0.02, "0.1 mm to 20 mm")
ROW_LENGTH = length("a length", '"11 ft" or "3.4 m"', 0.05, 200.0, "5 cm to 200 m")
SPACING = length("a spacing", '"6 in" or "15 cm"', 0.002, 50.0, "2 mm to 50 m")
WIDTH = length("a width", '"24 in" or "60 cm"', 0.01, 100.0, "1 cm to 100 m")
HEIGHT = length("a height", '"-4 in" or "10 cm"', -60.0, 60.0, "at most 60 m off")
ROW_HEIGHT = length("a row's height", '"1 in" or "-2 cm"', -5.0, 5.0, "at most 5 m off")
RUN = length("a way along a pipe", '"18 ft" or "5.5 m"', 0.0, 2000.0, "0 to 2 km")
MAIN_LENGTH = length("a length of main", '"40 ft" or "12 m"', 0.01, 2000.0, "1 cm to 2 km")
DEPTH = length("a depth", '"10 mm" or "3/8 in"', 0.0, 0.5, "0 to 50 cm")
LEVEL_ERROR = length("an error of level", '"1/8 in" or "3 mm"', 0.0, 0.05, "0 to 5 cm")
PRESSURE = quantity(q.PRESSURE, "a pressure", '"48 psi" or "330 kPa"', 0.0, 205.0, "0 to 290 psi")
FLOW = quantity(q.FLOW, "a flow", '"7.5 gal/min"', 1e-9, 0.1, "above 0, at most 100 L/s")
LEVEL = length("a level of water", '"4 ft" or "1.2 m"', 0.0, 60.0, "above the tap, at most 60 m")
WATER_TEMPERATURE = quantity(
    q.TEMPERATURE, "the water's temperature", '"15 C" or "59 F"', 0.0, 45.0, "0 C to 45 C"
)
# Sea water has some 50 dS/m, and beyond 20 no garden crop grows (from memory).
SALT = quantity(q.SALT, "the salt in the water", '"1.2 dS/m"', 0.0, 20.0, "0 to 20 dS/m")
VOLUME = quantity(q.VOLUME, "a volume", '"5 gal" or "10 L"', 1e-5, 1e3, "10 mL to 1000 m3")
OPEN_TIME = quantity(q.DURATION, "a time open", '"10 min"', 1.0, 86400.0, "1 s to 24 h")


MULCHES = ("none", "straw", "leaves", "compost", "bark", "grass", "plastic")
# Other names that gardeners use.
_ALSO = {
    **dict.fromkeys(("wood chips", "woodchips", "chips"), "bark"),
    **dict.fromkeys(("grass clippings", "clippings"), "grass"),
    **dict.fromkeys(("film", "plastic film", "black plastic"), "plastic"),
    "hay": "straw",
}
# Of the rain that falls on a film: what the plants' holes gather, three times their 2 % of it, and
# a quarter that seeps in from the sides of a flat bed. Our choice. One figure stands behind it:
# 61 % less soaks in below a film than into bare ground (a field of soya in Japan, measured and
# simulated; its abstract), and 0.1 + 0.9 x 0.31 = 0.38. High ridges, wide film and light rain let
# in less (0.16 to 0.3), hollows at the holes and woven or punched cloth more (0.45 to 0.9).
FILM_RAIN = 3.0 * 0.02 + 0.25

APART = length(
    "how far plants stand apart", '"18 in" or "45 cm"', 0.005, 10.0, "5 mm to 10 m (33 ft)"
)
# FAO-56 (1998) lets even the coefficient itself of small stands pass its usual ceiling only up to
# 2.5 (chapter 10, from memory), so a factor beyond that is a slip; the lower end is our choice.
EXPOSURE = number("an exposure", "1.2", 0.5, 2.5)


def mulch(found: Any) -> str:
    """The mulch, by its name in the model."""
    word = " ".join(found.lower().split()) if isinstance(found, str) else ""
    if word in MULCHES:
        return word
    if word in _ALSO:
        return _ALSO[word]
    raise QuantityError(f"found {q.spell(found)}; {instead_of(word, 'a mulch', MULCHES)}")


def rain_through(mulch: str, cover: float) -> float:
    """Share of the rain that enters ground with this mulch, 0 to 1; 1 without film. [-]"""
    return 1.0 if mulch != "plastic" else 1.0 - cover * (1.0 - FILM_RAIN)


def row_numbers(found: Any) -> tuple[int, ...]:
    """Rows of a zone by number from 1; a single one may be without brackets."""
    listed = found if isinstance(found, list) else [found]
    if listed and all(isinstance(one, int) and not isinstance(one, bool) for one in listed):
        return tuple(sorted({whole("a row's number", 1, 1000)(one) for one in listed}))
    raise QuantityError(
        f"found {q.spell(found)}; rows are a list of the zone's rows by number, as in [1, 2]"
    )


def stage_days(found: Any) -> tuple[int, int, int, int]:
    """The lengths of the four stages in days."""
    allowed = "stages are four numbers of days, as in [30, 40, 45, 30]"
    return _four(found, whole("each stage", 1, 400), allowed)


def stage_warmth(found: Any) -> tuple[float, float, float, float]:
    """The lengths of the four stages in degree days, each with its unit."""
    one_stage = quantity(
        q.WARMTH, "the warmth of a stage", '"250 C days"', 1.0, 5000.0, "1 to 5000 C days"
    )
    return _four(
        found,
        one_stage,
        "stages by warmth are four sums of degree days, as in "
        '["250 C days", "500 C days", "700 C days", "300 C days"]',
    )


def _four(found: Any, read: Reader, allowed: str) -> tuple[Any, Any, Any, Any]:
    if isinstance(found, list) and len(found) == 4:
        first, second, third, fourth = (read(one) for one in found)
        return first, second, third, fourth
    raise QuantityError(f"found {q.spell(found)}; {allowed}")


def days_of(what: str, low: int, high: int, example: int) -> Reader:
    """A whole number of days: bare, because of the key's name, or "12 days", "2 weeks"."""
    bounds = f'{what} is {low} to {high} whole days, as in {example} or "{example} days"'

    def read(found: Any) -> int:
        days: float = -1.0
        if isinstance(found, str):
            days = q.parse(found, q.DAYS, what=what, example=f'"{example} days"')
        elif isinstance(found, int) and not isinstance(found, bool):
            days = float(min(found, high + 1))
        if not low <= days <= high or days != int(days):
            raise QuantityError(f"found {q.spell(found)}; {bounds}")
        return int(days)

    return read


# The public services that we can read, in our order.
SERVICES = ("open-meteo", "met-norway", "nasa-power", "nws")
# These services require a contact.
WANT_CONTACT = frozenset({"met-norway", "nws"})
FILE_KINDS = ("auto", "own", "station-log", "ghcn-daily", "gsod")
CLIMATES = ("arid", "semi-arid", "sub-humid", "humid", "very humid")
OFF = "off"

_FROST = quantity(
    q.TEMPERATURE,
    "a frost hold",
    '"34 F", "1 C" or "off"',
    -10.0,
    10.0,
    "from 14 F to 50 F (-10 C to 10 C)",
)


def online(found: Any) -> bool | tuple[str, ...]:
    """Whether services are used, or which, in order."""
    if isinstance(found, bool):
        return found
    listed = [found] if isinstance(found, str) else found
    if not isinstance(listed, list):
        services = ", ".join(f'"{one}"' for one in SERVICES)
        raise QuantityError(
            f"found {q.spell(found)}; allowed is true, false, or a list of services out of "
            f"{services}"
        )
    names = [one.strip().lower() if isinstance(one, str) else one for one in listed]
    for name in names:
        if name not in SERVICES:
            word = name if isinstance(name, str) else ""
            raise QuantityError(f"found {q.spell(name)}; {instead_of(word, 'a service', SERVICES)}")
    return tuple(dict.fromkeys(names))


def contact(found: Any) -> str:
    """The gardener's contact: a mail address or a web page that fits into a request header."""
    address = found.strip() if isinstance(found, str) else ""
    if len(address) <= 200 and re.fullmatch(r"[!-~]+@[!-~]+|https?://[!-~]+", address):
        return address
    raise QuantityError(
        f"found {q.spell(found)}; a contact is a mail address or a web page, as in "
        f'"gardener@example.org"'
    )


def frost_hold(found: Any) -> float | str:
    """The lowest temperature below which nothing is watered, or "off". [°C]"""
    if isinstance(found, str) and found.strip().lower() == OFF:
        return OFF
    held_c: float = _FROST(found)
    return held_c
