"""What a person may have seen of a planting, and the words people say it in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from controller.demand.records import Observation
from controller.errors import InputError
from controller.garden.model import Planting

# FAO-56 (1998), chapter 6, tells the stages apart by what can be seen: a tenth of the ground
# covered, full cover or the first flowers, the first yellow leaves.
EVENTS: Mapping[str, str] = {
    "up": "the plants are up",
    "spreading": "the plants cover a tenth of the ground and spread",
    "full": "the plants cover their ground, or the first flowers are open",
    "ripening": "the first leaves turn yellow, or the tops fall",
    "lifted": "the plants were harvested and are gone",
}

_WORDS: Mapping[str, tuple[str, ...]] = {
    "up": (
        *("come up", "came up", "emerged", "emergence", "emerging", "sprouted", "sprouts"),
        *("germinated", "seedlings", "plants show", "plants up", "plants are up", "showing"),
    ),
    "spreading": (
        *("spread", "ten percent cover", "10 percent cover", "10 cover", "tenth cover"),
        *("a tenth covered", "cover begins", "growing away", "development"),
    ),
    "full": (
        *("full cover", "fully covered", "full canopy", "full grown", "closed", "canopy closed"),
        *("first flower", "first flowers", "first bloom", "flowering", "flowers", "in flower"),
        *("bloom", "blooming", "in bloom", "mid season", "mid"),
    ),
    "ripening": (
        *("ripe", "tops falling", "tops fall", "tops fell", "tops down", "tops have fallen"),
        *("tops breaking", "tops yellow", "first yellow", "first yellow leaves", "yellow leaves"),
        *("leaves yellow", "yellowing", "first yellowing", "turning yellow", "dying back"),
        *("leaves turning", "maturing", "senescence", "late"),
    ),
    "lifted": (
        *("lift", "harvest", "harvested", "pulled", "pulled up", "pulled out", "dug", "dug up"),
        *("cleared", "removed", "taken out", "gone", "finished", "cut down"),
    ),
}


def event_of(words: str) -> str:
    """The event that a gardener's words mean; InputError names those there are."""
    event = _EVENT_OF.get(_plain(words))
    if event is None:
        known = "; ".join(f'"{name}" ({meaning})' for name, meaning in EVENTS.items())
        raise InputError(f'"{words}" is nothing that can be noted of plants; there is: {known}')
    return event


def allotted(
    plantings: Sequence[Planting], observations: Sequence[Observation]
) -> tuple[tuple[tuple[Observation, ...], ...], tuple[str, ...]]:
    """Each of one zone's observations to the plantings it is of, and remarks on the rest.

    It is of every planting that stands on its day and is of its crop, where it names one.
    """
    of_each: list[list[Observation]] = [[] for _ in plantings]
    remarks = []
    for seen in observations:
        standing = [
            mine
            for planting, mine in zip(plantings, of_each, strict=True)
            if planting.start <= seen.day <= planting.until
            and (not seen.crop or _plain(seen.crop) == _plain(planting.crop))
        ]
        for mine in standing:
            mine.append(seen)
        if not standing:
            what = f"no {seen.crop}" if seen.crop else "nothing"
            remarks.append(
                f'"{seen.event}" noted for {seen.day.isoformat()} is left aside: '
                f"{what} stands there on that day"
            )
    return tuple(map(tuple, of_each)), tuple(remarks)


def _plain(words: str) -> str:
    """The words with case, spaces and signs evened out."""
    return re.sub(r"[\W_]+", " ", words.casefold().replace("%", " percent ")).strip()


_EVENT_OF = {
    _plain(said): event for event in EVENTS for said in (event, EVENTS[event], *_WORDS[event])
}
