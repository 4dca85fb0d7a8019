"""Put a message into words, in the gardener's units.

A sentence is a format string. It may name its values in these ways::

    {beyond}              a quantity in the gardener's units, a text, or another message
    {holes:hole|holes}    the first word if the number is 1, else the second
    {n:a hole|{n} holes}  the same, with the number in the second
    {ways:, or }          several messages or texts, joined by ", or "
    {names:listed}        several texts: "a, b and c"
    {names:quoted}        several names, each between its own marks
    {loss_k:figures}      a number to three figures, written out
    {share:.0f}           a number, a date or a time of day, by Python's format
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Callable, Mapping
from string import Formatter
from typing import Any

from controller.garden import show
from controller.messages import Kind, Message, Quantity
from controller.wording import advice, calibration, check, plants, rows, timetable, weather

# The sentences of each subject, module by module.
ALL: tuple[dict[str, str], ...] = (
    {"verbatim": "{text}"},
    advice.SENTENCES,
    calibration.SENTENCES,
    check.SENTENCES,
    plants.SENTENCES,
    rows.SENTENCES,
    timetable.SENTENCES,
    weather.SENTENCES,
)

_SHOWN: Mapping[Kind, Callable[[float, bool], str]] = {
    "about length": show.show_about,
    "bore": show.show_bore,
    "both temperatures": lambda celsius, _: show.show_both_temperatures(celsius),
    "depth": show.show_depth,
    "duration": lambda seconds, _: show.show_duration(seconds),
    "flow": show.show_flow,
    "force": show.show_force,
    "head": show.show_head,
    "hours": lambda seconds, _: show.show_hours(seconds),
    "length": show.show_length,
    "off level": show.show_off_level,
    "percent": lambda share, _: f"{100.0 * share:.0f} %",
    "pipe temperature": show.show_pipe_temperature,
    "pressure": show.show_pressure,
    "rough depth": show.show_rough_depth,
    "rough flow": show.show_rough_flow,
    "rough length": show.show_rough_length,
    "rough number": lambda number, _: show.show_figures(number, 2),
    "rough volume": show.show_rough_volume,
    "seconds": lambda seconds, _: show.show_seconds(seconds),
    "short time": lambda seconds, _: show.show_short(seconds),
    "speed": show.show_speed,
    "temperature": show.show_temperature,
    "tilt": show.show_tilt,
    "volume": show.show_volume,
    "weekday": lambda day, _: show.WEEKDAYS[int(day)],
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
        named = {"listed": show.listed, "quoted": show.quoted}.get(spec)
        return spec.join(words) if named is None else named(words)
    if "|" in spec:
        one, several = spec.split("|")
        return one if value == 1 else several
    if spec == "figures":
        return show.show_figures(value, 3)
    if spec.endswith("%"):
        return f"{format(value, spec)[:-1]} %"
    return format(value, spec)
