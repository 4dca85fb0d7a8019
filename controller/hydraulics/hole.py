"""One drilled hole: what passes, by head, bore and wall; above the grade line, nothing."""

from __future__ import annotations

from math import log10, pi, sqrt

from controller.errors import NoSolution, require_range
from controller.units import GRAVITY_M_S2, WATER_DENSITY_KG_M3

# Surface tension of water against air at 20 °C: IAPWS R1-76, 72.75 mN/m. [N/m]
_SURFACE_TENSION_N_M = 0.07275


def discharge_coefficient(*, wall_m: float, bore_m: float) -> float:
    """Part of the ideal flow a drilled hole passes to air, by the wall's thickness over the bore.

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
    A constant, for Reynolds numbers above about 1e4; burrs, chamfers and worn drills move the true
    one by a tenth either way, and between wall over bore 0.7 and 1.4 it is unsettled. A catch in a
    cup tells better than any formula.

    Source
    ------
    Idelchik, Handbook of Hydraulic Resistance, diagram 4-15 (thick-edged orifice in a large wall):
    Cd = 1/sqrt(1.5 + tau + 0.02 L/d). The fit of tau is from memory; it meets the 0.61 of a thin
    plate and the 0.80 to 0.82 of a short tube running full.
    """
    require_range("wall_m", wall_m, 1e-6, 1.0)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    ratio = require_range("wall_m/bore_m", wall_m / bore_m, 0.0, 10.0)
    tau = 0.0
    if ratio < 2.4:
        tau = (2.4 - ratio) * 10.0 ** -(0.25 + 0.535 * ratio**8 / (0.05 + ratio**7))
    return 1.0 / sqrt(1.5 + tau + 0.02 * ratio)


def hole_flow_m3_s(
    *,
    head_over_hole_m: float,
    bore_m: float,
    discharge_coefficient: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Flow of one hole into air.

    Parameters
    ----------
    head_over_hole_m : float
        Piezometric head in the pipe less the height of the hole's mouth. [m]
    bore_m : float
        Diameter of the hole. [m]
    discharge_coefficient : float
        Part of the ideal flow that passes. [-]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    float
        Flow; 0 where the head is below the mouth, for a hole takes in no air in this model. [m3/s]

    Raises
    ------
    OutOfRange
        If the head is not a number, or bore or coefficient are not above 0.

    Source
    ------
    Torricelli's law with a discharge coefficient, q = Cd a sqrt(2 g h).
    """
    require_range("head_over_hole_m", head_over_hole_m, -1e6, 1e6)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    require_range("discharge_coefficient", discharge_coefficient, 1e-6, 1.0)
    if head_over_hole_m <= 0.0:
        return 0.0
    area_m2 = pi / 4.0 * bore_m**2
    return discharge_coefficient * area_m2 * sqrt(2.0 * gravity_m_s2 * head_over_hole_m)


def discharge_coefficient_at(*, wall_m: float, bore_m: float, reynolds: float) -> float:
    """Discharge coefficient of a hole that runs full, at a moderate Reynolds number.

    Parameters
    ----------
    wall_m : float
        Thickness of the wall drilled through. [m]
    bore_m : float
        Diameter of the hole; wall over bore 1.9 to 10. [m]
    reynolds : float
        Mean velocity in the hole times bore over viscosity, 10 to 1e7. [-]

    Returns
    -------
    float
        Discharge coefficient. [-]

    Raises
    ------
    OutOfRange
        If wall over bore or the Reynolds number is outside its range.

    Source
    ------
    Lichtarowicz, Duggins and Markland (1965), J. Mech. Eng. Sci. 7(2) 210-219, for wall over bore
    2 to 10 (formula from memory). Down to 1.9 is ours: 1/16 in through 3/4 in pipe has 1.97.
    """
    ratio = require_range("wall_m/bore_m", wall_m / bore_m, 1.9, 10.0)
    require_range("reynolds", reynolds, 10.0, 1e7)
    ultimate = 0.827 - 0.0085 * ratio
    inverse = (
        1.0 / ultimate
        + 20.0 / reynolds * (1.0 + 2.25 * ratio)
        - 0.005 * ratio / (1.0 + 7.5 * log10(0.00015 * reynolds) ** 2)
    )
    return 1.0 / inverse


def slow_hole_flow_m3_s(
    *,
    head_over_hole_m: float,
    bore_m: float,
    wall_m: float,
    viscosity_m2_s: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Flow of one hole whose discharge coefficient falls with the Reynolds number.

    Parameters
    ----------
    head_over_hole_m : float
        Head over the hole's mouth. [m]
    bore_m : float
        Diameter of the hole. [m]
    wall_m : float
        Thickness of the wall; wall over bore 1.9 to 10. [m]
    viscosity_m2_s : float
        Kinematic viscosity. [m2/s]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    float
        Flow. [m3/s]

    Raises
    ------
    OutOfRange
        If wall over bore is outside 1.9 to 10, or the flow is so slow that Re falls below 10.
    NoSolution
        If flow and coefficient do not settle.

    Notes
    -----
    For a single reading at low head. The network keeps a constant coefficient, which overstates the
    flow by 4 to 5 % at 0.1 psi and by less than 1 % from 1 psi on.

    Source
    ------
    `discharge_coefficient_at`, repeated until flow and Reynolds number agree.
    """
    if head_over_hole_m <= 0.0:
        return 0.0
    ideal_m_s = sqrt(2.0 * gravity_m_s2 * head_over_hole_m)
    coefficient, change = 0.8, 1.0
    for _ in range(100):
        reynolds = coefficient * ideal_m_s * bore_m / viscosity_m2_s
        better = discharge_coefficient_at(wall_m=wall_m, bore_m=bore_m, reynolds=reynolds)
        change, coefficient = better - coefficient, better
        if abs(change) < 1e-13:
            return coefficient * pi / 4.0 * bore_m**2 * ideal_m_s
    raise NoSolution("flow of a slow hole", 0.0, 1.0, change)


def first_drip_head_m(bore_m: float) -> float:
    """Head below which a hole facing down need not start to drip at all.

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
    """
    require_range("bore_m", bore_m, 1e-6, 1.0)
    return 4.0 * _SURFACE_TENSION_N_M / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2 * bore_m)
