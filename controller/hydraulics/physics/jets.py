"""Reading a hole's head from its water: how high it throws, or how far.

The speed at which a stream leaves tells its flow when the hole runs full, and, over the velocity
coefficient, the head behind it. Air is left out: from about 2 psi on it takes a tenth and more of
the height, and such readings say too little.
"""

from __future__ import annotations

from math import sqrt

from controller.errors import require_range
from controller.units import GRAVITY_M_S2, head_m_from_psi

# Where drag of the air takes 12 % of a stream's height by a simple drop model (5 % at 1 psi, 26 %
# at 5 psi): above this head a reading is a lower bound rather than a measurement. [m]
TRUSTED_BELOW_M = head_m_from_psi(2.0)
# Velocity coefficient of a stream that has broken away from the wall of its hole (Cd about 0.62);
# one that fills its hole has that of its discharge. Handbooks: 0.96 to 0.98.
DETACHED_VELOCITY_COEFFICIENT = 0.97
# From this wall over bore on a hole is taken to run full (handbooks say about 1.5).
RUNS_FULL_FROM = 1.4


def exit_speed_from_height_m_s(height_m: float) -> float:
    """Speed at which a stream leaves a hole that looks up.

    Parameters
    ----------
    height_m : float
        How high the stream rises over the hole's mouth. [m]

    Returns
    -------
    float
        Speed. [m/s]

    Raises
    ------
    OutOfRange
        If the height is not 0 to 100.

    Source
    ------
    v = sqrt(2 g z), a body thrown up. A stream that falls back on itself stands about a tenth
    lower; tilt the hole slightly when reading.

    Examples
    --------
    One inch, sqrt(2 x 9.80665 x 0.0254):

    >>> round(exit_speed_from_height_m_s(0.0254), 4)
    0.7058
    """
    require_range("height_m", height_m, 0.0, 100.0)
    return sqrt(2.0 * GRAVITY_M_S2 * height_m)


def exit_speed_from_reach_m_s(*, reach_m: float, drop_m: float) -> float:
    """Speed at which a stream leaves a hole that looks level to the side.

    Parameters
    ----------
    reach_m : float
        Distance along the ground from the hole's mouth to where the stream lands. [m]
    drop_m : float
        How far below the mouth it lands. [m]

    Returns
    -------
    float
        Speed. [m/s]

    Raises
    ------
    OutOfRange
        If the reach is not 0 to 100, or the drop not 1 mm to 100 m.

    Source
    ------
    v = x sqrt(g/(2 y)), a body thrown level.

    Examples
    --------
    Two feet while it falls 6 in, which takes 0.1763 s:

    >>> round(exit_speed_from_reach_m_s(reach_m=0.6096, drop_m=0.1524), 3)
    3.458
    """
    require_range("reach_m", reach_m, 0.0, 100.0)
    require_range("drop_m", drop_m, 1e-3, 100.0)
    return reach_m * sqrt(GRAVITY_M_S2 / (2.0 * drop_m))


def height_m(*, head_m: float, velocity_coefficient: float) -> float:
    """How high a hole that looks up throws its stream.

    Parameters
    ----------
    head_m : float
        Head over the hole's mouth; below 0 nothing leaves. [m]
    velocity_coefficient : float
        Part of the ideal speed that is reached; for a hole running full its discharge
        coefficient. [-]

    Returns
    -------
    float
        Height over the mouth, without air. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    v = Cv sqrt(2 g h), z = v^2/(2 g).

    Examples
    --------
    At 1 psi (0.703 m), 0.80^2 x 0.703:

    >>> round(height_m(head_m=0.703, velocity_coefficient=0.80), 2)
    0.45
    """
    require_range("head_m", head_m, -1e4, 1e4)
    require_range("velocity_coefficient", velocity_coefficient, 0.1, 1.0)
    return velocity_coefficient**2 * max(0.0, head_m)


