"""The questions: what is owed, what was given, which weather, which holds."""

from __future__ import annotations

import math
import tempfile
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.clock import HandClock
from support.gardens import a_garden, a_zone
from support.logbook import DAY, a_hand_pulse, a_ledger_day, a_pulse, close

from controller.demand.records import LedgerDay
from controller.errors import InputError, LogbookError
from controller.garden.model import Bed
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import HowKnown, PulseState, utc_from_text, utc_text
from controller.logbook.totals import BY, NO_KEEPER, NOT_IN_GARDEN
from controller.weather.day import WeatherDay


def _weather(day: date = DAY, **more: Any) -> WeatherDay:
    plain = WeatherDay(
        day=day,
        tmin_c=11.5,
        tmax_c=24.25,
        rh_mean_pct=None,
        rh_min_pct=48.0,
        rh_max_pct=92.0,
        dewpoint_c=None,
        vapour_pressure_kpa=None,
        wind_m_s=1.75,
        wind_height_m=2.0,
        solar_mj_m2=21.5,
        sunshine_h=None,
        rain_mm=0.0,
        rain_chance_pct=None,
        source="station file",
        measured=True,
    )
    return replace(plain, **more)


def _give(book: Logbook, litres: float, *, slot: int = 1, zone: str = "a", day: date = DAY) -> None:
    pulse_id = book.intend(a_pulse(slot, zone, day=day))
    book.opened(pulse_id, 1.0)
    close(book, pulse_id, 60.0, litres, "timed")


# Pulses ------------------------------------------------------------------------------------------


def test_unfinished_is_what_is_intended_or_open(book: Logbook, ask: Questions) -> None:
    book.plan_day(DAY, [a_pulse(1), a_pulse(2), a_pulse(3), a_pulse(4)])
    intended = book.intend(a_pulse(2))
    opened = book.intend(a_pulse(3))
    book.opened(opened, 5.0)
    book.missed(a_pulse(4).key, "late")
    assert [(p.id, p.state) for p in ask.unfinished()] == [
        (intended, PulseState.INTENDED),
        (opened, PulseState.OPEN),
    ]


