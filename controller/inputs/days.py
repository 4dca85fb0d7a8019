"""Demand days from days of weather; each day names the rung on which it stands.

The ladder of the weather room chooses the weather. If it has no temperatures for a day, or those of
a stuck thermometer, reference ET comes from a stand-in: the days just before, the normals of this
garden, its monthly climate table, or at last the season's table. Rain is then what somebody
measured, or unknown. docs/weather-ladder.md describes the whole ladder with its figures.

All of it is a pure function of the known rows. When better rows arrive, their days are computed
again, and what depends on them changes once, by the difference.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from controller.demand.climate.reference_et import ReferenceEt
from controller.demand.climate.snow import MOST_MM, snow_day
from controller.demand.records import DayInput
from controller.errors import NoWeather, OutOfRange
from controller.garden.model import Site
from controller.inputs.climatology import (
    KnownDay,
    Normals,
    StandIns,
    clear_sky_of,
    eto_of,
    read_station,
)
from controller.messages import Message, Quantity, Value, verbatim
from controller.weather.day import WeatherDay
from controller.weather.series_checks import without_dead_thermometers
from controller.weather.source_priority import (
    FORECAST_KEPT,
    MODEL_RAIN_SHARE,
    NOTHING,
    BestDay,
    best_of,
    ranked_rows,
)

__all__ = [
    "CLIMATE_DAYS",
    "DemandDays",
    "clear_sky_of",
    "demand_days",
    "eto_of",
    "read_station",
]

_DAY = timedelta(days=1)
# The climate adjustment of Kc needs stage means of wind and humidity (FAO-56 eq. 62); a running
# mean of so many days stands for them. Our choice, about the length of a stage.
CLIMATE_DAYS = 30
# How long before the first day asked for weather is looked at, for running means and for snow that
# lies; our choice.
LOOK_BACK = timedelta(days=60)
# The shortest account before a planned day; our choice.
LEAST_BACK = timedelta(days=180)
_MOST_PLAIN = 1_000  # cached days, two growing years; our choice
_MOST_SPANS = 4  # so many spans are named in a remark; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandDays:
    """Days ready for the ledger, without gaps, with remarks."""

    days: Mapping[date, DayInput]
    remarks: tuple[Message, ...]


def demand_days(
    weather: Iterable[WeatherDay],
    site: Site,
    *,
    last: date,
    first: date | None = None,
    today: date | None = None,
    remarks_from: date | None = None,
    remarks_until: date = date.max,
    order: Sequence[str] = (),
    rain_gauge_mm: Mapping[date, float] | None = None,
    normals: Normals | None = None,
    climate: str = "sub-humid",
) -> DemandDays:
    """Every day from `first` to `last`, in order and without gaps.

    Parameters
    ----------
    weather : iterable of WeatherDay
        All known rows, of any source, also several a day.
    first : date, optional
        The first day; without it, the first day with weather.
    today : date, optional
        The garden's date; on earlier days a forecast is not proof of what happened.
    remarks_from : date, optional
        If there is no weather at all, earlier days get no remark.
    remarks_until : date
        Days after this one get no remark.
    order : sequence of str
        Sources, best first.
    rain_gauge_mm : mapping, optional
        Readings of the garden's own rain gauge; they outrank every source.
    normals : Normals, optional
        The normals of this garden.
    climate : str
        Its class for the season's table: one of `controller.demand.climate.usual_et.CLIMATES`.

    Raises
    ------
    NoWeather
        If no day at all has temperatures, and no `first` is given.
    InputError
        If there is no such climate.
    """
    back = date.min if first is None else first - LOOK_BACK
    ranked, rungs = ranked_rows((w for w in weather if back <= w.day <= last), order=order)
    by_day, stuck = without_dead_thermometers(ranked)
    remarks: list[Message] = [*map(verbatim, stuck)]
    best: dict[date, BestDay] = {}
    known: dict[date, KnownDay] = {}
    for day, rows in by_day.items():
        said = remarks if (first is None or day >= first) and day <= remarks_until else []
        best[day], eto = _usable(rows, rungs, site, today, said)
        if eto is not None:
            known[day] = KnownDay(weather=best[day].weather, eto=eto)
    if first is None and not known:
        raise NoWeather(f"no day up to {last} has both temperatures; a ledger needs at least one")
    making = _Making(
        best=best,
        known=known,
        gauge=rain_gauge_mm or {},
        stand_ins=StandIns(site=site, normals=normals, climate=climate),
        today=today,
        remarks=remarks,
    )
    begins = min([*known, *([] if first is None else [first])])
    days = making.days(begins, last)
    wanted = {d: made for d, made in days.items() if first is None or d >= first}
    remarked = {d: made for d, made in wanted.items() if d <= remarks_until}
    since = min((day for day in known if day <= remarks_until), default=remarks_from)
    making.remark_on(remarked, since=since)
    return DemandDays(days=wanted, remarks=tuple(remarks))


def _usable(
    rows: Sequence[WeatherDay],
    rungs: Mapping[str, str],
    site: Site,
    today: date | None,
    remarks: list[Message],
) -> tuple[BestDay, ReferenceEt | None]:
    """The best weather of a day that gives a reference ET; impossible rows are left out."""
    left = list(rows)
    while True:
        best = best_of(left, rungs, today=today)
        try:
            return best, eto_of(best.weather, site)
        except OutOfRange as fault:
            found = {"day": str(best.weather.day), "fault": str(fault)}
            remarks.append(Message("days.impossible", {**found, "source": best.source or "it"}))
        at_fault = (best.source, best.weather.measured)
        others = [row for row in left if (row.source, row.measured) != at_fault]
        if not others:
            nothing = best.weather.with_(tmin_c=None, tmax_c=None)
            return BestDay(weather=nothing, rung=NOTHING), None
        left = others


def account_begins(day: date, site: Site) -> date:
    """The first day of the accounts for a plan of `day`: New Year of its winter.

    That is 1 January, or 1 July south of the equator, at least `LEAST_BACK` before `day`. So winter
    crops and a dry winter still count in spring. It is the same for all days of a growing year, so
    a plan does not depend on when it is made. A plan does not get slower with each season of the
    logbook.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # of a site, only the latitude counts
    >>> account_begins(date(2031, 6, 26), Example(latitude_deg=47.6))
    datetime.date(2030, 1, 1)
    >>> account_begins(date(2031, 7, 10), Example(latitude_deg=47.6))
    datetime.date(2031, 1, 1)
    """
    return growing_year(day - LEAST_BACK, site)


def growing_year(day: date, site: Site) -> date:
    """The first day of the growing year with `day`: 1 January, or 1 July in the south.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # of a site, only the latitude counts
    >>> growing_year(date(2031, 6, 26), Example(latitude_deg=-33.0))
    datetime.date(2030, 7, 1)
    """
    begins = day.replace(month=1 if site.latitude_deg >= 0.0 else 7, day=1)
    return begins if begins <= day else begins.replace(year=begins.year - 1)


@dataclass(slots=True, kw_only=True)
class _Making:
    """Makes days one after the other, with running means, lying snow and stand-ins."""

    best: Mapping[date, BestDay]
    known: Mapping[date, KnownDay]
    gauge: Mapping[date, float]
    stand_ins: StandIns
    today: date | None
    remarks: list[Message]

    def days(self, begins: date, last: date) -> dict[date, DayInput]:
        """All days from `begins` to `last`."""
        usual = self.stand_ins
        plain = _plain_days(usual.site, usual.climate)
        if len(plain) > _MOST_PLAIN:
            plain.clear()
        made: dict[date, DayInput] = {}
        trail: list[KnownDay] = []
        lying_mm = 0.0
        day = begins
        while day <= last:
            known = self.known.get(day)
            # Nothing is known of this day and the days before: it is the season's alone.
            is_plain = (
                not trail
                and not lying_mm
                and known is None
                and usual.normals is None
                and day not in self.best
                and day not in self.gauge
            )
            again = plain.get(day) if is_plain else None
            if again is not None:
                made[day] = again
                day += _DAY
                continue
            if known is not None:
                trail = [*trail[-(CLIMATE_DAYS - 1) :], known]
                eto_mm, method = known.eto.eto_mm_day, known.eto.method
                tmin_c, tmax_c = known.weather.tmin_c, known.weather.tmax_c
                solar_mj_m2, spread_c = known.weather.solar_mj_m2, 0.0
                rung, source = self.best[day].rung, known.weather.source
                measured, chance_pct = known.weather.measured, known.weather.rain_chance_pct
            else:
                found = self.stand_ins.on(day, trail)
                eto_mm, method, rung = found.eto_mm, found.method, found.rung
                tmin_c, tmax_c, source = found.tmin_c, found.tmax_c, "stand-in"
                measured, chance_pct, solar_mj_m2 = False, None, None
                spread_c = self.stand_ins.temp_spread_c(day)
            rain_mm = self._rain_mm(day)
            snow = snow_day(
                precipitation_mm=rain_mm or 0.0, lying_mm=lying_mm, tmin_c=tmin_c, tmax_c=tmax_c
            )
            lying_mm = snow.lying_mm
            fresh = [k for k in trail if (day - k.weather.day).days < CLIMATE_DAYS]
            made[day] = DayInput(
                day=day,
                eto_mm=eto_mm,
                method=method,
                # Melted snow reaches the ground, also if the rain is unknown.
                rain_mm=None if rain_mm is None and not snow.melted_mm else snow.reached_mm,
                wind_2m_m_s=_mean([k.eto.wind_2m_m_s for k in fresh], usual.wind_2m_m_s(day)),
                rh_min_pct=_mean([k.eto.rh_min_pct for k in fresh], usual.rh_min_pct(day)),
                measured=measured,
                source=source,
                rung=rung,
                tmin_c=tmin_c,
                tmax_c=tmax_c,
                solar_mj_m2=solar_mj_m2,
                temp_spread_c=spread_c,
                rain_chance_pct=None if day in self.gauge else chance_pct,
                snow_mm=lying_mm,
                normal_eto_mm=self.stand_ins.usual_mm(day),
            )
            if is_plain:
                plain[day] = made[day]
            day += _DAY
        return made

    def _rain_mm(self, day: date) -> float | None:
        given = self.best.get(day)
        rain_mm = self.gauge.get(day, None if given is None else given.weather.rain_mm)
        if rain_mm is not None and not 0.0 <= rain_mm <= MOST_MM:
            values: dict[str, Value] = {"day": str(day), "rain": rain_mm}
            self.remarks.append(Message("days.impossible_rain", values))
            return None
        return rain_mm

    def remark_on(self, days: Mapping[date, DayInput], *, since: date | None) -> None:
        """Remark on the days without weather of their own, span by span.

        Before `since` there is no weather at all: the account begins with usual days.
        """
        newest = max(self.known, default=date.max)
        found: dict[Message, list[date]] = {}
        for day, made in days.items():
            if since is not None and day < since:
                continue
            over = self.today is not None and day < self.today
            self._remark_on_model(day, found)
            dry = made.rain_mm is None
            if made.rung == FORECAST_KEPT:
                remark = Message("days.forecast_kept_no_rain" if dry else "days.forecast_kept")
            elif day not in self.known and (over or day < newest or day in self.best):
                remark = Message(
                    "days.no_weather_no_rain" if dry else "days.no_weather",
                    {"stand_in": self.stand_ins.label(made.rung)},
                )
            else:
                continue
            found.setdefault(remark, []).append(day)
        self.remarks += [
            Message("days.remark", {"days": _spans(on), "remark": remark})
            for remark, on in found.items()
        ]

    def _remark_on_model(self, day: date, found: dict[Message, list[date]]) -> None:
        """Remark on days with a model's rain, and on days whose figures may still change."""
        given = self.best.get(day)
        if given is None:
            return
        if given.model_rain_mm and day not in self.gauge:
            found.setdefault(_MODEL_RAIN, []).append(day)
        if given.weather.settles:
            found.setdefault(_MODEL_SETTLES, []).append(day)


