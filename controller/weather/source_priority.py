"""The best weather of each day from all sources, and the rung on which it stands.

A past day comes from the first source that measured both temperatures. What it lacks comes from the
next sources, figure by figure, and its `source` then names them. After measured days come the past
days of a service's weather models. Rain is chosen on its own: the first source that measured it
counts, because a shower is local. A model's rain may have missed the garden, so only
`MODEL_RAIN_SHARE` of it counts. If there is neither, the stored forecast of that day stands, but
its rain is unknown: it was only a forecast. Today and later days take forecasts, fresh ones before
old ones. The garden's rain gauge is not a source here: its reading comes first when the days are
made ready for the ledger.
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
# The rungs below weather, for days on which no source has any.
DAYS_BEFORE = "days before"
NORMAL = "normal"
CLIMATE_TABLE = "climate table"
SEASON = "season"
NOTHING = ""  # no source has the day's temperatures
_STAND_INS = frozenset((DAYS_BEFORE, NORMAL, CLIMATE_TABLE, SEASON))

# The share of a model's rain that is credited to the garden. Our choice: a shower is smaller than a
# model's cell of 2 to 50 km, so on many days with rain in the model the garden had less, or none.
# Rain that is credited but never fell dries a bed out; rain that fell and is not credited only
# costs some water. A half is also the share of a forecast without a chance on its own day, and the
# first hours of a model run are not better than that.
MODEL_RAIN_SHARE = 0.5
# A service's forecast that was given so much earlier than the newest one of that day comes after
# it, whatever the order of the services. An answer is fresh for the same time
# (cache.FORECASTS).
OUTRANKED_AFTER = timedelta(hours=3)

_OF_A_SERVICE = (" model", " forecast")  # endings of the source of a service's day
_PLACES = ("", "second ", "third ", "fourth ", "fifth ")

# Figures that come together from one source if a day has none of them, with their name.
_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "humidity",
        ("vapour_pressure_kpa", "dewpoint_c", "rh_max_pct", "rh_min_pct", "rh_mean_pct"),
    ),
    ("wind", ("wind_m_s",)),
    ("sun", ("solar_mj_m2", "sunshine_h")),
)
# The lowest humidity alone does not give the vapour pressure.
_GIVES_VAPOUR = ("vapour_pressure_kpa", "dewpoint_c", "rh_max_pct", "rh_mean_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class BestDay:
    """The best weather of one day; without temperatures its `rung` is empty.

    `source` is where its temperatures are from; `weather.source` names all sources of the day.
    `model_rain_mm` is the whole rain of a model; `weather` has the share of it that counts.
    """

    weather: WeatherDay
    rung: str
    source: str = ""
    model_rain_mm: float | None = None


def best_days(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = (), today: date | None = None
) -> dict[date, BestDay]:
    """The best weather of each day of which anything is known, in order of days.

    Parameters
    ----------
    rows : iterable of WeatherDay
        All rows, also several a day. Of two rows of one source for one day the later one counts,
        by `given_utc` or else by its place in the list.
    order : sequence of str
        Sources, best first: a station file's name, a service's name. Other sources come after
        them, in the order of their first rows, measured days before a model's.
    today : date, optional
        The garden's date. Days before it are past; from it on, forecasts come first. Without it
        every row counts as it is, also a forecast of rain.

    Returns
    -------
    dict of date to BestDay
        One for each day that has a row.
    """
    by_day, rungs = ranked_rows(rows, order=order)
    return {day: best_of(ranked, rungs, today=today) for day, ranked in by_day.items()}


def ranked_rows(
    rows: Iterable[WeatherDay], *, order: Sequence[str] = ()
) -> tuple[dict[date, list[WeatherDay]], Mapping[str, str]]:
    """Each day's rows, best source first, and the rung of each source's past days.

    The days are in order; `best_days` explains `order`.
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
    """The best weather of one day from its rows, which are ordered best source first."""
    day = rows[0].day
    over = today is not None and day < today
    to_come = today is not None and day >= today
    been = [row for row in rows if not row.is_forecast]
    forecasts = _fresh_first([row for row in rows if row.is_forecast])
    by_worth = [*forecasts, *been] if to_come else [*been, *forecasts]
    base = next((r for r in by_worth if r.tmin_c is not None and r.tmax_c is not None), None)
    gives_rain = been if over else by_worth
    wet = next((row for row in gives_rain if row.rain_mm is not None), None)
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


def is_stand_in(rung: str) -> bool:
    """Whether the rung is below all weather: the day's figures stand in for unknown ones."""
    return rung in _STAND_INS


def is_of_a_model(rung: str) -> bool:
    """Whether the rung is that of a model's past day: neither measured nor a forecast.

    Examples
    --------
    >>> is_of_a_model("second service"), is_of_a_model(STATION), is_of_a_model(FORECAST)
    (True, False, False)
    """
    return rung.endswith("service")


def _credited_mm(row: WeatherDay) -> float | None:
    """The rain of a row that is credited. [mm]"""
    return row.rain_mm * MODEL_RAIN_SHARE if row.modelled and row.rain_mm else row.rain_mm


def _is_older(row: WeatherDay, other: WeatherDay | None) -> bool:
    """Whether `row` is surely older than `other`, a row of the same source and day."""
    if other is None or row.modelled != other.modelled:
        return False
    if row.modelled and row.settles != other.settles:
        return row.settles  # a settled row is final
    if row.given_utc is None or other.given_utc is None:
        return False
    return row.given_utc < other.given_utc


def _fresh_first(forecasts: Sequence[WeatherDay]) -> list[WeatherDay]:
    """Forecasts in their order, but old ones of services after recent ones.

    A forecast without a time is older than any with one. The gardener's own file keeps its rank.
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
    """The figures that `base` lacks, from the next rows, with a text for each source."""
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
    telling = _GIVES_VAPOUR if name == "humidity" else fields
    return any(getattr(row, field) is not None for field in telling)


def service_of(source: str) -> str | None:
    """The service in a day's source; None for a station's file.

    Examples
    --------
    >>> service_of("open-meteo forecast")
    'open-meteo'
    >>> service_of("station.csv") is None
    True
    """
    for ending in _OF_A_SERVICE:
        if source.endswith(ending):
            return source.removesuffix(ending)
    return None


class _Ranks:
    """The sources, best first, with the rung of each one's past days."""

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
        # A file's name has a dot, or is the source itself; a service counts even without a row.
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
