"""Streams: heights and reaches against heads, both ways."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hydraulics_rows import torricelli_m3_s

from controller.errors import OutOfRange
from controller.hydraulics.physics import jets


def test_a_stream_of_an_inch_leaves_at_the_speed_of_a_fall_of_an_inch() -> None:
    # WORKED: v^2/(2 g) = 0.0254 m: v = sqrt(2 * 9.80665 * 0.0254) = 0.7058 m/s.
    assert jets.exit_speed_from_height_m_s(0.0254) == pytest.approx(0.7058, abs=1e-4)


def test_a_level_stream_lands_after_the_time_of_its_fall() -> None:
    # WORKED: 6 in = 0.1524 m fall in sqrt(2 * 0.1524 / 9.80665) = 0.17630 s; 2 ft in it: 3.458 m/s.
    speed = jets.exit_speed_from_reach_m_s(reach_m=0.6096, drop_m=0.1524)
    assert speed == pytest.approx(0.6096 / 0.17630, rel=1e-4)


@given(
    head_m=st.floats(1e-3, 100.0),
    drop_m=st.floats(0.01, 2.0),
    coefficient=st.floats(0.5, 1.0),
)
def test_head_comes_back_from_height_and_from_reach(
    head_m: float, drop_m: float, coefficient: float
) -> None:
    high = jets.height_m(head_m=head_m, velocity_coefficient=coefficient)
    far = jets.reach_m(head_m=head_m, drop_m=drop_m, velocity_coefficient=coefficient)
    assert jets.head_from_height_m(
        height_m=high, velocity_coefficient=coefficient
    ) == pytest.approx(head_m)
    if far <= 100.0:
        assert jets.head_from_reach_m(
            reach_m=far, drop_m=drop_m, velocity_coefficient=coefficient
        ) == pytest.approx(head_m)


@given(head_m=st.floats(1e-3, 10.0), coefficient=st.floats(0.6, 0.9))
def test_the_height_of_a_full_stream_tells_the_flow_whatever_the_coefficient(
    head_m: float, coefficient: float
) -> None:
    high_m = jets.height_m(head_m=head_m, velocity_coefficient=coefficient)
    area_m2 = 3.141592653589793 / 4.0 * 0.0015875**2
    assert area_m2 * jets.exit_speed_from_height_m_s(high_m) == pytest.approx(
        torricelli_m3_s(
            head_over_hole_m=head_m, bore_m=0.0015875, discharge_coefficient=coefficient
        )
    )


def test_nothing_leaves_a_hole_above_the_water() -> None:
    assert jets.height_m(head_m=-0.01, velocity_coefficient=0.8) == 0.0
    assert jets.reach_m(head_m=-0.01, drop_m=0.1, velocity_coefficient=0.8) == 0.0


def test_a_thick_wall_has_the_speed_of_its_discharge_and_a_thin_one_a_faster_stream() -> None:
    assert jets.velocity_coefficient(discharge_coefficient=0.8, wall_m=0.0031, bore_m=0.0016) == 0.8
    assert (
        jets.velocity_coefficient(discharge_coefficient=0.62, wall_m=0.0015, bore_m=0.0032) == 0.97
    )


@pytest.mark.parametrize("wrong", [-0.01, float("nan"), 1000.0])
def test_a_height_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(OutOfRange, match="height_m"):
        jets.exit_speed_from_height_m_s(wrong)


@pytest.mark.parametrize("wrong", [0.0, -0.1, float("nan")])
def test_a_reach_needs_a_drop(wrong: float) -> None:
    with pytest.raises(OutOfRange, match="drop_m"):
        jets.exit_speed_from_reach_m_s(reach_m=0.5, drop_m=wrong)


# WORKED: z = Cv^2 h and x = 2 Cv sqrt(h y), 0.1 to 2 psi with 1 psi taken as 0.703 m of water: head
# in m, then height in mm and reach in m from 0.15 m up, each for a hole running full (Cv 0.80) and
# for a detached stream (0.97). At 1 psi 0.64 * 703 = 450 and 2 * 0.8 * sqrt(0.703 * 0.15) = 0.52.
_TABLE = [
    (0.070, 45, 66, 0.16, 0.20),
    (0.211, 135, 198, 0.28, 0.35),
    (0.352, 225, 331, 0.37, 0.45),
    (0.703, 450, 662, 0.52, 0.63),
    (1.055, 675, 992, 0.64, 0.77),
    (1.406, 900, 1323, 0.73, 0.89),
]


@pytest.mark.parametrize(("head_m", "full_mm", "detached_mm", "full_m", "detached_m"), _TABLE)
def test_heights_and_reaches_follow_the_table_of_streams(
    head_m: float, full_mm: float, detached_mm: float, full_m: float, detached_m: float
) -> None:
    for coefficient, high_mm, far_m in ((0.80, full_mm, full_m), (0.97, detached_mm, detached_m)):
        high = jets.height_m(head_m=head_m, velocity_coefficient=coefficient)
        far = jets.reach_m(head_m=head_m, drop_m=0.15, velocity_coefficient=coefficient)
        assert 1000.0 * high == pytest.approx(high_mm, abs=1.0)
        assert far == pytest.approx(far_m, abs=0.006)
