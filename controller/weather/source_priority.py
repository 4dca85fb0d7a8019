"""Which source answers for which day: the best of all that is known, and which rung that is.

For a day that is over, the measured day of the first source that has both its temperatures stands,
whatever else it lacks; what it lacks is taken singly from the next sources, and its `source` then
names them. Below what was measured stands what a service's weather models say has been. Rain goes
by itself: the first source that measured it has the word, for a shower is local; a model's rain may
have missed the garden, so `MODEL_RAIN_SHARE` of it counts. Where neither is there, the forecast
that was kept of the day stands, but its rain is unknown: it was only foretold. Days to come take
forecasts, and of these a fresh one before an old one. A rain gauge is no source here; its reading
outranks them all where the days are made ready for the ledger.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from controller.garden.show import listed
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

# The share of a model's rain that is credited to the garden. Our choice: a shower is smaller than a
# model's cell of 2 to 50 km, so on many days on which the model has rain the garden had less, or
# none; and rain that is credited though it never fell dries a bed out, while rain that fell without
# being credited costs some water. A half is also what a forecast of an amount without a chance
# counts for on its own day, and the first hours of a model run are no better than that.
MODEL_RAIN_SHARE = 0.5
# A service's forecast that was given so much earlier than the newest one of that day stands behind
# it, whatever the order of the services: as long as an answer counts as fresh (asking.FORECASTS).
OUTRANKED_AFTER = timedelta(hours=3)

_OF_A_SERVICE = (" model", " forecast")  # how the source of a service's day ends
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
    `model_rain_mm` is what a model said has fallen, where `weather` holds the share of it that
    counts.
    """

    weather: WeatherDay
    rung: str
    source: str = ""
    model_rain_mm: float | None = None


def best_days(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = (), today: date | None = None
) -> dict[date, BestDay]:
    """For each day of which anything is known the best that is known, in order of days.

    Parameters
    ----------
    rows : iterable of WeatherDay
        Every row there is, several a day if so; of two rows of one source for the same day the
        one given later stands, else the later in the list.
    order : sequence of str
        Sources, best first: a station file's name, a service's name. What is not named comes
        after, in the order in which it is met; what was measured comes before what a model says.
    today : date, optional
        The garden's date. Days before it are over; from it on, forecasts answer first. Without it
        every row is taken at its word, also a forecast of rain.
    """
    by_day, rungs = ranked_rows(rows, order=order)
    return {day: best_of(ranked, rungs, today=today) for day, ranked in by_day.items()}


def ranked_rows(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = ()
) -> tuple[dict[date, list[WeatherDay]], Mapping[str, str]]:
    """Each day's rows, best source first, and the rung of each source's days that have been.

    In order of days; `best_days` tells how `order` ranks.
    """
    by_day: dict[date, dict[tuple[str, bool], WeatherDay]] = {}
    for row in rows:
        rows_of_day, key = by_day.setdefault(row.day, {}), (row.source, row.measured)
        if not _is_older(row, rows_of_day.get(key)):
            rows_of_day[key] = row
    ranks = _Ranks(order, by_day)
    return {day: ranks.sorted(by_day[day].values()) for day in sorted(by_day)}, ranks.rungs


def best_of(
    rows: Sequence[WeatherDay], rungs: Mapping[str, str], *, today: date | None = None
) -> BestDay:
    """The best of one day's rows, which come best source first."""
    day = rows[0].day
    over = today is not None and day < today
    to_come = today is not None and day >= today
    been = [row for row in rows if not row.is_forecast]
    forecasts = _fresh_first([row for row in rows if row.is_forecast])
    by_worth = [*forecasts, *been] if to_come else [*been, *forecasts]
    base = next((r for r in by_worth if r.tmin_c is not None and r.tmax_c is not None), None)
    tells_rain = been if over else by_worth
    wet = next((row for row in tells_rain if row.rain_mm is not None), None)
    rain_mm = None if wet is None else _credited_mm(wet)
    model_rain_mm = wet.rain_mm if wet is not None and wet.modelled else None
    if base is None:
        known = wet or by_worth[0]
        return BestDay(
            weather=known.with_(rain_mm=rain_mm, tmin_c=None, tmax_c=None),
            rung=NOTHING,
            model_rain_mm=model_rain_mm,
        )
    changes, taken = _singly(base, by_worth)
    if rain_mm != base.rain_mm:
        changes["rain_mm"] = rain_mm
    if wet is not None and wet is not base:
        changes["rain_chance_pct"] = wet.rain_chance_pct
        taken.append(f"rain from {wet.source}")
    elif wet is None and base.rain_mm is not None:
        changes["rain_chance_pct"] = None
    forecast_rung = FORECAST_KEPT if over else FORECAST
    rung = forecast_rung if base.is_forecast else rungs[base.source]
    if taken:
        changes["source"] = "; ".join((base.source, *taken))
    weather = base.with_(**changes) if changes else base
    return BestDay(weather=weather, rung=rung, source=base.source, model_rain_mm=model_rain_mm)


def is_of_a_model(rung: str) -> bool:
    """Whether that rung is what a service's models say has been: neither measured nor foretold."""
    return rung.endswith("service")


def _credited_mm(row: WeatherDay) -> float | None:
    """The rain of a row as far as it is credited. [mm]"""
    return row.rain_mm * MODEL_RAIN_SHARE if row.modelled and row.rain_mm else row.rain_mm


def _is_older(row: WeatherDay, other: WeatherDay | None) -> bool:
    """Whether of two rows of one source for one day this is surely the older one."""
    if other is None or row.modelled != other.modelled:
        return False
    if row.modelled and row.settles != other.settles:
        return row.settles  # what has settled is final
    if row.given_utc is None or other.given_utc is None:
        return False
    return row.given_utc < other.given_utc


def _fresh_first(forecasts: Sequence[WeatherDay]) -> list[WeatherDay]:
    """Forecasts in their order, but services' old ones behind those given lately.

    One without a date is older than any that has one. A file of the gardener's own keeps its rank.
    """
    newest_utc = max((r.given_utc for r in forecasts if r.given_utc is not None), default=None)
    if newest_utc is None:
        return list(forecasts)
    oldest_utc = newest_utc - OUTRANKED_AFTER

    def is_old(row: WeatherDay) -> bool:
        if service_of(row.source) is None:
            return False
        return row.given_utc is None or row.given_utc < oldest_utc

    return sorted(forecasts, key=is_old)


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
    return changes, [f"{listed(names)} from {source}" for source, names in taken.items()]


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
    """The sources met, best first, and the rung of each one's days that have been."""

    def __init__(
        self, order: Sequence[str], by_day: Mapping[date, Mapping[tuple[str, bool], WeatherDay]]
    ) -> None:
        met = list(dict.fromkeys(source for rows in by_day.values() for source, _ in rows))
        places = {name: place for place, name in enumerate(order)}
        self._unnamed = len(order)
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
        def rank(row: WeatherDay) -> tuple[bool, bool, tuple[int, int]]:
            place = self.rank[row.source]
            return (place[0] >= self._unnamed, row.modelled, place)

        return sorted(rows, key=rank)
