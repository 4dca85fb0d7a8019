"""Openings alone: a real bank, a clock set by the test, a notebook for the logbook."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from pytest import approx
from support.clock import HandClock
from support.pins import BadPins, GoodPins, OffThrows, OnThrows, ball, limits

from controller.daemon.flow.litres import Counted, Credit
from controller.daemon.flow.rules import ComputedFlow, Metering
from controller.daemon.openings import BEAT_S, LITRES_PASSED, RETRY_S, UNREPORTED_S, Ended, Openings
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.plumbing import ValveKind
from controller.logbook.records import HowKnown
from controller.timetable.records import Pulse
from controller.valves.bank import Bank, BankRecord, Before, What
from controller.valves.line import LineLimits, State

DAY = date(2031, 6, 1)
LINES = {"a": 5, "b": 6}
OPENS_S, SHUTS_S = 10.0, 8.0  # of `ball`
PER_PULSE_L = 0.01


def flow_l_s(zone: str, together: frozenset[str]) -> float:
    """Six tenths of a litre a second, which open zones share alike."""
    assert zone in together
    return 0.6 / len(together)


class Notebook:
    """What `Journal` is asked to write, in its order; it refuses what is named in `refuses`."""

    def __init__(self, pins: BadPins) -> None:
        self._pins = pins
        self.refuses: set[str] = set()
        self.rows: list[tuple[Any, ...]] = []
        self._ids = iter(range(11, 1000))

    def _row(self, what: str, *cells: Any) -> None:
        if what in self.refuses:
            raise LogbookError("the disk is full")
        self.rows.append((what, *cells))

    def intend(self, pulse: Pulse) -> int:
        on = [line for line in LINES.values() if self._pins.really_on(line)]
        self._row("intended", pulse.zone, on)
        return next(self._ids)

    def opened(self, pulse_id: int, *, mono_s: float) -> None:
        self._row("opened", pulse_id, mono_s)

    def refused(self, pulse_id: int, why: str) -> None:
        self._row("refused", pulse_id, why)

    def beat(self, pulse_id: int, *, open_s: float, litres: float) -> None:
        self._row("beat", pulse_id, open_s, litres)

    def ended(self, pulse: Pulse, **cells: Any) -> None:
        self._row("ended", pulse.zone, cells)

    def take(self) -> list[tuple[Any, ...]]:
        """What was written since the last asking."""
        rows, self.rows = self.rows, []
        return rows


class Set:
    """A bank of two lines and its openings; what it tells `deaf` ones is kept in `unheard`."""

    def __init__(
        self, *lines: LineLimits, pins: type[BadPins] = GoodPins, deaf: bool = False
    ) -> None:
        self.clock = HandClock()
        self.pins = pins(self.clock)
        self.notes = Notebook(self.pins)
        self.openings = Openings(self.notes, self.clock)  # type: ignore[arg-type]
        self.unheard: list[BankRecord] = []
        known = lines or (limits(5), limits(6))
        self.bank = Bank(
            known,
            self.pins,
            self.clock,
            self.unheard.append if deaf else self.openings.bank_reported,
            Before(shut=[line.number for line in known]),
        )
        self.counts = 0
        self.runs_l_s = 0.0  # what really passes the meter

    def open(self, zone: str = "a", open_s: float = 60.0, **more: Any) -> None:
        pulse = a_pulse(zone, **{k: more.pop(k) for k in ("planned_s", "litres") if k in more})
        self.openings.open(self.bank, pulse, open_s=open_s, **({"manual": False} | more))

    def settle(self) -> list[Ended]:
        self.bank.close_due()
        ended, self.faults = self.openings.settle(self.bank, flow_l_s)
        return ended

    def passes(self, seconds: float) -> None:
        """Time, and water through the meter, a second at a time."""
        self.clock.advance(seconds)
        self.counts += round(self.runs_l_s * seconds / PER_PULSE_L)
        if self.openings.metering is not None:
            self.openings.metering.sample()

    def with_meter(self, least_flow_l_s: float = 0.0, zones: int = 2) -> Set:
        self.openings.metering = Metering(
            self.clock, PER_PULSE_L, lambda: self.counts, least_flow_l_s=least_flow_l_s
        )
        self.openings.zones = zones
        return self

    @property
    def due_s(self) -> float | None:
        """In how many seconds something is to be written."""
        at = self.openings.next_mono_s()
        return None if at is None else at - self.clock.mono


def a_pulse(zone: str = "a", planned_s: float = 60.0, litres: float = 36.0) -> Pulse:
    opens = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)
    return Pulse(
        zone=zone,
        day=DAY,
        slot=1,
        opens_utc=opens,
        closes_utc=opens + timedelta(seconds=planned_s),
        open_s=planned_s,
        litres=litres,
        valve=ValveKind.RELAY,
        relay_line=LINES[zone],
    )


# ---- opening -------------------------------------------------------------------------------------


def test_the_intent_is_written_before_the_water_and_the_opening_after() -> None:
    s = Set()
    s.open()
    assert s.notes.take() == [("intended", "a", []), ("opened", 11, 1000.0)]
    assert s.pins.really_on(5)
    running = s.openings.running["a"]
    assert (running.zone, running.line, running.pulse_id, running.day) == ("a", 5, 11, DAY)
    assert (running.opened_mono_s, running.deadline_mono_s) == (1000.0, 1060.0)
    assert running.opened_utc == s.clock.wall and not running.manual
    assert running.open_s(1030.0) == 30.0 and running.open_s(990.0) == 0.0


def test_an_intent_that_cannot_be_written_opens_nothing() -> None:
    s = Set()
    s.notes.refuses.add("intended")
    with pytest.raises(LogbookError):
        s.open()
    assert s.pins.moves == [] and s.openings.running == {}


def test_an_opening_that_cannot_be_written_is_shut_again_and_counted() -> None:
    s = Set()
    s.notes.refuses.add("opened")
    with pytest.raises(LogbookError, match="the disk is full"):
        s.open()
    assert not s.pins.really_on(5)
    (end,) = s.settle()
    assert (end.why, end.open_s, end.in_time) == ("its opening could not be written down", 0, False)


def test_a_refusal_is_written_beside_its_intent_and_nothing_runs() -> None:
    s = Set()
    with pytest.raises(ValveRefused) as why:
        s.open(open_s=601.0)  # a line's longest is 600 s
    assert s.notes.take() == [("intended", "a", []), ("refused", 11, str(why.value))]
    assert s.openings.running == {}


def test_a_line_that_does_not_go_on_was_not_open() -> None:
    s = Set(pins=OnThrows)
    s.pins.bad.add(5)
    with pytest.raises(ValveFault) as why:
        s.open()
    assert s.notes.take() == [("intended", "a", []), ("refused", 11, str(why.value))]
    assert s.openings.running == {}


def test_a_line_that_neither_opens_rightly_nor_shuts_is_counted_as_running() -> None:
    class Neither(OffThrows):
        """On is written and fails, off is not written at all."""

        def write(self, number: int, on: bool) -> None:
            super().write(number, on)
            if number in self.bad:
                raise OSError("I/O error")

    s = Set(pins=Neither)
    s.pins.bad.add(5)
    with pytest.raises(ValveFault):
        s.open()
    assert [row[0] for row in s.notes.take()] == ["intended", "opened"]
    running = s.openings.running["a"]
    assert running.deadline_mono_s == running.opened_mono_s == 1000.0  # it has no right to run
    s.passes(20.0)
    assert s.settle() == []  # water may run: it is not over
    assert [f.number for f in s.faults] == [5]
    s.pins.bad.clear()
    s.passes(20.0)
    (end,) = s.settle()
    # WORKED: 40 s of 0.6 L/s.
    assert end.open_s == approx(40.0) and end.litres == approx(24.0)


@pytest.mark.parametrize(
    ("open_s", "planned_s", "due_l"), [(60.0, 60.0, 36.0), (15.0, 60.0, 9.0), (90.0, 60.0, 36.0)]
)
def test_what_a_pulse_is_due_goes_by_its_time_and_is_never_more(
    open_s: float, planned_s: float, due_l: float
) -> None:
    s = Set()
    s.open(open_s=open_s, planned_s=planned_s)
    # WORKED: 36 L in the 60 s planned.
    assert s.openings.running["a"].due_litres == approx(due_l)


def test_a_pulse_of_no_planned_length_is_due_nothing() -> None:
    s = Set()
    s.open(open_s=5.0, planned_s=0.0)
    assert s.openings.running["a"].due_litres == 0.0


# ---- ends ----------------------------------------------------------------------------------------


def test_an_end_in_time_is_written_with_all_that_is_known_of_it() -> None:
    s = Set()
    s.open()
    opened_utc = s.clock.wall
    s.notes.take()
    s.passes(60.0)
    (end,) = s.settle()
    assert (end.open_s, end.how, end.in_time) == (60.0, HowKnown.TIMED, True)
    # WORKED: 60 s of 0.6 L/s.
    assert end.litres == end.timed_litres == approx(36.0) and end.counted is None
    (row,) = s.notes.take()
    assert row == (
        "ended",
        "a",
        {
            "opened_utc": opened_utc,
            "opened_mono_s": 1000.0,
            "open_s": 60.0,
            "litres": approx(36.0),
            "how": HowKnown.TIMED,
            "why": "time is up",
        },
    )
    assert s.openings.running == {} and s.openings.all_written and s.settle() == []


@pytest.mark.parametrize(("early_s", "in_time"), [(0.04, True), (0.06, False), (20.0, False)])
def test_a_pulse_that_ends_a_twentieth_of_a_second_early_was_not_cut_short(
    early_s: float, in_time: bool
) -> None:
    s = Set()
    s.open()
    s.passes(60.0 - early_s)
    s.bank.close(5, "a person closed it")
    (end,) = s.settle()
    assert end.in_time is in_time and end.why == "a person closed it"
    assert end.open_s == approx(60.0 - early_s)


def test_zones_that_run_beside_each_other_are_credited_what_each_had() -> None:
    # WORKED: a alone for 10 s (6 L), both for 50 s (15 L each), b alone for 10 s (6 L).
    s = Set()
    s.open("a")
    s.passes(10.0)
    s.open("b")
    s.passes(50.0)
    assert [(e.running.zone, e.litres) for e in s.settle()] == [("a", approx(21.0))]
    assert s.openings.litres_so_far("b", flow_l_s) == approx(15.0)
    s.passes(10.0)
    assert [(e.running.zone, e.litres) for e in s.settle()] == [("b", approx(21.0))]


def test_what_the_bank_says_of_other_lines_and_of_earlier_openings_ends_nothing() -> None:
    s = Set()

    def said(number: int, what: What, state: State, mono_s: float) -> BankRecord:
        return BankRecord(
            number=number,
            what=what,
            state=state,
            wall_utc=s.clock.wall,
            mono_s=mono_s,
            open_s=3.0,
            words="words",
        )

    s.openings.bank_reported(said(5, What.CLOSED, State.CLOSED, 999.0))
    s.openings.bank_reported(said(6, What.CLOSED, State.CLOSED, 1000.0))
    s.openings.bank_reported(said(5, What.CLOSED, State.CLOSED, 1000.0))  # in the same instant
    s.open()
    assert s.settle() == []
    s.openings.bank_reported(said(5, What.FAULT, State.OPEN, 999.0))
    s.openings.bank_reported(said(7, What.FAULT, State.BARRED, 1000.0))
    s.openings.bank_reported(said(5, What.CLOSED, State.CLOSED, 999.0))
    assert s.settle() == [] and [f.number for f in s.faults] == [5, 7]  # told of, whoever's
    s.openings.bank_reported(said(5, What.CLOSED, State.CLOSED, 1000.0))
    assert [(e.open_s, e.why) for e in s.settle()] == [(3.0, "words")]


def test_a_line_shut_in_the_moment_of_waking_has_its_whole_hour_on_record() -> None:
    """The bank's record may come just after the first look that finds the line shut."""
    s = Set(deaf=True)
    s.open()
    s.passes(3600.0)  # the board slept
    assert s.settle() == []
    for record in s.unheard:
        s.openings.bank_reported(record)
    s.passes(UNREPORTED_S + 0.1)
    (end,) = s.settle()
    assert end.open_s == 3600.0 and s.settle() == []


