"""Reader of weather files of every kind: the gardener's own, a station's log, two archives.

Nothing is filled in, and nothing is converted by a guess. An impossible figure is left out, and so
is a day with two different lines; each is named with its line.
"""

from __future__ import annotations

from pathlib import Path

from controller.errors import WeatherFileError
from controller.weather.day import ClearSky
from controller.weather.files.finish import FileForm, finished
from controller.weather.files.finish import WeatherFile as WeatherFile
from controller.weather.files.ghcn import is_ghcn, read_ghcn
from controller.weather.files.gsod import is_gsod, read_gsod
from controller.weather.files.monthly_table import MONTH
from controller.weather.files.table import (
    BY_NAME,
    DATE,
    Header,
    Notes,
    any_text,
    bytes_of,
    numbered_lines,
    utf8_text,
)
from controller.weather.station_log.reader import is_station_log, read_station_log

# The values of `file_kind` in the garden file, and what each means.
KINDS = {
    "own": "a CSV of days with our column names",
    "station-log": "readings of a weather station, many a day",
    "ghcn-daily": "the daily climate network's .dly or its CSV of one element a line",
    "gsod": "the global summary of the day, CSV",
}
AUTO = "auto"


def read_weather(
    path: Path | str,
    *,
    kind: str = AUTO,
    wind_height_m: float = 2.0,
    clear_sky_mj_m2: ClearSky | None = None,
    timezone: str | None = None,
) -> WeatherFile:
    """Read days of weather from a file of any kind; "auto" finds the kind from the file itself.

    `clear_sky_mj_m2` is used to check the solar radiation. `timezone` is the garden's; a station's
    log needs it only around the change of the clocks.

    Raises
    ------
    WeatherFileError
        If there is no such file, it is not text, or it is not of a known kind, or not of `kind`.
    """
    path = Path(path)
    if kind not in (AUTO, *KINDS):
        raise WeatherFileError(f"file_kind: found {kind!r}; allowed are {_kinds()}")
    raw = bytes_of(path)
    if kind == AUTO:
        kind = _kind_of(any_text(raw, path), path)
    if kind == "own":
        return _own(
            utf8_text(raw, path), path, wind_height_m=wind_height_m, clear_sky=clear_sky_mj_m2
        )
    text = any_text(raw, path)
    if kind == "ghcn-daily":
        return read_ghcn(text, path, wind_height_m=wind_height_m, clear_sky_mj_m2=clear_sky_mj_m2)
    if kind == "gsod":
        return read_gsod(text, path, wind_height_m=wind_height_m, clear_sky_mj_m2=clear_sky_mj_m2)
    return read_station_log(
        text,
        path,
        wind_height_m=wind_height_m,
        clear_sky_mj_m2=clear_sky_mj_m2,
        timezone=timezone,
    )


def _own(text: str, path: Path, *, wind_height_m: float, clear_sky: ClearSky | None) -> WeatherFile:
    lines = numbered_lines(text)
    if not lines:
        raise WeatherFileError(f"{path}: nothing in it; the first line must name the columns")
    notes = Notes(file=path.name)
    header = Header.of(*lines[0], path=path, notes=notes)
    rows = [
        row
        for number, line in lines[1:]
        if (row := header.row(number, line, path.name, wind_height_m, notes)) is not None
    ]
    form = FileForm(kind="own", names=header.names, own_units=True, header_line=lines[0][0])
    return finished(rows, notes, form, clear_sky)


def _kind_of(text: str, path: Path) -> str:
    """The kind of this file; WeatherFileError if it is none."""
    lines = numbered_lines(text)
    if not lines:
        raise WeatherFileError(f"{path}: nothing in it; the first line must name the columns")
    if is_ghcn(lines):
        return "ghcn-daily"
    if is_gsod(lines):
        return "gsod"
    if _is_own(lines[0][1]):
        return "own"
    if is_station_log(text):
        return "station-log"
    if DATE in _names(lines[0][1]):
        return "own"  # its reader reports best what is wrong with the columns
    if MONTH in _names(lines[0][1]):
        raise WeatherFileError(
            f"{path}: a table of months, not of days; name it as climate_table in [weather] of the "
            "garden file"
        )
    raise WeatherFileError(
        f"{path}: what kind of weather file this is does not show in it; set file_kind in "
        f"[weather] of the garden file to one of {_kinds()}"
    )


def _is_own(header: str) -> bool:
    names = _names(header)
    return DATE in names and any(name in BY_NAME for name in names)


def _names(header: str) -> list[str]:
    separator = next((s for s in (";", "\t") if s in header), ",")
    return [name.strip().strip('"').lower() for name in header.split(separator)]


def _kinds() -> str:
    return "; ".join(f'"{kind}" ({what})' for kind, what in KINDS.items())
