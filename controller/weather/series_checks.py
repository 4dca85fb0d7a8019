"""Checks of a series of days: sensors that are stuck, drift, or stand in a wrong place.

All findings are remarks: the figures stay, because none is impossible. The thresholds come from 28
files of real stations (some 10 600 days), chosen so that ordinary weather gives no remark.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from math import log
from statistics import fmean, median

from controller.weather.day import ClearSky, WeatherDay, saturation_kpa

# The shortest run of one figure that counts: five days, for wind three. Our choice.
STUCK_DAYS: Mapping[str, int] = {
    "tmin_c": 5,
    "tmax_c": 5,
    "dewpoint_c": 5,
    "rh_mean_pct": 5,
    "rh_min_pct": 5,
    "rh_max_pct": 5,
    "vapour_pressure_kpa": 5,
    "solar_mj_m2": 5,
    "wind_m_s": 3,
}
# 0 is the sun of the polar night, or calm, which `calm_runs` checks.
_TRUE_NOUGHTS = frozenset({"solar_mj_m2", "wind_m_s"})
# A thermometer whose lowest is its highest, the same on so many days in a row, is stuck: its days
# count as without temperatures. Our choice: the temperature of real air changes every day.
DEAD_DAYS = 3
# A run is named if chance would give fewer such runs in the whole file: our choice.
CHANCE_RUNS = 0.05
SATURATED_PCT = 99.0  # air in fog stays there for days, and so does a good sensor
SATURATED_PART, ROUNDING_KPA = 1.03, 0.02  # two good sensors may differ by this much: our choice
CALM_M_S, CALM_DAYS = 0.5, 10  # our choice
DRY_PCT, DRY_DAYS = 70.0, 21  # over watered ground nights are damp; from memory, and our choice
# Sun on the clearest days, 6 of each 60 (window and bounds of agweather-qaqc, an open checking
# tool, Apache-2.0; it expects 0.97 to 1.03 of a clear day). Our low end is lower: in a cloudy
# summer on the Dutch coast even the six clearest days of sixty come to 0.77.
WINDOW_DAYS, CLEAREST_DAYS, LEAST_WINDOW_DAYS = 60, 6, 45
CLEAREST_PART = (0.75, 1.05)
NOT_A_DRIFT = (0.5, 1.5)
LEAST_CLEAR_MJ_M2 = 15.0  # darker months do not have six clear days in sixty
DARK_PART, DARK_CLEAR_MJ_M2 = 0.04, 5.0  # 0.03 of the sun above the air; from memory
# Modified z-score of Iglewicz and Hoaglin (1993), by calendar month, as agweather-qaqc has it.
# The spread of one month's thirty days is itself uncertain, so these have a wider limit.
OUTLIER_Z, OUTLIER_Z_ROUGH, OUTLIER_DAYS, ROUGH_DAYS = 3.5, 6.0, 56, 25
MEAN_OFF_C = 3.0  # from memory
NAMED = 5  # so many days or spans are named in a remark; the others are counted


def odd_series(
    days: Iterable[WeatherDay],
    names: Mapping[str, str],
    *,
    clear_sky_mj_m2: ClearSky | None = None,
) -> tuple[str, ...]:
    """One remark for each oddity of the series, with column, days and reason."""
    ordered = sorted(days, key=lambda d: d.day)
    remarks = [
        *stuck_figures(ordered, names),
        *calm_runs(ordered, names),
        *dry_air_runs(ordered, names),
        *damp_days(ordered, names),
        *outliers(ordered, names),
    ]
    if clear_sky_mj_m2 is not None:
        remarks += dark_days(ordered, names, clear_sky_mj_m2)
        remarks += sun_drift(ordered, names, clear_sky_mj_m2)
    return tuple(remarks)


def stuck_figures(days: Sequence[WeatherDay], names: Mapping[str, str]) -> list[str]:
    """Sensors that gave the same figure for more days than chance explains."""
    remarks = []
    for name, least in STUCK_DAYS.items():
        figures = sum(day.value(name) is not None for day in days)
        runs = _runs(days, lambda a, b, name=name: a.value(name) == b.value(name))  # type: ignore[misc]
        runs = [run for run in runs if _may_stick(name, run[0].value(name))]
        repeats = sum(len(run) - 1 for run in runs)
        for run in runs:
            elsewhere = repeats - (len(run) - 1)
            if len(run) < least or not _beyond_chance(len(run), figures, elsewhere):
                continue
            remarks.append(
                f"{names.get(name, name)}: {run[0].value(name):.4g} on {len(run)} days running "
                f"from {run[0].day}; is the sensor stuck?"
            )
    return remarks


def without_dead_thermometers(
    by_day: Mapping[date, Sequence[WeatherDay]],
) -> tuple[dict[date, list[WeatherDay]], tuple[str, ...]]:
    """Each day's rows without the temperatures of a stuck thermometer, with remarks.

    It is stuck if one source's measured days have one figure for lowest and highest, on at least
    `DEAD_DAYS` in a row. Their other figures stay.
    """
    still: dict[str, list[WeatherDay]] = {}
    for day in sorted(by_day):
        for row in by_day[day]:
            if row.measured and row.tmin_c is not None and row.tmin_c == row.tmax_c:
                still.setdefault(row.source, []).append(row)
    dead: set[tuple[date, str]] = set()
    remarks = []
    for source, alike in still.items():
        for run in _runs(alike, lambda a, b: a.tmin_c == b.tmin_c):
            if len(run) < DEAD_DAYS:
                continue
            dead |= {(row.day, source) for row in run}
            remarks.append(
                f"{spans(row.day for row in run)}: the thermometer of {source or 'the record'} "
                f"stood at {run[0].tmin_c:.4g} °C; it is taken as stuck, and its temperatures are "
                "not used"
            )
    rows = {
        day: [
            row.with_(tmin_c=None, tmax_c=None)
            if row.measured and (day, row.source) in dead
            else row
            for row in found
        ]
        for day, found in by_day.items()
    }
    return rows, tuple(remarks)


def calm_runs(days: Sequence[WeatherDay], names: Mapping[str, str]) -> list[str]:
    """Wind near 0 for many days in a row: a blocked anemometer, or one behind a wall."""
    low = [d for d in days if d.wind_m_s is not None and d.wind_m_s < CALM_M_S]
    column = names.get("wind_m_s", "wind_m_s")
    return [
        f"{column}: below {CALM_M_S} m/s on {len(run)} days running from {run[0].day}; "
        "is the anemometer blocked, or behind a wall?"
        for run in _runs(low, _always)
        if len(run) >= CALM_DAYS
    ]


def dry_air_runs(days: Sequence[WeatherDay], names: Mapping[str, str]) -> list[str]:
    """Air that is not damp for weeks: a dry site, not the garden's, or an aged sensor."""
    low = [d for d in days if d.rh_max_pct is not None and d.rh_max_pct < DRY_PCT]
    column = names.get("rh_max_pct", "rh_max_pct")
    return [
        f"{column}: never over {DRY_PCT:g} % on {len(run)} days running from {run[0].day}; "
        "over watered ground the nights are damper: a dry site, or a tired sensor?"
        for run in _runs(low, _always)
        if len(run) >= DRY_DAYS
    ]


