"""A quarter-turn valve: loss coefficient by handle angle, as far as tables go, and unknown."""

from __future__ import annotations

from math import exp, log

from controller.errors import InputError, require_range

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
# A throttled valve nobody has measured: low, middle and high. One row of 16 holes of 1/16 in gives
# 14, 5 and 1.6 L/min with them on a tap of 50 psi (29 full open): about a third to three times the
# middle. Our choice: from hardly throttled to the small stream of a hand valve all but shut.
UNKNOWN_K = (1e3, 1e4, 1e5)


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
