"""Mutation testing of a room: which small wrong changes of its code does no test notice?

    .venv/bin/python tests/mutate.py valves                    # all of a room
    .venv/bin/python tests/mutate.py valves --sample 100 --seed 7
    .venv/bin/python tests/mutate.py valves --only 'controller.valves.alloff.*' --show

mutmut (its version is pinned: we use some of its insides) makes the mutants and runs tests on each
up to the first that fails. This file says which room is tested by which tests, copies the checkout
to build/mutation/ROOM, chooses the mutants, has each tested only by the tests that run the
statement it changes, the quickest first, and counts.

Left out are mutants that only change the letters of a text with a space in it: words for people
are reviewed, not tested letter by letter. Not counted are those that tests/mutation_survivors.toml
calls equivalent. A sample fails where so few killed would come less than once in a thousand
samples from a room that is at its target (binomial), so a sound room does not fail by chance.

Exit codes: 0 at the target, or no worse than a sample may be; 1 below it.
"""

from __future__ import annotations

import argparse
import ast
import builtins
import difflib
import functools
import io
import math
import os
import random
import shutil
import sys
import time
import tokenize
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.machinery import SourceFileLoader
from itertools import islice
from pathlib import Path
from textwrap import dedent
from typing import Any

ROOT = Path(__file__).parents[1]
BUILD = ROOT / "build" / "mutation"
SURVIVORS = Path(__file__).with_name("mutation_survivors.toml")
COPIED = ["controller", "crops", "config", "systemd", "docs", "tests", "pyproject.toml"]
CHANCE = 0.001  # that a sample of a room at its target fails; our choice


@dataclass(frozen=True)
class Room:
    """What is mutated, by which tests it is judged, and the share that is to be killed."""

    code: Sequence[str]
    tests: Sequence[str]
    target: float


def _daemon(*names: str) -> list[str]:
    return [f"controller/daemon/{name}.py" for name in names]


def _timetable(*names: str) -> list[str]:
    return [f"controller/timetable/{name}.py" for name in names]


def _published(*names: str) -> list[str]:
    return [f"tests/published/test_{name}.py" for name in names]


