"""Rain that runs off the bed instead of soaking in."""

from __future__ import annotations

from controller.errors import require_range

INITIAL_SHARE = 0.2  # of the storage, filled before anything runs off: NEH 630, chapter 10


def runoff_mm(*, rain_mm: float, curve_number: float) -> float:
    """What of a day's rain runs off, by the curve number of the ground.

    Parameters
    ----------
    rain_mm : float
        The day's rain, 0 to 2000. [mm]
    curve_number : float
        1 to 100; higher sheds more. Flat mulched beds have 60 to 75, compacted clay 80 to 90.

    Returns
    -------
    float
        From 0 to `rain_mm`. [mm]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    Made for a storm and for fields. Neither the wetness before (which moves the number) nor the
    length of the storm is asked for; nor is snow.

    Source
    ------
    NRCS National Engineering Handbook, part 630, chapter 10, in millimetres (from memory): storage
    S = 25400 / CN - 254; Q = (P - 0.2 S)^2 / (P + 0.8 S) where P is above 0.2 S, else 0.

    Examples
    --------
    >>> round(runoff_mm(rain_mm=50.0, curve_number=75.0), 2)
    9.29
    """
    require_range("rain_mm", rain_mm, 0.0, 2000.0)
    require_range("curve_number", curve_number, 1.0, 100.0)
    storage_mm = 25400.0 / curve_number - 254.0
    beyond_mm = rain_mm - INITIAL_SHARE * storage_mm
    if beyond_mm <= 0.0:
        return 0.0
    # The share first: so rounding never lets more run off than fell.
    return beyond_mm * (beyond_mm / (beyond_mm + storage_mm))
