"""Faults of a garden file, gathered: each names file, line, place, what was found and allowed."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

from controller.errors import GardenFileError
from controller.garden.lines import LineFinder, Path

# Lists of tables that a person knows by name, not by number.
_NAMED = frozenset({("zone",), ("bed",), ("crop",), ("soil",), ("main", "run")})

# More than these help nobody, and would fill the log; our choice.
MOST_SAID = 200


class Faults:
    """Every fault of one file, each said once, in the order of the lines.

    A place once spoiled stays so: what is found wrong later because of it is not said.
    """

    def __init__(self, path: str, text: str, data: dict[str, Any]) -> None:
        self.path, self._data = path, data
        self._finder = LineFinder(text)
        self._said: dict[tuple[int, str], None] = {}
        self._spoiled: set[Path] = set()

    def add(self, place: Path, said: str, *, needs: Iterable[Path] = ()) -> None:
        """Note a fault at `place`, unless it or a place the finding leaned on is spoiled."""
        if self.is_spoiled(place) or any(self.is_spoiled(path) for path in needs):
            return
        line_no = self._finder.line(place)
        where = self.where(place)
        text = f"{self.path}, line {line_no}{', ' + where if where else ''}: {said}"
        self._said.setdefault((line_no, text))

    def spoil(self, place: Path) -> None:
        """A stand-in takes the place of what was written here."""
        self._spoiled.add(place)

    def is_spoiled(self, place: Path) -> bool:
        """Whether a stand-in stands here or around here."""
        return any(place[:end] in self._spoiled for end in range(1, len(place) + 1))

    def is_written(self, place: Path) -> bool:
        """Whether this very key stands in the file."""
        return self._finder.has(place)

    def where(self, place: Path) -> str:
        """The place in a gardener's words: zone "leeks", row 1, bore."""
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
        """Raise `GardenFileError` with the faults, top of the file first."""
        if self._said:
            faults = [text for _, text in sorted(self._said)]
            left = len(faults) - MOST_SAID
            more = [f"{self.path}: {left} more faults, left out here"] if left > 0 else []
            raise GardenFileError([*faults[:MOST_SAID], *more])


def nearest(found: str, known: Iterable[str]) -> str | None:
    """The known word most like the one found, if any is like it."""
    by_small = {word.lower(): word for word in known}
    close = difflib.get_close_matches(found.lower(), by_small, n=1, cutoff=0.6)
    return by_small[close[0]] if close else None


def instead(found: str, known: Iterable[str], *, called: str) -> str:
    """What to write instead of an unknown word: the nearest, and all of them if they are few."""
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
