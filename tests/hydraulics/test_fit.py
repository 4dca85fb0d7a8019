"""Field tests fitted together: what they teach, what they leave alone, and what they dispute."""

from __future__ import annotations

import json
from dataclasses import replace
from math import exp, log, sqrt
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
from support.wording import kept, said

from controller.errors import InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.plumbing import Face, Opening, Supply, SupplyKind
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.least_squares import (
    covariance_of,
    fitted_unknowns,
    information_of,
    solved,
)
from controller.hydraulics.calibration.measurements import Bucket, Measurement
from controller.hydraulics.calibration.parameters import unknowns_of
from controller.hydraulics.calibration.result import (
    Fitted,
    FittedParameter,
    corrections_for,
    fitted_from_dict,
)
from controller.hydraulics.calibration.uncertainty import FlowErrors, possible_tests
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supplies import planning_curve
from controller.units import m3_s_from_l_min

A = frozenset({"a"})
FULL, SLOW = Opening(angle_deg=0.0), Opening(unknown=True)


def _garden(*openings: Opening, **supply: Any) -> Garden:
    """Zones a, b ... of one 8 ft row, its coefficient from wall over bore, at these openings."""
    row = a_row(a_drilling(discharge_coefficient=None, face=Face.UP))
    names = "abcd"[: len(openings)]
    zones = [a_zone(name, row, opening=o) for name, o in zip(names, openings, strict=True)]
    return a_garden(*zones, **supply)


def _truth(garden: Garden, **log_factors: float) -> Truth:
    """The garden with its unknowns so far off, named as in "valve_a"; the holes all alike."""
    even = replace(garden, watering=replace(garden.watering, drilling_scatter=0.0))
    names = [
        u.kind.replace(" ", "_") + ("" if u.zone is None else f"_{u.zone}")
        for u in unknowns_of(garden)
    ]
    assert set(log_factors) <= set(names)
    return Truth(even, Random(1), [log_factors.get(name, 0.0) for name in names])


def _of(fitted: Fitted, kind: str, zone: str | None = None) -> FittedParameter:
    return next(p for p in fitted.parameters if p.unknown.kind == kind and p.unknown.zone == zone)


def _flow(lines: Lines, zone: str = "a") -> float:
    return lines.open_set(frozenset({zone})).zones[zone].flow_m3_s


def _after(garden: Garden, *tests: Measurement) -> tuple[Fitted, Lines]:
    fitted = fit(garden, tests)
    corrections, stale = corrections_for(garden, fitted)
    assert stale == ()
    return fitted, Lines(garden, corrections=corrections)


# The arithmetic ----------------------------------------------------------------------------------


def test_one_reading_and_one_prior_meet_at_their_weighted_mean() -> None:
    # WORKED: a reading of 2 with error 1/2 beside a prior of 0 with error 1: (2*4 + 0*1)/(4 + 1).
    x = fitted_unknowns(lambda x: [(x[0] - 2.0) / 0.5], lambda _: [[2.0]], [1.0], [0.0])
    assert x == [approx(1.6)]
    assert covariance_of(information_of([[2.0]], [1.0])) == [[approx(0.2)]]


def test_a_bent_problem_is_solved_from_far_away() -> None:
    # exp(x) = 1000 from x = 0, where full steps overshoot; the prior is too wide to matter.
    x = fitted_unknowns(
        lambda x: [(exp(x[0]) - 1000.0) / 1.0], lambda x: [[exp(x[0])]], [100.0], [0.0]
    )
    assert x == [approx(log(1000.0), abs=1e-6)]


def test_a_system_is_solved_however_its_unknowns_are_scaled() -> None:
    # WORKED: 4 a + b = 6 and a + b = 3 have a = 1, b = 2; a counted in millionths, b in millions.
    a, b = solved([[4e12, 1.0], [1.0, 1e-12]], [6e6, 3e-6])
    assert (a, b) == (approx(1e-6), approx(2e6))


# What is learnt, and what is left alone ----------------------------------------------------------


def test_without_tests_every_prior_stands_and_no_flow_moves() -> None:
    garden = _garden(FULL, Opening(angle_deg=45.0))
    fitted, lines = _after(garden)
    assert not any(p.learnt for p in fitted.parameters)
    assert all("no test shows it" in said(p.message) for p in fitted.parameters)
    assert fitted.contradictions == ()
    for zone in "ab":
        assert _flow(lines, zone) == approx(_flow(Lines(garden), zone), rel=1e-6)


@pytest.mark.parametrize("opening", [FULL, SLOW, Opening(angle_deg=50.0)])
def test_exact_readings_find_the_true_flow(opening: Opening) -> None:
    garden = _garden(opening, FULL)
    valve = {} if opening is FULL else {"valve_a": 0.8}
    truth = _truth(garden, test_flow=-0.05, discharge_a=0.08, **valve)
    fitted, lines = _after(
        garden, meter_run(truth, None, "a"), bucket(truth, None, "a"), cups(truth, None, "a")
    )
    assert abs(log(_flow(lines) / _flow(truth))) < 0.01
    assert fitted.contradictions == ()


