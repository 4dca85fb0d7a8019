"""The smallest pulse worth opening a valve for, with the valve's travel.

A motorised ball takes seconds from shut to open and back. Its flow is taken to grow and to fade
evenly on the way: our choice, right in the mean for a throttled row, and on the side of too much
for an open one, whose flow comes early. So half of each travel counts. Every room that turns
seconds into litres or back asks here.

While a line fills, the holes near its inlet run and those beyond wait; what runs out after the
valve has shut lies mostly at its low end. A pulse that is all filling waters two spots of a row.
"""

from __future__ import annotations

import math

from controller.garden.model import Watering
from controller.garden.plumbing import Valve
from controller.garden.show import show_duration

STEP_S = 0.1  # what a relay can be asked for


def water_s(*, open_s: float, opens_in_s: float, closes_in_s: float) -> float:
    """Seconds of full flow that a valve passes which is told to open, and to shut again.

    Parameters
    ----------
    open_s : float
        From being told to open until being told to shut. [s]
    opens_in_s : float
        Travel from shut to open. [s]
    closes_in_s : float
        Travel back. [s]

    Returns
    -------
    float
        Time at full flow that gives the same water. [s]

    Source
    ------
    Area under a ramp, a level and a ramp. A valve told to shut on its way turns round there.

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
    """When, after a valve is told to open, its full flow may be taken to begin and to end.

    Parameters
    ----------
    open_s : float
        From being told to open until being told to shut. [s]
    opens_in_s : float
        Travel from shut to open. [s]
    closes_in_s : float
        Travel back. [s]

    Returns
    -------
    tuple of float
        Beginning and end; between them lie `water_s`. [s]

    Source
    ------
    The middles of the two ramps.
    """
    begins_s = min(open_s, opens_in_s) / 2.0
    return begins_s, begins_s + water_s(
        open_s=open_s, opens_in_s=opens_in_s, closes_in_s=closes_in_s
    )


def open_for_s(*, wanted_s: float, opens_in_s: float, closes_in_s: float) -> float:
    """How long to tell a valve to be open for so many seconds of full flow.

    Parameters
    ----------
    wanted_s : float
        Time at full flow. [s]
    opens_in_s : float
        Travel from shut to open. [s]
    closes_in_s : float
        Travel back. [s]

    Returns
    -------
    float
        Time, never less than the opening travel: no pulse turns round on its way. [s]

    Source
    ------
    `water_s` turned round.

    Examples
    --------
    >>> open_for_s(wanted_s=57.0, opens_in_s=10.0, closes_in_s=4.0)
    60.0
    """
    told_s = wanted_s + opens_in_s / 2.0 - closes_in_s / 2.0
    return max(least_told_s(opens_in_s), told_s)


def least_told_s(opens_in_s: float) -> float:
    """The shortest time to tell a valve to be open: its travel, in whole steps.

    Parameters
    ----------
    opens_in_s : float
        Travel from shut to open. [s]

    Returns
    -------
    float
        One step at least. [s]

    Source
    ------
    Our choice.
    """
    return max(STEP_S, math.ceil(opens_in_s / STEP_S - 1e-9) * STEP_S)


def least_water_s(*, opens_in_s: float, closes_in_s: float) -> float:
    """What a valve that opens quite and shuts at once passes.

    Parameters
    ----------
    opens_in_s : float
        Travel from shut to open. [s]
    closes_in_s : float
        Travel back. [s]

    Returns
    -------
    float
        Time at full flow that gives the same water. [s]

    Source
    ------
    Half of each travel.
    """
    return (opens_in_s + closes_in_s) / 2.0


def shortest_pulse_s(valve: Valve, watering: Watering) -> float:
    """How long a full line is to run at least: the valve's own, else the garden's. [s]

    It is never less than its travel alone passes.
    """
    asked_s = valve.shortest_pulse_s
    return max(
        watering.shortest_pulse_s if asked_s is None else asked_s,
        least_water_s(opens_in_s=valve.opens_in_s, closes_in_s=valve.closes_in_s),
    )


# How the reasons begin, for whoever asks what would help.
OPEN_TOO_SHORT = "its valve may be open"
WINDOW_TOO_SHORT = "no window of the day is long enough"
TOO_LITTLE = "it would take less than"


def filling_s(*, line_litres: float, flow_l_s: float) -> float:
    """How long a line takes to fill at the flow it has in the set that is open.

    Parameters
    ----------
    line_litres : float
        What has run out of the line since its last pulse. [L]
    flow_l_s : float
        Flow, above 0. [L/s]

    Returns
    -------
    float
        Time. [s]

    Source
    ------
    Volume over flow, as hydraulics/network/filling.py.
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
    """The shortest time a valve is told to be open: filling its line, then its shortest pulse.

    Parameters
    ----------
    line_litres : float
        What has run out of the line since its last pulse. [L]
    flow_l_s : float
        Flow, above 0. [L/s]
    shortest_pulse_s : float
        How long a full line is to run at least. [s]
    opens_in_s : float
        The valve's travel from shut to open. [s]
    closes_in_s : float
        Its travel back. [s]

    Returns
    -------
    float
        Time. [s]

    Source
    ------
    Our choice.
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
) -> str | None:
    """Why not even the smallest pulse can be given, in a gardener's words; None if it can."""
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
    travels = " beside its valve's travel" if opens_in_s + closes_in_s > 0.0 else ""
    needs = (
        f"its smallest pulse is {show_duration(smallest_s)}, {show_duration(fill_s)} to fill its "
        f"line and {show_duration(shortest_pulse_s)} to water{travels}"
    )
    if longest_open_s < smallest_s:
        return f"{OPEN_TOO_SHORT} {show_duration(longest_open_s)} at most, and {needs}"
    return f"{WINDOW_TOO_SHORT}: {needs}"


def too_little(
    even_litres: float, fill_s: float, flow_l_s: float, shortest_pulse_s: float
) -> str | None:
    """Why so few litres are not worth filling the line for; None if they are."""
    if even_litres / flow_l_s >= shortest_pulse_s - 1e-9:
        return None
    after = f" after filling its line for {show_duration(fill_s)}" if fill_s > 0.0 else ""
    return f"{TOO_LITTLE} {shortest_pulse_s:g} s{after}; it waits until more is missing"
