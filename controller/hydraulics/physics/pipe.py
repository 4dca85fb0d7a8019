"""Pipe, its fittings and quarter-turn valves: sizes, friction, loss coefficients, viscosity."""

from __future__ import annotations

from collections.abc import Mapping
from math import exp, log, pi
from types import MappingProxyType

from controller.errors import InputError, require_range
from controller.garden.plumbing import Pipe
from controller.units import GRAVITY_M_S2, M_PER_IN

# Roughness of PVC: lists give "smooth" to 1.5e-6 m; at our flows the choice moves nothing. [m]
PVC_ROUGHNESS_M = 1.5e-6

# Our choice: mains water in a growing season is at 10 to 20 °C. At 20 °C the flow of a 60 ft row
# differs by under 1 %, that of a short one by less.
WATER_TEMP_C = 15.0

# ASTM D1785, Schedule 40: outside diameter (exact) and average inside diameter as makers list it;
# walls run up to 0.02 in over the standard's minimum, so it is less than OD - 2 x minimum. [in]
_SCHEDULE_40_IN = {
    "1/2 in": (0.840, 0.602),
    "3/4 in": (1.050, 0.804),
    "1 in": (1.315, 1.029),
    "1-1/4 in": (1.660, 1.360),
    "1-1/2 in": (1.900, 1.590),
    "2 in": (2.375, 2.047),
}

PIPES: Mapping[str, Pipe] = MappingProxyType(
    {
        label: Pipe(
            label=label,
            bore_m=inside_in * M_PER_IN,
            wall_m=(outside_in - inside_in) / 2.0 * M_PER_IN,
            roughness_m=PVC_ROUGHNESS_M,
        )
        for label, (outside_in, inside_in) in _SCHEDULE_40_IN.items()
    }
)