def test_an_end_that_nobody_told_is_taken_as_planned_after_a_while() -> None:
    s = Set(deaf=True)
    s.open()
    s.passes(60.1)
    assert s.settle() == []
    s.passes(UNREPORTED_S)
    assert s.settle() == []
    s.passes(0.1)
    (end,) = s.settle()
    assert (end.open_s, end.why, end.in_time) == (60.0, "it is shut", True)
    # WORKED: 60 s of 0.6 L/s.
    assert end.litres == approx(36.0)


def test_a_line_that_is_still_open_past_its_deadline_is_not_taken_as_shut() -> None:
    s = Set(pins=OffThrows, deaf=True)
    s.open()
    s.pins.bad.add(5)
    s.passes(3600.0)
    assert s.settle() == [] and "a" in s.openings.running


def test_ends_that_cannot_be_written_are_tried_again_in_their_order() -> None:
    s = Set()
    s.open("a")
    s.open("b", open_s=65.0)
    s.notes.take()
    s.notes.refuses.add("ended")
    s.passes(60.0)
    assert len(s.settle()) == 1
    assert not s.openings.all_written and s.openings.unwritten_zones == ["a"]
    s.notes.refuses.clear()
    s.passes(4.9)
    assert s.settle() == [] and s.notes.take() == []  # not yet
    s.passes(0.1)
    assert len(s.settle()) == 1  # a fresh end is tried at once, those before it first
    assert [row[1] for row in s.notes.take()] == ["a", "b"]
    assert s.openings.all_written and s.openings.unwritten_zones == []