def reach_m(*, head_m: float, drop_m: float, velocity_coefficient: float) -> float:
    """How far a hole that looks level to the side throws its stream.

    Parameters
    ----------
    head_m : float
        Head over the hole's mouth; below 0 nothing leaves. [m]
    drop_m : float
        How far below the mouth the stream lands. [m]
    velocity_coefficient : float
        Part of the ideal speed that is reached. [-]

    Returns
    -------
    float
        Reach along the ground, without air. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    x = 2 Cv sqrt(h y), from v = Cv sqrt(2 g h) and a body thrown level.

    Examples
    --------
    At 1 psi (0.703 m) from 15 cm up, 2 x 0.80 x sqrt(0.703 x 0.15):

    >>> round(reach_m(head_m=0.703, drop_m=0.15, velocity_coefficient=0.80), 2)
    0.52
    """
    require_range("head_m", head_m, -1e4, 1e4)
    require_range("drop_m", drop_m, 1e-3, 100.0)
    require_range("velocity_coefficient", velocity_coefficient, 0.1, 1.0)
    return 2.0 * velocity_coefficient * sqrt(max(0.0, head_m) * drop_m)


def head_from_speed_m(*, speed_m_s: float, velocity_coefficient: float) -> float:
    """Head over the mouth of a hole whose stream leaves at a speed.

    Parameters
    ----------
    speed_m_s : float
        Speed of the stream. [m/s]
    velocity_coefficient : float
        Part of the ideal speed that is reached. [-]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Torricelli's law, h = v^2/(2 g Cv^2).

    Examples
    --------
    >>> round(head_from_speed_m(speed_m_s=0.7058, velocity_coefficient=0.80), 4)
    0.0397
    """
    require_range("speed_m_s", speed_m_s, 0.0, 1e4)
    require_range("velocity_coefficient", velocity_coefficient, 0.1, 1.0)
    return speed_m_s**2 / (2.0 * GRAVITY_M_S2 * velocity_coefficient**2)


def head_from_height_m(*, height_m: float, velocity_coefficient: float) -> float:
    """Head over the mouth of a hole that throws its stream so high.

    Parameters
    ----------
    height_m : float
        Height of the stream over the mouth. [m]
    velocity_coefficient : float
        Part of the ideal speed that is reached. [-]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    The inverse of `height_m`.

    Examples
    --------
    >>> round(head_from_height_m(height_m=0.45, velocity_coefficient=0.80), 3)
    0.703
    """
    return head_from_speed_m(
        speed_m_s=exit_speed_from_height_m_s(height_m), velocity_coefficient=velocity_coefficient
    )


def head_from_reach_m(*, reach_m: float, drop_m: float, velocity_coefficient: float) -> float:
    """Head over the mouth of a hole that throws its stream so far, level to the side.

    Parameters
    ----------
    reach_m : float
        Distance along the ground to where the stream lands. [m]
    drop_m : float
        How far below the mouth it lands. [m]
    velocity_coefficient : float
        Part of the ideal speed that is reached. [-]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    The inverse of `reach_m`.

    Examples
    --------
    >>> round(head_from_reach_m(reach_m=0.52, drop_m=0.15, velocity_coefficient=0.80), 2)
    0.7
    """
    return head_from_speed_m(
        speed_m_s=exit_speed_from_reach_m_s(reach_m=reach_m, drop_m=drop_m),
        velocity_coefficient=velocity_coefficient,
    )


def velocity_coefficient(*, discharge_coefficient: float, wall_m: float, bore_m: float) -> float:
    """Part of the ideal speed a hole's stream has, by whether it fills the hole.

    Parameters
    ----------
    discharge_coefficient : float
        Part of the ideal flow that passes. [-]
    wall_m : float
        Thickness of the wall drilled through. [m]
    bore_m : float
        Diameter of the hole. [m]

    Returns
    -------
    float
        Velocity coefficient: the discharge coefficient where the wall is 1.4 bores or more, 0.97
        where it is thinner and the stream narrows. [-]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Notes
    -----
    Between a wall of 0.7 and 1.4 bores either may be the case; a rough stream as wide as its hole
    fills it, a glassy narrower one does not.

    Source
    ------
    Mouthpieces run full from a length of about 1.5 bores (hydraulics handbooks, from memory).

    Examples
    --------
    A stream that narrows in a thin wall:

    >>> velocity_coefficient(discharge_coefficient=0.62, wall_m=0.0015, bore_m=0.0032)
    0.97
    """
    require_range("discharge_coefficient", discharge_coefficient, 0.1, 1.0)
    require_range("wall_m", wall_m, 1e-6, 1.0)
    require_range("bore_m", bore_m, 1e-6, 1.0)
    if wall_m >= RUNS_FULL_FROM * bore_m:
        return discharge_coefficient
    return max(discharge_coefficient, DETACHED_VELOCITY_COEFFICIENT)
