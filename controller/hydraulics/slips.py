"""Slips of the pen that a contradiction comes from: a test of another zone, cups from the far end.

A suspect is left out, the others are fitted alone, and its reading is compared with what they say
of it as it was noted, and as it would be if the slip were mended.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import log, sqrt

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.foretold import (
    foretold,
    hole_error,
    hole_figures,
    hole_foretold,
    said,
)
from controller.hydraulics.impossible import refuse_impossible
from controller.hydraulics.leastsquares import quadratic
from controller.hydraulics.measured import Bucket, Count, Cups, Measurement, MeterRun, Stream
from controller.hydraulics.rowshape import drilled_holes
from controller.hydraulics.solving import Solved, solve
from controller.hydraulics.uncertainty import Neighbours
from controller.hydraulics.unknowns import Unknown, unknowns_of

# A slip is named where it makes the reading so much likelier, as a sum of squares, and it then lies
# within so many errors; tests and zones tried for it, at most.
_FITS = 3.5
_NAMED_FROM, _SUSPECTS, _ZONES = 9.0, 4, 8


@dataclass(frozen=True, slots=True)
class Slip:
    """A likely slip: of which test, how much better its reading fits, and its name."""

    place: int
    gain: float
    words: str


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
        for one, words in mended:
            unlikely, sigmas = beside.unlikely(one)
            gain = noted - unlikely
            if gain > _NAMED_FROM and sigmas < _FITS and (best is None or gain > best.gain):
                best = Slip(place, gain, words)
    return best


class _Beside:
    """What all other tests say of a reading."""

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
        """Twice the negative logarithm of how likely a reading is, and how many errors off."""
        here = self._here
        value, error = said(test, self._garden)
        slopes = here.test_slopes(test)
        wide = error**2 + quadratic(self._covariance, slopes, slopes)
        off = foretold(test, here.lines, here.tried) - value
        unlikely = off**2 / wide + log(wide) + pattern(test, self._garden, here)
        return unlikely, abs(off) / sqrt(wide)


def pattern(test: Measurement, garden: Garden, here: Neighbours) -> float:
    """How far the holes of a test scatter about what is foretold, their mean left free.

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
        Sum of squares in standard errors, of one less than the holes. [-]

    Source
    ------
    Chi-squared about a weighted mean; common practice, no source.
    """
    if not isinstance(test, Cups | Stream):
        return 0.0
    apart = [
        a - b
        for a, b in zip(
            hole_figures(test), hole_foretold(test, here.lines, here.tried), strict=True
        )
    ]
    weights = [hole_error(test, garden, i) ** -2 for i in range(len(apart))]
    mean = sum(w * a for w, a in zip(weights, apart, strict=True)) / sum(weights)
    return sum(w * (a - mean) ** 2 for w, a in zip(weights, apart, strict=True))


def told_from_the_far_end(test: Measurement, garden: Garden, here: Neighbours) -> Slip | None:
    """Cups or streams whose holes fit far better counted from the far end."""
    for mirrored, words in _mirrored(test, garden):
        gain = pattern(test, garden, here) - pattern(mirrored, garden, here)
        if gain > _NAMED_FROM:
            return Slip(0, gain, words)
    return None


def _mended(test: Measurement, garden: Garden) -> Iterator[tuple[Measurement, str]]:
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
        yield moved, f'it fits far better as a test of "{name}": was it noted for the wrong zone?'


def _mirrored(test: Measurement, garden: Garden) -> Iterator[tuple[Measurement, str]]:
    if not isinstance(test, Cups | Stream):
        return
    zone = garden.zone(test.zone)
    holes = [h for h in drilled_holes(zone.rows[test.row - 1], zone.rise_m) if h.kind == "hole"]
    plugged = {h.number for h in holes if h.plugged}
    turned = tuple(len(holes) + 1 - number for number in test.holes)
    if turned != test.holes and not plugged & set(turned):
        yield (
            replace(test, holes=turned),
            "it fits far better with its holes counted from the far end: count from the inlet",
        )


__all__ = ["Slip", "likeliest_slip", "pattern", "told_from_the_far_end"]