def test_a_metered_throttled_row_tells_its_valve_and_nothing_of_its_holes() -> None:
    garden = _garden(SLOW)
    truth = _truth(garden, valve_a=2.0)
    fitted, _ = _after(garden, meter_run(truth, None, "a"))
    valve = _of(fitted, "valve", "a")
    assert valve.log_factor == approx(2.0, abs=0.05)
    assert valve.narrowed > 0.9
    assert not _of(fitted, "discharge", "a").learnt


def test_cups_under_a_throttled_row_say_nothing_of_its_holes_either() -> None:
    garden = _garden(SLOW)
    truth = _truth(garden, valve_a=1.0, discharge_a=0.15)
    fitted, _ = _after(garden, cups(truth, None, "a"))
    holes = _of(fitted, "discharge", "a")
    assert not holes.learnt
    assert abs(holes.log_factor) < 0.01
    assert _of(fitted, "valve", "a").learnt


def test_a_gauge_at_the_still_tap_tells_the_static_head_alone() -> None:
    garden = _garden(FULL, SLOW)
    fitted, _ = _after(garden, gauge(_truth(garden, static_head=0.02), None))
    assert [p.unknown.kind for p in fitted.parameters if p.learnt] == ["static head"]


def test_a_stream_and_a_bucket_together_tell_the_drill_from_the_coefficient() -> None:
    # A height gives the speed, whatever the bore; a bucket gives the speed times the bore squared.
    garden = _garden(SLOW)
    truth = _truth(garden, valve_a=1.5, bore=0.03)
    alone, _ = _after(garden, bucket(truth, None, "a"))
    both, _ = _after(garden, bucket(truth, None, "a"), stream(truth, None, "a"))
    assert not _of(alone, "bore").learnt
    assert _of(both, "bore").narrowed > 0.1
    assert 0.0 < _of(both, "bore").log_factor < 0.03


def test_four_cups_and_a_bucket_bring_a_throttled_row_within_eight_percent() -> None:
    garden = _garden(SLOW)
    truth = _truth(garden, valve_a=1.0)
    fitted, lines = _after(garden, cups(truth, None, "a"), bucket(truth, None, "a"))
    assert 1.96 * FlowErrors(garden, fitted).of_zones("a")["a"] < 0.08
    assert _flow(lines) == approx(_flow(truth), rel=0.01)


def test_a_test_of_the_tap_helps_every_zone() -> None:
    garden = _garden(FULL, FULL)
    both = frozenset("ab")
    before = FlowErrors(garden, fit(garden, [])).of_zones(both)
    after = FlowErrors(garden, fit(garden, [bucket(_truth(garden), None)])).of_zones(both)
    assert after["b"] < 0.93 * before["b"]


# The words of the garden file --------------------------------------------------------------------


def test_the_flow_alone_of_a_garden_file_counts_as_a_test() -> None:
    garden = _garden(Opening(alone_flow_m3_s=m3_s_from_l_min(1.5)))
    fitted, lines = _after(garden)
    assert fitted.tests == 0
    assert _flow(lines) == approx(m3_s_from_l_min(1.5), rel=0.01)
    # WORKED: it counts as a bucket of one minute, which is known to 5 % (our choice).
    assert FlowErrors(garden, fitted).of_zones("a")["a"] == approx(0.05, abs=0.002)


def test_so_does_a_stream_seen_at_the_first_hole() -> None:
    garden = _garden(Opening(stream_m=0.08))
    fitted, lines = _after(garden)
    hole = lines.open_set(A).zones["a"].rows[0].holes[0]
    # WORKED: 0.08 m from a hole that runs full; Lichtarowicz at 0.134 m and 15 C has Cd 0.773 for
    # the 0.80 of fast water: 0.08/0.773^2 = 0.134 m of head.
    assert hole.head_m - hole.z_m == approx(0.134, rel=0.03)
    assert 0.03 < FlowErrors(garden, fitted).of_zones("a")["a"] < 0.12


def test_a_flow_in_the_file_that_nothing_else_allows_is_named_not_refused() -> None:
    garden = _garden(Opening(alone_flow_m3_s=m3_s_from_l_min(45.0)))
    fitted, _ = _after(garden)
    assert [c.test for c in fitted.contradictions] == ['flow of "a" alone in the garden file']


