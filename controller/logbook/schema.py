"""The logbook's tables, as migrations: oldest first, appended to, never edited.

Opening a logbook looks at it first. One written by a newer Rowgate is refused and left as it is;
rows that cannot be are set aside in it (`door`), and an index that disagrees is made anew; a file
that is damaged beyond that is set aside under another name, kept, and a new one begun.
"""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database, Migrations

from controller.clock import Clock
from controller.errors import LogbookError
from controller.logbook.door import (
    GIVEN,
    GIVEN_INDEX,
    SET_ASIDE,
    compare_given,
    given_by_index,
    lenient,
    sweep,
)
from controller.logbook.faults import is_damage, plain
from controller.logbook.files import (
    LOG_DAMAGED,
    LONGEST_LOG_BYTES,
    file_id,
    keep_cut_log,
    put_aside,
    shorten_log,
)
from controller.logbook.records import utc_from_text, utc_text

SET = "rowgate-logbook"
MIGRATIONS = Migrations(SET)
# What services' days that have been were called before migration 6, and are now.
WERE_MEASURED = {f"{name} analysis": f"{name} model" for name in ("open-meteo", "nasa-power")}

# What SQLite's check says of single rows, which are set aside, and of indexes, which are made anew.
_OF_A_ROW = re.compile(r"(NULL|TEXT|NUMERIC|non-\w+) value in |CHECK constraint failed in ")
_OF_AN_INDEX = re.compile(r"missing from index|# of entries in index|non-unique entry in index")
MOST_ROWS = 10**15  # more than seconds since 1970, from which a second logbook of a run counts
_NO_LOGBOOK = {
    *(sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB),
    *(sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_FORMAT),
}


@MIGRATIONS(name="1 tables")
def _tables(db: Database) -> None:
    for table in (
        """CREATE TABLE weather (
            day TEXT NOT NULL, source TEXT NOT NULL, kept_utc TEXT NOT NULL,
            measured INTEGER NOT NULL CHECK (measured IN (0, 1)),
            tmin_c REAL, tmax_c REAL,
            rh_mean_pct REAL, rh_min_pct REAL, rh_max_pct REAL,
            dewpoint_c REAL, vapour_pressure_kpa REAL,
            wind_m_s REAL, wind_height_m REAL,
            solar_mj_m2 REAL, sunshine_h REAL,
            rain_mm REAL, rain_chance_pct REAL,
            PRIMARY KEY (day, source)) STRICT""",
        """CREATE TABLE ledger (
            zone TEXT NOT NULL, day TEXT NOT NULL, kept_utc TEXT NOT NULL,
            account TEXT NOT NULL, crop TEXT, stage TEXT NOT NULL,
            day_of_planting INTEGER NOT NULL,
            eto_mm REAL NOT NULL, method TEXT NOT NULL, kc REAL NOT NULL, etc_mm REAL NOT NULL,
            stress REAL NOT NULL, used_mm REAL NOT NULL,
            rain_mm REAL NOT NULL, rain_known INTEGER NOT NULL CHECK (rain_known IN (0, 1)),
            rain_unused_mm REAL NOT NULL, runoff_mm REAL NOT NULL, watered_mm REAL NOT NULL,
            drained_mm REAL NOT NULL, handed_over_mm REAL NOT NULL,
            start_depletion_mm REAL NOT NULL, depletion_mm REAL NOT NULL,
            root_depth_m REAL NOT NULL, taw_mm REAL NOT NULL, raw_mm REAL NOT NULL,
            depletion_fraction REAL NOT NULL,
            measured INTEGER NOT NULL CHECK (measured IN (0, 1)),
            PRIMARY KEY (zone, day)) STRICT""",
        # AUTOINCREMENT: the id of a pulse that was taken back is never given to another.
        """CREATE TABLE pulses (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            key TEXT NOT NULL UNIQUE,
            zone TEXT NOT NULL, day TEXT NOT NULL, slot INTEGER,
            valve TEXT NOT NULL, relay_line INTEGER, together TEXT NOT NULL DEFAULT '[]',
            state TEXT NOT NULL,
            planned_utc TEXT, planned_opens_utc TEXT, planned_open_s REAL, planned_litres REAL,
            intended_utc TEXT, opened_utc TEXT, opened_mono_s REAL, boot_id TEXT,
            beat_utc TEXT, beat_open_s REAL, beat_litres REAL,
            closed_utc TEXT, open_s REAL CHECK (open_s >= 0), litres REAL CHECK (litres >= 0),
            how_known TEXT,
            why TEXT NOT NULL DEFAULT '', who TEXT NOT NULL DEFAULT '') STRICT""",
        """CREATE TABLE readings (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            written_utc TEXT NOT NULL, at_utc TEXT NOT NULL,
            kind TEXT NOT NULL, value REAL NOT NULL, unit TEXT NOT NULL,
            day TEXT, zone TEXT, who TEXT NOT NULL) STRICT""",
        """CREATE TABLE notes (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            at_utc TEXT NOT NULL, words TEXT NOT NULL, zone TEXT, who TEXT NOT NULL) STRICT""",
        """CREATE TABLE holds (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            written_utc TEXT NOT NULL, begins_utc TEXT NOT NULL, ends_utc TEXT NOT NULL,
            zones TEXT NOT NULL, reason TEXT NOT NULL, lifted_utc TEXT) STRICT""",
        """CREATE TABLE happenings (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            at_utc TEXT NOT NULL, kind TEXT NOT NULL, words TEXT NOT NULL,
            zone TEXT, line INTEGER) STRICT""",
    ):
        db.execute(table)


