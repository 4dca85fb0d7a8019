"""Faults of a garden file, each with its line, its place, what was found and what is allowed.

The standard library's parser gives values without positions. So this module reads the text once
more and stores the line of every key by its path: ("zone", 1, "row", 0, "bore"). It expects valid
TOML: the parser has read it before.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from controller.errors import GardenFileError

Path = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = " \t\r\n"


class LineFinder:
    """The lines of one text."""

    def __init__(self, text: str) -> None:
        self._lines: Mapping[Path, int] = _Walk(text).run()

    def line(self, path: Path) -> int:
        """The line of the key at `path`, or of the nearest table around it; 1 for the file."""
        for end in range(len(path), 0, -1):
            if path[:end] in self._lines:
                return self._lines[path[:end]]
        return 1

    def has(self, path: Path) -> bool:
        """Whether exactly this path is in the text."""
        return path in self._lines


class _Walk:
    """One pass over the text; `at` only goes forward."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.line_no = 1
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}  # number of [[tables]] of this path so far

    def run(self) -> dict[Path, int]:
        here: Path = ()
        while self._skip():
            if self._peek() == "[":
                here = self._header()
            else:
                self._pair(here)
        return self.lines

    def _header(self) -> Path:
        """[a.b] or [[a.b]]: the path of the keys below it."""
        line_no = self.line_no
        self._step()
        repeated = self._peek() == "["
        if repeated:
            self._step()
        path: Path = ()
        keys = self._keys()
        for key in keys[:-1]:
            path = self._into((*path, key))
            self.lines.setdefault(path, line_no)
        path = (*path, keys[-1])
        self.lines.setdefault(path, line_no)
        if repeated:
            number = self.counts.get(path, 0)
            self.counts[path] = number + 1
            path = (*path, number)
            self.lines[path] = line_no
        while self._peek() == "]":
            self._step()
        return path

    def _into(self, path: Path) -> Path:
        """A key that names a list of tables means its latest table."""
        return (*path, self.counts[path] - 1) if path in self.counts else path

    def _pair(self, here: Path) -> None:
        """key = value; the key may be dotted."""
        line_no = self.line_no
        path = here
        for key in self._keys():
            path = (*path, key)
            self.lines.setdefault(path, line_no)
        self._step()  # =
        self._value(path)

    def _keys(self) -> list[str]:
        """One or more keys with dots between; ends on the character after them."""
        keys: list[str] = []
        while True:
            self._skip()
            if self._peek() in "\"'":
                keys.append(self._string())
            else:
                found = _BARE_KEY.match(self.text, self.at)
                keys.append(found[0] if found else "")
                self._step(len(keys[-1]))
            self._skip()
            if self._peek() != ".":
                return keys
            self._step()

    def _value(self, path: Path) -> None:
        self._skip()
        sign = self._peek()
        if sign == "[":
            self._list(path)
        elif sign == "{":
            self._table(path)
        elif sign and sign in "\"'":
            self._string()
        else:
            while self._peek() and self._peek() not in ",]}#\n":
                self._step()

    def _list(self, path: Path) -> None:
        self._step()
        number = 0
        while self._skip() and self._peek() != "]":
            self.lines[(*path, number)] = self.line_no
            before = self.at
            self._value((*path, number))
            number += 1
            if self._skip() and (self._peek() == "," or self.at == before):
                self._step()  # go on also in text that is not TOML
        self._step()

    def _table(self, path: Path) -> None:
        self._step()
        while self._skip() and self._peek() != "}":
            self._pair(path)
            if self._skip() and self._peek() == ",":
                self._step()
        self._step()

    def _string(self) -> str:
        """Skip a string of any of the four kinds; return the text between its quotes."""
        quote = self._peek()
        closing = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self._step(len(closing))
        start = self.at
        while self._peek() and not self.text.startswith(closing, self.at):
            self._step(2 if quote == '"' and self._peek() == "\\" else 1)
        inner = self.text[start : self.at]
        self._step(len(closing))
        while len(closing) == 3 and self._peek() == quote:  # up to two quotes may touch the end
            self._step()
        return _unescaped(inner) if quote == '"' and len(closing) == 1 else inner

    def _skip(self) -> bool:
        """Skip white space and comments; False at the end of the text."""
        while self.at < len(self.text):
            if self._peek() == "#":
                while self._peek() and self._peek() != "\n":
                    self._step()
            elif self._peek() in _SPACE:
                self._step()
            else:
                return True
        return False

    def _peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def _step(self, count: int = 1) -> None:
        self.line_no += self.text.count("\n", self.at, self.at + count)
        self.at += count


