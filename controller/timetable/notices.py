"""Notices of a plan: zones without water or short of it, plantings that end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta

from controller.demand.plants.course import LIFT_WITHIN_DAYS
from controller.demand.plants.development import too_cold
from controller.demand.records import LedgerDay
from controller.demand.soil.ground import Part, PlantingFacts
from controller.garden.show import show_depth
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.jobs import JobMaker, allowed_mm
from controller.timetable.records import NotFitted, NoWater, Pulse, Short

# A day with Ks below this is short: it is more than the rounding of a dose; our choice.
STRESS_SAID = 0.98


def shortages(
    ledger: Iterable[LedgerDay], not_fitted: Iterable[NotFitted], *, first: date
) -> tuple[Short, ...]:
    """The parts of zones that are short of water from `first` on, in order of the ledger."""
    short: dict[tuple[str, str], list[LedgerDay]] = {}
    for row in ledger:
        if row.day >= first and is_short(row):
            short.setdefault((row.zone, row.part), []).append(row)
    reasons: dict[str, NotFitted] = {}
    for left in not_fitted:
        reasons.setdefault(left.zone, left)
    return tuple(
        _short(zone, part, rows, reasons.get(zone)) for (zone, part), rows in short.items()
    )


def is_short(row: LedgerDay) -> bool:
    """Whether a crop has too little water on that day.

    Three cases do not count: the first day, because plants are watered in by hand; seeds, which
    depend on the top alone; and a crop that dries down before harvest.
    """
    if row.crop is None or row.day_of_planting == 1 or row.phase in ("seedbed", "dry-down"):
        return False
    return row.stress < STRESS_SAID


def _short(zone: str, part: str, rows: list[LedgerDay], left: NotFitted | None) -> Short:
    worst = min(rows, key=lambda row: row.stress)
    # Demand and uptake of the crop differ only by Ks.
    lost = sum(
        (row.etc_mm - row.used_mm)
        if row.coefficients == "single"
        else row.kcb * row.eto_mm * row.exposure - row.transpired_mm
        for row in rows
    )
    reason = ""
    if worst.ground_m2 <= 0.0:
        reason = "all its rows are plugged"
    elif left is not None and left.day <= worst.day:
        reason = left.reason
    return Short(
        zone=zone,
        part=part,
        first=rows[0].day,
        days=len(rows),
        least_stress=worst.stress,
        worst_day=worst.day,
        lost_mm=max(0.0, lost),
        reason=reason,
    )


_DAY = timedelta(days=1)
# Reasons why a zone gets no water: the values of `NoWater.why`.
NOTHING_PLANTED, NOT_BEGUN, BETWEEN = "nothing planted", "not begun", "between plantings"
OVER, GONE, DRYING = "over", "gone", "drying"
NOT_NEEDED, NOT_GIVEN, NO_ROW = "nothing needed", "not given", "no row in use"


def without_water(
    job_maker: JobMaker,
    accounts: Mapping[str, ZoneAccount],
    pulses: Iterable[Pulse],
    not_fitted: Iterable[NotFitted],
    *,
    first: date,
    last: date,
) -> tuple[NoWater, ...]:
    """Each zone without a pulse from `first` to `last`, in order of the garden file.

    If its parts differ, each is named, with every reason that holds on some of the days.
    """
    watered = {pulse.zone for pulse in pulses}
    kept_back: dict[str, NotFitted] = {}
    for left in not_fitted:
        kept_back.setdefault(left.zone, left)
    found: list[NoWater] = []
    for zone in job_maker.garden.zones:
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
                    for why, words in _reasons(job_maker, part, ledger, first, last)
                ]
    return tuple(found)


def _reasons(
    job_maker: JobMaker, part: Part, ledger: Sequence[LedgerDay], first: date, last: date
) -> Iterator[tuple[str, str]]:
    """One notice for each stretch of days with its own reason."""
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
            yield why, words + (_gone(job_maker, ledger, day, last) if why == NOT_NEEDED else "")
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
    # The last planting in the ground explains why it is bare.
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


def _gone(job_maker: JobMaker, ledger: Sequence[LedgerDay], day: date, last: date) -> str:
    """Highest depletion on the evenings before the days from `day` on, and what is allowed."""
    us = job_maker.garden.us_units
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
    may_be = allowed_mm(worst, job_maker.garden, job_maker.grounds)
    if may_be is None or worst.phase in ("seedbed", "settling"):
        return f"; {show_depth(worst.wet_depletion_mm, us)} gone"
    words = f"; {show_depth(worst.wet_depletion_mm, us)} gone, watered at {show_depth(may_be, us)}"
    if worst.wet_depletion_mm >= may_be:
        words += ": rain that is likely, or what it was given that day, covers it"
    return words


SOON_DAYS = 7  # an end, or a stop of water, is announced so many days before
OVER_DAYS = 30  # an end is reported for so many days after, if nothing follows
PAST_DAYS = 7  # a planting so many days past its stages gets a question


def ending_messages(part: Part, day: date) -> list[str]:
    """Messages on `day` about the ends of a part's plantings."""
    standing, coming = part.planting_on(day), _sown_cold(part, day)
    if standing is None:
        return [*_over(part, day), *coming]
    words = [_dries(standing, day), _past(standing, day)]
    if not any(facts.planting.start > day for facts in part.plantings):
        words.append(_ends_soon(standing, day))
    return [*(f"{standing.name}: {text}" for text in words if text), *coming]


