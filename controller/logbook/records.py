"""The logbook's rows as frozen values, and how they are read."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Any

from controller.demand.records import LedgerDay, Observation
from controller.errors import LogbookError
from controller.garden.plumbing import ValveKind
from controller.timetable.records import Pulse
from controller.weather.day import WeatherDay

# One width for every moment, so that the order of the texts is the order of the moments.
_UTC_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"


class PulseState(StrEnum):
    """How far a pulse has come. Only a planned one may be taken back."""

    PLANNED = "planned"
    INTENDED = "intended"  # on disk, the valve about to open
    OPEN = "open"
    CLOSED = "closed"
    REFUSED = "refused"  # a limit or a line said no
    MISSED = "missed"  # its time went by
    ASSUMED = "assumed"  # its day is over, and a hand valve counts as printed
    CUT = "cut"  # ended by a crash


class HowKnown(StrEnum):
    """How the litres of a pulse are known."""

    TIMED = "timed"  # open time by computed flow
    METERED = "metered"
    BY_HAND = "by hand"
    HEARTBEAT = "heartbeat"  # up to the last sign of life before a crash
    NONE = "none"  # not known; counted as nothing


MENDED = "mended"  # kind of reading: a zone's line was mended, or is as it should be


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseRow:
    """One opening of one valve, as far as it has come. A noted hand watering has no `slot`."""

    id: int
    key: str
    zone: str
    day: date
    slot: int | None
    valve: ValveKind
    relay_line: int | None
    together: tuple[str, ...]
    state: PulseState
    planned_opens_utc: datetime | None
    planned_open_s: float | None
    planned_litres: float | None
    intended_utc: datetime | None
    opened_utc: datetime | None
    opened_mono_s: float | None
    boot_id: str | None
    beat_utc: datetime | None
    beat_open_s: float | None
    beat_litres: float | None
    closed_utc: datetime | None
    open_s: float | None
    litres: float | None
    how_known: HowKnown | None
    why: str
    who: str
    line_litres: float | None = None
    uniformity: float | None = None

    def as_pulse(self) -> Pulse:
        """The pulse as it was planned; LogbookError where it never was."""
        if (
            self.slot is None
            or self.planned_opens_utc is None
            or self.planned_open_s is None
            or self.planned_litres is None
        ):
            raise LogbookError(f"{self.key} was never planned; it is a note of hand watering")
        return Pulse(
            zone=self.zone,
            day=self.day,
            slot=self.slot,
            opens_utc=self.planned_opens_utc,
            closes_utc=self.planned_opens_utc + timedelta(seconds=self.planned_open_s),
            open_s=self.planned_open_s,
            litres=self.planned_litres,
            valve=self.valve,
            relay_line=self.relay_line,
            together=self.together,
            line_litres=self.line_litres,
            uniformity=self.uniformity,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRow:
    """A stretch in which nothing opens, its end excluded. No zones: all zones."""

    id: int
    begins_utc: datetime
    ends_utc: datetime
    zones: frozenset[str]
    reason: str
    lifted_utc: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """A fault or an event, in words for the keeper."""

    id: int
    at_utc: datetime
    kind: str
    words: str
    zone: str | None
    line: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowStretch:
    """What the meter saw of an open set on a day, lines filled and valves settled."""

    day: date
    zones: frozenset[str]
    seconds: float
    litres: float
    computed_l_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Free words of a keeper."""

    id: int
    at_utc: datetime
    words: str
    zone: str | None
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A person's reading of a gauge, a meter, or something else."""

    id: int
    at_utc: datetime
    kind: str
    value: float
    unit: str
    day: date | None
    zone: str | None
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SumRow:
    """What one zone, bed, keeper or month got, or one of them in one month.

    A watering is all that a zone got on one day. `pulses` counts the openings that gave water or
    may have; `pulses_cut` those among them that a crash ended; `pulses_untimed` those whose open
    time nobody noted, so `open_s` lacks them. `litres` were reported: by relays, or by a person.
    What was assumed as printed, since nobody reported it, is apart, and in no other figure.
    """

    name: str
    month: str = ""  # as in 2031-06, where the rows are by month besides
    litres: float
    relay_litres: float
    hand_litres: float
    waterings: int
    days: int  # with water
    days_without: int
    assumed_litres: float
    assumed_waterings: int
    pulses: int
    open_s: float
    pulses_cut: int
    pulses_untimed: int
    litres_by_how: Mapping[HowKnown, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """A report's figures. `total` is summed over the pulses themselves, not over the rows.

    `missed` and `refused` count openings that gave no water. `zone_days` counts the ledger's days
    in the period, zone by zone, the parts of a zone together; among them the two others count those
    whose weather was a stand-in, and those whose weather was a forecast, and `zone_days_by_rung`
    all of them by the step of the weather's ladder.
    """

    by: str
    first: date
    last: date
    rows: tuple[SumRow, ...]
    total: SumRow
    missed: int
    refused: int
    zone_days: int
    stand_in_zone_days: int
    forecast_zone_days: int
    stand_ins: tuple[str, ...] = ()
    zone_days_by_rung: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterSpan:
    """The litres between two readings of the water meter.

    `meter_litres` and `unexplained_litres` are None where the meter was exchanged in between, or
    its second reading is the lower one. `assumed_litres` nobody reported: they are in no sum.
    """

    first: Reading
    last: Reading
    first_day: date
    last_day: date
    relay_litres: float
    hand_litres: float
    assumed_litres: float
    meter_litres: float | None

    @property
    def unexplained_litres(self) -> float | None:
        """What the meter counted beside pulses and notes; below 0 where it counted less."""
        if self.meter_litres is None:
            return None
        return self.meter_litres - self.relay_litres - self.hand_litres


def utc_text(moment: datetime) -> str:
    """A moment as text, as in "2031-06-01T04:00:00.000000Z"; it must carry its zone."""
    if moment.tzinfo is None:
        raise LogbookError(f"{moment.isoformat()} has no time zone; the logbook takes UTC only")
    return moment.astimezone(UTC).strftime(_UTC_FORMAT)


def utc_from_text(text: str) -> datetime:
    """The moment of a text by `utc_text`."""
    return datetime.strptime(text, _UTC_FORMAT).replace(tzinfo=UTC)


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
    """A cell, or None where an older Rowgate did not write it."""
    return row[column] if column in set(row.keys()) else None


def values_of(
    row: sqlite3.Row, kind: type[WeatherDay | LedgerDay], *, truths: Iterable[str]
) -> Mapping[str, Any]:
    """A row as the arguments of a frozen value: its fields are the columns.

    What an older Rowgate did not write (no such column, or NULL) is left to the value's default.
    """
    written = set(row.keys())
    values: dict[str, Any] = {}
    for column in fields(kind):
        cell = row[column.name] if column.name in written else None
        if cell is not None or column.default is MISSING:
            values[column.name] = cell
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


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementRow:
    """A field test in its maker's own terms."""

    id: int
    at_utc: datetime
    said: Mapping[str, Any]
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRow:
    """What was fitted, and to which tests."""

    id: int
    measurements: tuple[int, ...]
    found: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class ObservationRow:
    """An observation with its number and who made it."""

    id: int
    seen: Observation
    who: str


def measurement_of(row: sqlite3.Row) -> MeasurementRow:
    """A field test."""
    return MeasurementRow(
        id=row["id"],
        at_utc=utc_from_text(row["at_utc"]),
        said=json.loads(row["said"], strict=False),
        who=row["who"],
    )


def observation_of(row: sqlite3.Row) -> ObservationRow:
    """What a person saw."""
    return ObservationRow(
        id=row["id"],
        seen=Observation(
            zone=row["zone"],
            day=date.fromisoformat(row["day"]),
            event=row["event"],
            crop=row["crop"],
        ),
        who=row["who"],
    )


class FieldTestReader:
    """Reads field tests."""

    def measurements(self) -> list[MeasurementRow]:
        """The field tests that were not taken back, in the order they were done."""
        if not self._has("measurements"):
            return []
        asked = "SELECT * FROM measurements WHERE taken_back_utc IS NULL ORDER BY at_utc, id"
        return [measurement_of(row) for row in self._rows(asked)]

    def latest_fit(self) -> FitRow | None:
        """The fit in force; None where nothing was ever fitted."""
        if not self._has("fits"):
            return None
        for row in self._rows("SELECT * FROM fits ORDER BY id DESC LIMIT 1"):
            return FitRow(
                id=row["id"],
                measurements=tuple(json.loads(row["measurements"])),
                found=json.loads(row["found"], strict=False),
            )
        return None

    def _has(self, table: str) -> bool:
        """Whether the logbook has a table: a reader may come before the writer that adds it."""
        return bool(
            self._rows("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (table,))
        )

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        raise NotImplementedError


class ObservationReader(FieldTestReader):
    """Reads observations."""

    def observations(self) -> list[Observation]:
        """The observations that were not taken back, in order of days, then of writing."""
        return [row.seen for row in self.observation_rows()]

    def observation_rows(self) -> list[ObservationRow]:
        """The observations with numbers and names."""
        if not self._has("observations"):
            return []
        asked = "SELECT * FROM observations WHERE taken_back_utc IS NULL ORDER BY day, id"
        return [observation_of(row) for row in self._rows(asked)]
