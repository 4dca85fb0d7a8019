"""Nonlinear least squares with priors, on small dense matrices in plain Python."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt

from controller.errors import NoSolution

Vector = list[float]
Matrix = list[list[float]]
# A step of more natural-log units than this leaves the range in which the slopes hold. Our choice.
_LONGEST_STEP = 2.0
# The fit ends where a full step promises a smaller fall of the sum of squares than this: one ten
# thousandth of a standard error is close enough.
_CLOSE_ENOUGH = 1e-8
_MOST_STEPS = 300
# Where no step helps and the promised fall is this small, the rest is rounding in the network.
_MOST_DAMPING, _ROUNDING = 1e12, 1e-3
# A step that gave less than the first share of the promised fall was too long, above the second too
# short.
_TOO_BOLD, _TOO_TIMID = 0.25, 0.75


def fitted_unknowns(
    residuals: Callable[[Vector], Vector],
    slopes: Callable[[Vector], Matrix],
    prior_errors: Sequence[float],
    start: Sequence[float],
) -> Vector:
    """The unknowns with the least sum of squares of residuals and of departures from the priors.

    `residuals` are in standard errors; `slopes` has a row for each residual. Priors stand at 0,
    with `prior_errors`. Levenberg's damping.
    """
    n = len(prior_errors)
    x = list(start)
    r = residuals(x)
    cost, damping, promised = _cost(r, x, prior_errors), 0.0, 0.0
    for _ in range(_MOST_STEPS):
        j = slopes(x)
        gradient = [
            sum(row[i] * ri for row, ri in zip(j, r, strict=True)) + x[i] / prior_errors[i] ** 2
            for i in range(n)
        ]
        information = information_of(j, prior_errors)
        full = solved(information, gradient)
        promised = sum(a * b for a, b in zip(full, gradient, strict=True))
        if promised < _CLOSE_ENOUGH:
            return x
        while True:
            damped = [
                [a * (1.0 + damping) if k == i else a for k, a in enumerate(row)]
                for i, row in enumerate(information)
            ]
            step = solved(damped, gradient) if damping > 0.0 else full
            shorter = min(1.0, _LONGEST_STEP / max(abs(s) for s in step))
            step = [-s * shorter for s in step]
            tried = [a + s for a, s in zip(x, step, strict=True)]
            tried_r = residuals(tried)
            tried_cost = _cost(tried_r, tried, prior_errors)
            kept = (cost - tried_cost) / _foreseen(step, gradient, information)
            if kept > 0.0:
                break
            damping = max(1e-3, 10.0 * damping)
            if damping > _MOST_DAMPING:
                if promised < _ROUNDING:
                    return x
                raise NoSolution("fit of the field tests", 0.0, _MOST_DAMPING, promised)
        x, r, cost = tried, tried_r, tried_cost
        if kept < _TOO_BOLD:
            damping = max(1e-3, 4.0 * damping)
        elif kept > _TOO_TIMID:
            damping = 0.0 if damping < 1e-2 else damping / 5.0
    raise NoSolution("fit of the field tests", 0.0, _MOST_STEPS, promised)


def information_of(slopes: Matrix, prior_errors: Sequence[float]) -> Matrix:
    """Information of tests and priors together: the inverse of the covariance."""
    n = len(prior_errors)
    return [
        [
            sum(row[i] * row[k] for row in slopes) + (prior_errors[i] ** -2 if i == k else 0.0)
            for k in range(n)
        ]
        for i in range(n)
    ]


def covariance_of(information: Matrix) -> Matrix:
    """Inverse of a symmetric matrix with positive eigenvalues."""
    n = len(information)
    factor = _factored(information)
    columns = [_back(factor, [float(i == k) for i in range(n)]) for k in range(n)]
    return [[0.5 * (columns[k][i] + columns[i][k]) for k in range(n)] for i in range(n)]


def with_priors(
    covariance: Sequence[Sequence[float]],
    places: Sequence[int | None],
    prior_errors: Sequence[float],
) -> Matrix:
    """Covariance of a longer list of unknowns: each from its place in a fit, or from its prior."""
    return [
        [
            (prior_errors[i] ** 2 if i == k else 0.0)
            if place is None or other is None
            else covariance[place][other]
            for k, other in enumerate(places)
        ]
        for i, place in enumerate(places)
    ]


def solved(matrix: Matrix, right: Sequence[float]) -> Vector:
    """Solution of matrix x = right by Cholesky, after scaling the matrix to a unit diagonal."""
    return _back(_factored(matrix), right)


def _factored(matrix: Matrix) -> tuple[Vector, Matrix]:
    """Scale of the rows, and the lower triangle of the scaled matrix."""
    n = len(matrix)
    scale = [1.0 / sqrt(matrix[i][i]) for i in range(n)]
    lower: Matrix = [[0.0] * n for _ in range(n)]
    for i in range(n):
        for k in range(i + 1):
            rest = matrix[i][k] * scale[i] * scale[k] - sum(
                a * b for a, b in zip(lower[i][:k], lower[k][:k], strict=True)
            )
            lower[i][k] = sqrt(max(rest, 1e-15)) if i == k else rest / lower[k][k]
    return scale, lower


def _back(factor: tuple[Vector, Matrix], right: Sequence[float]) -> Vector:
    scale, lower = factor
    n = len(right)
    y = [0.0] * n
    for i in range(n):
        y[i] = (right[i] * scale[i] - sum(lower[i][k] * y[k] for k in range(i))) / lower[i][i]
    x = [0.0] * n
    for i in range(n - 1, -1, -1):
        x[i] = (y[i] - sum(lower[k][i] * x[k] for k in range(i + 1, n))) / lower[i][i]
    return [a * s for a, s in zip(x, scale, strict=True)]


def quadratic(matrix: Sequence[Sequence[float]], a: Sequence[float], b: Sequence[float]) -> float:
    """Row times matrix times column: with a covariance matrix, the covariance of two figures.

    Parameters
    ----------
    matrix : sequence of sequence of float
        The covariance of the unknowns. [-]
    a : sequence of float
        How the first figure changes with each unknown. [-]
    b : sequence of float
        The same for the second. [-]

    Returns
    -------
    float
        Their covariance; of a figure with itself, its variance. [-]

    Source
    ------
    Linear propagation of errors: JCGM 100:2008 (GUM), eq. 13.

    Examples
    --------
    Variance of the sum of two unknowns, 0.04 + 0.09 + 2 x 0.01:

    >>> round(quadratic([[0.04, 0.01], [0.01, 0.09]], [1.0, 1.0], [1.0, 1.0]), 4)
    0.15
    """
    return sum(
        x * sum(m * y for m, y in zip(row, b, strict=True))
        for x, row in zip(a, matrix, strict=True)
        if x != 0.0
    )


def _foreseen(step: Vector, gradient: Vector, information: Matrix) -> float:
    """Fall of the sum of squares by a step, if the model were linear."""
    bend = sum(
        a * sum(m * b for m, b in zip(row, step, strict=True))
        for a, row in zip(step, information, strict=True)
    )
    return -2.0 * sum(a * b for a, b in zip(step, gradient, strict=True)) - bend


def _cost(residuals: Sequence[float], x: Sequence[float], prior_errors: Sequence[float]) -> float:
    return sum(r * r for r in residuals) + sum(
        (a / s) ** 2 for a, s in zip(x, prior_errors, strict=True)
    )
