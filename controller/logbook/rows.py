"""From the rows of a query to the frozen values of `records`."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields
from datetime import date, datetime
from typing import Any

from controller.demand.records import LedgerDay
from controller.garden.model import ValveKind
from controller.logbook.records import (
    FlowStretch,
    Happening,
    HoldRow,
    HowKnown,
    Note,
    PulseRow,
    PulseState,
    Reading,
    utc_from_text,
)
from controller.weather.day import WeatherDay


def pulse_of(row: sqlite3.Row) -> PulseRow:
    """A pulse."""
    return PulseRow(
        id=row["id"],
        key=row["key"],
        zone=row["zone"],
        day=date.fromisoformat(row["day"]),
        slot=row["slot"],
        valve=ValveKind(row["valve"]),
        relay_line=row["relay_line"],
        together=tuple(json.loads(row["together"], strict=False)),
        state=PulseState(row["state"]),
        planned_opens_utc=_moment(row["planned_opens_utc"]),
        planned_open_s=row["planned_open_s"],
        planned_litres=row["planned_litres"],
        intended_utc=_moment(row["intended_utc"]),
        opened_utc=_moment(row["opened_utc"]),
        opened_mono_s=row["opened_mono_s"],
        boot_id=row["boot_id"],
        beat_utc=_moment(row["beat_utc"]),
        beat_open_s=row["beat_open_s"],
        beat_litres=row["beat_litres"],
        closed_utc=_moment(row["closed_utc"]),
        open_s=row["open_s"],
        litres=row["litres"],
        how_known=None if row["how_known"] is None else HowKnown(row["how_known"]),
        why=row["why"],
        who=row["who"],
        line_litres=_if_written(row, "line_litres"),
        uniformity=_if_written(row, "uniformity"),
    )


def _if_written(row: sqlite3.Row, column: str) -> float | None:
    """A cell that an older Rowgate did not write; None there."""
    return row[column] if column in set(row.keys()) else None


def values_of(
    row: sqlite3.Row, kind: type[WeatherDay | LedgerDay], *, truths: Iterable[str]
) -> Mapping[str, Any]:
    """A row as the arguments of a frozen value: its fields are the columns.

    What an older Rowgate did not write (no such column, or NULL) is left to the value's default.
    """
    written = set(row.keys())
    values: dict[str, Any] = {}
    for field in fields(kind):
        cell = row[field.name] if field.name in written else None
        if cell is not None or field.default is MISSING:
            values[field.name] = cell
    values["day"] = date.fromisoformat(row["day"])
    if values.get("given_utc") is not None:
        values["given_utc"] = utc_from_text(values["given_utc"])
    for name in truths:
        values[name] = bool(row[name])
    return values


def _moment(text: str | None) -> datetime | None:
    return None if text is None else utc_from_text(text)


def day_of(text: str | None) -> date | None:
    """A day, or None."""
    return None if text is None else date.fromisoformat(text)


def hold_of(row: sqlite3.Row) -> HoldRow:
    """A hold."""
    return HoldRow(
        id=row["id"],
        begins_utc=utc_from_text(row["begins_utc"]),
        ends_utc=utc_from_text(row["ends_utc"]),
        zones=frozenset(json.loads(row["zones"], strict=False)),
        reason=row["reason"],
        lifted_utc=_moment(row["lifted_utc"]),
    )


def happening_of(row: sqlite3.Row) -> Happening:
    """A fault or an event."""
    return Happening(
        id=row["id"],
        at_utc=utc_from_text(row["at_utc"]),
        kind=row["kind"],
        words=row["words"],
        zone=row["zone"],
        line=row["line"],
    )


def flow_stretch_of(row: sqlite3.Row) -> FlowStretch:
    """What the meter saw of an open set."""
    return FlowStretch(
        day=date.fromisoformat(row["day"]),
        zones=frozenset(json.loads(row["zones"], strict=False)),
        seconds=row["seconds"],
        litres=row["litres"],
        computed_l_s=row["computed_l_s"],
    )


def note_of(row: sqlite3.Row) -> Note:
    """A note."""
    return Note(
        id=row["id"],
        at_utc=utc_from_text(row["at_utc"]),
        words=row["words"],
        zone=row["zone"],
        who=row["who"],
    )


def reading_of(row: sqlite3.Row) -> Reading:
    """A reading."""
    return Reading(
        id=row["id"],
        at_utc=utc_from_text(row["at_utc"]),
        kind=row["kind"],
        value=row["value"],
        unit=row["unit"],
        day=day_of(row["day"]),
        zone=row["zone"],
        who=row["who"],
    )