@MIGRATIONS(name="2 indexes for the questions asked at every tick")
def _indexes(db: Database) -> None:
    db.execute("CREATE INDEX pulses_by_day ON pulses (day, zone)")
    db.execute("CREATE INDEX pulses_by_state ON pulses (state)")
    db.execute("CREATE INDEX pulses_by_end ON pulses (closed_utc)")
    db.execute("CREATE INDEX readings_by_kind ON readings (kind, day)")


@MIGRATIONS(name="3 field tests and what was fitted to them")
def _field_tests(db: Database) -> None:
    for table in (
        """CREATE TABLE measurements (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            written_utc TEXT NOT NULL, at_utc TEXT NOT NULL, who TEXT NOT NULL,
            said TEXT NOT NULL CHECK (json_valid(said)), taken_back_utc TEXT) STRICT""",
        """CREATE TABLE fits (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            written_utc TEXT NOT NULL,
            measurements TEXT NOT NULL CHECK (json_valid(measurements)),
            found TEXT NOT NULL CHECK (json_valid(found))) STRICT""",
    ):
        db.execute(table)


@MIGRATIONS(name="4 plant and soil apart, parts of a zone, and what people saw")
def _parts_and_observations(db: Database) -> None:
    """The ledger anew, keyed by zone, day and part.

    Days kept before are kept: of the whole zone (part ''), by the single coefficient, with neither
    exposure nor salts in them. What was not reckoned then (plant and soil apart, shade, plants,
    ground, snow) is NULL, not nought.
    """
    kept = (
        "zone, day, kept_utc, account, crop, stage, day_of_planting, eto_mm, method, kc, etc_mm, "
        "stress, used_mm, rain_mm, rain_known, rain_unused_mm, runoff_mm, watered_mm, drained_mm, "
        "handed_over_mm, start_depletion_mm, depletion_mm, root_depth_m, taw_mm, raw_mm, "
        "depletion_fraction, measured"
    )
    for work in (
        """CREATE TABLE ledger_by_part (
            zone TEXT NOT NULL, day TEXT NOT NULL, part TEXT NOT NULL DEFAULT '',
            kept_utc TEXT NOT NULL,
            account TEXT NOT NULL, crop TEXT, stage TEXT NOT NULL,
            day_of_planting INTEGER NOT NULL, phase TEXT NOT NULL DEFAULT '',
            coefficients TEXT NOT NULL DEFAULT 'single',
            eto_mm REAL NOT NULL, method TEXT NOT NULL, rung TEXT NOT NULL DEFAULT '',
            kc REAL NOT NULL, kcb REAL, ke REAL, exposure REAL NOT NULL DEFAULT 1.0,
            etc_mm REAL NOT NULL, stress REAL NOT NULL, salt_stress REAL NOT NULL DEFAULT 1.0,
            used_mm REAL NOT NULL, transpired_mm REAL, evaporated_mm REAL,
            rain_mm REAL NOT NULL, rain_known INTEGER NOT NULL CHECK (rain_known IN (0, 1)),
            rain_unused_mm REAL NOT NULL, runoff_mm REAL NOT NULL, snow_mm REAL,
            watered_mm REAL NOT NULL, drained_mm REAL NOT NULL, handed_over_mm REAL NOT NULL,
            start_depletion_mm REAL NOT NULL, depletion_mm REAL NOT NULL,
            surface_depletion_mm REAL, wetted_fraction REAL, exposed_fraction REAL, cover REAL,
            root_depth_m REAL NOT NULL, taw_mm REAL NOT NULL, raw_mm REAL NOT NULL,
            depletion_fraction REAL NOT NULL, plants REAL, ground_m2 REAL,
            measured INTEGER NOT NULL CHECK (measured IN (0, 1)),
            PRIMARY KEY (zone, day, part)) STRICT""",
        f"INSERT INTO ledger_by_part ({kept}) SELECT {kept} FROM ledger",
        "DROP TABLE ledger",
        "ALTER TABLE ledger_by_part RENAME TO ledger",
        """CREATE TABLE observations (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            written_utc TEXT NOT NULL,
            day TEXT NOT NULL, zone TEXT NOT NULL, event TEXT NOT NULL,
            crop TEXT NOT NULL, who TEXT NOT NULL, taken_back_utc TEXT) STRICT""",
    ):
        db.execute(work)


