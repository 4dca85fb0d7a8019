"""Open time of a valve from the time at full flow, with its travel, and the smallest useful pulse.

A motorised ball valve takes seconds from shut to open and back. We take its flow to rise and fall
evenly on the way (our choice). That is right in the mean for a throttled row. An open row gets its
flow earlier, so it gets a little too much. So half of each travel counts. Every room that turns
seconds into litres, or litres into seconds, uses these functions.

While a line fills, the holes near its inlet run and those beyond wait. What runs out after the
valve has shut comes mostly from its low end. So a pulse that only fills the line waters only two
spots of a row.
"""

from __future__ import annotations

import math

from controller.garden.model import Watering
from controller.garden.plumbing import Valve
from controller.messages import Message, Quantity, Value

STEP_S = 0.1  # the time step of a relay


def water_s(*, open_s: float, opens_in_s: float, closes_in_s: float) -> float:
    """Time at full flow that gives the same water as one opening of the valve.

    Parameters
    ----------
    open_s : float
        From the command to open until the command to shut. [s]
    opens_in_s : float
        Travel from shut to open, 0 or more. [s]
    closes_in_s : float
        Travel from open to shut, 0 or more. [s]

    Returns
    -------
    float
        0 or more. [s]

    Source
    ------
    Area under a ramp, a level and a ramp. A valve that gets the command to shut while it still
    opens turns round there.

    Examples
    --------
    >>> water_s(open_s=60.0, opens_in_s=10.0, closes_in_s=4.0)
    57.0
    """
    if open_s <= 0.0:
        return 0.0
    if open_s >= opens_in_s:
        return open_s - opens_in_s / 2.0 + closes_in_s / 2.0
    share = open_s / opens_in_s
    return share * (open_s + share * closes_in_s) / 2.0


def water_span_s(*, open_s: float, opens_in_s: float, closes_in_s: float) -> tuple[float, float]:
    """Begin and end of the full flow that gives the same water as one opening of the valve.

    Parameters
    ----------
    open_s : float
        From the command to open until the command to shut. [s]
    opens_in_s : float
        Travel from shut to open, 0 or more. [s]
    closes_in_s : float
        Travel from open to shut, 0 or more. [s]

    Returns
    -------
    tuple of float
        Both from the command to open; `water_s` lies between them. [s]

    Source
    ------
    The middles of the two ramps.

    Examples
    --------
    >>> water_span_s(open_s=60.0, opens_in_s=10.0, closes_in_s=4.0)
    (5.0, 62.0)
    """
    begins_s = min(open_s, opens_in_s) / 2.0
    return begins_s, begins_s + water_s(
        open_s=open_s, opens_in_s=opens_in_s, closes_in_s=closes_in_s
    )


def open_for_s(*, wanted_s: float, opens_in_s: float, closes_in_s: float) -> float:
    """Time from the command to open to the command to shut, for a time at full flow.

    Parameters
    ----------
    wanted_s : float
        Time at full flow, 0 or more. [s]
    opens_in_s : float
        Travel from shut to open, 0 or more. [s]
    closes_in_s : float
        Travel from open to shut, 0 or more. [s]

    Returns
    -------
    float
        Never less than the opening travel, so that no pulse turns round on its way. [s]

    Source
    ------
    The inverse of `water_s`.

    Examples
    --------
    >>> open_for_s(wanted_s=57.0, opens_in_s=10.0, closes_in_s=4.0)
    60.0
    """
    open_s = wanted_s + opens_in_s / 2.0 - closes_in_s / 2.0
    return max(least_open_s(opens_in_s), open_s)


def least_open_s(opens_in_s: float) -> float:
    """Shortest time between the commands to open and to shut: the travel, in whole steps.

    Parameters
    ----------
    opens_in_s : float
        Travel from shut to open, 0 or more. [s]

    Returns
    -------
    float
        At least one step (`STEP_S`). [s]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> least_open_s(7.0), least_open_s(0.0)
    (7.0, 0.1)
    """
    return max(STEP_S, math.ceil(opens_in_s / STEP_S - 1e-9) * STEP_S)


def least_water_s(*, opens_in_s: float, closes_in_s: float) -> float:
    """Time at full flow that gives the water of a valve that opens fully and shuts at once.

    Parameters
    ----------
    opens_in_s : float
        Travel from shut to open, 0 or more. [s]
    closes_in_s : float
        Travel from open to shut, 0 or more. [s]

    Returns
    -------
    float
        0 or more. [s]

    Source
    ------
    The area under the two ramps: half of each travel.

    Examples
    --------
    >>> least_water_s(opens_in_s=10.0, closes_in_s=4.0)
    7.0
    """
    return (opens_in_s + closes_in_s) / 2.0


