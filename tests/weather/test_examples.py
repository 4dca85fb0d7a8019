"""The examples in the docstrings of the weather room."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from controller.weather import day, series_checks, source_priority


@pytest.mark.parametrize(
    "module",
    [day, series_checks, source_priority],
    ids=lambda m: m.__name__.rpartition(".")[2],
)
def test_the_examples_in_the_docstrings_come_out(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0