def _sown_cold(part: Part, day: date) -> list[str]:
    """Messages on seeds that are due soon in soil that is too cold, by the forecast."""
    return [
        f"{facts.name}: it is to be sown in {(start - day).days} days, and by then {words}; "
        "sow it later, or under a film or a row cover"
        for facts in part.plantings
        if day < (start := facts.planting.start) <= day + SOON_DAYS * _DAY
        and (words := too_cold(facts.crop, facts.course.soil_c, start))
    ]


def _over(part: Part, day: date) -> list[str]:
    """Message on the last planting there, if only `until` ended it."""
    gone = [facts for facts in part.plantings if facts.course.ends < day]
    if not gone:
        return []
    last = max(gone, key=lambda facts: facts.course.ends)
    ended = last.course.ends
    follows = any(facts.planting.start > day for facts in part.plantings)
    if ended < last.planting.until or (day - ended).days > (SOON_DAYS if follows else OVER_DAYS):
        return []
    return [
        f"{last.name}: its last day was {ended}, so it is over and gets no water; if it still "
        "stands, write a later until in the garden file"
    ]


def _ends_soon(facts: PlantingFacts, day: date) -> str:
    ends = facts.course.ends
    if ends < facts.planting.until or (ends - day).days >= SOON_DAYS or facts.crop.perennial:
        return ""
    return (
        f"its last day is {ends}, and it gets no water after that; if it is to stand longer, write "
        "a later until in the garden file"
    )


def _dries(facts: PlantingFacts, day: date) -> str:
    """Message on crops that dry down, before their water stops and after."""
    course = facts.course
    if facts.crop.dry_down != "taper":
        return ""
    stops = next(
        (
            at
            for number in range(SOON_DAYS)
            if (at := day + number * _DAY) <= course.ends and course.on(at).stopped
        ),
        None,
    )
    if stops is None:
        return ""
    begins = "its late stage is half over" if stops == day else f"from {stops} on"
    return (
        f"{begins}: it gets no more water, to dry where it stands; if it is still green or picked "
        "fresh, write longer stages, or harvest_in, in the garden file"
    )


def _past(facts: PlantingFacts, day: date) -> str:
    """Message on a planting that stands long after its last stage."""
    course, crop = facts.course, facts.crop
    at = course.on(day)
    days = sum(at.stage_days or crop.stage_days)
    if crop.perennial or at.stopped or at.position <= days + PAST_DAYS:
        return ""
    return (
        f"it is {at.position - days:.0f} days past the last of its stages ({days} days) and is "
        'watered as at its end; note "lifted" if it is gone, and if it still grows write '
        "harvest_in, the packet's days, or longer stages in the garden file"
    )
