"""Kinds of quantities: their units as people spell them, each with its size in SI.

Gallons, quarts, cups and fluid ounces are those of the United States.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from controller import units


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of quantity: its unit spellings, each with its size in SI, and how to ask for it."""

    called: str
    allowed: str
    example: str
    sizes: Mapping[str, float]
    noughts: Mapping[str, float] = field(default_factory=dict)  # where a unit's scale begins, in SI
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
# Water columns are cold water at standard gravity, as the other units are turned by `units`.
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