# Swamee and Jain (1976) written with the natural logarithm: f = 0.25 ln(10)^2 / ln(y)^2.
_SWAMEE_JAIN = 0.25 * log(10.0) ** 2
LAMINAR_BELOW = 2000.0
TURBULENT_FROM = 4000.0


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a full round pipe, continuous in value and slope.

    Parameters
    ----------
    reynolds : float
        Reynolds number, above 0 to 1e8. [-]
    relative_roughness : float
        Roughness over inside diameter, 0 to 0.05. [-]

    Returns
    -------
    float
        Darcy friction factor. [-]

    Raises
    ------
    OutOfRange
        If an argument is outside its range, or not a number.

    Source
    ------
    Laminar: Hagen-Poiseuille, 64/Re to Re 2000. Turbulent: Swamee and Jain (1976) from Re 4000.
    Between: the cubic of Dunlop (1991) as in EPANET 2.2, Rossman et al. (2020), Table 12.1 notes;
    constants as in its source, hydcoeffs.c. The ranges are ours.

    Examples
    --------
    Laminar, 64/1600; and smooth pipe at Re 100 000, which a Moody chart gives as 0.018:

    >>> friction_factor(1600.0, 0.0)
    0.04
    >>> round(friction_factor(1e5, 0.0), 4)
    0.0179
    """
    require_range("reynolds", reynolds, 1e-300, 1e8)
    require_range("relative_roughness", relative_roughness, 0.0, 0.05)
    if reynolds < LAMINAR_BELOW:
        return 64.0 / reynolds
    if reynolds >= TURBULENT_FROM:
        y = relative_roughness / 3.7 + 5.74 / reynolds**0.9
        return _SWAMEE_JAIN / log(y) ** 2
    x1, x2, x3, x4 = transition_cubic(relative_roughness)
    r = reynolds / 2000.0
    return x1 + r * (x2 + r * (x3 + r * x4))


def transition_cubic(relative_roughness: float) -> tuple[float, float, float, float]:
    """Coefficients of the friction factor in Re/2000, for Reynolds numbers 2000 to 4000.

    Parameters
    ----------
    relative_roughness : float
        Roughness over inside diameter. [-]

    Returns
    -------
    tuple of float
        Coefficients of the powers 0, 1, 2, 3 of Re/2000. [-]

    Source
    ------
    Dunlop (1991), as in the EPANET 2.2 source, hydcoeffs.c.

    Examples
    --------
    At Re 2000 the powers are all 1, and the sum is 64/2000:

    >>> round(sum(transition_cubic(0.0)), 6)
    0.032
    """
    y2 = relative_roughness / 3.7 + 5.74 / 4000.0**0.9
    y3 = -0.86859 * log(y2)
    fa = y3**-2
    fb = fa * (2.0 - 0.00514215 / (y2 * y3))
    return (
        7.0 * fa - fb,
        0.128 - 17.0 * fa + 2.5 * fb,
        -0.128 + 13.0 * fa - 2.0 * fb,
        0.032 - 3.0 * fa + 0.5 * fb,
    )


def head_loss_m(
    *,
    flow_m3_s: float,
    length_m: float,
    bore_m: float,
    roughness_m: float = PVC_ROUGHNESS_M,
    loss_k: float = 0.0,
    viscosity_m2_s: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Head lost along a full pipe and its fittings; it has the sign of the flow.

    Parameters
    ----------
    flow_m3_s : float
        Flow, positive downstream. [m3/s]
    length_m : float
        Length, 0 or more. [m]
    bore_m : float
        Inside diameter, above 0. [m]
    roughness_m : float
        Roughness of the wall. [m]
    loss_k : float
        Loss coefficient of the fittings, on the velocity head in this pipe. [-]
    viscosity_m2_s : float
        Kinematic viscosity, see `viscosity_m2_s`. [m2/s]
    gravity_m_s2 : float
        Gravity. [m/s2]

    Returns
    -------
    float
        Head lost. [m]

    Raises
    ------
    OutOfRange
        If a length, bore or coefficient is negative, or not a number.

    Source
    ------
    Darcy-Weisbach; friction factor of `friction_factor`.

    Examples
    --------
    Four velocity heads of 0.318 m/s, 4 x 0.318^2/(2 x 9.80665):

    >>> lost_m = head_loss_m(
    ...     flow_m3_s=1e-4, length_m=0.0, bore_m=0.02, loss_k=4.0, viscosity_m2_s=1e-6
    ... )
    >>> round(lost_m, 4)
    0.0207
    """
    require_range("flow_m3_s", flow_m3_s, -1e3, 1e3)
    require_range("length_m", length_m, 0.0, 1e6)
    require_range("bore_m", bore_m, 1e-5, 10.0)
    require_range("loss_k", loss_k, 0.0, 1e30)
    flow = abs(flow_m3_s)
    if flow == 0.0:
        return 0.0
    velocity = flow / (pi / 4.0 * bore_m**2)
    # A trickle below Re 1e-9 is as good as still, and would leave the range of friction_factor.
    reynolds = max(velocity * bore_m / viscosity_m2_s, 1e-9)
    lengths = friction_factor(reynolds, roughness_m / bore_m) * length_m / bore_m
    lost = (lengths + loss_k) * velocity**2 / (2.0 * gravity_m_s2)
    return lost if flow_m3_s > 0.0 else -lost


def viscosity_m2_s(water_temp_c: float = WATER_TEMP_C) -> float:
    """Kinematic viscosity of water at ordinary pressure.

    Parameters
    ----------
    water_temp_c : float
        Water temperature, 0 to 50; default 15 (mains water in a growing season). [°C]

    Returns
    -------
    float
        Kinematic viscosity. [m2/s]

    Raises
    ------
    OutOfRange
        If the temperature is outside 0 to 50 °C, or not a number.

    Source
    ------
    Dynamic viscosity: IAPWS R12-08 (2008), the short equation for liquid water at 0.1 MPa.
    Density: Kell (1975). Coefficients of both from memory; checked at 0 to 30 °C in the tests.

    Examples
    --------
    IAPWS gives 1.0016 mPa s at 20 °C, Kell 998.2 kg/m3: 1.003e-6 m2/s.

    >>> f"{viscosity_m2_s(20.0):.3e}"
    '1.003e-06'
    """
    t = require_range("water_temp_c", water_temp_c, 0.0, 50.0)
    warm = (t + 273.15) / 300.0
    dynamic_pa_s = 1e-6 * (
        280.68 * warm**-1.9 + 511.45 * warm**-7.7 + 61.131 * warm**-19.6 + 0.45903 * warm**-40.0
    )
    density_kg_m3 = (
        999.83952
        + t
        * (
            16.945176
            + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - 280.54253e-12 * t)))
        )
    ) / (1.0 + 16.879850e-3 * t)
    return float(dynamic_pa_s / density_kg_m3)


