"""The supply as a curve: mains, a barrel, a pressure regulator, or a pump with its tank.

Every kind becomes one falling curve of head against flow. A regulator holds its set pressure, which
falls a little with the flow, up to its drop-out; beyond that the mains before it hold. A pump's
tank stays about the middle of the switch pressures, up to the flow at which the pump runs without a
pause; beyond that the pump's own curve holds.

Some supplies rise and fall: a barrel with its level, a pump's tank between cut-in and cut-out.
Flows are computed at the middle; those at both ends give their range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

from controller.errors import require_range
from controller.garden.plumbing import Pump, Supply, SupplyKind
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.units import head_m_from_psi, m_from_ft

# Pressure of the air at sea level, and its fall with height (14.7 psi less 0.53 per 1000 ft: the
# trade's figures for pressure tanks). [m, m/m]
_AIR_HEAD_M = head_m_from_psi(14.7)
_AIR_PER_M = head_m_from_psi(0.53) / m_from_ft(1000.0)
# Steps of the tank's pressure between cut-in and cut-out, and of the search for the point at which
# a pump that never stops settles.
_STEPS, _HALVINGS = 24, 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One cycle of the pump: it rests while the tank empties, and runs while it fills again."""

    rests_s: float
    runs_s: float

    @property
    def every_s(self) -> float:
        """Time from start to start. [s]"""
        return self.rests_s + self.runs_s


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsOn:
    """A pump that never stops: the head and the flow at which it settles. [m, m3/s]"""

    head_m: float
    flow_m3_s: float


def air_head_m(elevation_m: float) -> float:
    """Pressure of the open air, as head of water. [m]

    Parameters
    ----------
    elevation_m : float
        Height above the sea. [m]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    OutOfRange
        If the height is not -500 to 9000 m.

    Source
    ------
    14.7 psi at the sea, 0.53 psi less per 1000 ft; trade figures for pressure tanks, from memory.

    Examples
    --------
    14.7 psi at the sea, and 1.74 psi less 1000 m up, in metres of water:

    >>> round(air_head_m(0.0), 2), round(air_head_m(1000.0), 2)
    (10.35, 9.13)
    """
    require_range("elevation_m", elevation_m, -500.0, 9000.0)
    return _AIR_HEAD_M - _AIR_PER_M * elevation_m


def drawdown_m3(pump: Pump, *, elevation_m: float = 0.0) -> float:
    """Water that the tank gives between cut-out and cut-in.

    Parameters
    ----------
    pump : Pump
        The switch pressures, the tank's volume and its pre-charge.
    elevation_m : float
        Height above the sea. [m]

    Returns
    -------
    float
        Volume of water. [m3]

    Raises
    ------
    OutOfRange
        If the height is not -500 to 9000 m.

    Source
    ------
    Boyle's law: Vt (p_pre + pa) (1/(p_on + pa) - 1/(p_off + pa)).

    Examples
    --------
    A trade journal prints 25.1 gal for a tank of 85 gal at 28 psi, switched at 30 and 50 psi:

    >>> psi_m, gal_m3 = 0.70307, 0.00378541
    >>> tank = Pump(
    ...     on_head_m=30 * psi_m, off_head_m=50 * psi_m, tank_m3=85 * gal_m3,
    ...     pre_charge_head_m=28 * psi_m, shut_off_head_m=62 * psi_m,
    ... )
    >>> round(drawdown_m3(tank) / gal_m3, 1)
    25.1
    """
    air_m = air_head_m(elevation_m)
    gas = pump.tank_m3 * (pump.pre_charge_head_m + air_m)
    return gas * (1.0 / (pump.on_head_m + air_m) - 1.0 / (pump.off_head_m + air_m))


