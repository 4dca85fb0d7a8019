"""The supply as a curve: mains, a barrel at three of its levels, or behind a pressure regulator.

A barrel's head falls while it runs. Flows are reckoned at the middle of its fall, and the flows at
its start and end tell how far they may be off. A regulator's curve starts at the pressure it is set
to and falls, through the flow test made behind it, far less than the mains would.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.errors import require_range
from controller.garden.model import Supply, SupplyKind
from controller.hydraulics.network import SupplyCurve


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyStates:
    """The curves at the start, the middle and the end of a barrel's fall; else one curve thrice."""

    start: SupplyCurve
    middle: SupplyCurve
    end: SupplyCurve


def supply_states(supply: Supply, measured: SupplyCurve | None = None) -> SupplyStates:
    """What the tap gives while the supply is fresh, half used, and at its lowest.

    Parameters
    ----------
    supply : Supply
        The garden's supply. The flow test of a barrel was made at its full level.
    measured : SupplyCurve, optional
        What field tests put in the place of its curve: the middle, where it has one. A barrel's
        start and end then have its loss by flow, from the levels the garden file says.

    Returns
    -------
    SupplyStates
        Curves of head against flow. A barrel's three have the same loss by flow, and start from
        the level when full, from the middle between, and from the level it falls to.

    Raises
    ------
    InputError
        If the flow test reads no less pressure than the still tap.
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    The head of a still barrel is its level; common practice, no source. The end is taken no lower
    than 1 mm above the tap, for a tap with no head has no curve.
    """
    full = measured or SupplyCurve(
        static_head_m=supply.static_head_m,
        test_head_m=supply.test_head_m,
        test_flow_m3_s=supply.test_flow_m3_s,
        exponent=supply.exponent,
    )
    if supply.kind is not SupplyKind.BARREL:
        return SupplyStates(start=full, middle=full, end=full)
    lowest_m = supply.falls_to_m or 0.0
    return SupplyStates(
        start=full if measured is None else at_level(measured, supply.static_head_m),
        middle=measured or at_level(full, 0.5 * (supply.static_head_m + lowest_m)),
        end=at_level(full, max(lowest_m, 1e-3)),
    )


def at_level(curve: SupplyCurve, level_m: float) -> SupplyCurve:
    """The same pipes and tap with the water at another level.

    Parameters
    ----------
    curve : SupplyCurve
        The curve at the level of its test.
    level_m : float
        Level of the water above the tap. [m]

    Returns
    -------
    SupplyCurve
        From that level down, with the same loss by flow.

    Raises
    ------
    OutOfRange
        If the level is not above 0.

    Source
    ------
    What tap and pipes lose depends on the flow alone.
    """
    require_range("level_m", level_m, 1e-6, 1000.0)
    return SupplyCurve(
        static_head_m=level_m,
        test_head_m=0.0,
        test_flow_m3_s=(level_m / curve.k) ** (1.0 / curve.exponent),
        exponent=curve.exponent,
    )


def planning_curve(supply: Supply) -> SupplyCurve:
    """The curve flows are reckoned with: a barrel's at the middle of its fall.

    Parameters
    ----------
    supply : Supply
        The garden's supply.

    Returns
    -------
    SupplyCurve
        Head against flow.

    Raises
    ------
    InputError
        As `supply_states`.

    Source
    ------
    As `supply_states`.
    """
    return supply_states(supply).middle
