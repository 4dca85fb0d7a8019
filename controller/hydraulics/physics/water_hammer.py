"""Pressure surges when a valve closes, and static pressure on the ends and walls of pipe."""

from __future__ import annotations

from math import pi, sqrt

from controller.errors import InputError, require_range
from controller.units import GRAVITY_M_S2, PA_PER_PSI, WATER_DENSITY_KG_M3, c_from_f

# Bulk modulus of water at 20 °C, from its density and a speed of sound of 1482 m/s (Del Grosso and
# Mader 1972, from memory). [Pa]
WATER_BULK_PA = 2.19e9
# Modulus of rigid PVC: 400 000 psi, the least of cell class 12454 in ASTM D1784 (from memory). [Pa]
PVC_MODULUS_PA = 400_000.0 * PA_PER_PSI

# ASTM D1785, PVC 1120 Schedule 40: maximum working pressure of water at 73 °F, plain ends. [psi]
RATING_PSI = {
    "1/2 in": 600.0,
    "3/4 in": 480.0,
    "1 in": 450.0,
    "1-1/4 in": 370.0,
    "1-1/2 in": 330.0,
    "2 in": 280.0,
}
# Part of the rating that remains in warm pipe: makers' lists; 73 and 100 °F read, the rest from
# memory.
DERATING_BY_F = (
    (73.0, 1.00),
    (80.0, 0.88),
    (90.0, 0.75),
    (100.0, 0.62),
    (110.0, 0.50),
    (120.0, 0.40),
    (130.0, 0.30),
    (140.0, 0.22),
)


def velocity_m_s(*, flow_m3_s: float, bore_m: float) -> float:
    """Mean velocity in a full pipe.

    Parameters
    ----------
    flow_m3_s : float
        Flow. [m3/s]
    bore_m : float
        Inside diameter. [m]

    Returns
    -------
    float
        Velocity. [m/s]

    Raises
    ------
    OutOfRange
        If the bore is not above 0.

    Source
    ------
    Flow over area.

    Examples
    --------
    >>> round(velocity_m_s(flow_m3_s=1e-4, bore_m=0.02), 3)
    0.318
    """
    return flow_m3_s / (pi / 4.0 * require_range("bore_m", bore_m, 1e-4, 10.0) ** 2)


def wave_speed_m_s(
    *,
    bore_m: float,
    wall_m: float,
    modulus_pa: float = PVC_MODULUS_PA,
) -> float:
    """Speed of a pressure wave in a full elastic pipe.

    Parameters
    ----------
    bore_m : float
        Inside diameter. [m]
    wall_m : float
        Thickness of the wall. [m]
    modulus_pa : float
        Modulus of elasticity of the wall; rigid PVC unless said. [Pa]

    Returns
    -------
    float
        Wave speed. [m/s]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Korteweg (1878): sqrt(K/rho) / sqrt(1 + K D/(E e)), for a thin wall free to move; a thick one is
    a little stiffer, so the true speed in Schedule 40 is some per cent higher.

    Examples
    --------
    1 in Schedule 40 PVC; with a textbook's 2.2 and 2.8 GPa it would be 575 m/s:

    >>> round(wave_speed_m_s(bore_m=0.02614, wall_m=0.00363))
    571
    """
    require_range("bore_m", bore_m, 1e-4, 10.0)
    require_range("wall_m", wall_m, 1e-5, 1.0)
    require_range("modulus_pa", modulus_pa, 1e6, 1e13)
    free_m_s = sqrt(WATER_BULK_PA / WATER_DENSITY_KG_M3)
    return free_m_s / sqrt(1.0 + WATER_BULK_PA * bore_m / (modulus_pa * wall_m))


def there_and_back_s(*, length_m: float, wave_m_s: float) -> float:
    """Time of a pressure wave along the pipe and back; closing faster makes no difference.

    Parameters
    ----------
    length_m : float
        Length of pipe from the valve to the open water or the tap. [m]
    wave_m_s : float
        Wave speed. [m/s]

    Returns
    -------
    float
        Time 2L/c. [s]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Joukowsky (1898).

    Examples
    --------
    >>> round(there_and_back_s(length_m=30.48, wave_m_s=575.0), 2)
    0.11
    """
    require_range("length_m", length_m, 0.0, 1e5)
    return 2.0 * length_m / require_range("wave_m_s", wave_m_s, 10.0, 2000.0)