def test_between_two_tries_to_write_an_end_lies_a_while() -> None:
    s = Set()
    s.open()
    s.passes(60.0)
    s.notes.refuses.add("ended")
    s.settle()
    s.notes.refuses.clear()
    s.notes.take()
    assert s.due_s == RETRY_S
    s.passes(RETRY_S - 0.1)
    s.settle()
    assert s.notes.take() == []
    s.passes(0.1)
    s.settle()
    assert [row[0] for row in s.notes.take()] == ["ended"]
    assert s.due_s is None


# ---- heartbeats ----------------------------------------------------------------------------------


def test_while_anything_runs_a_heartbeat_is_written_every_so_often() -> None:
    s = Set()
    s.openings.beat(flow_l_s)
    assert s.due_s is None
    s.open("a")
    assert s.due_s == 0.0
    s.notes.take()
    s.openings.beat(flow_l_s)
    assert s.notes.take() == [("beat", 11, 0.0, 0.0)]
    assert s.due_s == BEAT_S
    s.passes(BEAT_S - 0.1)
    s.openings.beat(flow_l_s)
    assert s.notes.take() == []
    s.open("b")
    s.notes.take()
    s.passes(0.1)
    s.openings.beat(flow_l_s)
    # WORKED: a alone for 9.9 s, then 0.1 s beside b: 5.94 + 0.03 L.
    assert s.notes.take() == [
        ("beat", 11, approx(BEAT_S), approx(5.97)),
        ("beat", 12, approx(0.1), approx(0.03)),
    ]
    s.passes(25.0)
    assert s.due_s == 0.0  # late, not before now


