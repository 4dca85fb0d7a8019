"""Flow of one drilled hole by head, bore and wall; none above the grade line.

In a row the law has more in it than one coefficient. Slow water has friction in the hole (low
Reynolds number), fast water cavitates in it, and the stream past the hole reduces the driving head
by `sigma` velocity heads. `Effects` switches these off for comparison with solvers without them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log, log10, pi, sqrt

from controller.errors import require_range
from controller.units import GRAVITY_M_S2, WATER_DENSITY_KG_M3

# Surface tension of water against air at 20 °C: IAPWS R1-76, 72.75 mN/m. [N/m]
_SURFACE_TENSION_N_M = 0.07275
# Velocity heads by which a stream past a hole reduces the driving head, beyond the one that the
# pipe recovers: none where the hole is so long that its jet fills it again, 0.65 for a thin wall.
# Limits: wall over bore.
_THIN_WALL, _THICK_WALL, _THIN_KAPPA = 1.0, 1.5, 0.65
# Range of sigma for a thick wall and for a thin one.
_THICK_SIGMA, _THIN_SIGMA = (0.8, 1.65), (1.1, 1.95)
# Contraction of a cavitating hole with a sharp inner edge. Two laws blend over this part of the
# coefficient, so that the flow's slope has no jump (our choice).
_CAVITATING, _MEETS_OVER = 0.615, 0.03
# Below this head the law of a constant coefficient is linear, so that its slope stays finite. [m]
LINEAR_BELOW_M = 1e-7
_LINEAR_ROOT = sqrt(LINEAR_BELOW_M)
# Figures of a hole: area times sqrt(2 g); one over the coefficient at large Reynolds numbers; the
# addition for slow flow, over the root of the head; the transition's part; Reynolds number times
# 0.00015, over that root; head from which it may cavitate [m]; pressure of the air over the
# vapour's [m]; sigma.
HoleLaw = tuple[float, float, float, float, float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """The effects that a computation counts. `momentum` is sigma for all holes; None: by the wall.

    `varying`: the coefficient falls at low Reynolds numbers and where the water cavitates.
    `vented`: holes above the water let air in.
    """

    momentum: float | None = None
    varying: bool = True
    vented: bool = True


ALL_EFFECTS = Effects()


def discharge_coefficient(*, wall_m: float, bore_m: float) -> float:
    """Discharge coefficient of a drilled hole into air, by the wall's thickness over the bore.

    Parameters
    ----------
    wall_m : float
        Thickness of the wall drilled through, which is the hole's length. [m]
    bore_m : float
        Diameter of the drill. [m]

    Returns
    -------
    float
        Discharge coefficient, 0.6 to 0.8. [-]

    Raises
    ------
    OutOfRange
        If a length is not above 0, or wall over bore is above 10.

    Notes
    -----
    A constant, for Reynolds numbers above about 1e4. Burrs, chamfers and worn drills change it by a
    tenth either way, and it is uncertain for a wall over bore of 0.7 to 1.4. A catch in a cup is
    better than any formula.

    Source
    ------
    Idelchik, Handbook of Hydraulic Resistance, diagram 4-15 (thick-edged orifice in a large wall):
    Cd = 1/sqrt(1.5 + tau + 0.02 L/d). The fit of tau is from memory; it meets the 0.61 of a thin
    plate and the 0.80 to 0.82 of a short tube running full.

    Examples
    --------
    A 1/16 in drill through 3/4 in Schedule 40 pipe; handbooks give a short tube 0.80 to 0.82:

    >>> round(discharge_coefficient(wall_m=0.003124, bore_m=0.0015875), 2)
    0.8
    """
    require_range("wall_m", wall_m, 1e-6, 1.0)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    ratio = require_range("wall_m/bore_m", wall_m / bore_m, 0.0, 10.0)
    tau = 0.0
    if ratio < 2.4:
        tau = (2.4 - ratio) * 10.0 ** -(0.25 + 0.535 * ratio**8 / (0.05 + ratio**7))
    return 1.0 / sqrt(1.5 + tau + 0.02 * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The water in the pipes: viscosity, the air's pressure over the vapour's, effects counted."""

    viscosity_m2_s: float
    air_m: float = inf
    effects: Effects = ALL_EFFECTS


