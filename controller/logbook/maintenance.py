"""Looks after the logbook's file: checks and mends it when it is opened, thins it once a day.

A logbook of a newer Rowgate is refused and stays as it is. Impossible rows are set aside in it
(`row_rules`), and an index that disagrees is built anew. A file damaged beyond that is kept under
another name, and a new one begun.

Kept for ever: water that was given, the ledger, past weather, field tests, and everything a person
wrote down. A season is computed from them, and they grow by a bounded amount a day. RULES thin what
no computation uses any more. Later rows use freed pages again; the file is not compacted, which
would write all of it anew. The clock alone thins nothing, for it may be wrong by years: days count
back from the last day on which water was given.
"""

from __future__ import annotations

import logging
import re
import sqlite3
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from controller.clock import Clock
from controller.logbook.files import (
    LOG_DAMAGED,
    LONGEST_LOG_BYTES,
    REMEMBERED_KIB,
    is_damage,
    keep_cut_log,
    plain,
    put_aside,
    read_shared,
    shorten_log,
)
from controller.logbook.records import utc_from_text, utc_text
from controller.logbook.row_rules import KIND, compare_given, given_by_index, lenient, sweep
from controller.logbook.schema import (
    MIGRATIONS,
    SET,
    Book,
    Database,
    file_id,
    migrate,
    refuse_newer,
    steps_known,
)

# What SQLite's check says of single rows, which are set aside, and of indexes, which are made anew.
_OF_A_ROW = re.compile(r"(NULL|TEXT|NUMERIC|non-\w+) value in |CHECK constraint failed in ")
_OF_AN_INDEX = re.compile(
    r"missing from index|# of entries in index|non-unique entry in index|not at end-of-record"
)
MOST_ROWS = 10**15  # more than seconds since 1970, from which a second logbook of a run counts
_NO_LOGBOOK = {
    *(sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB),
    *(sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_FORMAT),
}


def open_book(path: Path, clock: Clock, *, wait_s: float) -> Book:
    """Open or begin a logbook for writing, by one thread.

    Raises
    ------
    LogbookError
        If a newer Rowgate wrote it.
    sqlite3.Error, OSError
        If it cannot be opened or written now.
    """
    damage, index_damaged = _look(path)
    set_aside = None if damage is None else put_aside(path, clock)
    try:
        db = _opened(path, clock, wait_s, index_damaged and damage is None)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        # It reads, but is no logbook: a table or a column has gone, or a rule has changed.
        if set_aside is not None or not _is_no_logbook(error):
            raise
        MIGRATIONS.apply(Database(memory=True))  # this SQLite can have a logbook: not its fault
        damage, set_aside = str(error), put_aside(path, clock)
        db = _opened(path, clock, wait_s, False)
    try:
        if set_aside is not None:
            db.table("happenings").insert(
                {
                    "at_utc": utc_text(clock.now_utc()),
                    "kind": "logbook damaged",
                    "words": f"the logbook was damaged ({damage}); it is kept as {set_aside.name} "
                    "and this one begun, which knows nothing of what was given before",
                }
            )
        shorten_log(db.conn)
    except BaseException:
        db.close()
        raise
    return Book(db=db, path=path, file_id=file_id(path), set_aside=set_aside)


def _opened(path: Path, clock: Clock, wait_s: float, index_damaged: bool) -> Database:
    """Open the file, bring it up to date, and set impossible rows aside."""
    connection = sqlite3.connect(path, timeout=wait_s)
    connection.text_factory = lenient
    db = Database(connection)
    try:
        cut_log = keep_cut_log(path, connection, clock)
        db.enable_wal()
        db.execute("PRAGMA synchronous=FULL")
        db.execute(f"PRAGMA cache_size=-{REMEMBERED_KIB}")
        db.execute("PRAGMA foreign_keys=ON")
        db.execute(f"PRAGMA journal_size_limit={LONGEST_LOG_BYTES}")
        copies: dict[int, tuple[object, ...]] = {}
        if index_damaged:
            copies = given_by_index(connection)
            db.execute("REINDEX")  # all of an index stands in its table, too
        _mend_numbers(db)
        _mend_steps(db, clock)
        _miss_nothing(db)
        try:
            migrate(db, clock)
        except sqlite3.DatabaseError as error:
            # An older logbook that reads is not set aside because something is in a step's way.
            raise error if is_damage(error) else plain(error, path) from error
        now = utc_text(clock.now_utc())
        db.execute("BEGIN IMMEDIATE")
        try:
            if cut_log is not None:
                db.execute(
                    "INSERT INTO happenings (at_utc, kind, words) VALUES (?, ?, ?)",
                    [now, LOG_DAMAGED, cut_log],
                )
            if copies:
                compare_given(connection, copies, now)
            done = sweep(connection, now)
            db.commit()
        except BaseException:
            db.rollback()
            raise
        if done.rows:
            damage, again = _check(connection)
            if damage is not None or again:
                raise sqlite3.IntegrityError(damage or "its rules are not those of a logbook")
    except BaseException:
        db.close()
        raise
    return db


