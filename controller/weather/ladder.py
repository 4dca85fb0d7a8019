"""Which source answers for which day: the best of all that is known, and which rung that is.

For a day that is over, the measured day of the first source that has both its temperatures stands,
whatever else it lacks; what it lacks is taken singly from the next sources, and its `source` then
names them. Rain goes by itself: the first source that measured it has the word, for a shower is
local. Where nobody measured a day, the forecast that was kept of it stands, but its rain is
unknown: it was only foretold. Days to come take forecasts. A rain gauge is no source here; its
reading outranks them all where the days are made ready for the ledger.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from controller.weather.day import WeatherDay

STATION = "station"
FORECAST = "forecast"
FORECAST_KEPT = "forecast kept"
# Rungs below weather: what the timetable's days stand on where none of these answers.
DAYS_BEFORE = "days before"
NORMAL = "normal"
CLIMATE_TABLE = "climate table"
SEASON = "season"
NOTHING = ""  # no source has the day's temperatures

_OF_A_SERVICE = (" analysis", " forecast")  # how the source of a service's day ends
_PLACES = ("", "second ", "third ", "fourth ", "fifth ")

# What is taken together from one source where a day has none of it, and what it is called.
_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "humidity",
        ("vapour_pressure_kpa", "dewpoint_c", "rh_max_pct", "rh_min_pct", "rh_mean_pct"),
    ),
    ("wind", ("wind_m_s",)),
    ("sun", ("solar_mj_m2", "sunshine_h")),
)
# The lowest humidity alone does not give the vapour.
_TELLS_VAPOUR = ("vapour_pressure_kpa", "dewpoint_c", "rh_max_pct", "rh_mean_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class BestDay:
    """What is known of one day; without temperatures its `rung` is empty.

    `source` is the one its temperatures are from; `weather.source` names all that gave a part.
    """

    weather: WeatherDay
    rung: str
    source: str = ""


def best_days(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = (), today: date | None = None
) -> dict[date, BestDay]:
    """For each day of which anything is known the best that is known, in order of days.

    Parameters
    ----------
    rows : iterable of WeatherDay
        Every row there is, several a day if so; of two rows of one source for the same day the
        later stands.
    order : sequence of str
        Sources, best first: a station file's name, a service's name. What is not named comes
        after, in the order in which it is met.
    today : date, optional
        The garden's date. Days before it are over; from it on, forecasts answer first. Without it
        every row is taken at its word, also a forecast of rain.
    """
    by_day, rungs = ranked_rows(rows, order=order)
    return {day: best_of(ranked, rungs, today=today) for day, ranked in by_day.items()}


def ranked_rows(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = ()
) -> tuple[dict[date, list[WeatherDay]], Mapping[str, str]]:
    """Each day's rows, best source first, and the rung of each source's measured days.

    In order of days; `best_days` tells how `order` ranks.
    """
    by_day: dict[date, dict[tuple[str, bool], WeatherDay]] = {}
    for row in rows:
        by_day.setdefault(row.day, {})[row.source, row.measured] = row
    ranks = _Ranks(order, by_day)
    return {day: ranks.sorted(by_day[day].values()) for day in sorted(by_day)}, ranks.rungs


def best_of(
    rows: Sequence[WeatherDay], rungs: Mapping[str, str], *, today: date | None = None
) -> BestDay:
    """The best of one day's rows, which come best source first."""
    day = rows[0].day
    over = today is not None and day < today
    to_come = today is not None and day >= today
    measured = [row for row in rows if row.measured]
    foretold = [row for row in rows if not row.measured]
    by_worth = [*foretold, *measured] if to_come else [*measured, *foretold]
    base = next((r for r in by_worth if r.tmin_c is not None and r.tmax_c is not None), None)
    tells_rain = measured if over else by_worth
    wet = next((row for row in tells_rain if row.rain_mm is not None), None)
    if base is None:
        known = wet or by_worth[0]
        rain_mm = None if wet is None else wet.rain_mm
        return BestDay(weather=known.with_(rain_mm=rain_mm, tmin_c=None, tmax_c=None), rung=NOTHING)
    changes, taken = _singly(base, by_worth)
    if wet is not None and wet is not base:
        changes |= {"rain_mm": wet.rain_mm, "rain_chance_pct": wet.rain_chance_pct}
        taken.append(f"rain from {wet.source}")
    elif wet is None and base.rain_mm is not None:
        changes |= {"rain_mm": None, "rain_chance_pct": None}
    foretold_rung = FORECAST_KEPT if over else FORECAST
    rung = rungs[base.source] if base.measured else foretold_rung
    if taken:
        changes["source"] = "; ".join((base.source, *taken))
    weather = base.with_(**changes) if changes else base
    return BestDay(weather=weather, rung=rung, source=base.source)


def _singly(
    base: WeatherDay, by_worth: Sequence[WeatherDay]
) -> tuple[dict[str, object], list[str]]:
    """What `base` lacks, from the next rows, and the words for it."""
    changes: dict[str, object] = {}
    taken: dict[str, list[str]] = {}
    lacking = [(name, fields) for name, fields in _GROUPS if not _has(base, name, fields)]
    for name, fields in lacking:
        giver = next((row for row in by_worth if _has(row, name, fields)), None)
        if giver is None:
            continue
        changes |= {field: getattr(giver, field) for field in fields}
        if name == "wind":
            changes["wind_height_m"] = giver.wind_height_m
        taken.setdefault(giver.source, []).append(name)
    return changes, [f"{_and(names)} from {source}" for source, names in taken.items()]


def _has(row: WeatherDay, name: str, fields: Sequence[str]) -> bool:
    telling = _TELLS_VAPOUR if name == "humidity" else fields
    return any(getattr(row, field) is not None for field in telling)


def service_of(source: str) -> str | None:
    """The service a day's source names, as "open-meteo"; None for a station's file."""
    for ending in _OF_A_SERVICE:
        if source.endswith(ending):
            return source.removesuffix(ending)
    return None


class _Ranks:
    """The sources met, best first, and the rung that each one's measured days are."""

    def __init__(
        self, order: Sequence[str], by_day: Mapping[date, Mapping[tuple[str, bool], WeatherDay]]
    ) -> None:
        met = list(dict.fromkeys(source for rows in by_day.values() for source, _ in rows))
        places = {name: place for place, name in enumerate(order)}
        named = {source: service_of(source) or source for source in met}
        self.rank = {
            source: (places.get(source, places.get(named[source], len(order))), place)
            for place, source in enumerate(met)
        }
        # A file's name has a dot, or is met as it stands; a service is counted though it is silent.
        listed = [name for name in order if "." not in name and name not in met]
        met_services = [name for source in met if (name := service_of(source)) is not None]
        services = list(dict.fromkeys((*listed, *met_services)))
        self.rungs = {
            source: (
                STATION
                if (service := service_of(source)) is None
                else f"{_PLACES[min(services.index(service), len(_PLACES) - 1)]}service"
            )
            for source in met
        }

    def sorted(self, rows: Iterable[WeatherDay]) -> list[WeatherDay]:
        return sorted(rows, key=lambda row: self.rank[row.source])


def _and(names: Sequence[str]) -> str:
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else names[0]