def pump_round(
    pump: Pump, runs: SupplyCurve, takes: Callable[[float], float], *, elevation_m: float = 0.0
) -> Cycle | RunsOn:
    """The cycle of a pump with lines open, whose flow depends on the head at the tank.

    Parameters
    ----------
    pump : Pump
        The pump, its switch and its tank.
    runs : SupplyCurve
        The pump's own curve while it runs.
    takes : callable
        Flow of the open lines at a head of the tank; it rises with the head. [m -> m3/s]
    elevation_m : float
        Height above the sea. [m]

    Returns
    -------
    Cycle or RunsOn
        The times of a cycle; or the point at which the pump settles, where the lines take all it
        gives before the tank is full. Lines that take nothing have an infinite cycle.

    Raises
    ------
    OutOfRange
        If the height is not -500 to 9000 m.

    Source
    ------
    Balance of the tank: it gains the pump's flow less the lines' flow, at the head of its air by
    Boyle's law; integrated over that head by the midpoint rule.
    """
    on_m, off_m = pump.on_head_m, pump.off_head_m
    if takes(off_m) >= runs.flow_m3_s(off_m):
        return _settles(off_m, runs, takes)
    air_m = air_head_m(elevation_m)
    gas = pump.tank_m3 * (pump.pre_charge_head_m + air_m)
    step_m = (off_m - on_m) / _STEPS
    rests_s = runs_s = 0.0
    for i in range(_STEPS):
        head_m = on_m + (i + 0.5) * step_m
        taken, given = takes(head_m), runs.flow_m3_s(head_m)
        if taken <= 0.0:
            return Cycle(rests_s=float("inf"), runs_s=0.0)
        if given <= taken:
            return _settles(head_m, runs, takes)
        held_m3 = gas * step_m / (head_m + air_m) ** 2
        rests_s += held_m3 / taken
        runs_s += held_m3 / (given - taken)
    return Cycle(rests_s=rests_s, runs_s=runs_s)


def _settles(high_m: float, runs: SupplyCurve, takes: Callable[[float], float]) -> RunsOn:
    """The head, below this one, at which the lines take all that the pump gives."""
    low_m = 0.0
    for _ in range(_HALVINGS):
        head_m = 0.5 * (low_m + high_m)
        if takes(head_m) >= runs.flow_m3_s(head_m):
            high_m = head_m
        else:
            low_m = head_m
    return RunsOn(head_m=high_m, flow_m3_s=runs.flow_m3_s(high_m))


# A regulator whose fall nobody measured: the garden file's default (supply.py) is the middle; the
# fall may be less or more by this share of it (0 to 40 % about 20 %; our choice).
_LEAST_FALL, _MOST_FALL = 1e-3, 2.0
# Loss at 1 m3/s of a curve that holds its head at any flow. [m]
_HELD_LOSES_M = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyStates:
    """The curves a supply moves between: at its highest, in the middle, at its lowest.

    The start, the middle and the end of a barrel's fall; a pump's tank at cut-out, half-way and at
    cut-in; an untested regulator with no fall, the assumed fall, and twice that. A steady supply
    has the same curve three times.
    """

    start: SupplyCurve
    middle: SupplyCurve
    end: SupplyCurve


def supply_states(supply: Supply, measured: SupplyCurve | None = None) -> SupplyStates:
    """Curves of the tap with the supply at its highest, half-way, and at its lowest.

    Parameters
    ----------
    supply : Supply
        The garden's supply. The flow test of a barrel was made at its full level.
    measured : SupplyCurve, optional
        The curve found by field tests, where there is one: it replaces the middle. Start and end
        then have its loss by flow, from the levels or switch pressures of the garden file.

    Returns
    -------
    SupplyStates
        Curves of head against flow. A barrel's three curves have the same loss by flow, and start
        from the full level, the middle and the lowest level. A pump's curves hold the heads at
        cut-out, half-way and cut-in; the last two are limited by the pump's own curve, while a full
        tank gives its head without the pump.

    Raises
    ------
    InputError
        If the flow test reads no less pressure than the still tap.
    OutOfRange
        If a figure is outside its range.

    Source
    ------
    The head of a still barrel is its level; common practice, no source. The end is at least 1 mm
    above the tap, because a tap without head has no curve. A regulator's fall is nearly linear in
    the flow (from memory); it drops out where that line meets the head that mains and open
    regulator leave. A pump and tank are the steady min(middle pressure, pump curve): our choice; a
    simulated cycle agrees within 2 % except near balance (tests/published/test_supplies.py).
    """
    if supply.kind is SupplyKind.BARREL:
        full = measured or _tested(supply, supply.static_head_m)
        lowest_m = supply.falls_to_m or 0.0
        return SupplyStates(
            start=full if measured is None else at_level(measured, supply.static_head_m),
            middle=measured or at_level(full, 0.5 * (supply.static_head_m + lowest_m)),
            end=at_level(full, max(lowest_m, 1e-3)),
        )
    if supply.pump is not None:
        pump = supply.pump
        runs = _tested(supply, pump.shut_off_head_m)
        if measured is not None and measured.limit is not None:
            runs = measured.limit
        return SupplyStates(
            start=held(pump.off_head_m),
            middle=measured or held(min(supply.static_head_m, pump.shut_off_head_m), runs),
            end=held(pump.on_head_m, runs),
        )
    curve = measured or _tested(supply, supply.static_head_m, _before_regulator(supply))
    if measured is not None or not supply.test_assumed:
        return SupplyStates(start=curve, middle=curve, end=curve)
    fall_m = supply.static_head_m - supply.test_head_m
    least, most = (
        replace(curve, test_head_m=supply.static_head_m - share * fall_m)
        for share in (_LEAST_FALL, _MOST_FALL)
    )
    return SupplyStates(start=least, middle=curve, end=most)


