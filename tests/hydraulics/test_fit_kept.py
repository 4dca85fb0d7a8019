"""Field tests kept over the years, beside a garden file that changes."""

from __future__ import annotations

import json
from dataclasses import replace

from support.hydraulics_gardens import a_garden, a_row, a_zone
from support.wording import said

from controller.garden.plumbing import Opening
from controller.hydraulics.calibration.kept_tests import kept_dict, kept_measurements
from controller.hydraulics.calibration.measurements import (
    Bucket,
    Gauge,
    MeterRun,
    measurement_to_dict,
)

A, B = frozenset("a"), frozenset("b")
BUCKET = Bucket(zones=A, zone="a", volume_m3=0.019, time_s=60.0)
METER = MeterRun(zones=B, before_m3=1.0, after_m3=1.03, time_s=120.0)
GAUGE = Gauge(zones=frozenset(), head_m=35.0)
GARDEN = a_garden(a_zone("a", opening=Opening(loss_k=2e4)), a_zone("b"))
KEPT = [json.loads(json.dumps(kept_dict(test, GARDEN))) for test in (BUCKET, METER, GAUGE)]


def test_tests_of_a_garden_that_stayed_all_stand() -> None:
    assert kept_measurements(KEPT, GARDEN) == ([BUCKET, METER, GAUGE], [])


def test_a_test_of_a_zone_throttled_anew_is_left_out_and_named() -> None:
    a, b = GARDEN.zones
    now = replace(GARDEN, zones=(replace(a, opening=Opening(loss_k=5e4)), b))
    standing, left_out = kept_measurements(KEPT, now)
    assert standing == [METER, GAUGE]
    assert list(map(said, left_out)) == [
        "bucket with a open: left out, the garden file describes the valve of a otherwise than on "
        "its day"
    ]
    assert kept_measurements(KEPT, GARDEN)[0] == [BUCKET, METER, GAUGE]  # and stands again


def test_so_is_one_of_a_zone_drilled_anew_or_gone() -> None:
    a, b = GARDEN.zones
    drilled = replace(GARDEN, zones=(a, replace(b, rows=(a_row(length_m=3.0),))))
    assert kept_measurements(KEPT, drilled)[0] == [BUCKET, GAUGE]
    standing, left_out = kept_measurements(KEPT, replace(GARDEN, zones=(b,)))
    assert standing == [METER, GAUGE]
    assert list(map(said, left_out)) == [
        'bucket with a open: left out, the garden has no zone "a" now'
    ]


def test_a_new_pressure_in_the_file_leaves_every_test_standing() -> None:
    now = replace(GARDEN, supply=replace(GARDEN.supply, static_head_m=40.0))
    assert kept_measurements(KEPT, now)[1] == []


def test_a_test_kept_without_marks_stands_as_long_as_its_zones_do() -> None:
    assert kept_measurements([measurement_to_dict(BUCKET)], GARDEN) == ([BUCKET], [])
