"""A quarter-turn valve: loss coefficient by handle angle, as far as tables go, and unknown."""

from __future__ import annotations

from math import exp, log, pi

from controller.errors import InputError, require_range
from controller.hydraulics.pipe import PIPES

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
# A throttled valve nobody has measured, on 3/4 in pipe before 16 holes of 1/16 in: much, middle and
# little open. On a tap of 50 psi they let 14, 5 and 1.6 L/min through (29 full open), so that the
# middle is within about three times either way. Our choice: from hardly throttled to the small
# stream of a hand valve all but shut.
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
        If it is beyond 65: in the last stretch before shut a few degrees double the flow, and
        nobody can compute it from the handle.

    Source
    ------
    Weisbach's table (`LOSS_K_BY_ANGLE`); between its lines the logarithm of the coefficient is
    interpolated, below 5 degrees the coefficient itself (our choice).
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
    """Loss coefficients of a throttled valve nobody has measured: much, middle and little open.

    Parameters
    ----------
    holes_m2 : float
        Area of all open holes behind it. [m2]
    bore_m : float
        Inside diameter of the pipe whose velocity the coefficient is on. [m]

    Returns
    -------
    tuple of float
        Loss coefficients over that of the open valve, least first; with them each hole gives alike
        whatever their number. [-]

    Raises
    ------
    OutOfRange
        If an area or a diameter is not above 0.

    Source
    ------
    Our choice, see `_UNKNOWN_K`; K grows as pipe area squared over hole area squared, because
    people throttle by the look of the stream.
    """
    require_range("holes_m2", holes_m2, 1e-12, 1.0)
    require_range("bore_m", bore_m, 1e-4, 1.0)
    alike = (_UNKNOWN_HOLES_M2 / holes_m2) ** 2 * (bore_m / _UNKNOWN_BORE_M) ** 4
    low, middle, high = _UNKNOWN_K
    return low * alike, middle * alike, high * alike