@MIGRATIONS(name="5 when it was last tended")
def _tended(db: Database) -> None:
    db.execute(
        """CREATE TABLE tended (
            id INTEGER PRIMARY KEY CHECK (id = 1),
            at_utc TEXT NOT NULL, words TEXT NOT NULL) STRICT"""
    )


@MIGRATIONS(name="6 what weather models say, and when it was given")
def _models(db: Database) -> None:
    """Services' days that have been were kept as measured; they are models' days."""
    db.execute("ALTER TABLE weather ADD COLUMN modelled INTEGER NOT NULL DEFAULT 0")
    db.execute("ALTER TABLE weather ADD COLUMN given_utc TEXT")
    for was, now in WERE_MEASURED.items():
        db.execute(
            "UPDATE weather SET measured = 0, modelled = 1, source = ? WHERE source = ?", [now, was]
        )


@MIGRATIONS(name="7 the driest quarter, two stores of soil water, and days a daemon watched")
def _driest_quarter(db: Database) -> None:
    """What was not computed before is NULL, not nought. Where a ledger was kept, it is said that
    the next plan computes it anew."""
    for work in (
        "ALTER TABLE pulses ADD COLUMN line_litres REAL",
        "ALTER TABLE pulses ADD COLUMN uniformity REAL",
        "ALTER TABLE ledger ADD COLUMN passed_mm REAL",
        "ALTER TABLE ledger ADD COLUMN water_from TEXT",
        "ALTER TABLE ledger ADD COLUMN wet_depletion_mm REAL",
        "ALTER TABLE ledger ADD COLUMN rest_depletion_mm REAL",
        "ALTER TABLE ledger ADD COLUMN rest_surface_depletion_mm REAL",
        "ALTER TABLE ledger ADD COLUMN wet_kc REAL",
        "ALTER TABLE ledger ADD COLUMN wet_drained_mm REAL",
        "ALTER TABLE ledger ADD COLUMN kc_max_base REAL",
        "ALTER TABLE ledger ADD COLUMN dry_days REAL",
        "CREATE TABLE watched_days (day TEXT PRIMARY KEY) STRICT",
        "INSERT INTO happenings (at_utc, kind, words) "
        "SELECT strftime('%Y-%m-%dT%H:%M:%fZ', 'now'), 'ledger computed anew', 'from now on the "
        "ledger follows the driest quarter of each bed, and hand valves count as printed unless a "
        "note says otherwise; the days kept so far are computed anew with the next plan' "
        "WHERE EXISTS (SELECT 1 FROM ledger)",
    ):
        db.execute(work)


