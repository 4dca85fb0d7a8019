"""Lines of a new garden file, with a remark above each stand-in."""

from __future__ import annotations

from collections.abc import Iterable

from controller.cli.new.talk import Answer
from controller.paper.text import paragraph

MARK = "stand-in"


def quoted(text: str) -> str:
    """Text as a TOML basic string; the answers have no control characters."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def comment(words: str) -> list[str]:
    """A comment of at most 80 columns."""
    return paragraph(words, "# ", then="#   ", at_hyphens=False)


def remarks(*named: tuple[str, Answer]) -> list[str]:
    """A comment for each answer that is a stand-in."""
    lines = []
    for name, answer in named:
        if answer.why:
            lines += comment(f"{MARK}: {name + ' ' if name else ''}{answer.text}; {answer.why}")
    return lines


def entry(key: str, answer: Answer, value: str | None = None) -> list[str]:
    """A key with its answer; a text if `value` does not say otherwise."""
    return [
        *remarks((key.replace("_", " "), answer)),
        f"{key} = {quoted(answer.text) if value is None else value}",
    ]


def inline(pairs: Iterable[tuple[str, str]]) -> str:
    """An inline table of values that are TOML already."""
    return "{ " + ", ".join(f"{key} = {value}" for key, value in pairs) + " }"
