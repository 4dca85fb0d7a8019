"""Uniformities."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.errors import InputError, OutOfRange
from controller.hydraulics.network.uniformity import (
    by_squares,
    flow_variation,
    low_quarter_uniformity,
    scattered_uniformity,
)

flows = st.lists(st.floats(0.0, 1e-4), min_size=1, max_size=60)


@given(flows)
@example([0.0, 5e-324])  # so little that its mean is nought
def test_evenness_is_a_part_of_one(q: Any) -> None:
    assert 0.0 <= low_quarter_uniformity(q) <= 1.0
    assert 0.0 <= flow_variation(q) <= 1.0


@given(flows, st.randoms())
def test_the_order_of_holes_does_not_matter(q: Any, rng: Any) -> None:
    mixed = list(q)
    rng.shuffle(mixed)
    assert low_quarter_uniformity(mixed) == pytest.approx(low_quarter_uniformity(q), abs=1e-12)
    assert flow_variation(mixed) == flow_variation(q)


@given(st.integers(1, 40), st.floats(1e-9, 1e-3))
def test_equal_holes_are_even(count: int, q: float) -> None:
    assert low_quarter_uniformity([q] * count) == pytest.approx(1.0, abs=1e-12)
    assert flow_variation([q] * count) == 0.0


def test_a_quarter_of_six_takes_half_of_the_second_hole() -> None:
    # WORKED: quarter of 6 is 1.5: (1 + 0.5 x 2)/1.5 = 1.3333 over the mean 21/6 = 3.5: 0.380952.
    assert low_quarter_uniformity([1, 2, 3, 4, 5, 6]) == pytest.approx(2 / 1.5 / 3.5, abs=1e-12)


def test_where_nothing_flows_nothing_is_even() -> None:
    assert low_quarter_uniformity([0.0, 0.0]) == 0.0
    assert flow_variation([0.0, 0.0]) == 0.0


def test_one_dry_hole_is_full_variation() -> None:
    assert flow_variation([0.0, 1.0]) == 1.0


def test_no_holes_have_no_evenness() -> None:
    with pytest.raises(InputError, match="at least one open hole"):
        low_quarter_uniformity([])


def test_a_negative_flow_is_refused() -> None:
    with pytest.raises(OutOfRange, match="flow_m3_s"):
        flow_variation([1.0, -1.0])


def test_scatter_alone_of_many_and_of_few_holes() -> None:
    # WORKED: many: 1 - 1.2711 x 0.05 = 0.9364. Of four the least lies 1.0294 deviations below the
    # mean (PRINTED in tables of normal order statistics, from memory), of eight the two lowest
    # (1.4236 + 0.8522)/2 = 1.1379: 0.9485, 0.9431. One alone is even.
    for count, expected in ((2000, 0.9364), (8, 0.9431), (4, 0.9485), (1, 1.0)):
        found = scattered_uniformity([2.0] * count, [0.1] * count)
        assert found == pytest.approx(expected, abs=0.001)


def test_causes_add_by_their_squares() -> None:
    # WORKED: sqrt(0.03^2 + 0.04^2) = 0.05.
    assert by_squares(0.97, 0.96) == pytest.approx(0.95, abs=1e-12)
    assert by_squares(0.9) == pytest.approx(0.9, abs=1e-12)
    assert by_squares(0.0, 0.0) == 0.0


@given(st.lists(st.floats(1e-7, 1e-4), min_size=1, max_size=40), st.floats(0.0, 0.3))
def test_scatter_takes_from_a_row_and_never_gives(q: Any, scatter: float) -> None:
    real = scattered_uniformity(q, [scatter * one for one in q])
    assert 0.0 <= real <= low_quarter_uniformity(q) + 1e-9


@given(
    st.lists(st.floats(0.0, 1e-4), min_size=1, max_size=40),
    st.floats(0.0, 3.0),
    st.floats(0.1, 1e3),
)
def test_real_evenness_is_a_part_of_one_whatever_the_unit(
    q: Any, scatter: float, unit: float
) -> None:
    real = scattered_uniformity(q, [scatter * one for one in q])
    assert 0.0 <= real <= 1.0
    # Below some size a sum of flows has no digits left.
    if max(q) > 1e-9:
        other = scattered_uniformity([unit * one for one in q], [unit * scatter * one for one in q])
        assert other == pytest.approx(real, abs=1e-6)


def test_a_row_with_a_quarter_dry_has_no_low_quarter() -> None:
    assert scattered_uniformity([0.0, 1.0, 1.0, 1.0], [0.0, 0.1, 0.1, 0.1]) == 0.0
    assert scattered_uniformity([0.0], [0.0]) == 0.0
    assert scattered_uniformity([0.0] * 3, [0.1] * 3) == 0.0
    half = scattered_uniformity([0.0] + [1.0] * 7, [0.0] + [1e-6] * 7)
    # WORKED: the quarter of eight is two: none and one, mean 0.5 over 7/8.
    assert half == pytest.approx(0.5 / 0.875, abs=1e-4)


def test_a_scatter_is_no_less_than_none() -> None:
    with pytest.raises(OutOfRange, match="deviation"):
        scattered_uniformity([1.0], [-0.1])
    with pytest.raises(InputError, match="at least one open hole"):
        scattered_uniformity([], [])
