"""On which step of the weather's ladder each day stands: a mark, and the spans by step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from controller.demand.records import LedgerDay
from controller.paper.amounts import day_in_year, short_day
from controller.weather.ladder import (
    CLIMATE_TABLE,
    DAYS_BEFORE,
    FORECAST,
    FORECAST_KEPT,
    NORMAL,
    SEASON,
    STATION,
)

_SERVICE = "service"
_DOUBT = "*"  # neither measured nor on any step that is known
# From the best step down: its mark, and what it is. The first step that a table has is not marked.
_STEPS: Mapping[str, tuple[str, str]] = {
    STATION: (" ", "the garden's own station"),
    _SERVICE: ("1", "the first service"),
    "second service": ("2", "the second service"),
    "third service": ("3", "the third service"),
    "fourth service": ("4", "the fourth service"),
    "fifth service": ("5", "a service further down"),
    FORECAST: ("f", "a forecast"),
    FORECAST_KEPT: ("k", "a forecast of it that was kept, for nobody measured"),
    DAYS_BEFORE: ("b", "the days before, for there was no weather"),
    NORMAL: ("n", "what is normal in this garden, for there was no weather"),
    CLIMATE_TABLE: ("m", "the monthly climate table, for there was no weather"),
    SEASON: ("s", "the season's table, for there was no weather"),
}
_DAY = timedelta(days=1)


def step_words(rung: str) -> str:
    """What a step is, for a person; its own name where it is none of the ladder's."""
    return _STEPS[rung][1] if rung in _STEPS else rung


def lower_services(rungs: Iterable[str]) -> list[str]:
    """Of these steps the services that are not the first one asked, best first."""
    met = set(rungs)
    services = [rung for rung in _STEPS if rung.endswith(_SERVICE) and rung in met]
    return services if STATION in met else [rung for rung in services if rung != _SERVICE]


class Rungs:
    """The steps of a table's days."""

    def __init__(self, days: Iterable[LedgerDay]) -> None:
        self._by_day: dict[date, tuple[str, bool]] = {}
        for row in days:
            self._by_day.setdefault(row.day, (row.rung, row.measured))
        met = {rung for rung, _ in self._by_day.values()}
        measured = [rung for rung in (STATION, _SERVICE) if rung in met]
        self._first = measured[0] if measured else ""

    def mark(self, row: LedgerDay) -> str:
        """One character: a blank where the day stands on the first step."""
        return self._mark(row.rung, row.measured)

    def words(self) -> list[str]:
        """The days by step, best step first; nothing where nothing is known of their steps."""
        spans: dict[str, list[date]] = {}
        for day in sorted(self._by_day):
            rung, measured = self._by_day[day]
            if rung or not measured:
                spans.setdefault(rung, []).append(day)
        if not spans:
            return []
        order = [
            *(rung for rung in _STEPS if rung in spans),
            *(r for r in spans if r not in _STEPS),
        ]
        return [
            f"{self._mark(rung, False)} {step_words(rung) or 'a forecast or a stand-in'}: "
            f"{spans_words(spans[rung])}"
            for rung in order
        ]

    def _mark(self, rung: str, measured: bool) -> str:
        if rung in _STEPS:
            return " " if rung == self._first else _STEPS[rung][0]
        return " " if measured else _DOUBT


def spans_words(days: Sequence[date]) -> str:
    """Days in order as spans, as in "3 July, 5 to 9 July 2031"."""
    spans: list[list[date]] = []
    for day in days:
        if spans and day - spans[-1][1] == _DAY:
            spans[-1][1] = day
        else:
            spans.append([day, day])
    words = []
    for number, (first, last) in enumerate(spans):
        follows = spans[number + 1][0] if number + 1 < len(spans) else None
        # The year is said once, at the end of a run of spans of one year.
        close = follows is None or follows.year != last.year
        end = short_day(last) if close else day_in_year(last)
        if first == last:
            words.append(end)
        elif first.year != last.year:
            words.append(f"{short_day(first)} to {end}")
        elif first.month == last.month:
            words.append(f"{first.day} to {end}")
        else:
            words.append(f"{day_in_year(first)} to {end}")
    return ", ".join(words)
