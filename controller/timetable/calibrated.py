"""A garden's lines as its field tests have them: what was fitted, where the file still says so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller.errors import InputError
from controller.garden.model import Garden
from controller.garden.show import show_flow
from controller.hydraulics.calibration.kept_tests import kept_measurements
from controller.hydraulics.calibration.result import (
    Fitted,
    corrections_for,
    fitted_from_dict,
    is_of_an_older_edition,
    older_corrections,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.spans import NOTHING_MEASURED, Corrections

if TYPE_CHECKING:
    from controller.hydraulics.calibration.uncertainty import FlowErrors


# A band is two standard errors: about 95 of 100 true values lie within it.
BAND = 2.0
# A flow that a new fit moves by less is not worth a word.
_MOVED = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """Lines with what field tests taught; `fitted` is None where nothing was ever tested.

    `anew` says that the fit was made just now, from tests fitted by an older Rowgate; keep it.
    """

    lines: Lines
    corrections: Corrections
    fitted: Fitted | None
    remarks: tuple[str, ...]
    refitted: bool = False

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the tests found amiss, to stand in plans until it is solved."""
        return () if self.fitted is None else self.fitted.warnings


def calibrated_lines(
    garden: Garden,
    found: Mapping[str, Any] | None,
    tests: Iterable[Mapping[str, Any]] = (),
    *,
    propose: bool = True,
) -> Calibrated:
    """The lines of a garden, with the fit that the logbook keeps as plain values, if any.

    What the garden file describes otherwise than at the time of the tests is left out, and said;
    so is a fit that does not read. One of an older edition is made anew from the tests as the
    logbook keeps them, and how far the flows moved is said; without `propose` no next test is
    looked for then.
    """
    fitted: Fitted | None = None
    corrections, remarks = NOTHING_MEASURED, tuple[str, ...]()
    refitted = False
    if found is not None:
        try:
            refitted = is_of_an_older_edition(found)
            fitted = _refitted(garden, tests, propose) if refitted else fitted_from_dict(found)
            corrections, remarks = corrections_for(garden, fitted)
        except InputError as fault:
            refitted, remarks = False, (str(fault),)
        if refitted:
            remarks = (*_moved(garden, older_corrections(found), corrections), *remarks)
    return Calibrated(
        lines=Lines(garden, corrections=corrections),
        corrections=corrections,
        fitted=fitted,
        remarks=tuple(remarks),
        refitted=refitted,
    )


def _refitted(garden: Garden, tests: Iterable[Mapping[str, Any]], propose: bool) -> Fitted:
    """The tests that the logbook keeps, fitted by this edition."""
    from controller.hydraulics.calibration.fit import fit

    return fit(garden, kept_measurements(tests, garden)[0], propose=propose)


def _moved(garden: Garden, before: Corrections, now: Corrections) -> tuple[str, ...]:
    """How far a new fit moved the flows, each zone alone."""
    old, new = Lines(garden, corrections=before), Lines(garden, corrections=now)
    moved = []
    for zone in garden.zones:
        alone = frozenset((zone.name,))
        try:
            was, is_now = (lines.zone_flows(alone)[zone.name] for lines in (old, new))
        except InputError:
            continue  # a valve that nobody measured
        if abs(is_now - was) > _MOVED * max(was, is_now):
            shown = [show_flow(flow, garden.us_units) for flow in (was, is_now)]
            moved.append(f'"{zone.name}" {shown[0]} before, {shown[1]} now')
    return (
        "fitted anew, as this Rowgate does it: "
        + ("; ".join(moved) if moved else "no flow moves by more than 1 %"),
    )


class Bands:
    """How sure a flow is, within any set of open zones; asked for one set, kept for all its zones.

    Without field tests the bands are those of the garden file alone, which is wide.
    """

    def __init__(self, garden: Garden, fitted: Fitted | None) -> None:
        # The fit is needed on this path only; the daemon comes here only where there is a meter.
        from controller.hydraulics.calibration.fit import fit

        self._garden = garden
        self._untested = fitted is None
        self._fitted = fitted if fitted is not None else fit(garden, [], propose=False)
        self._known: dict[frozenset[str], Mapping[str, float]] = {}
        self._flow_errors: FlowErrors | None = None

    def error(self, zone: str, together: Iterable[str] = ()) -> float:
        """Relative standard error of a zone's flow with these others open. [-]"""
        opened = frozenset((zone, *together))
        if opened not in self._known:
            self._known[opened] = self._errors().of_zones(opened)
        return self._known[opened][zone]

    def total_error(self, together: Iterable[str]) -> float:
        """Relative standard error of what all of these zones, open together, take from the tap. [-]

        Not kept: who asks often keeps it.
        """
        return self._errors().total(together)

    def _errors(self) -> FlowErrors:
        """The errors of any set, from networks that are built once."""
        from controller.hydraulics.calibration.uncertainty import FlowErrors

        if self._flow_errors is None:
            self._flow_errors = FlowErrors(self._garden, self._fitted)
        return self._flow_errors

    @property
    def next_test(self) -> str | None:
        """The field test that would narrow the flows most, in words; or that it is enough."""
        from controller.hydraulics.calibration.fit import fit

        if self._untested:
            self._fitted, self._untested = fit(self._garden, []), False
        test = self._fitted.next_test
        if test is None:
            return None
        if test.enough:
            return (
                f"none is needed: the flows are known to about {100 * BAND * test.before:.0f} %, "
                "and another test would tell little more"
            )
        return (
            f"{test.words} (the flows are known to about {100 * BAND * test.before:.0f} %; it "
            f"would make that {100 * BAND * test.after:.0f} %)"
        )
