"""The rules of rows: what each cell may be, and that sound rows all pass."""

from __future__ import annotations

import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.logbook import DAY, a_hand_pulse, a_ledger_day, a_pulse, close

from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import utc_from_text
from controller.logbook.row_rules import CELLS, SET_ASIDE, TOGETHER
from controller.weather.day import WeatherDay


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A logbook with a pulse in every state and a row in most tables."""
    clock = HandClock()
    with Logbook(tmp_path / "logbook.db", clock) as book:
        slots = iter(range(1, 100))
        book.plan_day(DAY, [a_pulse(90), a_hand_pulse(91), a_hand_pulse(92)])
        book.intend(a_pulse(next(slots)))
        book.opened(book.intend(a_pulse(next(slots))), 5.0)
        opened = book.intend(a_pulse(next(slots)))
        book.opened(opened, 5.0)
        book.beat(opened, 10.0, 1.0)
        book.cut(opened, 10.0, 1.0, "heartbeat")
        close(book, book.intend(a_pulse(next(slots))), 60.0, 5.0, "timed")
        book.refused(book.intend(a_pulse(next(slots))), "its line is barred")
        book.missed(book.intend(a_pulse(next(slots))), "late")
        book.assumed(a_hand_pulse(91).key, "its day is over")
        noon = datetime(2031, 6, 1, 12, tzinfo=UTC)
        book.hand_watering("a", DAY, 12.0, None, "Odile", noon)
        book.hand_watering("b", DAY, 12.0, 5.0, "Odile", noon)
        book.hand_watering("b", DAY, 2.0, 5.0, "Odile", noon)
        book.keep_ledger([a_ledger_day(), a_ledger_day(part="row 1", crop=None)])
        book.keep_weather([WeatherDay(day=DAY, source="test", tmin_c=-3.0)])
        book.watched(DAY)
        book.rain_gauge(DAY, 0.0)
        book.meter_reading(123456.0, noon)
        book.note("words, “quoted”")
        book.hold(noon, datetime(2031, 6, 2, tzinfo=UTC), [])
        book.happening("walk", "line 4 ticks", line=4)
        number = book.keep_measurement({"kind": "bucket"})
        book.keep_fit({"edition": 2}, [number])
    return tmp_path / "logbook.db"


def test_every_column_has_its_rule(path: Path) -> None:
    with sqlite3.connect(path) as book:
        tables = [
            name
            for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if not name.startswith(("sqlite_", "_sqlite")) and name != SET_ASIDE
        ]
        columns = {
            table: {row[1] for row in book.execute(f"PRAGMA table_info({table})")}
            for table in tables
        }
    book.close()
    assert set(CELLS) == set(tables)
    for table in tables:
        ruled = set(CELLS[table]) | (set(TOGETHER.get(table, {})) & columns[table])
        assert columns[table] - ruled == ({"id"} if table == "tended" else set()), table
        assert set(CELLS[table]) <= columns[table], table


def test_what_the_logbook_itself_writes_passes(path: Path) -> None:
    with sqlite3.connect(path) as book:
        counts = {t: book.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in CELLS}
    book.close()
    assert counts["pulses"] == 12
    with Questions(path) as ask:
        assert ask.unsound() == 0
        for table, count in counts.items():
            assert ask._rows(f"SELECT count(*) FROM {table}")[0][0] == count, table
    Logbook(path, HandClock()).close()
    with Questions(path) as ask:
        assert ask.rows_set_aside() == 0


# What Python does not take for a day or a moment, SQLite must not, and the other way round.
DAYS: tuple[str, ...] = (
    "2031-06-01",
    "2032-02-29",
    "2031-02-29",
    "2031-6-01",
    "2031-06-31",
    "0000-01-01",
)
DAYS += ("20310601", "2031-W01-1", "now", "2460000.5", "2031-06-01 ", "2031-06-0\x00", "")
MOMENTS: tuple[str, ...] = (
    "2031-06-01T04:00:00.000000Z",
    "2031-06-01T04:00:00.123Z",
    "2031-06-01T24:00:00.000000Z",
)
MOMENTS += ("2031-06-01T04:60:00.000000Z", "2031-02-30T04:00:00.000000Z", "2031-06-01T04:00:00Z")
MOMENTS += ("2031-06-01T04:00:60.000000Z", "1031-06-01T04:00:00.000000Z", "now", "")


@pytest.mark.parametrize("text", DAYS)
def test_a_day_is_what_python_reads_and_writes_alike(path: Path, text: str) -> None:
    def may_be() -> bool:
        try:
            return date.fromisoformat(text).isoformat() == text
        except ValueError:
            return False

    with sqlite3.connect(path) as book:
        test = CELLS["watched_days"]["day"]("d")
        passes = book.execute(f"SELECT coalesce({test}, 0) FROM (SELECT ? AS d)", [text])
        found = bool(passes.fetchone()[0])
    book.close()
    assert found == may_be()


@pytest.mark.parametrize("text", MOMENTS)
def test_a_moment_is_what_the_logbook_writes_since_1970(path: Path, text: str) -> None:
    def may_be() -> bool:
        try:
            moment = utc_from_text(text)
        except ValueError:
            return False
        return moment.year >= 1970

    with sqlite3.connect(path) as book:
        test = CELLS["notes"]["at_utc"]("d")
        passes = book.execute(f"SELECT coalesce({test}, 0) FROM (SELECT ? AS d)", [text])
        found = bool(passes.fetchone()[0])
    book.close()
    assert found == may_be()


@pytest.mark.parametrize("table", sorted(CELLS))
def test_a_bad_row_of_any_table_is_moved_and_named(path: Path, table: str) -> None:
    if table in ("tended", "observations", "flow_stretches"):
        pytest.skip("no such row here")
    column = {"watched_days": "day", "weather": "kept_utc", "ledger": "kept_utc"}.get(table)
    column = column or {"pulses": "zone", "fits": "written_utc", "entries": "written_utc"}.get(
        table, "at_utc"
    )
    column = "ends_utc" if table == "holds" else column
    with sqlite3.connect(path) as book:
        count = book.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        book.execute(
            f"UPDATE {table} SET {column} = '\x7f' WHERE rowid = (SELECT min(rowid) FROM {table})"
        )
    book.close()
    Logbook(path, HandClock()).close()
    with Questions(path) as ask:
        assert ask.rows_set_aside() == 1
        said = [h for h in ask.happenings() if h.kind == "rows set aside"]
        assert len(said) == 1 and said[0].words.startswith(f"in {table} a row is")
    with sqlite3.connect(path) as book:
        left = book.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        ((source, cells),) = book.execute(f"SELECT source, cells FROM {SET_ASIDE}").fetchall()
    book.close()
    # A happening is added; an entry whose moment alone is bad is put right.
    assert left == count - (0 if table in ("happenings", "entries") else 1)
    assert source == table and f"{column} = '\x7f'" in cells


def test_a_look_at_all_pulses_leaves_the_same_ones_to_be_seen(tmp_path: Path) -> None:
    """A season, three rows of it bad: seen is the same as without the look, before and after a row
    of the last days changes too."""
    clock, path = HandClock(), tmp_path / "logbook.db"
    with Logbook(path, clock) as book:
        for number in range(40):
            day = DAY + timedelta(days=number)
            close(book, book.intend(a_pulse(day=day)), 60.0, 5.0, "timed")
    changes = ("day = '2031-0v-01'", "state = 'clos%d'", "together = '['")
    with Questions(path) as looked, Questions(path) as other:
        for number, change in enumerate((*changes, "litres = NULL")):
            row = 40 if number == 3 else 5 + 7 * number
            with sqlite3.connect(path) as rows:
                rows.execute(f"UPDATE pulses SET {change} WHERE id = {row}")
            rows.close()
            if number < 3:
                assert looked.unsound() == number + 1
            seen = [found.id for found in looked.pulses(date.min, date.max)]
            assert seen == [found.id for found in other.pulses(date.min, date.max)]
            assert len(seen) == 39 - number
        assert looked.litres_by_zone_day() == other.litres_by_zone_day()
        # Of long ago a change is seen at the next look; the daemon looks before every plan.
        with sqlite3.connect(path) as rows:
            rows.execute("UPDATE pulses SET slot = -1 WHERE id = 2")
        rows.close()
        assert looked.unsound() == 5
        assert [r.id for r in looked.pulses(DAY, DAY + timedelta(days=3))] == [1, 3, 4]


def test_the_newest_moment_is_that_of_a_moment(path: Path) -> None:
    with Questions(path) as ask:
        newest = ask.last_written_utc()
    with sqlite3.connect(path) as book:
        book.execute("UPDATE notes SET at_utc = '9031-13-01T04:00:00.000000Z'")
    book.close()
    with Questions(path) as ask:
        assert ask.last_written_utc() == newest
