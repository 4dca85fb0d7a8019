"""What stands at the end of a sheet: its notes, and the reasons of the doses zone by zone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from controller.garden.model import Zone
from controller.messages import Message
from controller.paper.amounts import Units
from controller.paper.text import day_cell, paragraph
from controller.timetable.need.dose import SHARE_USED_UP
from controller.timetable.records import Dose, Timetable
from controller.wording.say import say

# The four stages of FAO-56, and bare ground, as a gardener would say them.
_STAGES = {
    "initial": "still small",
    "development": "growing",
    "mid": "full grown",
    "late": "late in its season",
}
# What is said of each zone alike is said once for more zones than this; our choice.
_MOST_ALIKE = 2
_GATHERED = {
    "plan.throttle_for_time": Message("plan.throttle_all_for_time"),
    "plan.throttle_for_soil": Message("plan.throttle_all_for_soil"),
}


def reasons_text(timetable: Timetable, zones: Sequence[Zone], units: Units) -> list[list[str]]:
    """A heading with what the words mean, then a block for each zone, with a line for each day."""
    blocks: list[list[str]] = []
    for zone in zones:
        lines: list[str] = []
        for dose in timetable.doses:
            if dose.zone == zone.name:
                words = f"{day_cell(dose.day)}  {why_line(dose, units)}"
                lines += paragraph(words, "  ", " " * 10, at_hyphens=False)
        if lines:
            blocks.append([zone.name, *lines])
    if not blocks:
        return []
    words = (
        'Water is "missing" against ground that holds all it can. A zone is watered when a set '
        "share of what its plants reach easily is missing. The plants suffer when all of that is."
    )
    return [["Reasons", "-------", *paragraph(words)], *blocks]


def why_line(dose: Dose, units: Units) -> str:
    """The reason of one dose: what is missing against what may be, the day's use, the rain."""
    why = dose.why
    crop = why.account.partition(" from ")[0].replace("_", " ")
    stage = f", {_STAGES[why.stage]}" if why.stage in _STAGES else ""
    uses = f"the day takes {units.depth(why.kc * why.eto_mm)}"
    if why.stands_in:
        uses += " (a stand-in for unknown weather)"
    rain = f"rain counted since the last watering {units.depth(why.rain_mm)}"
    if why.rain_unknown_days:
        rain += f" (unknown on {why.rain_unknown_days} d)"
    # That the allowed share is used up stands in the figures already.
    words = _joined((r for r in why.reasons if r != SHARE_USED_UP), us=units.us)
    return (
        f"{crop}{stage}: {units.depth(why.depletion_mm)} is missing, it is watered from "
        f"{units.depth(why.allowed_mm)}, it suffers from {units.depth(why.raw_mm)}; {uses}; {rain}"
        + (f"; {words}" if words else "")
    )


def _joined(reasons: Iterable[Message], *, us: bool) -> str:
    return "; ".join(say(reason, us=us) for reason in reasons)


def notes_text(remarks: Iterable[Message], *, us: bool) -> list[str]:
    """Each remark as a note; what is alike for several zones once, with a line for each."""
    alike: dict[str, list[Message]] = defaultdict(list)
    for remark in remarks:
        alike[remark.code if remark.code in _GATHERED else say(remark, us=us)].append(remark)
    said: list[tuple[str, str]] = []  # an indent, and words
    for code, found in alike.items():
        if code in _GATHERED and len(found) > _MOST_ALIKE:
            said.append(("  ", f"Note: {say(_GATHERED[code], us=us)}:"))
            ones = (Message("plan.throttle_one", one.values) for one in found)
            said += [(" " * 6, say(one, us=us)) for one in ones]
        else:
            said += [("  ", f"Note: {say(one, us=us)}.") for one in found]
    return [line for at, words in said for line in paragraph(words, at, at_hyphens=False)]
