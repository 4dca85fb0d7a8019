"""Switches and the tipping gauge: what they keep shut, what they write, what a restart loses."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock
from support.daemon import World
from support.daemon_faults import Locked, a_slow_garden
from support.pins import HandInputs

from controller.daemon.flow.input_pins import REPORT_EVERY_S, Switches, TippingGauge
from controller.errors import LogbookError, ValveFault
from controller.garden.model import Sensor, SensorKind
from controller.logbook.logbook import Logbook
from controller.logbook.queries import PIN_GAUGE, WATCHED_H, Questions
from controller.logbook.records import PulseState

pytestmark = pytest.mark.usefixtures("seldom_looks")

START, NOON = datetime(2031, 6, 1, 2, 0, tzinfo=UTC), datetime(2031, 6, 1, 10, 0, tzinfo=UTC)
DAY = date(2031, 6, 1)
PIN = 6
RAIN = Sensor(kind=SensorKind.RAIN_SWITCH, line=PIN)
FREEZE = Sensor(kind=SensorKind.FREEZE_SWITCH, line=PIN + 1)
GAUGE = Sensor(kind=SensorKind.RAIN_GAUGE, line=PIN + 2, mm_per_tip=0.2)


class SensingWorld(World):
    logbook_timeout_s = 0.5

    def __init__(self, folder: Path, *sensors: Sensor) -> None:
        super().__init__(
            folder,
            replace(a_slow_garden(), sensors=sensors),
            now_utc=START,
            inputs=HandInputs(),
        )

    def restart(self, **more: object) -> None:
        self.inputs = HandInputs()
        super().restart(**more)  # type: ignore[arg-type]

    def put(self, line: int, active: bool) -> None:
        assert self.inputs is not None
        self.inputs.put(line, active, self.clock.mono_s())

    def tip(self, times: int) -> None:
        for _ in range(times):
            self.put(GAUGE.line, True)
            self.clock.advance(0.2)
            self.put(GAUGE.line, False)
            self.clock.advance(0.2)

    def gauge(self) -> dict[date, float]:
        with Questions(self.logbook.path) as ask:
            return ask.gauge_by_day()

    def gauge_rows(self) -> int:
        with Questions(self.logbook.path) as ask:
            return len(ask.readings(PIN_GAUGE))

    def given(self) -> list[float]:
        return [r.litres for r in self.pulses() if r.state is PulseState.CLOSED]


# --- switches --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sensor", "words"), [(RAIN, "the rain switch is wet"), (FREEZE, "the freeze switch is cold")]
)
def test_nothing_opens_by_plan_while_a_switch_says_so(
    tmp_path: Path, sensor: Sensor, words: str
) -> None:
    world = SensingWorld(tmp_path, sensor)
    world.put(sensor.line, True)
    world.run_until(NOON)
    assert world.given() == []
    assert world.ask(ask="status")["shut_by"] == words
    assert ("sensor", f"{words}: nothing opens by plan") in world.happenings()
    assert world.ask(ask="open", zone="a", seconds=60)["ok"]  # a person may


def test_water_comes_once_the_switch_is_dry_and_the_window_still_open(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, RAIN)
    world.put(PIN, True)
    dry_again = datetime(2031, 6, 1, 5, 0, tzinfo=UTC)
    due = sum(p.opens_utc < dry_again for p in world.engine.pending)
    world.run_until(dry_again)
    assert world.given() == []
    world.put(PIN, False)
    world.run_until(NOON)
    assert sum(world.given()) > 20.0
    missed = [k for k, _ in world.happenings()].count("missed")
    assert missed == due  # each once, when it was too late for it, and its water planned anew
    assert ("sensor", "the switches let water again") in world.happenings()


def test_what_is_open_when_it_starts_to_rain_runs_to_its_deadline(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, RAIN)
    world.run_until_open()
    running = world.openings.running["a"]
    world.put(PIN, True)
    world.run_for(running.deadline_mono_s - world.clock.mono_s() + 1.0)
    (row, *_) = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert row.open_s == approx(row.planned_open_s, abs=0.1)


def test_a_switch_that_cannot_be_read_keeps_nothing_shut_and_is_told_of(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, RAIN)
    assert world.inputs is not None
    world.inputs.broken.add(PIN)
    world.run_until(NOON)
    assert world.given()
    assert any("cannot be read" in words for kind, words in world.happenings() if kind == "sensor")
    assert world.ask(ask="status")["inputs_unread"]


def test_a_flapping_switch_writes_a_bounded_number_of_rows() -> None:
    clock, told, level = HandClock(), list[str](), [False]
    switches = Switches([RAIN], lambda _: level[0], clock, lambda kind, words: told.append(words))
    for _ in range(6 * 3600):
        level[0] = not level[0]
        clock.advance(1.0)
        switches.look()
    assert len(told) <= 6 * 3600 / REPORT_EVERY_S + 1


def test_both_switches_are_named() -> None:
    switches = Switches([RAIN, FREEZE], lambda _: True, HandClock(), lambda *_: None)
    switches.look()
    assert switches.why_shut == "the rain switch is wet and the freeze switch is cold"


def test_an_unread_switch_is_no_reason_to_keep_shut() -> None:
    def unread(_: int) -> bool:
        raise ValveFault("line 6 cannot be read")

    switches = Switches([RAIN], unread, HandClock(), lambda *_: None)
    switches.look()
    assert switches.why_shut == ""
    assert switches.faults


# --- the gauge -------------------------------------------------------------------------------


def test_tips_become_millimetres_of_the_gardens_own_day(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    world.run_until(datetime(2031, 6, 1, 21, 50, tzinfo=UTC))  # 23:50 in the garden
    world.tip(10)
    world.run_until(datetime(2031, 6, 1, 22, 20, tzinfo=UTC))
    world.tip(5)
    world.run_until(datetime(2031, 6, 2, 22, 30, tzinfo=UTC))
    assert world.gauge() == {DAY + timedelta(days=1): approx(1.0)}  # the first was not whole
    with Questions(world.logbook.path) as ask:
        sums = ask._pin_sums(PIN_GAUGE)
    assert sums[DAY] == approx(2.0)


def test_rain_that_has_fallen_today_counts_before_the_day_is_over(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    world.run_for(600.0)
    assert world.gauge() == {}  # a dry hour says nothing of the day
    assert world.engine.timetable is not None
    before = world.engine.timetable.doses[0].net_mm
    world.tip(60)
    world.run_for(400.0)
    # WORKED: 60 tips of 0.2 mm.
    assert world.gauge() == {DAY: approx(12.0)}
    world.run_until(NOON)
    assert world.engine.timetable is not None
    (dose, *_) = world.engine.timetable.doses
    # It fell on the ground that the line wets as on the rest, and the dose is for the first alone.
    share = world.engine.timetable.ledger[-1].wetted_fraction
    assert (dose.day, dose.net_mm) == (DAY, approx(before - 12.0 * share))
    assert sum(world.given()) == approx(dose.litres, rel=0.01)


def test_a_dry_day_that_was_watched_is_known_to_be_dry(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    world.run_until(datetime(2031, 6, 2, 22, 30, tzinfo=UTC))
    assert world.gauge() == {DAY + timedelta(days=1): 0.0}


def test_a_kill_loses_five_minutes_of_rain_at_most(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    for _ in range(30):
        world.tip(1)
        world.run_for(60.0)
    world.restart()
    world.run_for(600.0)
    world.tip(1)
    world.run_for(600.0)
    (mm,) = world.gauge().values()
    assert 31 * 0.2 - 6 * 0.2 <= mm <= 31 * 0.2 + 1e-9
    assert world.gauge_rows() == 1


def test_a_wet_day_is_a_row_a_day(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    for _ in range(24 * 12):
        world.tip(3)
        world.run_for(300.0 - 1.2)
    assert world.gauge_rows() <= 2
    with Questions(world.logbook.path) as ask:
        assert sum(ask._pin_sums(PIN_GAUGE).values()) == approx(24 * 12 * 3 * 0.2, abs=1.3)


def test_rain_is_kept_while_the_logbook_is_locked(tmp_path: Path) -> None:
    world = SensingWorld(tmp_path, GAUGE)
    with Locked(world.logbook.path):
        world.tip(20)
        world.run_for(900.0)
    world.run_for(900.0)
    # WORKED: 20 tips of 0.2 mm.
    assert world.gauge() == {DAY: approx(4.0)}


def test_a_persons_reading_of_the_day_outranks_the_pin(tmp_path: Path) -> None:
    with Logbook(tmp_path / "book.db", HandClock()) as book:
        book.gauge_on_pin(DAY, 3.0, WATCHED_H)
        book.rain_gauge(DAY, 5.0)
        book.gauge_on_pin(DAY, 1.0, 1.0)
        with Questions(book.path) as ask:
            assert ask.gauge_by_day() == {DAY: 5.0}


@pytest.mark.parametrize(("hours", "stands"), [(WATCHED_H, True), (WATCHED_H - 0.1, False)])
def test_a_day_hardly_watched_is_left_to_other_sources(
    tmp_path: Path, hours: float, stands: bool
) -> None:
    with Logbook(tmp_path / "book.db", HandClock()) as book:
        book.gauge_on_pin(DAY, 3.0, hours)
        book.gauge_on_pin(DAY + timedelta(days=1), 0.0, 1.0)
        with Questions(book.path) as ask:
            assert ask.gauge_by_day() == ({DAY: 3.0} if stands else {})


def test_a_gauge_that_counts_what_no_cloud_gives_is_left_out_and_told_of() -> None:
    def write(day: date, mm: float, hours: float) -> None:
        Logbook.gauge_on_pin(None, day, mm, hours)  # type: ignore[arg-type]

    clock, told, count = HandClock(), list[str](), [0]
    gauge = TippingGauge(
        0.2, lambda: count[0], clock, write, lambda kind, words: told.append(words)
    )
    count[0] = 1_000_000
    clock.advance(400.0)
    gauge.look(DAY)
    assert told and "cannot be" in told[0]
    assert gauge.unwritten_mm == 0.0


def test_increments_the_logbook_did_not_take_are_written_once_it_does() -> None:
    clock, count, takes, rows = HandClock(), [0], [False], list[tuple[date, float]]()

    def write(day: date, mm: float, hours: float) -> None:
        if not takes[0]:
            raise LogbookError("full")
        rows.append((day, mm))

    gauge = TippingGauge(0.5, lambda: count[0], clock, write, lambda *_: None)
    for _ in range(5):
        count[0] += 2
        clock.advance(400.0)
        gauge.look(DAY)
    takes[0] = True
    clock.advance(400.0)
    gauge.look(DAY)
    assert rows == [(DAY, 5.0)]
