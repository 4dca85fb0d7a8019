"""Thinning and the log beside the file: what goes, what never goes, when, and how much at once."""

from __future__ import annotations

import sqlite3
import threading
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.logbook import DAY, a_hand_pulse, a_ledger_day, a_pulse, close

from controller.demand.records import Observation
from controller.errors import LogbookError
from controller.logbook import maintenance
from controller.logbook.files import LONGEST_LOG_BYTES
from controller.logbook.logbook import Logbook
from controller.logbook.maintenance import AT_ONCE, EVERY_S, FIRST_AFTER_S, Maintenance, open_book
from controller.logbook.queries import Questions
from controller.logbook.records import HowKnown
from controller.logbook.schema import Book
from controller.weather.day import WeatherDay

LONG_AGO = DAY - timedelta(days=1000)


def measured(day: date, **more: Any) -> WeatherDay:
    """A day a station measured in full."""
    values: dict[str, Any] = {
        "tmin_c": 11.0,
        "tmax_c": 24.0,
        "rh_mean_pct": 70.0,
        "wind_m_s": 1.5,
        "solar_mj_m2": 20.0,
        "rain_mm": 0.0,
    }
    return WeatherDay(day=day, source="own.csv", measured=True, **(values | more))


def foretold(day: date) -> WeatherDay:
    """What a service had said of it."""
    return WeatherDay(
        day=day, source="a service forecast", measured=False, tmin_c=10.0, tmax_c=25.0, wind_m_s=2.0
    )


def water(logbook: Logbook, day: date, zone: str = "a", slot: int = 1) -> None:
    """A pulse that gave five litres."""
    number = logbook.intend(a_pulse(slot, zone, day=day))
    logbook.opened(number, 1000.0)
    close(logbook, number, 60.0, 5.0, HowKnown.TIMED)


def tend(path: Path, clock: HandClock) -> int:
    """Open the logbook as the writer does, and let it be tended to the end; in how many steps."""
    book = open_book(path, clock, wait_s=1.0)
    tending = Maintenance(clock)
    assert not tending.step(book)  # not before its time
    clock.advance(FIRST_AFTER_S)
    steps = 1
    while tending.step(book):
        steps += 1
    book.close()
    return steps


def sources(path: Path, day: date) -> list[str]:
    with Questions(path) as ask:
        return [row.source for row in ask.weather_rows(day, day)]


