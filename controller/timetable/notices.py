"""Notices of a plan: zones without water or short of it, plantings that end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta

from controller.demand.plants.course import LIFT_WITHIN_DAYS
from controller.demand.plants.development import too_cold
from controller.demand.records import LedgerDay
from controller.demand.soil.ground import Part, PlantingFacts
from controller.garden.plumbing import ValveKind
from controller.messages import Message, Quantity, Value
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.jobs import JobMaker, allowed_mm
from controller.timetable.records import NotFitted, NoWater, Pulse, Short, WhyDry

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
    reason: Message | None = None
    if worst.ground_m2 <= 0.0:
        reason = _PLUGGED
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
_PLUGGED = Message("left.plugged")


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
            message = Message("dry.not_given", {"day": str(back.day), "reason": back.reason})
            found.append(NoWater(zone=zone.name, part="", why=WhyDry.NOT_GIVEN, message=message))
        elif zone.ground_m2 <= 0.0:
            found.append(NoWater(zone=zone.name, part="", why=WhyDry.NO_ROW, message=_PLUGGED))
        else:
            account = accounts[zone.name]
            for part, ledger in zip(account.parts, account.ledgers, strict=True):
                found += [
                    NoWater(zone=zone.name, part=part.name, why=why, message=message)
                    for why, message in _reasons(job_maker, part, ledger, first, last)
                ]
    return tuple(found)


def _reasons(
    job_maker: JobMaker, part: Part, ledger: Sequence[LedgerDay], first: date, last: date
) -> Iterator[tuple[WhyDry, Message]]:
    """One notice for each stretch of days with its own reason."""
    if not part.plantings:
        yield WhyDry.NOTHING_PLANTED, Message("dry.no_planting")
        return
    was: WhyDry | None = None
    day = first
    while day <= last:
        facts = part.planting_on(day)
        if facts is None:
            why, message = _nothing_stands(part, day)
        elif facts.course.on(day).stopped:
            why, message = WhyDry.DRYING, _drying(facts, day)
        else:
            why = WhyDry.NOT_NEEDED
            if why != was:
                gone = _gone(job_maker, ledger, day, last)
                message = Message("dry.has_enough", {"crop": facts.crop.label, "gone": gone})
        if why != was:
            yield why, message
        was = why
        day += _DAY


def _nothing_stands(part: Part, day: date) -> tuple[WhyDry, Message]:
    before = [facts for facts in part.plantings if facts.planting.start <= day]
    coming = [facts for facts in part.plantings if facts.planting.start > day]
    then: Value = ""
    if coming:
        crop, starts = coming[0].crop.label, coming[0].planting.start.isoformat()
        begins = Message("dry.begins", {"crop": crop, "day": starts})
        if not before:
            return WhyDry.NOT_BEGUN, begins
        then = Message("dry.then", {"begins": begins})
    # The last planting in the ground explains why it is bare.
    facts = max(before, key=lambda each: each.course.ends)
    values: dict[str, Value] = {
        "crop": facts.crop.label,
        "day": facts.course.ends.isoformat(),
        "then": then,
    }
    if facts.course.ends < facts.planting.until:
        return WhyDry.GONE, Message("dry.gone", values)
    if coming:
        return WhyDry.BETWEEN, Message("dry.between", values)
    return WhyDry.OVER, Message("dry.over", values)


def _drying(facts: PlantingFacts, day: date) -> Message:
    since = day
    while since > facts.planting.start and facts.course.on(since - _DAY).stopped:
        since -= _DAY
    tapers = facts.crop.dry_down == "taper"
    return Message(
        "dry.taper" if tapers else "dry.tops_fallen",
        {
            "crop": facts.crop.label,
            "since": since.isoformat(),
            "by": (since + LIFT_WITHIN_DAYS * _DAY).isoformat(),
        },
    )


def _gone(job_maker: JobMaker, ledger: Sequence[LedgerDay], day: date, last: date) -> Message:
    """Highest depletion on the evenings before the days from `day` on, and what is allowed."""
    evenings = []
    for row in reversed(ledger):
        if row.day < day - _DAY:
            break
        if row.crop and row.day < last:
            evenings.append(row)
    evenings.reverse()
    if not evenings:
        return Message("dry.first_day")
    worst = max(evenings, key=lambda row: row.wet_depletion_mm)
    allowed = allowed_mm(worst, job_maker.garden, job_maker.grounds)
    depth = Quantity(worst.wet_depletion_mm, "depth")
    if allowed is None or worst.phase in ("seedbed", "settling"):
        return Message("dry.depletion", {"depth": depth})
    values = {"depth": depth, "allowed": Quantity(allowed, "depth")}
    if worst.wet_depletion_mm < allowed:
        return Message("dry.below_allowed", values)
    if job_maker.garden.zone(worst.zone).valve.kind is ValveKind.HAND:
        return Message("dry.waits_for_round", values)
    return Message("dry.covered", values)


SOON_DAYS = 7  # an end, or a stop of water, is announced so many days before
OVER_DAYS = 30  # an end is reported for so many days after, if nothing follows
PAST_DAYS = 7  # a planting so many days past its stages gets a question


def ending_messages(part: Part, day: date) -> list[Message]:
    """Messages on `day` about the ends of a part's plantings."""
    standing, coming = part.planting_on(day), _sown_cold(part, day)
    if standing is None:
        return [*_over(part, day), *coming]
    found = [_dries(standing, day), _past(standing, day)]
    if not any(facts.planting.start > day for facts in part.plantings):
        found.append(_ends_soon(standing, day))
    return [*(each for each in found if each is not None), *coming]


