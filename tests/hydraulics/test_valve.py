"""Loss by handle angle."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError, OutOfRange
from controller.hydraulics.physics.pipe import loss_k_at


@given(angle=st.floats(0.0, 64.0), more=st.floats(0.01, 1.0))
def test_turning_further_never_loses_less(angle: float, more: float) -> None:
    assert 0.0 <= loss_k_at(angle) < loss_k_at(angle + more)


def test_a_full_open_valve_adds_nothing() -> None:
    assert loss_k_at(0.0) == 0.0


def test_half_way_between_two_lines_the_logarithm_is_halved() -> None:
    # WORKED: between 30 (5.5) and 40 degrees (17): sqrt(5.5 x 17) = 9.66954.
    assert loss_k_at(35.0) == pytest.approx((5.5 * 17) ** 0.5, rel=1e-9)


@pytest.mark.parametrize("angle_deg", [65.1, 80.0, 90.0])
def test_near_shut_nothing_is_computed(angle_deg: float) -> None:
    with pytest.raises(InputError, match=r"not computable near shut.*measure the flow instead"):
        loss_k_at(angle_deg)


@pytest.mark.parametrize("angle_deg", [-1.0, 91.0, float("nan")])
def test_a_quarter_turn_has_ninety_degrees(angle_deg: Any) -> None:
    with pytest.raises(OutOfRange, match="angle_deg"):
        loss_k_at(angle_deg)
