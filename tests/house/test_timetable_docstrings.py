"""The examples in the docstrings of the timetable room."""

from __future__ import annotations

import doctest
import inspect
import re
from types import FunctionType, ModuleType

import pytest

from controller.inputs import days, monthly_climate
from controller.timetable import extremes, windows
from controller.timetable.need import dose, jobs, need, pulse_length, wetted_area
from controller.timetable.packing import job

NEED = (dose, jobs, need, pulse_length, wetted_area)
MODULES = (*NEED, job, windows, days, extremes, monthly_climate)


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__.rpartition(".")[2])
def test_the_examples_in_the_docstrings_come_out(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0


def _floats(module: ModuleType) -> list[FunctionType]:
    """The public functions of a module that give a plain figure."""
    return [
        found
        for name, found in vars(module).items()
        if isinstance(found, FunctionType)
        and found.__module__ == module.__name__
        and not name.startswith("_")
        and found.__annotations__["return"] in ("float", "float | None", "tuple[float, float]")
    ]


@pytest.mark.parametrize(
    "function",
    [found for module in NEED for found in _floats(module)],
    ids=lambda f: f.__name__,
)
def test_a_figure_of_need_has_its_unit_its_source_and_an_example(function: FunctionType) -> None:
    text = inspect.getdoc(function) or ""
    for heading in ("Parameters", "Returns", "Source", "Examples"):
        assert f"{heading}\n{'-' * len(heading)}" in text, heading
    returns = text.split("Returns\n")[1].split("Source\n")[0]
    assert re.search(r"\[[^\]]+\]", returns), returns
