"""The ladder drilled on real years: each source taken away, each variable blanked, each gap length.

Reference ET of whole growing seasons, April to September, at five stations, against what the whole
record gives. Run as a program with tests/ on PYTHONPATH, it prints the tables of
docs/weather-ladder.md.

The stations are real; the services beside them are not: their days are the station's own with
errors drawn by chance, of sizes that are our choice (the order of what weather models miss by at a
point, from memory). What they show is how errors pass through the ladder, not how good a service
is.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache, partial
from math import exp, sqrt
from pathlib import Path

import pytest
from pytest import approx
from support.stationyears import STATIONS, WAGENINGEN, Station, days_of

from controller.demand.climate.reference_et import reference_et
from controller.inputs.climatology import (
    NEAR_DAYS,
    KnownDay,
    Normals,
    StandIns,
    eto_of,
    normals_from,
)
from controller.inputs.days import demand_days
from controller.weather.day import WeatherDay

DOC = Path(__file__).parents[2] / "docs" / "weather-ladder.md"
DAY = timedelta(days=1)
ORDER = ("station.csv", "first", "second")
SUN, WIND = ("solar_mj_m2", "sunshine_h"), ("wind_m_s",)
VAPOUR = ("vapour_pressure_kpa", "dewpoint_c", "rh_max_pct", "rh_min_pct", "rh_mean_pct")
Rows = list[WeatherDay]
MODEL = {"measured": False, "modelled": True}


@dataclass(frozen=True)
class Line:
    """One case at one station: change of the season's sum, and how far single days are off."""

    case: str
    station: str
    change_pct: float
    worst_pct: float  # the worst season
    day_rms_mm: float


# --- the cases -----------------------------------------------------------------------------------


def blanked(*fields: str) -> Callable[[Rows], Rows]:
    return lambda rows: [w.with_(**dict.fromkeys(fields)) for w in rows]


def wind_of(m_s: float) -> Callable[[Rows], Rows]:
    only_warmth = blanked(*SUN, *VAPOUR)
    return lambda rows: [w.with_(wind_m_s=m_s, wind_height_m=2.0) for w in only_warmth(rows)]


VARIABLES: dict[str, Callable[[Rows], Rows]] = {
    "no sun": blanked(*SUN),
    "no wind": blanked(*WIND),
    "no humidity": blanked(*VAPOUR),
    "only temperatures": blanked(*SUN, *WIND, *VAPOUR),
}
SOURCES: dict[str, tuple[str, ...]] = {
    "all sources": ("station", "first", "second", "kept"),
    "no station": ("first", "second", "kept"),
    "no station, no first service": ("second", "kept"),
    "only forecasts kept": ("kept",),
    "no weather, normals": ("normals",),
    "no weather, season's table": (),
    "one week in four silent": ("three weeks",),
    "one week in four silent, normals": ("three weeks", "normals"),
}