def held(head_m: float, limit: SupplyCurve | None = None) -> SupplyCurve:
    """A head that is held at any flow, up to a limit.

    Parameters
    ----------
    head_m : float
        The head. [m]
    limit : SupplyCurve, optional
        A falling curve that starts at least as high.

    Returns
    -------
    SupplyCurve
        That head, less a micrometre at 1 m3/s.

    Raises
    ------
    OutOfRange
        If the head is not above 0.
    InputError
        If the limit starts lower.

    Source
    ------
    The definition above.
    """
    require_range("head_m", head_m, 1e-3, 1000.0)
    return SupplyCurve(
        static_head_m=head_m, test_head_m=head_m - _HELD_LOSES_M, test_flow_m3_s=1.0, limit=limit
    )


def with_readings(supply: Supply, *, static_head_m: float, test_flow_m3_s: float) -> Supply:
    """The supply as if its gauge had read another still head, and its test another flow.

    Parameters
    ----------
    supply : Supply
        The garden's supply.
    static_head_m : float
        Head of the still tap. Every other head read scales with it, except a pump's, whose tank
        stands anywhere between cut-in and cut-out. [m]
    test_flow_m3_s : float
        Flow of the flow test. [m3/s]

    Returns
    -------
    Supply
        The same supply with these two changed.

    Source
    ------
    One gauge reads all heads of a supply, still and flowing.
    """
    before, gauge = supply.before, static_head_m / supply.static_head_m
    if supply.pump is not None:
        return replace(supply, static_head_m=static_head_m, test_flow_m3_s=test_flow_m3_s)
    return replace(
        supply,
        static_head_m=static_head_m,
        test_head_m=supply.test_head_m * gauge,
        test_flow_m3_s=test_flow_m3_s,
        before=before
        and replace(
            before,
            static_head_m=before.static_head_m * gauge,
            test_head_m=before.test_head_m * gauge,
            open_loss_m=before.open_loss_m * gauge,
        ),
    )


def _tested(supply: Supply, still_m: float, limit: SupplyCurve | None = None) -> SupplyCurve:
    """Curve from a still head through the point of the flow test."""
    return SupplyCurve(
        static_head_m=still_m,
        test_head_m=supply.test_head_m,
        test_flow_m3_s=supply.test_flow_m3_s,
        exponent=supply.exponent,
        limit=limit,
    )


def _before_regulator(supply: Supply) -> SupplyCurve | None:
    """Curve of the mains behind a wide open regulator; None where nobody tested them."""
    before = supply.before
    if before is None or before.test_flow_m3_s is None:
        return None
    pipes_k = (before.static_head_m - before.test_head_m) / before.test_flow_m3_s**2
    open_k = before.open_loss_m / before.open_flow_m3_s**2
    return SupplyCurve(
        static_head_m=before.static_head_m,
        test_head_m=0.0,
        test_flow_m3_s=sqrt(before.static_head_m / (pipes_k + open_k)),
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
        Curve from that level, with the same loss by flow.

    Raises
    ------
    OutOfRange
        If the level is not above 0.

    Source
    ------
    The loss of tap and pipes depends only on the flow.
    """
    require_range("level_m", level_m, 1e-6, 1000.0)
    return SupplyCurve(
        static_head_m=level_m,
        test_head_m=0.0,
        test_flow_m3_s=(level_m / curve.k) ** (1.0 / curve.exponent),
        exponent=curve.exponent,
    )


def planning_curve(supply: Supply) -> SupplyCurve:
    """The curve that plans use: for a barrel, the one at the middle of its fall.

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
