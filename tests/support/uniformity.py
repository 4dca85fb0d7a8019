"""Published figures of evenness that the program does not use, to hold its own against."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import mean, stdev


def emission_uniformity(
    *,
    least_flow: float,
    mean_flow: float,
    scatter_fraction: float,
    outlets_per_plant: int = 1,
) -> float:
    """Design emission uniformity of Keller and Karmeli (1974), ASABE EP405. [-]

    EU = (1 - 1.27 CV/sqrt(n)) qmin/qmean: it multiplies, where `real_uniformity` adds squares, and
    takes the least hole instead of the lowest quarter, so it lies below.
    """
    even = max(0.0, 1.0 - 1.27 * scatter_fraction / sqrt(outlets_per_plant))
    return even * least_flow / mean_flow


def variation_coefficient(flows: Sequence[float]) -> float:
    """Standard deviation with n - 1 over the mean: manufacturer's variation of ASABE EP405. [-]"""
    return stdev(flows) / mean(flows)