def test_a_heartbeat_that_cannot_be_written_is_not_tried_before_the_next() -> None:
    s = Set()
    s.open()
    s.notes.take()
    s.notes.refuses.add("beat")
    s.openings.beat(flow_l_s)
    s.notes.refuses.clear()
    s.openings.beat(flow_l_s)
    assert s.notes.take() == [] and s.due_s == BEAT_S


# ---- slow valves ---------------------------------------------------------------------------------


def test_a_slow_valve_counts_half_of_each_travel() -> None:
    # WORKED: 12 s to open and 8 s back, 60 s from told to told: 60 - 5 + 4 = 59 s of 0.6 L/s.
    s = Set(ball(5, 7))
    s.open()
    running = s.openings.running["a"]
    assert running.water_begins_mono_s == 1000.0 + OPENS_S / 2
    assert running.water_ends_mono_s(60.0) == 1060.0 + SHUTS_S / 2
    s.passes(60.0)
    assert s.settle() == []  # on its way shut
    closing = s.openings.running["a"]
    assert closing.shut_mono_s == 1060.0
    s.passes(2.0)
    assert closing.open_s(s.clock.mono) == 60.0  # told to shut: its time is over
    assert s.openings.litres_so_far("a", flow_l_s) == approx(57.0 * 0.6)
    s.passes(4.0)
    assert s.openings.litres_so_far("a", flow_l_s) == approx(59.0 * 0.6)  # and no more
    s.passes(20.0)
    (end,) = s.settle()
    assert (end.open_s, end.in_time) == (60.0, True)
    assert end.litres == approx(59.0 * 0.6)


