"""Weather from all sources of a garden file: the station's file, then the services in order.

All rows are returned with their source; the ladder chooses among them. A later service is asked
only if the earlier ones have no fresh figures for yesterday, today and tomorrow. So no service is
asked without need.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from controller.clock import Clock
from controller.errors import RowgateError
from controller.garden.model import Garden
from controller.inputs.climatology import (
    Normals,
    clear_sky_of,
    normals_from,
    read_station,
)
from controller.inputs.monthly_climate import normals_of_months
from controller.messages import Message, Value, verbatim
from controller.weather.day import WeatherDay
from controller.weather.files.finish import WeatherFile
from controller.weather.files.monthly_table import read_months
from controller.weather.source_priority import best_days

__all__ = ["PAST_DAYS", "Gathered", "Gatherer", "best_normals", "order_of"]

PAST_DAYS = 92  # the most that the public service gives in one request
# Codes of the remarks that a file of weather, or of what is usual, could not be used.
UNREAD = frozenset(
    {"source.no_file", "source.not_read", "source.no_climate_table"}
    | {"source.normals_not_read", "source.normals_empty"}
)
LINES_SAID = 3  # faulty lines of one file that `Gatherer.station` names; our choice
LEAST_YEARS = 2  # of the logbook's own days, before they count as normals; our choice
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentSource:
    """A source that gave nothing new at the last request, with the last time it did.

    If it never did, the time is that of the first request, and `heard` is False.
    """

    name: str
    since_utc: datetime
    heard: bool
    why: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """All rows of weather, with remarks on their sources.

    `failed`: there is nothing fresh. `order` is the order of the sources for the ladder. `credits`
    must be shown wherever the weather is shown. `silent` are the sources that gave nothing new.
    """

    rows: tuple[WeatherDay, ...]
    order: tuple[str, ...]
    remarks: tuple[Message, ...]
    credits: tuple[str, ...]
    failed: bool
    normals: Normals | None
    silent: tuple[SilentSource, ...] = ()


class Gatherer:
    """The sources of one garden; a file is read again only if it has changed."""

    def __init__(self, base_dir: Path, cache_dir: Path, clock: Clock) -> None:
        self._base, self._cache, self._clock = base_dir, cache_dir, clock
        self._normals: tuple[object, Normals | None] | None = None
        self._months: tuple[object, Normals] | None = None
        self._station: tuple[object, WeatherFile] | None = None
        self._heard_utc: dict[str, datetime] = {}
        self._silent: dict[str, SilentSource] = {}

    def gather(self, garden: Garden, *, forecast_days: int, file: Path | None = None) -> Gathered:
        """Ask the sources; a failure does not stop the others. `file` replaces the garden's own."""
        weather = garden.weather
        rows: list[WeatherDay] = []
        remarks: list[Message] = []
        credits: list[str] = []
        any_good = False
        name = str(file) if file is not None else weather.file
        if name is not None and (gone := self._no_file("file", name)) is not None:
            remarks.append(gone)
            self._heard(Path(name).name, False, gone)
        elif name is not None:
            try:
                found = self._read_file(self._base / name, garden)
                rows += found.days
                remarks += map(verbatim, (*found.faults, *found.remarks))
                any_good = bool(found.days)
                self._heard(Path(name).name, any_good, Message("source.no_day"))
            except RowgateError as fault:
                values: dict[str, Value] = {"name": name, "fault": str(fault)}
                remarks.append(Message("source.not_read", values))
                self._heard(Path(name).name, False, verbatim(str(fault)))
        for service_name in weather.services if file is None else ():
            try:
                fresh = self._ask(service_name, garden, forecast_days, rows, remarks, credits)
            except RowgateError as fault:
                remarks.append(verbatim(str(fault)))
                self._heard(service_name, False, remarks[-1])
                continue
            any_good = any_good or fresh
            if fresh and self._covers(rows, garden):
                break
        normals = self.usual(garden, remarks)
        order = order_of(garden) if file is None else (file.name,)
        return Gathered(
            rows=tuple(rows),
            order=order,
            remarks=tuple(remarks),
            credits=tuple(dict.fromkeys(credits)),
            failed=not any_good,
            normals=normals,
            silent=tuple(self._silent[source] for source in order if source in self._silent),
        )

    def _heard(
        self, name: str, is_new: bool, why: Message, last_utc: datetime | None = None
    ) -> None:
        """Note whether a source gave something new; `last_utc` is when it last did."""
        now_utc = self._clock.now_utc()
        if is_new:
            self._heard_utc[name] = now_utc
            self._silent.pop(name, None)
            return
        before, known = self._silent.get(name), last_utc or self._heard_utc.get(name)
        since_utc = known or (now_utc if before is None else before.since_utc)
        heard = known is not None or (before is not None and before.heard)
        self._silent[name] = SilentSource(name=name, since_utc=since_utc, heard=heard, why=why)

    def station(self, garden: Garden) -> list[Message]:
        """What is wrong with the station's file; the first few of its faulty lines."""
        name = garden.weather.file
        if name is None:
            return []
        gone = self._no_file("file", name)
        if gone is not None:
            return [gone]
        try:
            faults = self._read_file(self._base / name, garden).faults
        except RowgateError as fault:
            return [Message("source.not_read", {"name": name, "fault": str(fault)})]
        more = len(faults) - LINES_SAID
        said = [verbatim(line) for line in faults[:LINES_SAID]]
        return [*said, Message("source.more_lines", {"name": name, "more": more})][
            : len(said) + (more > 0)
        ]

    def _no_file(self, key: str, name: str) -> Message | None:
        """That the file of this key of [weather] is not there; None if it is."""
        path = self._base / name
        if path.exists():
            return None
        return Message("source.no_file", {"key": key, "name": name, "path": str(path.resolve())})

    def usual(self, garden: Garden, remarks: list[Message]) -> Normals | None:
        """The normals from the garden's own files: its normals file, its monthly climate table."""
        normals, table = self._read_normals(garden, remarks), self._read_months(garden, remarks)
        return table if normals is None else normals.filled_by(table)

    def _ask(
        self,
        name: str,
        garden: Garden,
        forecast_days: int,
        rows: list[WeatherDay],
        remarks: list[Message],
        credits: list[str],
    ) -> bool:
        from controller.weather.online.services import Place, service

        site = garden.site
        answer = service(name, self._cache, self._clock, contact=garden.weather.contact).days(
            Place(
                latitude_deg=site.latitude_deg,
                longitude_deg=site.longitude_deg,
                elevation_m=site.elevation_m,
                timezone=site.timezone,
            ),
            past_days=PAST_DAYS,
            forecast_days=forecast_days,
        )
        rows += answer.days
        remarks += map(verbatim, answer.remarks)
        credits.append(answer.credit)
        last_utc = None if answer.fresh else answer.fetched_utc
        self._heard(name, answer.fresh, verbatim(next(iter(answer.remarks), "")), last_utc)
        return answer.fresh

    def _covers(self, rows: Iterable[WeatherDay], garden: Garden) -> bool:
        today = self._clock.now_utc().astimezone(garden.site.zone_info).date()
        there = {w.day for w in rows if w.tmin_c is not None and w.tmax_c is not None}
        return {today - _DAY, today, today + _DAY} <= there

    def _read_file(self, path: Path, garden: Garden) -> WeatherFile:
        """Read the station's file, only if it has changed: a log of a year can take seconds."""
        key = (_stamp(path), garden.site, garden.weather)
        if self._station is None or self._station[0] != key:
            self._station = (key, read_station(path, garden))
        return self._station[1]

    def _read_normals(self, garden: Garden, remarks: list[Message]) -> Normals | None:
        name = garden.weather.normals_file
        if name is None:
            return None
        gone = self._no_file("normals", name)
        if gone is not None:
            remarks.append(gone)
            return None
        path = self._base / name
        key = (_stamp(path), garden.site, garden.weather)
        if self._normals is None or self._normals[0] != key:
            try:
                found = normals_from(read_station(path, garden).days, garden.site)
            except RowgateError as fault:
                values: dict[str, Value] = {"name": name, "fault": str(fault)}
                remarks.append(Message("source.normals_not_read", values))
                return None
            if found is None:
                remarks.append(Message("source.normals_empty", {"name": name}))
            self._normals = (key, found)
        return self._normals[1]

    def _read_months(self, garden: Garden, remarks: list[Message]) -> Normals | None:
        name = garden.weather.climate_table
        if name is None:
            return None
        gone = self._no_file("climate_table", name)
        if gone is not None:
            remarks.append(gone)
            return None
        path = self._base / name
        key = (_stamp(path), garden.site, garden.weather)
        if self._months is None or self._months[0] != key:
            try:
                table = read_months(
                    path,
                    wind_height_m=garden.weather.wind_height_m,
                    clear_sky_mj_m2=clear_sky_of(garden.site),
                )
                self._months = (key, normals_of_months(table, garden.site))
            except RowgateError as fault:
                remarks += [
                    Message("source.no_climate_table", {"fault": line})
                    for line in str(fault).splitlines()
                ]
                return None
            remarks += map(verbatim, table.remarks)
        return self._months[1]


def _stamp(path: Path) -> tuple[str, int, int]:
    """A key that changes with a file; zeros if there is no file."""
    try:
        found = path.stat()
    except OSError:
        return (str(path), 0, 0)
    return (str(path), found.st_mtime_ns, found.st_size)


def order_of(garden: Garden) -> tuple[str, ...]:
    """The garden's sources, best first: its station's file, then its services in their order."""
    file = garden.weather.file
    return (*(() if file is None else (Path(file).name,)), *garden.weather.services)


def best_normals(
    own: Normals | None,
    rows: Iterable[WeatherDay],
    *,
    garden: Garden,
    order: tuple[str, ...],
    today: date,
) -> Normals | None:
    """The normals of the garden's own file; without one, those of the stored rows.

    Stored rows count if they span enough years. A monthly climate table, which has no years, fills
    the days without a normal.
    """
    if own is not None and own.years:
        return own
    stored = list(rows)
    if not stored or (today - min(w.day for w in stored)).days < LEAST_YEARS * 365:
        return own
    best = best_days(stored, order=order, today=today)
    found = normals_from([found.weather for found in best.values()], garden.site)
    return own if found is None else found.filled_by(own)
