"""The logbook's tables, as migrations: oldest first, appended to, never edited."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from controller.clock import Clock
from controller.errors import LogbookError
from controller.lean import OPENSSL, out_of_sight
from controller.logbook.entries import COLUMNS, number_all
from controller.logbook.records import utc_text
from controller.logbook.row_rules import GIVEN, GIVEN_INDEX, SET_ASIDE, lenient

with out_of_sight("numpy", "pandas", *OPENSSL):
    from sqlite_utils import Database as Database
    from sqlite_utils import Migrations

SET = "rowgate-logbook"
NO_FILE = (0, 0)
MIGRATIONS = Migrations(SET)
# What services' days that have been were called before migration 6, and are now.
WERE_MEASURED = {f"{name} analysis": f"{name} model" for name in ("open-meteo", "nasa-power")}


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
    """Build the ledger anew, keyed by zone, day and part.

    Days kept before stay: of the whole zone (part ''), by the single coefficient, without exposure
    and salts. What was not computed then (plant and soil apart, shade, plants, ground, snow) is
    NULL, not 0.
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
    """Mark the past days of services, kept as measured until now, as days of models."""
    db.execute("ALTER TABLE weather ADD COLUMN modelled INTEGER NOT NULL DEFAULT 0")
    db.execute("ALTER TABLE weather ADD COLUMN given_utc TEXT")
    for was, now in WERE_MEASURED.items():
        db.execute(
            "UPDATE weather SET measured = 0, modelled = 1, source = ? WHERE source = ?", [now, was]
        )


@MIGRATIONS(name="7 the driest quarter, two stores of soil water, and days a daemon watched")
def _driest_quarter(db: Database) -> None:
    """Add the driest quarter; what was not computed before is NULL, not 0.

    Where a ledger was kept, a note says that the next plan computes it anew.
    """
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
    """Add the meter's stretches, apart from pulses, whose litres are shared out among zones."""
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
    """Add set-aside rows: `cells` has each cell as SQL writes it, `wrong` the first bad one."""
    db.execute(
        f"""CREATE TABLE {SET_ASIDE} (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            at_utc TEXT NOT NULL, source TEXT NOT NULL, row INTEGER NOT NULL,
            wrong TEXT, cells TEXT) STRICT"""
    )
    # A second copy of the water given: the check at opening holds the two against each other.
    db.execute(f"CREATE INDEX {GIVEN_INDEX} ON pulses ({', '.join(GIVEN)})")


@MIGRATIONS(name="10 every note has a number, and is taken back by an entry of its own")
def _entries(db: Database) -> None:
    """Number the notes written so far; what was taken back until now gets its withdrawal."""
    db.execute(f"CREATE TABLE entries {COLUMNS}")
    db.execute(
        "CREATE UNIQUE INDEX entries_taken_back ON entries (takes_back) "
        "WHERE takes_back IS NOT NULL"
    )
    number_all(db.conn, "main")


def file_id(path: Path) -> tuple[int, int]:
    """Device and inode, which distinguish a file from another at its path; NO_FILE for none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return NO_FILE
    return (found.st_dev, found.st_ino)


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
        """Undo what the transaction did."""
        self.db.rollback()

    def close(self) -> None:
        """Close the file."""
        self.db.close()


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
    known = set(steps_known())
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


def steps_known() -> list[str]:
    """The names of all steps, in their order."""
    return [migration.name for migration in MIGRATIONS.pending(Database(memory=True))]
