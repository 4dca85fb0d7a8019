"""How large and how deep a garden file may be, judged before anything parses it.

What parses takes time and memory by the square of the depth, and comes to its own end far down.
One pass over the text, in time and memory that grow with its length alone, keeps that out.
"""

from __future__ import annotations

import re

from controller.errors import GardenFileError

# Our choice: 500 zones as the example garden writes its ten take about half of each.
MOST_BYTES = 500_000
MOST_WORDS = 50_000  # keys and values
MOST_DEEP = 16  # tables and lists within each other; ours lie half as deep
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
    """What is said of a file of more than `MOST_BYTES`."""
    return GardenFileError([f"{path}: larger than {MOST_BYTES // 1000} kB, which is allowed"])


def require_size(text: str, path: str) -> None:
    """Raise `GardenFileError` for a text beyond the limits, with the line where it goes beyond."""
    if len(text) > MOST_BYTES:
        raise too_large(path)
    words, depth = 0, _Depth()
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "skip":
            continue
        found = token[0]
        said = ""
        if token.lastgroup == "word":
            words += 1
            if words > MOST_WORDS:
                said = f"more than {MOST_WORDS} keys and values; that many are allowed"
            elif _LONG_NUMBER.fullmatch(found):
                said = f"found a number of {len(found)} digits; allowed are {MOST_DIGITS}"
        if not said and depth.after(found, is_word=token.lastgroup == "word") > MOST_DEEP:
            said = f"tables and lists lie deeper than {MOST_DEEP} within each other"
            said += "; that deep is allowed"
        if said:
            line_no = text.count("\n", 0, token.start()) + 1
            raise GardenFileError([f"{path}, line {line_no}: {said}"])


class _Depth:
    """How deep the text is at each word and sign; too deep by one or two rather than too flat."""

    def __init__(self) -> None:
        self._header = 0  # names in the last [header]
        self._open: list[int] = []  # what each open bracket adds
        self._inside = 0  # their sum
        self._names = 0  # joined by dots, up to here
        self._after_dot = self._after_equals = False

    def after(self, found: str, *, is_word: bool) -> int:
        """The depth with one more word or sign."""
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