def momentum_sigma(*, wall_m: float, bore_m: float) -> float:
    """Velocity heads of the water in the pipe by which the total head drives a hole less.

    Parameters
    ----------
    wall_m : float
        Thickness of the wall drilled through. [m]
    bore_m : float
        Diameter of the hole. [m]

    Returns
    -------
    float
        1.0 for wall over bore 1.5 and more, 1.65 up to 1.0, linear between. [-]

    Raises
    ------
    OutOfRange
        If a length is not above 0.

    Notes
    -----
    Two effects in one figure: past a small hole the pipe recovers the whole velocity head that it
    gives up (1), and a hole in a thin wall passes less from a fast stream (0.65 more).

    Source
    ------
    Recovery 1: Howland (as cited by Bailey), Acrivos, Babcock and Pigford (1959), 0.8 to 1.0; loss
    of second order in the branch's share: Crane TP-410. Cross-flow of thin walls: Koh and Brooks
    (1975), sharp ports, 0.59 to 0.80; free-streamline theory 0.54 to 0.69. Interpolation and the
    default: our choice.

    Examples
    --------
    >>> round(momentum_sigma(wall_m=0.00125, bore_m=0.001), 3)
    1.325
    """
    require_range("wall_m", wall_m, 1e-6, 1.0)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    return 1.0 + _THIN_KAPPA * _thin(wall_m / bore_m)


def momentum_sigma_band(*, wall_m: float, bore_m: float) -> tuple[float, float]:
    """Range in which `momentum_sigma` may lie.

    Parameters
    ----------
    wall_m : float
        Thickness of the wall drilled through. [m]
    bore_m : float
        Diameter of the hole. [m]

    Returns
    -------
    tuple of float
        0.8 to 1.65 for thick walls, 1.1 to 1.95 for thin ones. [-]

    Raises
    ------
    OutOfRange
        If a length is not above 0.

    Source
    ------
    The spread of the sources of `momentum_sigma`; the upper end of thick walls is for a stream
    torn off the wall. Our choice: no test of drilled pipe this small was found.

    Examples
    --------
    >>> momentum_sigma_band(wall_m=0.002, bore_m=0.001)
    (0.8, 1.65)
    """
    require_range("wall_m", wall_m, 1e-6, 1.0)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    thin = _thin(wall_m / bore_m)
    low, high = (
        (1.0 - thin) * thick + thin * thinner
        for thick, thinner in zip(_THICK_SIGMA, _THIN_SIGMA, strict=True)
    )
    return low, high


def _thin(ratio: float) -> float:
    """Weight of the thin wall's figures: 1 up to wall over bore 1, 0 from 1.5 on."""
    return min(1.0, max(0.0, (_THICK_WALL - ratio) / (_THICK_WALL - _THIN_WALL)))


def air_over_vapour_m(*, elevation_m: float, water_temp_c: float) -> float:
    """Head of the air's pressure over the vapour pressure of the water.

    Parameters
    ----------
    elevation_m : float
        Height above the sea. [m]
    water_temp_c : float
        Temperature of the water. [°C]

    Returns
    -------
    float
        Head, 10.16 m at the sea and 15 C. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    10.33 m less 1.2 m a kilometre; vapour 0.09, 0.17 and 0.32 m at 5, 15 and 25 C (steam tables,
    from memory), an exponential through them.

    Examples
    --------
    >>> round(air_over_vapour_m(elevation_m=0.0, water_temp_c=15.0), 2)
    10.16
    """
    require_range("elevation_m", elevation_m, -1000.0, 6000.0)
    require_range("water_temp_c", water_temp_c, 0.0, 60.0)
    return 10.33 - 1.2e-3 * elevation_m - 0.17 * exp(0.0634 * (water_temp_c - 15.0))


