"""Weather for tests, all of it invented."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from controller.weather.day import WeatherDay
from controller.weather.files.reader import WeatherFile, read_weather

FIRST = date(2031, 6, 1)


def read(folder: Path, text: str, **options: object) -> WeatherFile:
    """What the reader makes of a file with this text."""
    path = folder / "station.csv"
    path.write_bytes(text.encode("utf-8"))
    return read_weather(path, kind="own", **options)  # type: ignore[arg-type]


def days(count: int, **values: float) -> list[WeatherDay]:
    """That many days from `FIRST` on, all alike."""
    return [WeatherDay(day=FIRST + timedelta(days=n), **values) for n in range(count)]  # type: ignore[arg-type]