def sources_of(rows: Rows) -> dict[str, Rows]:
    """Stand-ins for services: the station's days with errors; the second has no sun at all."""
    draw = random.Random(1976)
    return {
        "station": rows,
        "first": [_blurred(w, draw, 1.0, "first model").with_(**MODEL) for w in rows],
        "second": [
            _blurred(w, draw, 1.0, "second model").with_(solar_mj_m2=None, **MODEL) for w in rows
        ],
        "kept": [_blurred(w, draw, 1.5, "first forecast").with_(measured=False) for w in rows],
        "three weeks": [w for w in rows if w.day.toordinal() // 7 % 4],
        "normals": [],
    }


def _blurred(w: WeatherDay, draw: random.Random, by: float, source: str) -> WeatherDay:
    """Temperatures off by 1 °C, vapour by 8 %, wind by a quarter, sun by 12 %, times `by`."""
    assert w.tmin_c is not None and w.tmax_c is not None
    low, high = sorted((w.tmin_c + draw.gauss(0.0, by), w.tmax_c + draw.gauss(0.0, by)))
    return w.with_(
        tmin_c=low,
        tmax_c=high,
        vapour_pressure_kpa=(w.vapour_pressure_kpa or 0.0) * exp(draw.gauss(0.0, 0.08 * by)),
        wind_m_s=(w.wind_m_s or 0.0) * exp(draw.gauss(0.0, 0.25 * by)),
        solar_mj_m2=(w.solar_mj_m2 or 0.0) * exp(draw.gauss(0.0, 0.12 * by)),
        source=source,
    )


# --- the computation ----------------------------------------------------------------------------


@cache
def drill() -> tuple[Line, ...]:
    """Every case at every station."""
    lines = []
    for station in STATIONS:
        whole = list(days_of(station))
        for case, change in VARIABLES.items():
            lines.append(_line(case, station, partial(_changed, change, whole)))
        sources = sources_of(whole)
        for case, names in SOURCES.items():
            if "normals" in names and station is not WAGENINGEN:
                continue  # the others have one season
            rows = [w for name in names for w in sources[name]]
            lines.append(
                _line(
                    case,
                    station,
                    partial(_from_sources, rows, "normals" in names),
                )
            )
    return tuple(lines)


def _line(case: str, station: Station, given: Callable[[int], tuple[Rows, Normals | None]]) -> Line:
    seasons, errors = [], []
    for year in _years(station):
        rows, normals = given(year)
        found = _season(station, rows, year, normals)
        true = _season_of_all(station, year)
        seasons.append((sum(found[d] for d in true), sum(true.values())))
        errors += [found[d] - true[d] for d in true]
    changes = [100.0 * (was / is_ - 1.0) for was, is_ in seasons]
    return Line(
        case=case,
        station=station.name,
        change_pct=100.0 * (sum(s for s, _ in seasons) / sum(t for _, t in seasons) - 1.0),
        worst_pct=max(changes, key=abs),
        day_rms_mm=_rms(errors),
    )


def _season(
    station: Station, rows: Iterable[WeatherDay], year: int, normals: Normals | None = None
) -> dict[date, float]:
    first, last = date(year, 4, 1), date(year, 9, 30)
    found = demand_days(
        rows,
        station.site,
        first=first,
        last=last,
        today=last + DAY,
        order=ORDER,
        normals=normals,
        climate=station.climate,
    )
    return {day: made.eto_mm for day, made in found.days.items()}


@cache
def _season_of_all(station: Station, year: int) -> dict[date, float]:
    there = {w.day for w in days_of(station)}
    return {d: mm for d, mm in _season(station, days_of(station), year).items() if d in there}


def _years(station: Station) -> list[int]:
    """Seasons with at least 120 of their 183 days: 23 at Wageningen, one at each of the others."""
    summers = [w.day.year for w in days_of(station) if 4 <= w.day.month <= 9]
    return [year for year in sorted(set(summers)) if summers.count(year) >= 120 and year != 1991]


def _changed(change: Callable[[Rows], Rows], whole: Rows, _year: int) -> tuple[Rows, None]:
    return change(whole), None


def _from_sources(rows: Rows, with_normals: bool, year: int) -> tuple[Rows, Normals | None]:
    return rows, _normals_without(year) if with_normals else None


@cache
def _normals_without(year: int) -> Normals | None:
    return normals_from([w for w in days_of(WAGENINGEN) if w.day.year != year], WAGENINGEN.site)


def _rms(errors: Sequence[float]) -> float:
    return sqrt(sum(e * e for e in errors) / len(errors))


# --- the length of a gap -------------------------------------------------------------------------

GAPS = (1, 2, 3, 4, 5, 7, 10, 14, 21, 30, 45)
WAYS = ("mean of 7 days", "normal", "normal, moved", "table", "table, moved")


@cache
def gaps(station: Station) -> dict[tuple[str, int], float]:
    """How far a day's reference ET is off so many days after the last measured one. [mm]"""
    etos = {w.day: e for w in days_of(station) if (e := eto_of(w, station.site)) is not None}
    weather = {w.day: w for w in days_of(station)}
    errors: dict[tuple[str, int], list[float]] = {}
    bare = StandIns(site=station.site, normals=None, climate=station.climate)
    for day, eto in etos.items():
        if not 4 <= day.month <= 9:
            continue
        usual = {"table": bare}
        if station == WAGENINGEN:
            usual["normal"] = StandIns(
                site=station.site, normals=_normals_without(day.year), climate=station.climate
            )
        for lag in GAPS:
            past = [day - (lag + k) * DAY for k in reversed(range(7))]
            if not all(p in etos for p in past):
                continue
            known = [KnownDay(weather=weather[p], eto=etos[p]) for p in past]
            mean_mm = sum(k.eto.eto_mm_day for k in known) / 7
            errors.setdefault(("mean of 7 days", lag), []).append(mean_mm - eto.eto_mm_day)
            for name, by in usual.items():
                plain_mm = by.usual_mm(day)
                away_mm = mean_mm - sum(by.usual_mm(p) for p in past) / 7
                moved_mm = max(plain_mm + away_mm / 2, 0.0)
                if lag <= NEAR_DAYS or name == "table":  # what the room itself says
                    assert by.on(day, known).eto_mm == approx(moved_mm)
                errors.setdefault((name, lag), []).append(plain_mm - eto.eto_mm_day)
                errors.setdefault((f"{name}, moved", lag), []).append(moved_mm - eto.eto_mm_day)
    return {key: _rms(found) for key, found in errors.items()}


# --- what is held to it --------------------------------------------------------------------------


def found_line(case: str, station: Station) -> Line:
    (line,) = [x for x in drill() if (x.case, x.station) == (case, station.name)]
    return line


@pytest.mark.slow
def test_with_every_source_the_station_stands_alone() -> None:
    for station in STATIONS:
        line = found_line("all sources", station)
        assert (line.change_pct, line.worst_pct, line.day_rms_mm) == (0.0, 0.0, 0.0)


# Bounds on the change of a season's sum, ours, a little above what was seen.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "mean_pct", "worst_pct", "day_mm"),
    [
        ("no sun", 10, 15, 0.50),
        ("no wind", 12, 12, 0.80),
        ("no humidity", 10, 10, 0.55),
        ("only temperatures", 16, 21, 0.75),
        ("no station", 3, 3, 0.60),
        ("no station, no first service", 3, 5, 0.75),
        ("only forecasts kept", 4, 6, 0.85),
        ("no weather, normals", 1, 17, 1.15),
        ("no weather, season's table", 25, 25, 1.15),
        ("one week in four silent", 6, 8, 0.60),
        ("one week in four silent, normals", 1, 7, 0.60),
    ],
)
def test_a_season_stays_within_its_bound_at_every_station(
    case: str, mean_pct: float, worst_pct: float, day_mm: float
) -> None:
    lines = [line for line in drill() if line.case == case]
    assert len(lines) == (1 if "normals" in case else len(STATIONS))
    for line in lines:
        assert abs(line.change_pct) <= mean_pct, line
        assert abs(line.worst_pct) <= worst_pct, line
        assert 0.0 < line.day_rms_mm <= day_mm, line


