"""Keeps the logbook small on a card: rules of thinning, and the log beside the file.

Kept for ever: water that was given, the ledger, past weather, field tests, and everything a person
wrote down. A season is computed from them, and they grow by a bounded amount a day. RULES thin what
no computation uses any more. Later rows use freed pages again; the file is not compacted, which
would write all of it anew.

The clock alone thins nothing, for it may be wrong by years: days count back from the last day on
which water was given.
"""

from __future__ import annotations

import logging
import sqlite3
from dataclasses import dataclass
from datetime import date, timedelta

from controller.clock import Clock
from controller.logbook.files import LOG_DAMAGED, is_damage, shorten_log
from controller.logbook.records import utc_from_text, utc_text
from controller.logbook.row_rules import KIND, sweep
from controller.logbook.schema import Book

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
        self._under_way = self._swept = False

    def step(self, book: Book) -> bool:
        """Do the next small piece, if any is due; whether another may follow at once."""
        if not self._under_way:
            if self._clock.mono_s() < self._due_mono_s:
                return False
            self._due_mono_s = self._clock.mono_s() + EVERY_S
            if self._tended_lately(book):
                return False
            self._left, self._thinned, self._under_way = list(RULES), {}, True
            self._swept = False
        try:
            if not self._swept:
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

    def _tended_lately(self, book: Book) -> bool:
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
        self._swept = True

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
