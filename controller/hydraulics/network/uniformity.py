"""How evenly a row waters: low-quarter uniformity and variation, with drill and level in them.

`real_uniformity` is the one place where the pipe, the drill and the level of a row are put
together; doses, longest rows and every figure of evenness use it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import erf, exp, hypot, pi, sqrt
from statistics import NormalDist

from controller.errors import InputError, require_range
from controller.garden.model import Satisfy, Watering
from controller.hydraulics.network.results import HoleFlow

# No dose is divided by less: below this class limit (ASAE EP458, "poor"; from memory) the price of
# serving the driest quarter grows fast. Such a row needs repair, and `check` says so. Our choice.
LEAST_UNIFORMITY = 0.6
# Distance of the mean of the lowest quarter of a normal distribution below its mean, in standard
# deviations: the density at the quartile over a quarter. Practice rounds it to 1.27.
_LOW_QUARTER_SD = NormalDist().pdf(NormalDist().inv_cdf(0.25)) / 0.25
# Relative tolerance of the quartile's count of holes; the error of the low quarter is then its
# square.
_NEAR_ENOUGH = 1e-5
# A hole with less than this part of the largest hole's flow counts as dry: it has no digits left.
_TRICKLE = 1e-12
# Scatter of a hole without its own among holes with some, as a part of its flow.
_LEAST_SCATTER = 1e-9


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
    Where the number of outlets is no multiple of four, the next outlet counts by the missing
    fraction: for six, the lowest and half of the second.

    Source
    ------
    Merriam and Keller (1978), as used in ASAE EP458 (from memory). The fraction is our choice.

    Examples
    --------
    The quarter of six is 1.5 holes, (1 + 0.5 x 2)/1.5 over a mean of 3.5:

    >>> round(low_quarter_uniformity([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), 3)
    0.381
    """
    ordered = _ordered(flows_m3_s)
    mean = sum(ordered) / len(ordered)
    if mean <= 0.0:
        return 0.0
    quarter = len(ordered) / 4.0
    whole = int(quarter)
    low = sum(ordered[:whole]) + (quarter - whole) * ordered[whole]
    return min(1.0, (low / quarter) / mean)


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

    Examples
    --------
    >>> round(flow_variation([1.6, 1.8, 2.0]), 2)
    0.2
    """
    ordered = _ordered(flows_m3_s)
    return (ordered[-1] - ordered[0]) / ordered[-1] if ordered[-1] > 0.0 else 0.0


def real_uniformity(holes: Iterable[HoleFlow], watering: Watering) -> float:
    """Expected low-quarter uniformity of real holes, from pipe, drill and level together.

    Parameters
    ----------
    holes : iterable of HoleFlow
        Holes as solved, of a row, part of a row or zone; plugged ones and drain holes do not count.
    watering : Watering
        The garden's scatter of drilling (coefficient of variation of hole flows at one head) and
        its error of level (standard deviation of a mouth's height from what the garden file says).

    Returns
    -------
    float
        Low-quarter uniformity, 0 to 1; 0 for no hole. [-]

    Raises
    ------
    OutOfRange
        If the scatter or the error is negative or not a number.

    Notes
    -----
    Drill and level are independent, so their squares add, hole by hole. The level's part is the
    change of flow by the hole law for one error higher and lower, about error/(2 head): almost 0
    under pressure, 5 % of a hole's flow for 3 mm under 3 cm. A slope in the garden file is in the
    flows and is not counted again. A hole that is computed dry stays dry.

    Source
    ------
    `scattered_uniformity`; the orifice law for the level.

    Examples
    --------
    3 mm of level under 3 cm of head is 5 % of a hole's flow, as is the usual scatter of the drill:
    7.07 % together, and 1 - 1.27 x 0.0707 = 0.910:

    >>> hole = HoleFlow(
    ...     number=1, x_m=0.1, z_m=0.0, bore_m=0.0016, head_m=0.03, flow_m3_s=1e-6, plugged=False,
    ...     kind="hole",
    ... )
    >>> round(real_uniformity([hole] * 400, Watering(windows=())), 2)
    0.91
    """
    drill, level_m = watering.drilling_scatter, watering.level_error_m
    require_range("drilling_scatter", drill, 0.0, 1.0)
    require_range("level_error_m", level_m, 0.0, 10.0)
    flows_m3_s: list[float] = []
    deviations_m3_s: list[float] = []
    for hole in holes:
        if hole.kind != "hole" or hole.plugged:
            continue
        flows_m3_s.append(hole.flow_m3_s)
        over_m = hole.head_m - hole.z_m
        level = 0.0
        if over_m > 0.0:
            higher, lower = sqrt(over_m + level_m), sqrt(max(0.0, over_m - level_m))
            level = (higher - lower) / (2.0 * sqrt(over_m))
        deviations_m3_s.append(hole.flow_m3_s * hypot(drill, level))
    return scattered_uniformity(flows_m3_s, deviations_m3_s) if flows_m3_s else 0.0


def scattered_uniformity(flows_m3_s: Sequence[float], deviations_m3_s: Sequence[float]) -> float:
    """Expected low-quarter uniformity of holes that scatter normally about their flows.

    Parameters
    ----------
    flows_m3_s : sequence of float, any length above 0
        Flow of each hole without scatter. [m3/s]
    deviations_m3_s : sequence of float, as many
        Standard deviation of each. [m3/s]

    Returns
    -------
    float
        Low-quarter uniformity, 0 to 1; 0 where nothing flows at all. [-]

    Raises
    ------
    InputError
        If there is no hole.
    OutOfRange
        If a figure is negative or not a number.

    Notes
    -----
    Independent causes add by squares: 1 - sqrt((1 - DU)^2 + (1.27 CV)^2). That is exact only where
    the pipe's own flows are normally distributed; along a row they are skewed, and squares are
    wrong by up to 6 points. So the lowest quarter is taken from the mixture itself: each hole is a
    normal distribution about its flow, cut off at no flow. Few holes scatter less than a whole
    distribution: the least of four lies 1.03 deviations below the mean, not 1.27, so their
    deviations are reduced by that ratio. It agrees with random draws within 0.6 points for 8 holes
    and more (docs/numbers.md).

    Source
    ------
    Partial means of the normal distribution (any textbook); the expected order of n normal draws
    by Blom (1958), (i - 3/8)/(n + 1/4), from memory.

    Examples
    --------
    Scatter alone, of many holes 1 - 1.2711 x 0.05:

    >>> round(scattered_uniformity([2.0] * 2000, [0.1] * 2000), 3)
    0.936
    """
    fewer = _of_few(len(flows_m3_s)) if flows_m3_s else 0.0
    sds = [fewer * require_range("deviation_m3_s", one, 0.0, 1e6) for one in deviations_m3_s]
    if not any(sds):
        return low_quarter_uniformity(flows_m3_s)
    trickle = _TRICKLE * max(require_range("flow_m3_s", flow, 0.0, 1e6) for flow in flows_m3_s)
    running = [
        (flow, max(sd, _LEAST_SCATTER * flow))
        for flow, sd in zip(flows_m3_s, sds, strict=True)
        if flow > trickle
    ]
    # Holes in the lowest quarter that are not dry.
    quarter = len(flows_m3_s) / 4.0
    running_low = quarter - (len(flows_m3_s) - len(running))
    below = [_partial(0.0, flow, sd) for flow, sd in running]
    if sum(share for share, *_ in below) >= running_low:
        return 0.0
    total = sum(flow for flow, _ in running)
    lost = sum(part for _, part, _ in below)
    at, count, low = _quartile(running, running_low)
    low += at * (running_low - count) - lost
    return min(1.0, max(0.0, low) / quarter * len(flows_m3_s) / (total - lost))


def dose_divisor(uniformity: float, watering: Watering) -> float:
    """Divisor of a dose for rows of a given uniformity: the uniformity, a lower limit, or 1.

    Parameters
    ----------
    uniformity : float
        As `real_uniformity` has it. [-]
    watering : Watering
        Whom the garden's doses are for.

    Returns
    -------
    float
        Never below `LEAST_UNIFORMITY`; 1 where doses are for the mean of the ground. [-]

    Raises
    ------
    OutOfRange
        If the uniformity is not 0 to 1.

    Source
    ------
    Dividing by the low-quarter uniformity: ASAE EP458 usage, from memory; the limit is our choice.

    Examples
    --------
    >>> dose_divisor(0.85, Watering(windows=())), dose_divisor(0.5, Watering(windows=()))
    (0.85, 0.6)
    """
    require_range("uniformity", uniformity, 0.0, 1.0)
    return 1.0 if watering.satisfy is Satisfy.MEAN else max(uniformity, LEAST_UNIFORMITY)


def by_squares(*uniformities: float) -> float:
    """Uniformity of independent causes together; for wishes, not for solved rows.

    Parameters
    ----------
    uniformities : float
        Low-quarter uniformity with each cause alone, 0 to 1. [-]

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
    Variances of independent causes add; the lowest quarter of a normal distribution lies a fixed
    number of deviations below its mean.

    Examples
    --------
    sqrt(0.03^2 + 0.04^2) = 0.05:

    >>> round(by_squares(0.97, 0.96), 4)
    0.95
    """
    lacks = [1.0 - require_range("uniformity", one, 0.0, 1.0) for one in uniformities]
    return max(0.0, 1.0 - hypot(*lacks))


def _ordered(flows_m3_s: Sequence[float]) -> list[float]:
    """The flows from smallest to largest, each checked."""
    if not flows_m3_s:
        raise InputError("evenness needs at least one open hole")
    return sorted(require_range("flow_m3_s", flow, 0.0, 1e6) for flow in flows_m3_s)


@lru_cache(maxsize=1024)
def _of_few(count: int) -> float:
    """Low quarter of so many normal draws below their mean, over that of very many draws."""
    scores = [NormalDist().inv_cdf((i + 0.625) / (count + 0.25)) for i in range(count)]
    quarter = count / 4.0
    whole = int(quarter)
    low = sum(scores[:whole]) + (quarter - whole) * scores[whole]
    return -low / quarter / _LOW_QUARTER_SD


def _partial(at: float, mean: float, sd: float) -> tuple[float, float, float]:
    """Share of a normal distribution below a value, its part of the mean, and the density there."""
    z = (at - mean) / sd
    share, bell = 0.5 * (1.0 + erf(z / sqrt(2.0))), exp(-0.5 * z * z) / sqrt(2.0 * pi)
    return share, mean * share - sd * bell, bell / sd


def _quartile(running: Sequence[tuple[float, float]], wanted: float) -> tuple[float, float, float]:
    """The flow below which so many holes lie, their count, and the sum of their flows."""
    mean = sum(flow for flow, _ in running) / len(running)
    spread = sqrt(sum((flow - mean) ** 2 + sd * sd for flow, sd in running) / len(running))
    low_end, high_end = 0.0, max(flow + 8.0 * sd for flow, sd in running)
    at = min(max(mean - 0.67 * spread, low_end), high_end)
    for _ in range(200):
        count = low = slope = 0.0
        for flow, sd in running:
            share, part, density = _partial(at, flow, sd)
            count, low, slope = count + share, low + part, slope + density
        if abs(count - wanted) <= _NEAR_ENOUGH * wanted:
            break
        low_end, high_end = (at, high_end) if count < wanted else (low_end, at)
        step = at - (count - wanted) / slope if slope > 0.0 else low_end
        at = step if low_end < step < high_end else 0.5 * (low_end + high_end)
    return at, count, low
