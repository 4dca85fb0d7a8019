"""The smallest pulse worth opening a valve for: it fills its line, and then waters for a while.

While a line fills, the holes near its inlet run and those beyond wait; what runs out after the
valve has shut lies mostly at its low end. A pulse that is all filling waters two spots of a row.
"""

from __future__ import annotations

from controller.garden.show import show_duration
from controller.timetable.travel import open_for_s

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
    Volume over flow, as hydraulics/linefill.py.
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
