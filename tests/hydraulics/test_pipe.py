"""Friction and head lost."""

from __future__ import annotations

from math import nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import OutOfRange
from controller.hydraulics.physics.pipe import friction_factor, head_loss_m, viscosity_m2_s


@pytest.mark.parametrize("corner", [2000.0, 4000.0])
@pytest.mark.parametrize("relative_roughness", [0.0, 7.5e-5, 1e-3])
def test_friction_is_continuous_in_value_and_slope(
    corner: float, relative_roughness: float
) -> None:
    step = 1e-3
    below = friction_factor(corner - step, relative_roughness)
    above = friction_factor(corner + step, relative_roughness)
    assert above == pytest.approx(below, rel=1e-5)
    left = below - friction_factor(corner - 2 * step, relative_roughness)
    right = friction_factor(corner + 2 * step, relative_roughness) - above
    assert right == pytest.approx(left, rel=0.01)


@given(
    flow=st.floats(1e-9, 2e-3), more=st.floats(1e-9, 1e-3), bore=st.sampled_from([0.0153, 0.0261])
)
def test_more_flow_never_loses_less_head(flow: float, more: float, bore: Any) -> None:
    one = head_loss_m(flow_m3_s=flow, length_m=5.0, bore_m=bore, viscosity_m2_s=1.1e-6)
    two = head_loss_m(flow_m3_s=flow + more, length_m=5.0, bore_m=bore, viscosity_m2_s=1.1e-6)
    assert two > one > 0.0


def test_head_lost_turns_with_the_flow() -> None:
    there = head_loss_m(flow_m3_s=1e-4, length_m=3.0, bore_m=0.02, viscosity_m2_s=1e-6)
    back = head_loss_m(flow_m3_s=-1e-4, length_m=3.0, bore_m=0.02, viscosity_m2_s=1e-6)
    assert back == -there


def test_still_water_loses_no_head() -> None:
    assert head_loss_m(flow_m3_s=0.0, length_m=3.0, bore_m=0.02, viscosity_m2_s=1e-6) == 0.0


def test_a_fitting_alone_loses_its_share_of_the_velocity_head() -> None:
    # WORKED: v = 1e-4/(pi/4 x 0.02^2) = 0.3183099 m/s; 4 v2/(2 x 9.80665) = 0.0206640 m.
    lost = head_loss_m(flow_m3_s=1e-4, length_m=0.0, bore_m=0.02, loss_k=4.0, viscosity_m2_s=1e-6)
    assert lost == pytest.approx(4 * (1 / (3.141592653589793)) ** 2 / (2 * 9.80665), rel=1e-9)


def test_laminar_flow_loses_head_by_poiseuille() -> None:
    # WORKED: 128 nu L Q/(pi g D4) = 128 x 1e-6 x 2 x 1e-6/(pi x 9.80665 x 0.01^4) m.
    lost = head_loss_m(flow_m3_s=1e-6, length_m=2.0, bore_m=0.01, viscosity_m2_s=1e-6)
    assert lost == pytest.approx(128e-6 * 2 * 1e-6 / (3.141592653589793 * 9.80665 * 1e-8), rel=1e-9)


@pytest.mark.parametrize("water_temp_c", [-1.0, 51.0, nan])
def test_viscosity_outside_0_to_50_is_refused(water_temp_c: Any) -> None:
    with pytest.raises(OutOfRange, match="water_temp_c"):
        viscosity_m2_s(water_temp_c)


@pytest.mark.parametrize("reynolds", [0.0, -5.0, nan])
def test_a_reynolds_number_must_be_above_zero(reynolds: Any) -> None:
    with pytest.raises(OutOfRange, match="reynolds"):
        friction_factor(reynolds, 1e-4)
