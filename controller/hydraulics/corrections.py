"""What field tests have taught about a garden's lines, as its network is to use it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.hydraulics.network import SupplyCurve


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """Factors and coefficients that take the place of what drill sizes and tables say.

    `discharge` multiplies the discharge coefficient of every hole of a zone (a worn drill and a
    wide bore count in it, too); `valve_k` is the loss coefficient of a zone's take-off and valve
    together, on the velocity in its first row's pipe; `level_m` is how much higher [m] a zone's
    rows lie than the garden file says; `supply` replaces the supply curve.
    """

    discharge: Mapping[str, float] = field(default_factory=dict)
    valve_k: Mapping[str, float] = field(default_factory=dict)
    level_m: Mapping[str, float] = field(default_factory=dict)
    supply: SupplyCurve | None = None


NOTHING_MEASURED = Corrections()
