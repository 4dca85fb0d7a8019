"""Rowgate for the guest: its wheel, those it needs, and the install steps as they are written."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.absolute().parents[1]
PARTS = ("controller", "crops", "config", "systemd", "pyproject.toml", "README.md")
GUEST_PYTHON = "311"
PLATFORMS = tuple(
    f"manylinux{version}_aarch64" for version in ("2014", "_2_17", "_2_28", "_2_31", "_2_36")
)


def key(*more: Path) -> str:
    """Names what the guest gets: changes with every file of the project that the wheel holds."""
    digest = hashlib.sha256()
    for path in sorted([*_files(), *more]):
        digest.update(os.fspath(path.name).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def wheels(folder: Path) -> Path:
    """The project's wheel, and one of each package it needs, for the guest's Python and processor.

    What it needs is kept in the folder from run to run; pip looks there first.
    """
    own, all_of_them = folder / "own", folder / "all"
    shutil.rmtree(own, ignore_errors=True)
    shutil.rmtree(all_of_them, ignore_errors=True)
    _pip("wheel", "--no-deps", "--wheel-dir", os.fspath(own), os.fspath(ROOT))
    (wheel,) = own.glob("*.whl")
    _pip(
        *("download", "--dest", os.fspath(all_of_them), "--only-binary=:all:"),
        *("--implementation", "cp", "--python-version", GUEST_PYTHON),
        *(word for platform in PLATFORMS for word in ("--platform", platform)),
        os.fspath(wheel),
    )
    return all_of_them


def unit_steps() -> list[str]:
    """The commands in the comment on top of the unit: what a gardener is told to type, as root."""
    comment = (ROOT / "systemd" / "rowgate.service").read_text(encoding="utf-8")
    told = comment.split("To install, as root", 1)[1].split("Who is to use", 1)[0]
    return re.findall(r"^#   (\S.*)$", told, re.MULTILINE)


def environment_step() -> str:
    """The command of the README that makes the environment."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"`(python3 -m venv [^`]* && [^`]*pip install \.)`", readme)
    assert found is not None, "the README no longer says how to make the environment"
    return found[1]


def _files() -> Iterator[Path]:
    for part in PARTS:
        path = ROOT / part
        if path.is_file():
            yield path
        else:
            yield from (p for p in path.rglob("*") if p.is_file() and "__pycache__" not in p.parts)


def _pip(*arguments: str) -> None:
    subprocess.run(
        [sys.executable, "-m", "pip", "-qq", "--disable-pip-version-check", *arguments], check=True
    )
