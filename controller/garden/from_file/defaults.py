"""Defaults and pipe sizes, for all parts that build the model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from controller.garden import quantities as q
from controller.garden.faults import Faults, Path
from controller.garden.model import Filled
from controller.garden.plumbing import Pipe
from controller.garden.schema import WrittenGarden

_T = TypeVar("_T")
_NOWHERE_PIPE = Pipe(label="unknown", bore_m=1.0, wall_m=0.003)


class Filling:
    """The written tables of one file, and the list of its filled defaults."""

    def __init__(
        self, written: WrittenGarden, faults: Faults, pipes: Mapping[str, Pipe], us: bool
    ) -> None:
        self.written, self.faults, self.us = written, faults, us
        self.filled: list[Filled] = []
        self._pipes = pipes

    def default(
        self, place: Path, key: str, written: _T | None, value: _T, shown: str, why: str = ""
    ) -> _T:
        """The written value, or the default, which is then reported."""
        if written is None:
            self.report(place, key, shown, why)
            return value
        return written

    def report(self, place: Path, key: str, shown: str, why: str) -> None:
        """Report a default."""
        self.filled.append(
            Filled(where=self.faults.where(place) or "garden", key=key, shown=shown, why=why)
        )

    def pipe(self, place: Path, written: str | Pipe | None, default: str) -> Pipe:
        """The pipe with this label, or the gardener's own."""
        if isinstance(written, Pipe):
            return written
        label = self.default(place[:-1], str(place[-1]), written, default, default)
        asked = _nominal_in(label)
        for known, pipe in self._pipes.items():
            if known == label.strip() or (asked is not None and _nominal_in(known) == asked):
                return pipe
        sizes = ", ".join(f'"{known}"' for known in self._pipes)
        self.faults.add(
            place,
            f"found {q.spell(label)}; a pipe size is one of {sizes}, or its own inside width and "
            f'wall, as in {{ bore = "20 mm", wall = "2.5 mm" }}',
        )
        self.faults.spoil(place)
        return _NOWHERE_PIPE


def _nominal_in(label: str) -> float | None:
    """The inches of "1 1/4 in", "1-1/4 in" or "1.25 in"."""
    return round(q.read_length(label) / 0.0254, 6) if q.is_us(label) else None