@MIGRATIONS(name="8 what the meter saw of each open set")
def _flow_stretches(db: Database) -> None:
    """Apart from the pulses: their litres include the filling of the line and are shared out."""
    db.execute(
        """CREATE TABLE flow_stretches (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            at_utc TEXT NOT NULL, day TEXT NOT NULL,
            zones TEXT NOT NULL CHECK (json_valid(zones)),
            seconds REAL NOT NULL CHECK (seconds > 0), litres REAL NOT NULL CHECK (litres >= 0),
            computed_l_s REAL NOT NULL) STRICT"""
    )


@MIGRATIONS(name="9 rows that are not what they can be")
def _rows_set_aside(db: Database) -> None:
    """`cells` has each cell as SQL would write it; `wrong` names the first that cannot be."""
    db.execute(
        f"""CREATE TABLE {SET_ASIDE} (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            at_utc TEXT NOT NULL, source TEXT NOT NULL, row INTEGER NOT NULL,
            wrong TEXT, cells TEXT) STRICT"""
    )
    # A second copy of the water given: the check at opening holds the two against each other.
    db.execute(f"CREATE INDEX {GIVEN_INDEX} ON pulses ({', '.join(GIVEN)})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """An open logbook of one thread, and which file it is."""

    db: Database
    path: Path
    file_id: tuple[int, int]
    set_aside: Path | None  # where the damaged one before it lies now

    def is_the_file_there(self) -> bool:
        """Whether the path still names the file that is open."""
        return file_id(self.path) == self.file_id

    def begin(self) -> None:
        """Begin a transaction that may write, or fail now; a later start could not be retried."""
        self.db.execute("BEGIN IMMEDIATE")

    def commit(self) -> None:
        """Commit; the rows are synced to the disk when this returns."""
        self.db.commit()

    def rollback(self) -> None:
        """Take back what the transaction did."""
        self.db.rollback()

    def close(self) -> None:
        """Close the file."""
        self.db.close()


def open_book(path: Path, clock: Clock, *, wait_s: float, thorough: bool = False) -> Book:
    """Open or begin a logbook for writing, by one thread.

    `thorough` looks at the indexes, too: for a file that has shown damage while it was in use.

    Raises
    ------
    LogbookError
        If a newer Rowgate wrote it.
    sqlite3.Error, OSError
        If it cannot be opened or written now.
    """
    damage, index_damaged = _look(path, thorough=thorough)
    set_aside = None if damage is None else put_aside(path, clock)
    try:
        db = _opened(path, clock, wait_s, index_damaged and damage is None)
    except sqlite3.DatabaseError as error:
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
    """Open the file, bring it up to date, and set the rows aside that cannot be."""
    connection = sqlite3.connect(path, timeout=wait_s)
    connection.text_factory = lenient
    db = Database(connection)
    try:
        cut_log = keep_cut_log(path, connection, clock)
        db.enable_wal()
        db.execute("PRAGMA synchronous=FULL")
        db.execute("PRAGMA foreign_keys=ON")
        db.execute(f"PRAGMA journal_size_limit={LONGEST_LOG_BYTES}")
        copies: dict[int, tuple[object, ...]] = {}
        if index_damaged:
            copies = given_by_index(connection)
            db.execute("REINDEX")  # all of an index stands in its table, too
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
            swept = sweep(connection, now)
            # A number that no row ever had would make every new row the last.
            db.execute(
                "UPDATE sqlite_sequence SET seq = 0 WHERE typeof(seq) != 'integer' OR "
                f"seq NOT BETWEEN 0 AND {MOST_ROWS}"
            )
            db.commit()
        except BaseException:
            db.rollback()
            raise
        if swept.rows:
            damage, again = _check(connection, thorough=True)
            if damage is not None or again:
                raise sqlite3.IntegrityError(damage or "its rules are not those of a logbook")
    except BaseException:
        db.close()
        raise
    return db


def migrate(db: Database, clock: Clock, *, stop_before: str | None = None) -> None:
    """Bring the tables up to date, all or nothing; of two programs at once, the second waits."""
    if not MIGRATIONS.pending(db):
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        new = [migration.name for migration in MIGRATIONS.pending(db)]
        MIGRATIONS.apply(db, stop_before=stop_before)
        db.execute(
            "UPDATE _sqlite_migrations SET applied_at = ? WHERE migration_set = ? AND name IN "
            f"({', '.join('?' * len(new))})",
            [utc_text(clock.now_utc()), SET, *new],
        )
        db.commit()
    except BaseException:
        db.rollback()
        raise


def refuse_newer(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LogbookError if the logbook has a migration this Rowgate does not know."""
    known = set(_steps())
    try:
        rows = connection.execute("SELECT CAST(name AS BLOB) FROM _sqlite_migrations").fetchall()
        names = {lenient(row[0] or b"") for row in rows}
    except sqlite3.OperationalError as error:
        if "no such table" in str(error):
            return
        raise
    # A newer one has made all steps that this one knows; a name changed by damage is one of them.
    is_newer = known <= names or len(names) > len(known)
    unknown = sorted(names - known) if is_newer else []
    if unknown:
        raise LogbookError(
            f"logbook {path}: a newer Rowgate wrote it (it has {unknown[0]!r}); use that one, or "
            "name another folder; nothing in it was changed"
        )


def _steps() -> list[str]:
    return [migration.name for migration in MIGRATIONS.pending(Database(memory=True))]


def _mend_steps(db: Database, clock: Clock) -> None:
    """Put the list of steps right where damage changed a name or a moment in it.

    Steps are made in order, so that as many as there are tell which they are.
    """
    if "_sqlite_migrations" not in db.table_names():
        return
    rows = db.execute(
        "SELECT id, migration_set, name, applied_at FROM _sqlite_migrations NOT INDEXED ORDER BY id"
    ).fetchall()
    steps = _steps()
    if len(rows) > len(steps):
        return
    moments = sorted(moment for *_, moment in rows if _is_moment(moment))
    begun = moments[0] if moments else utc_text(clock.now_utc())
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
        db.commit()
    except BaseException:
        db.rollback()
        raise


def _is_moment(text: object) -> bool:
    try:
        return utc_from_text(str(text)).year >= 1970
    except ValueError:
        return False


def _miss_nothing(db: Database) -> None:
    """Raise IntegrityError where a table or a column of the steps made is not there, or no step
    is known and tables are: a name has changed."""
    has, steps, made = set(db.table_names()), _steps(), 0
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


def _is_no_logbook(error: sqlite3.DatabaseError) -> bool:
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF in _NO_LOGBOOK


def _look(path: Path, *, thorough: bool) -> tuple[str | None, bool]:
    """What is wrong with the file, or None, and whether an index is; reading only, so that a
    refused one stays as it is. Rows that cannot be are found later."""
    if not path.exists() or path.stat().st_size == 0:
        return None, False
    with path.open("rb") as file:
        head = file.read(100)
    if head[18:19] != head[19:20]:
        return "its head says two ways of writing", False
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    connection.text_factory = lenient
    try:
        found = _check(connection, thorough=thorough)
        if found[0] is None:
            refuse_newer(connection, path)
    except sqlite3.DatabaseError as error:
        if is_damage(error) or _is_no_logbook(error):
            return str(error), False
        raise
    finally:
        connection.close()
    return found


def _check(connection: sqlite3.Connection, *, thorough: bool) -> tuple[str | None, bool]:
    """What SQLite finds wrong with the file beyond single rows, and whether with an index.

    What people and valves wrote is held against its indexes at every look, the rest if `thorough`.
    """
    checks = ["integrity_check(1000)"]
    if not thorough:
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
        both_ways = [table for table in ("pulses", "readings") if table in tables]
        checks = ["quick_check(1000)", *(f"integrity_check({table})" for table in both_ways)]
    found = [str(row[0]) for check in checks for row in connection.execute(f"PRAGMA {check}")]
    wrong = [line for line in found if line != "ok"]
    beyond = [line for line in wrong if not (_OF_A_ROW.match(line) or _OF_AN_INDEX.search(line))]
    if beyond or not found:
        return (beyond[0] if beyond else "the check said nothing"), False
    return None, any(_OF_AN_INDEX.search(line) for line in wrong)