def test_a_forecast_is_dropped_weeks_after_a_day_that_was_measured_in_full(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    old, fresh = DAY - timedelta(weeks=8, days=1), DAY - timedelta(weeks=8)
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather(w for day in (old, fresh) for w in (measured(day), foretold(day)))
    tend(path, clock)
    assert sources(path, old) == ["own.csv"]
    assert sorted(sources(path, fresh)) == ["a service forecast", "own.csv"]


@pytest.mark.parametrize(
    "lacking",
    ["tmin_c", "tmax_c", "rh_mean_pct", "wind_m_s", "solar_mj_m2"],
)
def test_a_forecast_that_lends_a_measured_day_something_stays(tmp_path: Path, lacking: str) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather([measured(LONG_AGO, **{lacking: None}), foretold(LONG_AGO)])
    tend(path, clock)
    assert len(sources(path, LONG_AGO)) == 2


def test_a_models_day_makes_a_forecast_spare_and_is_never_thinned(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    model = replace(measured(LONG_AGO), source="a service model", measured=False, modelled=True)
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather([model, foretold(LONG_AGO)])
    tend(path, clock)
    assert sources(path, LONG_AGO) == ["a service model"]


def test_a_forecast_of_a_day_that_nobody_measured_stays(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather([foretold(LONG_AGO)])
    tend(path, clock)
    assert sources(path, LONG_AGO) == ["a service forecast"]


def test_water_given_the_ledger_and_what_people_wrote_stay_for_ever(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    clock.step_wall(-1000 * 86_400.0)
    with Logbook(path, clock) as logbook:
        water(logbook, LONG_AGO)
        logbook.hand_watering("b", LONG_AGO, 12.0, None, "Odile", clock.now_utc())
        logbook.keep_ledger([a_ledger_day(day=LONG_AGO)])
        logbook.keep_weather([measured(LONG_AGO)])
        logbook.rain_gauge(LONG_AGO, 4.0)
        logbook.note("the far end drips")
        logbook.hold(clock.now_utc(), clock.now_utc() + timedelta(days=1))
        logbook.keep_measurement({"kind": "cups"})
        logbook.keep_fit({"k": 1.0}, [1])
        logbook.observe(Observation(zone="a", day=LONG_AGO, event="full"))
        logbook.happening("walk", "three valves, all well")
        logbook.happening("logbook damaged", "kept as another file")
    clock.step_wall(1000 * 86_400.0)
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
    before = _counts(path)
    tend(path, clock)
    after = _counts(path)
    assert after.pop("tended") == 1 and before.pop("tended") == 0
    assert after == before
    assert before["pulses"] == 3 and before["happenings"] == 2


def _counts(path: Path) -> dict[str, int]:
    with sqlite3.connect(path) as connection:
        names = [
            n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
        ]
        return {
            name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
            for name in names
        }


def test_pulses_that_gave_nothing_and_faults_go_after_two_years(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    clock.step_wall(-1000 * 86_400.0)
    with Logbook(path, clock) as logbook:
        logbook.plan_day(LONG_AGO, [a_pulse(1, day=LONG_AGO), a_hand_pulse(2, day=LONG_AGO)])
        logbook.missed(a_hand_pulse(2, day=LONG_AGO).key, "its day is over")
        logbook.refused(logbook.intend(a_pulse(3, day=LONG_AGO)), "the line is barred")
        logbook.happening("weather", "no answer")
    clock.step_wall(1000 * 86_400.0)
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.missed(logbook.intend(a_pulse(2)), "its time went by")
        logbook.happening("weather", "no answer again")
    tend(path, clock)
    with Questions(path) as ask:
        assert [(p.day, p.state.value) for p in ask.pulses(date.min, date.max)] == [
            (DAY, "closed"),
            (DAY, "missed"),
        ]
        assert [event.words for event in ask.happenings()] == ["no answer again"]


def test_a_fault_that_repeats_does_not_fill_the_card(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(maintenance, "MOST_HAPPENINGS", 30)
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        logbook.happening("walk", "all well")
        for number in range(50):
            logbook.happening("clock", f"jumped, {number}")
    tend(path, clock)
    with Questions(path) as ask:
        words = [event.words for event in ask.happenings(1000)]
    assert words[:2] == ["jumped, 49", "jumped, 48"]
    assert words[-2:] == ["jumped, 20", "all well"]
    assert len(words) == 31


def test_a_clock_that_is_years_ahead_thins_nothing(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather([measured(DAY), foretold(DAY)])
        logbook.missed(logbook.intend(a_pulse(2)), "its time went by")
    clock.step_wall(20 * 365 * 86_400.0)
    tend(path, clock)
    assert len(sources(path, DAY)) == 2
    assert _counts(path)["pulses"] == 2


def test_many_rows_go_a_few_at_a_time(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    days = [LONG_AGO - timedelta(days=n) for n in range(2 * AT_ONCE + 7)]
    with Logbook(path, clock) as logbook:
        water(logbook, DAY)
        logbook.keep_weather(w for day in days for w in (measured(day), foretold(day)))
    # A look at all rows, three bites of forecasts, one look by each other rule, and the end.
    assert tend(path, clock) == 1 + 3 + 4 + 1
    with Questions(path) as ask:
        assert {row.source for row in ask.weather_rows()} == {"own.csv"}


def _watched(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    thinned: list[str] = []
    plain = Maintenance._thin

    def thin(self: Maintenance, book: Book, rule: maintenance.Rule) -> None:
        thinned.append(rule.what)
        plain(self, book, rule)

    monkeypatch.setattr(Maintenance, "_thin", thin)
    return thinned


def test_it_is_done_once_a_day_after_a_row_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, clock, finished = tmp_path / "logbook.db", HandClock(), threading.Semaphore(0)
    plain = Maintenance._finish

    def finish(self: Maintenance, book: Book) -> None:
        plain(self, book)
        finished.release()

    monkeypatch.setattr(Maintenance, "_finish", finish)
    with Logbook(path, clock) as logbook:
        for wait_s, tended in (
            (1.0, False),
            (FIRST_AFTER_S, True),
            (3600.0, False),
            (EVERY_S, True),
            (60.0, False),
        ):
            clock.advance(wait_s)
            logbook.note("a row")
            assert finished.acquire(timeout=30.0 if tended else 0.05) is tended


def test_a_daemon_that_starts_often_tends_once_a_day_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    Logbook(path, clock).close()
    tend(path, clock)
    thinned = _watched(monkeypatch)
    assert tend(path, clock) == 1 and thinned == []
    clock.advance(EVERY_S)
    tend(path, clock)
    assert len(thinned) == len(maintenance.RULES)


def test_a_short_command_tends_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    thinned = _watched(monkeypatch)
    with Logbook(tmp_path / "logbook.db", HandClock()) as logbook:
        logbook.note("one row")
    assert thinned == []


def test_whoever_writes_comes_before_the_tending(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    days = [LONG_AGO - timedelta(days=n) for n in range(5 * AT_ONCE)]
    with Logbook(path, clock, timeout_s=2.0) as logbook:
        water(logbook, DAY)
        logbook.keep_weather(w for day in days for w in (measured(day), foretold(day)))
        clock.advance(FIRST_AFTER_S)
        for slot in range(2, 12):
            water(logbook, DAY, slot=slot)  # raises where the tending is in its way
    tend(path, clock)
    with Questions(path) as ask:
        assert not [row for row in ask.weather_rows() if not row.measured]
        assert ask.litres_by_zone_day() == {("a", DAY): 55.0}


def log_bytes(path: Path) -> int:
    beside = path.with_name(path.name + "-wal")
    return beside.stat().st_size if beside.exists() else 0


def test_the_log_beside_the_file_is_cut_at_the_start_and_when_tended(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        assert log_bytes(path) == 0
        logbook.note("x" * 50_000)
        assert log_bytes(path) > 50_000
        with Logbook(path, clock):  # another program opens it
            assert log_bytes(path) == 0
        logbook.note("x" * 50_000)
        clock.advance(FIRST_AFTER_S)
        logbook.note("now it is tended")
    assert log_bytes(path) == 0


def test_the_log_beside_the_file_stays_within_its_bound(tmp_path: Path) -> None:
    path = tmp_path / "logbook.db"
    most = 0
    with Logbook(path, HandClock()) as logbook:
        for _ in range(40):
            logbook.note("x" * 400_000)
            most = max(most, log_bytes(path))
    # The bound, and one transaction's pages over it.
    assert 1_000_000 < most < LONGEST_LOG_BYTES + 1_000_000


def test_a_reader_in_the_way_puts_the_cutting_off_and_nobody_waits(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook:
        logbook.note("x" * 50_000)
        reader = sqlite3.connect(path, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM notes").fetchall()
        logbook.note("y")
        open_book(path, clock, wait_s=30.0).close()  # its wait is not taken
        assert log_bytes(path) > 0
        reader.close()


def test_damage_shown_in_use_is_set_aside_at_the_next_writing(tmp_path: Path) -> None:
    path, clock = tmp_path / "logbook.db", HandClock()
    with Logbook(path, clock) as logbook, Questions(path) as ask:
        for slot in range(1, 40):
            logbook.intend(a_pulse(slot))
        assert len(ask.pulses(DAY, DAY)) == 39
        # Another program writes: what ours holds in memory is out of date. Then all is in the file.
        with Logbook(path, clock) as other:
            other.note("words")
        open_book(path, clock, wait_s=1.0).close()
        size = path.stat().st_size
        with path.open("r+b") as file:  # a card that loses its pages, the first kept
            file.seek(4096)
            file.write(b"\xff" * (size - 4096))
        assert not logbook.replaced
        with pytest.raises(LogbookError, match="damaged"):
            logbook.intend(a_pulse(50))
        number = logbook.intend(a_pulse(50))
        assert logbook.replaced and logbook.set_aside is not None
        # A number of the lost logbook is nobody's in the new one.
        assert number > 10**9
        for old in range(1, 40):
            with pytest.raises(LogbookError, match="no pulse has the number"):
                close(logbook, old, 60.0, 5.0, HowKnown.TIMED)
        # A reader that was open before sees the new one.
        assert [p.key for p in ask.pulses(DAY, DAY)] == [a_pulse(50).key]
        assert [event.kind for event in ask.happenings()] == ["logbook damaged"]
    assert len(list(tmp_path.glob("logbook-damaged-*.db"))) == 1
