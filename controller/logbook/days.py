"""The questions about days: weather as it was kept, rain that fell, the ledger."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from datetime import date

from controller.demand.records import LedgerDay
from controller.logbook.rows import values_of
from controller.weather.day import WeatherDay


class DayQuestions:
    """Asking for days of weather and of the ledger."""

    def weather_rows(self, first: date = date.min, last: date = date.max) -> list[WeatherDay]:
        """Every day that was kept, of every source, forecasts with them.

        In order of days; among the sources of one day, the one kept last comes first.
        """
        rows = self._rows(
            "SELECT * FROM weather WHERE day BETWEEN ? AND ? ORDER BY day, kept_utc DESC, source",
            span(first, last),
        )
        return [WeatherDay(**values_of(row, WeatherDay, truths=("measured",))) for row in rows]

    def weather_days(
        self,
        first: date = date.min,
        last: date = date.max,
        *,
        sources: Sequence[str] = (),
    ) -> list[WeatherDay]:
        """The best word on each day, in order of days.

        Among several sources of one day: first those with both temperatures; then measured before
        forecast; then in the order of `sources`, unnamed ones after; then the one kept last.
        """
        rank = {source: place for place, source in enumerate(sources)}
        best: dict[date, WeatherDay] = {}
        for day in sorted(
            self.weather_rows(first, last),
            key=lambda day: (
                day.tmin_c is None or day.tmax_c is None,
                not day.measured,
                rank.get(day.source, len(rank)),
            ),
        ):
            best.setdefault(day.day, day)
        return [best[day] for day in sorted(best)]

    def gauge_by_day(self) -> dict[date, float]:
        """Rain by the garden's own gauge; the latest word on a day stands. [mm]"""
        rows = self._rows(
            "SELECT day, value FROM readings WHERE kind = ? AND day IS NOT NULL ORDER BY id",
            ("rain gauge",),
        )
        return {date.fromisoformat(row["day"]): row["value"] for row in rows}

    def rain_by_day(
        self, first: date = date.min, last: date = date.max, *, sources: Sequence[str] = ()
    ) -> dict[date, float]:
        """Rain that fell: the gauge's word, else the best measured weather's. [mm]"""
        measured = {
            day.day: day.rain_mm
            for day in self.weather_days(first, last, sources=sources)
            if day.measured and day.rain_mm is not None
        }
        gauge = {day: mm for day, mm in self.gauge_by_day().items() if first <= day <= last}
        return dict(sorted((measured | gauge).items()))

    def ledger(
        self, zone: str | None = None, first: date = date.min, last: date = date.max
    ) -> list[LedgerDay]:
        """A zone's ledger as it was last kept, part by part, or every zone's."""
        rows = self._rows(
            "SELECT * FROM ledger WHERE (? IS NULL OR zone = ?) AND day BETWEEN ? AND ? "
            "ORDER BY zone, day",
            (zone, zone, *span(first, last)),
        )
        days = [
            LedgerDay(**values_of(row, LedgerDay, truths=("measured", "rain_known")))
            for row in rows
        ]
        # Sorted here: a logbook from before there were parts has no such column to sort by.
        return sorted(days, key=lambda day: (day.zone, day.part, day.day))

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        raise NotImplementedError


def span(first: date, last: date) -> tuple[str, str]:
    """Two days as the logbook writes them."""
    return first.isoformat(), last.isoformat()
