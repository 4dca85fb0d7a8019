"""Fits all field tests of a garden together, and names the tests that contradict the others.

A suspect test is left out and the others are fitted without it. Its reading, as noted and with the
likely slip corrected, is then compared with what they predict.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import exp, log, sqrt

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.calibration.least_squares import Matrix, quadratic, with_priors
from controller.hydraulics.calibration.measurements import (
    Bucket,
    Count,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.parameters import (
    RELEASED,
    Unknown,
    file_measurements,
    released,
    unknowns_of,
)
from controller.hydraulics.calibration.predicted import (
    height_of_m,
    hole_error,
    hole_figures,
    holes_predicted,
    is_level_unsure,
    predicted,
    refuse_impossible,
    said,
)
from controller.hydraulics.calibration.result import (
    Contradiction,
    Fitted,
    FittedParameter,
    corrections_for,
    described,
)
from controller.hydraulics.calibration.uncertainty import (
    TOO_FAR,
    Neighbours,
    Solved,
    most_telling_test,
    solve,
)
from controller.hydraulics.network.geometry import drilled_holes
from controller.messages import Message, Quantity, Value

# A slip is named where correcting it lowers the sum of squares by `_NAMED_FROM`, and brings the
# reading within `_FITS` standard errors; at most so many tests and zones are tried for it.
_FITS = 3.5
_NAMED_FROM, _SUSPECTS, _ZONES = 9.0, 4, 8


@dataclass(frozen=True, slots=True)
class Slip:
    """A likely slip: its test, how much better the reading fits without it, and its name."""

    place: int
    gain: float
    message: Message


def likeliest_slip(found: Solved) -> Slip | None:
    """The slip that explains the contradictions best; None if none does."""
    zones = frozenset().union(*(found.tests[i].zones for i in found.odd))
    suspects = [i for i, test in enumerate(found.tests) if i in found.odd or test.zones & zones]
    suspects.sort(key=lambda i: -abs(found.sigmas[i]))
    priors = {(u.kind, u.zone): u for u in (*unknowns_of(found.garden), *found.unknowns)}
    best: Slip | None = None
    for place in suspects[:_SUSPECTS]:
        test = found.tests[place]
        mended = list(_mended(test, found.garden))
        if not mended:
            continue
        rest = [other for i, other in enumerate(found.tests) if i != place]
        try:
            others = solve(found.garden, rest, list(priors.values()))
        except InputError:
            continue
        beside = _Beside(others, list(priors.values()))
        noted, _ = beside.unlikely(test)
        for one, message in mended:
            unlikely, sigmas = beside.unlikely(one)
            gain = noted - unlikely
            if gain > _NAMED_FROM and sigmas < _FITS and (best is None or gain > best.gain):
                best = Slip(place, gain, message)
    return best


class _Beside:
    """What all the other tests predict for a reading."""

    def __init__(self, others: Solved, unknowns: Sequence[Unknown]) -> None:
        places = {(u.kind, u.zone): i for i, u in enumerate(others.unknowns)}
        at = [places.get((u.kind, u.zone)) for u in unknowns]
        self._garden = others.garden
        self._covariance = [
            [
                others.covariance[i][k]
                if i is not None and k is not None
                else (unknown.prior_error**2 if row == column else 0.0)
                for column, k in enumerate(at)
            ]
            for row, (unknown, i) in enumerate(zip(unknowns, at, strict=True))
        ]
        self._here = Neighbours(
            others.garden, unknowns, [0.0 if i is None else others.x[i] for i in at]
        )

    def unlikely(self, test: Measurement) -> tuple[float, float]:
        """Twice the negative log-likelihood of a reading, and its distance in standard errors."""
        here = self._here
        value, error = said(test, self._garden)
        slopes = here.test_slopes(test)
        wide = error**2 + quadratic(self._covariance, slopes, slopes)
        off = predicted(test, here.lines, here.tried) - value
        unlikely = off**2 / wide + log(wide) + pattern(test, self._garden, here)
        return unlikely, abs(off) / sqrt(wide)


def pattern(test: Measurement, garden: Garden, here: Neighbours) -> float:
    """How far the holes of a test scatter about the predicted flows, with their mean left free.

    Parameters
    ----------
    test : Measurement
        Cups or streams; other tests have no pattern.
    garden : Garden
        The garden, for the errors of the holes.
    here : Neighbours
        The network as fitted.

    Returns
    -------
    float
        Sum of squares in standard errors, with one degree of freedom less than holes. [-]

    Source
    ------
    Chi-squared about a weighted mean; common practice, no source.
    """
    if not isinstance(test, Cups | Stream):
        return 0.0
    apart = [
        a - b
        for a, b in zip(
            hole_figures(test), holes_predicted(test, here.lines, here.tried), strict=True
        )
    ]
    weights = [hole_error(test, garden, i) ** -2 for i in range(len(apart))]
    mean = sum(w * a for w, a in zip(weights, apart, strict=True)) / sum(weights)
    return sum(w * (a - mean) ** 2 for w, a in zip(weights, apart, strict=True))


def told_from_the_far_end(test: Measurement, garden: Garden, here: Neighbours) -> Slip | None:
    """Cups or streams whose holes fit much better when counted from the far end."""
    for mirrored, message in _mirrored(test, garden):
        gain = pattern(test, garden, here) - pattern(mirrored, garden, here)
        if gain > _NAMED_FROM:
            return Slip(0, gain, message)
    return None


def _mended(test: Measurement, garden: Garden) -> Iterator[tuple[Measurement, Message]]:
    yield from _mirrored(test, garden)
    if len(test.zones) != 1 or not isinstance(test, Cups | Stream | Bucket | MeterRun | Count):
        return
    (own,) = test.zones
    names = [zone.name for zone in garden.zones if zone.name != own]
    for name in names[:_ZONES]:
        moved: Measurement = (
            replace(test, zones=frozenset({name}))
            if isinstance(test, MeterRun)
            else replace(test, zones=frozenset({name}), zone=name)
        )
        try:
            refuse_impossible(garden, [moved])
        except InputError:
            continue
        yield moved, Message("cause.wrong_zone", {"zone": name})


def _mirrored(test: Measurement, garden: Garden) -> Iterator[tuple[Measurement, Message]]:
    if not isinstance(test, Cups | Stream):
        return
    zone = garden.zone(test.zone)
    holes = [h for h in drilled_holes(zone.rows[test.row - 1], zone.rise_m) if h.kind == "hole"]
    plugged = {h.number for h in holes if h.plugged}
    turned = tuple(len(holes) + 1 - number for number in test.holes)
    if turned != test.holes and not plugged & set(turned):
        yield replace(test, holes=turned), Message("cause.far_end")


__all__ = ["Slip", "likeliest_slip", "pattern", "told_from_the_far_end"]


# A refuted prior is released where that lowers the sum of squares by so much, after the cost of the
# wider prior; at most so many times. A supply that changed by less than the last is not reported.
_WORTH_LETTING_GO, _MOST_TURNS, _CHANGE_SAID = 4.0, 4, 0.10
# Factor on the errors of a zone while a slip in its tests is not resolved. Our choice.
_SLIP_WIDENS = 2.0


def fit(
    garden: Garden,
    measurements: Sequence[Measurement],
    today: date | None = None,
    *,
    propose: bool = True,
) -> Fitted:
    """Fit all field tests of a garden together; flows that its file gives count as tests.

    Nonlinear least squares on the logarithms of the unknowns. Each test is weighted by its error,
    each unknown is held by its prior, and the covariance is the linear one at the solution. A test
    contradicts the others where it lies more than three standard errors from what they predict. The
    best of two explanations is then taken. It may be a slip of the pen: the test is named and left
    out, and its zone's errors are doubled until the slip is resolved. Or the tests refute a prior:
    the flow test in the garden file, where the supply has changed since; that all holes run; a
    handle's angle. A contradiction that remains widens the covariance by its chi-squared over the
    expected one. The next test is proposed only with `propose`, because that takes longest.

    Raises
    ------
    InputError
        If a test names a zone, row or hole that does not exist, shows more than the pressure can
        give, or the tests do not fit together at all.
    NoSolution
        If a network does not settle.
    """
    tests = [*measurements, *file_measurements(garden)]
    refuse_impossible(garden, tests)
    unknowns = list(unknowns_of(garden, today))
    found = solve(garden, tests, unknowns)
    slips: list[Contradiction] = []
    doubted: set[str] = set()
    for _ in range(_MOST_TURNS):
        if not found.odd:
            break
        slip, freer = likeliest_slip(found), _let_go(found, unknowns)
        if slip is not None and (freer is None or slip.gain > freer[0]):
            slips.append(_as_slip(found, slip))
            doubted |= found.tests[slip.place].zones
            rest = [test for i, test in enumerate(found.tests) if i != slip.place]
            found = solve(garden, rest, unknowns)
        elif freer is not None:
            found, unknowns = freer[1], freer[2]
        else:
            break
    contradictions = _contradictions(found)
    covariance = _widened(found, {one.test for one in contradictions}, doubted)
    contradictions += slips
    parameters, whole = _all_parameters(unknowns, found, covariance)
    values = [parameter.log_factor for parameter in parameters]
    fitted = Fitted(
        corrections=found.here.corrections,
        parameters=parameters,
        covariance=tuple(tuple(row) for row in whole),
        contradictions=tuple(sorted(contradictions, key=lambda one: -abs(one.sigmas))),
        next_test=most_telling_test(Neighbours(garden, unknowns, values), whole)
        if propose
        else None,
        tests=len(measurements),
        described=described(garden),
        remarks=tuple(_remarks(garden, parameters)),
    )
    corrections, _ = corrections_for(garden, fitted)
    return replace(fitted, corrections=corrections)


def _let_go(
    found: Solved, unknowns: Sequence[Unknown]
) -> tuple[float, Solved, list[Unknown]] | None:
    """The refuted prior whose release explains the contradictions best; None if none does."""
    if all(found.tests[i] in file_measurements(found.garden) for i in found.odd):
        return None  # the garden file contradicts itself
    zones = frozenset().union(*(found.tests[i].zones for i in found.odd))
    best: tuple[float, Solved, list[Unknown]] | None = None
    for i, unknown in enumerate(unknowns):
        wide = RELEASED.get(unknown.kind)
        if wide is None or unknown.prior_error >= wide or unknown.zone not in {None, *zones}:
            continue
        freer = [released(u) if k == i else u for k, u in enumerate(unknowns)]
        try:
            tried = solve(found.garden, found.tests, freer)
        except InputError:
            continue
        value = next(
            x
            for x, u in zip(tried.x, tried.unknowns, strict=True)
            if u.kind == unknown.kind and u.zone == unknown.zone
        )
        if unknown.kind == "open holes" and value > 0.0:
            continue  # there are no more holes than were drilled
        gain = found.cost - tried.cost - _price(wide / unknown.prior_error)
        if gain > _WORTH_LETTING_GO and (best is None or gain > best[0]):
            best = gain, tried, freer
    return best


def _price(wider: float) -> float:
    """Cost of a prior so many times wider, as a sum of squares: twice the logarithm."""
    return 2.0 * log(wider)


def _as_slip(found: Solved, slip: Slip) -> Contradiction:
    """A test that is left out because it was most likely noted wrongly."""
    test, sigmas = found.tests[slip.place], found.sigmas[slip.place]
    value, _ = said(test, found.garden)
    told = predicted(test, found.here.lines, found.here.tried)
    return Contradiction(
        test=test.shown,
        sigmas=-sigmas,
        message=Message(
            "fit.slip",
            {
                "test": test.shown,
                "says": _figure(test, value),
                "others": _figure(test, told),
                "cause": slip.message,
            },
        ),
        cause=slip.message,
    )


def _contradictions(found: Solved) -> list[Contradiction]:
    garden, here = found.garden, found.here
    made = []
    for test, sigmas in zip(found.tests, found.sigmas, strict=True):
        mirrored = told_from_the_far_end(test, garden, here)
        if mirrored is None and abs(sigmas) <= TOO_FAR:
            made += [one for one in _oddest_hole(garden, test, here) if abs(one.sigmas) > TOO_FAR]
            continue
        off = -sigmas if mirrored is None else sqrt(mirrored.gain)
        cause = None if mirrored is None else mirrored.message
        value, _ = said(test, garden)
        told = predicted(test, here.lines, here.tried)
        made.append(
            Contradiction(
                test=test.shown,
                sigmas=off,
                message=Message(
                    "fit.too_far",
                    {
                        "test": test.shown,
                        "says": _figure(test, value),
                        "others": _figure(test, told),
                        "times": abs(off),
                        "cause": cause or Message("cause.look"),
                    },
                ),
                cause=cause,
            )
        )
    return made


def _widened(found: Solved, odd: set[str], doubted: set[str]) -> Matrix:
    """The covariance, widened by as much as the contradictions exceed the stated errors.

    A zone's unknowns are widened by the tests it was open in, those of the supply and the drill by
    all tests. The factor is the larger of two: squares of residuals over the share that the fit
    leaves free, and squares of residuals and priors over the number of tests. It is never below 1.
    """
    if not odd and not doubted:
        return found.covariance
    named = [test.shown in odd for test in found.tests]
    holes = [
        max(0, len(hole_figures(test)) - 1) if is_odd else 0
        for test, is_odd in zip(found.tests, named, strict=True)
    ]
    squares = [
        r * r + (pattern(test, found.garden, found.here) if is_odd else 0.0)
        for r, test, is_odd in zip(found.off, found.tests, named, strict=True)
    ]
    priors = [(x / u.prior_error) ** 2 for x, u in zip(found.x, found.unknowns, strict=True)]

    def excess(among: Sequence[int], prior: float) -> float:
        seen = sum(squares[i] for i in among)
        own = sum(holes[i] for i in among)
        free = sum(found.free[i] for i in among) + own
        return max(1.0, seen / max(free, 0.5), (seen + prior) / max(1, len(among) + own))

    everything = excess(range(len(squares)), sum(priors)) if odd else 1.0
    scale = []
    for unknown in found.unknowns:
        wider = everything
        among = [i for i, test in enumerate(found.tests) if unknown.zone in test.zones]
        if any(named[i] for i in among):
            own = sum(
                p for p, u in zip(priors, found.unknowns, strict=True) if u.zone == unknown.zone
            )
            wider = max(wider, excess(among, own))
        scale.append(sqrt(wider) * (_SLIP_WIDENS if unknown.zone in doubted else 1.0))
    return [
        [a * (scale[i] * scale[k]) for k, a in enumerate(row)]
        for i, row in enumerate(found.covariance)
    ]


def _all_parameters(
    unknowns: Sequence[Unknown], found: Solved, covariance: Matrix
) -> tuple[tuple[FittedParameter, ...], Matrix]:
    """All unknowns of the garden; those that no test touches stay at their priors."""
    places = {(u.kind, u.zone): i for i, u in enumerate(found.unknowns)}
    at = [places.get((u.kind, u.zone)) for u in unknowns]
    whole = with_priors(covariance, at, [unknown.prior_error for unknown in unknowns])
    return tuple(
        FittedParameter(
            unknown=unknown,
            log_factor=0.0 if i is None else found.x[i],
            error=sqrt(whole[row][row]),
        )
        for row, (unknown, i) in enumerate(zip(unknowns, at, strict=True))
    ), whole


def _remarks(garden: Garden, parameters: Sequence[FittedParameter]) -> Iterator[Message]:
    """Where the tests differ from the garden file."""
    at_m = garden.supply.test_head_m
    for parameter in parameters:
        unknown, x = parameter.unknown, parameter.log_factor
        off = abs(x) > max(_CHANGE_SAID, 2.0 * parameter.error)
        if unknown.kind == "test flow" and off:
            yield Message(
                "fit.supply_changed_at" if at_m > 0.0 else "fit.supply_changed",
                {
                    "then": Quantity(unknown.value(0.0), "flow"),
                    "pressure": Quantity(at_m, "pressure"),
                    "now": Quantity(unknown.value(x), "flow"),
                },
            )
        if unknown.kind == "open holes" and x < 0.0 and off:
            share = Quantity(exp(x), "percent")
            yield Message("fit.holes_plugged", {"zone": unknown.zone or "", "share": share})


def _oddest_hole(garden: Garden, test: Measurement, here: Neighbours) -> list[Contradiction]:
    """The hole that lies furthest from the others in a test of three or more."""
    apart = [
        a - b
        for a, b in zip(
            hole_figures(test), holes_predicted(test, here.lines, here.tried), strict=True
        )
    ]
    if len(apart) < 3 or not isinstance(test, Cups | Stream):
        return []
    found = []
    for place, number in enumerate(test.holes):
        others = [a for i, a in enumerate(apart) if i != place]
        error = hole_error(test, garden, place) * sqrt(1.0 + 1.0 / len(others))
        sigmas = (apart[place] - sum(others) / len(others)) / error
        cause = Message(
            "cause.stands_low" if is_level_unsure(test, garden, place) else "cause.drilling"
        )
        found.append(
            Contradiction(
                test=test.shown,
                sigmas=sigmas,
                message=Message(
                    "fit.hole_gives_more" if sigmas > 0.0 else "fit.hole_gives_less",
                    {"test": test.shown, "hole": number, "times": abs(sigmas), "cause": cause},
                ),
                cause=Message("cause.of_hole", {"hole": number, "cause": cause}),
            )
        )
    return [max(found, key=lambda one: abs(one.sigmas))]


def _figure(test: Measurement, figure: float) -> Value:
    """What a test reads or should read, as it is shown."""
    if isinstance(test, Gauge):
        return Quantity(figure, "pressure")
    if isinstance(test, Stream):
        return Message("fit.streams", {"height": Quantity(height_of_m(figure), "length")})
    if isinstance(test, Count):
        return Message("fit.holes_share", {"share": Quantity(exp(figure), "percent")})
    return Quantity(exp(figure), "flow")
