"""note seen: what a person saw of the plants, which moves their stage."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date, timedelta

from controller.cli.loading import Loaded, Note, Writing
from controller.cli.output import to_stderr
from controller.cli.plausible import Doubt
from controller.demand.plants.course import EARLY_DAYS, LIFT_WITHIN_DAYS, Course
from controller.demand.plants.observations import EVENTS, allotted, events_of, named
from controller.demand.records import Observation
from controller.errors import InputError
from controller.garden.model import Planting, Zone
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.messages import Message
from controller.paper.text import short_day
from controller.wording.say import say
from crops.catalogue import Crop

_DAY = timedelta(days=1)


def observation(note: Note) -> Writing:
    """How to write down an observation; InputError if it makes no sense for this zone."""
    args, loaded, day = note.args, note.loaded, note.day
    zone, words = loaded.garden.zone(args.zone), " ".join(args.event)
    events_of(words)  # words without a meaning are refused before the zone is looked at
    standing = _plantings_there(
        zone, Observation(zone=zone.name, day=day, event="", crop=args.crop)
    )
    crop = loaded.catalogue.crop(standing[0].crop, loaded.garden.own_crops)
    seen = Observation(
        zone=zone.name,
        day=day,
        event=_one_event(words, events_of(words, crop), crop),
        crop=standing[0].crop if args.crop else "",
    )
    kept = note.read(Questions.observations) or []
    before = [one for one in kept if one.zone == zone.name]
    superseded = _superseded(loaded, zone, before, seen)
    was = _courses(loaded, zone, before)
    for planting in standing:
        note.confirm(_doubt(seen, crop, was[planting]))
    now = _courses(loaded, zone, [*before, seen])
    which = " and ".join(f"{p.crop} from {short_day(p.start)}" for p in standing)
    done = list(dict.fromkeys(_effect(seen, crop, was[p], now[p]) for p in standing))

    def write(book: Logbook) -> None:
        number = book.observe(seen, args.who, corrects=note.corrects)
        to_stderr(
            f"{note.written(number)}. It is about {which}; the ledger is computed anew from then on"
        )
        for words in done:
            to_stderr(f"{words}. If that is wrong, take it back: rowgate note withdraw {number}")
        for left in superseded:
            to_stderr(f"because of it: {left}")

    return write


def _one_event(words: str, events: Sequence[str], crop: Crop) -> str:
    """The one event that was meant; asked at a terminal, else InputError."""
    if len(events) == 1:
        return events[0]
    asked = f'"{words}" of {crop.label} may mean several things; say which: {named(events)}'
    if not sys.stdin.isatty():
        raise InputError(f"{asked}. Nothing is written down")
    to_stderr(f"{asked}.")
    try:
        answer = input("Which one? [none]: ").strip().strip('"')
    except EOFError:
        answer = ""
    if not answer:
        raise InputError("nothing is written down")
    chosen = events_of(answer, crop)
    if len(chosen) != 1 or chosen[0] not in events:
        raise InputError(f'"{answer}" is none of them; nothing is written down')
    return chosen[0]


def _doubt(seen: Observation, crop: Crop, was: Course) -> Doubt | None:
    """What looks wrong: a perennial that is gone, or a sign of a late stage long before it."""
    if seen.event == "gone" and crop.perennial:
        return Doubt(
            words=f"{crop.label} is a perennial: once it is gone it gets no water in later years "
            'either. If it was picked, note "first ripe" or "last picking"'
        )
    if seen.event not in ("ripening", "tops fallen"):
        return None
    early = was.days_to_late(seen.day)
    if early <= EARLY_DAYS:
        return None
    stops = crop.dry_down == "stop"
    does = "its water would end weeks too early" if stops else "its water would fall too early"
    if stops and seen.event == "ripening":
        does = "so early they move no stage"
    return Doubt(
        words=f"by its stages the late stage of {crop.label} is {early:.0f} days away: "
        f"{EVENTS[seen.event]}, on {short_day(seen.day)}, may come from lack of water or "
        f"blight; {does}"
    )


def _effect(seen: Observation, crop: Crop, was: Course, now: Course) -> str:
    """What the note changes in the water of a planting, as text."""
    day = seen.day
    if seen.event == "gone":
        words = f"It gets no water after {short_day(now.ends)}"
        if now.ends < was.ends:
            words += f"; without this note it would until {short_day(was.ends)}"
        return words
    before, after = _stops_on(was, day), _stops_on(now, day)
    if after is not None and after != before:
        words = f"Its watering ends: none from {short_day(after)} on, to dry down"
        if before is not None:
            words += f" (before: from {short_day(before)})"
        if crop.dry_down == "stop":
            words += f"; lift it by {short_day(after + LIFT_WITHIN_DAYS * _DAY)}"
        return words
    stage, old = now.on(day).stage, was.on(day).stage
    if seen.event == "first ripe" and stage != "late" and not crop.dry_down and not crop.perennial:
        return (
            'It is still watered in full; note "ripening" or "last picking" when it comes to an end'
        )
    if stage == "late" and old != "late":
        return "Its late stage begins: it gets less, day by day, from then on"
    if crop.dry_down == "stop" and seen.event == "ripening":
        return 'It is still watered; when its tops have fallen or dried, note "tops fallen"'
    if stage != old:
        return f"It moves from the {old} stage to the {stage} stage"
    return f"It is still watered; it stays in its {stage} stage"


def _stops_on(course: Course, first: date) -> date | None:
    """The first day from `first` on that gets no water though plants stand, by date."""
    day = first
    while day <= course.ends:
        if course.on(day).stopped:
            return day
        day += _DAY
    return None


def _plantings_there(zone: Zone, seen: Observation) -> Sequence[Planting]:
    """The plantings of the note; InputError where there is none, or it could be several."""
    of_each, _ = allotted(zone.plantings, [seen])
    standing = [p for p, mine in zip(zone.plantings, of_each, strict=True) if mine]
    if not standing:
        what = f"no {seen.crop}" if seen.crop else "nothing"
        there = "; ".join(
            f"{p.crop} from {short_day(p.start)} to {short_day(p.until)}" for p in zone.plantings
        )
        raise InputError(
            f"{zone.name}: {what} grows there on {short_day(seen.day)}; in the garden file: "
            f"{there or 'no plantings'}"
        )
    crops = sorted({p.crop for p in standing})
    if len(crops) > 1:
        raise InputError(
            f"{zone.name} holds {' and '.join(crops)} on {short_day(seen.day)}; say which one "
            "with --crop"
        )
    return standing


def _superseded(
    loaded: Loaded, zone: Zone, before: Sequence[Observation], seen: Observation
) -> list[str]:
    """Earlier observations that count no more; InputError where the new one would not count."""
    was, now = _ignored(loaded, zone, before), _ignored(loaded, zone, [*before, seen])
    fresh = [left for left in now if left not in was]
    for planting, left in fresh:
        if (left.values["event"], left.values["day"]) == (seen.event, seen.day.isoformat()):
            words = _said(planting, left, loaded)
            raise InputError(f"{words}; see what is written down with: rowgate note list")
    return [_said(planting, left, loaded) for planting, left in fresh]


def _ignored(
    loaded: Loaded, zone: Zone, seen: Sequence[Observation]
) -> list[tuple[Planting, Message]]:
    return [
        (planting, remark)
        for planting, course in _courses(loaded, zone, seen).items()
        for remark in course.remarks
        if remark.code == "seen.left_aside"
    ]


def _said(planting: Planting, remark: Message, loaded: Loaded) -> str:
    return f"{planting.crop} from {planting.start}: {say(remark, us=loaded.garden.us_units)}"


def _courses(loaded: Loaded, zone: Zone, seen: Sequence[Observation]) -> dict[Planting, Course]:
    """The course of each planting of the zone by date, whatever the weather."""
    of_each, _ = allotted(zone.plantings, seen)
    return {
        planting: Course(
            loaded.catalogue.crop(planting.crop, loaded.garden.own_crops),
            planting,
            {},
            observations=mine,
        )
        for planting, mine in zip(zone.plantings, of_each, strict=True)
    }
