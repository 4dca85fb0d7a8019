"""The same plot under the same weather in hand-turned time, where nothing ever goes wrong."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from support.daemon import World

from controller.daemon.weather import GardenWeather, WeatherAnswer
from controller.garden.model import Garden
from process.season import BEGINS, garden_of


class Twin(World):
    """A world that asks the garden's own weather file."""

    def __init__(self, folder: Path, *, garden: str, weather: str) -> None:
        (folder / "weather.csv").write_text(weather, encoding="utf-8")
        super().__init__(folder, garden_of(garden), now_utc=BEGINS, begun_days=None)

    def _fetch(self, garden: Garden) -> WeatherAnswer:
        return GardenWeather(self.folder, self.folder / "cache", self.clock)(garden)


def undisturbed_l(
    folder: Path, *, garden: str, weather: str, until: datetime
) -> Mapping[int, float]:
    """Litres by line up to that moment. [L]"""
    twin = Twin(folder, garden=garden, weather=weather)
    twin.run_until(until)
    lines = {z.name: z.valve.relay_line or 0 for z in twin.engine.garden.zones}
    found = dict.fromkeys(lines.values(), 0.0)
    for (zone, _), litres in twin.litres().items():
        found[lines[zone]] += litres
    twin.kill()
    return found
