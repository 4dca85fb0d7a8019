"""A valve's travel in a dose: while it opens and shuts, its flow ramps.

A motorised ball takes seconds from shut to open and back. Its flow is taken to grow and to fade
evenly on the way: our choice, right in the mean for a throttled row, and on the side of too much
for an open one, whose flow comes early. So half of each travel counts. Every room that turns
seconds into litres or back asks here.
"""

from __future__ import annotations

import math

from controller.garden.model import Valve, Watering

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