@pytest.mark.parametrize("opening", [SLOW, Opening(angle_deg=80.0)])
def test_a_valve_nobody_could_tell_is_handed_on_once_it_was_measured(opening: Opening) -> None:
    garden = _garden(opening)
    assert fit(garden, []).corrections.valve_k == {}
    truth = _truth(garden, valve_a=1.0)
    fitted, lines = _after(garden, bucket(truth, None, "a"))
    assert fitted.corrections.valve_k["a"] == approx(1e4 * exp(1.0), rel=0.05)
    assert _flow(lines) == approx(_flow(truth), rel=0.01)


def test_a_barrel_is_computed_half_way_down_and_its_fall_widens_the_band() -> None:
    barrel = Supply(
        static_head_m=1.2,
        test_head_m=0.0,
        test_flow_m3_s=m3_s_from_l_min(20.0),
        kind=SupplyKind.BARREL,
        falls_to_m=0.4,
    )
    garden = _garden(FULL, supply=barrel)
    fitted = fit(garden, [])
    curve = planning_curve(barrel)
    assert fitted.corrections.supply is not None
    assert fitted.corrections.supply.static_head_m == approx(curve.static_head_m)
    assert fitted.corrections.supply.k == approx(curve.k)
    steady = replace(garden, supply=replace(barrel, falls_to_m=1.2))
    wide = FlowErrors(garden, fitted).of_zones("a")["a"]
    assert wide > 1.3 * FlowErrors(steady, fit(steady, [])).of_zones("a")["a"]


# Disputes ----------------------------------------------------------------------------------------


def test_a_bucket_that_contradicts_the_others_is_named() -> None:
    garden = _garden(SLOW)
    truth = _truth(garden, valve_a=1.0)
    wrong = replace(bucket(truth, None, "a"), name="Monday's bucket")
    wrong = replace(wrong, volume_m3=2.0 * wrong.volume_m3)
    fitted, _ = _after(garden, meter_run(truth, None, "a"), cups(truth, None, "a"), wrong)
    first = fitted.contradictions[0]
    assert first.test == "Monday's bucket"
    assert first.sigmas > 3.0
    assert "do it again" in said(first.message)


def test_a_half_plugged_hole_among_four_cups_is_named() -> None:
    garden = _garden(FULL)
    caught = cups(_truth(garden), None, "a")
    volumes = (*caught.volumes_m3[:2], 0.5 * caught.volumes_m3[2], caught.volumes_m3[3])
    fitted, _ = _after(garden, replace(caught, volumes_m3=volumes))
    (odd,) = fitted.contradictions
    assert f"hole {caught.holes[2]} gives less" in said(odd.message)
    assert odd.sigmas < -3.0


def test_good_tests_dispute_nothing() -> None:
    rng = Random(7)
    garden = _garden(FULL, SLOW)
    truth = _truth(garden, discharge_a=0.05, valve_b=1.0)
    tests = [gauge(truth, rng), bucket(truth, rng), meter_run(truth, rng, "b")]
    assert fit(garden, tests).contradictions == ()


# The next test -----------------------------------------------------------------------------------


def test_the_valve_nobody_knows_is_what_to_measure_next() -> None:
    garden = _garden(FULL, SLOW)
    found = fit(garden, []).next_test
    assert found is not None
    assert found.zones == {"b"}
    assert found.after < 0.1 < found.before


def test_the_proposed_test_narrows_as_far_as_was_said_and_no_other_does_more() -> None:
    garden = _garden(FULL, Opening(angle_deg=62.0))
    fitted = fit(garden, [])
    assert fitted.next_test is not None

    def left_by(test: Measurement) -> float:
        after = fit(garden, [test])
        bands = [FlowErrors(garden, after).of_zones(zone)[zone] for zone in "ab"]
        return sqrt(sum(band**2 for band in bands) / 2.0)

    left = {said(name): left_by(test) for test, name in possible_tests(garden, Lines(garden))}
    proposed = said(fitted.next_test.message)
    assert left[proposed] == approx(fitted.next_test.after, rel=0.02)
    assert left[proposed] == min(left.values())


# Kept and asked again ----------------------------------------------------------------------------


def test_a_fit_survives_being_written_down() -> None:
    garden = _garden(FULL, SLOW)
    truth = _truth(garden, valve_b=1.0)
    fitted = fit(
        garden,
        [
            bucket(truth, None, "b"),
            Bucket(name="no", zones=A, zone="a", volume_m3=0.001, time_s=60.0),
        ],
    )
    assert fitted.contradictions
    back = fitted_from_dict(json.loads(json.dumps(kept(fitted))))
    assert kept(back) == kept(fitted)
    assert (back.parameters, back.covariance) == (fitted.parameters, fitted.covariance)
    assert FlowErrors(garden, back).of_zones("ab") == FlowErrors(garden, fitted).of_zones("ab")


@pytest.mark.parametrize("plain", [{}, {"edition": 99}, {"edition": 1}])
def test_a_fit_that_does_not_read_says_to_fit_again(plain: dict[str, object]) -> None:
    with pytest.raises(InputError, match="fit"):
        fitted_from_dict(plain)


