"""A garden's lines, calibrated by its field tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.calibration.kept_tests import kept_measurements
from controller.hydraulics.calibration.result import (
    Fitted,
    corrections_for,
    fitted_from_dict,
    is_of_an_older_edition,
    older_corrections,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED, Corrections
from controller.messages import Message, Quantity, verbatim

if TYPE_CHECKING:
    from controller.hydraulics.calibration.uncertainty import FlowErrors


# A band is two standard errors: about 95 of 100 true values lie in it.
BAND = 2.0
# A smaller change of a flow by a new fit gives no remark.
_MOVED = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """Calibrated lines; `fitted` is None if there were no field tests.

    `refitted` says that the tests had a fit of an older Rowgate and were fitted again just now; the
    caller stores the new fit.
    """

    lines: Lines
    corrections: Corrections
    fitted: Fitted | None
    remarks: tuple[Message, ...]
    refitted: bool = False

    @property
    def warnings(self) -> tuple[Message, ...]:
        """Warnings of the tests; plans repeat them until they are solved."""
        return () if self.fitted is None else self.fitted.warnings


def calibrated_lines(
    garden: Garden,
    found: Mapping[str, Any] | None,
    tests: Iterable[Mapping[str, Any]] = (),
    *,
    propose: bool = True,
) -> Calibrated:
    """The lines of a garden, with the fit stored in the logbook, if any.

    Parts of the garden file that differ from the time of the tests get no correction, and a remark.
    So does a fit that cannot be read. A fit of an older edition is repeated from the `tests` in the
    logbook, with a remark on how far the flows changed; without `propose` no next test is sought.
    """
    fitted: Fitted | None = None
    corrections, remarks = NOTHING_MEASURED, tuple[Message, ...]()
    refitted = False
    if found is not None:
        try:
            refitted = is_of_an_older_edition(found)
            fitted = _refitted(garden, tests, propose) if refitted else fitted_from_dict(found)
            corrections, remarks = corrections_for(garden, fitted)
        except InputError as fault:
            refitted, remarks = False, (verbatim(str(fault)),)
        if refitted:
            remarks = (_moved(garden, older_corrections(found), corrections), *remarks)
    return Calibrated(
        lines=Lines(garden, corrections=corrections),
        corrections=corrections,
        fitted=fitted,
        remarks=remarks,
        refitted=refitted,
    )


def _refitted(garden: Garden, tests: Iterable[Mapping[str, Any]], propose: bool) -> Fitted:
    """The tests in the logbook, fitted by this edition."""
    from controller.hydraulics.calibration.fit import fit

    return fit(garden, kept_measurements(tests, garden)[0], propose=propose)


def _moved(garden: Garden, before: Corrections, now: Corrections) -> Message:
    """Remark on how far a new fit changed the flows, each zone alone."""
    old, new = Lines(garden, corrections=before), Lines(garden, corrections=now)
    moved: list[Message] = []
    for zone in garden.zones:
        alone = frozenset((zone.name,))
        try:
            was, is_now = (lines.zone_flows(alone)[zone.name] for lines in (old, new))
        except InputError:
            continue  # a valve that nobody measured
        if abs(is_now - was) > _MOVED * max(was, is_now):
            then, after = Quantity(was, "flow"), Quantity(is_now, "flow")
            moved.append(Message("fit.moved", {"zone": zone.name, "before": then, "now": after}))
    unmoved = Message("fit.unmoved", {"share": Quantity(_MOVED, "percent")})
    return Message("fit.anew", {"flows": tuple(moved) or (unmoved,)})


class Bands:
    """The uncertainty of flows, within any set of open zones; each set is computed once.

    Without field tests the bands are those of the garden file alone, which are wide.
    """

    def __init__(self, garden: Garden, fitted: Fitted | None) -> None:
        # Only this path needs the fit; the daemon uses it only with a meter.
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
        """Relative standard error of the total flow of these zones, open together. [-]

        It is not cached here.
        """
        return self._errors().total(together)

    def _errors(self) -> FlowErrors:
        """The errors of any set; their networks are built once."""
        from controller.hydraulics.calibration.uncertainty import FlowErrors

        if self._flow_errors is None:
            self._flow_errors = FlowErrors(self._garden, self._fitted)
        return self._flow_errors

    @property
    def next_test(self) -> Message | None:
        """The field test that would narrow the bands most; or that no test is needed."""
        from controller.hydraulics.calibration.fit import fit

        if self._untested:
            self._fitted, self._untested = fit(self._garden, []), False
        test = self._fitted.next_test
        if test is None:
            return None
        now = Quantity(BAND * test.before, "percent")
        if test.enough:
            return Message("next.none_needed", {"now": now})
        then = Quantity(BAND * test.after, "percent")
        return Message("next.would_tell", {"test": test.message, "now": now, "then": then})
