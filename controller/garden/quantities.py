"""Quantities with units, as people write them, to floats in SI.

Gallons, quarts, cups and fluid ounces are those of the United States.

A number without a unit, or with an unknown one, is a `QuantityError` with the allowed units. A
comma is a decimal comma; before exactly three digits ("1,000 gal") it is ambiguous and refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from controller import units
from controller.errors import QuantityError


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of quantity: its units with their sizes in SI, and an example."""

    called: str
    allowed: str
    example: str
    sizes: Mapping[str, float]
    noughts: Mapping[str, float] = field(default_factory=dict)  # the zero point of a unit, in SI
    us: frozenset[str] = field(default=frozenset())  # the spellings that belong to US units
    metric: frozenset[str] = field(default=frozenset())


def _kind(
    called: str,
    example: str,
    *,
    us: Mapping[str, float] | None = None,
    metric: Mapping[str, float] | None = None,
    both: Mapping[str, float] | None = None,
    noughts: Mapping[str, float] | None = None,
    allowed: str,
) -> Kind:
    """Spread "in|inch|inches" over its spellings."""

    def spread(table: Mapping[str, float] | None) -> dict[str, float]:
        return {s: size for names, size in (table or {}).items() for s in names.split("|")}

    us_sizes, metric_sizes = spread(us), spread(metric)
    return Kind(
        called=called,
        allowed=allowed,
        example=example,
        sizes={**us_sizes, **metric_sizes, **spread(both)},
        noughts=spread(noughts),
        us=frozenset(us_sizes),
        metric=frozenset(metric_sizes),
    )


_FT, _IN, _GAL, _L = units.M_PER_FT, units.M_PER_IN, units.M3_PER_US_GAL, 0.001

