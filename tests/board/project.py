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
PARTS = ("controller", "crops", "config", "systemd", "pyproject.toml", "docs/install.md")
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
    """The project's wheel and, by its exact list, those it needs, for the guest's Python."""
    own, all_of_them = folder / "own", folder / "all"
    _pip("wheel", "--no-deps", "--wheel-dir", os.fspath(own), os.fspath(ROOT))
    _pip(
        *("download", "--dest", os.fspath(all_of_them), "--only-binary=:all:", "--no-deps"),
        *("--implementation", "cp", "--python-version", GUEST_PYTHON),
        *(word for platform in PLATFORMS for word in ("--platform", platform)),
        *("--require-hashes", "-r", os.fspath(ROOT / "config" / "requirements.txt")),
    )
    shutil.copy(own_wheel(folder), all_of_them)
    return all_of_them


def own_wheel(folder: Path) -> Path:
    """The project's own, once they are made."""
    (wheel,) = (folder / "own").glob("*.whl")
    return wheel


def install_blocks() -> list[str]:
    """What docs/install.md tells a gardener to type, as root, in order: its fenced blocks."""
    return _blocks("## 1. Install")


def first_start() -> str:
    """The command of docs/install.md that starts the unit."""
    (block,) = _blocks("## 3. First start")
    first = block.splitlines()[0]
    assert "enable --now" in first, block
    return first


def walk_block() -> str:
    """What docs/install.md tells to type to walk the valves."""
    (block,) = _blocks("## 2. Walk the valves")
    return block


def _blocks(heading: str) -> list[str]:
    page = (ROOT / "docs" / "install.md").read_text(encoding="utf-8")
    section = page.split(f"\n{heading}\n", 1)[1].split("\n## ", 1)[0]
    found = re.findall(r"^```\n(.*?)^```$", section, re.MULTILINE | re.DOTALL)
    assert found, f"docs/install.md says nothing to type under {heading}"
    return found


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
