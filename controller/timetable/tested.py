"""A garden's lines as its field tests have them: what was fitted, where the file still says so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.corrections import NOTHING_MEASURED, Corrections
from controller.hydraulics.fitted import Fitted, corrections_for, fitted_from_dict
from controller.hydraulics.lines import Lines

# A band is two standard errors: about 95 of 100 true values lie within it.
BAND = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """Lines with what field tests taught; `fitted` is None where nothing was ever tested."""

    lines: Lines
    corrections: Corrections
    fitted: Fitted | None
    remarks: tuple[str, ...]


def tested_lines(garden: Garden, found: Mapping[str, Any] | None) -> Tested:
    """The lines of a garden, with the fit that the logbook keeps as plain values, if any.

    What the garden file describes otherwise than at the time of the tests is left out, and said;
    so is a fit that does not read.
    """
    fitted: Fitted | None = None
    corrections, remarks = NOTHING_MEASURED, tuple[str, ...]()
    if found is not None:
        try:
            fitted = fitted_from_dict(found)
            corrections, remarks = corrections_for(garden, fitted)
        except InputError as fault:
            remarks = (str(fault),)
    return Tested(
        lines=Lines(garden, corrections=corrections),
        corrections=corrections,
        fitted=fitted,
        remarks=tuple(remarks),
    )


class Bands:
    """How sure a flow is, within any set of open zones; asked for one set, kept for all its zones.

    Without field tests the bands are those of the garden file alone, which is wide.
    """

    def __init__(self, garden: Garden, fitted: Fitted | None) -> None:
        # The fit is needed on this path only; the daemon comes here only where there is a meter.
        from controller.hydraulics.fit import fit

        self._garden = garden
        self._fitted = fitted if fitted is not None else fit(garden, [])
        self._known: dict[frozenset[str], Mapping[str, float]] = {}

    def error(self, zone: str, together: Iterable[str] = ()) -> float:
        """Relative standard error of a zone's flow with these others open. [-]"""
        from controller.hydraulics.uncertainty import flow_uncertainty

        opened = frozenset((zone, *together))
        if opened not in self._known:
            self._known[opened] = flow_uncertainty(self._garden, self._fitted, opened)
        return self._known[opened][zone]

    def total_error(self, together: Iterable[str]) -> float:
        """Relative standard error of what all of these zones, open together, take from the tap. [-]

        Not kept: who asks often keeps it.
        """
        from controller.hydraulics.uncertainty import total_uncertainty

        return total_uncertainty(self._garden, self._fitted, together)

    @property
    def next_test(self) -> str | None:
        """The field test that would narrow the flows most, in words."""
        test = self._fitted.next_test
        if test is None:
            return None
        return (
            f"{test.words} (the flows are known to about {100 * BAND * test.before:.0f} %; it "
            f"would make that {100 * BAND * test.after:.0f} %)"
        )
