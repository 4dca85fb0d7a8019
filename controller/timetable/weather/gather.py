"""Ask everything a garden file names for weather: the station's file, then the services in turn.

Whatever comes is handed on, row by row with its source; which row a day stands on is the ladder's
to say. A later service is asked only where those before it have no fresh word on yesterday, today
and tomorrow, so that nobody is bothered for nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from controller.clock import Clock
from controller.errors import RowgateError
from controller.garden.model import Garden
from controller.timetable.weather.climatology import (
    Normals,
    clear_sky_of,
    normals_from,
    read_station,
)
from controller.timetable.weather.monthly_climate import normals_of_months
from controller.weather.day import WeatherDay
from controller.weather.files.finish import WeatherFile
from controller.weather.files.monthly_table import read_months
from controller.weather.source_priority import best_days

__all__ = ["PAST_DAYS", "Gathered", "Gatherer", "best_normals", "order_of"]

PAST_DAYS = 92  # as far back as the public source gives in one request
LEAST_YEARS = 2  # of the logbook's own days, before they are taken for what is normal; our choice
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentSource:
    """A source that gave nothing new when last asked, and the last moment it did.

    Where no such moment is known it is the first moment it was asked, and `heard` is False.
    """

    name: str
    since_utc: datetime
    heard: bool
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """All rows of weather that came, and what there is to say of the asking.

    `failed`: nothing came that is fresh. `order` is the sources' rank for the ladder, `credits`
    what is owed wherever the weather shows. `silent` are the sources that gave nothing new.
    """

    rows: tuple[WeatherDay, ...]
    order: tuple[str, ...]
    remarks: tuple[str, ...]
    credits: tuple[str, ...]
    failed: bool
    normals: Normals | None
    silent: tuple[SilentSource, ...] = ()


class Gatherer:
    """The sources of one garden; files are read anew only when they changed."""

    def __init__(self, base_dir: Path, cache_dir: Path, clock: Clock) -> None:
        self._base, self._cache, self._clock = base_dir, cache_dir, clock
        self._normals: tuple[object, Normals | None] | None = None
        self._months: tuple[object, Normals] | None = None
        self._station: tuple[object, WeatherFile] | None = None
        self._heard_utc: dict[str, datetime] = {}
        self._silent: dict[str, SilentSource] = {}

    def gather(self, garden: Garden, *, forecast_days: int, file: Path | None = None) -> Gathered:
        """Ask them; no fault of a source stops the others. `file` goes before the garden's own."""
        weather = garden.weather
        rows: list[WeatherDay] = []
        remarks: list[str] = []
        credits: list[str] = []
        any_good = False
        name = str(file) if file is not None else weather.file
        if name is not None:
            try:
                found = self._read_file(self._base / name, garden)
                rows += found.days
                remarks += [*found.faults, *found.remarks]
                any_good = bool(found.days)
                self._heard(Path(name).name, any_good, "it has no day")
            except RowgateError as fault:
                remarks.append(f"no weather from {name}: {fault}")
                self._heard(Path(name).name, False, str(fault))
        for service_name in weather.services if file is None else ():
            try:
                fresh = self._ask(service_name, garden, forecast_days, rows, remarks, credits)
            except RowgateError as fault:
                remarks.append(str(fault))
                self._heard(service_name, False, str(fault))
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
        self, name: str, is_new: bool, why: str = "", last_utc: datetime | None = None
    ) -> None:
        """Note that a source gave something new, or not; `last_utc` is when it last did."""
        now_utc = self._clock.now_utc()
        if is_new:
            self._heard_utc[name] = now_utc
            self._silent.pop(name, None)
            return
        before, known = self._silent.get(name), last_utc or self._heard_utc.get(name)
        since_utc = known or (now_utc if before is None else before.since_utc)
        heard = known is not None or (before is not None and before.heard)
        self._silent[name] = SilentSource(name=name, since_utc=since_utc, heard=heard, why=why)

    def usual(self, garden: Garden, remarks: list[str]) -> Normals | None:
        """What is usual by the garden's own files: its normals, and its monthly climate table."""
        normals, table = self._read_normals(garden, remarks), self._read_months(garden, remarks)
        return table if normals is None else normals.filled_by(table)

    def _ask(
        self,
        name: str,
        garden: Garden,
        forecast_days: int,
        rows: list[WeatherDay],
        remarks: list[str],
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
        remarks += answer.remarks
        credits.append(answer.credit)
        last_utc = None if answer.fresh else answer.fetched_utc
        self._heard(name, answer.fresh, next(iter(answer.remarks), ""), last_utc)
        return answer.fresh

    def _covers(self, rows: Iterable[WeatherDay], garden: Garden) -> bool:
        today = self._clock.now_utc().astimezone(garden.site.zone_info).date()
        there = {w.day for w in rows if w.tmin_c is not None and w.tmax_c is not None}
        return {today - _DAY, today, today + _DAY} <= there

    def _read_file(self, path: Path, garden: Garden) -> WeatherFile:
        """The station's file; a log of a year of minutes takes seconds, so only when it changed."""
        key = (_stamp(path), garden.site, garden.weather)
        if self._station is None or self._station[0] != key:
            self._station = (key, read_station(path, garden))
        return self._station[1]

    def _read_normals(self, garden: Garden, remarks: list[str]) -> Normals | None:
        name = garden.weather.normals_file
        if name is None:
            return None
        path = self._base / name
        key = (_stamp(path), garden.site, garden.weather)
        if self._normals is None or self._normals[0] != key:
            try:
                found = normals_from(read_station(path, garden).days, garden.site)
            except RowgateError as fault:
                remarks.append(f"no normals from {name}: {fault}")
                return None
            if found is None:
                remarks.append(f"no normals from {name}: it has no day with both temperatures")
            self._normals = (key, found)
        return self._normals[1]

    def _read_months(self, garden: Garden, remarks: list[str]) -> Normals | None:
        name = garden.weather.climate_table
        if name is None:
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
                remarks += [f"no climate table: {line}" for line in str(fault).splitlines()]
                return None
            remarks += table.remarks
        return self._months[1]


def _stamp(path: Path) -> tuple[str, int, int]:
    """What tells one state of a file from another; zeros where there is none."""
    try:
        found = path.stat()
    except OSError:
        return (str(path), 0, 0)
    return (str(path), found.st_mtime_ns, found.st_size)


def order_of(garden: Garden) -> tuple[str, ...]:
    """The garden's sources, best first: its station's file, then the services as it lists them."""
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
    """The normals of the garden's own file; without one those of the rows kept, if of years.

    A monthly climate table, which has no years, stands behind those of the rows kept.
    """
    if own is not None and own.years:
        return own
    kept = list(rows)
    if not kept or (today - min(w.day for w in kept)).days < LEAST_YEARS * 365:
        return own
    best = best_days(kept, order=order, today=today)
    found = normals_from([found.weather for found in best.values()], garden.site)
    return own if found is None else found.filled_by(own)
