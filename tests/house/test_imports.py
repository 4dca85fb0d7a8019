"""Imports go down the stairs, and each outside package has one door."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOT_MODULES = {"errors", "units", "clock"}

# room: the rooms it may import from, besides itself. Change this table and the one in DEVELOPERS.md
# together.
STAIRS: dict[str, set[str]] = {
    "root": set(),
    "garden": {"root"},
    "crops": {"root", "garden"},
    "weather": {"root", "garden", "crops"},
    "demand": {"root", "garden", "crops"},
    "hydraulics": {"root", "garden"},
    "timetable": {"root", "garden", "crops", "weather", "demand", "hydraulics"},
    "valves": {"root"},
    "logbook": {"root", "garden", "weather", "demand", "timetable"},
    "paper": {"root", "garden", "demand", "hydraulics", "timetable", "logbook"},
    "daemon": {
        "root",
        "garden",
        "crops",
        "weather",
        "demand",
        "hydraulics",
        "timetable",
        "valves",
        "logbook",
    },
    "cli": {
        "root",
        "garden",
        "crops",
        "weather",
        "demand",
        "hydraulics",
        "timetable",
        "valves",
        "logbook",
        "daemon",
        "paper",
    },
}
# outside package: the only modules that may import it
DOORS = {
    "pydantic": {"controller/garden/form.py"},
    "requests": {"controller/weather/online.py"},
    "gpiozero": {"controller/valves/relay.py"},
    "lgpio": {"controller/valves/relay.py", "controller/valves/alloff.py"},
    "sqlite_utils": {"controller/logbook/schema.py"},
    "apscheduler": {"controller/daemon/rhythm.py"},
    "time": {"controller/clock.py"},
}
STANDARD_ONLY_BESIDES = set(DOORS) | {"controller", "crops"}
# Sleeping between tries, and stamping log lines in UTC, is not asking what time it is.
MAY_IMPORT_TIME = {"controller/weather/online.py", "controller/daemon/service.py"}

MODULES = sorted(
    p.relative_to(ROOT).as_posix()
    for top in ("controller", "crops")
    for p in (ROOT / top).rglob("*.py")
)


def _imports(module: str) -> list[str]:
    found = []
    for node in ast.walk(ast.parse((ROOT / module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative imports hide the room"
            found.append(node.module or "")
    return found


def _room(dotted: str) -> str:
    parts = dotted.split(".")
    if parts[0] == "crops":
        return "crops"
    if len(parts) == 1 or parts[1] in ROOT_MODULES:
        return "root"
    return parts[1]


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_only_from_rooms_further_up(module: str) -> None:
    room = _room(module.removesuffix(".py").removesuffix("/__init__").replace("/", "."))
    for imported in _imports(module):
        if imported.split(".")[0] in ("controller", "crops"):
            theirs = _room(imported)
            assert theirs == room or theirs in STAIRS[room], f"{module} imports {imported}"


@pytest.mark.parametrize("module", MODULES)
def test_each_outside_package_has_one_door(module: str) -> None:
    import sys

    for imported in _imports(module):
        top = imported.split(".")[0]
        if top in DOORS:
            allowed = DOORS[top] | (MAY_IMPORT_TIME if top == "time" else set())
            assert module in allowed, f"{module} imports {imported}"
        elif top not in STANDARD_ONLY_BESIDES:
            assert top in sys.stdlib_module_names, f"{module} imports {imported}"


@pytest.mark.parametrize("module", [m for m in MODULES if m != "controller/clock.py"])
def test_nothing_but_the_clock_asks_the_time(module: str) -> None:
    asking = {"now", "utcnow", "today", "monotonic", "perf_counter", "time_ns", "monotonic_ns"}
    for node in ast.walk(ast.parse((ROOT / module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            target = node.func.value
            name = target.id if isinstance(target, ast.Name) else ""
            if name in {"datetime", "date", "time"} and node.func.attr in asking:
                pytest.fail(f"{module}, line {node.lineno}: asks {name}.{node.func.attr}()")


def test_every_room_is_on_the_stairs() -> None:
    rooms = {p.name for p in (ROOT / "controller").iterdir() if (p / "__init__.py").is_file()}
    assert rooms | {"root", "crops"} == set(STAIRS)