def test_a_slow_valve_that_does_not_shut_after_all_runs_on() -> None:
    s = Set(ball(5, 7))
    s.open()
    s.passes(60.0)
    s.settle()
    assert s.openings.running["a"].shut_mono_s is not None
    s.passes(1.0)
    running = s.openings.running["a"]
    s.openings.bank_reported(
        BankRecord(
            number=5,
            what=What.FAULT,
            state=State.STUCK,
            wall_utc=s.clock.wall,
            mono_s=s.clock.mono,
            open_s=61.0,
            words="found on",
        )
    )
    s.openings.settle(s.bank, flow_l_s)
    assert s.openings.running["a"].shut_mono_s is None
    s.clock.advance(39.0)
    assert s.openings.running["a"].open_s(s.clock.mono) == 100.0
    assert s.openings.litres_so_far("a", flow_l_s) == approx(95.0 * 0.6)
    assert running.shut_mono_s == 1060.0


def test_the_meter_of_a_slow_valve_counts_until_it_is_shut() -> None:
    s = Set(ball(5, 7)).with_meter()
    s.runs_l_s = 0.5
    s.open()
    s.passes(60.0)
    s.settle()
    s.passes(12.0)  # shut, with its spare second
    (end,) = s.settle()
    # WORKED: 72 s of 0.5 L/s by the meter.
    assert (end.how, end.litres) == (HowKnown.METERED, approx(36.0))
    assert end.timed_litres == approx(59.0 * 0.6)


# ---- by the meter --------------------------------------------------------------------------------


def test_what_the_meter_counted_is_the_openings_litres() -> None:
    s = Set().with_meter()
    s.runs_l_s = 0.5
    s.open()
    s.passes(30.0)
    # WORKED: the meter has 0.5 L/s, time 0.6 L/s.
    assert s.openings.litres_so_far("a", flow_l_s) == approx(15.0)
    s.passes(30.0)
    (end,) = s.settle()
    assert (end.how, end.litres, end.timed_litres) == (
        HowKnown.METERED,
        approx(30.0),
        approx(36.0),
    )
    assert end.counted is None and not s.openings.meter_turned


def test_what_flows_more_slowly_than_the_meter_can_count_goes_by_time() -> None:
    for least_l_s, how in ((0.6, HowKnown.METERED), (0.61, HowKnown.TIMED)):
        s = Set().with_meter(least_flow_l_s=least_l_s)
        s.runs_l_s = 0.5
        s.open("a")
        s.open("b")
        s.passes(30.0)
        by_l = 7.5 if how is HowKnown.METERED else 9.0
        assert s.openings.litres_so_far("a", flow_l_s) == approx(by_l)
        s.passes(30.0)
        assert [(e.how, e.litres) for e in s.settle()] == [(how, approx(2.0 * by_l))] * 2


