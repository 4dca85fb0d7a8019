#!/usr/bin/env python3
"""Holds config/requirements.txt against a fresh install by it, and against the package registry.

    .ci/exact_versions.py ENVIRONMENT      with `uv` on the path, and the library packaging

1. In ENVIRONMENT, made by the words of docs/install.md, lies what the list names, in that version
   and no other, and all that Rowgate asks for, directly or not.
2. For each kind of board and each Python the registry has a file that fits, with one of the
   hashes of the list; where it has none but the source, the list has the hash of the source.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import Distribution, distributions
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.tags import Tag, compatible_tags, cpython_tags
from packaging.utils import canonicalize_name, parse_wheel_filename

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "config" / "requirements.txt"
PYTHONS = ((3, 11), (3, 12), (3, 13), (3, 14))
# Debian 11 and later have a C library of 2.31 or newer.
_GLIBC = [f"manylinux_2_{minor}" for minor in range(31, 16, -1)] + ["manylinux2014", "linux"]
BOARDS = {
    "64-bit boards": [f"{begin}_aarch64" for begin in _GLIBC],
    "32-bit boards, ARMv7": [f"{begin}_armv7l" for begin in _GLIBC],
    "32-bit boards, ARMv6": ["linux_armv6l"],
    "desks": [f"{begin}_x86_64" for begin in _GLIBC],
}
# What has no built file for a kind of board; docs/install.md says so.
SOURCE_ONLY = {("32-bit boards, ARMv6", "pydantic-core")}
OMITTED = {"pip"}  # each environment brings its own


def main(environment: str) -> int:
    """Look at all of it, say what is wrong, and give the exit code."""
    listed = dict(_listed())
    wrong = [*_installed(Path(environment), listed), *_offered(listed)]
    for words in wrong:
        print(f"config/requirements.txt: {words}")
    if not wrong:
        print(f"{len(listed)} packages, {len(BOARDS)} kinds of machine: well")
    return 1 if wrong else 0


def _listed() -> Iterator[tuple[str, tuple[str, set[str]]]]:
    text = LIST.read_text(encoding="utf-8").replace("\\\n", " ")
    for line in text.splitlines():
        if line and not line.lstrip().startswith("#"):
            name, version = line.split()[0].split("==")
            hashes = set(re.findall(r"--hash=sha256:([0-9a-f]{64})", line))
            yield canonicalize_name(name), (version, hashes)


def _installed(environment: Path, listed: dict[str, tuple[str, set[str]]]) -> Iterator[str]:
    (site,) = environment.glob("lib/python3*/site-packages")
    found: dict[str, Distribution] = {
        canonicalize_name(dist.name): dist for dist in distributions(path=[str(site)])
    }
    for name, (version, _) in listed.items():
        if name not in found:
            yield f"{name} was not installed"
        elif found[name].version != version:
            yield f"{name} {found[name].version} was installed, and {version} is listed"
    wanted, seen = ["rowgate"], set[str]()
    while wanted:
        name = wanted.pop()
        if name in seen:
            continue
        seen.add(name)
        if name != "rowgate" and name not in listed and name not in OMITTED:
            yield f"{name} is needed, and not listed"
        for words in found[name].requires or [] if name in found else []:
            need = Requirement(words)
            if need.marker is None or need.marker.evaluate({"extra": ""}):
                wanted.append(canonicalize_name(need.name))
    for name in sorted(set(listed) - seen):
        yield f"{name} is listed, and nothing needs it"


def _offered(listed: dict[str, tuple[str, set[str]]]) -> Iterator[str]:
    asked = ["uv", "pip", "compile", "--quiet", "--universal", "--generate-hashes", "--no-deps"]
    told = subprocess.run(
        [*asked, "--python-version", "3.11", "--format", "pylock.toml", str(LIST)],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    ).stdout
    packages: dict[str, Any] = {
        canonicalize_name(p["name"]): p for p in tomllib.loads(told)["packages"]
    }
    for name, (version, hashes) in listed.items():
        package = packages.get(name)
        if package is None or package["version"] != version:
            yield f"{name} {version}: the registry does not have it"
            continue
        wheels = [
            parse_wheel_filename(file["url"].rsplit("/", 1)[1])[3]
            for file in package.get("wheels", [])
            if file["hashes"]["sha256"] in hashes
        ]
        source = package.get("sdist", {}).get("hashes", {}).get("sha256") in hashes
        for board, platforms in BOARDS.items():
            for python in PYTHONS:
                fits = _tags(python, platforms)
                built = any(tags & fits for tags in wheels)
                if not built and not (source and (board, name) in SOURCE_ONLY):
                    yield f"{name} {version}: no file for {board}, Python {python[0]}.{python[1]}"
                if built and (board, name) in SOURCE_ONLY:
                    yield f"{name} {version}: {board} have a built file now; say so on the page"


def _tags(python: tuple[int, int], platforms: list[str]) -> frozenset[Tag]:
    own = cpython_tags(python_version=python, platforms=platforms)
    every = compatible_tags(python_version=python, platforms=platforms)
    return frozenset((*own, *every))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