def test_the_ledger_is_credited_with_closed_cut_and_hand_and_with_nothing_else(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    _give(book, 4.0, slot=1)
    cut = book.intend(a_pulse(2))
    book.opened(cut, 1.0)
    book.beat(cut, 20.0, 1.5)
    book.cut(cut, 20.0, 1.5, "heartbeat", "the power went")
    book.hand_watering("a", DAY, 2.0, None, "Odile", clock.now_utc())
    running = book.intend(a_pulse(3))
    book.opened(running, 1.0)
    book.beat(running, 10.0, 0.75)  # credited when it ends, not before
    book.refused(book.intend(a_pulse(4)), "no")
    # WORKED: 4.0 + 1.5 + 2.0
    assert ask.litres_by_zone_day() == {("a", DAY): 7.5}


def test_litres_are_asked_for_by_local_day_both_ends_included(
    book: Logbook, ask: Questions
) -> None:
    for offset, litres in enumerate((1.0, 2.0, 4.0, 8.0)):
        _give(book, litres, day=DAY + timedelta(days=offset))
    found = ask.litres_by_zone_day(DAY + timedelta(days=1), DAY + timedelta(days=2))
    assert sorted(found.values()) == [2.0, 4.0]
    assert ask.first_day() == DAY


def test_open_seconds_count_relays_since_then_and_what_is_under_way(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    _give(book, 4.0, slot=1)  # ended before
    clock.advance(3600.0)
    since = clock.now_utc()
    _give(book, 4.0, slot=2)
    book.hand_watering("a", DAY, 9.0, 30.0, "Odile", clock.now_utc())
    running = book.intend(a_pulse(3))
    book.opened(running, clock.mono_s())
    book.beat(running, 12.5, 1.0)
    book.intend(a_pulse(1, "b"))
    # WORKED: 60 + 12.5; the hand's 30 minutes are not the relay's
    assert ask.open_seconds_since(since) == {"a": 72.5, "b": 0.0}


def test_the_last_pulse_of_each_zone_is_the_one_that_ended_last(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    for zone, slot in (("a", 1), ("b", 1), ("a", 2)):
        clock.advance(60.0)
        _give(book, 1.0, slot=slot, zone=zone)
    book.missed(_planned(book, 3), "late")
    assert [(p.zone, p.slot) for p in ask.last_pulses()] == [("a", 2), ("b", 1)]


def _planned(book: Logbook, slot: int) -> str:
    book.plan_day(DAY, [a_pulse(slot)])
    return a_pulse(slot).key


def test_an_empty_logbook_knows_nothing(book: Logbook, ask: Questions) -> None:
    assert ask.first_day() is None
    assert ask.last_written_utc() is None
    assert ask.litres_by_zone_day() == {}
    assert ask.weather_rows() == [] == ask.ledger("a")
    with pytest.raises(LogbookError, match="no pulse has the number 7"):
        ask.pulse(7)


def test_a_reader_cannot_write(ask: Questions) -> None:
    with pytest.raises(LogbookError, match="it is a view"):
        ask._rows("DELETE FROM pulses")


def test_the_newest_moment_is_found_wherever_it_was_written(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    now = clock.now_utc()
    pulse_ids: list[int] = []
    for write in (
        lambda: book.plan_day(DAY, [a_pulse(1)]),
        lambda: pulse_ids.append(book.intend(a_pulse(1))),
        lambda: book.opened(pulse_ids[0], 1.0),
        lambda: book.beat(pulse_ids[0], 1.0, 0.1),
        lambda: close(book, pulse_ids[0], 2.0, 0.2, "timed"),
        lambda: book.keep_weather([_weather()]),
        lambda: book.keep_ledger([a_ledger_day()]),
        lambda: book.rain_gauge(DAY, 1.0),
        lambda: book.note("well"),
        lambda: book.hold(now, now + timedelta(days=9)),
        lambda: book.lift_hold("all"),
        lambda: book.happening("event", "nothing much"),
    ):
        clock.advance(1.0)
        write()
        assert ask.last_written_utc() == clock.now_utc()
    clock.step_wall(-86_400.0)
    book.note("the clock went back")
    assert ask.last_written_utc() == clock.now_utc() + timedelta(days=1)


# Weather and the ledger --------------------------------------------------------------------------


def test_every_field_of_a_weather_day_reads_back(book: Logbook, ask: Questions) -> None:
    floats = [f.name for f in fields(WeatherDay) if f.type == "float | None"]
    floats.append("wind_height_m")
    settling: dict[str, Any] = {
        "measured": False,
        "modelled": True,
        "given_utc": datetime(2031, 6, 1, tzinfo=UTC),
    }
    figures: dict[str, Any] = {name: 1.0 + 0.1 * i for i, name in enumerate(floats)}
    full = replace(_weather(), **settling, **figures)
    nothing: dict[str, Any] = {name: None for name in floats if name != "wind_height_m"}
    bare = replace(_weather(DAY + timedelta(days=1), measured=False), **nothing)
    book.keep_weather([full, bare])
    assert ask.weather_rows() == [full, bare]


def test_every_field_of_a_ledger_day_reads_back(book: Logbook, ask: Questions) -> None:
    kinds = {f.name: f.type for f in fields(LedgerDay)}
    numbers: dict[str, Any] = {
        name: 0.01 * (7 + i) for i, (name, t) in enumerate(kinds.items()) if t == "float"
    }
    known = a_ledger_day(
        part="rows 2 and 3", phase="seedbed", coefficients="dual", rung="service", **numbers
    )
    bare = a_ledger_day(
        "b", account="bare", crop=None, stage="bare", rain_known=False, measured=False
    )
    book.keep_ledger([known, bare])
    assert ask.ledger() == [known, bare]
    assert len(numbers) > 25
    assert ask.ledger("b", DAY, DAY) == [bare]
    assert ask.ledger("b", DAY + timedelta(days=1)) == []


def test_a_newer_account_of_a_day_replaces_the_older(book: Logbook, ask: Questions) -> None:
    book.keep_ledger([a_ledger_day()])
    book.keep_ledger([a_ledger_day(rain_mm=3.0)])
    assert [d.rain_mm for d in ask.ledger("a")] == [3.0]


def test_parts_of_a_zone_are_kept_apart_and_in_order(book: Logbook, ask: Questions) -> None:
    second = DAY + timedelta(days=1)
    days = [
        a_ledger_day("a", day=day, part=part)
        for part in ("row 1", "row 2")
        for day in (DAY, second)
    ]
    book.keep_ledger(reversed(days))
    assert ask.ledger() == days


def test_a_part_that_is_no_more_goes_with_the_older_account(book: Logbook, ask: Questions) -> None:
    second = DAY + timedelta(days=1)
    book.keep_ledger(
        [a_ledger_day(day=DAY), a_ledger_day(day=second), a_ledger_day("b", day=second)]
    )
    now = [a_ledger_day(day=second, part=part) for part in ("row 1", "row 2")]
    book.keep_ledger(now)
    assert ask.ledger() == [a_ledger_day(day=DAY), *now, a_ledger_day("b", day=second)]


def test_a_ledger_day_that_cannot_be_written_leaves_the_older_account(
    book: Logbook, ask: Questions
) -> None:
    book.keep_ledger([a_ledger_day()])
    with pytest.raises(LogbookError, match="stage"):
        book.keep_ledger([a_ledger_day(rain_mm=9.0), a_ledger_day(part="row 2", stage=None)])
    assert ask.ledger() == [a_ledger_day()]


def test_every_source_ever_kept_of_a_day_reads_back(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    second = DAY + timedelta(days=1)
    foretold = _weather(source="open-meteo forecast", measured=False, tmax_c=30.0)
    book.keep_weather([foretold, _weather(second, source="station.csv")])
    clock.advance(60.0)
    analysed = _weather(
        source="open-meteo model",
        tmax_c=27.0,
        measured=False,
        modelled=True,
        given_utc=clock.now_utc(),
    )
    book.keep_weather([analysed])
    assert ask.weather_rows() == [analysed, foretold, _weather(second, source="station.csv")]
    assert ask.weather_rows(second) == [_weather(second, source="station.csv")]


def test_the_gauge_s_latest_word_on_a_day_stands(book: Logbook, ask: Questions) -> None:
    second = DAY + timedelta(days=1)
    book.rain_gauge(DAY, 5.0, "Odile")
    book.rain_gauge(second, 2.0)
    book.rain_gauge(DAY, 6.5, "Odile")
    assert ask.gauge_by_day() == {DAY: 6.5, second: 2.0}


# What people say ---------------------------------------------------------------------------------


def test_a_hold_counts_until_before_its_end(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    begins = clock.now_utc() + timedelta(hours=1)
    hold_id = book.hold(begins, begins + timedelta(hours=2), ["b", "a"], "a garden party")
    moments = [begins + timedelta(minutes=m) for m in (-1, 0, 119, 120)]
    assert [len(ask.holds_from(m)) for m in moments] == [1, 1, 1, 0]
    (hold,) = ask.holds_from(clock.now_utc())
    assert (hold.id, hold.zones, hold.reason) == (hold_id, {"a", "b"}, "a garden party")


def test_lifting_one_hold_leaves_the_others_and_all_leaves_none(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    now = clock.now_utc()
    ids = [book.hold(now, now + timedelta(hours=h)) for h in (1, 2, 3)]
    assert book.lift_hold(ids[0]) == 1
    assert [h.id for h in ask.holds_from(now)] == ids[1:]
    assert book.lift_hold(ids[0]) == 0  # lifted already
    assert book.lift_hold("all") == 2
    assert ask.holds_from(now) == []


def test_a_hold_that_ends_before_it_begins_is_refused(book: Logbook, clock: HandClock) -> None:
    now = clock.now_utc()
    with pytest.raises(LogbookError, match="must end after"):
        book.hold(now, now)


def test_happenings_come_newest_first(book: Logbook, ask: Questions) -> None:
    for count in range(5):
        book.happening("event", f"number {count}", "a", 17)
    assert [h.words for h in ask.happenings(2)] == ["number 4", "number 3"]
    assert (ask.happenings(1)[0].zone, ask.happenings(1)[0].line) == ("a", 17)


def test_notes_and_readings_read_back(book: Logbook, ask: Questions, clock: HandClock) -> None:
    book.note("the leeks look well", "a", "Odile")
    book.meter_reading(1234.5, clock.now_utc() - timedelta(hours=1))
    book.reading("catch", 0.12, "L", zone="a", who="Odile")
    (note,) = ask.notes()
    assert (note.words, note.zone, note.who) == ("the leeks look well", "a", "Odile")
    (meter,) = ask.readings("meter")
    assert (meter.value, meter.unit) == (1234.5, "L")
    assert meter.at_utc == clock.now_utc() - timedelta(hours=1)
    assert [r.zone for r in ask.readings("catch")] == ["a"]
    with pytest.raises(LogbookError, match="a reading is a number"):
        book.reading("catch", math.nan, "L")


@given(
    st.lists(
        st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),
        min_size=1,
    )
)
def test_moments_read_back_and_sort_as_text(moments: list[datetime]) -> None:
    assert [utc_from_text(utc_text(m)) for m in moments] == moments
    assert sorted(map(utc_text, moments)) == [utc_text(m) for m in sorted(moments)]


# Sums --------------------------------------------------------------------------------------------

ZONES = ("a", "b", "c", "gone")
GARDEN = a_garden(
    a_zone("a", bed=Bed(name="north", keeper="Odile")),
    a_zone("b", bed=Bed(name="north", keeper="Odile")),
    a_zone("c", bed=Bed(name="south")),
)


def test_every_zone_has_a_row_and_a_zone_that_left_is_kept_apart(
    book: Logbook, ask: Questions
) -> None:
    _give(book, 3.0, zone="a")
    _give(book, 1.0, zone="gone")

    def table(by: str) -> dict[str, float]:
        return {row.name: row.litres for row in ask.sums(by, DAY, DAY, GARDEN).rows}

    assert table("zone") == {"a": 3.0, "b": 0.0, "c": 0.0, "gone": 1.0}
    assert table("bed") == {"north": 3.0, "south": 0.0, NOT_IN_GARDEN: 1.0}
    assert table("keeper") == {"Odile": 3.0, NO_KEEPER: 0.0, NOT_IN_GARDEN: 1.0}
    assert table("month") == {"2031-06": 4.0}
    with pytest.raises(InputError, match="zone, bed, keeper, month"):
        ask.sums("colour", DAY, DAY, GARDEN)


def test_months_come_in_their_order(book: Logbook, ask: Questions) -> None:
    for day in (date(2031, 7, 1), date(2031, 5, 31), date(2031, 6, 30)):
        _give(book, 1.0, day=day)
    rows = ask.sums("month", date(2031, 1, 1), date(2031, 12, 31), GARDEN).rows
    assert [row.name for row in rows] == [f"2031-{n:02d}" for n in range(1, 13)]
    assert [row.name for row in rows if row.litres] == ["2031-05", "2031-06", "2031-07"]


def test_the_parts_of_a_zone_count_as_one_zone_day_and_each_on_its_rung(
    book: Logbook, ask: Questions
) -> None:
    book.keep_ledger(
        [
            a_ledger_day("a", part="row 1", rung="station"),
            a_ledger_day("a", part="rows 2 and 3", rung="station"),
            a_ledger_day("b", rung="season", method="the season's table", measured=False),
            a_ledger_day("c", rung="forecast kept", measured=False),
            a_ledger_day("d", rung="service", measured=False),  # a model's day is no forecast
        ]
    )
    sums = ask.sums("zone", DAY, DAY, GARDEN)
    assert (sums.zone_days, sums.stand_in_zone_days, sums.forecast_zone_days) == (4, 1, 1)
    assert sums.stand_ins == ("the season's table",)
    assert sums.zone_days_by_rung == {"station": 1, "season": 1, "forecast kept": 1, "service": 1}


def test_a_stand_in_and_a_forecast_are_counted_apart(book: Logbook, ask: Questions) -> None:
    book.keep_ledger(
        [
            a_ledger_day(),
            a_ledger_day("b", measured=False, method="stand-in: mean of 7 days"),
            a_ledger_day("c", measured=False),
        ]
    )
    sums = ask.sums("zone", DAY, DAY, GARDEN)
    assert (sums.zone_days, sums.stand_in_zone_days, sums.forecast_zone_days) == (3, 1, 1)
    assert sums.stand_ins == ("stand-in: mean of 7 days",)


amounts = st.floats(0.0, 500.0, allow_subnormal=False)
ends = st.sampled_from(("closed", "cut", "refused", "missed", "intended", "planned", "hand"))
season = st.lists(
    st.tuples(st.sampled_from(ZONES), st.integers(0, 40), ends, amounts, amounts), max_size=30
)


@settings(max_examples=30)
@given(season)
def test_litres_over_the_pulses_are_what_the_ledger_credits_and_what_each_report_says(
    acts: list[tuple[str, int, str, float, float]],
) -> None:
    given_litres: list[float] = []
    with (
        tempfile.TemporaryDirectory() as folder,
        Logbook(Path(folder) / "logbook.db", HandClock()) as book,
        Questions(book.path) as ask,
    ):
        for slot, (zone, offset, end, litres, open_s) in enumerate(acts, start=1):
            day = DAY + timedelta(days=offset)
            if end == "hand":
                book.hand_watering(zone, day, litres, None, "Odile", book.clock.now_utc())
            elif end in ("missed", "planned"):
                # A hand pulse is planned: a later note may be what it waited for.
                book.plan_day(day, [a_hand_pulse(slot, zone, day=day)])
                if end == "missed":
                    book.missed(a_hand_pulse(slot, zone, day=day).key, "late")
            else:
                pulse_id = book.intend(a_pulse(slot, zone, day=day))
                if end == "refused":
                    book.refused(pulse_id, "no")
                elif end != "intended":
                    book.opened(pulse_id, 1.0)
                    if end == "closed":
                        close(book, pulse_id, open_s, litres)
                    else:
                        book.cut(pulse_id, open_s, litres, "heartbeat")
            if end in ("closed", "cut", "hand"):
                given_litres.append(litres)
        last = DAY + timedelta(days=40)
        by_zone_day = ask.litres_by_zone_day(DAY, last)
        reports = [ask.sums(by, DAY, last, GARDEN) for by in BY]
        pulses = ask.pulses(DAY, last)
    truth = math.fsum(given_litres)
    assert math.fsum(p.litres for p in pulses if p.litres is not None) == truth
    assert math.fsum(by_zone_day.values()) == pytest.approx(truth, abs=1e-9)
    for sums in reports:
        assert sums.total.litres == truth
        assert sums.total.pulses == len(given_litres)
        assert math.fsum(row.litres for row in sums.rows) == pytest.approx(truth, abs=1e-9)
        assert sum(row.pulses for row in sums.rows) == len(given_litres)
        by_how = math.fsum(litres for row in sums.rows for litres in row.litres_by_how.values())
        assert by_how == pytest.approx(truth, abs=1e-9)
        hand = [litres for _, _, end, litres, _ in acts if end == "hand"]
        assert sums.total.litres_by_how.get(HowKnown.BY_HAND, 0.0) == math.fsum(hand)