def test_a_meter_that_counts_nothing_is_dead_after_three_and_litres_go_by_time() -> None:
    s = Set().with_meter(zones=1)
    found = []
    for _ in range(3):
        s.open()
        s.passes(60.0)
        found += [(e.how, e.litres) for e in s.settle()]
    # WORKED: 0.6 L/s for 60 s, and for 30 s below.
    assert found == [(HowKnown.METERED, 0.0)] * 2 + [(HowKnown.TIMED, approx(36.0))]
    assert s.openings.meter_turned
    s.openings.meter_turned = False
    s.open()
    s.passes(30.0)
    assert s.openings.litres_so_far("a", flow_l_s) == approx(18.0)
    s.counts += 1
    s.passes(30.0)
    assert [e.how for e in s.settle()] == [HowKnown.METERED]  # one count brings it back
    assert s.openings.meter_turned


def test_what_flows_too_slowly_says_nothing_of_the_meter() -> None:
    s = Set().with_meter(least_flow_l_s=1.0, zones=1)
    for _ in range(4):
        s.open()
        s.passes(60.0)
        s.settle()
    assert not s.openings.meter_turned
    assert s.openings.metering is not None and not s.openings.metering.dead


class Told(Credit):
    """Credits half of the count, and remembers what it was asked."""

    def __init__(self, most_l_s: float = 100.0) -> None:
        super().__init__(PER_PULSE_L, lambda _: ComputedFlow(flow_l_s=0.6, error=0.04), most_l_s)
        self.asked: list[tuple[Counted, date]] = []
        self.by_meter = True

    def of(self, counted: Counted, day: date) -> Any:
        self.asked.append((counted, day))
        found = super().of(counted, day)
        return type(found)(litres=counted.metered_l / 2.0, by_meter=self.by_meter)


@pytest.mark.parametrize("by_meter", [True, False])
def test_how_far_the_count_is_believed_is_asked_with_all_that_ran(by_meter: bool) -> None:
    s = Set().with_meter()
    credit = s.openings.credit = Told()
    credit.by_meter = by_meter
    s.runs_l_s = 0.5
    s.open("a")
    s.passes(20.0)
    s.open("b", open_s=10.0)
    s.passes(10.0)
    s.settle()
    s.passes(30.0)
    (end,) = s.settle()
    # WORKED: 10 L alone, 2.5 of 5 beside b, 15 L alone again; by time 12, 3 and 18 L.
    counted, day = credit.asked[-1]
    assert counted.zones == frozenset("ab") and day == DAY
    assert (counted.metered_l, counted.timed_l) == (approx(27.5), approx(33.0))
    assert counted.seconds == approx(60.0)
    assert end.counted == counted and end.litres == approx(13.75)
    assert end.how is (HowKnown.METERED if by_meter else HowKnown.TIMED)


def test_more_than_any_tap_gives_does_not_count_while_it_runs() -> None:
    # WORKED: twice 0.3 L/s over 30 s and 20 pulses of 0.01 L: 18.2 L.
    for runs_l_s, so_far_l in ((0.6, 18.0), (0.61, 18.0), (0.5, 15.0)):
        s = Set().with_meter()
        s.openings.credit = Told(most_l_s=0.3)
        s.runs_l_s = runs_l_s
        s.open()
        s.passes(30.0)
        assert s.openings.litres_so_far("a", flow_l_s) == approx(so_far_l)


# ---- until its litres have passed ----------------------------------------------------------------


@pytest.fixture
def by_litres() -> Callable[..., Set]:
    def made(*lines: LineLimits) -> Set:
        s = Set(*lines).with_meter()
        s.openings.by_litres = True
        s.runs_l_s = 0.6
        return s

    return made