def hole_law(
    *,
    bore_m: float,
    discharge_coefficient: float,
    wall_m: float | None = None,
    viscosity_m2_s: float = 1.139e-6,
    air_m: float = inf,
    sigma: float = 0.0,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> HoleLaw:
    """The law of a hole, as `passes` needs it.

    Parameters
    ----------
    bore_m : float
        Diameter of the hole. [m]
    discharge_coefficient : float
        Coefficient of the hole running full and fast. [-]
    wall_m : float or None
        Thickness of the wall; None leaves the coefficient constant. [m]
    viscosity_m2_s : float
        Kinematic viscosity. [m2/s]
    air_m : float
        As `air_over_vapour_m`; infinite without cavitation. [m]
    sigma : float
        As `momentum_sigma`. [-]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    HoleLaw
        Figures of the law.

    Raises
    ------
    OutOfRange
        If bore or coefficient is outside its range.

    Notes
    -----
    1/Cd = 1/Cd0 + (20/Re)(1 + 2.25 L/d) - 0.005 (L/d)/(1 + 7.5 log10(0.00015 Re)^2), with Re of
    the ideal jet; no more than 0.615 sqrt((h + air)/h). At heads of millimetres the law becomes
    linear in the head by itself.

    Source
    ------
    Lichtarowicz, Duggins and Markland (1965), wall over bore 2 to 10; the same viscous terms below
    2 are ours (below 1 their sign is unsettled). Cavitation: Nurick (1976), Cc 0.61 to 0.62.

    Examples
    --------
    >>> law = hole_law(bore_m=0.001, discharge_coefficient=0.62)
    >>> round(1.0 / law[1], 2)
    0.62
    """
    require_range("bore_m", bore_m, 1e-5, 1.0)
    require_range("discharge_coefficient", discharge_coefficient, 1e-3, 1.5)
    area = pi / 4.0 * bore_m**2 * sqrt(2.0 * gravity_m_s2)
    inverse = 1.0 / discharge_coefficient
    if wall_m is None:
        return area, inverse, 0.0, 0.0, 1.0, inf, inf, sigma
    ratio = wall_m / bore_m
    reynolds = bore_m * sqrt(2.0 * gravity_m_s2) / viscosity_m2_s
    most = (1.01 * discharge_coefficient + _MEETS_OVER) / _CAVITATING
    capped_from_m = air_m / (most * most - 1.0) if most > 1.0 else inf
    return (
        area,
        inverse,
        20.0 * (1.0 + 2.25 * ratio) / reynolds,
        0.005 * ratio,
        1.5e-4 * reynolds,
        capped_from_m,
        air_m,
        sigma,
    )


def times(factor: float, law: HoleLaw) -> HoleLaw:
    """The law of a hole, or of several alike, with its flow multiplied by a factor at any head.

    Examples
    --------
    >>> law = hole_law(bore_m=0.001, discharge_coefficient=0.62)
    >>> passes(times(2.0, law), 5.0)[0] / passes(law, 5.0)[0]
    2.0
    """
    return (factor * law[0], *law[1:])


def passes(law: HoleLaw, over_m: float) -> tuple[float, float]:
    """Flow of a hole under the head that drives it [m3/s], and its slope in that head [m2/s].

    Parameters
    ----------
    law : HoleLaw
        From `hole_law`.
    over_m : float
        Head over the mouth, less what the water's speed takes. [m]

    Returns
    -------
    tuple of float
        Flow and slope, both 0 where the head is not above the mouth. [m3/s, m2/s]

    Raises
    ------
    OverflowError
        Never, for heads of this world.

    Source
    ------
    As `hole_law`.

    Examples
    --------
    By hand 0.62 x pi/4 x (1 mm)2 x sqrt(2 x 9.81 x 5) = 17.36 L/h:

    >>> law = hole_law(bore_m=0.001, discharge_coefficient=0.62, gravity_m_s2=9.81)
    >>> flow_m3_s, slope_m2_s = passes(law, 5.0)
    >>> round(3.6e6 * flow_m3_s, 2)
    17.36
    """
    if over_m <= 0.0:
        return 0.0, 0.0
    area, inverse, slow, hump, re, capped_from_m, air_m, _ = law
    root = sqrt(over_m)
    if slow == 0.0:
        if over_m > LINEAR_BELOW_M:
            flow = area * root / inverse
            return flow, 0.5 * flow / over_m
        slope = area / (inverse * _LINEAR_ROOT)
        return slope * over_m, slope
    power = log10(re * root)
    bend = 1.0 + 7.5 * power * power
    lost = inverse - hump / bend
    against = root * lost + slow
    against_slope = lost + _HUMP_SLOPE * hump * power / (bend * bend)
    if over_m > capped_from_m:
        return _capped(area, root, over_m, air_m, against, against_slope)
    return (
        area * over_m / against,
        0.5 * area * (2.0 * against - root * against_slope) / (against * against),
    )


def over_for(law: HoleLaw, flow_m3_s: float) -> float:
    """Head over the mouth that drives a flow: the inverse of `passes`.

    Parameters
    ----------
    law : HoleLaw
        From `hole_law`.
    flow_m3_s : float
        Flow, above 0. [m3/s]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    ZeroDivisionError
        If the flow is 0.

    Source
    ------
    As `hole_law`; one or three steps of Newton from the law without its small parts.

    Examples
    --------
    >>> law = hole_law(bore_m=0.001, discharge_coefficient=0.62, gravity_m_s2=9.81)
    >>> round(over_for(law, 17.36 / 3.6e6), 2)
    5.0
    """
    area, inverse, slow, hump, re, capped_from_m, air_m, _ = law
    ideal = flow_m3_s / area
    if slow == 0.0:
        root = ideal * inverse
        return root * root if root > _LINEAR_ROOT else root * _LINEAR_ROOT
    half = 0.5 * ideal * inverse
    root = half + sqrt(half * half + ideal * slow)
    power = log10(re * root)
    bend = 1.0 + 7.5 * power * power
    half = 0.5 * ideal * (inverse - hump / bend)
    root = half + sqrt(half * half + ideal * slow)
    over_m = root * root
    if over_m > 0.9 * capped_from_m:
        over_m = max(over_m, (ideal / _CAVITATING) ** 2 - air_m)
        for _ in range(3):
            flow, slope = passes(law, over_m)
            over_m += (flow_m3_s - flow) / slope
        return over_m
    flow, slope = passes(law, over_m)
    return over_m + (flow_m3_s - flow) / slope


_HUMP_SLOPE = 15.0 / log(10.0)


def _capped(
    area: float, root: float, over_m: float, air_m: float, against: float, against_slope: float
) -> tuple[float, float]:
    """`passes` where the hole may cavitate: the smaller of two coefficients, blended."""
    full = root / against
    full_slope = 0.5 * (against - root * against_slope) / (against * against * root)
    rises = sqrt(1.0 + air_m / over_m)
    cap, cap_slope = _CAVITATING * rises, -0.5 * _CAVITATING * air_m / (rises * over_m * over_m)
    close = max(0.0, 1.0 - abs(full - cap) / _MEETS_OVER)
    part = 0.5 * close * close if full < cap else 1.0 - 0.5 * close * close
    least = min(full, cap) - close**3 * _MEETS_OVER / 6.0
    slope = (1.0 - part) * full_slope + part * cap_slope
    return area * root * least, area * (0.5 * least / root + root * slope)


def first_drip_head_m(bore_m: float) -> float:
    """Head below which a hole that faces down may not start to drip.

    Parameters
    ----------
    bore_m : float
        Diameter of the hole. [m]

    Returns
    -------
    float
        Head that surface tension can hold. [m]

    Raises
    ------
    OutOfRange
        If the bore is not above 0.

    Source
    ------
    Pressure across a half sphere of the hole's diameter, 4 sigma/(rho g d) (Young-Laplace).

    Examples
    --------
    A hole of 1/16 in, in mm of water:

    >>> round(1000.0 * first_drip_head_m(0.0015875))
    19
    """
    require_range("bore_m", bore_m, 1e-6, 1.0)
    return 4.0 * _SURFACE_TENSION_N_M / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2 * bore_m)
