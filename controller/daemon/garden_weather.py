"""Asks the weather sources of a garden file for the daemon."""

from __future__ import annotations

from pathlib import Path

from controller.clock import Clock
from controller.daemon.weather import WeatherAnswer
from controller.garden.model import Garden
from controller.inputs.gather import Gatherer
from controller.wording.say import say

FORECAST_DAYS = 3


class GardenWeather:
    """Asks all sources of the garden file; a fault becomes an answer without days."""

    def __init__(self, base_dir: Path, cache_dir: Path, clock: Clock) -> None:
        self._clock = clock
        self._gatherer = Gatherer(base_dir, cache_dir, clock)

    def __call__(self, garden: Garden) -> WeatherAnswer:
        """Ask the sources."""
        found = self._gatherer.gather(garden, forecast_days=FORECAST_DAYS)
        remarks = tuple(say(remark, us=garden.us_units) for remark in found.remarks)
        if not found.order:
            remarks = ("the garden file names no weather source", *remarks)
        return WeatherAnswer(
            days=found.rows,
            source=", ".join(found.order) or "none",
            asked_utc=self._clock.now_utc(),
            remarks=remarks,
            failed=found.failed,
            credit="; ".join(found.credits),
            normals=found.normals,
            silent=found.silent,
        )