def test_a_planned_opening_is_shut_once_its_litres_have_passed(
    by_litres: Callable[..., Set],
) -> None:
    s = by_litres()
    s.open(litres=12.0)
    # WORKED: 12 L at 0.6 L/s: 20 s.
    assert s.openings.litres_due_in_s(flow_l_s) == approx(20.0)
    s.passes(19.0)
    assert s.openings.litres_due_in_s(flow_l_s) == approx(1.0)
    s.openings.shut_when_litres_passed(s.bank, flow_l_s)
    assert s.pins.really_on(5)
    s.passes(1.0)
    s.openings.shut_when_litres_passed(s.bank, flow_l_s)
    assert not s.pins.really_on(5)
    (end,) = s.settle()
    assert (end.why, end.in_time, end.open_s) == (LITRES_PASSED, True, approx(20.0))
    assert s.openings.litres_due_in_s(flow_l_s) is None


def test_the_next_to_have_its_litres_is_the_one_that_is_waited_for(
    by_litres: Callable[..., Set],
) -> None:
    s = by_litres()
    s.open("a", litres=12.0)
    s.open("b", litres=6.0)
    # WORKED: 0.3 L/s each: 40 s and 20 s.
    assert s.openings.litres_due_in_s(flow_l_s) == approx(20.0)


def test_a_persons_opening_and_one_without_a_living_meter_run_their_time(
    by_litres: Callable[..., Set],
) -> None:
    by_hand = by_litres()
    by_hand.open(litres=1.0, manual=True)
    dead = by_litres()
    assert dead.openings.metering is not None
    dead.openings.metering.dead = True
    dead.open(litres=1.0)
    by_time = by_litres()
    by_time.openings.by_litres = False
    by_time.open(litres=1.0)
    for s in (by_hand, dead, by_time):
        s.passes(30.0)
        assert s.openings.litres_due_in_s(flow_l_s) is None
        s.openings.shut_when_litres_passed(s.bank, flow_l_s)
        assert s.pins.really_on(5)


def test_what_is_closing_already_is_not_shut_again(by_litres: Callable[..., Set]) -> None:
    s = by_litres(ball(5, 7))
    s.open(litres=12.0)
    s.passes(60.0)
    s.settle()
    assert s.openings.running["a"].shut_mono_s is not None
    assert s.openings.litres_due_in_s(flow_l_s) is None


def test_where_nothing_flows_by_computation_the_wait_is_long_and_finite(
    by_litres: Callable[..., Set],
) -> None:
    s = by_litres()
    s.open(litres=12.0)
    wait_s = s.openings.litres_due_in_s(lambda zone, together: 0.0)
    assert wait_s is not None and 1e6 < wait_s < float("inf")


# ---- what the meter keeps ------------------------------------------------------------------------


def test_the_meter_keeps_what_the_openings_under_way_will_ask_for() -> None:
    s = Set().with_meter()
    metering = s.openings.metering
    assert metering is not None
    s.passes(10.0)
    s.open("a")
    s.passes(10.0)
    s.open("b")
    assert metering.keep_from_mono_s == 1010.0
    s.passes(50.0)
    s.settle()
    assert metering.keep_from_mono_s == 1010.0  # b is shared with what a had
    s.passes(10.0)
    s.settle()
    assert metering.keep_from_mono_s == float("inf")
    s.openings.metering = None
    s.open("a")  # without a meter nothing is kept


def test_the_meter_is_looked_at_when_the_open_set_changes() -> None:
    s = Set().with_meter()
    s.open()
    s.runs_l_s = 0.0
    s.clock.advance(30.0)
    s.counts = 1000  # all of it before the bank shuts the line
    s.bank.close(5, "a person closed it")
    s.clock.advance(30.0)
    s.counts = 5000
    (end,) = s.settle()
    # WORKED: 1000 pulses of 0.01 L.
    assert end.litres == approx(10.0)