def _mend_numbers(db: Database) -> None:
    """Forget a last number that no row ever had: after the highest number there is no room."""
    if "sqlite_sequence" not in {row[0] for row in db.execute("SELECT name FROM sqlite_master")}:
        return
    wrong = f"typeof(seq) != 'integer' OR seq NOT BETWEEN 0 AND {MOST_ROWS}"
    if db.execute(f"SELECT 1 FROM sqlite_sequence WHERE {wrong}").fetchall():
        # Rows there are, are counted all the same.
        db.execute(f"UPDATE sqlite_sequence SET seq = 0 WHERE {wrong}")
        db.commit()


def _mend_steps(db: Database, clock: Clock) -> None:
    """Mend the list of steps where damage changed a name or a moment in it.

    Steps are made in order, so their count shows which they are.
    """
    if "_sqlite_migrations" not in db.table_names():
        return
    rows = db.execute(
        "SELECT id, migration_set, name, applied_at FROM _sqlite_migrations NOT INDEXED ORDER BY id"
    ).fetchall()
    steps = steps_known()
    if len(rows) > len(steps):
        return
    moments = sorted(moment for *_, moment in rows if _is_moment(moment))
    begun = moments[0] if moments else _first_day(db) or utc_text(clock.now_utc())
    wanted = [
        (number, SET, step, moment if _is_moment(moment) else begun)
        for (number, _, _, moment), step in zip(rows, steps, strict=False)
    ]
    if wanted == [tuple(row) for row in rows]:
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        for number, name_of_set, step, moment in wanted:
            db.execute(
                "UPDATE _sqlite_migrations SET migration_set = ?, name = ?, applied_at = ? "
                "WHERE id = ?",
                [name_of_set, step, moment, number],
            )
        db.execute(
            "INSERT INTO happenings (at_utc, kind, words) VALUES (?, ?, ?)",
            [
                utc_text(clock.now_utc()),
                KIND,
                f"the logbook's list of its own steps was damaged, and is put right; it counts as "
                f"begun on {begun[:10]}",
            ],
        )
        db.commit()
    except BaseException:
        db.rollback()
        raise


def _first_day(db: Database) -> str | None:
    """The first day on which water was given or a daemon watched, as a moment."""
    days = [
        row[0]
        for table in ("watched_days", "pulses")
        if table in db.table_names()
        for row in db.execute(f"SELECT min(day) FROM {table} WHERE day = date(day)")
        if row[0] is not None
    ]
    return f"{min(days)}T00:00:00.000000Z" if days else None


def _is_moment(text: object) -> bool:
    try:
        return utc_from_text(str(text)).year >= 1970
    except ValueError:
        return False


def _miss_nothing(db: Database) -> None:
    """Raise IntegrityError where a table or column of the steps made is missing.

    The same where no step is known but tables are there: a name has changed.
    """
    has, steps, made = set(db.table_names()), steps_known(), 0
    if "_sqlite_migrations" in has:
        made = db.execute("SELECT count(*) FROM _sqlite_migrations").fetchone()[0]
    new = Database(memory=True)
    if made:
        MIGRATIONS.apply(new, stop_before=steps[made] if made < len(steps) else None)
    elif others := sorted(has - {"_sqlite_migrations"}):
        raise sqlite3.IntegrityError(f"it has {others[0]}, and no list of its steps")
    for table in new.table_names():
        asked = f"SELECT name FROM pragma_table_info('{table}')"
        missing = set(new.execute(asked).fetchall()) - set(db.execute(asked).fetchall())
        for (column,) in sorted(missing):
            raise sqlite3.IntegrityError(f"table {table} has no column {column}")


def _is_no_logbook(error: sqlite3.DatabaseError | UnicodeDecodeError) -> bool:
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF in _NO_LOGBOOK


