"""Rules for the rows of the logbook: an impossible row is refused and set aside.

A card that flips a bit leaves rows which SQLite reads silently: a day that is none, an unknown
state, a number without bounds. Readers use views that have the sound rows only. The writer moves
the others into a table of their own, keeps them there, and reports it once. Of water that was
given, it first mends what the rest of the row still shows.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from controller.demand.climate.snow import MOST_MM
from controller.demand.plants.observations import EVENTS, OLD_GONE
from controller.garden.plumbing import ValveKind
from controller.logbook.entries import COLUMNS, ENTRIES, NOTED, gone, number_all
from controller.logbook.records import HowKnown, PulseState
from controller.weather.day import LIMITS

Test = Callable[[str], str]  # from a column to what SQL must find true of it
SET_ASIDE = "rows_set_aside"
KIND = "rows set aside"  # of the happening
LONGEST_OPEN_S = 7 * 86_400.0  # more in one pulse is a slip; our choice
MOST_LITRES = 1e6  # the same
# No figure of the ledger, of a reading or of a clock comes near these; our choice.
_ANY, _HUGE = 1e6, 1e12
# Kept once more in an index, whose copy shows where a bit has flipped in either.
GIVEN_INDEX = "pulses_given"
GIVEN = ("day", "zone", "state", "litres", "line_litres", "uniformity")
_LIVE_DAYS = 2  # whose pulses still change; our choice
_MOST_NAMED_BAD = 500  # pulses left out by their numbers; our choice
_LOOKS = 3  # a state, then what hangs on it, then what was found from a bad cell
_OF_A_PLAN = ("slot", "planned_opens_utc", "planned_open_s", "planned_litres")
_NAMED = 12  # rows named in one happening; the rest is counted
_DATE = "-".join("[0-9]" * n for n in (4, 2, 2))
_TIME = "[0-9][0-9]:[0-5][0-9]:[0-5][0-9]"


def lenient(text: bytes) -> str:
    """Text from the file; a byte that is no text becomes a question mark."""
    return text.decode("utf-8", "replace")


def _text(column: str) -> str:
    return f"typeof({column}) = 'text'"


def _day(column: str) -> str:
    # The modifier has SQLite count the day through: 30 February becomes 2 March, and is no day.
    return f"{column} = date({column}, '+0 days') AND {column} >= '0001'"


def is_moment(column: str) -> str:
    """The SQL test of a moment as the logbook writes it."""
    # Six digits of a second as Python writes them, three as SQLite does.
    six, three = (f"{column} GLOB '{_DATE}T{_TIME}.{'[0-9]' * digits}Z'" for digits in (6, 3))
    # Only the odd ones are counted through, as for a day: that takes longer.
    month, day, hour = (f"substr({column}, {place}, 2)" for place in (6, 9, 12))
    plain = f"{month} BETWEEN '01' AND '12' AND {day} BETWEEN '01' AND '28' AND {hour} < '24'"
    second = f"substr({column}, 1, 19)"
    counted = f"strftime('%Y-%m-%dT%H:%M:%S', {second}, '+0 days') = {second}"
    return f"({six} OR {three}) AND (({plain}) OR {counted}) AND {column} >= '1970'"


def _number(low: float, high: float) -> Test:
    return lambda column: (
        # What is no number but text lies above all numbers, and NULL is between none.
        f"{column} BETWEEN {low!r} AND {high!r} AND typeof({column}) != 'text'"
    )


def _integer(low: int, high: int) -> Test:
    return lambda column: f"typeof({column}) = 'integer' AND {column} BETWEEN {low} AND {high}"


def _one_of(names: Iterable[str]) -> Test:
    listed = ", ".join(f"'{name}'" for name in names)
    return lambda column: f"{column} IN ({listed})"


def _list_of(kind: str) -> Test:
    return lambda column: (
        f"CASE WHEN {column} = '[]' THEN 1 WHEN json_valid({column}) "
        f"THEN json_type({column}) = 'array' AND NOT EXISTS "
        f"(SELECT 1 FROM json_each({column}) AS j WHERE j.type != '{kind}') ELSE 0 END"
    )


def _json_object(column: str) -> str:
    return f"CASE WHEN json_valid({column}) THEN json_type({column}) = 'object' ELSE 0 END"


def _or_none(test: Test) -> Test:
    return lambda column: f"({column} IS NULL OR ({test(column)}))"


_SECONDS, _LITRES = _number(0.0, LONGEST_OPEN_S), _number(0.0, MOST_LITRES)
_MM, _TRUTH, _ID = _number(-_ANY, _ANY), _integer(0, 1), _integer(1, 2**62)
_TEXT_OR_NONE, _MOMENT_OR_NONE = _or_none(_text), _or_none(is_moment)
_LEDGER_NUMBERS = (
    *("eto_mm", "kc", "etc_mm", "stress", "used_mm", "rain_mm", "rain_unused_mm", "runoff_mm"),
    *("watered_mm", "drained_mm", "handed_over_mm", "start_depletion_mm", "depletion_mm"),
    *("root_depth_m", "taw_mm", "raw_mm", "depletion_fraction", "exposure", "salt_stress"),
)
_LEDGER_NUMBERS_OR_NONE = (
    *("kcb", "ke", "transpired_mm", "evaporated_mm", "snow_mm", "surface_depletion_mm"),
    *("wetted_fraction", "exposed_fraction", "cover", "plants", "ground_m2", "passed_mm"),
    *("wet_depletion_mm", "rest_depletion_mm", "rest_surface_depletion_mm", "wet_kc"),
    *("wet_drained_mm", "kc_max_base", "dry_days"),
)
_WHO = {"who": _text}

# What each cell may be. A column that an older logbook does not have is not asked for.
CELLS: Mapping[str, Mapping[str, Test]] = {
    "weather": {"day": _day, "source": _text, "kept_utc": is_moment}
    | {"measured": _TRUTH, "modelled": _TRUTH, "given_utc": _MOMENT_OR_NONE}
    | {name: _or_none(_number(limit.low, limit.high)) for name, limit in LIMITS.items()}
    | {
        "rain_mm": _or_none(_number(0.0, MOST_MM)),
        "wind_height_m": _or_none(_number(0.01, 1000.0)),
    },
    "ledger": {"zone": _text, "day": _day, "part": _text, "kept_utc": is_moment, "account": _text}
    | {"crop": _TEXT_OR_NONE, "stage": _text, "method": _text, "phase": _text, "rung": _text}
    | {"coefficients": _text, "water_from": _TEXT_OR_NONE, "day_of_planting": _integer(0, 100_000)}
    | {"rain_known": _TRUTH, "measured": _TRUTH}
    | dict.fromkeys(_LEDGER_NUMBERS, _MM)
    | dict.fromkeys(_LEDGER_NUMBERS_OR_NONE, _or_none(_MM)),
    "pulses": {"id": _ID, "zone": _text, "day": _day, "slot": _or_none(_integer(0, 1_000_000))}
    | {"valve": _one_of(ValveKind), "relay_line": _or_none(_integer(0, 10_000))}
    | {"together": _list_of("text"), "state": _one_of(PulseState)}
    | {f"{did}_utc": _MOMENT_OR_NONE for did in ("planned", "planned_opens", "intended")}
    | {f"{did}_utc": _MOMENT_OR_NONE for did in ("opened", "beat", "closed")}
    | dict.fromkeys(("planned_open_s", "beat_open_s", "open_s"), _or_none(_SECONDS))
    | dict.fromkeys(("planned_litres", "beat_litres", "litres"), _or_none(_LITRES))
    | {"opened_mono_s": _or_none(_number(-_HUGE, _HUGE)), "boot_id": _TEXT_OR_NONE}
    | {"how_known": _or_none(_one_of(HowKnown)), "why": _text, "who": _text}
    | {"line_litres": _or_none(_LITRES), "uniformity": _or_none(_number(0.0, 2.0))},
    "readings": {"id": _ID, "written_utc": is_moment, "at_utc": is_moment, "kind": _text}
    | {"value": _number(-_HUGE, _HUGE), "unit": _text}
    | {"day": _or_none(_day), "zone": _TEXT_OR_NONE}
    | _WHO,
    "notes": {"id": _ID, "at_utc": is_moment, "words": _text, "zone": _TEXT_OR_NONE} | _WHO,
    "holds": {"id": _ID, "written_utc": is_moment, "begins_utc": is_moment, "ends_utc": is_moment}
    | {"zones": _list_of("text"), "reason": _text, "lifted_utc": _MOMENT_OR_NONE},
    "happenings": {"id": _ID, "at_utc": is_moment, "kind": _text, "words": _text}
    | {"zone": _TEXT_OR_NONE, "line": _or_none(_integer(-1, 10_000))},
    "measurements": {"id": _ID, "written_utc": is_moment, "at_utc": is_moment, "said": _json_object}
    | {"taken_back_utc": _MOMENT_OR_NONE}
    | _WHO,
    "fits": {"id": _ID, "written_utc": is_moment, "measurements": _list_of("integer")}
    | {"found": _json_object},
    "observations": {"id": _ID, "written_utc": is_moment, "day": _day, "zone": _text}
    | {"event": _one_of((*EVENTS, OLD_GONE)), "crop": _text, "taken_back_utc": _MOMENT_OR_NONE}
    | _WHO,
    ENTRIES: {"id": _ID, "written_utc": is_moment, "source": _one_of((*NOTED, ENTRIES))}
    | {"row": _ID, "takes_back": _or_none(_ID), "why": _text}
    | _WHO,
    "tended": {"at_utc": is_moment, "words": _text},
    "watched_days": {"day": _day},
    "flow_stretches": {"id": _ID, "at_utc": is_moment, "day": _day, "zones": _list_of("text")}
    | {"seconds": _number(0.0, _ANY), "litres": _LITRES, "computed_l_s": _number(0.0, 1000.0)},
}
_NO_SLOT = "substr(key, length(zone) + length(day) + 3)"
_GAVE, _AHEAD = "state IN ('closed', 'cut')", "state IN ('planned', 'intended', 'open')"
# What the cells of a row must be to each other.
TOGETHER: Mapping[str, Mapping[str, str]] = {
    "pulses": {
        # A key says once more what zone, day and slot say.
        "key": f"key = zone || '|' || day || '|' || coalesce(slot, {_NO_SLOT}) AND (slot IS NOT "
        f"NULL OR ({_NO_SLOT} GLOB 'h[0-9]*' AND {_NO_SLOT} NOT GLOB 'h*[^0-9]*'))",
        "state and end": f"NOT {_GAVE} OR (litres IS NOT NULL AND closed_utc IS NOT NULL)",
        "state and plan": f"NOT ({_AHEAD} OR state = 'assumed') OR (slot IS NOT NULL AND "
        "planned_opens_utc IS NOT NULL AND planned_open_s IS NOT NULL AND planned_litres IS NOT "
        "NULL)",
        "day and opening": "planned_opens_utc IS NULL OR abs(julianday(substr(planned_opens_utc, "
        "1, 19)) - julianday(day)) <= 2.5",
    },
    "holds": {"begin and end": "begins_utc < ends_utc"},
}
# What of a pulse that ran, or may run, can be told from the rest of its row, or done without.
_SLOT_INFERRED = f"CASE WHEN {_NO_SLOT} GLOB '[0-9]*' AND {_NO_SLOT} NOT GLOB '*[^0-9]*' THEN "
_SLOT_INFERRED += f"CAST({_NO_SLOT} AS INTEGER) END"
_STATE_INFERRED = (
    "CASE WHEN litres IS NOT NULL OR (opened_utc IS NOT NULL AND closed_utc IS NOT NULL) "
    "THEN 'closed' WHEN closed_utc IS NULL AND opened_utc IS NOT NULL THEN 'open' "
    "WHEN closed_utc IS NULL AND intended_utc IS NOT NULL THEN 'intended' END"
)
_RAN = "state IN ('intended', 'open', 'closed', 'cut')"
_INFERRED: Mapping[str, str] = {
    "day": "substr(key, length(zone) + 2, 10)",
    "slot": _SLOT_INFERRED,
    "state": _STATE_INFERRED,
    "valve": f"CASE WHEN relay_line IS NULL THEN '{ValveKind.HAND}' ELSE '{ValveKind.RELAY}' END",
    "together": "'[]'",
    "closed_utc": f"CASE WHEN {_GAVE} THEN coalesce(beat_utc, opened_utc, planned_opens_utc) END",
    # By its open time, as it was planned; else up to its last sign of life.
    "litres": f"CASE WHEN {_GAVE} THEN coalesce(planned_litres * open_s / planned_open_s, "
    "beat_litres) END",
    "planned_opens_utc": f"CASE WHEN {_AHEAD} THEN coalesce(opened_utc, intended_utc) END",
    "planned_open_s": f"CASE WHEN {_AHEAD} THEN coalesce(beat_open_s, 0.0) END",
    "planned_litres": f"CASE WHEN {_AHEAD} THEN coalesce(beat_litres, 0.0) END",
    "why": "''",
    "who": "''",
} | dict.fromkeys(
    (
        *("relay_line", "planned_utc", "intended_utc", "opened_utc", "opened_mono_s", "boot_id"),
        *("beat_utc", "beat_open_s", "beat_litres", "open_s", "how_known", "line_litres"),
        "uniformity",
    ),
    "NULL",
)


@dataclass(frozen=True, slots=True)
class SetAside:
    """How many rows were set aside, and how many of them were mended and are back."""

    rows: int = 0
    put_right: int = 0


def look_through(connection: sqlite3.Connection, without: int | None = None) -> None:
    """Let this connection see the sound rows that stand, under the names of their tables.

    A note that was taken back is in `all_` and the name of its table only. `without` is the number
    of one more note to leave out. A logbook without entries gets them for this connection.
    """
    connection.text_factory = lenient
    # In memory: on a full disk there is no room for a file, and reading must go on.
    connection.execute("PRAGMA temp_store = MEMORY")
    seen = dict(CELLS) | {"_sqlite_migrations": {"applied_at": is_moment}}
    here = _here(connection, seen)
    for table, tests in here.items():
        name = f"all_{table}" if table in NOTED else table
        connection.execute(
            f"CREATE TEMP VIEW {name} AS SELECT * FROM main.{table} WHERE {_all_of(tests)}"
        )
    if ENTRIES not in here:
        connection.execute(f"CREATE TEMP TABLE entries {COLUMNS}")
        if "pulses" in here:
            number_all(connection, "temp")
    for table in NOTED:
        if table in here:
            connection.execute(
                f"CREATE TEMP VIEW {table} AS SELECT * FROM all_{table} "
                f"WHERE id NOT IN ({gone(table, without)})"
            )


def sweep(connection: sqlite3.Connection, now: str) -> SetAside:
    """Set every impossible row aside, within the caller's transaction."""
    done = SetAside()
    for table, tests in _here(connection, CELLS).items():
        bad = connection.execute(
            f"SELECT rowid, {_first_wrong(tests)} FROM {table} WHERE NOT {_all_of(tests)}"
        ).fetchall()
        if not bad:
            continue
        named: list[str] = []
        lost_l, put_right = 0.0, 0
        for row_id, why in bad:
            _set_row_aside(connection, table, row_id, why, now)
            what, litres = _named(connection, table, row_id)
            if table == "pulses" and _put_right(connection, tests, row_id):
                put_right += 1
                what += f", put right{_now_l(connection, row_id, litres)}"
            elif table == ENTRIES and _entry_put_right(connection, tests, row_id, now):
                put_right += 1
                what += ", put right"
            else:
                connection.execute(f"DELETE FROM {table} WHERE rowid = ?", [row_id])
                lost_l += litres
            named.append(f"{what} ({why})")
        done = SetAside(done.rows + len(bad), done.put_right + put_right)
        connection.execute(
            "INSERT INTO happenings (at_utc, kind, words) VALUES (?, ?, ?)",
            [now, KIND, _words(table, named, lost_l)],
        )
    return done


