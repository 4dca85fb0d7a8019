"""Writes invented days in the shapes of the archives' files, for tests that read them back."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

from controller.weather.files.reader import WeatherFile, read_weather

STATION = "XX000000001"  # of no country
# (day, element) to (value in the format's unit, measurement flag, quality flag).
Elements = Mapping[tuple[date, str], tuple[int, str, str]]


def read_as(folder: Path, text: str, name: str = "given.csv", **options: object) -> WeatherFile:
    """What the reader makes of a file with this text."""
    path = folder / name
    path.write_bytes(text.encode("utf-8"))
    return read_weather(path, **options)  # type: ignore[arg-type]


def dly(values: Elements, station: str = STATION) -> str:
    """Fixed width: station, year, month, element, 31 times value and three flags."""
    lines = []
    for year, month, element in sorted({(d.year, d.month, e) for d, e in values}):
        cells = []
        for day in range(1, 32):
            there = day <= monthrange(year, month)[1]
            key = (date(year, month, day), element) if there else None
            value, measure, quality = values.get(key, (-9999, "", "")) if key else (-9999, "", "")
            cells.append(f"{value:5d}{measure:1}{quality:1}{'' if value == -9999 else 'W':1}")
        lines.append(f"{station}{year:04d}{month:02d}{element}{''.join(cells)}")
    return "\n".join(lines) + "\n"


def element_csv(values: Elements, station: str = STATION, hour: str = "") -> str:
    """One element a line: station, date, element, value, three flags, hour of the reading."""
    return "".join(
        f"{station},{day:%Y%m%d},{element},{value},{measure},{quality},W,{hour}\n"
        for (day, element), (value, measure, quality) in sorted(values.items())
    )


GSOD_HEADER = (
    "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TEMP,TEMP_ATTRIBUTES,DEWP,DEWP_ATTRIBUTES,"
    "SLP,SLP_ATTRIBUTES,STP,STP_ATTRIBUTES,VISIB,VISIB_ATTRIBUTES,WDSP,WDSP_ATTRIBUTES,MXSPD,GUST,"
    "MAX,MAX_ATTRIBUTES,MIN,MIN_ATTRIBUTES,PRCP,PRCP_ATTRIBUTES,SNDP,FRSHTT"
)


def gsod_line(day: date | str, station: str = "00000000001", **cells: str) -> str:
    """One day with ordinary figures, but for the cells given."""
    row = {
        "STATION": station, "DATE": str(day), "LATITUDE": "40.1", "LONGITUDE": "-4.2",
        "ELEVATION": "226.0", "NAME": '"INVENTED, XX"', "TEMP": "  71.6", "TEMP_ATTRIBUTES": "24",
        "DEWP": "  50.0", "DEWP_ATTRIBUTES": "24", "SLP": "9999.9", "SLP_ATTRIBUTES": " 0",
        "STP": "999.9", "STP_ATTRIBUTES": " 0", "VISIB": "999.9", "VISIB_ATTRIBUTES": " 0",
        "WDSP": " 10.0", "WDSP_ATTRIBUTES": "24", "MXSPD": " 15.9", "GUST": "999.9",
        "MAX": "  86.0", "MAX_ATTRIBUTES": " ", "MIN": "  59.0", "MIN_ATTRIBUTES": " ",
        "PRCP": " 0.50", "PRCP_ATTRIBUTES": "G", "SNDP": "999.9", "FRSHTT": "010000",
    } | cells  # fmt: skip
    return ",".join(row[name] for name in GSOD_HEADER.split(","))


def gsod(lines: Iterable[str]) -> str:
    """A file of those lines under the format's header."""
    return "\n".join([GSOD_HEADER, *lines]) + "\n"


def log(
    heading: str, rows: Iterable[tuple[datetime, Sequence[object]]], stamp: str = "%Y-%m-%d %H:%M"
) -> str:
    """A station's log between commas: a time, and figures as they print."""
    body = (",".join([time.strftime(stamp), *map(str, cells)]) for time, cells in rows)
    return "\n".join([heading, *body]) + "\n"