def _sown_cold(part: Part, day: date) -> list[Message]:
    """Messages on seeds that are due soon in soil that is too cold, by the forecast."""
    return [
        Message("end.sown_cold", {"planting": facts.name, "days": (start - day).days, "soil": cold})
        for facts in part.plantings
        if day < (start := facts.planting.start) <= day + SOON_DAYS * _DAY
        and (cold := too_cold(facts.crop, facts.course.soil_c, start))
    ]


def _over(part: Part, day: date) -> list[Message]:
    """Message on the last planting there, if only `until` ended it."""
    gone = [facts for facts in part.plantings if facts.course.ends < day]
    if not gone:
        return []
    last = max(gone, key=lambda facts: facts.course.ends)
    ended = last.course.ends
    follows = any(facts.planting.start > day for facts in part.plantings)
    if ended < last.planting.until or (day - ended).days > (SOON_DAYS if follows else OVER_DAYS):
        return []
    return [Message("end.over", {"planting": last.name, "day": str(ended)})]


def _ends_soon(facts: PlantingFacts, day: date) -> Message | None:
    ends = facts.course.ends
    if ends < facts.planting.until or (ends - day).days >= SOON_DAYS or facts.crop.perennial:
        return None
    return Message("end.soon", {"planting": facts.name, "day": str(ends)})


def _dries(facts: PlantingFacts, day: date) -> Message | None:
    """Message on crops that dry down, before their water stops and after."""
    course = facts.course
    if facts.crop.dry_down != "taper":
        return None
    for stops in (day + number * _DAY for number in range(SOON_DAYS)):
        if stops <= course.ends and course.on(stops).stopped:
            begins = Message(
                "end.dries_now" if stops == day else "end.dries_from", {"day": str(stops)}
            )
            return Message("end.dries", {"planting": facts.name, "begins": begins})
    return None


def _past(facts: PlantingFacts, day: date) -> Message | None:
    """Message on a planting that stands long after its last stage."""
    at = facts.course.on(day)
    days = sum(at.stage_days or facts.crop.stage_days)
    if facts.crop.perennial or at.stopped or at.position <= days + PAST_DAYS:
        return None
    return Message("end.past", {"planting": facts.name, "past": at.position - days, "days": days})
