"""Shutting valves, standing pressure and warm pipe."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError, OutOfRange
from controller.hydraulics.physics.pipe import PIPES
from controller.hydraulics.physics.water_hammer import (
    RATING_PSI,
    derating,
    end_force_n,
    rated_head_m,
    surge_head_m,
    there_and_back_s,
    wave_speed_m_s,
)
from controller.units import c_from_f, head_m_from_psi


def test_a_stiff_wall_leaves_the_speed_of_sound_in_water() -> None:
    # PRINTED (from memory): Del Grosso and Mader (1972), 1482 m/s at 20 °C.
    speed = wave_speed_m_s(bore_m=0.02, wall_m=1.0, modulus_pa=1e13)
    assert speed == pytest.approx(1482.0, abs=1.0)


def test_shutting_within_there_and_back_is_shutting_at_once() -> None:
    # WORKED: 600 x 1.5 / 9.80665 = 91.775 m; 2 x 30 / 600 = 0.1 s.
    at_once = surge_head_m(stopped_m_s=1.5, wave_m_s=600.0, length_m=30.0)
    assert at_once == pytest.approx(91.7744591680135, abs=1e-9)
    assert there_and_back_s(length_m=30.0, wave_m_s=600.0) == pytest.approx(0.1, abs=1e-12)
    assert surge_head_m(
        stopped_m_s=1.5, wave_m_s=600.0, length_m=30.0, closing_s=0.1
    ) == pytest.approx(at_once)


def test_shutting_over_a_second_gives_what_stopping_the_mass_of_water_takes() -> None:
    # WORKED: mass x velocity / time over the area: rho L dV/t is 30 x 1.5/(1 x 9.80665) = 4.589 m;
    # Michaud's rule doubles it, for a valve stops unevenly: 9.177 m.
    slow = surge_head_m(stopped_m_s=1.5, wave_m_s=600.0, length_m=30.0, closing_s=1.0)
    assert slow == pytest.approx(2 * 30 * 1.5 / 9.80665, abs=1e-9)


@given(
    speed=st.floats(0.0, 5.0),
    length=st.floats(0.1, 200.0),
    closing=st.floats(0.0, 10.0),
    longer=st.floats(0.0, 10.0),
)
def test_shutting_slower_never_makes_more_surge(
    speed: float, length: float, closing: float, longer: float
) -> None:
    def rise(seconds: float) -> float:
        return surge_head_m(stopped_m_s=speed, wave_m_s=570.0, length_m=length, closing_s=seconds)

    assert rise(closing + longer) <= rise(closing) * (1 + 1e-12)


def test_warm_pipe_holds_less() -> None:
    # PRINTED: makers' lists of PVC 1120: 1 at 73 °F, 0.62 at 100 °F; 0.22 at 140 °F (from memory).
    assert derating(c_from_f(60.0)) == 1.0
    assert derating(c_from_f(73.0)) == 1.0
    assert derating(c_from_f(100.0)) == pytest.approx(0.62, abs=1e-9)
    assert derating(60.0) == pytest.approx(0.22, abs=1e-9)
    with pytest.raises(OutOfRange):
        derating(61.0)


@given(st.floats(-20.0, 60.0), st.floats(0.0, 20.0))
def test_no_pipe_gets_stronger_by_warming(celsius: float, more: float) -> None:
    assert derating(min(60.0, celsius + more)) <= derating(celsius)


def test_every_pipe_of_the_table_has_a_rating() -> None:
    assert set(RATING_PSI) == set(PIPES)
    assert rated_head_m("3/4 in") == pytest.approx(head_m_from_psi(480.0), rel=1e-12)
    with pytest.raises(InputError, match="known are 1/2 in"):
        rated_head_m("7 in")


def test_force_on_an_end_is_pressure_times_area() -> None:
    # WORKED: 10 m of water on 25 mm: 998.2 x 9.80665 x 10 = 97889.98 Pa on 4.908739e-4 m2.
    force = end_force_n(head_m=10.0, diameter_m=0.025)
    assert force == pytest.approx(48.05163, abs=5e-5)