def test_what_the_garden_file_describes_anew_is_back_at_its_prior() -> None:
    garden = _garden(Opening(loss_k=2e4), FULL)
    truth = _truth(garden, valve_a=1.0)
    fitted, _ = _after(
        garden, bucket(truth, None, "a"), bucket(truth, None, "b"), bucket(truth, None)
    )
    a, b = garden.zones
    moved = replace(garden, zones=(replace(a, opening=Opening(loss_k=5e4)), b))
    corrections, remarks = corrections_for(moved, fitted)
    assert "a" not in corrections.valve_k
    assert set(corrections.discharge) == {"a", "b"}
    assert list(map(said, remarks)) == [
        "valve of a: the garden file describes it otherwise than when it was tested; what was "
        "measured of it is left out until it is tested again",
    ]
    assert FlowErrors(moved, fitted).of_zones("a")["a"] > 1.0
    drilled = replace(garden, zones=(a, replace(b, rows=(a_row(length_m=3.0),))))
    corrections, remarks = corrections_for(drilled, fitted)
    assert set(corrections.discharge) == {"a"}
    assert len(remarks) == 1
    other_tap = replace(garden, supply=replace(garden.supply, static_head_m=40.0))
    assert corrections_for(other_tap, fitted)[0].supply is None
    fewer = replace(garden, zones=(b,))
    assert set(corrections_for(fewer, fitted)[0].valve_k) == {"b"}
    assert FlowErrors(fewer, fitted).of_zones("b")["b"] < 0.1


def test_bad_input_reaches_the_gardener_from_the_fit() -> None:
    garden = _garden(FULL)
    with pytest.raises(InputError, match="all of the static pressure"):
        fit(garden, [Bucket(zones=A, zone="a", volume_m3=1.0, time_s=60.0)])


def test_tests_that_fit_no_garden_at_all_are_refused_with_the_worst_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    garden = _garden(SLOW)
    truth = _truth(garden)
    wrong = replace(bucket(truth, None, "a"), name="Monday's bucket", volume_m3=1e-4)

    def gives_up(residuals: Any, slopes: Any, priors: Any, start: Any) -> list[float]:
        residuals(start)
        raise NoSolution("fit", 0.0, 1.0, 1.0)

    monkeypatch.setattr("controller.hydraulics.calibration.uncertainty.fitted_unknowns", gives_up)
    with pytest.raises(InputError, match=r"furthest off is: Monday's bucket\. Do it again"):
        fit(garden, [meter_run(truth, None, "a"), wrong])


def test_wildly_wrong_readings_are_fitted_all_the_same_and_disputed() -> None:
    garden = _garden(FULL, SLOW)
    truth = _truth(garden)
    good = [gauge(truth, None), bucket(truth, None), meter_run(truth, None, "b")]
    for factor in (0.05, 0.2, 1.8):
        wrong = bucket(truth, None, "b")
        wrong = replace(wrong, name="wrong", volume_m3=factor * wrong.volume_m3)
        found = fit(garden, [*good, wrong]).contradictions
        assert "wrong" in {contradiction.test for contradiction in found}


# The claim ---------------------------------------------------------------------------------------


def _inside(seeds: range, *, together: bool) -> tuple[int, int]:
    """Zone flows within 1.96 standard errors of the truth, and how many were asked."""
    inside = asked = 0
    for seed in seeds:
        rng = Random(seed)
        garden = a_random_garden(rng)
        truth = a_truth(garden, rng)
        fitted = fit(garden, some_tests(truth, rng))
        lines = Lines(garden, corrections=corrections_for(garden, fitted)[0])
        names = [zone.name for zone in garden.zones]
        for opened in [frozenset(names)] if together else [frozenset({name}) for name in names]:
            bands = FlowErrors(garden, fitted).of_zones(opened)
            for name in opened:
                found = lines.open_set(opened).zones[name].flow_m3_s
                true = truth.open_set(opened).zones[name].flow_m3_s
                asked += 1
                inside += abs(log(true / found)) <= 1.96 * bands[name]
    return inside, asked


def test_in_sixteen_gardens_the_true_flow_is_mostly_within_the_band() -> None:
    """A sample of the 250 below."""
    inside, asked = _inside(range(16), together=False)
    assert asked > 40
    assert 0.90 <= inside / asked <= 0.99


# Standard error of a share of 95 % over 250 gardens of three zones: 0.8 %, of whole gardens 1.4 %.
@pytest.mark.slow
@pytest.mark.parametrize("together", [False, True])
def test_the_true_flow_is_within_the_95_percent_band_in_93_to_97_of_100(together: bool) -> None:
    inside, asked = _inside(range(1000, 1250), together=together)
    assert asked > 600
    assert 0.93 <= inside / asked <= 0.97
