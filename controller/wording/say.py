"""Put a message into words, in the gardener's units.

A sentence is a format string. It may name its values in these ways::

    {beyond}              a quantity in the gardener's units, a text, or another message
    {holes:hole|holes}    the first word if the number is 1, else the second
    {ways:, or }          several messages or texts, joined by ", or "
    {names:listed}        several texts: "a, b and c"
    {share:.0f}           a number, by Python's format
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Callable, Mapping
from string import Formatter
from typing import Any

from controller.garden import show
from controller.messages import Kind, Message, Quantity
from controller.wording import plants, timetable, weather

# The sentences of each subject, module by module.
ALL: tuple[dict[str, str], ...] = (plants.SENTENCES, timetable.SENTENCES, weather.SENTENCES)

_SHOWN: Mapping[Kind, Callable[[float, bool], str]] = {
    "about length": show.show_about,
    "bore": show.show_bore,
    "both temperatures": lambda celsius, _: show.show_both_temperatures(celsius),
    "depth": show.show_depth,
    "duration": lambda seconds, _: show.show_duration(seconds),
    "flow": show.show_flow,
    "hours": lambda seconds, _: show.show_hours(seconds),
    "length": show.show_length,
    "percent": lambda share, _: f"{100.0 * share:.0f} %",
    "pressure": show.show_pressure,
    "rough depth": show.show_rough_depth,
    "short time": lambda seconds, _: show.show_short(seconds),
    "temperature": show.show_temperature,
    "volume": show.show_volume,
}
SENTENCES: Mapping[str, str] = dict(ChainMap(*ALL))


def say(message: Message, *, us: bool) -> str:
    """The sentence of this message, without a full stop.

    Raises KeyError for a code without a sentence: tests/wording holds that there is none.
    """
    return _InUnits(us).vformat(SENTENCES[message.code], (), message.values)


class _InUnits(Formatter):
    """Format strings that show quantities in the gardener's units."""

    def __init__(self, us: bool) -> None:
        self._us = us

    def format_field(self, value: Any, format_spec: str) -> str:
        return _shown(value, format_spec, self._us)


def _shown(value: Any, spec: str, us: bool) -> str:
    if isinstance(value, Quantity):
        return _SHOWN[value.kind](value.si, us)
    if isinstance(value, Message):
        return say(value, us=us)
    if isinstance(value, tuple):
        words = [_shown(one, "", us) for one in value]
        return show.listed(words) if spec == "listed" else spec.join(words)
    if "|" in spec:
        one, several = spec.split("|")
        return one if value == 1 else several
    return format(value, spec)
