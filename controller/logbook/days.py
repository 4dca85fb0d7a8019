"""The questions about days: weather as it was kept, the rain gauge, the ledger."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import date

from controller.demand.records import LedgerDay
from controller.logbook.rows import values_of
from controller.logbook.schema import WERE_MEASURED
from controller.weather.day import WeatherDay

GAUGE = "rain gauge"  # a person's word: all of a day's rain as it is known then
PIN_GAUGE, PIN_GAUGE_HOURS = "gauge on pin", "gauge on pin, hours watched"
WATCHED_H = 22.0  # of a day, so that its sum is the day's rain; our choice


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
        return [_weather_of(row) for row in rows]

    def gauge_by_day(self) -> dict[date, float]:
        """Rain by the garden's own gauge; the latest word on a day stands. [mm]

        A person's reading outranks the gauge on a pin. That one stands for a day only where it was
        watched nearly all of it; on the latest day it has anything of, as soon as rain has fallen.
        """
        on_pin, hours = self._pin_sums(PIN_GAUGE), self._pin_sums(PIN_GAUGE_HOURS)
        latest = max(hours, default=None)
        found = {
            day: mm
            for day, mm in on_pin.items()
            if hours.get(day, 0.0) >= WATCHED_H or (day == latest and mm > 0.0)
        }
        rows = self._rows(
            "SELECT day, value FROM readings WHERE kind = ? AND day IS NOT NULL ORDER BY id",
            (GAUGE,),
        )
        return found | {date.fromisoformat(row["day"]): row["value"] for row in rows}

    def _pin_sums(self, kind: str) -> dict[date, float]:
        rows = self._rows(
            "SELECT day, sum(value) AS value FROM readings "
            "WHERE kind = ? AND day IS NOT NULL GROUP BY day",
            (kind,),
        )
        return {date.fromisoformat(row["day"]): row["value"] for row in rows}

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


def _weather_of(row: sqlite3.Row) -> WeatherDay:
    """A day of weather, also out of a logbook that nobody has brought up to date yet."""
    if "modelled" in row.keys():  # noqa: SIM118 - a row's `in` looks at its values
        return WeatherDay(**values_of(row, WeatherDay, truths=("measured", "modelled")))
    day = WeatherDay(**values_of(row, WeatherDay, truths=("measured",)))
    now = WERE_MEASURED.get(day.source)
    return day if now is None else day.with_(source=now, measured=False, modelled=True)


def span(first: date, last: date) -> tuple[str, str]:
    """Two days as the logbook writes them."""
    return first.isoformat(), last.isoformat()
