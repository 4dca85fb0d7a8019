"""Field tests against outside opinions: EPANET's house, SciPy's least squares, usual accuracies.

The house: a tap of 50 psi still and 8 gal/min at 25 psi, a 1 in main, 8 ft rows of 3/4 in pipe with
16 holes of 1/16 in (Cd 0.80) behind take-offs of K 4. Its flows and elasticities were computed
with EPANET 2.2, through wntr, apart from this code; the figures here are RECORDED from there.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from math import inf
from random import Random
from typing import Any

import pytest
from pytest import approx
from support.hydraulics_fieldtests import (
    Truth,
    a_random_garden,
    a_truth,
    bucket,
    cups,
    gauge,
    meter_run,
    some_tests,
    stream,
)
from support.hydraulics_gardens import a_drilling, a_garden, a_row, a_zone
from support.hydraulics_rows import NO_EFFECTS

from controller.garden.model import Garden
from controller.garden.plumbing import Face, Opening
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.measurements import Bucket, Count, Measurement
from controller.hydraulics.calibration.parameters import open_holes, unknowns_of
from controller.hydraulics.calibration.predicted import predicted, said
from controller.hydraulics.calibration.uncertainty import FlowErrors, Neighbours
from controller.hydraulics.network.garden_lines import Lines
from controller.units import m3_s_from_l_min

A = frozenset("a")
STATION_5_M = 55 * 0.3048  # 15 ft to the first station, 10 ft to each next


def _house(zones: str, opening: Opening | None = None, **drilling: object) -> Garden:
    opening = opening or Opening(angle_deg=0.0)
    row = a_row(a_drilling(**drilling))
    return a_garden(*(a_zone(name, row, opening=opening, main_run_m=STATION_5_M) for name in zones))


def _even(garden: Garden) -> Truth:
    """The garden as its file says, the holes all alike."""
    even = replace(garden, watering=replace(garden.watering, drilling_scatter=0.0))
    return Truth(even, Random(1), [0.0] * len(unknowns_of(garden)))


@pytest.fixture
def as_epanet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines as EPANET has them: it knows no cavitation, in which a lone row here stands."""
    plain = partial(Lines, effects=NO_EFFECTS)
    monkeypatch.setattr("controller.hydraulics.calibration.uncertainty.Lines", plain)
    monkeypatch.setattr("controller.hydraulics.calibration.parameters.MAY_BOIL_M", inf)


# Of the row's flow to discharge coefficient, bore, test flow, static head and valve. The printed
# elasticity to the static head holds the test's pressure; here both move, as a gauge does that is
# wrong: 0.05 + 0.23, -0.35 + 0.43, 0.50 + 0.
@pytest.mark.parametrize(
    ("zones", "opening", "printed"),
    [
        ("a", Opening(angle_deg=0.0), (0.51, 1.02, 0.45, 0.28, 0.0)),
        ("abc", Opening(angle_deg=0.0), (0.11, 0.21, 0.85, 0.08, 0.0)),
        ("a", Opening(loss_k=1.25e5), (0.002, 0.003, 0.0, 0.50, -0.50)),
    ],
    ids=["one row", "three rows", "throttled"],
)
def test_what_decides_a_flow_is_what_epanet_found(
    zones: str, opening: Opening, printed: tuple[float, ...], as_epanet: None
) -> None:
    garden = _house(zones, opening)
    unknowns = unknowns_of(garden)
    slopes = Neighbours(garden, unknowns, [0.0] * len(unknowns)).flow_slopes("a", frozenset(zones))
    found = {
        kind: sum(s for s, u in zip(slopes, unknowns, strict=True) if u.kind == kind)
        for kind in ("discharge", "bore", "test flow", "static head", "valve")
    }
    assert tuple(found.values()) == approx(printed, abs=0.025)


@pytest.mark.parametrize(("loss_k", "l_min"), [(1e3, 14.2), (1e4, 5.1), (1e5, 1.63)])
def test_a_bucket_under_epanets_throttled_row_tells_the_valve_epanet_had(
    loss_k: float, l_min: float
) -> None:
    garden = _house("a", Opening(unknown=True))
    litres = Bucket(
        zones=A,
        zone="a",
        volume_m3=60.0 * m3_s_from_l_min(l_min),
        time_s=60.0,
        error_share=0.005,
        time_error_s=0.0,
    )
    fitted = fit(garden, [litres])
    # The flow is recorded to 1 in 50 or better, so the loss to 1 in 25.
    assert fitted.corrections.valve_k["a"] == approx(loss_k, rel=0.04)


def _band(garden: Garden, *tests: Measurement, zones: frozenset[str] = A) -> float:
    return FlowErrors(garden, fit(garden, tests)).of_zones(zones)["a"]


def test_usual_tests_tell_a_flow_as_well_as_practice_has_it(as_epanet: None) -> None:
    # Accuracies of the reference computation: static gauge and open-tap bucket about 5 % full open;
    # a house meter 2 to 3 % of any row; four cups about 4 % and their reading; stream 5 to 6 %.
    full = _house("a", discharge_coefficient=None)
    slow = _house("a", Opening(unknown=True), discharge_coefficient=None, face=Face.UP)
    # The reference takes all holes to run.
    running = Count(zones=A, zone="a", running=open_holes(full.zones[0]), error_holes=0.1)
    tap = (gauge(_even(full), None), bucket(_even(full), None, time_s=90.0), running)
    # Half a point more than the reference: take-off, exponent and level have errors of their own.
    assert _band(full, *tap) == approx(0.055, abs=0.005)
    for garden, time_s in ((full, 120.0), (slow, 600.0)):
        band = _band(garden, meter_run(_even(garden), None, "a", time_s=time_s))
        assert band == approx(0.025, abs=0.005)
    assert _band(slow, cups(_even(slow), None, "a"), running) == approx(0.045, abs=0.005)
    assert _band(slow, stream(_even(slow), None, "a"), running) == approx(0.055, abs=0.005)


def test_the_throttled_row_is_only_known_once_it_is_measured() -> None:
    slow = _house("a", Opening(unknown=True), discharge_coefficient=None)
    tap = (gauge(_even(slow), None), bucket(_even(slow), None))
    assert _band(slow, *tap) > 1.0


@pytest.mark.parametrize(
    "seed", [2, 7, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (3, 5))]
)
def test_scipy_finds_the_same_values_and_errors(seed: int) -> None:
    optimize = pytest.importorskip("scipy.optimize")
    numpy = pytest.importorskip("numpy")
    rng = Random(seed)
    garden = a_random_garden(rng)
    tests = some_tests(a_truth(garden, rng), rng)
    unknowns = unknowns_of(garden)
    errors = [unknown.prior_error for unknown in unknowns]

    def residuals(x: Any) -> list[float]:
        here = Neighbours(garden, unknowns, [float(a) for a in x])
        found = [
            (predicted(test, here.lines, here.tried) - value) / error
            for test in tests
            for value, error in [said(test, garden)]
        ]
        return found + [a / error for a, error in zip(x, errors, strict=True)]

    ours = fit(garden, tests)
    start = [p.log_factor for p in ours.parameters]
    theirs = optimize.least_squares(
        residuals, [0.3 * a for a in start], diff_step=1e-5, xtol=1e-10, ftol=1e-12
    )
    covariance = numpy.linalg.inv(theirs.jac.T @ theirs.jac)
    for i, parameter in enumerate(ours.parameters):
        assert parameter.log_factor == approx(theirs.x[i], abs=2e-3 * errors[i]), parameter.name
        assert parameter.error == approx(covariance[i][i] ** 0.5, rel=2e-3), parameter.name
