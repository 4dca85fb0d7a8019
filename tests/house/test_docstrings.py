"""Public docstrings: everything says what it is; physics says units and source."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PHYSICS = [
    *sorted((ROOT / "controller/hydraulics").rglob("*.py")),
    *sorted((ROOT / "controller/demand").rglob("*.py")),
]
ALL = sorted(p for top in ("controller", "crops") for p in (ROOT / top).rglob("*.py"))
# The unit a name's ending promises, as a docstring writes it in brackets.
ENDINGS = {
    "_pct_per_ds_m": "%/(dS/m)",
    "_ds_m": "dS/m",
    "_m3_s": "m3/s",
    "_l_s": "L/s",
    "_m2_s": "m2/s",
    "_m_s2": "m/s2",
    "_m_s": "m/s",
    "_mj_m2": "MJ/m2",
    "_mm_day": "mm/day",
    "_mm_h": "mm/h",
    "_mm": "mm",
    "_m3": "m3",
    "_m2": "m2",
    "_m": "m",
    "_kpa": "kPa",
    "_c": "°C",
    "_rad": "rad",
    "_deg": "deg",
    "_pct": "%",
    "_s": "s",
    "_h": "h",
}


def _public(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                        yield inner


@pytest.mark.parametrize("path", ALL, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_everything_public_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), f"{path.name}: the module says nothing of itself"
    # The tables of the garden file say what they hold by their keys; docs/garden-file.md has words.
    silent = [
        n.name
        for n in _public(tree)
        if not ast.get_docstring(n) and not n.name.startswith("Written")
    ]
    assert not silent, f"{path.name}: {silent}"


def _physics_functions() -> list[tuple[str, str, ast.FunctionDef]]:
    return [
        (path.name, node.name, node)
        for path in PHYSICS
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and isinstance(node.returns, ast.Name)
        and node.returns.id == "float"
    ]


@pytest.mark.parametrize(
    ("module", "name", "node"), _physics_functions(), ids=lambda v: v if isinstance(v, str) else ""
)
def test_a_physics_function_names_its_units_and_its_source(
    module: str, name: str, node: ast.FunctionDef
) -> None:
    text = ast.get_docstring(node) or ""
    assert re.search(r"^Source\n-+", text, re.M), f"{module}: {name} names no source"
    assert re.search(r"^Returns\n-+", text, re.M), f"{module}: {name} does not say what it returns"
    described = re.split(r"^Returns\n-+", text, flags=re.M)[0]
    for argument in [*node.args.args, *node.args.kwonlyargs]:
        ending = next((e for e in ENDINGS if argument.arg.endswith(e)), None)
        if ending is None:
            continue
        entry = re.search(
            rf"^[^\n]*\b{argument.arg}\b[^\n]* : [^\n]*\n((?:[ ]{{4,}}[^\n]*\n?|\n)*)",
            described,
            re.M,
        )
        assert entry, f"{module}: {name} does not describe {argument.arg}"
        units = re.findall(r"\[([^\]]+)\]", entry.group(0))
        assert ENDINGS[ending] in units, (
            f"{module}: {name}: {argument.arg} promises [{ENDINGS[ending]}], found {units}"
        )
