"""The only use of pydantic: tables with fixed keys, and its errors as a gardener's messages.

The limits are those of `crops.entry` for its tables; here they give messages with line and key. A
test keeps both equal.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationError
from pydantic.fields import FieldInfo

from controller.garden import values as v
from controller.garden.faults import Faults, Path, instead
from controller.garden.model import OwnCrop, OwnSoil
from controller.garden.quantities import spell
from controller.garden.values import Reader

__all__ = [
    "Field",
    "Name",
    "Needed",
    "SomeTable",
    "Table",
    "Unwritten",
    "YesNo",
    "bare",
    "by",
    "key_of",
    "read_table",
    "word",
]


@dataclass(frozen=True, slots=True)
class Needed:
    """What a fault says of a required key that is missing, and a stand-in for its value.

    With stand-ins the rest of the file can be checked. That of a table is made of those of its
    required keys.
    """

    words: str
    stand_in: Any = None


@dataclass(frozen=True, slots=True)
class Unwritten:
    """How the default of a key is reported: what is shown, and why it is that.

    The default itself is that of the field. Without `shown` it is the default as it is; a function
    makes it from the default and from whether the garden is in US units.
    """

    why: str = ""
    shown: str | Callable[[Any, bool], str] = ""

    def text(self, default: object, us: bool) -> str:
        """The default as it is shown."""
        if callable(self.shown):
            return self.shown(default, us)
        if self.shown or isinstance(default, str):
            return self.shown or str(default)
        return f"{default:g}" if isinstance(default, float) else spell(default)


class Table(BaseModel):
    """A table of the file: with these keys and no others."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


SomeTable = TypeVar("SomeTable", bound=Table)
_T = TypeVar("_T")


def by(reader: Reader) -> PlainValidator:
    """Let a reader alone check the value; pydantic keeps its `QuantityError`, a ValueError."""
    return PlainValidator(reader)


def bare(what: str, example: str, low: float, high: float) -> PlainValidator:
    """Check a bare number by its limits."""
    return by(v.number(what, example, low, high))


def word(what: str, words: Iterable[str]) -> PlainValidator:
    """Check that a value is one of these words; those of an enumeration are its values."""
    return by(v.choice(what, {str(one): one for one in words}))


Name = Annotated[str, by(v.text("a name", "leeks"))]
YesNo = Annotated[bool, by(v.yes_no)]


def read_table(model: type[SomeTable], data: Mapping[str, Any], faults: Faults) -> SomeTable:
    """Read all of `data`; a wrong value gives a fault, and a stand-in replaces it.

    Raises `GardenFileError` only if the table cannot be checked even with stand-ins.
    """
    patched = copy.deepcopy(dict(data))
    for _ in range(4):  # a stand-in may reveal the faults next to it
        try:
            return model.model_validate(patched)
        except ValidationError as error:
            details: list[Any] = error.errors(include_url=False)
        for detail in details:
            place: Path = detail["loc"]
            faults.add(place, _message(detail, model))
            faults.spoil(place)
            _patch(patched, place, model)
    faults.raise_if_any()
    raise AssertionError("stand-ins do not read")


def _message(detail: Mapping[str, Any], model: type[Table]) -> str:
    """One of pydantic's errors, as a message for a gardener."""
    place, found = detail["loc"], detail["input"]
    key = str(place[-1])
    match detail["type"]:
        case "value_error":
            return str(detail["ctx"]["error"])
        case "missing":
            needed = _of(_field_at(model, place), Needed)
            return f"found nothing; {needed.words if needed else f'{key} is needed'}"
        case "extra_forbidden":
            known = instead(key, _keys_at(model, place[:-1]), called="known keys here")
            return f"found an unknown key; {known}"
        case "list_type":
            hint = f"each {key} starts with [[...{key}]] in double brackets, or stands in a list"
            return f"found {spell(found)}; {hint}"
        case "model_type" | "model_attributes_type":
            keys = ", ".join(_keys_at(model, place))
            return f"found {spell(found)}; allowed is a table of {keys}"
    return f"found {spell(found)}; {detail['msg'][:1].lower()}{detail['msg'][1:]}"


def _patch(data: Any, place: Path, model: type[Table]) -> None:
    """Put a stand-in at `place`, or remove its value if nothing stands in for it."""
    at = data
    for step in place[:-1]:
        at = at[step]
    key = place[-1]
    field = _field_at(model, place)
    stand_in = None if field is None else _stand_in(field)
    if isinstance(key, int):  # of a list of tables
        at[key] = stand_in[0] if stand_in else {}
    elif stand_in is None:
        at.pop(key, None)
    else:
        at[key] = stand_in