def _look(path: Path) -> tuple[str | None, bool]:
    """What is wrong with the file, or None, and whether it is an index.

    It only reads, so that a refused file stays as it is. Impossible rows are found later.
    """
    if not path.exists() or path.stat().st_size == 0:
        return None, False
    head = read_shared(path, 100)
    if head[18:19] != head[19:20]:
        return "its head says two ways of writing", False
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    connection.text_factory = lenient
    try:
        found = _check(connection)
        if found[0] is None:
            refuse_newer(connection, path)
    except sqlite3.DatabaseError as error:
        if is_damage(error) or _is_no_logbook(error):
            return str(error), False
        raise
    except UnicodeDecodeError:
        return "its own tables do not read as text", False  # SQLite's words have a name in them
    finally:
        connection.close()
    return found


def _check(connection: sqlite3.Connection) -> tuple[str | None, bool]:
    """What SQLite finds wrong with the file beyond single rows, and whether it is an index.

    Each index is checked against its table: one that has changed gives wrong rows, or no answer.
    """
    found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(1000)")]
    wrong = [line for line in found if line != "ok"]
    beyond = [line for line in wrong if not (_OF_A_ROW.match(line) or _OF_AN_INDEX.search(line))]
    if beyond or not found:
        return (beyond[0] if beyond else "the check said nothing"), False
    return None, any(_OF_AN_INDEX.search(line) for line in wrong)


# All our choice. Long enough that a gardener's "what was it last year" still has its answer.
FORECASTS_KEPT = timedelta(weeks=8)
PULSES_KEPT = timedelta(days=730)
HAPPENINGS_KEPT = timedelta(days=730)
MOST_HAPPENINGS = 20_000  # whatever their age: a fault that repeats must not fill the card
AT_ONCE = 200  # rows in one transaction, so that a valve's row never waits long
# What proves how the garden was built, or why rows are missing, is not thinned.
KINDS_KEPT = ("walk", "logbook damaged", KIND, LOG_DAMAGED)

