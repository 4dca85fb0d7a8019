"""Expected figures say what they are: PRINTED, WORKED or RECORDED (DEVELOPERS.md, Tests).

Looked at is each test that compares with `approx` of a plain number, written there or in its
parameters. No mark is needed for nought, for arithmetic that shows its own working
(`approx(80.0 / 3.2)`), and for a number that the test itself put in and is given back. The mark
stands in the test, in the comment right above it, in a table or helper in capitals that it uses,
or in the module's docstring for all of it.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
FILES = [path.relative_to(TESTS).as_posix() for path in sorted(TESTS.glob("*/test_*.py"))]
MARK = re.compile(r"\b(PRINTED|WORKED|RECORDED)\b")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


def _numbers(node: ast.AST) -> set[float]:
    """All numbers below, those in texts with them."""
    found: set[float] = set()
    for each in ast.walk(node):
        if isinstance(each, ast.Constant):
            if isinstance(each.value, str):
                found |= {float(number) for number in NUMBER.findall(each.value)}
            elif isinstance(each.value, int | float):
                found.add(float(each.value))
    return found


def _expected(node: ast.expr, parameters: set[str]) -> Iterator[float | str]:
    """Plain numbers, and parameters of the test, that something is compared with."""
    if isinstance(node, ast.UnaryOp):
        node = node.operand
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        yield float(node.value)
    elif isinstance(node, ast.Name) and node.id in parameters:
        yield node.id
    elif isinstance(node, ast.Tuple | ast.List):
        for each in node.elts:
            yield from _expected(each, parameters)
    elif isinstance(node, ast.Dict):
        for each in node.values:
            yield from _expected(each, parameters)


def _parameters(function: ast.FunctionDef) -> set[str]:
    found: set[str] = set()
    for mark in function.decorator_list:
        if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.parametrize":
            names = ast.literal_eval(mark.args[0])
            found |= {
                name.strip() for name in (names.split(",") if isinstance(names, str) else names)
            }
    return found


def _is_approx(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and ast.unparse(node.func) in {"approx", "pytest.approx"}


def _text(lines: list[str], node: ast.stmt) -> str:
    """Its lines, and the comment right above."""
    decorators = node.decorator_list if isinstance(node, ast.FunctionDef) else []
    begins = min([node.lineno, *(each.lineno for each in decorators)])
    while begins > 1 and lines[begins - 2].startswith("#"):
        begins -= 1
    return "\n".join(lines[begins - 1 : node.end_lineno])


def unmarked(text: str) -> Iterator[str]:
    """Names of the tests whose figures do not say what they are."""
    tree, lines = ast.parse(text), text.splitlines()
    if MARK.search(ast.get_docstring(tree) or ""):
        return
    tables = {
        ast.unparse(target): node
        for node in tree.body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
    }
    for test in tree.body:
        if not isinstance(test, ast.FunctionDef) or not test.name.startswith("test_"):
            continue
        parameters = _parameters(test)
        calls = [node for node in ast.walk(test) if isinstance(node, ast.Call)]
        compared = [call for call in calls if _is_approx(call) and call.args]
        figures = {one for call in compared for one in _expected(call.args[0], parameters)}
        used = {n.id for n in ast.walk(test) if isinstance(n, ast.Name)} & tables.keys()
        inside = {id(node) for call in compared for node in ast.walk(call)}
        put_in: set[float] = set()
        for node in ast.walk(test):
            if isinstance(node, ast.Constant) and id(node) not in inside:
                put_in |= _numbers(node)
        for name in used:
            put_in |= _numbers(tables[name])
        # A parameter that goes into a call as well is given back.
        put_in_names = {
            one.id
            for call in calls
            if not _is_approx(call)
            for one in (*call.args, *(keyword.value for keyword in call.keywords))
            if isinstance(one, ast.Name)
        }
        if not figures - put_in - put_in_names - {0.0}:
            continue
        said = [_text(lines, test), *(_text(lines, tables[name]) for name in used)]
        if not any(MARK.search(each) for each in said):
            yield f"{test.name} ({sorted(map(str, figures - put_in))})"


@pytest.mark.parametrize("file", FILES)
def test_figures_say_what_they_are(file: str) -> None:
    found = list(unmarked((TESTS / file).read_text(encoding="utf-8")))
    assert not found, f"{file}: neither PRINTED, WORKED nor RECORDED: {'; '.join(found)}"


@pytest.mark.parametrize(
    ("body", "seen"),
    [
        ("assert found() == approx(4.2)", True),
        ("assert found() == pytest.approx((4.2, 0.0))", True),
        ("assert found() == approx(4.2)  # WORKED: 2.1 twice", False),
        ("assert found() == approx(2.1 * 2)", False),
        ("assert found() == approx(0.0)", False),
        ("assert found(4.2) == approx(4.2)", False),
        ("assert found('4.2 m') == approx(4.2)", False),
        ("assert found() == approx(other())", False),
        ("assert found() == approx(TABLE)", False),
    ],
)
def test_the_check_sees_what_it_is_for(body: str, seen: bool) -> None:
    assert bool(list(unmarked(f"def test_it():\n    {body}\n"))) is seen
    assert not list(unmarked(f'"""All of it WORKED."""\ndef test_it():\n    {body}\n'))
    table = "# PRINTED: a handbook.\nROWS = [(1, 4.3)]\n\n\n"
    test = '@pytest.mark.parametrize(("n", "out"), ROWS)\ndef test_it(n, out):\n'
    assert not list(unmarked(f"{table}{test}    assert found(n) == approx(out)\n"))
    assert list(unmarked(f"{table[24:]}{test}    assert found(n) == approx(out)\n"))
