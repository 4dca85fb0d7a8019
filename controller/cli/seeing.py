"""note seen and unseen: what a person saw of the plants, by which their stage is moved."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from controller.cli.loading import Loaded, tell
from controller.demand.course import Course
from controller.demand.records import Observation
from controller.demand.seen import EVENTS, allotted, event_of
from controller.errors import InputError
from controller.garden.model import Planting, Zone
from controller.logbook.ask import Questions
from controller.logbook.seen import SeenRow
from controller.logbook.write import Logbook
from controller.paper.amounts import short_day


def keep(args: argparse.Namespace, loaded: Loaded, book: Logbook, day: date) -> None:
    """Write down what was seen; what makes no sense of this zone is refused."""
    zone = loaded.garden.zone(args.zone)
    seen = Observation(
        zone=zone.name, day=day, event=event_of(" ".join(args.event)), crop=args.crop
    )
    standing = _standing(zone, seen)
    with Questions(book.path) as ask:
        before = [row.seen for row in ask.seen_rows() if row.seen.zone == zone.name]
    passed_over = _passed_over(loaded, zone, before, seen)
    number = book.observe(
        Observation(
            zone=zone.name,
            day=day,
            event=seen.event,
            crop=standing[0].crop if args.crop else "",
        ),
        args.who,
    )
    which = " and ".join(f"{p.crop} from {short_day(p.start)}" for p in standing)
    tell(
        f"written down as number {number}: {zone.name}, {which}: {EVENTS[seen.event]}, seen on "
        f"{short_day(day)}; the ledger is reckoned anew from then on"
    )
    for words in passed_over:
        tell(f"because of it: {words}")


def take_back(number: int, book: Logbook) -> None:
    """Take back what was seen."""
    with Questions(book.path) as ask:
        rows = {row.id: row for row in ask.seen_rows()}
    book.unobserve(number)
    tell(f"taken back: {_words(rows[number])}; the ledger is reckoned anew from then on")


def show(path: Path) -> None:
    """List what was seen and stands."""
    rows: list[SeenRow] = []
    if path.is_file():
        with Questions(path) as ask:
            rows = ask.seen_rows()
    for row in rows:
        print(f"{row.id:>4}  {_words(row)}")
    if not rows:
        print("nothing seen is written down")


def _words(row: SeenRow) -> str:
    crop = f", {row.seen.crop}" if row.seen.crop else ""
    who = f" ({row.who})" if row.who else ""
    meaning = EVENTS.get(row.seen.event, row.seen.event)
    return f"{row.seen.zone}{crop}: {meaning}, {short_day(row.seen.day)}{who}"


def _standing(zone: Zone, seen: Observation) -> Sequence[Planting]:
    """The plantings it is of; InputError where there is none, or one cannot tell which."""
    of_each, _ = allotted(zone.plantings, [seen])
    standing = [p for p, mine in zip(zone.plantings, of_each, strict=True) if mine]
    if not standing:
        what = f"no {seen.crop}" if seen.crop else "nothing"
        there = "; ".join(
            f"{p.crop} from {short_day(p.start)} to {short_day(p.until)}" for p in zone.plantings
        )
        raise InputError(
            f"{zone.name}: {what} stands there on {short_day(seen.day)}; in the garden file: "
            f"{there or 'no plantings'}"
        )
    crops = sorted({p.crop for p in standing})
    if len(crops) > 1:
        raise InputError(
            f"{zone.name} holds {' and '.join(crops)} on {short_day(seen.day)}; say which one "
            "with --crop"
        )
    return standing


def _passed_over(
    loaded: Loaded, zone: Zone, before: Sequence[Observation], seen: Observation
) -> list[str]:
    """What was seen before and counts no more; InputError where the new would not count."""
    was, now = _left_aside(loaded, zone, before), _left_aside(loaded, zone, [*before, seen])
    fresh = [words for words in now if words not in was]
    mine = f'"{seen.event}" noted for {seen.day.isoformat()} '
    for words in fresh:
        if mine in words:
            raise InputError(f"{words}; see what is written down with: rowgate note unseen")
    return fresh


def _left_aside(loaded: Loaded, zone: Zone, seen: Sequence[Observation]) -> list[str]:
    of_each, _ = allotted(zone.plantings, seen)
    return [
        words
        for planting, mine in zip(zone.plantings, of_each, strict=True)
        for words in Course(
            loaded.catalogue.crop(planting.crop, loaded.garden.own_crops),
            planting,
            {},
            observations=mine,
        ).remarks
        if "is left aside: " in words
    ]
