"""Worked examples of uniformity and of a single hole."""

from __future__ import annotations

import pytest
from support.hydraulics_rows import hole_passes_m3_s
from support.uniformity import emission_uniformity, variation_coefficient

from controller.hydraulics.network.uniformity import low_quarter_uniformity, scattered_uniformity


def test_low_quarter_of_sixteen_catches() -> None:
    # WORKED (du-lq-1): low-quarter definition of ASABE EP458 and NRCS. The lowest four are 1.5,
    # 1.6, 1.7, 1.8, mean 1.65; all sixteen sum to 32.0, mean 2.0; ratio 0.825. The squared
    # deviations sum to 1.12; over 15, root, over 2.0: 0.137.
    caught = [2.1, 1.9, 2.4, 1.6, 2.0, 2.2, 1.8, 2.3, 1.7, 2.0, 2.1, 1.9, 2.5, 1.5, 2.0, 2.0]
    assert low_quarter_uniformity(caught) == pytest.approx(0.825, abs=1e-9)
    assert variation_coefficient(caught) == pytest.approx(0.137, abs=0.001)


def test_design_emission_uniformity() -> None:
    # WORKED (eu-design-1): Keller and Karmeli (1974), ASABE EP405: (1 - 0.127) x 1.8/2.0 = 0.7857;
    # with four outlets at a plant 0.9 x (1 - 1.27 x 0.1/2) = 0.84285.
    for outlets, worked in ((1, 78.57), (4, 84.285)):
        eu = emission_uniformity(
            least_flow=1.8, mean_flow=2.0, scatter_fraction=0.1, outlets_per_plant=outlets
        )
        assert 100 * eu == pytest.approx(worked, abs=1e-9)
        # The program's own low quarter of as many like holes as a distribution has.
        scatter = 0.1 / outlets**0.5
        ours = scattered_uniformity([2.0] * 2000, [2.0 * scatter] * 2000)
        assert 100 * ours * 1.8 / 2.0 == pytest.approx(worked, abs=0.02)


def test_a_millimetre_hole_under_five_metres() -> None:
    # WORKED (orifice-1): 0.62 x pi/4 x 1 mm2 x sqrt(2 x 9.81 x 5) = 4.8231e-6 m3/s = 17.36 L/h.
    flow = hole_passes_m3_s(
        head_over_hole_m=5.0, bore_m=1e-3, discharge_coefficient=0.62, gravity_m_s2=9.81
    )
    assert flow * 3.6e6 == pytest.approx(17.36, abs=0.02)