def _unescaped(inner: str) -> str:
    """A quoted key without its escapes; only those that occur in practice are exact."""
    if "\\" not in inner:
        return inner
    escapes = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}

    def one(found: re.Match[str]) -> str:
        code = found[1]
        if code[0] in "uU":
            return chr(int(code[1:], 16))
        return escapes.get(code, code)

    return re.sub(r"\\(u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8}|.)", one, inner)


# Lists of tables that people know by name, not by number.
_NAMED = frozenset({("zone",), ("bed",), ("crop",), ("soil",), ("main", "run")})

# More faults than this do not help and would fill the log; our choice.
MOST_SAID = 200


class Faults:
    """All faults of one file, each once, in the order of the lines.

    A place that has been spoiled stays spoiled: later faults that follow from it are not added.
    """

    def __init__(self, path: str, text: str, data: dict[str, Any]) -> None:
        self.path, self._data = path, data
        self._finder = LineFinder(text)
        self._said: dict[tuple[int, str], None] = {}
        self._spoiled: set[Path] = set()

    def add(self, place: Path, message: str, *, needs: Iterable[Path] = ()) -> None:
        """Add a fault at `place`, unless this place or one of `needs` is spoiled."""
        if self.is_spoiled(place) or any(self.is_spoiled(path) for path in needs):
            return
        line_no = self._finder.line(place)
        where = self.where(place)
        text = f"{self.path}, line {line_no}{', ' + where if where else ''}: {message}"
        self._said.setdefault((line_no, text))

    def spoil(self, place: Path) -> None:
        """Mark a place whose value was replaced by a stand-in."""
        self._spoiled.add(place)

    def is_spoiled(self, place: Path) -> bool:
        """Whether this place, or a table around it, has a stand-in."""
        return any(place[:end] in self._spoiled for end in range(1, len(place) + 1))

    def is_written(self, place: Path) -> bool:
        """Whether exactly this key is in the file."""
        return self._finder.has(place)

    def as_written(self, place: Path) -> str:
        """The text at this key as the gardener wrote it; "" where there is none."""
        found: Any = self._data
        for step in place:
            found = _inside(found, step)
        return found.strip() if isinstance(found, str) else ""

    def where(self, place: Path) -> str:
        """The place as text for a gardener: zone "leeks", row 1, bore."""
        words: list[str] = []
        found: Any = self._data
        for number, step in enumerate(place):
            found = _inside(found, step)
            if not isinstance(step, int):
                words.append(step)
                continue
            name = found.get("name") if isinstance(found, dict) else None
            if place[:number] in _NAMED and isinstance(name, str) and name.strip():
                words[-1] += f' "{name.strip()}"'
            else:
                words[-1] += f" {step + 1}"
        return ", ".join(words)

    def raise_if_any(self) -> None:
        """Raise `GardenFileError` with all faults, in the order of the lines."""
        if self._said:
            faults = [text for _, text in sorted(self._said)]
            left = len(faults) - MOST_SAID
            more = [f"{self.path}: {left} more faults, left out here"] if left > 0 else []
            raise GardenFileError([*faults[:MOST_SAID], *more])


def nearest(found: str, known: Iterable[str]) -> str | None:
    """The most similar known word, if any is similar."""
    by_small = {word.lower(): word for word in known}
    close = difflib.get_close_matches(found.lower(), by_small, n=1, cutoff=0.6)
    return by_small[close[0]] if close else None


def instead(found: str, known: Iterable[str], *, called: str) -> str:
    """What to write instead of an unknown word: the nearest, and all if they are few."""
    words = sorted(known)
    close = nearest(found, words)
    hint = f'did you mean "{close}"? ' if close else ""
    if len(words) <= (30 if not close else 12):
        return f"{hint}{called}: {', '.join(words) if words else 'none'}"
    return hint.strip() or f"{called}: {', '.join(words[:30])} and {len(words) - 30} more"


def _inside(found: Any, step: str | int) -> Any:
    if isinstance(step, str):
        return found.get(step) if isinstance(found, dict) else None
    return found[step] if isinstance(found, list) and 0 <= step < len(found) else None
