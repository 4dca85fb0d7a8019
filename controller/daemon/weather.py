"""The daemon's weather: fetched in a thread of its own, kept, and given to a plan.

An answer always comes. When no source gives days, it says why, and the plan uses what the logbook
has kept.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Protocol

from controller.clock import Clock
from controller.daemon.flow.input_pins import Report
from controller.daemon.journal import Journal
from controller.errors import LogbookError
from controller.garden.model import Garden
from controller.inputs.climatology import Normals
from controller.inputs.gather import Gatherer, SilentSource, best_normals, order_of
from controller.messages import verbatim
from controller.timetable.plan import Weather
from controller.weather.day import WeatherDay
from controller.wording.say import say

# All sources of a garden, each asked as often as it may be, take a third of this; our choice.
GIVEN_UP_AFTER_S = 1800.0
MOST_GIVEN_UP = 3  # threads that may hang at once
_LOG = logging.getLogger("rowgate.weather")


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherAnswer:
    """The answer of the sources; without days when none gave any.

    `normals` are those of the garden's own file of years.
    """

    days: tuple[WeatherDay, ...]
    source: str
    asked_utc: datetime
    remarks: tuple[str, ...] = ()
    failed: bool = False
    credit: str = ""  # to be shown wherever the weather shows
    normals: Normals | None = None
    silent: tuple[SilentSource, ...] = ()


Fetch = Callable[[Garden], WeatherAnswer]


class WeatherFetcher(Protocol):
    """Fetches weather, and calls back with the answer, at once or later."""

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask the garden's sources; while an answer is under way, ask nothing more."""


class ThreadFetcher:
    """Answers later, from a daemon thread that lives as long as one question.

    A question that has no answer for too long is given up, and the answer says so. What still
    arrives later is dropped.
    """

    def __init__(self, fetch: Fetch, clock: Clock) -> None:
        self._fetch, self._clock = fetch, clock
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._given_up: list[threading.Thread] = []
        self._began_mono_s = clock.mono_s()
        self._began_utc = clock.now_utc()

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask in a thread; `reply` is called there and must only pass the answer on."""
        gave_up: WeatherAnswer | None = None
        with self._lock:
            if self._thread is not None:
                if self._clock.mono_s() - self._began_mono_s < GIVEN_UP_AFTER_S:
                    return
                self._given_up.append(self._thread)
                self._thread = None
                gave_up = self._nothing()
            self._given_up = [t for t in self._given_up if t.is_alive()]
            may_ask = len(self._given_up) < MOST_GIVEN_UP
            if not may_ask:
                gave_up = self._nothing()
        if gave_up is not None:  # before the next question, whose answer is the newer one
            _LOG.error("%s", gave_up.remarks[0])
            reply(gave_up)
        with self._lock:
            if may_ask and self._thread is None:
                self._begin(garden, reply)

    def _begin(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        self._began_mono_s, self._began_utc = self._clock.mono_s(), self._clock.now_utc()
        thread = threading.Thread(
            target=self._run, args=(garden, reply), name="weather", daemon=True
        )
        self._thread = thread
        try:
            thread.start()
        except RuntimeError as fault:  # the next asking may find one
            self._thread = None
            _LOG.error("the weather is not asked for: %s", fault)

    def _nothing(self) -> WeatherAnswer:
        minutes = (self._clock.mono_s() - self._began_mono_s) / 60.0
        why = f"the asking for weather hangs; it is given up after {minutes:.0f} min"
        since = SilentSource(
            name="all sources", since_utc=self._began_utc, heard=False, why=verbatim(why)
        )
        return WeatherAnswer(
            days=(),
            source="none",
            asked_utc=self._clock.now_utc(),
            remarks=(why,),
            failed=True,
            silent=(since,),
        )

    def _run(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        answer: WeatherAnswer | None = None
        try:
            answer = self._fetch(garden)
        except Exception:  # noqa: BLE001 - a thread of its own; the log gets all of it
            _LOG.exception("the weather source")
        with self._lock:
            if self._thread is not threading.current_thread():
                return  # given up
            self._thread = None
        if answer is not None:
            reply(answer)


WAIT_FOR_WEATHER_S = 600.0  # at the start, before a plan is made without any; our choice


class WeatherStore:
    """Every weather row, the last answer of the sources, and the normals of this place."""

    def __init__(
        self, journal: Journal, clock: Clock, report: Report, today: Callable[[], date]
    ) -> None:
        self._journal, self._clock, self._report, self._today = journal, clock, report, today
        self.rows: dict[tuple[date, str], WeatherDay] = {}
        self.answer: WeatherAnswer | None = None
        self.received_mono_s: float | None = None  # when a source last gave days
        self._fault: date | None = None
        self._started_mono_s = clock.mono_s()
        self._normals: Normals | None = None
        self._normals_of: date | None = None

    def load(self) -> None:
        """Read what the logbook kept."""
        self.rows = {(w.day, w.source): w for w in self._journal.weather_rows()}

    def take_in(self, answer: WeatherAnswer) -> bool:
        """Take in an answer, and keep what is usable; whether to plan anew."""
        came_first = self.answer is None
        self.answer, self._normals_of = answer, None
        self._report_silence(answer)
        if answer.days:
            self.received_mono_s = self._clock.mono_s()
            self.rows |= {(w.day, w.source): w for w in answer.days}
            try:
                self._journal.keep_weather(answer.days)
            except LogbookError as fault:
                _LOG.error("weather not kept: %s", fault)
        return bool(answer.days) or came_first

    @property
    def is_waited_for(self) -> bool:
        """Whether there is no weather yet and the sources may still answer."""
        return (
            not self.rows
            and self.answer is None
            and self._clock.mono_s() - self._started_mono_s < WAIT_FOR_WEATHER_S
        )

    def for_plan(self, garden: Garden, today: date) -> Weather:
        """Every row, for a plan; the normals of the kept rows where no file has any."""
        rows, order = tuple(self.rows.values()), order_of(garden)
        if self._normals_of != today:
            self._normals_of = today
            from_file = None if self.answer is None else self.answer.normals
            self._normals = best_normals(from_file, rows, garden=garden, order=order, today=today)
        return Weather(
            rows=rows,
            order=order,
            normals=self._normals,
            remarks=tuple(map(verbatim, self.answer.remarks)) if self.answer else (),
        )

    def _report_silence(self, answer: WeatherAnswer) -> None:
        """Report that the sources are silent, or answer again; a long silence once a day."""
        was, day = self._fault, self._today()
        self._fault = day if answer.failed else None
        if answer.failed and was != day:
            self._report("weather", "; ".join(answer.remarks) or f"{answer.source} gave nothing")
        elif was is not None and not answer.failed:
            self._report("weather", f"{answer.source} answers again")


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
