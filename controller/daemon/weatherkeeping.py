"""The weather as the steward has it: asked for, taken in, kept, and handed to a plan."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import date

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.sensors import Tell
from controller.daemon.weatherdesk import WeatherAnswer
from controller.errors import LogbookError
from controller.garden.model import Garden
from controller.timetable.gather import best_normals, order_of
from controller.timetable.normals import Normals
from controller.timetable.onweather import Weather
from controller.weather.day import WeatherDay

WAIT_FOR_WEATHER_S = 600.0  # at the start, before a plan is made without any; our choice
_LOG = logging.getLogger("rowgate.steward")


class WeatherKeeping:
    """Every row of weather known, the last answer of the sources, and what is normal here."""

    def __init__(self, books: Books, clock: Clock, tell: Tell, today: Callable[[], date]) -> None:
        self._books, self._clock, self._tell, self._today = books, clock, tell, today
        self.rows: dict[tuple[date, str], WeatherDay] = {}
        self.answer: WeatherAnswer | None = None
        self.came_mono_s: float | None = None  # when a source last gave days
        self._fault: date | None = None
        self._started_mono_s = clock.mono_s()
        self._normals: Normals | None = None
        self._normals_of: date | None = None

    def take_up(self) -> None:
        """What the logbook kept."""
        self.rows = {(w.day, w.source): w for w in self._books.weather_rows()}

    def came(self, answer: WeatherAnswer) -> bool:
        """Take in what the source said, and keep what is usable; whether to plan anew."""
        came_first = self.answer is None
        self.answer, self._normals_of = answer, None
        self._tell_of(answer)
        if answer.days:
            self.came_mono_s = self._clock.mono_s()
            self.rows |= {(w.day, w.source): w for w in answer.days}
            try:
                self._books.keep_weather(answer.days)
            except LogbookError as fault:
                _LOG.error("weather not kept: %s", fault)
        return bool(answer.days) or came_first

    @property
    def is_waited_for(self) -> bool:
        """Whether nothing is known of the weather and the sources may still speak."""
        return (
            not self.rows
            and self.answer is None
            and self._clock.mono_s() - self._started_mono_s < WAIT_FOR_WEATHER_S
        )

    def for_plan(self, garden: Garden, today: date) -> Weather:
        """Every row known, for the ladder; the kept rows' own normals where no file has any."""
        rows, order = tuple(self.rows.values()), order_of(garden)
        if self._normals_of != today:
            self._normals_of = today
            told = None if self.answer is None else self.answer.normals
            self._normals = best_normals(told, rows, garden=garden, order=order, today=today)
        return Weather(
            rows=rows,
            order=order,
            normals=self._normals,
            remarks=self.answer.remarks if self.answer else (),
        )

    def _tell_of(self, answer: WeatherAnswer) -> None:
        """Say that a source fell silent, or speaks again; a long silence once a day."""
        was, day = self._fault, self._today()
        self._fault = day if answer.failed else None
        if answer.failed and was != day:
            self._tell("weather", "; ".join(answer.remarks) or f"{answer.source} gave nothing")
        elif was is not None and not answer.failed:
            self._tell("weather", f"{answer.source} answers again")