def look_at_pulses(connection: sqlite3.Connection) -> int:
    """Check every pulse; how many readers do not see, because they are impossible.

    After that a connection of `look_through` checks only those of the last days anew at each
    reading: the whole of a few seasons takes a small board seconds.
    """
    tests = _here(connection, {"pulses": CELLS["pulses"]}).get("pulses")
    if tests is None:
        return 0
    sound = _all_of(tests)
    asked = f"SELECT id FROM main.pulses WHERE NOT {sound} ORDER BY id"
    bad = [row[0] for row in connection.execute(asked)]
    others = f" AND id NOT IN ({', '.join(map(str, bad))})" if bad else ""
    newest = f"SELECT max(day) FROM main.pulses WHERE true{others}"
    first_live = connection.execute(
        f"SELECT min(id) FROM main.pulses WHERE day >= date(({newest}), '-{_LIVE_DAYS} days')"
    ).fetchone()[0]
    if first_live is not None and len(bad) <= _MOST_NAMED_BAD:
        where = f"CASE WHEN id < {first_live} THEN true{others} ELSE {sound} END"
        connection.execute("DROP VIEW IF EXISTS temp.all_pulses")
        connection.execute(
            f"CREATE TEMP VIEW all_pulses AS SELECT * FROM main.pulses WHERE {where}"
        )
    return len(bad)


