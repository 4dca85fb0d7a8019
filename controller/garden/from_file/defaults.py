"""Defaults and pipe sizes, for all parts that build the model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar, cast

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden.faults import Faults, Path
from controller.garden.model import Filled
from controller.garden.plumbing import Pipe
from controller.garden.pydantic_form import SomeTable, Table, key_of
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

    def used(self, at: Path, table: SomeTable) -> SomeTable:
        """The table at `at`, to read from: a default is reported when it is first read.

        So the order of reading is that of the report. What is read from the table itself is not
        reported: there the default has no effect.
        """
        return cast(SomeTable, _Used(self, at, table))

    def default(
        self, place: Path, key: str, written: _T | None, value: _T, shown: str, why: str = ""
    ) -> _T:
        """The written value, or a default that depends on other keys, which is then reported."""
        if written is None:
            self.report(place, key, shown, why)
            return value
        return written

    def report(self, place: Path, key: str, shown: str, why: str) -> None:
        """Report a default."""
        self.filled.append(
            Filled(where=self.faults.where(place) or "garden", key=key, shown=shown, why=why)
        )

    def pipe(self, place: Path, written: str | Pipe) -> Pipe:
        """The pipe with this label, or the gardener's own."""
        if isinstance(written, Pipe):
            return written
        asked = _nominal_in(written)
        for known, pipe in self._pipes.items():
            if known == written.strip() or (asked is not None and _nominal_in(known) == asked):
                return pipe
        sizes = ", ".join(f'"{known}"' for known in self._pipes)
        self.faults.add(
            place,
            f"found {q.spell(written)}; a pipe size is one of {sizes}, or its own inside width and "
            f'wall, as in {{ bore = "20 mm", wall = "2.5 mm" }}',
        )
        self.faults.spoil(place)
        return _NOWHERE_PIPE


class _Used:
    """A table with the same fields, which reports each default that is read."""

    def __init__(self, filling: Filling, at: Path, table: Table) -> None:
        self._filling, self._at, self._table = filling, at, table

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._table, name)
        if name in type(self._table).model_fields and name not in self._table.model_fields_set:
            key, unwritten = key_of(type(self._table), name)
            if unwritten is not None:
                shown = unwritten.text(value, self._filling.us)
                self._filling.report(self._at, key, shown, unwritten.why)
        setattr(self, name, value)  # so that it is reported once
        return value


def _nominal_in(label: str) -> float | None:
    """The inches of "1 1/4 in", "1-1/4 in" or "1.25 in"; None for anything else."""
    try:
        return round(q.read_length(label) / 0.0254, 6) if q.is_us(label) else None
    except QuantityError:
        return None
