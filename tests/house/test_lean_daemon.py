"""The daemon stays small: what it imports, and what it remembers over a season."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from support.gardens import a_garden, a_zone

from controller import lean
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.packing import job
from controller.timetable.packing.job import NetworkFlows

# A package that says it was imported, put in sight as a board's own packages are.
LOUD = "print('imported', __name__)\n__version__ = '9.9.9'\nTimestamp = object\n"


def _in_sight(folder: Path) -> None:
    for name in ("numpy", "pandas"):
        (folder / name).mkdir()
        (folder / name / "__init__.py").write_text(LOUD, encoding="utf-8")


def _run(code: str, folder: Path) -> str:
    ran = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(folder)!r})\n{code}"],
        capture_output=True,
        text=True,
        check=True,
    )
    return ran.stdout


def test_the_packages_put_in_sight_would_be_taken(tmp_path: Path) -> None:
    _in_sight(tmp_path)
    assert "imported numpy" in _run("import sqlite_utils", tmp_path)


def test_the_daemon_imports_no_numpy_though_it_is_in_sight(tmp_path: Path) -> None:
    """sqlite-utils imports numpy and pandas where it sees them, and boards have them."""
    _in_sight(tmp_path)
    code = "import controller.daemon.service, controller.daemon.weather\nprint('done')"
    assert _run(code, tmp_path) == "done\n"


def test_whoever_wants_numpy_afterwards_has_it(tmp_path: Path) -> None:
    _in_sight(tmp_path)
    code = "import controller.logbook.schema\nimport numpy\nprint(numpy.__version__)"
    assert _run(code, tmp_path) == "imported numpy\n9.9.9\n"


def test_what_is_imported_already_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    there = object()
    monkeypatch.setitem(sys.modules, "a_package_there", there)
    with lean.out_of_sight("a_package_there", "a_package_not_there"):
        assert sys.modules["a_package_there"] is there
        assert sys.modules["a_package_not_there"] is None
    assert sys.modules["a_package_there"] is there
    assert "a_package_not_there" not in sys.modules


def test_the_weather_client_and_the_metrics_page_wait_until_they_are_wanted(
    tmp_path: Path,
) -> None:
    """Each brings some megabytes; a garden with neither does without them."""
    code = (
        "import controller.daemon.service, controller.daemon.weather\n"
        "from controller.inputs.gather import Gatherer\n"
        "print(sorted({'requests', 'urllib3', 'prometheus_client'} & set(sys.modules)))"
    )
    assert _run(code, tmp_path) == "[]\n"


def test_openssl_is_not_taken_along_and_is_there_for_those_who_want_it(tmp_path: Path) -> None:
    """hashlib and asyncio take it where they see it: 4 MB that only a weather service needs."""
    code = (
        "import controller.daemon.service, controller.daemon.weather\n"
        "print(sorted({'_hashlib', 'ssl', '_ssl'} & set(sys.modules)))\n"
        "import hashlib, ssl, requests, urllib3\n"
        "print(hashlib.sha256(b'abc').hexdigest()[:8], ssl.create_default_context() is not None)"
    )
    # FIPS 180-4, the example of SHA-256 of "abc": ba7816bf ... PRINTED
    assert _run(code, tmp_path) == "[]\nba7816bf True\n"


def test_asyncio_is_not_taken_along_and_is_there_for_those_who_want_it(tmp_path: Path) -> None:
    """APScheduler asks it one question: 1.1 MB."""
    code = (
        "import controller.daemon.service, controller.daemon.weather\n"
        "print(sorted(name for name in sys.modules if name.split('.')[0] == 'asyncio'))\n"
        "import asyncio\n"
        "async def answer(): return 42\n"
        "print(asyncio.run(answer()))"
    )
    assert _run(code, tmp_path) == "[]\n42\n"


def test_asyncio_that_is_there_already_stays(tmp_path: Path) -> None:
    code = (
        "import asyncio\nthere = asyncio\nimport controller.daemon.rhythm\n"
        "print(sys.modules['asyncio'] is there)"
    )
    assert _run(code, tmp_path) == "True\n"


def test_the_sets_that_stay_open_are_not_remembered_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(job, "_MOST_KEPT", 3)
    garden = a_garden(*(a_zone(name, 17 + n) for n, name in enumerate("abc")))
    flows = NetworkFlows(Lines(garden))
    for zones in ("a", "b", "c", "ab", "bc", "ac", "abc"):
        assert flows.stays_open(frozenset(zones)) == flows.stays_open(frozenset(zones))
        assert len(flows._stays_open) <= 3