def given_by_index(connection: sqlite3.Connection) -> dict[int, tuple[object, ...]]:
    """The water given by the index, a second copy of it."""
    asked = f"SELECT id, {', '.join(GIVEN)} FROM pulses INDEXED BY {GIVEN_INDEX}"
    try:
        return {row[0]: tuple(row[1:]) for row in connection.execute(asked)}
    except sqlite3.DatabaseError:
        return {}  # it is not there yet, or does not read at all


def compare_given(
    connection: sqlite3.Connection, copies: Mapping[int, tuple[object, ...]], now: str
) -> None:
    """Settle a disagreement of table and index on water given: the possible one stands.

    Of two possible amounts the one nearer to what the open time gives; where that is unknown, the
    larger.
    """
    tests = _here(connection, {"pulses": CELLS["pulses"]})["pulses"]
    expected = "planned_litres * open_s / planned_open_s"
    asked = f"SELECT id, {_all_of(tests)}, {expected}, {', '.join(GIVEN)} FROM pulses NOT INDEXED"
    named: list[str] = []
    for row_id, is_sound, expected_l, *cells in connection.execute(asked).fetchall():
        copy = copies.get(row_id)
        if copy is None or copy == tuple(cells):
            continue
        wrong = [name for name, a, b in zip(GIVEN, cells, copy, strict=True) if a != b]
        _set_row_aside(connection, "pulses", row_id, ", ".join(wrong), now)
        what, _ = _named(connection, "pulses", row_id)
        litres, other = cells[GIVEN.index("litres")], copy[GIVEN.index("litres")]
        likelier = False
        if is_sound and wrong == ["litres"] and isinstance(other, float) and other <= MOST_LITRES:
            nearer = (
                None if expected_l is None else abs(other - expected_l) < abs(litres - expected_l)
            )
            likelier = other > litres if nearer is None else nearer
        if not is_sound or likelier:
            changes = ", ".join(f"{name} = ?" for name in GIVEN)
            with contextlib.suppress(sqlite3.IntegrityError):  # another cell is bad, too
                connection.execute(
                    f"UPDATE OR IGNORE pulses SET {changes} WHERE id = ?", [*copy, row_id]
                )
        now_is, _ = _named(connection, "pulses", row_id)
        named.append(f"{what}; its index differs ({', '.join(wrong)}); now {now_is}")
    if named:
        words = "two copies of water given disagree: " + "; ".join(named[:_NAMED])
        if len(named) > _NAMED:
            words += f"; and {len(named) - _NAMED} more"
        connection.execute(
            "INSERT INTO happenings (at_utc, kind, words) VALUES (?, ?, ?)", [now, KIND, words]
        )