FIRST_AFTER_S = 600.0  # a command that writes one row and ends never tends; a daemon does
EVERY_S = 86_400.0
NOT_AGAIN_WITHIN = timedelta(hours=20)  # by the clock, across starts
_LOG = logging.getLogger("rowgate.logbook")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What is thinned, and why it is not missed; `sql` takes :before, :most and :at_once."""

    what: str
    why: str
    kept_days: int
    sql: str


# A forecast may still lend a past day what nobody measured of it: only where the measured rows of
# that day, or a model's, have all that reference ET can use is it spare.
_KNOWN = "SELECT 1 FROM weather AS m WHERE m.day = w.day AND (m.measured OR m.modelled) AND "
RULES = (
    Rule(
        what="forecasts of days over",
        why="the day is known in full from a station or a model, which outrank them",
        kept_days=FORECASTS_KEPT.days,
        sql="DELETE FROM weather WHERE rowid IN (SELECT w.rowid FROM weather AS w "
        "WHERE NOT (w.measured OR w.modelled) AND w.day < :before "
        f"AND EXISTS ({_KNOWN} m.tmin_c IS NOT NULL AND m.tmax_c IS NOT NULL) "
        f"AND EXISTS ({_KNOWN} coalesce(m.vapour_pressure_kpa, m.dewpoint_c, m.rh_max_pct, "
        "m.rh_mean_pct) IS NOT NULL) "
        f"AND EXISTS ({_KNOWN} m.wind_m_s IS NOT NULL) "
        f"AND EXISTS ({_KNOWN} coalesce(m.solar_mj_m2, m.sunshine_h) IS NOT NULL) "
        "LIMIT :at_once)",
    ),
    Rule(
        what="pulses that gave no water",
        why="they were missed, refused or only planned, and credit nothing",
        kept_days=PULSES_KEPT.days,
        sql="DELETE FROM pulses WHERE id IN (SELECT id FROM pulses WHERE "
        "state IN ('planned', 'missed', 'refused') AND day < :before LIMIT :at_once)",
    ),
    Rule(
        what="what the meter saw long ago",
        why="a set is held against its own last two seasons",
        kept_days=PULSES_KEPT.days,
        sql="DELETE FROM flow_stretches WHERE id IN (SELECT id FROM flow_stretches WHERE "
        "day < :before LIMIT :at_once)",
    ),
    Rule(
        what="happenings of long ago",
        why="they tell of faults, and nothing is computed from them",
        kept_days=HAPPENINGS_KEPT.days,
        sql="DELETE FROM happenings WHERE id IN (SELECT id FROM happenings WHERE "
        f"kind NOT IN {KINDS_KEPT!r} AND at_utc < :before LIMIT :at_once)",
    ),
    Rule(
        what="happenings beyond the newest",
        why="a fault that repeats is known from its newest rows",
        kept_days=0,
        sql="DELETE FROM happenings WHERE id IN (SELECT id FROM happenings WHERE "
        f"kind NOT IN {KINDS_KEPT!r} "
        "AND id <= (SELECT max(id) FROM happenings) - :most LIMIT :at_once)",
    ),
)


class Maintenance:
    """Maintains the logbook once a day, in the writer's thread, a small transaction at a time.

    The writer calls `step` whenever nothing waits for it; most calls find that nothing is due.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._due_mono_s = clock.mono_s() + FIRST_AFTER_S
        self._left: list[Rule] = []
        self._thinned: dict[str, int] = {}
        self._under_way = self._checked = False

    def step(self, book: Book) -> bool:
        """Do the next small piece, if any is due; whether another may follow at once."""
        if not self._under_way:
            if self._clock.mono_s() < self._due_mono_s:
                return False
            self._due_mono_s = self._clock.mono_s() + EVERY_S
            if self._is_done_lately(book):
                return False
            self._left, self._thinned, self._under_way = list(RULES), {}, True
            self._checked = False
        try:
            if not self._checked:
                self._sweep(book)
                return True
            if self._left:
                self._thin(book, self._left[0])
            else:
                self._under_way = False
                self._finish(book)
        except (sqlite3.Error, OSError) as fault:
            self._under_way = False
            if isinstance(fault, sqlite3.Error) and is_damage(fault):
                raise
            _LOG.warning("the logbook is tended another day: %s", fault)
        return self._under_way

    def _is_done_lately(self, book: Book) -> bool:
        last = book.db.execute("SELECT at_utc FROM tended").fetchone()
        if last is None:
            return False
        since = self._clock.now_utc() - utc_from_text(last[0])
        return timedelta(0) <= since < NOT_AGAIN_WITHIN

    def _sweep(self, book: Book) -> None:
        """Set rows aside that have become impossible since the file was opened."""
        book.begin()
        try:
            sweep(book.db.conn, utc_text(self._clock.now_utc()))
            book.commit()
        except BaseException:
            book.rollback()
            raise
        self._checked = True

    def _thin(self, book: Book, rule: Rule) -> None:
        values = self._bounds(book, rule)
        if values is None:
            self._left.pop(0)
            return
        book.begin()
        try:
            gone = book.db.execute(rule.sql, values).rowcount
            book.commit()
        except BaseException:
            book.rollback()
            raise
        if gone:
            self._thinned[rule.what] = self._thinned.get(rule.what, 0) + gone
        if gone < AT_ONCE:
            self._left.pop(0)

    def _bounds(self, book: Book, rule: Rule) -> dict[str, object] | None:
        """The values of a rule; None where there is no day to count back from."""
        values: dict[str, object] = {"at_once": AT_ONCE}
        if not rule.kept_days:
            return values | {"most": MOST_HAPPENINGS}
        newest = _newest_day(book)
        if newest is None:
            return None
        today = min(newest, self._clock.now_utc().date())
        return values | {"before": (today - timedelta(days=rule.kept_days)).isoformat()}

    def _finish(self, book: Book) -> None:
        words = ", ".join(f"{count} {what}" for what, count in self._thinned.items()) or "nothing"
        book.begin()
        try:
            book.db.execute(
                "INSERT INTO tended (id, at_utc, words) VALUES (1, ?, ?) "
                "ON CONFLICT (id) DO UPDATE SET at_utc = excluded.at_utc, words = excluded.words",
                [utc_text(self._clock.now_utc()), f"thinned: {words}"],
            )
            book.commit()
        except BaseException:
            book.rollback()
            raise
        shorten_log(book.db.conn)


def _newest_day(book: Book) -> date | None:
    """The last day on which water was given: no valve opens by plan while the clock is doubted."""
    found = book.db.execute(
        "SELECT max(day) FROM pulses WHERE state IN ('closed', 'cut')"
    ).fetchone()[0]
    return None if found is None else date.fromisoformat(found)