@pytest.mark.slow
def test_the_rungs_are_in_their_order_day_by_day() -> None:
    for station in STATIONS:
        off = [
            found_line(case, station).day_rms_mm
            for case in (
                "all sources",
                "no station",
                "no station, no first service",
                "only forecasts kept",
                "no weather, season's table",
            )
        ]
        assert off == sorted(off)


def test_another_wind_than_two_metres_a_second_changes_as_much_as_in_the_worked_example() -> None:
    # PRINTED (FAO-56, Example 20, July near Lyon, from temperatures alone; the height 200 m from
    # memory): 1 or 3 m/s instead of 2 change ETo by -7 % and +6 %.
    slow, usual, fast = (
        reference_et(
            day=date(2031, 7, 15),
            latitude_deg=45.72,
            elevation_m=200.0,
            tmin_c=14.8,
            tmax_c=26.6,
            wind_m_s=m_s,
        ).eto_mm_day
        for m_s in (1.0, 2.0, 3.0)
    )
    assert 100.0 * (slow / usual - 1.0) == approx(-7.0, abs=0.5)
    assert 100.0 * (fast / usual - 1.0) == approx(6.0, abs=0.5)


@pytest.mark.slow
def test_over_whole_seasons_another_wind_changes_no_more_than_a_tenth() -> None:
    for station in STATIONS:
        slow_pct, fast_pct = wind_changes_pct(station)
        assert -10.0 < slow_pct < -2.0
        assert 2.0 < fast_pct < 8.0


