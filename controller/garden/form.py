"""Pydantic's one door: tables with fixed keys, and pydantic's errors in a gardener's words."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationError

from controller.garden.faults import Faults, instead
from controller.garden.lines import Path
from controller.garden.quantities import spell
from controller.garden.values import Reader

__all__ = ["Field", "Needed", "Table", "by", "read_table"]

# What must be written, by table and key: the words that ask for it, and a stand-in that lets the
# rest of the file be judged when it is missing or wrong.
Needed = Mapping[tuple[str, str], tuple[str, Any]]


class Table(BaseModel):
    """A table of the file: these keys and no others."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


SomeTable = TypeVar("SomeTable", bound=Table)


def by(reader: Reader) -> PlainValidator:
    """Let a reader judge the value alone; its `QuantityError` is a ValueError, which is kept."""
    return PlainValidator(reader)


def read_table(
    model: type[SomeTable], data: Mapping[str, Any], faults: Faults, needed: Needed
) -> SomeTable:
    """Read all of `data`; what does not read is noted and a stand-in takes its place.

    Raises `GardenFileError` only if even the stand-ins leave nothing that can be judged.
    """
    patched = copy.deepcopy(dict(data))
    for _ in range(4):  # a stand-in may bring the faults next to it to light
        try:
            return model.model_validate(patched)
        except ValidationError as error:
            details: list[Any] = error.errors(include_url=False)
        for detail in details:
            place: Path = detail["loc"]
            faults.add(place, _words(detail, model, needed))
            faults.spoil(place)
            _patch(patched, place, needed)
    faults.raise_if_any()
    raise AssertionError("stand-ins do not read")


def _words(detail: Mapping[str, Any], model: type[Table], needed: Needed) -> str:
    """One of pydantic's errors, said to a gardener."""
    place, found = detail["loc"], detail["input"]
    key = str(place[-1])
    match detail["type"]:
        case "value_error":
            return str(detail["ctx"]["error"])
        case "missing":
            words = needed.get((_section(place), key), (f"{key} is needed", None))[0]
            return f"found nothing; {words}"
        case "extra_forbidden":
            known = instead(key, _keys(_table_at(model, place[:-1])), called="known keys here")
            return f"found an unknown key; {known}"
        case "list_type":
            hint = f"each {key} starts with [[...{key}]] in double brackets, or stands in a list"
            return f"found {spell(found)}; {hint}"
        case "model_type" | "model_attributes_type":
            keys = ", ".join(_keys(_table_at(model, place)))
            return f"found {spell(found)}; allowed is a table of {keys}"
    return f"found {spell(found)}; {detail['msg'][:1].lower()}{detail['msg'][1:]}"


def _patch(data: Any, place: Path, needed: Needed) -> None:
    """Put a stand-in at `place`, or take away what stands there if it is not needed."""
    at = data
    for step in place[:-1]:
        at = at[step]
    key = place[-1]
    if isinstance(key, int):
        list_key = str(place[-2])
        at[key] = copy.deepcopy(needed[(_section(place[:-1]), list_key)][1][0])
    elif (_section(place), key) in needed:
        at[key] = copy.deepcopy(needed[(_section(place), key)][1])
    else:
        at.pop(key, None)


def _section(place: Path) -> str:
    """The key of the table that `place` stands in; "" at the top."""
    return next((step for step in reversed(place[:-1]) if isinstance(step, str)), "")


def _keys(table: type[Table] | None) -> Iterable[str]:
    fields = table.model_fields if table else {}
    return [field.alias or name for name, field in fields.items()]


def _table_at(model: type[Table], place: Path) -> type[Table] | None:
    """The table that stands at `place`."""
    at: type[Table] | None = model
    for step in place:
        if isinstance(step, str) and at is not None:
            fields = [f for name, f in at.model_fields.items() if (f.alias or name) == step]
            at = _table_in(fields[0].annotation) if fields else None
    return at


def _table_in(annotation: Any) -> type[Table] | None:
    """The table inside list[...] or "... | None"."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    found = (_table_in(inner) for inner in get_args(annotation))
    return next((table for table in found if table is not None), None)