LENGTH = _kind(
    "a length",
    '"11 ft" or "3.4 m"',
    us={'in|inch|inches|"|″': _IN, "ft|foot|feet|'|′": _FT, "yd|yard|yards": 3.0 * _FT},
    metric={"mm": 0.001, "cm": 0.01, "m|metre|metres|meter|meters": 1.0},
    allowed="mm, cm, m, in, ft or yd",
)
# Water columns are cold water at standard gravity, as in `units`.
PRESSURE = _kind(
    "a pressure",
    '"48 psi" or "330 kPa"',
    us={"psi": units.HEAD_M_PER_PSI, "ft water": _FT},
    metric={
        "kpa": units.HEAD_M_PER_KPA,
        "bar": 100.0 * units.HEAD_M_PER_KPA,
        "mbar|hpa": 0.1 * units.HEAD_M_PER_KPA,
        "m water": 1.0,
    },
    allowed='psi, kPa, bar, mbar, "m water" or "ft water"',
)
FLOW = _kind(
    "a flow",
    '"7.5 gal/min" or "28 L/min"',
    us={"gal/min|gpm": _GAL / 60.0, "gal/h|gal/hr|gph": _GAL / 3600.0},
    metric={
        "l/min|lpm": _L / 60.0,
        "l/h|l/hr": _L / 3600.0,
        "l/s": _L,
        "ml/min": 1e-6 / 60.0,
        "ml/s": 1e-6,
        "m3/h|m³/h": 1.0 / 3600.0,
    },
    allowed="L/min, L/h, L/s, mL/min, m3/h, gal/min or gal/h",
)
VOLUME = _kind(
    "a volume",
    '"5 gal" or "10 L"',
    us={
        "gal|gallon|gallons": _GAL,
        "qt|quart|quarts": _GAL / 4.0,
        "cup|cups": _GAL / 16.0,
        "fl oz": _GAL / 128.0,
    },
    metric={"l|litre|litres|liter|liters": _L, "ml": 1e-6, "cl": 1e-5, "m3|m³": 1.0},
    allowed="L, mL, m3, gal, qt, cup or fl oz",
)
DURATION = _kind(
    "a time",
    '"90 s", "10 min" or "1 h"',
    both={
        "s|sec|second|seconds": 1.0,
        "min|minute|minutes": 60.0,
        "h|hr|hour|hours": 3600.0,
    },
    allowed="s, min or h",
)
SHORT = _kind(
    "a short time",
    '"2 ms" or "0.1 s"',
    both={"ms|millisecond|milliseconds": 0.001, "s|sec|second|seconds": 1.0},
    allowed="ms or s",
)
PULSES = _kind(
    "pulses of a meter",
    '"450 per L"',
    us={"pulses/gal|pulses/gallon": 1.0 / _GAL},
    metric={"pulses/l|pulses/litre|pulses/liter": 1.0 / _L},
    allowed='"per L" or "per gal"',
)
ANGLE = _kind(
    "an angle", '"40 deg"', both={"deg|degree|degrees|°": 1.0}, allowed="deg (of the handle)"
)
TEMPERATURE = _kind(
    "a temperature",
    '"15 C" or "59 F"',
    us={"f|°f|fahrenheit": 1.0 / 1.8},
    metric={"c|°c|celsius": 1.0},
    noughts={"f|°f|fahrenheit": units.c_from_f(0.0)},
    allowed="C or F",
)
WARMTH = _kind(
    "a sum of warmth",
    '"250 C days" or "450 F days"',
    us={"f days|°f days": 1.0 / 1.8},
    metric={"c days|°c days": 1.0},
    allowed="C days or F days (degree days)",
)
DAYS = _kind(
    "a number of days",
    '"12 days"',
    both={"d|day|days": 1.0, "week|weeks": 7.0},
    allowed="days or weeks",
)
# The electrical conductivity of water: 1 dS/m is 1 mS/cm by the definition of the siemens.
SALT = _kind(
    "the salt in water",
    '"1.2 dS/m" or "1200 uS/cm"',
    both={"ds/m|ms/cm": 1.0, "us/cm|µs/cm|μs/cm": 0.001, "ms/m": 0.01},
    allowed="dS/m, mS/cm or uS/cm",
)
KINDS = (
    *(LENGTH, PRESSURE, FLOW, VOLUME, DURATION, ANGLE),
    *(TEMPERATURE, WARMTH, DAYS, SALT, SHORT, PULSES),
)

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER = r"(?:[0-9]{1,9}[ -])?[0-9]{1,9}/[0-9]{1,9}|[0-9]{1,15}(?:[.,][0-9]{1,15})?"
_PART = re.compile(rf"({_NUMBER})\s*([a-zµμ°\"'″′]+[3³]?(?:/[a-z]+| water| oz| days)?)\s*")
_TWO_MEANINGS = re.compile(r"[1-9]\d*,\d{3}(?!\d)")


def parse(found: object, kind: Kind, *, what: str = "", example: str = "") -> float:
    """The value in SI of a written quantity; `what` and `example` are for the error message."""
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
    """A length. [m]"""
    return parse(found, LENGTH, what=what)


def read_pressure(found: object, what: str = "a pressure") -> float:
    """A pressure, as head of water. [m]"""
    return parse(found, PRESSURE, what=what)


def read_volume(found: object, what: str = "a volume") -> float:
    """A volume. [m3]"""
    return parse(found, VOLUME, what=what)


def read_duration(found: object, what: str = "a time") -> float:
    """A time. [s]"""
    return parse(found, DURATION, what=what)


def read_share(found: object, what: str = "a share") -> float:
    """A share: a bare number from 0 to 1, or "60 %". [-]"""
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
    """Whether a quantity is in US units; None if it is not a quantity, or its unit is in both."""
    parts = _PART.findall(_plain(found))
    for kind in KINDS:
        if parts and _value(found, kind) is not None:
            unit = parts[0][1]
            return unit in kind.us if unit in kind.us or unit in kind.metric else None
    return None


def spell(found: object) -> str:
    """A value as the gardener wrote it: text in quotes, true and false in lower case."""
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
    """The sum of the parts; None if the text is not a quantity of this kind."""
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
    """ "2,5", "1/16", "1 1/4" as a float; None if it is meaningless or ambiguous."""
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
    """The text in lower case, with single spaces and plain fractions."""
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