def _here(
    connection: sqlite3.Connection, tables: Mapping[str, Mapping[str, Test]]
) -> dict[str, dict[str, str]]:
    """The tests of this logbook's tables and columns, as SQL that must be true."""
    found: dict[str, dict[str, str]] = {}
    for table, cells in tables.items():
        columns = {row[1] for row in connection.execute(f"PRAGMA main.table_info({table})")}
        if columns:
            tests = {name: test(name) for name, test in cells.items() if name in columns}
            tests |= TOGETHER.get(table, {})
            found[table] = {name: f"({test})" for name, test in tests.items()}
    return found


def _all_of(tests: Mapping[str, str]) -> str:
    # SQLite leaves off at the first that is not true where a CASE asks, and not elsewhere.
    return f"(CASE WHEN {' AND '.join(tests.values())} THEN 1 ELSE 0 END)"


def _first_wrong(tests: Mapping[str, str]) -> str:
    wrong = " ".join(f"WHEN {test} IS NOT TRUE THEN '{name}'" for name, test in tests.items())
    return f"CASE {wrong} END"


def _set_row_aside(
    connection: sqlite3.Connection, table: str, row_id: int, why: str, now: str
) -> None:
    """Copy the row, each cell as SQL would write it, to the last bit."""
    columns = [row[1] for row in connection.execute(f"PRAGMA main.table_info({table})")]
    cells = " || ', ' || ".join(f"'{name} = ' || quote({name})" for name in columns)
    connection.execute(
        f"INSERT INTO {SET_ASIDE} (at_utc, source, row, wrong, cells) "
        f"SELECT ?, ?, ?, ?, {cells} FROM {table} WHERE rowid = ?",
        [now, table, row_id, why, row_id],
    )


