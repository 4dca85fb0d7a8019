"""Quantities as people write them ("1/16 in", "5 ft 6 in", "2,5 L/min") to SI floats.

A number without a unit, or with one we do not know, is a `QuantityError` that says what is allowed.
A comma is a decimal comma; before exactly three digits ("1,000 gal") it could mean two things and
is refused. Gallons are those of the United States.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from controller.errors import QuantityError
from controller.garden.kinds import (
    ANGLE,
    DAYS,
    DURATION,
    FLOW,
    KINDS,
    LENGTH,
    PRESSURE,
    PULSES,
    SALT,
    SHORT,
    TEMPERATURE,
    VOLUME,
    WARMTH,
    Kind,
)

__all__ = [
    "ANGLE",
    "DAYS",
    "DURATION",
    "FLOW",
    "KINDS",
    "LENGTH",
    "PRESSURE",
    "PULSES",
    "SALT",
    "SHORT",
    "TEMPERATURE",
    "VOLUME",
    "WARMTH",
    "Kind",
    "is_us",
    "parse",
    "read_angle",
    "read_days",
    "read_duration",
    "read_flow",
    "read_length",
    "read_pressure",
    "read_salt",
    "read_share",
    "read_temperature",
    "read_volume",
    "read_warmth",
    "spell",
]

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER = r"(?:[0-9]{1,9}[ -])?[0-9]{1,9}/[0-9]{1,9}|[0-9]{1,15}(?:[.,][0-9]{1,15})?"
_PART = re.compile(rf"({_NUMBER})\s*([a-zµμ°\"'″′]+[3³]?(?:/[a-z]+| water| oz| days)?)\s*")
_TWO_MEANINGS = re.compile(r"[1-9]\d*,\d{3}(?!\d)")


def parse(found: object, kind: Kind, *, what: str = "", example: str = "") -> float:
    """Turn what was written into a float in SI; `what` and `example` sharpen the error's words."""
    what, example = what or kind.called, example or kind.example
    if isinstance(found, bool) or not isinstance(found, int | float | str):
        raise QuantityError(f"found {spell(found)}; {what} is written as in {example}")
    if not isinstance(found, str) or _is_bare(found):
        raise QuantityError(f"found {spell(found)}; {what} needs its unit, as in {example}")
    value = _value(found, kind)
    if value is None:
        raise QuantityError(f"found {spell(found)}; {what} is in {kind.allowed}, as in {example}")
    return value


def read_length(found: object, what: str = "a length") -> float:
    """A length in metres."""
    return parse(found, LENGTH, what=what)


def read_pressure(found: object, what: str = "a pressure") -> float:
    """A pressure as metres of water."""
    return parse(found, PRESSURE, what=what)


def read_flow(found: object, what: str = "a flow") -> float:
    """A flow in cubic metres a second."""
    return parse(found, FLOW, what=what)


def read_volume(found: object, what: str = "a volume") -> float:
    """A volume in cubic metres."""
    return parse(found, VOLUME, what=what)


def read_duration(found: object, what: str = "a time") -> float:
    """A stretch of time in seconds."""
    return parse(found, DURATION, what=what)


def read_angle(found: object, what: str = "an angle") -> float:
    """An angle in degrees."""
    return parse(found, ANGLE, what=what)


def read_temperature(found: object, what: str = "a temperature") -> float:
    """A temperature in degrees Celsius."""
    return parse(found, TEMPERATURE, what=what)


def read_warmth(found: object, what: str = "a sum of warmth") -> float:
    """A sum of warmth in degree days Celsius."""
    return parse(found, WARMTH, what=what)


def read_days(found: object, what: str = "a number of days") -> float:
    """A stretch of days."""
    return parse(found, DAYS, what=what)


def read_salt(found: object, what: str = "the salt in water") -> float:
    """The electrical conductivity of water in decisiemens a metre."""
    return parse(found, SALT, what=what)


def read_share(found: object, what: str = "a share") -> float:
    """A part of a whole: a bare number from 0 to 1, or "60 %"."""
    allowed = f'{what} is a number from 0 to 1, as in 0.6, or "60 %"'
    value = math.nan
    if isinstance(found, str):
        percent = re.fullmatch(r"(\d{1,3}(?:[.,]\d{1,15})?)\s*%", found.strip())
        if percent:
            value = float(percent[1].replace(",", ".")) / 100.0
    elif isinstance(found, int | float) and not isinstance(found, bool):
        value = float(found) if abs(found) <= 1 else math.nan
    if not 0.0 <= value <= 1.0:
        raise QuantityError(f"found {spell(found)}; {allowed}")
    return value


def is_us(found: str) -> bool | None:
    """Whether a quantity is written in US units; None if it is no quantity, or belongs to both."""
    parts = _PART.findall(_plain(found))
    for kind in KINDS:
        if parts and _value(found, kind) is not None:
            unit = parts[0][1]
            return unit in kind.us if unit in kind.us or unit in kind.metric else None
    return None


def spell(found: object) -> str:
    """What was found, as the gardener wrote it: text in quotes, true and false in small letters."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, str):
        shown = found if len(found) <= 60 else found[:57] + "..."
        return '"' + shown.replace("\n", " ").replace('"', "'") + '"'
    if isinstance(found, list):
        listed = "[" + ", ".join(spell(one) for one in found[:8]) + "]"
        return listed if len(found) <= 8 and len(listed) <= 60 else "a long list"
    if isinstance(found, dict):
        return "a table"
    text = str(found) if not isinstance(found, int) or abs(found) < 10**60 else "a huge number"
    return text if len(text) <= 60 else text[:57] + "..."


def _value(found: str, kind: Kind) -> float | None:
    """The sum of the parts, or None if the text is no quantity of this kind."""
    text = _plain(found)
    sign, text = (-1.0, text[1:].lstrip()) if text.startswith(("-", "−")) else (1.0, text)
    total, at, last, nought = 0.0, 0, math.inf, 0.0
    while at < len(text):
        part = _PART.match(text, at)
        size = kind.sizes.get(part[2]) if part else None
        if part is None or size is None or size >= last or (at and kind not in (LENGTH, DURATION)):
            return None
        number = _number(part[1])
        if number is None:
            return None
        total, at, last = total + number * size, part.end(), size
        nought = kind.noughts.get(part[2], 0.0)
    return sign * total + nought if at and math.isfinite(total) else None


def _number(text: str) -> float | None:
    """ "2,5", "1/16", "1 1/4" as a float; None where it means nothing, or could mean two things."""
    if _TWO_MEANINGS.fullmatch(text):
        return None
    if "/" not in text:
        return float(text.replace(",", "."))
    *whole, fraction = re.split(r"[ -]", text)
    above, below = fraction.split("/")
    if int(below) == 0:
        return None
    return float(sum((Fraction(int(w)) for w in whole), Fraction(int(above), int(below))))


def _plain(found: str) -> str:
    """Small letters, one space, plain fractions."""
    text = " ".join(found.strip().lower().split())
    for glyph, spelled in _VULGAR.items():
        text = text.replace(glyph, f" {spelled}")
    text = re.sub(r"\s*/\s*", "/", text.strip().replace(" per ", "/"))
    text = re.sub(r"/(h|min|s)(?:our|ute|econd)\b", r"/\1", text)
    text = re.sub(r"(?<=[cf])[ ·*-]+d(?:ays?)?$", " days", text)  # "°F·d", "C-days"
    return text.lstrip("+").strip()


def _is_bare(found: str) -> bool:
    """Whether the text is a number and nothing else."""
    return re.fullmatch(rf"[-−+]?\s*(?:{_NUMBER})", _plain(found)) is not None