def damp_days(days: Sequence[WeatherDay], names: Mapping[str, str]) -> list[str]:
    """Days whose mean vapour pressure is above saturation (FAO-56 eq. 12), by two sensors."""
    damp = [
        d.day
        for d in days
        if d.vapour_pressure_kpa is not None
        and d.tmin_c is not None
        and d.tmax_c is not None
        and d.vapour_pressure_kpa
        > SATURATED_PART * (saturation_kpa(d.tmin_c) + saturation_kpa(d.tmax_c)) / 2.0
        + ROUNDING_KPA
    ]
    if not damp:
        return []
    return [
        f"{names.get('vapour_pressure_kpa', 'vapour_pressure_kpa')}: more than the air of the day "
        f"can hold on the mean, on {spans(damp)}; does the sensor read too damp?"
    ]


def dark_days(
    days: Sequence[WeatherDay], names: Mapping[str, str], clear_sky: ClearSky
) -> list[str]:
    """Days with less sun than the densest cloud lets through."""
    dark = [
        d.day
        for d in days
        if d.solar_mj_m2 is not None
        and (clear := clear_sky(d.day)) >= DARK_CLEAR_MJ_M2
        and d.solar_mj_m2 < DARK_PART * clear
    ]
    if not dark:
        return []
    return [
        f"{names.get('solar_mj_m2', 'solar_mj_m2')}: less than {DARK_PART:.0%} of a clear day's "
        f"sun on {spans(dark)}; was the sensor covered?"
    ]


