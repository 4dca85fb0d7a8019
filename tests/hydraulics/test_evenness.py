"""Uniformities."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError, OutOfRange
from controller.hydraulics.evenness import (
    emission_uniformity,
    flow_variation,
    low_quarter_uniformity,
    variation_coefficient,
    with_drilling_scatter,
)

flows = st.lists(st.floats(0.0, 1e-4), min_size=1, max_size=60)


@given(flows)
def test_evenness_is_a_part_of_one(q):
    assert 0.0 <= low_quarter_uniformity(q) <= 1.0
    assert 0.0 <= flow_variation(q) <= 1.0


@given(flows, st.randoms())
def test_the_order_of_holes_does_not_matter(q, rng):
    mixed = list(q)
    rng.shuffle(mixed)
    assert low_quarter_uniformity(mixed) == pytest.approx(low_quarter_uniformity(q), abs=1e-12)
    assert flow_variation(mixed) == flow_variation(q)


@given(st.integers(1, 40), st.floats(1e-9, 1e-3))
def test_equal_holes_are_even(count, q):
    assert low_quarter_uniformity([q] * count) == pytest.approx(1.0, abs=1e-12)
    assert flow_variation([q] * count) == 0.0


def test_a_quarter_of_six_takes_half_of_the_second_hole():
    # WORKED: quarter of 6 is 1.5: (1 + 0.5 x 2)/1.5 = 1.3333 over the mean 21/6 = 3.5: 0.380952.
    assert low_quarter_uniformity([1, 2, 3, 4, 5, 6]) == pytest.approx(2 / 1.5 / 3.5, abs=1e-12)


def test_where_nothing_flows_nothing_is_even():
    assert low_quarter_uniformity([0.0, 0.0]) == 0.0
    assert flow_variation([0.0, 0.0]) == 0.0


def test_one_dry_hole_is_full_variation():
    assert flow_variation([0.0, 1.0]) == 1.0


def test_no_holes_have_no_evenness():
    with pytest.raises(InputError, match="at least one open hole"):
        low_quarter_uniformity([])


def test_a_negative_flow_is_refused():
    with pytest.raises(OutOfRange, match="flow_m3_s"):
        flow_variation([1.0, -1.0])


def test_five_percent_of_scatter_makes_a_perfect_pipe_94():
    # WORKED: 1 - 1.27 x 0.05 = 0.9365.
    assert with_drilling_scatter(1.0, 0.05) == pytest.approx(0.9365, abs=1e-12)


def test_more_outlets_at_a_plant_hide_the_scatter():
    one = emission_uniformity(least_flow_m3_s=1.8, mean_flow_m3_s=2.0, scatter_fraction=0.1)
    four = emission_uniformity(
        least_flow_m3_s=1.8, mean_flow_m3_s=2.0, scatter_fraction=0.1, outlets_per_plant=4
    )
    # WORKED: 0.9 x (1 - 1.27 x 0.1/2) = 0.84285.
    assert four == pytest.approx(0.84285, abs=1e-9)
    assert four > one


def test_a_scatter_needs_two_outlets():
    with pytest.raises(InputError, match="two or more"):
        variation_coefficient([1.0])


def test_the_least_flow_is_not_above_the_mean():
    with pytest.raises(OutOfRange, match="least_flow_m3_s"):
        emission_uniformity(least_flow_m3_s=2.1, mean_flow_m3_s=2.0, scatter_fraction=0.0)
