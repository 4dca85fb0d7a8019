"""docs/commands.md is what the commands themselves say."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOOL = ROOT / ".ci" / "command_reference.py"


@pytest.mark.skipif(
    sys.version_info[:2] != (3, 11), reason="argparse words its pages otherwise in later Pythons"
)
def test_the_command_reference_is_fresh() -> None:
    found = subprocess.run(
        [sys.executable, str(TOOL), "--check"], capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stdout + found.stderr


def test_every_command_has_its_section() -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    listed = subprocess.run(
        [sys.executable, "-m", "controller.cli", "--help"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    words = [
        line.split()[0]
        for line in listed.splitlines()
        if line.startswith("    ") and line[4:5].isalpha()
    ]
    assert len(words) > 10
    for word in words:
        assert f"\n### rowgate {word}\n" in text