def _stand_in(field: FieldInfo) -> Any:
    """What stands in for a missing or wrong value; None for a key that is not required."""
    table, needed = _table_in(field.annotation), _of(field, Needed)
    if table is not None and (needed or _is_list(field.annotation)):
        keys = _fields(table).items()
        made = {key: _stand_in(inner) for key, inner in keys if inner.is_required()}
        return [made] if _is_list(field.annotation) else made
    return needed.stand_in if needed else None


def key_of(table: type[Table], name: str) -> tuple[str, Unwritten | None]:
    """The key of a field in the file, and how its default is reported, if it is."""
    field = table.model_fields[name]
    return field.alias or name, _of(field, Unwritten)


def _of(field: FieldInfo | None, kind: type[_T]) -> _T | None:
    """What the annotation of a field has of this kind."""
    found = (one for one in field.metadata if isinstance(one, kind)) if field else iter(())
    return next(found, None)


def _fields(table: type[Table] | None) -> dict[str, FieldInfo]:
    """The fields of a table by their keys in the file."""
    return {f.alias or name: f for name, f in table.model_fields.items()} if table else {}


def _field_at(model: type[Table], place: Path) -> FieldInfo | None:
    """The field of the last key of `place`."""
    field: FieldInfo | None = None
    table: type[Table] | None = model
    for step in place:
        if isinstance(step, str):
            field = _fields(table).get(step)
            table = _table_in(field.annotation) if field else None
    return field


def _keys_at(model: type[Table], place: Path) -> Iterable[str]:
    """The keys of the table at `place`."""
    field = _field_at(model, place)
    return _fields(model if not place else _table_in(field.annotation) if field else None)


def _is_list(annotation: Any) -> bool:
    return list in (get_origin(annotation), *map(get_origin, get_args(annotation)))


def _table_in(annotation: Any) -> type[Table] | None:
    """The table inside list[...] or "... | None"."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    found = (_table_in(inner) for inner in get_args(annotation))
    return next((table for table in found if table is not None), None)


Days = Annotated[float, by(v.whole("a stage", 0, 400))]
Kc = Annotated[float, bare("a crop coefficient", "1.05", 0, 2)]
Height = Annotated[float, bare("a height in metres", "0.6", 0.01, 12)]
Root = Annotated[float, bare("a depth in metres", "0.3", 0.05, 5)]


class WrittenCrop(Table):
    name: Annotated[Name, Needed("a crop of your own needs a name", "-")]
    like: Name | None = None
    kc_ini: Kc | None = None
    kc_mid: Kc | None = None
    kc_end: Kc | None = None
    kcb_ini: Kc | None = None
    kcb_mid: Kc | None = None
    kcb_end: Kc | None = None
    kc_mid_supported: Kc | None = None
    kcb_mid_supported: Kc | None = None
    height_m: Height | None = None
    height_supported_m: Height | None = None
    root_min_m: Root | None = None
    root_max_m: Root | None = None
    depletion_fraction: Annotated[float, bare("depletion_fraction", "0.4", 0.1, 0.8)] | None = None
    in_row_spacing_m: Annotated[float, bare("a spacing in metres", "0.3", 0.005, 10)] | None = None
    spread_m: Annotated[float, bare("a spread in metres", "0.5", 0.02, 10)] | None = None
    gdd_base_c: Annotated[float, bare("a temperature in degrees C", "5", -5, 30)] | None = None
    gdd_upper_c: Annotated[float, bare("a temperature in degrees C", "30", 10, 50)] | None = None
    salinity_threshold_ds_m: Annotated[float, bare("a threshold in dS/m", "1.2", 0, 30)] | None = (
        None
    )
    salinity_slope_pct: Annotated[float, bare("a loss in % per dS/m", "16", 0, 100)] | None = None
    days_initial: Days | None = None
    days_development: Days | None = None
    days_mid: Days | None = None
    days_late: Days | None = None


class WrittenSoil(Table):
    name: Annotated[Name, Needed("a soil of your own needs a name", "-")]
    like: Name | None = None
    field_capacity: Annotated[float, bare("field_capacity", "0.25", 0.02, 0.7)] | None = None
    wilting_point: Annotated[float, bare("wilting_point", "0.12", 0.005, 0.5)] | None = None
    rew_mm: Annotated[float, bare("a depth in millimetres", "9", 0.5, 20)] | None = None
    intake_mm_h: Annotated[float, bare("an intake in mm per hour", "13", 0.1, 500)] | None = None
    wetted_width_m: Annotated[float, bare("a width in metres", "0.4", 0.05, 2)] | None = None
    curve_number: Annotated[float, bare("a curve number", "75", 30, 98)] | None = None


def own_crop(written: WrittenCrop) -> OwnCrop:
    """The crop of the model; a missing key keeps the value of the crop table."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnCrop(name=written.name, like=written.like, changes=changes)


def own_soil(written: WrittenSoil) -> OwnSoil:
    """The soil of the model; a missing key keeps the value of the soil table."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnSoil(name=written.name, like=written.like, changes=changes)
