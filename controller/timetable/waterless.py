"""The zones that get no water in the days planned, and why: over, gone, drying, not begun, ..."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta

from controller.demand.course import LIFT_WITHIN_DAYS
from controller.demand.facts import Part, PlantingFacts
from controller.demand.records import LedgerDay
from controller.garden.show import show_depth
from controller.timetable.accounts import ZoneAccount
from controller.timetable.jobs import Reckoning, allowed_mm
from controller.timetable.records import NotFitted, NoWater, Pulse

_DAY = timedelta(days=1)
# Why a zone gets no water; these are the words of `NoWater.why`.
NOTHING_PLANTED, NOT_BEGUN, BETWEEN = "nothing planted", "not begun", "between plantings"
OVER, GONE, DRYING = "over", "gone", "drying"
NOT_NEEDED, NOT_GIVEN, NO_ROW = "nothing needed", "not given", "no row in use"


def without_water(
    reckoning: Reckoning,
    accounts: Mapping[str, ZoneAccount],
    pulses: Iterable[Pulse],
    not_fitted: Iterable[NotFitted],
    *,
    first: date,
    last: date,
) -> tuple[NoWater, ...]:
    """Each zone without a pulse from `first` to `last`, in order of the garden file.

    Where its parts differ, each is named; and each reason that holds on some of the days.
    """
    watered = {pulse.zone for pulse in pulses}
    kept_back: dict[str, NotFitted] = {}
    for left in not_fitted:
        kept_back.setdefault(left.zone, left)
    found: list[NoWater] = []
    for zone in reckoning.garden.zones:
        if zone.name in watered:
            continue
        back = kept_back.get(zone.name)
        if back is not None:
            words = f"on {back.day.isoformat()}: {back.reason}"
            found.append(NoWater(zone=zone.name, part="", why=NOT_GIVEN, words=words))
        elif zone.ground_m2 <= 0.0:
            words = "all its rows are plugged"
            found.append(NoWater(zone=zone.name, part="", why=NO_ROW, words=words))
        else:
            account = accounts[zone.name]
            for part, ledger in zip(account.parts, account.ledgers, strict=True):
                found += [
                    NoWater(zone=zone.name, part=part.name, why=why, words=words)
                    for why, words in _reasons(reckoning, part, ledger, first, last)
                ]
    return tuple(found)


def _reasons(
    reckoning: Reckoning, part: Part, ledger: Sequence[LedgerDay], first: date, last: date
) -> Iterator[tuple[str, str]]:
    """One for each stretch of the span that has a reason of its own."""
    if not part.plantings:
        yield NOTHING_PLANTED, "no planting stands in the garden file"
        return
    was = ""
    day = first
    while day <= last:
        facts = part.planting_on(day)
        stopped = facts is not None and facts.course.on(day).stopped
        if facts is None:
            why, words = _nothing_stands(part, day)
        elif stopped:
            why, words = DRYING, _drying(facts, day)
        else:
            why, words = NOT_NEEDED, f"{facts.crop.label} has enough"
        if why != was:
            yield why, words + (_gone(reckoning, ledger, day, last) if why == NOT_NEEDED else "")
        was = why
        day += _DAY


def _nothing_stands(part: Part, day: date) -> tuple[str, str]:
    before = [facts for facts in part.plantings if facts.planting.start <= day]
    coming = [facts for facts in part.plantings if facts.planting.start > day]
    begins = ""
    if coming:
        begins = f"{coming[0].crop.label} begins on {coming[0].planting.start.isoformat()}"
    if not before:
        return NOT_BEGUN, begins
    # The last to leave the ground says why it is bare.
    facts = max(before, key=lambda each: each.course.ends)
    label, ends = facts.crop.label, facts.course.ends.isoformat()
    then = f"; {begins}" if begins else ""
    if facts.course.ends < facts.planting.until:
        words = f"{label} is noted as gone on {ends}; if it stands, take the note back"
        return GONE, f"{words} (rowgate note unseen){then}"
    if coming:
        return BETWEEN, f"{label} ended on {ends}{then}"
    return OVER, f"{label} ended on {ends}; if it stands, write a later until in the garden file"


def _drying(facts: PlantingFacts, day: date) -> str:
    since = day
    while since > facts.planting.start and facts.course.on(since - _DAY).stopped:
        since -= _DAY
    if facts.crop.dry_down == "taper":
        why = "it is left to dry in the last half of its late stage"
    else:
        by = since + LIFT_WITHIN_DAYS * _DAY
        why = f"its tops were seen to have fallen or dried; lift it by {by.isoformat()}"
    return f"{facts.crop.label} dries down since {since.isoformat()}: {why}"


def _gone(reckoning: Reckoning, ledger: Sequence[LedgerDay], day: date, last: date) -> str:
    """The most that is missing on the evenings before the days from `day` on, and may be."""
    us = reckoning.garden.us_units
    evenings = []
    for row in reversed(ledger):
        if row.day < day - _DAY:
            break
        if row.crop and row.day < last:
            evenings.append(row)
    evenings.reverse()
    if not evenings:
        return "; set out or sown that day, it is watered in by hand"
    worst = max(evenings, key=lambda row: row.wet_depletion_mm)
    may_be = allowed_mm(worst, reckoning.garden, reckoning.grounds)
    if may_be is None or worst.phase in ("seedbed", "settling"):
        return f"; {show_depth(worst.wet_depletion_mm, us)} gone"
    words = f"; {show_depth(worst.wet_depletion_mm, us)} gone, watered at {show_depth(may_be, us)}"
    if worst.wet_depletion_mm >= may_be:
        words += ": rain that is likely, or what it was given that day, covers it"
    return words
