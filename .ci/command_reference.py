#!/usr/bin/env python3
"""Writes docs/commands.md: the help page of every command, as the command itself prints it.

.ci/command_reference.py           write it
.ci/command_reference.py --check   say whether it is fresh
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "commands.md"
HEAD = """# Commands

Every command's own help page; `rowgate manual` prints the same for `man`.
`.ci/command_reference.py` writes this page, and a test holds it fresh.
"""


def page() -> str:
    """The page as it should be."""
    from controller.cli.command_tree import whole_tree

    os.environ["COLUMNS"] = "80"
    return HEAD + "".join(
        f"\n{'#' * (1 + len(name.split()))} {name}\n\n```\n{parser.format_help().rstrip()}\n```\n"
        for name, parser in _parsers("rowgate", whole_tree())
    )


def _parsers(
    name: str, parser: argparse.ArgumentParser
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    yield name, parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, below in action.choices.items():
                yield from _parsers(f"{name} {word}", below)


def main() -> int:
    """Write the page, or look at it."""
    text = page()
    if "--check" not in sys.argv[1:]:
        PAGE.write_text(text, encoding="utf-8")
        return 0
    fresh = PAGE.exists() and PAGE.read_text(encoding="utf-8") == text
    if not fresh:
        print("docs/commands.md is not what the commands say; write it by .ci/command_reference.py")
    return 0 if fresh else 1


if __name__ == "__main__":
    raise SystemExit(main())
