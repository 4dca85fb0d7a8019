"""No test sleeps or looks at a real clock, but where it says why.

What is marked slow or board, a benchmark, and all of tests/process and tests/board may: real
processes run there. Elsewhere a comment `# real time: why` allows it, in the function that does it
or, at the beginning of a line, for the whole file.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
FREE = {"board", "process"}
FILES = [
    path.relative_to(TESTS).as_posix()
    for path in sorted(TESTS.glob("*/*.py"))
    if path.parent.name not in FREE
]
# module (or class): what of it is asked for, or slept by
CLOCKS = {
    "time": {
        *("sleep", "time", "time_ns", "monotonic", "monotonic_ns"),
        *("perf_counter", "perf_counter_ns", "process_time"),
    },
    "datetime": {"now", "utcnow", "today"},
    "date": {"today"},
}
BY_NAME = {"sleep", "monotonic", "perf_counter", "process_time", "SystemClock"}
WAITS = {"wait", "join"}
SHORT_S = 1.0  # who waits for an event gives it long; a shorter wait lets time pass; our choice
REASON = re.compile(r"^(\s*).*# real time: (\S+ \S+ .*\S)$")
MAY = {"slow", "board"}
Function = ast.FunctionDef | ast.AsyncFunctionDef


def _uses_real_time(call: ast.Call) -> bool:
    of = call.func
    if isinstance(of, ast.Name):
        return of.id in BY_NAME
    if not isinstance(of, ast.Attribute):
        return False
    owner = of.value
    if isinstance(owner, ast.Name) and of.attr in CLOCKS.get(owner.id, ()):
        return True
    first = call.args[0] if call.args else None
    return (
        of.attr in WAITS
        and isinstance(first, ast.Constant)
        and isinstance(first.value, int | float)
        and first.value < SHORT_S
    )


def _may(function: Function) -> bool:
    marks = {ast.unparse(mark).removeprefix("pytest.mark.") for mark in function.decorator_list}
    arguments = {argument.arg for argument in function.args.args}
    return bool({mark.split("(")[0] for mark in marks} & {*MAY, "benchmark"}) or (
        "benchmark" in arguments
    )


def unexplained(text: str) -> Iterator[int]:
    """Lines that use real time and do not say why."""
    tree, lines = ast.parse(text), text.splitlines()
    marks = [ast.unparse(n.value) for n in tree.body if isinstance(n, ast.Assign)
             and ast.unparse(n.targets[0]) == "pytestmark"]  # fmt: skip
    if any(f"pytest.mark.{mark}" in each for mark in MAY for each in marks):
        return
    reasons = {n: found for n, line in enumerate(lines, 1) if (found := REASON.match(line))}
    if any(lines[n - 1].startswith("# real time: ") for n in reasons):
        return
    functions = [n for n in ast.walk(tree) if isinstance(n, Function)]
    for call in ast.walk(tree):
        if not isinstance(call, ast.Call) or not _uses_real_time(call):
            continue
        around = [f for f in functions if f.lineno <= call.lineno <= (f.end_lineno or 0)]
        if any(_may(function) for function in around):
            continue
        inner = max(around, key=lambda f: f.lineno, default=None)
        begins, ends = (
            (call.lineno, call.end_lineno or call.lineno)
            if inner is None
            else (inner.lineno, inner.end_lineno or inner.lineno)
        )
        if not any(begins <= n <= ends for n in reasons):
            yield call.lineno


@pytest.mark.parametrize("file", FILES)
def test_who_uses_real_time_says_why(file: str) -> None:
    found = list(unexplained((TESTS / file).read_text(encoding="utf-8")))
    assert not found, (
        f"{file}, lines {found}: real time without a reason. Use support.clock.HandClock or "
        "support.until.until, or say why with a comment `# real time: ...`"
    )


@pytest.mark.parametrize(
    ("body", "seen"),
    [
        ("time.sleep(0.1)", True),
        ("sleep(0.1)", True),
        ("datetime.now(UTC)", True),
        ("date.today()", True),
        ("SystemClock().mono_s()", True),
        ("threading.Event().wait(0.2)", True),
        ("thread.join(0.1)", True),
        ("event.wait(30.0)", False),
        ("clock.monotonic", False),
        ("time.sleep(0.1)  # real time: a relay travels", False),
        ("time.sleep(0.1)  # real time: why", True),
    ],
)
def test_the_check_sees_what_it_is_for(body: str, seen: bool) -> None:
    text = f"def test_it():\n    {body}\n"
    assert bool(list(unexplained(text))) is seen
    assert not list(unexplained(f"@pytest.mark.slow\n{text}"))
    assert not list(unexplained(f"# real time: the kernel's own timers\n{text}"))