# Plug cock in a round pipe, degrees from full open: Weisbach's measurements as handbooks reprint
# them; 10, 20, 40 and 60 degrees read in one, the rest from memory. A ball valve is softer
# near open and alike further on.
LOSS_K_BY_ANGLE = (
    (5.0, 0.05),
    (10.0, 0.29),
    (20.0, 1.56),
    (30.0, 5.5),
    (40.0, 17.0),
    (50.0, 53.0),
    (60.0, 206.0),
    (65.0, 486.0),
)
LAST_ANGLE_DEG = LOSS_K_BY_ANGLE[-1][0]
# A throttled valve that nobody has measured, on 3/4 in pipe before 16 holes of 1/16 in: much, half
# and little open. On a tap of 50 psi they pass 14, 5 and 1.6 L/min (29 full open), so the middle is
# right within a factor of about three. Our choice: from hardly throttled to the small stream of a
# hand valve that is almost shut.
_UNKNOWN_K = (1e3, 1e4, 1e5)
_UNKNOWN_HOLES_M2 = 16 * pi / 4.0 * 0.0015875**2
_UNKNOWN_BORE_M = PIPES["3/4 in"].bore_m


def loss_k_at(angle_deg: float) -> float:
    """Loss coefficient of a partly turned quarter-turn valve, on the velocity in its pipe.

    Parameters
    ----------
    angle_deg : float
        Handle's turn from full open, 0 to 65. [deg]

    Returns
    -------
    float
        Loss coefficient, over that of the open valve. [-]

    Raises
    ------
    OutOfRange
        If the angle is not 0 to 90.
    InputError
        If it is beyond 65: near shut a few degrees double the flow, and it cannot be computed from
        the handle.

    Source
    ------
    Weisbach's table (`LOSS_K_BY_ANGLE`); between its lines the logarithm of the coefficient is
    interpolated, below 5 degrees the coefficient itself (our choice).

    Examples
    --------
    Weisbach's printed figure for 20 degrees:

    >>> round(loss_k_at(20.0), 2)
    1.56
    """
    require_range("angle_deg", angle_deg, 0.0, 90.0)
    if angle_deg > LAST_ANGLE_DEG:
        raise InputError(
            f"a handle {angle_deg:g} degrees from open: a flow is not computable near shut (beyond "
            f"{LAST_ANGLE_DEG:g} degrees); measure the flow instead, with only this zone open"
        )
    above = next(i for i, (deg, _) in enumerate(LOSS_K_BY_ANGLE) if angle_deg <= deg)
    high_deg, high_k = LOSS_K_BY_ANGLE[above]
    if above == 0:
        return high_k * angle_deg / high_deg
    low_deg, low_k = LOSS_K_BY_ANGLE[above - 1]
    share = (angle_deg - low_deg) / (high_deg - low_deg)
    return exp(log(low_k) + share * (log(high_k) - log(low_k)))


def unknown_loss_k(*, holes_m2: float, bore_m: float) -> tuple[float, float, float]:
    """Loss coefficients of a throttled valve nobody has measured: much, half and little open.

    Parameters
    ----------
    holes_m2 : float
        Area of all open holes behind it. [m2]
    bore_m : float
        Inside diameter of the pipe whose velocity the coefficient is on. [m]

    Returns
    -------
    tuple of float
        Loss coefficients over that of the open valve, least first; each hole then gives the same
        flow whatever their number. [-]

    Raises
    ------
    OutOfRange
        If an area or a diameter is not above 0.

    Source
    ------
    Our choice, see `_UNKNOWN_K`; K grows as pipe area squared over hole area squared, because
    people throttle by the look of the stream.

    Examples
    --------
    Sixteen holes of 1/16 in on 3/4 in pipe:

    >>> holes_m2 = 16 * pi / 4.0 * 0.0015875**2
    >>> [round(k) for k in unknown_loss_k(holes_m2=holes_m2, bore_m=PIPES["3/4 in"].bore_m)]
    [1000, 10000, 100000]
    """
    require_range("holes_m2", holes_m2, 1e-12, 1.0)
    require_range("bore_m", bore_m, 1e-4, 1.0)
    alike = (_UNKNOWN_HOLES_M2 / holes_m2) ** 2 * (bore_m / _UNKNOWN_BORE_M) ** 4
    low, middle, high = _UNKNOWN_K
    return low * alike, middle * alike, high * alike
