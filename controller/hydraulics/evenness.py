"""How evenly a row waters: low-quarter and emission uniformity, variation, drilling scatter."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from controller.errors import InputError, require_range


def low_quarter_uniformity(flows_m3_s: Sequence[float]) -> float:
    """Mean of the lowest quarter over the mean of all.

    Parameters
    ----------
    flows_m3_s : sequence of float, any length above 0
        Flow, or catch, of each outlet; any one unit will do. [m3/s]

    Returns
    -------
    float
        Low-quarter distribution uniformity, 0 to 1; 0 where nothing flows at all. [-]

    Raises
    ------
    InputError
        If there is no outlet.
    OutOfRange
        If a flow is negative or not a number.

    Notes
    -----
    Where the number of outlets is no multiple of four, the next one counts by the missing
    fraction, so that no outlet is lost or doubled: of six, the lowest and half of the second.

    Source
    ------
    Merriam and Keller (1978), as used in ASAE EP458 (from memory). The fraction is our choice.
    """
    ordered = _ordered(flows_m3_s)
    total = sum(ordered)
    if total <= 0.0:
        return 0.0
    quarter = len(ordered) / 4.0
    whole = int(quarter)
    low = sum(ordered[:whole]) + (quarter - whole) * ordered[whole]
    return min(1.0, (low / quarter) / (total / len(ordered)))


def flow_variation(flows_m3_s: Sequence[float]) -> float:
    """Spread between the strongest and the weakest outlet.

    Parameters
    ----------
    flows_m3_s : sequence of float, any length above 0
        Flow of each outlet. [m3/s]

    Returns
    -------
    float
        (largest - smallest) / largest, 0 to 1; 0 where nothing flows at all. [-]

    Raises
    ------
    InputError
        If there is no outlet.
    OutOfRange
        If a flow is negative or not a number.

    Source
    ------
    q_var of drip design practice: 0.1 or less good, 0.1 to 0.2 acceptable (from memory, ASAE).
    """
    ordered = _ordered(flows_m3_s)
    return (ordered[-1] - ordered[0]) / ordered[-1] if ordered[-1] > 0.0 else 0.0


def emission_uniformity(
    *,
    least_flow_m3_s: float,
    mean_flow_m3_s: float,
    scatter_fraction: float,
    outlets_per_plant: int = 1,
) -> float:
    """Design emission uniformity: the pipe's own unevenness and the drill's scatter together.

    Parameters
    ----------
    least_flow_m3_s : float
        Flow of the outlet with the least head. [m3/s]
    mean_flow_m3_s : float
        Mean flow of all outlets. [m3/s]
    scatter_fraction : float
        Coefficient of variation of outlets at one head, 0 to 0.78. [-]
    outlets_per_plant : int
        Outlets that feed one plant, 1 or more.

    Returns
    -------
    float
        Emission uniformity, 0 to 1. [-]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Keller and Karmeli (1974), ASABE EP405: EU = (1 - 1.27 CV/sqrt(n)) qmin/qmean.
    """
    require_range("mean_flow_m3_s", mean_flow_m3_s, 1e-300, 1e6)
    require_range("least_flow_m3_s", least_flow_m3_s, 0.0, mean_flow_m3_s * (1.0 + 1e-9))
    require_range("outlets_per_plant", outlets_per_plant, 1, 1e6)
    even = with_drilling_scatter(1.0, scatter_fraction / sqrt(outlets_per_plant))
    return even * least_flow_m3_s / mean_flow_m3_s


def with_drilling_scatter(uniformity: float, scatter_fraction: float) -> float:
    """Low-quarter uniformity of real holes, from that of the pipe and the scatter of the drill.

    Parameters
    ----------
    uniformity : float
        Low-quarter uniformity with perfect holes, 0 to 1. [-]
    scatter_fraction : float
        Coefficient of variation of hole flows at one head, 0 to 0.78. [-]

    Returns
    -------
    float
        Low-quarter uniformity, 0 to 1. [-]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    The mean of the lowest quarter of a normal distribution lies 1.27 standard deviations below its
    mean (Keller and Karmeli 1974); the product of the two parts is common practice, no source.
    """
    require_range("uniformity", uniformity, 0.0, 1.0)
    require_range("scatter_fraction", scatter_fraction, 0.0, 0.78)
    return uniformity * (1.0 - 1.27 * scatter_fraction)


def variation_coefficient(flows_m3_s: Sequence[float]) -> float:
    """Standard deviation over mean, the deviation taken with n - 1.

    Parameters
    ----------
    flows_m3_s : sequence of float, two or more
        Flow, or catch, of each outlet. [m3/s]

    Returns
    -------
    float
        Coefficient of variation. [-]

    Raises
    ------
    InputError
        If there are fewer than two outlets, or nothing flows.
    OutOfRange
        If a flow is negative or not a number.

    Source
    ------
    ASABE EP405 (manufacturer's coefficient of variation), with the sample deviation.
    """
    ordered = _ordered(flows_m3_s)
    mean = sum(ordered) / len(ordered)
    if len(ordered) < 2 or mean <= 0.0:
        raise InputError("a scatter needs two or more outlets that flow")
    return sqrt(sum((flow - mean) ** 2 for flow in ordered) / (len(ordered) - 1)) / mean


def _ordered(flows_m3_s: Sequence[float]) -> list[float]:
    """The flows from smallest to largest, each checked."""
    if not flows_m3_s:
        raise InputError("evenness needs at least one open hole")
    return sorted(require_range("flow_m3_s", flow, 0.0, 1e6) for flow in flows_m3_s)
