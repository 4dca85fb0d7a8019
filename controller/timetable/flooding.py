"""Comparison of a timetable's litres with flooding the same ground.

Gardeners report savings of three quarters and more against flooding their rows (common practice, no
source). Rowgate makes no such claim: it computes the figure from stated efficiencies.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from controller.timetable.records import Timetable

# Application efficiency of surface irrigation: FAO Irrigation Water Management Training Manual 4,
# guide values (60 % surface, 75 % sprinkler, 90 % drip; from memory).
FLOODING_EFFICIENCY = 0.60


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Litres of a timetable, and of flooding the same ground for the same net depth."""

    net_litres: float
    timetable_litres: float
    flooding_litres: float

    @property
    def saved_fraction(self) -> float:
        """Share of the flooding litres that the timetable saves; it may be negative. [-]"""
        return 1.0 - self.timetable_litres / self.flooding_litres

    @property
    def efficiency(self) -> float:
        """Application efficiency of the timetable: net water over water through the valves. [-]"""
        return self.net_litres / self.timetable_litres


def against_flooding(timetable: Timetable) -> Comparison | None:
    """Compare the doses that were placed; None if there are none."""
    given_l: dict[tuple[str, object], list[float]] = defaultdict(list)
    for pulse in timetable.pulses:
        given_l[pulse.zone, pulse.day].append(pulse.litres)
    net = []
    for dose in timetable.doses:
        passed = math.fsum(given_l[dose.zone, dose.day])
        spread = max(0.0, passed - dose.pulses * dose.line_litres)
        net.append(spread * dose.evenness)
    return _compared(math.fsum(p.litres for p in timetable.pulses), math.fsum(net))


def given_against_flooding(
    litres: Mapping[tuple[str, date], float], stored: Mapping[tuple[str, date], float]
) -> Comparison | None:
    """Compare what zones were given, by zone and day; None if there is nothing to compare.

    `stored` is the part of it that was credited to the account; days without it are left out.
    """
    known = [key for key in stored if key in litres]
    return _compared(
        math.fsum(litres[key] for key in known), math.fsum(stored[key] for key in known)
    )


def _compared(total: float, net_l: float) -> Comparison | None:
    if total <= 0.0 or net_l <= 0.0:
        return None
    return Comparison(
        net_litres=net_l,
        timetable_litres=total,
        flooding_litres=net_l / FLOODING_EFFICIENCY,
    )
