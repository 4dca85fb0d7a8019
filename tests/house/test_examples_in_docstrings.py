"""Examples in the docstrings of the science rooms are run, and its plain functions have one."""

from __future__ import annotations

import ast
import doctest
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCIENCE = ("controller/hydraulics", "controller/demand", "controller/timetable/need")
MODULES = [
    path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
    for room in SCIENCE
    for path in sorted((ROOT / room).rglob("*.py"))
    if path.name != "__init__.py"
]
# Modules whose every plain function has an example; add one when its functions do.
WITH_EXAMPLES = [
    "controller.demand.climate.atmosphere",
    "controller.demand.climate.radiation",
    "controller.demand.climate.reference_et",
    "controller.demand.climate.snow",
    "controller.demand.climate.usual_et",
    "controller.demand.plants.canopy",
    "controller.demand.plants.course",
    "controller.demand.plants.degree_days",
    "controller.demand.plants.development",
    "controller.demand.plants.observations",
    "controller.demand.plants.stages",
    "controller.demand.soil.daily_balance",
    "controller.demand.soil.ground",
    "controller.demand.soil.mulch",
    "controller.demand.soil.salinity",
    "controller.demand.soil.soil_water",
    "controller.hydraulics.calibration.least_squares",
    "controller.hydraulics.design.limits",
    "controller.hydraulics.network.geometry",
    "controller.hydraulics.network.march",
    "controller.hydraulics.network.supplies",
    "controller.hydraulics.network.uniformity",
    "controller.hydraulics.physics.jets",
    "controller.hydraulics.physics.orifice",
    "controller.hydraulics.physics.pipe",
    "controller.hydraulics.physics.water_hammer",
    "controller.timetable.need.dose",
    "controller.timetable.need.wetted_area",
]
# A function is plain where it returns one of these, or a tuple of them, ...
SMALL = {"bool", "float", "int", "str", "HoleLaw", "Shape"}
# ... and where none of these has to be made first: an example would be of a garden, not of it.
LARGE = {"Garden", "Zone"}


def _names(annotation: ast.expr | None) -> set[str]:
    if annotation is None:
        return set()
    return {node.id for node in ast.walk(annotation) if isinstance(node, ast.Name)} - {"tuple"}


def _is_plain(function: ast.FunctionDef) -> bool:
    arguments = [*function.args.args, *function.args.kwonlyargs]
    returned = _names(function.returns)
    return (
        not function.name.startswith("_")
        and bool(returned)
        and returned <= SMALL
        and not any(_names(argument.annotation) & LARGE for argument in arguments)
    )


@pytest.mark.parametrize("name", MODULES)
def test_examples_give_what_they_say(name: str) -> None:
    found = doctest.testmod(import_module(name), report=True)
    assert found.failed == 0, f"{name}: {found.failed} examples of {found.attempted} fail"


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_each_plain_function_has_an_example(name: str) -> None:
    path = ROOT / (name.replace(".", "/") + ".py")
    functions = [
        node
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and _is_plain(node)
    ]
    assert functions, f"{name} has no plain function: leave it out of WITH_EXAMPLES"
    without = [one.name for one in functions if ">>>" not in (ast.get_docstring(one) or "")]
    assert not without, f"{name}: no example in {without}"