DAEMON_TESTS = (
    *("dispatch", "dispatch_rules", "openings", "engine", "answers", "recovery", "alerts"),
    *("restarts", "journal", "flow_litres", "flow_credit", "flow_monitor", "flow_rules"),
    *("input_pins", "board"),
)
DAEMON_FAULTS = (
    *("killed", "lines", "logbook_lost", "garden_file", "clock_in_doubt", "slow_valves"),
    *("meter", "meter_that_miscounts"),
)
LONG = (  # of these: seasons, crosses, and a process of their own
    *("lost_end_cap", "season_of_the_bands_own_noise", "its_water_twice", "a_flooded_meter"),
    *("small_doses_no_more", "judged_together", "outlasts_a_restart", "after_a_jump"),
    *("future_that_never_came", "process_waits_for_a_ball", "ten_years_off", "a_row_a_day"),
    *("known_to_be_dry", "tips_become", "rain_is_kept"),
)
ROOMS = {
    "valves": Room(
        ["controller/valves/*"],
        [
            *("tests/valves", "tests/faults/test_own_folder.py"),  # who may name its lines
            *("-k", "not at_a_desk and not its_own_only and not a_start_takes"),  # whole daemons
        ],
        0.95,
    ),
    # What decides; the rest of the daemon is pipes, sockets and pages.
    "daemon": Room(
        [
            *_daemon("planning", "openings", "engine", "recovery", "alerts", "host/status"),
            *_daemon("flow/litres", "flow/rules"),
        ],
        [
            *(f"tests/daemon/test_{name}.py" for name in DAEMON_TESTS),
            *(f"tests/faults/test_{name}.py" for name in DAEMON_FAULTS),
            *("-k", " and ".join(f"not {name}" for name in LONG)),
        ],
        0.90,
    ),
    # Dose and need, from the account to the pulses; the rest is checks, advice and their words.
    "timetable": Room(
        [
            *_timetable("need/accounts", "need/dose", "need/jobs", "need/need"),
            *_timetable(
                "need/pulse_length", "need/wetted_area", "garden_accounts", "plan", "covers"
            ),
            *_timetable("packing/job", "packing/day_simulation", "packing/fit_day", "unwritten"),
            *_timetable("windows"),
            "controller/cli/plausible.py",
        ],
        ["tests/timetable", "tests/cli/test_plausible.py"],
        0.90,
    ),
    "demand": Room(
        ["controller/demand/*"],
        [
            "tests/demand",
            *_published("ledger_fao56", "worked_examples", "eto_references", "sun_references"),
        ],
        0.90,
    ),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Mutate a room as asked, print the score and who lived; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("room", choices=ROOMS)
    parser.add_argument("--sample", type=int, help="so many mutants, drawn by the seed")
    parser.add_argument("--seed", default="1", help="any text, such as a commit")
    parser.add_argument("--only", nargs="*", default=[], help="patterns of mutants' names")
    parser.add_argument("--show", action="store_true", help="show each survivor's change")
    asked = parser.parse_args(arguments)
    room, began = ROOMS[asked.room], time.monotonic()
    _copy_checkout(BUILD / asked.room)
    os.chdir(BUILD / asked.room)
    with _quiet():
        names = _make(room, asked.only)
        if asked.sample is not None:
            random.Random(asked.seed).shuffle(names)
        names = sorted(islice((n for n in names if not _only_words(n)), asked.sample))
        outcome = _run(names)
    equivalent = _equivalent()
    lived = [name for name in names if outcome[name] in ("survived", "no tests")]
    settled = {name for name in lived if _change(name) in equivalent}
    lived = [name for name in lived if name not in settled]
    for name in lived:
        print(f"\n{_change(name)}\n    {name}" if asked.show else name, f"({outcome[name]})")
    tried = len(names) - len(settled)
    killed = tried - len(lived)
    late = sum(1 for name in names if outcome[name] == "timeout")
    print(
        f"\n{asked.room}: {killed} of {tried} killed, {killed / max(tried, 1):.1%} "
        f"({late} by a timeout; {len(settled)} more are equivalent); "
        f"{time.monotonic() - began:.0f} s"
    )
    if asked.only:
        return 0
    least = math.ceil(room.target * tried)
    if asked.sample is not None:
        least = least_killed(tried, room.target)
    print(f"at least {least} were to be killed; the room's target is {room.target:.0%}")
    return 0 if killed >= least else 1


def least_killed(tried: int, target: float) -> int:
    """The fewest killed of a sample that a room at its target gives but for one in a thousand."""
    below, killed = 0.0, 0
    while killed < tried:
        below += math.comb(tried, killed) * target**killed * (1 - target) ** (tried - killed)
        if below >= CHANCE:
            break
        killed += 1
    return killed


@contextmanager
def _quiet() -> Iterator[None]:
    """What mutmut says, redrawn for each mutant, goes to mutmut.log beside the copy."""
    sys.stdout.flush()
    kept = os.dup(1)
    log = os.open("mutmut.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    try:
        yield
    except BaseException:
        print(f"see {Path('mutmut.log').resolve()}", file=sys.stderr)
        raise
    finally:
        sys.stdout.flush()
        os.dup2(kept, 1)
        os.close(kept)
        os.close(log)


def _copy_checkout(to: Path) -> None:
    """A fresh copy, so that no verdict of another day counts."""
    shutil.rmtree(to, ignore_errors=True)
    to.mkdir(parents=True)
    for name in [*COPIED, *(path.name for path in ROOT.glob("*.md"))]:
        if (ROOT / name).is_dir():
            away = shutil.ignore_patterns("__pycache__", ".hypothesis")
            shutil.copytree(ROOT / name, to / name, ignore=away)
        else:
            shutil.copy2(ROOT / name, to / name)


def _make(room: Room, only: Sequence[str]) -> list[str]:
    """Make the room's mutants in mutants/; their names."""
    from mutmut import __main__
    from mutmut.configuration import config

    mutmut: Any = __main__

    settings = config()
    settings.only_mutate = list(room.code)
    settings.pytest_add_cli_args_test_selection = list(room.tests)
    Path("mutants").mkdir()
    with mutmut.CatchOutput(spinner_title="Making mutants"):
        mutmut.copy_src_dir()
        mutmut.copy_also_copy_files()
        mutmut.create_mutants(1)
    found, _ = mutmut.collect_source_file_mutation_data(mutant_names=list(only))
    return sorted(name for _, name, _ in found)


def _run(names: Sequence[str]) -> dict[str, str]:
    """Test each; what became of it."""
    from mutmut import __main__
    from mutmut.runners import harness
    from mutmut.state import state

    mutmut: Any = __main__
    runner_class: Any = harness.PytestRunner
    run_tests, ran = runner_class.run_tests, _Ran(runner_class)

    def took_s(test: str) -> float:
        return float(state().duration_by_test[test])

    def quickest_first(runner: Any, *, mutant_name: str | None, tests: list[str]) -> int:
        reach = None if mutant_name is None else ran.tests_of(mutant_name)
        if reach is not None:
            tests = [test for test in tests if test in reach]
            if not tests:
                return 0  # no test runs what it changes: it lives
        return int(run_tests(runner, mutant_name=mutant_name, tests=sorted(tests, key=took_s)))

    runner_class.run_tests = quickest_first
    # All tests have just passed, as their times were taken: one of them again is enough.
    mutmut.tests_for_mutant_names = lambda names: {min(state().duration_by_test, key=took_s)}
    mutmut._run(list(names), 1)
    found, _ = mutmut.collect_source_file_mutation_data(mutant_names=list(names))
    return {name: mutmut.status_by_exit_code[code] for _, name, code in found}


class _Ran:
    """Which tests run which statements, seen when all tests run once, for their times.

    The mutated files are imported with a call ahead of each statement of the functions as they are:
    tracing would slow down all that whole days of a garden call besides.
    """

    def __init__(self, runner: Any) -> None:
        self._tests: defaultdict[tuple[str, int], set[str]] = defaultdict(set)
        self._under_way = ""
        vars(builtins)["_ran_"] = self._note
        loader_class: Any = SourceFileLoader
        execute, compiled = runner.execute_pytest, loader_class.source_to_code

        def with_us(self_: Any, params: list[str], *, plugins: Sequence[Any] = ()) -> int:
            return int(execute(self_, params, plugins=[*plugins, self]))

        def with_calls(loader: Any, data: Any, path: Any, **more: Any) -> Any:
            if isinstance(data, bytes) and b"__mutmut_orig(" in data:
                data = _with_calls(data, _from_the_root(path))
            return compiled(loader, data, path, **more)

        runner.execute_pytest, loader_class.source_to_code = with_us, with_calls

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self._under_way = nodeid

    def _note(self, path: str, line: int) -> None:
        self._tests[path, line].add(self._under_way)

    @functools.cache  # noqa: B019 - it lives as long as the process
    def tests_of(self, mutant: str) -> set[str] | None:
        """The tests that run what the mutant changes; None where we cannot tell."""
        before, after = (source.splitlines() for source in _sources(mutant))
        steps = difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
        changed = [n for tag, low, high, _, _ in steps if tag != "equal" for n in range(low, high)]
        where, _, function = mutant.rpartition("__mutmut_")[0].rpartition(".")
        path = where.replace(".", "/") + ".py"
        text = Path("mutants", path).read_text(encoding="utf-8").splitlines()
        head = next(n for n, line in enumerate(text) if f"def {function}__mutmut_orig(" in line)
        first = next(n for n, line in enumerate(before) if line.startswith(("def ", "async def ")))
        tests = set[str]()
        for line in changed or [first]:
            statement = _statement("\n".join(before[first:]), line - first + 1)
            if statement is None:
                return None
            tests |= self._tests[path, head + statement]
        return tests


def _from_the_root(path: Any) -> str:
    return "controller/" + str(path).rpartition("controller/")[2]


def _with_calls(data: bytes, path: str) -> ast.Module:
    """The module, with a call that notes the line ahead of each statement of what mutmut keeps."""
    module = ast.parse(data)
    for function in ast.walk(module):
        if isinstance(function, ast.FunctionDef) and function.name.endswith("__mutmut_orig"):
            for block in list(ast.walk(function)):
                for name in ("body", "orelse", "finalbody"):
                    inside = getattr(block, name, None)
                    if isinstance(inside, list):
                        setattr(block, name, [s for at in inside for s in (_call(path, at), at)])
    return ast.fix_missing_locations(module)


def _call(path: str, ahead_of: ast.stmt) -> ast.stmt:
    what: list[ast.expr] = [ast.Constant(path), ast.Constant(ahead_of.lineno)]
    call = ast.Expr(ast.Call(ast.Name("_ran_", ast.Load()), what, []))
    return ast.copy_location(call, ahead_of)


def _statement(function: str, line: int) -> int | None:
    """The first line of the statement on that line; None where only a head or a part of it is."""
    around = [
        node
        for node in ast.walk(ast.parse(function))
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or 0)
    ]
    if not around or isinstance(around[-1], ast.FunctionDef | ast.Try | ast.Match):
        return None
    inside = getattr(around[-1], "body", None)
    return None if inside and line >= inside[0].lineno else around[-1].lineno


def _sources(name: str) -> tuple[str, str]:
    """The function as it is and as the mutant has it."""
    import libcst
    from mutmut.mutation import diff_apply

    path = name.partition(".x")[0].replace(".", "/") + ".py"
    both = diff_apply.read_functions_from_index(name, path)
    assert both is not None, name
    before, after = (dedent(libcst.Module([function]).code).strip() for function in both)
    return before, after


def _only_words(name: str) -> bool:
    before, after = (_tokens(source) for source in _sources(name))
    if len(before) != len(after):
        return False
    changed = [old for old, new in zip(before, after, strict=True) if old != new]
    return all(old.startswith(('"', "'")) and " " in old for old in changed)


def _tokens(source: str) -> list[str]:
    return [token.string for token in tokenize.generate_tokens(io.StringIO(source + "\n").readline)]


def _change(name: str) -> str:
    """A mutant by what it changes, which stays when lines and numbers move."""
    before, after = (source.splitlines() for source in _sources(name))
    lines = difflib.unified_diff(before, after, lineterm="", n=0)
    changed = [line for line in lines if not line.startswith(("---", "+++", "@@"))]
    module, _, function = name.rpartition("__mutmut_")[0].partition(".x")
    where = module.removeprefix("controller.") + "." + function.strip("_ǁ").replace("ǁ", ".")
    return f"{where}: {_joined(changed, '-')} -> {_joined(changed, '+')}"


def _joined(changed: Iterable[str], sign: str) -> str:
    return " ".join(line[1:].strip() for line in changed if line.startswith(sign))


def _equivalent() -> set[str]:
    groups = tomllib.loads(SURVIVORS.read_text(encoding="utf-8"))["survivors"]
    return {m for group in groups if group["kind"] == "equivalent" for m in group["mutants"]}


if __name__ == "__main__":
    sys.exit(main())
