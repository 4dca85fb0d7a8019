"""All field tests of a garden fitted together: what they say of its holes, valves and supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log, sqrt

from controller.errors import InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.show import show_flow, show_length, show_pressure
from controller.hydraulics.fitted import (
    Contradiction,
    Fitted,
    FittedParameter,
    corrections_for,
    described,
)
from controller.hydraulics.foretold import (
    foretold,
    height_of_m,
    hole_error,
    hole_figures,
    hole_foretold,
    said,
)
from controller.hydraulics.impossible import refuse_impossible
from controller.hydraulics.leastsquares import (
    Matrix,
    Vector,
    covariance_of,
    fitted_unknowns,
    information_of,
    quadratic,
)
from controller.hydraulics.measured import Cups, Gauge, Measurement, Stream
from controller.hydraulics.uncertainty import Neighbours, most_telling_test
from controller.hydraulics.unknowns import THROTTLED_K, Unknown, file_measurements, unknowns_of

# A test further off than this many standard errors contradicts the others.
TOO_FAR = 3.0


def fit(garden: Garden, measurements: Sequence[Measurement]) -> Fitted:
    """Fit all field tests of a garden together; flows in its garden file count among them.

    Nonlinear least squares on the logarithms of the unknowns, each test weighted by its error and
    each unknown held by its prior. The covariance is the linear one at the solution; a test
    contradicts where it lies more than three standard errors from what all the rest say.

    Raises
    ------
    InputError
        If a test is of what is not there, shows what the pressure could not do, or the tests do
        not fit together at all.
    NoSolution
        If a network does not settle.
    """
    tests = [*measurements, *file_measurements(garden)]
    refuse_impossible(garden, tests)
    unknowns = unknowns_of(garden)
    priors = [unknown.prior_error for unknown in unknowns]
    figures = [said(test, garden) for test in tests]
    last: list[tuple[Vector, Neighbours]] = []

    def network(x: Vector) -> Neighbours:
        if not last or last[0][0] != x:
            last[:] = [(list(x), Neighbours(garden, unknowns, x))]
        return last[0][1]

    def residuals(x: Vector) -> Vector:
        here = network(x)
        return [
            (foretold(test, here.lines, here.bore_factor) - value) / error
            for test, (value, error) in zip(tests, figures, strict=True)
        ]

    def slopes(x: Vector) -> Matrix:
        here = network(x)
        return [
            [slope / error for slope in here.test_slopes(test)]
            for test, (_, error) in zip(tests, figures, strict=True)
        ]

    try:
        x = fitted_unknowns(residuals, slopes, priors, [_start(unknown) for unknown in unknowns])
    except NoSolution as error:
        off = [abs(r) for r in residuals(last[0][0])]
        worst = tests[off.index(max(off))].shown if off else "none"
        raise InputError(
            "the field tests do not fit together, whatever the holes, valves and tap are taken to "
            f"be; furthest off is: {worst}; take it back, and do it again"
        ) from error
    told = slopes(x)
    covariance = covariance_of(information_of(told, priors))
    here = network(x)
    apart = [
        _contradiction(garden, test, here, r / sqrt(max(1e-6, 1.0 - quadratic(covariance, g, g))))
        for test, g, r in zip(tests, told, residuals(x), strict=True)
    ]
    odd = [found for test in tests for found in _oddest_hole(garden, test, here)]
    contradictions = [found for found in (*apart, *odd) if abs(found.sigmas) > TOO_FAR]
    parameters = tuple(
        FittedParameter(unknown=unknown, log_factor=value, error=sqrt(covariance[i][i]))
        for i, (unknown, value) in enumerate(zip(unknowns, x, strict=True))
    )
    fitted = Fitted(
        corrections=here.corrections,
        parameters=parameters,
        covariance=tuple(tuple(row) for row in covariance),
        contradictions=tuple(sorted(contradictions, key=lambda found: -abs(found.sigmas))),
        next_test=most_telling_test(here, covariance),
        tests=len(measurements),
        described=described(garden),
    )
    corrections, _ = corrections_for(garden, fitted)
    return replace(fitted, corrections=corrections)


def _start(unknown: Unknown) -> float:
    """Where to begin: at the prior, but a valve that might be shut far does not begin wide open.

    From there no slope shows the way to a small stream; from a small stream one leads back.
    """
    wide = unknown.kind == "valve" and unknown.prior_error > 1.0
    return max(0.0, log(THROTTLED_K / unknown.prior_value)) if wide else 0.0


def _contradiction(
    garden: Garden, test: Measurement, here: Neighbours, sigmas: float
) -> Contradiction:
    value, _ = said(test, garden)
    found = foretold(test, here.lines, here.bore_factor)
    return Contradiction(
        test=test.shown,
        sigmas=-sigmas,
        words=f"{test.shown}: it says {_shown(test, value, garden)}, all tests together "
        f"{_shown(test, found, garden)}: {abs(sigmas):.1f} times what the errors allow for one; "
        "do it again, or look for what was different",
    )


def _oddest_hole(garden: Garden, test: Measurement, here: Neighbours) -> list[Contradiction]:
    """The hole of a test of three or more that stands furthest from the others of that test."""
    apart = [
        a - b
        for a, b in zip(
            hole_figures(test), hole_foretold(test, here.lines, here.bore_factor), strict=True
        )
    ]
    if len(apart) < 3 or not isinstance(test, Cups | Stream):
        return []
    found = []
    for place, number in enumerate(test.holes):
        others = [a for i, a in enumerate(apart) if i != place]
        error = hole_error(test, garden, place) * sqrt(1.0 + 1.0 / len(others))
        sigmas = (apart[place] - sum(others) / len(others)) / error
        found.append(
            Contradiction(
                test=test.shown,
                sigmas=sigmas,
                words=f"{test.shown}: hole {number} gives {'more' if sigmas > 0.0 else 'less'} "
                f"than the other holes of the test would have it, {abs(sigmas):.1f} times what "
                "the errors allow for one; look at its drilling, or whether it is half plugged",
            )
        )
    return [max(found, key=lambda one: abs(one.sigmas))]


def _shown(test: Measurement, figure: float, garden: Garden) -> str:
    if isinstance(test, Gauge):
        return show_pressure(figure, garden.us_units)
    if isinstance(test, Stream):
        return f"streams as of {show_length(height_of_m(figure), garden.us_units)} upward"
    return show_flow(exp(figure), garden.us_units)