def surge_head_m(
    *, stopped_m_s: float, wave_m_s: float, length_m: float, closing_s: float = 0.0
) -> float:
    """Rise of head before a closing valve.

    Parameters
    ----------
    stopped_m_s : float
        Velocity in the pipe that the valve stops, 0 to 100. [m/s]
    wave_m_s : float
        Wave speed. [m/s]
    length_m : float
        Length of pipe upstream that moves at that velocity. [m]
    closing_s : float
        Time in which the valve closes; 0 is at once. [s]

    Returns
    -------
    float
        Rise over the standing head. [m]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Notes
    -----
    A valve stops most of the flow in the last part of its travel: count only that time.

    Source
    ------
    Joukowsky (1898), c dV/g, for closing within 2L/c; Michaud (1878), 2 L dV/(g t), for slower
    closing.

    Examples
    --------
    Half a metre a second stopped at once, 575 x 0.5/9.80665; and within a second, 30/9.80665:

    >>> round(surge_head_m(stopped_m_s=0.5, wave_m_s=575.0, length_m=30.0), 1)
    29.3
    >>> round(surge_head_m(stopped_m_s=0.5, wave_m_s=575.0, length_m=30.0, closing_s=1.0), 2)
    3.06
    """
    require_range("stopped_m_s", stopped_m_s, 0.0, 100.0)
    require_range("closing_s", closing_s, 0.0, 1e6)
    at_once_m = wave_m_s * stopped_m_s / GRAVITY_M_S2
    back_s = there_and_back_s(length_m=length_m, wave_m_s=wave_m_s)
    return at_once_m if closing_s <= back_s else at_once_m * back_s / closing_s


def end_force_n(*, head_m: float, diameter_m: float) -> float:
    """Force of static water on the closed end of a pipe.

    Parameters
    ----------
    head_m : float
        Head in the pipe. [m]
    diameter_m : float
        Diameter the water acts on: the bore, or the pipe's outside where water gets in between a
        dry-fitted cap and the pipe. [m]

    Returns
    -------
    float
        Force. [N]

    Raises
    ------
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    Pressure times area.

    Examples
    --------
    Ten metres of water on an end of 2 cm, 97.9 kPa x 3.14 cm2:

    >>> round(end_force_n(head_m=10.0, diameter_m=0.02), 1)
    30.8
    """
    require_range("head_m", head_m, 0.0, 1e4)
    require_range("diameter_m", diameter_m, 1e-4, 10.0)
    return WATER_DENSITY_KG_M3 * GRAVITY_M_S2 * head_m * pi / 4.0 * diameter_m**2


def derating(pipe_temp_c: float) -> float:
    """Factor on the pressure rating of warm PVC pipe.

    Parameters
    ----------
    pipe_temp_c : float
        Temperature of the pipe's wall, -20 to 60. [°C]

    Returns
    -------
    float
        Factor, 1 up to 23 °C. [-]

    Raises
    ------
    OutOfRange
        If the pipe is colder or warmer: above 60 °C PVC is not for pressure.

    Source
    ------
    Makers' lists for PVC 1120, `DERATING_BY_F`; straight lines between (our choice).

    Examples
    --------
    Makers' printed 0.62 at 100 °F:

    >>> round(derating(37.8), 2)
    0.62
    """
    require_range("pipe_temp_c", pipe_temp_c, -20.0, 60.0)
    low_c, factor = c_from_f(DERATING_BY_F[0][0]), 1.0
    for fahrenheit, next_factor in DERATING_BY_F:
        high_c = c_from_f(fahrenheit)
        if pipe_temp_c <= high_c:
            if high_c == low_c:
                return 1.0
            share = (pipe_temp_c - low_c) / (high_c - low_c)
            return factor + share * (next_factor - factor)
        low_c, factor = high_c, next_factor
    return factor


def rated_head_m(label: str, *, pipe_temp_c: float = c_from_f(73.0)) -> float:
    """Maximum working head of a Schedule 40 PVC pipe with glued joints.

    Parameters
    ----------
    label : str
        Nominal size, as "3/4 in".
    pipe_temp_c : float
        Temperature of the pipe's wall, -20 to 60; default 23. [°C]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    InputError
        If the size is not in the table.
    OutOfRange
        If the temperature is out of range.

    Source
    ------
    ASTM D1785, `RATING_PSI`, times `derating`.

    Examples
    --------
    The standard's printed 480 psi, in metres of water:

    >>> round(rated_head_m("3/4 in"))
    338
    """
    if label not in RATING_PSI:
        raise InputError(f'rating: found "{label}"; known are {", ".join(RATING_PSI)}')
    pressure_pa = RATING_PSI[label] * PA_PER_PSI * derating(pipe_temp_c)
    return pressure_pa / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2)