def shortest_pulse_s(valve: Valve, watering: Watering) -> float:
    """Shortest time that a full line runs in one pulse.

    Parameters
    ----------
    valve : Valve
        Its own `shortest_pulse_s` comes first.
    watering : Watering
        Its `shortest_pulse_s` counts for a valve without its own.

    Returns
    -------
    float
        Time at full flow, never less than `least_water_s` of the valve. [s]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> from controller.garden.plumbing import ValveKind
    >>> slow = Valve(kind=ValveKind.RELAY, relay_line=17, opens_in_s=30.0, closes_in_s=30.0)
    >>> shortest_pulse_s(slow, Watering(windows=(), shortest_pulse_s=20.0))
    30.0
    """
    asked_s = valve.shortest_pulse_s
    return max(
        watering.shortest_pulse_s if asked_s is None else asked_s,
        least_water_s(opens_in_s=valve.opens_in_s, closes_in_s=valve.closes_in_s),
    )


def filling_s(*, line_litres: float, flow_l_s: float) -> float:
    """Time to fill a line at its flow in the open set.

    Parameters
    ----------
    line_litres : float
        What has run out of the line since its last pulse. [L]
    flow_l_s : float
        Flow, above 0. [L/s]

    Returns
    -------
    float
        0 or more. [s]

    Source
    ------
    Volume over flow, as hydraulics/network/filling.py.

    Examples
    --------
    >>> filling_s(line_litres=1.5, flow_l_s=0.1)
    15.0
    """
    return line_litres / flow_l_s


def smallest_pulse_s(
    *,
    line_litres: float,
    flow_l_s: float,
    shortest_pulse_s: float,
    opens_in_s: float = 0.0,
    closes_in_s: float = 0.0,
) -> float:
    """Open time of the smallest useful pulse: it fills the line, then runs the shortest pulse.

    Parameters
    ----------
    line_litres : float
        What has run out of the line since its last pulse. [L]
    flow_l_s : float
        Flow, above 0. [L/s]
    shortest_pulse_s : float
        Shortest time that a full line runs. [s]
    opens_in_s : float
        The valve's travel from shut to open. [s]
    closes_in_s : float
        The valve's travel from open to shut. [s]

    Returns
    -------
    float
        From the command to open until the command to shut. [s]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> smallest_pulse_s(line_litres=1.5, flow_l_s=0.1, shortest_pulse_s=20.0, opens_in_s=10.0,
    ...                  closes_in_s=4.0)
    38.0
    """
    return open_for_s(
        wanted_s=filling_s(line_litres=line_litres, flow_l_s=flow_l_s) + shortest_pulse_s,
        opens_in_s=opens_in_s,
        closes_in_s=closes_in_s,
    )


def why_too_short(
    *,
    even_litres: float,
    line_litres: float,
    flow_l_s: float,
    shortest_pulse_s: float,
    longest_open_s: float,
    longest_window_s: float,
    opens_in_s: float = 0.0,
    closes_in_s: float = 0.0,
) -> Message | None:
    """Why the smallest pulse cannot be given; None if it can."""
    fill_s = filling_s(line_litres=line_litres, flow_l_s=flow_l_s)
    smallest_s = smallest_pulse_s(
        line_litres=line_litres,
        flow_l_s=flow_l_s,
        shortest_pulse_s=shortest_pulse_s,
        opens_in_s=opens_in_s,
        closes_in_s=closes_in_s,
    )
    if longest_open_s >= smallest_s and longest_window_s >= smallest_s + closes_in_s:
        return too_little(even_litres, fill_s, flow_l_s, shortest_pulse_s)
    slow = opens_in_s + closes_in_s > 0.0
    pulse = Message(
        "left.smallest_pulse_slow_valve" if slow else "left.smallest_pulse",
        {
            "smallest": Quantity(smallest_s, "duration"),
            "fill": Quantity(fill_s, "duration"),
            "water": Quantity(shortest_pulse_s, "duration"),
        },
    )
    if longest_open_s < smallest_s:
        longest = Quantity(longest_open_s, "duration")
        return Message("left.open_too_short", {"longest": longest, "pulse": pulse})
    return Message("left.window_too_short", {"pulse": pulse})


def too_little(
    even_litres: float, fill_s: float, flow_l_s: float, shortest_pulse_s: float
) -> Message | None:
    """Why a dose is too small to fill the line for; None if it is large enough."""
    if even_litres / flow_l_s >= shortest_pulse_s - 1e-9:
        return None
    after: Value = ""
    if fill_s > 0.0:
        after = Message("left.after_filling", {"fill": Quantity(fill_s, "duration")})
    return Message("left.too_little", {"seconds": shortest_pulse_s, "after": after})
