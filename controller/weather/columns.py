"""The columns a weather file may have, their units in their names, and what a cell may say."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from controller import units
from controller.errors import WeatherFileError

DATE = "date"
MEASURED = "measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name, the field of the day it fills, and the way into that field's unit."""

    name: str
    field: str
    means: str
    to_si: Callable[[float], float]


def _same(value: float) -> float:
    return value


def _column(name: str, field: str, means: str, to_si: Callable[[float], float] = _same) -> Column:
    return Column(name=name, field=field, means=means, to_si=to_si)


COLUMNS: tuple[Column, ...] = (
    _column("tmin_c", "tmin_c", "lowest air temperature, °C"),
    _column("tmin_f", "tmin_c", "lowest air temperature, °F", units.c_from_f),
    _column("tmax_c", "tmax_c", "highest air temperature, °C"),
    _column("tmax_f", "tmax_c", "highest air temperature, °F", units.c_from_f),
    _column("rh_mean_pct", "rh_mean_pct", "mean relative humidity, %"),
    _column("rh_min_pct", "rh_min_pct", "lowest relative humidity, %"),
    _column("rh_max_pct", "rh_max_pct", "highest relative humidity, %"),
    _column("dewpoint_c", "dewpoint_c", "mean dew point, °C"),
    _column("dewpoint_f", "dewpoint_c", "mean dew point, °F", units.c_from_f),
    _column("vapour_pressure_kpa", "vapour_pressure_kpa", "mean vapour pressure, kPa"),
    _column(
        "vapour_pressure_hpa",
        "vapour_pressure_kpa",
        "mean vapour pressure, hPa (= mbar)",
        lambda hpa: hpa / 10.0,
    ),
    _column("wind_m_s", "wind_m_s", "mean wind (not gusts), m/s"),
    _column("wind_km_h", "wind_m_s", "mean wind, km/h", units.m_s_from_km_h),
    _column("wind_mph", "wind_m_s", "mean wind, miles an hour", units.m_s_from_mph),
    _column("wind_knot", "wind_m_s", "mean wind, knots", units.m_s_from_knot),
    _column("solar_mj_m2", "solar_mj_m2", "sun on level ground over the day, MJ/m2"),
    _column(
        "solar_w_m2", "solar_mj_m2", "the same as a mean over 24 hours, W/m2", lambda w: w * 0.0864
    ),
    _column("solar_kwh_m2", "solar_mj_m2", "the same, kWh/m2", lambda kwh: kwh * 3.6),
    _column("solar_langley", "solar_mj_m2", "the same, langley", units.mj_m2_from_langley),
    _column("sunshine_h", "sunshine_h", "hours of bright sunshine"),
    _column("rain_mm", "rain_mm", "rain over the day, mm"),
    _column("rain_cm", "rain_mm", "rain over the day, cm", lambda cm: cm * 10.0),
    _column("rain_in", "rain_mm", "rain over the day, inches", units.mm_from_in),
    _column("rain_chance_pct", "rain_chance_pct", "chance of rain, for days to come, %"),
)
BY_NAME = {column.name: column for column in COLUMNS}
KNOWN_NAMES = (DATE, *BY_NAME, MEASURED)

# What people and loggers write where there is no figure. -999 and its kin lie below every limit,
# so they can never be a reading.
_NOTHING = {"", "-", "--", "---", "–", "—", "nan", "na", "n/a", "null", "none", "missing", "m"}
_NOTHING |= {"-999", "-999.0", "-9999", "-9999.0", "-6999"}
_TRACE = {"t", "trace"}
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")


def figure(text: str, column: Column, *, decimal_comma: bool) -> float | None:
    """The cell's figure in the field's own unit, or None for a cell that says there is none.

    Raises
    ------
    WeatherFileError
        If it is neither.
    """
    cell = text.strip()
    if cell.lower() in _NOTHING:
        return None
    if column.field == "rain_mm" and cell.lower() in _TRACE:
        return 0.0  # it rained, but less than the gauge can show
    number = cell.replace("−", "-")
    if decimal_comma and "." not in number:
        number = number.replace(",", ".", 1)
    if _NUMBER.fullmatch(number) is None:
        hint = "; a decimal comma needs ';' between the columns" if "," in number else ""
        raise WeatherFileError(f"allowed is a number without its unit, or an empty cell{hint}")
    return column.to_si(float(number))


def truth(text: str) -> bool:
    """Yes or no of the column `measured`; an empty cell is yes.

    Raises
    ------
    WeatherFileError
        If it is neither.
    """
    cell = text.strip().lower()
    if cell in {"", "yes", "true", "1"}:
        return True
    if cell in {"no", "false", "0"}:
        return False
    raise WeatherFileError("allowed is yes or no")


def nearest(name: str) -> str:
    """The known column names most like this one, as words to put behind a remark, or nothing."""
    close = get_close_matches(name, KNOWN_NAMES, n=2, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""


def column_help() -> str:
    """The columns a weather file may have, as text for a person."""
    names: Iterable[tuple[str, str]] = (
        (DATE, "the local day, as 2031-06-01 (needed)"),
        *((c.name, c.means) for c in COLUMNS),
        (MEASURED, "no for a forecast; without this column every day is taken as measured"),
    )
    return "\n".join(f"{name:<20} {means}" for name, means in names)