def _named(connection: sqlite3.Connection, table: str, row_id: int) -> tuple[str, float]:
    """A row as a short text, and the litres it credits. [L]"""
    if table != "pulses":
        return f"row {row_id}", 0.0
    zone, day, key, state, litres, beat_litres = connection.execute(
        "SELECT zone, day, key, state, litres, beat_litres FROM pulses WHERE rowid = ?", [row_id]
    ).fetchone()
    number = litres if litres is not None else beat_litres
    is_number = isinstance(number, float) and 0.0 <= number <= MOST_LITRES
    amount = f"{number:.1f} L" if is_number else "litres not readable"
    if number is None and state in ("planned", "refused", "missed", "assumed"):
        amount = "no water logged"
    return f"{zone} on {day} [{key}], {amount}", number if is_number else 0.0


def _put_right(connection: sqlite3.Connection, tests: Mapping[str, str], row_id: int) -> bool:
    """Mend what can be mended of a pulse that ran or may run; whether the row is sound now."""

    def may_be(name: str) -> str:
        need = {
            "planned_opens_utc": tests["day and opening"],
            **dict.fromkeys(("litres", "closed_utc"), f"({name} IS NOT NULL OR NOT {_GAVE})"),
            **dict.fromkeys(_OF_A_PLAN, f"({name} IS NOT NULL OR NOT {_AHEAD})"),
        }
        return f"{tests[name]} AND {need[name]}" if name in need else tests[name]

    changes = ", ".join(
        f"{name} = coalesce(CASE WHEN {may_be(name)} THEN {name} END, {inferred})"
        for name, inferred in _INFERRED.items()
        if name in tests
    )
    asked = f"UPDATE OR IGNORE pulses SET {changes} WHERE rowid = ?"
    ran = f"CASE WHEN {tests['state']} THEN {_RAN} ELSE {_STATE_INFERRED} IS NOT NULL END"
    with contextlib.suppress(sqlite3.IntegrityError):  # a cell of another type than its column's
        # What was put right from cells that were bad themselves, the later looks have.
        for _ in range(_LOOKS):
            connection.execute(f"{asked} AND {ran}", [row_id])
    sound = connection.execute(
        f"SELECT 1 FROM pulses WHERE rowid = ? AND {_RAN} AND {_all_of(tests)}", [row_id]
    ).fetchone()
    return sound is not None


