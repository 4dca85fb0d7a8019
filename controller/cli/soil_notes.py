"""note soil: a soil reading by probe or hand, beside the ledger or in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from controller.cli.loading import Loaded, Note, Writing, from_logbook
from controller.cli.output import to_stderr
from controller.cli.plausible import Doubt, of_moisture
from controller.demand.records import LedgerDay
from controller.demand.soil.ground import row_groups
from controller.errors import InputError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import SOIL_START
from controller.paper.soil_readings import BY_FEEL, KIND, SoilCheck, moisture_from, soil_checks

RECENT = timedelta(days=14)  # how old a reading may be for plan and check to name it


def reading(note: Note) -> Writing:
    """How to write down a reading of a zone's soil, and that its account starts anew from it."""
    args, day = note.args, note.day
    value, unit = moisture_from(" ".join(args.value))
    note.confirm(_doubt(note, value, unit))

    def write(book: Logbook) -> None:
        first = book.reading(
            KIND, value, unit, day=day, zone=args.zone, who=args.who, corrects=note.corrects
        )
        done = note.written(first)
        if not args.start:
            to_stderr(f"{done}; balance shows it beside the ledger, and it changes no account")
            return
        number = book.reading(SOIL_START, value, unit, day=day, zone=args.zone, who=args.who)
        to_stderr(
            f"{done}; and as {number}: the account starts anew from it that evening, with the "
            f"day's water in it. To take that back: rowgate note withdraw {number}"
        )

    return write


def _doubt(note: Note, value: float, unit: str) -> Doubt | None:
    """What is doubtful of a reading; InputError where an account cannot start from it."""
    zone, day = note.loaded.garden.zone(note.args.zone), note.day
    if note.args.start:
        if unit == BY_FEEL:
            raise InputError("--start needs a percentage by volume, as in 21; a feel is too rough")
        if len(row_groups(zone)) > 1:
            raise InputError(
                f"{zone.name}: its rows have different plantings and an account each; --start "
                "cannot tell which was read"
            )
        if not any(p.start <= day <= p.until for p in zone.plantings):
            raise InputError(f"{zone.name}: nothing grows there on {day}; --start needs roots")
    return None if unit == BY_FEEL else of_moisture(value, zone, grounds=note.loaded.grounds)


def recent_contradictions(
    loaded: Loaded, ledger: Iterable[LedgerDay], today: date
) -> list[SoilCheck]:
    """Readings of the last fortnight that contradict the ledger.

    Whether today's was read before or after the day's water is unknown: it must be far from the
    ledger on both evenings.
    """
    rows = [row for row in ledger if today - RECENT <= row.day <= today]
    eve = [replace(row, day=today) for row in rows if row.day == today - timedelta(days=1)]
    before = {(c.zone, c.part, c.read): c.far for c in checks(loaded, eve)}
    return [
        check
        for check in checks(loaded, rows)
        if check.far
        and (check.day < today or before.get((check.zone, check.part, check.read), True))
    ]


def recent_ledger(loaded: Loaded, today: date) -> list[LedgerDay]:
    """The last fortnight's ledger as a daemon wrote it; empty without a logbook."""
    first = today - RECENT
    return from_logbook(loaded.logbook, lambda ask: ask.ledger(None, first, today)) or []


def checks(loaded: Loaded, shown: Sequence[LedgerDay]) -> list[SoilCheck]:
    """Soil readings against the ledger; empty without a logbook."""
    readings = from_logbook(loaded.logbook, lambda ask: ask.readings(KIND))
    if not readings:
        return []
    grounds = loaded.grounds
    capacity = {z.name: grounds.soil(z.bed.soil).field_capacity for z in loaded.garden.zones}
    return soil_checks(readings, shown, capacity)
