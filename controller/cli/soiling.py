"""note soil: what a probe or a hand says of the soil, kept as a check on the ledger."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date

from controller.cli.loading import LOGBOOK_NAME, Loaded, state_dir, tell
from controller.demand.records import LedgerDay
from controller.logbook.ask import Questions
from controller.logbook.write import Logbook
from controller.paper.amounts import short_day
from controller.paper.soilread import (
    BY_FEEL,
    KIND,
    SoilCheck,
    moisture_from,
    soil_checks,
)


def keep(args: argparse.Namespace, book: Logbook, day: date) -> None:
    """Write down a reading of a zone's soil."""
    value, unit = moisture_from(" ".join(args.value))
    book.reading(KIND, value, unit, day=day, zone=args.zone, who=args.who)
    said = " ".join(args.value) if unit == BY_FEEL else f"{value:g} {unit}"
    tell(
        f"written down: the soil of {args.zone} on {short_day(day)}: {said}; balance shows it "
        "beside the ledger, and no account is changed by it"
    )


def checks(args: argparse.Namespace, loaded: Loaded, shown: Sequence[LedgerDay]) -> list[SoilCheck]:
    """What was read beside what the ledger says; nothing where there is no logbook."""
    path = state_dir(args, loaded) / LOGBOOK_NAME
    if loaded.is_example or not path.is_file():
        return []
    with Questions(path) as ask:
        readings = ask.readings(KIND)
    if not readings:
        return []
    grounds = loaded.grounds
    capacity = {z.name: grounds.soil(z.bed.soil).field_capacity for z in loaded.garden.zones}
    return soil_checks(readings, shown, capacity)
