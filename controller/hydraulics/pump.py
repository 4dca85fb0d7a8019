"""A pump, its pressure switch and its tank: what a tank gives between starts, and how often."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.errors import require_range
from controller.garden.model import Pump
from controller.hydraulics.network import SupplyCurve
from controller.units import head_m_from_psi, m_from_ft

# Air's pressure at the sea, and what it loses with height (14.7 psi less 0.53 per 1000 ft: the
# trade's figures for pressure tanks). [m, m/m]
_AIR_HEAD_M = head_m_from_psi(14.7)
_AIR_PER_M = head_m_from_psi(0.53) / m_from_ft(1000.0)
# Steps of the tank's pressure between cut-in and cut-out, and of the search for where a pump that
# never stops settles.
_STEPS, _HALVINGS = 24, 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One round of the pump: it rests while the tank empties, and runs while it fills again."""

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
    """
    require_range("elevation_m", elevation_m, -500.0, 9000.0)
    return _AIR_HEAD_M - _AIR_PER_M * elevation_m


def drawdown_m3(pump: Pump, *, elevation_m: float = 0.0) -> float:
    """What the tank gives between cut-out and cut-in.

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
    """
    air_m = air_head_m(elevation_m)
    gas = pump.tank_m3 * (pump.pre_charge_head_m + air_m)
    return gas * (1.0 / (pump.on_head_m + air_m) - 1.0 / (pump.off_head_m + air_m))


def pump_round(
    pump: Pump, runs: SupplyCurve, takes: Callable[[float], float], *, elevation_m: float = 0.0
) -> Cycle | RunsOn:
    """How a pump goes with lines open that take so much at a head held at the tank.

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
        The times of a round; or, where the lines take all that the pump gives before the tank is
        full, where it settles. A round without end is one of lines that take nothing.

    Raises
    ------
    OutOfRange
        If the height is not -500 to 9000 m.

    Source
    ------
    Balance of the tank: what it gains is what the pump gives less what the lines take, at the head
    that Boyle's law gives its air; integrated over that head by the midpoint rule.
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
    """The head below this one at which the lines take what the pump gives."""
    low_m = 0.0
    for _ in range(_HALVINGS):
        head_m = 0.5 * (low_m + high_m)
        if takes(head_m) >= runs.flow_m3_s(head_m):
            high_m = head_m
        else:
            low_m = head_m
    return RunsOn(head_m=high_m, flow_m3_s=runs.flow_m3_s(high_m))
