"""Head of a hole from its stream: how high it rises, or how far it throws.

The exit speed of a stream gives the flow where the hole runs full, and the head through the
velocity coefficient. Drag of the air is left out: from about 2 psi on it takes a tenth and more of
the height, and such readings are too low.
"""

from __future__ import annotations

from math import sqrt

from controller.errors import require_range
from controller.units import GRAVITY_M_S2, head_m_from_psi

# Head at which drag of the air takes 12 % of a stream's height by a simple drop model (5 % at 1
# psi, 26 % at 5 psi). Above it a reading is a lower bound, not a measurement. [m]
TRUSTED_BELOW_M = head_m_from_psi(2.0)
# Velocity coefficient of a stream that has detached from the wall of its hole (Cd about 0.62); for
# a stream that fills its hole it equals the discharge coefficient. Handbooks: 0.96 to 0.98.
DETACHED_VELOCITY_COEFFICIENT = 0.97
# A hole runs full from this wall over bore on (handbooks: about 1.5).
RUNS_FULL_FROM = 1.4


def exit_speed_from_height_m_s(height_m: float) -> float:
    """Exit speed of a stream from a hole that faces up.

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
    v = sqrt(2 g z), a body thrown up. A stream that falls back on itself is about a tenth lower;
    tilt the hole slightly when reading.

    Examples
    --------
    One inch, sqrt(2 x 9.80665 x 0.0254):

    >>> round(exit_speed_from_height_m_s(0.0254), 4)
    0.7058
    """
    require_range("height_m", height_m, 0.0, 100.0)
    return sqrt(2.0 * GRAVITY_M_S2 * height_m)


def exit_speed_from_reach_m_s(*, reach_m: float, drop_m: float) -> float:
    """Exit speed of a stream from a hole that faces level to the side.

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
    """Height of the stream of a hole that faces up.

    Parameters
    ----------
    head_m : float
        Head over the hole's mouth; below 0 nothing leaves. [m]
    velocity_coefficient : float
        Part of the ideal speed, 0.1 to 1; for a hole running full its discharge coefficient. [-]

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
    """Reach of the stream of a hole that faces level to the side.

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
    """Head over the mouth of a hole from the exit speed of its stream.

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
    """Head over the mouth of a hole from the height of its stream.

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
    """Head over the mouth of a hole from the reach of its stream, level to the side.

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
    """Velocity coefficient of a hole's stream, by whether it fills the hole.

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
        The discharge coefficient where the wall is 1.4 bores or more; 0.97 where it is thinner and
        the stream narrows. [-]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Notes
    -----
    With a wall of 0.7 to 1.4 bores both occur: a rough stream as wide as its hole fills it, a
    glassy narrower one does not.

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
