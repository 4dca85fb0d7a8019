"""What of a rain runs off."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.demand.soil.soil_water import runoff_mm
from controller.errors import OutOfRange

rains_mm = st.floats(0.0, 500.0)
numbers = st.floats(1.0, 100.0)


def test_fifty_millimetres_on_number_75() -> None:
    # PRINTED as a formula: NRCS NEH 630, chapter 10 (from memory). WORKED: S = 25400 / 75 - 254 =
    # 84.667; Q = (50 - 16.933)^2 / (50 + 67.733) = 1093.40 / 117.733 = 9.287.
    assert runoff_mm(rain_mm=50.0, curve_number=75.0) == approx(9.287, abs=0.0005)


# PRINTED (from memory): NRCS TR-55 (1986), Table 2-1, runoff in inches for rainfall in inches.
@pytest.mark.parametrize(
    ("rain_in", "number", "runoff_in"),
    [(1.0, 80, 0.08), (2.0, 80, 0.56), (3.0, 60, 0.33), (4.0, 70, 1.33), (5.0, 90, 3.88)],
)
def test_table_of_the_handbooks_shorter_release(
    rain_in: float, number: float, runoff_in: float
) -> None:
    found = runoff_mm(rain_mm=rain_in * 25.4, curve_number=number) / 25.4
    assert found == approx(runoff_in, abs=0.005)


def test_nothing_runs_off_before_a_fifth_of_the_storage_is_filled() -> None:
    # WORKED: number 75 stores 84.667 mm, a fifth is 16.933.
    assert runoff_mm(rain_mm=16.93, curve_number=75.0) == 0.0
    assert 0.0 < runoff_mm(rain_mm=17.5, curve_number=75.0) < 0.01


@given(rains_mm)
def test_a_roof_sheds_all(rain: float) -> None:
    assert runoff_mm(rain_mm=rain, curve_number=100.0) == rain


@given(rains_mm, rains_mm, numbers, numbers)
def test_more_rain_or_a_higher_number_never_sheds_less_and_never_more_than_fell(
    a: float, b: float, c: float, d: float
) -> None:
    (less, more), (open_ground, hard) = sorted((a, b)), sorted((c, d))
    shed = runoff_mm(rain_mm=less, curve_number=open_ground)
    assert 0.0 <= shed <= less
    assert shed <= runoff_mm(rain_mm=more, curve_number=open_ground) + 1e-9
    assert shed <= runoff_mm(rain_mm=less, curve_number=hard) + 1e-9


@given(rains_mm, rains_mm, numbers)
def test_no_more_runs_off_of_a_millimetre_than_a_millimetre(
    a: float, b: float, number: float
) -> None:
    less, more = sorted((a, b))
    shed = [runoff_mm(rain_mm=r, curve_number=number) for r in (less, more)]
    assert shed[1] - shed[0] <= more - less + 1e-9


@pytest.mark.parametrize(
    ("rain", "number", "name"),
    [(-1.0, 75, "rain_mm"), (math.nan, 75, "rain_mm"), (5.0, 0.5, "curve_number"),
     (5.0, 101, "curve_number")],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(rain: Any, number: float, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        runoff_mm(rain_mm=rain, curve_number=number)
