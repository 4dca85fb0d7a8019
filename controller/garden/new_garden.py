"""A dialogue of a few questions that gives a garden file with comments."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.checks import Known, name_fault
from controller.garden.device_schema import RELAY

# Asks one question with a default ("" for none) and returns the answer.
Ask = Callable[[str, str], str]

_HEAD = """\
# The garden file of {name}.
# What is not written here has a default; `rowgate check` shows each of them, and why.
# A quantity carries its unit, in quotes: "11 ft", "1/16 in", "3.4 m", "28 L/min".
"""
_PUMP = "pump"
_ZONE_REMARKS = """\
# opening = {{ flow = "{flow}" }}   # for a throttled row: its stream, measured with it alone open
# rise = "{rise}"   # height of the outlet against the tap
# mulch = "straw"   # or leaves, compost, bark, grass, plastic
"""


def ask_new(ask: Ask, *, known_crops: Known | None = None) -> str:
    """Ask for one garden and return the text of its file.

    After a bad answer the question is asked again, with the fault before it. `ask` may raise to end
    the dialogue.
    """
    talk = _Dialogue(ask)
    name = talk.until_good("What is the garden called", "our garden", v.text("a name", "leeks"))
    us = talk.until_good(
        "Which units do you measure in, us or metric",
        "us",
        v.choice("this", {"us": 1, "metric": 0}),
    )
    words = {key: both[0] if us else both[1] for key, both in _EXAMPLES.items()}
    latitude = talk.until_good("Latitude in degrees, north positive", "", _degrees(v.LATITUDE))
    longitude = talk.until_good("Longitude in degrees, east positive", "", _degrees(v.LONGITUDE))
    elevation = talk.as_written("Height above the sea", words["elevation"], v.ELEVATION)
    timezone = talk.until_good("Time zone, as in Europe/Zurich", "", v.timezone)
    supply = _supply(talk, words)
    parts = [
        _HEAD.format(name=name),
        f'units = "{"us" if us else "metric"}"\n',
        "[site]",
        f"name = {_quoted(name)}",
        f"latitude = {latitude!r}",
        f"longitude = {longitude!r}",
        f"elevation = {_quoted(elevation)}",
        f"timezone = {_quoted(timezone)}\n",
        "[supply]",
        *supply,
    ]
    names: set[str] = set()
    relays: set[int] = set()
    more = True
    while more:
        parts.append(_zone(talk, words, names, relays, known_crops))
        more = talk.until_good("Another zone, yes or no", "no", _yes)
    weather = talk.until_good(
        'Weather: "online" fetches it for this place; or the name of your own file',
        "online",
        v.text("a file", "weather.csv"),
    )
    source = "online = true" if weather == "online" else f"file = {_quoted(weather)}"
    parts += ["[weather]", source]
    return "\n".join(parts) + "\n"


# Example answers in US and in metric units, to show the form; our choice.
_EXAMPLES = {
    "elevation": ("1000 ft", "300 m"),
    "pressure": ("50 psi", "350 kPa"),
    "starts": ("30 psi", "200 kPa"),
    "tank": ("20 gal", "80 L"),
    "bucket": ("5 gal", "10 L"),
    "length": ("10 ft", "3 m"),
    "bore": ("1/16 in", "1.5 mm"),
    "every": ("6 in", "15 cm"),
    "run": ("20 ft", "6 m"),
    "flow": ("0.5 gal/min", "1.5 L/min"),
    "rise": ("-4 in", "-10 cm"),
    "apart": ("18 in", "45 cm"),
}


class _Dialogue:
    """Asks each question until the answer is good."""

    def __init__(self, ask: Ask) -> None:
        self._ask = ask

    def until_good(self, question: str, default: str, read: v.Reader) -> Any:
        """The value of a good answer."""
        return self._both(question, default, read)[1]

    def as_written(self, question: str, default: str, read: v.Reader) -> str:
        """A good answer, as it was written."""
        return self._both(question, default, read)[0]

    def _both(self, question: str, default: str, read: v.Reader) -> tuple[str, Any]:
        asked = question
        while True:
            answer = self._ask(asked, default).strip() or default
            try:
                # Longer than any good answer, or with a character that no line may have.
                v.text("an answer", default or "47.6")(answer)
                return answer, read(answer)
            except QuantityError as error:
                asked = f"{error}\n{question}"


def _supply(talk: _Dialogue, words: Mapping[str, str]) -> list[str]:
    """The questions about the tap or its pump, with their lines of the file."""
    static = talk.as_written(
        "Pressure at the tap, nothing running; or pump, for a pump with a pressure tank",
        words["pressure"],
        _pressure_or_pump,
    )
    if static.casefold() != _PUMP:
        fill = talk.as_written(
            "Size of a bucket to fill from the open tap", words["bucket"], v.VOLUME
        )
        seconds = talk.until_good("Seconds to fill it, the tap wide open", "", _seconds)
        return [
            f"static_pressure = {_quoted(static)}",
            f"flow_test = {{ fill = {_quoted(fill)}, seconds = {seconds!r} }}\n",
        ]
    on = talk.as_written("Pressure at which the pump starts", words["starts"], _some_pressure)
    on_m: float = v.PRESSURE(on)

    def above_start(answer: str) -> float:
        head_m = _some_pressure(answer)
        if head_m <= on_m:
            raise QuantityError(f"found {q.spell(answer)}; a pump stops at more than {on}")
        return head_m

    off = talk.as_written("Pressure at which it stops", words["pressure"], above_start)
    off_m: float = v.PRESSURE(off)

    def below_stop(answer: str) -> float:
        head_m: float = v.PRESSURE(answer)
        if head_m >= off_m:
            raise QuantityError(
                f"found {q.spell(answer)}; at {off} the pump stops: open more until it runs on"
            )
        return head_m

    tank = talk.as_written("Whole volume of the pressure tank", words["tank"], v.VOLUME)
    fill = talk.as_written(
        "Size of a bucket to fill, with so much open that the pump does not stop",
        words["bucket"],
        v.VOLUME,
    )
    seconds = talk.until_good("Seconds to fill it", "", _seconds)
    gauge = talk.as_written("Gauge at the tank meanwhile, its needle still", "", below_stop)
    return [
        f'kind = "{_PUMP}"',
        f"switch_on = {_quoted(on)}",
        f"switch_off = {_quoted(off)}",
        f"tank = {_quoted(tank)}",
        f"flow_test = {{ fill = {_quoted(fill)}, seconds = {seconds!r}, "
        f"pressure = {_quoted(gauge)} }}\n",
    ]


def _zone(
    talk: _Dialogue,
    words: Mapping[str, str],
    names: set[str],
    relays: set[int],
    known_crops: Known | None,
) -> str:
    """The questions about one zone, with its part of the file."""

    def new_name(answer: str) -> str:
        name: str = v.text("a name", "leeks")(answer)
        if name.casefold() in names:
            raise QuantityError(f"found {q.spell(name)} again; each zone has a name of its own")
        return name

    def valve(answer: str) -> str:
        if answer.lower() == "hand":
            return "{ hand = true }"
        line = RELAY(int(answer) if answer.isascii() and answer.isdigit() else answer)
        if line in relays:
            raise QuantityError(f"found {line} again; each valve has a relay of its own")
        relays.add(line)
        return f"{{ relay = {line} }}"

    def crop(answer: str) -> str:
        name: str = v.text("a crop", "leek")(answer)
        wrong = None if known_crops is None else name_fault(name, known_crops, "crops")
        if wrong is not None:
            raise QuantityError(f"found {q.spell(name)}; {wrong}")
        return name

    def last_day(answer: str) -> date:
        day = v.calendar_day(answer)
        if day < start:
            raise QuantityError(f"found {day}; the last day is not before the first, {start}")
        return day

    def spacing(answer: str) -> float:
        every_m: float = v.SPACING(answer)
        if every_m / 2.0 > length_m:
            raise QuantityError(f"found {q.spell(answer)}; half of it must fit on the row")
        return every_m

    name = talk.until_good("Name of the zone, which is what one valve waters", "", new_name)
    names.add(name.casefold())
    how = talk.until_good('The valve: "hand", or the number of its relay\'s GPIO', "hand", valve)
    run = talk.as_written("How far along the main from the tap", words["run"], v.RUN)
    planted = talk.until_good("Crop", "", crop)
    start = talk.until_good("Sown or set out on, year-month-day", "", v.calendar_day)
    key = talk.until_good(
        "Was that sown, transplanted, or (a perennial) established before", "transplanted", _begun
    )
    until = talk.until_good("Last day in the ground, year-month-day", "", last_day)
    length = talk.as_written("Length of the drilled row", words["length"], v.ROW_LENGTH)
    length_m = v.ROW_LENGTH(length)
    bore = talk.as_written("Bore of the holes", words["bore"], v.BORE)
    every = talk.as_written("One hole every", words["every"], spacing)
    return "\n".join(
        [
            "[[zone]]",
            f"name = {_quoted(name)}",
            f"main_run = {_quoted(run)}",
            f"valve = {how}",
            _ZONE_REMARKS.format(flow=words["flow"], rise=words["rise"])
            + "# one table for each drilled row on this valve",
            f"row = [{{ length = {_quoted(length)}, every = {_quoted(every)}, "
            f"bore = {_quoted(bore)} }}]",
            "# a planting may tell how far its plants stand apart, or which rows it stands in:\n"
            f'# apart = "{words["apart"]}", rows = [1]',
            f"planting = [{{ crop = {_quoted(planted)}, {key} = {start}, until = {until} }}]\n",
        ]
    )


def _degrees(read: v.Reader) -> v.Reader:
    """Degrees from text, with a decimal point or comma."""

    def degrees(answer: str) -> float:
        try:
            number: float = read(float(answer.replace(",", ".")))
        except ValueError:  # also the reader's own error, whose message needs the text as typed
            read(answer)
            raise
        return number

    return degrees


def _seconds(answer: str) -> float:
    try:
        return v.seconds(float(answer.replace(",", ".")))
    except QuantityError:
        raise
    except ValueError:
        return v.seconds(answer)


def _pressure_or_pump(answer: str) -> float | str:
    return _PUMP if answer.casefold() == _PUMP else _some_pressure(answer)


def _some_pressure(answer: str) -> float:
    head_m: float = v.PRESSURE(answer)
    if head_m <= 0:
        raise QuantityError(f"found {q.spell(answer)}; water needs a pressure to flow")
    return head_m


def _yes(answer: str) -> bool:
    return bool(v.choice("this", {"yes": True, "y": True, "no": False, "n": False})(answer))


def _begun(answer: str) -> str:
    """The key of the file for the first day."""
    keys = {"sown": "sown", "transplanted": "transplanted", "established": "from"}
    return str(v.choice("this", keys)(answer))


def _quoted(text: str) -> str:
    """Text as a TOML basic string; the answers have no control characters."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
