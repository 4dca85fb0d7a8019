"""Limits of size and depth of a garden file, checked before it is parsed.

Time and memory of the parser grow with the square of the depth, and it fails at a great depth. This
check reads the text once, in time and memory proportional to its length.
"""

from __future__ import annotations

import re

from controller.errors import GardenFileError

# Our choice: 500 zones in the form of the example garden's ten take about half of each.
MOST_BYTES = 500_000
MOST_WORDS = 50_000  # keys and values
MOST_DEEP = 16  # nested tables and lists; our format has half of it
MOST_DIGITS = 40  # of a number

_TOKEN = re.compile(
    r"""
      (?P<skip>  [ \t\r]++ | \#[^\n]*+ )
    | (?P<word>  \"\"\" (?: [^"\\]++ | \\. | "(?!"") )*+ (?: \"\"\" "{0,2} )?
              |  '''    (?: [^']++ | '(?!'') )*+         (?: ''' '{0,2} )?
              |  "      (?: [^"\\\n]++ | \\[^\n] )*+ "?
              |  '      [^'\n]*+ '?
              |  [^\s"'\[\]{}=,.\#]++ )
    | (?P<sign>  . )
    """,
    re.VERBOSE | re.DOTALL,
)
_LONG_NUMBER = re.compile(rf"[+-]?[0-9][0-9A-Fa-f_xob]{{{MOST_DIGITS},}}+")


def too_large(path: str) -> GardenFileError:
    """The message for a file of more than `MOST_BYTES`."""
    return GardenFileError([f"{path}: larger than {MOST_BYTES // 1000} kB, which is allowed"])


def require_size(text: str, path: str) -> None:
    """Raise `GardenFileError` for a text beyond the limits, with the line."""
    if len(text) > MOST_BYTES:
        raise too_large(path)
    words, depth = 0, _Depth()
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "skip":
            continue
        found = token[0]
        message = ""
        if token.lastgroup == "word":
            words += 1
            if words > MOST_WORDS:
                message = f"more than {MOST_WORDS} keys and values; that many are allowed"
            elif _LONG_NUMBER.fullmatch(found):
                message = f"found a number of {len(found)} digits; allowed are {MOST_DIGITS}"
        if not message and depth.after(found, is_word=token.lastgroup == "word") > MOST_DEEP:
            message = f"tables and lists lie deeper than {MOST_DEEP} within each other"
            message += "; that deep is allowed"
        if message:
            line_no = text.count("\n", 0, token.start()) + 1
            raise GardenFileError([f"{path}, line {line_no}: {message}"])


class _Depth:
    """The depth of the text at each token; it may be too high by one or two, never too low."""

    def __init__(self) -> None:
        self._header = 0  # names in the last [header]
        self._open: list[int] = []  # depth of each open bracket
        self._inside = 0  # their sum
        self._names = 0  # names joined by dots, up to here
        self._after_dot = self._after_equals = False

    def after(self, found: str, *, is_word: bool) -> int:
        """The depth after one more token."""
        if is_word:
            self._names = self._names + 1 if self._after_dot else 1
        elif found in "[{":
            if not self._open and not self._after_equals:
                self._header = 0  # a header begins
            self._open.append(self._names + 1)
            self._inside += self._names + 1
            self._names = 0
        elif found in "]}":
            if self._open:
                self._inside -= self._open.pop()
            if not self._open and not self._after_equals:
                self._header, self._names = self._names, 0
        elif found == "\n" and not self._open:
            self._names, self._after_equals = 0, False
        elif found == "=" and not self._open:
            self._after_equals = True
        elif found == ",":
            self._names = 0
        self._after_dot = found == "." and not is_word
        return self._header + self._inside + self._names
