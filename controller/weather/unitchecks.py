"""Whole columns whose usual figure would fit another unit better than the one they are named for.

Nothing is converted on a guess. The thresholds are our choice: such figures are common in the other
unit and all but unknown in ours.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from controller.weather.checks import ClearSky
from controller.weather.day import WeatherDay

LEAST_DAYS = 5  # our choice: a median of fewer days says little
LEAST_DAYS_FOR_A_TENTH = 30
# Sun as a part of a clear day's. Ten weeks of the dullest winter of 24 years in the Netherlands had
# a median of 0.3, so a median below 0.1 over that long is another unit: kWh/m2 come to 0.1 to 0.3.
MOST_OF_A_CLEAR_DAY = 1.3
LEAST_OF_A_CLEAR_DAY = 0.1
LEAST_DAYS_FOR_LITTLE_SUN = 60
# Degrees Celsius in a column named for Fahrenheit come out as -18 to 4 °C; a garden with no warmer
# day in so many is none.
WARMEST_C = 8.0
LEAST_DAYS_FOR_COLD = 150
LEAST_WET_DAYS = 20  # below it small rain may be small rain: said, not refused


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicion:
    """One field that seems to be in another unit; `refused` says it should not be used."""

    field: str
    found: str
    refused: bool


def unit_suspicions(
    days: Sequence[WeatherDay],
    names: Mapping[str, str],
    *,
    clear_sky_mj_m2: ClearSky | None = None,
) -> tuple[Suspicion, ...]:
    """The fields that look mislabelled; `names` has the file's column for each field."""
    found = []
    for name, column in names.items():
        figures = [v for d in days if (v := d.value(name)) is not None]
        if len(figures) < LEAST_DAYS:
            continue
        odd = _by_size(name, column, figures)
        if odd is None and name == "solar_mj_m2" and clear_sky_mj_m2 is not None:
            odd = _by_clear_sky(days, clear_sky_mj_m2)
        if odd is not None:
            found.append(odd)
    return tuple(found)


def _by_size(name: str, column: str, figures: Sequence[float]) -> Suspicion | None:
    if column == "tmax_f" and len(figures) >= LEAST_DAYS_FOR_COLD and max(figures) < WARMEST_C:
        return Suspicion(
            field=name,
            found=f"no day of {len(figures)} above {max(figures):.1f} °C once converted, "
            "which looks like degrees Celsius (tmax_c) under a Fahrenheit name",
            refused=True,
        )
    if name == "rain_mm" and column == name and _small_with_hundredths(figures):
        wet = sum(v > 0.0 for v in figures)
        return Suspicion(
            field=name,
            found=f"never more than {max(figures):g} on {wet} wet days, written to hundredths, "
            "which looks like inches (rain_in)",
            refused=wet >= LEAST_WET_DAYS,
        )
    for field, is_odd, likely in _OTHER_UNITS:
        if field == name and is_odd(figures):
            if column != field:
                likely = "another unit than its heading says"
            usual = median([v for v in figures if v] or figures)
            return Suspicion(
                field=name,
                found=f"a usual figure of {usual:.4g} and up to {max(figures):.4g}, "
                f"which looks like {likely}",
                refused=True,
            )
    return None


def _by_clear_sky(days: Sequence[WeatherDay], clear_sky: ClearSky) -> Suspicion | None:
    parts = [
        d.solar_mj_m2 / clear
        for d in days
        if d.solar_mj_m2 is not None and (clear := clear_sky(d.day)) > 1.0
    ]
    if len(parts) < LEAST_DAYS:
        return None
    usual = median(parts)
    too_little = usual < LEAST_OF_A_CLEAR_DAY and len(parts) >= LEAST_DAYS_FOR_LITTLE_SUN
    if usual <= MOST_OF_A_CLEAR_DAY and not (too_little and any(parts)):
        return None
    return Suspicion(
        field="solar_mj_m2",
        found=f"a usual day with {usual:.2g} of a clear day's sun, which looks like another unit",
        refused=True,
    )


def _over(middle: float, tenth: float) -> Callable[[Sequence[float]], bool]:
    """The usual figure is over the first, or one figure in ten over the second."""
    return lambda figures: (
        median(figures) > middle
        or (
            len(figures) >= LEAST_DAYS_FOR_A_TENTH
            and sorted(figures)[-(len(figures) // 10)] > tenth
        )
    )


def _all_fractions(figures: Sequence[float]) -> bool:
    return 0.0 < max(figures) <= 1.0


def _small_with_hundredths(figures: Sequence[float]) -> bool:
    """Rain in inches is small and written to 0.01; rain in millimetres to 0.1 or 0.2."""
    wet = [v for v in figures if v > 0.0]
    return (
        len(wet) >= LEAST_DAYS
        and max(wet) < 3.0
        and sum(abs(v * 10.0 - round(v * 10.0)) > 0.01 for v in wet) * 2 >= len(wet)
    )


# The tenth highest of a hundred tells where the median of a cold year does not.
_OTHER_UNITS: tuple[tuple[str, Callable[[Sequence[float]], bool], str], ...] = (
    ("tmin_c", _over(38.0, 40.0), "degrees Fahrenheit (tmin_f)"),
    ("tmax_c", _over(45.0, 52.0), "degrees Fahrenheit (tmax_f)"),
    ("dewpoint_c", _over(32.0, 34.0), "degrees Fahrenheit (dewpoint_f)"),
    ("solar_mj_m2", _over(45.0, 45.0), "W/m2 or langley (solar_w_m2, solar_langley)"),
    ("wind_m_s", _over(12.0, 25.0), "kilometres an hour (wind_km_h)"),
    ("vapour_pressure_kpa", _over(8.0, 6.5), "hectopascal (vapour_pressure_hpa)"),
    ("rh_mean_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
    ("rh_max_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
    ("rh_min_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
)