_MODEL_RAIN = Message("days.model_rain", {"share": Quantity(MODEL_RAIN_SHARE, "percent")})
_MODEL_SETTLES = Message("days.model_settles")


@lru_cache(maxsize=2)
def _plain_days(site: Site, climate: str) -> dict[date, DayInput]:
    """A cache of days that are the season's alone, for the next plan."""
    return {}


def _mean(values: Sequence[float], otherwise: float) -> float:
    return sum(values) / len(values) if values else otherwise


def _spans(days: Sequence[date]) -> tuple[Message, ...]:
    """Days in order as spans: "2031-06-09, 2031-06-12 to 2031-06-20"."""
    spans: list[list[date]] = []
    for day in days:
        if spans and day - spans[-1][-1] == _DAY:
            spans[-1].append(day)
        else:
            spans.append([day])
    if len(spans) > _MOST_SPANS:
        return (Message("days.many", _span(days)),)
    found: list[Message] = []
    for span in spans:
        if len(span) > 2:
            found.append(Message("days.run", _span(span)))
        else:
            found += [Message("days.one", {"day": str(day)}) for day in span]
    return tuple(found)


def _span(days: Sequence[date]) -> dict[str, Value]:
    return {"first": str(days[0]), "last": str(days[-1]), "count": len(days)}
