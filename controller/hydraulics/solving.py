"""One fit of some tests: the unknowns that they touch, and how far each test stays off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from controller.errors import InputError, NoSolution
from controller.garden.model import Garden
from controller.hydraulics.foretold import foretold, said
from controller.hydraulics.leastsquares import (
    Matrix,
    Vector,
    covariance_of,
    fitted_unknowns,
    information_of,
    quadratic,
)
from controller.hydraulics.measured import Measurement
from controller.hydraulics.uncertainty import Neighbours
from controller.hydraulics.unknowns import Unknown, start_of

# A test further off than this many standard errors contradicts the others.
TOO_FAR = 3.0


@dataclass(frozen=True, slots=True)
class Solved:
    """Tests fitted: the unknowns that they touch, and how far each test stays off."""

    garden: Garden
    tests: Sequence[Measurement]
    unknowns: Sequence[Unknown]
    x: Vector
    covariance: Matrix
    here: Neighbours
    off: Vector  # residuals, in standard errors of the test
    free: Vector  # the share of each residual that the unknowns do not take up

    @property
    def cost(self) -> float:
        """Sum of squares, of tests and priors."""
        return sum(r * r for r in self.off) + sum(
            (x / u.prior_error) ** 2 for x, u in zip(self.x, self.unknowns, strict=True)
        )

    @property
    def sigmas(self) -> Vector:
        """Each test against what all the rest says, in standard errors of both."""
        return [r / sqrt(share) for r, share in zip(self.off, self.free, strict=True)]

    @property
    def odd(self) -> list[int]:
        """The tests that contradict the rest."""
        return [i for i, sigmas in enumerate(self.sigmas) if abs(sigmas) > TOO_FAR]


def solve(garden: Garden, tests: Sequence[Measurement], unknowns: Sequence[Unknown]) -> Solved:
    """The unknowns that these tests touch, fitted to them; the others stay at their priors."""
    touched = frozenset().union(*(test.zones for test in tests))
    among = [u for u in unknowns if u.zone is None or u.zone in touched]
    priors = [unknown.prior_error for unknown in among]
    figures = [said(test, garden) for test in tests]
    last: list[tuple[Vector, Neighbours]] = []

    def network(x: Vector) -> Neighbours:
        if not last or last[0][0] != x:
            last[:] = [(list(x), Neighbours(garden, among, x))]
        return last[0][1]

    def residuals(x: Vector) -> Vector:
        here = network(x)
        return [
            (foretold(test, here.lines, here.tried) - value) / error
            for test, (value, error) in zip(tests, figures, strict=True)
        ]

    def slopes(x: Vector) -> Matrix:
        here = network(x)
        return [
            [slope / error for slope in here.test_slopes(test)]
            for test, (_, error) in zip(tests, figures, strict=True)
        ]

    try:
        x = fitted_unknowns(residuals, slopes, priors, [start_of(garden, one) for one in among])
    except NoSolution as error:
        off = [abs(r) for r in residuals(last[0][0])]
        worst = tests[off.index(max(off))].shown if off else "none"
        raise InputError(
            "the field tests do not fit together, whatever the holes, valves and tap are taken to "
            f"be; furthest off is: {worst}; take it back, and do it again"
        ) from error
    told, off = slopes(x), residuals(x)
    covariance = covariance_of(information_of(told, priors))
    return Solved(
        garden=garden,
        tests=tests,
        unknowns=among,
        x=x,
        covariance=covariance,
        here=network(x),
        off=off,
        free=[max(1e-6, 1.0 - quadratic(covariance, g, g)) for g in told],
    )
