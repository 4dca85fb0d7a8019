"""The exact versions of the base install: one of each, hashed, within what pyproject.toml allows.

Whether the list is whole, and the registry has such files for each kind of board, is looked at by
.ci/exact_versions.py.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LIST = ROOT / "config" / "requirements.txt"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
INSTALL = (
    "/opt/rowgate/bin/pip install --no-deps --force-reinstall --require-hashes "
    "-r /opt/rowgate/lib/python3*/site-packages/controller/_config/requirements.txt"
)


def listed() -> dict[str, tuple[str, list[str]]]:
    """Version and hashes of each, as pip reads them."""
    found: dict[str, tuple[str, list[str]]] = {}
    for line in LIST.read_text(encoding="utf-8").replace("\\\n", " ").splitlines():
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        read = re.fullmatch(r"([a-z0-9-]+)==(\S+)((?:\s+--hash=sha256:[0-9a-f]{64})+)\s*", line)
        assert read is not None, line
        assert read[1] not in found, f"{read[1]} stands twice"
        found[read[1]] = (read[2], read[3].split())
    return found


def test_each_has_one_version_and_the_hashes_of_its_files() -> None:
    found = listed()
    assert len(found) > 20
    for name, (_, hashes) in found.items():
        assert hashes and len(hashes) == len(set(hashes)), name
    assert len(found["pydantic-core"][1]) > 50  # compiled: a file for each machine and Python


def test_what_we_ask_for_is_listed_in_a_version_that_we_allow() -> None:
    found = listed()
    for words in PROJECT["dependencies"]:
        need = Requirement(words)
        assert need.specifier.contains(found[canonicalize_name(need.name)][0]), words


def test_it_names_no_place_to_fetch_from() -> None:
    text = LIST.read_text(encoding="utf-8")
    assert not re.search(r"://|--(?:extra-)?index-url|--find-links|^-", text, re.M)


def test_the_page_and_the_upgrade_install_by_it() -> None:
    page = (ROOT / "docs" / "install.md").read_text(encoding="utf-8")
    assert page.count(INSTALL) == 3  # install, upgrade, back to the older one
    # The list goes into the wheel with the rest of config/.
    assert 'config" = "controller/_config"' in (ROOT / "pyproject.toml").read_text("utf-8")