def sun_drift(
    days: Sequence[WeatherDay], names: Mapping[str, str], clear_sky: ClearSky
) -> list[str]:
    """Windows of sixty days whose clearest days differ from the sun of a clear sky."""
    windows: dict[int, list[tuple[date, float]]] = {}
    for day in days:
        if day.solar_mj_m2 is not None and (clear := clear_sky(day.day)) >= LEAST_CLEAR_MJ_M2:
            number = (day.day - days[0].day).days // WINDOW_DAYS
            windows.setdefault(number, []).append((day.day, day.solar_mj_m2 / clear))
    off = []
    for window in windows.values():
        if len(window) < LEAST_WINDOW_DAYS:
            continue
        part = fmean(sorted(part for _, part in window)[-CLEAREST_DAYS:])
        if not CLEAREST_PART[0] <= part <= CLEAREST_PART[1]:
            note = "" if NOT_A_DRIFT[0] <= part <= NOT_A_DRIFT[1] else ", too far off for a drift"
            off.append(f"{window[0][0]} to {window[-1][0]}: {part:.2f}{note}")
    if not off:
        return []
    more = f" and {len(off) - NAMED} spells more" if len(off) > NAMED else ""
    return [
        f"{names.get('solar_mj_m2', 'solar_mj_m2')}: the {CLEAREST_DAYS} clearest days brought "
        f"not about 1 of a clear day's sun but ({'; '.join(off[:NAMED])}{more}); is the sensor "
        "dirty, shaded, off level or out of calibration?"
    ]


def outliers(days: Sequence[WeatherDay], names: Mapping[str, str]) -> list[str]:
    """Temperatures far from those of the same month in this file."""
    remarks = []
    for name in ("tmin_c", "tmax_c"):
        months: dict[int, list[tuple[date, float]]] = {}
        for day in days:
            if (value := day.value(name)) is not None:
                months.setdefault(day.day.month, []).append((day.day, value))
        far = sorted(day for month in months.values() for day in _far(month))
        if far:
            remarks.append(
                f"{names.get(name, name)}: far from the usual of its month on {spans(far)}; "
                "look whether that was so"
            )
    return remarks


def odd_means(
    means_c: Mapping[date, float], days: Sequence[WeatherDay], column: str
) -> tuple[str, ...]:
    """Days whose mean temperature is far from the mean of lowest and highest."""
    off = [
        d.day
        for d in days
        if d.day in means_c
        and d.tmin_c is not None
        and d.tmax_c is not None
        and (
            abs(means_c[d.day] - (d.tmin_c + d.tmax_c) / 2.0) > MEAN_OFF_C
            or not d.tmin_c - 0.1 <= means_c[d.day] <= d.tmax_c + 0.1
        )
    ]
    if not off:
        return ()
    return (
        f"{column}: more than {MEAN_OFF_C:g} °C from the middle of lowest and highest, or beyond "
        f"them, on {spans(off)}; one of the three is odd",
    )


def spans(days: Iterable[date]) -> str:
    """Days as text, with runs of days as spans.

    Examples
    --------
    >>> spans(date(2031, 6, day) for day in (1, 2, 3, 7))
    '2031-06-01 to 2031-06-03, 2031-06-07'
    """
    found: list[list[date]] = []
    for day in sorted(set(days)):
        if found and day - found[-1][-1] == timedelta(days=1):
            found[-1].append(day)
        else:
            found.append([day])
    words = [str(s[0]) if len(s) == 1 else f"{s[0]} to {s[-1]}" for s in found]
    if len(words) <= NAMED:
        return ", ".join(words)
    rest = sum(len(s) for s in found[NAMED:])
    return f"{', '.join(words[:NAMED])} and {rest} day{'s' if rest > 1 else ''} more"


def _runs(
    days: Sequence[WeatherDay], alike: Callable[[WeatherDay, WeatherDay], bool]
) -> list[list[WeatherDay]]:
    """Runs of days that follow each other and are alike."""
    runs: list[list[WeatherDay]] = []
    for day in days:
        if runs and day.day - runs[-1][-1].day == timedelta(days=1) and alike(runs[-1][-1], day):
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def _always(_before: WeatherDay, _after: WeatherDay) -> bool:
    return True


def _may_stick(name: str, value: float | None) -> bool:
    if value is None or (value == 0.0 and name in _TRUE_NOUGHTS):
        return False
    return not (name.startswith("rh_") and value >= SATURATED_PCT)


def _beyond_chance(length: int, figures: int, elsewhere: int) -> bool:
    """Whether a run of this length would be rare in a file of so many figures.

    How often a figure repeats by chance depends on its decimals. So the rate is that of the rest of
    the file; for a short file it is one repeat in twenty (our choice).
    """
    repeats = (elsewhere + 1.0) / (figures - length + 20.0)
    return log(figures) + (length - 1) * log(min(repeats, 0.999)) < log(CHANCE_RUNS)


def _far(month: Sequence[tuple[date, float]]) -> list[date]:
    if len(month) < ROUGH_DAYS:
        return []
    limit = OUTLIER_Z if len(month) >= OUTLIER_DAYS else OUTLIER_Z_ROUGH
    middle = median(value for _, value in month)
    spread = median(abs(value - middle) for _, value in month)
    if spread <= 0.0:
        return []
    return [day for day, value in month if 0.6745 * abs(value - middle) / spread > limit]
