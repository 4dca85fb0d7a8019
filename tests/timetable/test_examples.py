"""The examples in the docstrings of the timetable room."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from controller.timetable.need import dose, jobs, need, pulse_length, wetted_area
from controller.timetable.weather import days, monthly_climate

MODULES = (dose, jobs, need, pulse_length, wetted_area, days, monthly_climate)


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__.rpartition(".")[2])
def test_the_examples_in_the_docstrings_come_out(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0
