"""Output for a terminal or a program, as plain text.

Text comes from the garden file, the logbook and the daemon, and so from everybody who may write
there: none of it may move the cursor or change its colours. This module is kept so small that a
request to the daemon starts at once.
"""

from __future__ import annotations

import contextlib
import json
import re
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from typing import Any

WIDTH = 80
_SPEAKER = "rowgate: "
# The control characters but tab, line feed and carriage return, and the marks that turn the
# direction of what follows (Unicode's bidirectional algorithm, UAX #9, 2).
_NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def plain(text: str) -> str:
    """The text, with a question mark for each sign that is not text."""
    return _NOT_TEXT.sub("?", text)


def escaped(text: str) -> str:
    """The JSON, with such signs as escapes, which mean the same to its reader."""
    return _NOT_TEXT.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


class PlainStream:
    """A stream that passes only plain text on to the stream below it."""

    def __init__(self, stream: Any) -> None:
        self.below = stream
        self.before: Callable[[], None] | None = None  # called before anything is written

    def write(self, text: str) -> int:
        """Write the text, made plain."""
        if self.before is not None:
            self.before()
        self.below.write(plain(text))
        return len(text)

    def flush(self) -> None:
        """Flush it; `input` does so before it asks, past `write`."""
        if self.before is not None:
            self.before()
        self.below.flush()

    def writelines(self, lines: Any) -> None:
        """Write each line, made plain."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.below, name)


@contextlib.contextmanager
def plain_streams() -> Iterator[None]:
    """Let only plain text through to both streams of this process."""
    out: Any = PlainStream(sys.stdout)
    err: Any = PlainStream(sys.stderr)
    sys.stdout, sys.stderr = out, err
    try:
        yield
    finally:
        # Where somebody put another stream in its place meanwhile, that one stays.
        if sys.stdout is out:
            sys.stdout = out.below
        if sys.stderr is err:
            sys.stderr = err.below


class Words:
    """What was said beside the answer, and whether the answer was given."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.has_answered = False


_SAID: list[Words] = []


@contextlib.contextmanager
def words_on_stderr() -> Iterator[Words]:
    """Collect what `to_stderr` says meanwhile, for an answer as JSON where there is none else."""
    words = Words()
    _SAID.append(words)
    try:
        yield words
    finally:
        _SAID.remove(words)


def to_stderr(words: str) -> None:
    """Print what is not the answer on stderr, so that a pipe gets the answer alone."""
    for collected in _SAID:
        collected.lines.append(words)
    for line in words.split("\n"):
        print("\n".join(_wrapped(line)), file=sys.stderr)


def _wrapped(line: str) -> list[str]:
    """The line in pieces of 80 columns; one that is short enough as it is."""
    if len(line) <= WIDTH:
        return [line]
    words = line.removeprefix(_SPEAKER).lstrip()
    before = line[: len(line) - len(words)]
    return textwrap.wrap(
        words,
        WIDTH,
        initial_indent=before,
        subsequent_indent=" " * (len(before) - len(before.lstrip()) + 2),
        break_long_words=False,
        break_on_hyphens=False,
        replace_whitespace=False,
    )


def print_json(value: Any) -> None:
    """Print one JSON document."""
    for collected in _SAID:
        collected.has_answered = True
    print(escaped(json.dumps(value, indent=2, ensure_ascii=False)))


def print_pages(pages: Sequence[str]) -> None:
    """Print pages of plain text with a form feed between them, which only this may write."""
    below = getattr(sys.stdout, "below", sys.stdout)
    for number, page in enumerate(pages):
        below.write(("\f" if number else "") + plain(page))
