"""What `plan` says of plantings beside their water: sown too cold, soon over, past their stages."""

from __future__ import annotations

from datetime import date, timedelta

from controller.demand.emergence import too_cold
from controller.demand.facts import Part, PlantingFacts

SOON_DAYS = 7  # so long before its last day, or the day its water stops, that is announced
OVER_DAYS = 30  # so long after its last day that is still said, if nothing is to follow
PAST_DAYS = 7  # so long past the last of its stages a planting is asked about
_DAY = timedelta(days=1)


def ending_words(part: Part, day: date) -> list[str]:
    """What there is to say on `day` of the ends of a part's plantings."""
    standing, coming = part.planting_on(day), _sown_cold(part, day)
    if standing is None:
        return [*_over(part, day), *coming]
    words = [_dries(standing, day), _past(standing, day)]
    if not any(facts.planting.start > day for facts in part.plantings):
        words.append(_ends_soon(standing, day))
    return [*(f"{standing.name}: {said}" for said in words if said), *coming]


def _sown_cold(part: Part, day: date) -> list[str]:
    """What is to be sown within days into soil that is too cold for it, by the weather to come."""
    return [
        f"{facts.name}: it is to be sown in {(start - day).days} days, and by then {words}; "
        "sow it later, or under a film or a row cover"
        for facts in part.plantings
        if day < (start := facts.planting.start) <= day + SOON_DAYS * _DAY
        and (words := too_cold(facts.crop, facts.course.soil_c, start))
    ]


def _over(part: Part, day: date) -> list[str]:
    """The planting that stood there last, where `until` alone ended it."""
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
    """Crops left to dry where they stand: said before their water stops, and while it has."""
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
    """A planting that has long run out of stages and is still in the ground."""
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
