"""What a person may observe of a planting, and the words for it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from controller.demand.records import Observation
from controller.errors import InputError
from controller.garden.model import Planting
from controller.messages import Message
from crops.catalogue import Crop

# FAO-56 (1998), chapter 6, separates the stages by what can be seen: a tenth of the ground
# covered, full cover or the first flowers, the start of maturity. A first ripe fruit is not the end
# of the mid-season of plants that are picked for weeks. Logbooks keep these names: "ripening" once
# meant fallen tops too, and reads as yellow lower leaves now, which stop no water.
EVENTS: Mapping[str, str] = {
    "up": "the plants are up",
    "spreading": "the plants cover a tenth of the ground and spread",
    "full": "the plants cover their ground, or the first flowers are open",
    "first ripe": "the first are ripe or picked, and more come",
    "ripening": "the lower leaves are yellow",
    "last picking": "the last are picked, and the plants still stand",
    "tops fallen": "the tops have fallen or dried",
    "gone": "the plants are gone",
}
# Older logbooks have this word, from when "harvested" was taken as the end of the plants.
OLD_GONE = "lifted"

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
    "first ripe": (
        *("first fruit", "first fruits", "first ripe fruit", "first ripe fruits", "ripe fruit"),
        *("first picked", "first picking", "first harvest", "first harvested", "picking"),
        *("picking begins", "picking began", "picked some", "harvested some", "first fruit ripe"),
    ),
    "ripening": (
        *("yellow", "first yellow", "first yellow leaves", "yellow leaves", "leaves yellow"),
        *("yellow lower leaves", "lower leaves yellow", "yellowing", "first yellowing"),
        *("turning yellow", "tops yellow", "tops yellowing", "leaves turning", "maturing"),
        *("senescence", "late", "lower leaves brown"),
    ),
    "last picking": (
        *("last picked", "last harvest", "last harvested", "last fruit", "picking over"),
        *("picking ended", "picking is over", "picked out", "all picked"),
    ),
    "tops fallen": (
        *("fallen", "tops falling", "tops fall", "tops fell", "tops down", "tops have fallen"),
        *("tops breaking", "tops dry", "tops dried", "tops dead", "tops died", "dying back"),
        *("died back", "half the tops down", "a third of the leaves brown", "third brown"),
        *("half the leaves yellow", "half yellow"),
    ),
    "gone": (
        *(
            "lift",
            "lifted",
            "pulled",
            "pulled up",
            "pulled out",
            "dug",
            "dug up",
            "dug out",
            "cleared",
        ),
        *("removed", "taken out"),
    ),
}
# Words that may mean several things: a person has to say which.
_UNCLEAR: Mapping[tuple[str, ...], tuple[str, ...]] = {
    ("first ripe", "last picking", "gone"): (
        *("harvest", "harvested", "harvesting", "picked", "pick", "cropped", "taken in"),
    ),
    ("last picking", "gone"): ("finished", "over", "done", "cut down", "cut"),
}
_RIPE = ("ripe", "ripened")


def events_of(words: str, crop: Crop | None = None) -> tuple[str, ...]:
    """The events that a gardener's words may mean; one, if they are clear.

    Case and signs do not matter. A perennial is never gone by a harvest. "Ripe" of a crop whose
    watering stops at fallen tops may be either of its two signs. InputError if the words mean
    nothing that can be noted; it names what can.

    Source
    ------
    Our own list of words.

    Examples
    --------
    >>> events_of("in bloom"), events_of("finished")
    (('full',), ('last picking', 'gone'))
    """
    plain = _plain(words)
    if plain in _RIPE:
        stops = crop is not None and crop.dry_down == "stop"
        return ("ripening", "tops fallen") if stops else ("first ripe",)
    for events, said in _UNCLEAR.items():
        if plain in said:
            perennial = crop is not None and crop.perennial
            return tuple(e for e in events if not (perennial and e == "gone"))
    event = _EVENT_OF.get(plain)
    if event is None:
        raise InputError(f'"{words}" is nothing that can be noted of plants; there is: {named()}')
    return (event,)


def named(events: Iterable[str] = EVENTS) -> str:
    """The events with what they mean.

    Examples
    --------
    >>> named(["up", "gone"])
    '"up" (the plants are up); "gone" (the plants are gone)'
    """
    return "; ".join(f'"{name}" ({EVENTS[name]})' for name in events)


def allotted(
    plantings: Sequence[Planting], observations: Sequence[Observation]
) -> tuple[tuple[tuple[Observation, ...], ...], tuple[Message, ...]]:
    """Share out a zone's observations to its plantings.

    Each observation goes to every planting that stands on its day and, if it names a crop, is of
    that crop. Returned are the observations of each planting, and remarks on those that fit none.

    Examples
    --------
    >>> from datetime import date
    >>> peas = Planting(crop="pea", start=date(2031, 4, 1), until=date(2031, 7, 1))
    >>> seen = Observation(zone="a", day=date(2031, 4, 15), event="up")
    >>> (of_peas,), remarks = allotted([peas], [seen])
    >>> of_peas == (seen,), remarks
    (True, ())
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
            crop = seen.crop
            why = Message("seen.no_crop_stands" if crop else "seen.nothing_stands", {"crop": crop})
            remarks.append(left_aside(seen, why))
    return tuple(map(tuple, of_each)), tuple(remarks)


def left_aside(seen: Observation, fault: Message) -> Message:
    """The remark that an observation does not count, for this reason."""
    return Message(
        "seen.left_aside", {"event": seen.event, "day": seen.day.isoformat(), "fault": fault}
    )


def _plain(words: str) -> str:
    """The words without differences of case, spaces and signs."""
    return re.sub(r"[\W_]+", " ", words.casefold().replace("%", " percent ")).strip()


_EVENT_OF = {
    _plain(said): event for event in EVENTS for said in (event, EVENTS[event], *_WORDS[event])
}
