"""Every command shown on the pages about the board is one that the program takes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from controller.cli.command_tree import whole_tree

DOCS = Path(__file__).parents[2] / "docs"
_INLINE = re.compile(r"`(rowgate [^`]+)`")


def _commands(page: str) -> list[str]:
    text = (DOCS / page).read_text(encoding="utf-8")
    blocks = re.findall(r"^```\n(.*?)^```$", text, re.S | re.M)
    lines = [part for block in blocks for line in block.splitlines() for part in line.split("&&")]
    inline = (
        [] if not blocks else _INLINE.findall(re.sub(r"^```.*?^```$", "", text, flags=re.S | re.M))
    )
    shown = [re.sub(r"^sudo -u \w+ ", "", line.strip()) for line in (*lines, *inline)]
    return [line for line in shown if line.startswith("rowgate ")]


@pytest.mark.parametrize("page", ["install.md", "keeping.md", "sheet.md"])
def test_every_command_shown_is_one_the_program_takes(page: str) -> None:
    commands = _commands(page)
    assert len(commands) >= 4
    for command in commands:
        words = shlex.split(command, comments=True)[1:]
        words = words[: words.index(">")] if ">" in words else words
        if words in (["--version"], ["status"]):
            continue
        try:
            whole_tree().parse_args(words)
        except SystemExit as end:
            raise AssertionError(f"{page}: {command}") from end


def test_the_steps_in_the_unit_and_on_the_page_are_the_same() -> None:
    unit = (DOCS.parent / "systemd" / "rowgate.service").read_text(encoding="utf-8")
    told = unit.split("To install, as root", 1)[1].split("Who is to use", 1)[0]
    steps = re.findall(r"^#   (\S.*)$", told, re.M)
    assert len(steps) >= 5
    page = " ".join((DOCS / "install.md").read_text(encoding="utf-8").split())
    for step in steps:
        assert " ".join(step.split()) in page, step
