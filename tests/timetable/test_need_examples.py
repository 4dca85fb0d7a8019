"""The examples in the docstrings of what a zone needs."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from controller.timetable.need import dose, jobs, need, pulse_length, wetted_area


@pytest.mark.parametrize(
    "module", [dose, jobs, need, pulse_length, wetted_area], ids=lambda m: m.__name__[27:]
)
def test_the_examples_in_the_docstrings_come_out(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0
