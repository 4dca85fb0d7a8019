"""What soil holds. The published examples are in tests/published/test_ledger_fao56.py."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.soil.soil_water import (
    depletion_fraction_adjusted,
    rain_unused_mm,
    raw_mm,
    stress_coefficient,
    taw_mm,
)
from controller.errors import OutOfRange


def test_stress_is_none_down_to_raw_and_complete_at_taw() -> None:
    # WORKED: halfway between RAW 40 and TAW 100 is 70, where half of the demand is met.
    for missing, ks in [(-5, 1.0), (0, 1.0), (40, 1.0), (70, 0.5), (100, 0.0), (110, 0.0)]:
        assert stress_coefficient(missing, 100, 40) == approx(ks)


def test_a_bucket_that_is_all_readily_available_ends_at_once() -> None:
    assert stress_coefficient(40 - 1e-9, 40, 40) == 1.0
    assert stress_coefficient(41, 40, 40) == 0.0


# FAO-56, chapter 8: rain under a fifth of ETo may be left out.
@pytest.mark.parametrize(("rain", "unused"), [(0.0, 0.0), (0.99, 0.99), (1.0, 0.0), (8.0, 0.0)])
def test_rain_counts_from_a_fifth_of_reference_et(rain: float, unused: float) -> None:
    assert rain_unused_mm(rain_mm=rain, eto_mm_day=5.0) == unused


@given(st.floats(0, 1), st.floats(0, 100), st.floats(0, 100))
def test_the_share_never_grows_with_demand_and_keeps_its_limits(
    share: float, one: float, other: float
) -> None:
    low, high = sorted((one, other))
    thirsty = depletion_fraction_adjusted(share, etc_mm_day=high)
    assert 0.1 <= thirsty <= depletion_fraction_adjusted(share, etc_mm_day=low) <= 0.8


@given(st.floats(-50, 200), st.floats(0, 150), st.floats(0, 1))
def test_stress_lies_between_nothing_and_all(missing: float, taw: float, share: float) -> None:
    ks = stress_coefficient(missing, taw, share * taw)
    assert 0.0 <= ks <= 1.0


@pytest.mark.parametrize(
    ("ask", "name"),
    [
        (lambda: taw_mm(field_capacity=0.2, wilting_point=0.3, root_depth_m=0.5), "wilting_point"),
        (
            lambda: taw_mm(field_capacity=math.nan, wilting_point=0.1, root_depth_m=0.5),
            "field_capacity",
        ),
        (lambda: taw_mm(field_capacity=0.3, wilting_point=0.1, root_depth_m=-0.1), "root_depth_m"),
        (lambda: raw_mm(taw_mm=100, depletion_fraction=1.2), "depletion_fraction"),
        (lambda: depletion_fraction_adjusted(0.4, etc_mm_day=-1.0), "etc_mm_day"),
        (lambda: rain_unused_mm(rain_mm=-0.1, eto_mm_day=5), "rain_mm"),
        (lambda: rain_unused_mm(rain_mm=2000.1, eto_mm_day=5), "rain_mm"),
        (lambda: raw_mm(taw_mm=-0.1, depletion_fraction=0.5), "taw_mm"),
        (lambda: raw_mm(taw_mm=5000.1, depletion_fraction=0.5), "taw_mm"),
        (lambda: raw_mm(taw_mm=100, depletion_fraction=-0.1), "depletion_fraction"),
        (lambda: taw_mm(field_capacity=1.1, wilting_point=0.1, root_depth_m=1), "field_capacity"),
        (lambda: taw_mm(field_capacity=0.3, wilting_point=-0.1, root_depth_m=1), "wilting_point"),
        (lambda: taw_mm(field_capacity=0.3, wilting_point=0.1, root_depth_m=5.1), "root_depth_m"),
        (lambda: depletion_fraction_adjusted(1.1, etc_mm_day=5), "depletion_fraction"),
        (lambda: depletion_fraction_adjusted(-0.1, etc_mm_day=5), "depletion_fraction"),
        (lambda: depletion_fraction_adjusted(0.4, etc_mm_day=100.1), "etc_mm_day"),
    ],
)
def test_what_cannot_be_is_refused_by_name(ask: Any, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        ask()


def test_the_edges_of_what_can_be_are_taken() -> None:
    # WORKED, eq. 82 and 83: peat of nothing but water, five metres deep; and no soil at all.
    assert taw_mm(field_capacity=1.0, wilting_point=0.0, root_depth_m=5.0) == 5000.0
    assert taw_mm(field_capacity=0.3, wilting_point=0.3, root_depth_m=0.0) == 0.0
    assert raw_mm(taw_mm=5000.0, depletion_fraction=1.0) == 5000.0
    assert raw_mm(taw_mm=0.0, depletion_fraction=0.0) == 0.0
    assert rain_unused_mm(rain_mm=2000.0, eto_mm_day=5.0) == 0.0
    assert rain_unused_mm(rain_mm=0.0, eto_mm_day=0.0) == 0.0
    # WORKED, Table 22, note 2: 0.4 + 0.04 x (5 - 100) is under 0.1; 0.8 at most, of a day of none.
    assert depletion_fraction_adjusted(0.4, etc_mm_day=100.0) == 0.1
    assert depletion_fraction_adjusted(1.0, etc_mm_day=0.0) == 0.8