def _entry_put_right(
    connection: sqlite3.Connection, tests: Mapping[str, str], row_id: int, now: str
) -> bool:
    """Mend an entry that still says which note it is of, or takes back; whether it is sound now.

    Without it that note would have no number, or count again.
    """
    with contextlib.suppress(sqlite3.IntegrityError):  # a cell of another type than its column's
        connection.execute(
            "UPDATE OR IGNORE entries SET "
            f"written_utc = CASE WHEN {tests['written_utc']} THEN written_utc ELSE ? END, "
            f"who = CASE WHEN {tests['who']} THEN who ELSE '' END, "
            f"why = CASE WHEN {tests['why']} THEN why ELSE '' END WHERE rowid = ?",
            [now, row_id],
        )
    asked = f"SELECT 1 FROM entries WHERE rowid = ? AND {_all_of(tests)}"
    return connection.execute(asked, [row_id]).fetchone() is not None


def _now_l(connection: sqlite3.Connection, row_id: int, was_l: float) -> str:
    """What a row credits now, if that differs from before."""
    _, litres = _named(connection, "pulses", row_id)
    return "" if abs(litres - was_l) < 0.05 else f": {litres:.1f} L by its open time"


def _words(table: str, named: list[str], lost_l: float) -> str:
    rows = "a row is" if len(named) == 1 else f"{len(named)} rows are"
    words = f"in {table} {rows} not what such a row can be, kept in {SET_ASIDE}: "
    words += "; ".join(named[:_NAMED])
    if len(named) > _NAMED:
        words += f"; and {len(named) - _NAMED} more"
    if table == ENTRIES:
        words += ". A note whose entry is lost has no number; one whose withdrawal is lost counts"
    if lost_l > 0.0:
        words += f". {lost_l:.1f} L are not counted any more: if they were given, note them by hand"
    return words