@pytest.mark.slow
def test_in_the_first_days_of_a_gap_normals_moved_half_way_are_nearest_and_then_normals() -> None:
    off = gaps(WAGENINGEN)
    for lag in GAPS:
        best = "normal, moved" if lag <= NEAR_DAYS else "normal"
        assert off[best, lag] <= min(off[way, lag] for way in WAYS) + 0.03, lag


@pytest.mark.slow
def test_without_normals_the_table_moved_half_way_beats_the_mean_of_the_days_before() -> None:
    for station in STATIONS:
        off = gaps(station)
        for lag in GAPS:
            # In Sweden, where the table is a quarter too low, the mean is nearer by 0.01 mm at
            # first.
            assert off["table, moved", lag] <= off["mean of 7 days", lag] + 0.015, station
            assert off["table, moved", lag] <= off["table", lag] + 0.11, station


@pytest.mark.slow
def test_a_wrong_climate_class_does_less_harm_where_days_before_are_known() -> None:
    off = gaps(replace(WAGENINGEN, climate="arid"))
    # RECORDED: root mean square of the days, as docs/weather-ladder.md has it.
    assert off["table", 1] == approx(2.6, abs=0.05)
    assert off["table, moved", 1] == approx(1.6, abs=0.05)


@pytest.mark.slow
def test_the_document_shows_these_figures() -> None:
    text = DOC.read_text(encoding="utf-8")
    for row in (*variable_table(), *wind_table(), *source_table(), *gap_table()):
        assert row in text, row


# --- the tables of docs/weather-ladder.md --------------------------------------------------------

NAMES = {
    "wageningen": "Wageningen",
    "8011_asturias": "Asturias",
    "2297_sweden": "northern Sweden",
    "10870_munchen_flughafen": "Munich",
    "8443_ronda": "Ronda",
}


def variable_table() -> list[str]:
    """Seasonal change and a day's error, each variable blanked."""
    return _table(VARIABLES)


def source_table() -> list[str]:
    """The same, each source taken away."""
    return _table([case for case in SOURCES if case != "all sources"])


def wind_changes_pct(station: Station) -> tuple[float, float]:
    """Change of a season's sum with 1 and with 3 m/s instead of 2, from temperatures alone."""
    (year, *_) = _years(station)
    slow, usual, fast = (
        sum(_season(station, wind_of(m_s)(list(days_of(station))), year).values())
        for m_s in (1.0, 2.0, 3.0)
    )
    return 100.0 * (slow / usual - 1.0), 100.0 * (fast / usual - 1.0)


def wind_table() -> list[str]:
    """The wind's rows, to stand under those of the variables."""
    cells = [wind_changes_pct(station) for station in STATIONS]
    return [
        f"| {name} | {' | '.join(f'{cell[n]:+.1f}' for cell in cells)} |"
        for n, name in enumerate(("1 m/s instead of 2", "3 m/s instead of 2"))
    ]


def gap_table() -> list[str]:
    """A day's error by the length of the gap, at Wageningen."""
    off = gaps(WAGENINGEN)
    rows = [f"| days since the last measured | {' | '.join(map(str, GAPS))} |"]
    rows.append("|---|" + "---|" * len(GAPS))
    rows += [f"| {way} | {' | '.join(f'{off[way, lag]:.2f}' for lag in GAPS)} |" for way in WAYS]
    return rows


def _table(cases: Iterable[str]) -> list[str]:
    rows = [f"| | {' | '.join(NAMES[s.name] for s in STATIONS)} |"]
    rows.append("|---|" + "---|" * len(STATIONS))
    for case in cases:
        lines = {line.station: line for line in drill() if line.case == case}
        cells = [_cell(lines.get(station.name)) for station in STATIONS]
        rows.append(f"| {case} | {' | '.join(cells)} |")
    return rows


def _cell(line: Line | None) -> str:
    if line is None:
        return "-"
    worst = f" ({line.worst_pct:+.0f})" if line.station == WAGENINGEN.name else ""
    return f"{line.change_pct:+.1f}{worst}, {line.day_rms_mm:.2f}"


if __name__ == "__main__":
    print("\n".join([*variable_table(), *wind_table(), "", *source_table(), "", *gap_table()]))
