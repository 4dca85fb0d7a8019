"""People's notes: what each says, with its number, its author and what took it back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from controller.demand.plants.observations import EVENTS
from controller.garden.show import show_volume
from controller.hydraulics.calibration.kept_tests import shown
from controller.logbook.entries import Entry
from controller.logbook.queries import GAUGE, METER, MORE_RAIN, SOIL_START
from controller.logbook.records import MENDED, MeasurementRow, Note, ObservationRow, Reading
from controller.logbook.totals import NEW_METER
from controller.paper.amounts import Units
from controller.paper.soil_readings import BY_FEEL, FEEL
from controller.paper.soil_readings import KIND as SOIL
from controller.paper.text import paragraph, short_day
from controller.units import gal_from_m3, m3_from_l
from controller.wording.say import say

_KINDS = {GAUGE: "rain", MORE_RAIN: "rain", METER: "meter", SOIL: "soil", SOIL_START: "soil start"}


def kind_of(entry: Entry) -> str:
    """What kind of note it is, in a word or two."""
    what = entry.what
    if isinstance(what, MeasurementRow):
        return "field test"
    if isinstance(what, ObservationRow):
        return "seen"
    if isinstance(what, Note):
        return "words"
    return _KINDS.get(what.kind, what.kind) if isinstance(what, Reading) else "watered"


def entry_words(entry: Entry, units: Units) -> str:
    """What a note says, without its day, as in "carrots watered by hand, 12 min, 38 L"."""
    what = entry.what
    if isinstance(what, MeasurementRow):
        return f"field test, {say(shown(what.said), us=units.us)}"
    if isinstance(what, ObservationRow):
        crop = f", {what.seen.crop}" if what.seen.crop else ""
        return f"{what.seen.zone}{crop}: {EVENTS.get(what.seen.event, what.seen.event)}"
    if isinstance(what, Note):
        return f"{what.zone}: {what.words}" if what.zone else what.words
    if isinstance(what, Reading):
        return _reading(what, units)
    minutes = "" if what.open_s is None else f"{what.open_s / 60.0:g} min, "
    litres = show_volume(m3_from_l(what.litres or 0.0), units.us)
    return f"{what.zone} watered by hand, {minutes}{litres}"


def _reading(read: Reading, units: Units) -> str:
    if read.kind == GAUGE:
        return f"{units.depth(read.value)} of rain, all of that day"
    if read.kind == MORE_RAIN:
        return f"{units.depth(read.value)} of rain"
    if read.kind == METER:
        new = "a new meter" if read.unit == NEW_METER else "the meter"
        return f"{new} reads {meter_figure(read.value, units)}"
    if read.kind == SOIL:
        felt = read.unit == BY_FEEL and read.value in range(len(FEEL))
        found = FEEL[int(read.value)] if felt else f"{read.value:g} {read.unit}"
        return f"the soil of {read.zone}: {found}"
    if read.kind == SOIL_START:
        return f"{read.zone}: the account starts from {read.value:g} % by volume"
    if read.kind == MENDED:
        return f"the line of {read.zone} is as it should be"
    zone = f"{read.zone}: " if read.zone else ""
    return f"{zone}{read.kind} {read.value:g} {read.unit}".rstrip()


def meter_figure(litres: float, units: Units) -> str:
    """What a meter shows: to the litre, or to the tenth of a gallon."""
    if units.us:
        return f"{gal_from_m3(m3_from_l(litres)):,.1f} gal"
    return f"{litres:,.0f} L"


def taken_back_words(entry: Entry, zone_info: ZoneInfo) -> str:
    """Which entry took a note back, when, who and why; empty for a note that stands."""
    back = entry.taken_back
    if back is None:
        return ""
    did = "corrected by" if back.is_correction else "withdrawn as"
    on = short_day(back.written_utc.astimezone(zone_info).date())
    who = f", {back.who}" if back.who else ""
    why = f": {back.why}" if back.why else ""
    return f"{did} {back.number} on {on}{who}{why}"


def notes_text(entries: Sequence[Entry], units: Units, zone_info: ZoneInfo) -> str:
    """The notes, a line each by day and number; what was taken back is marked with an x."""
    lines: list[str] = []
    for one in sorted(entries, key=lambda entry: (entry.day(zone_info), entry.number)):
        mark = " " if one.taken_back is None else "x"
        who = f" ({one.who})" if one.who else ""
        instead = "" if one.corrects is None else f", in place of {one.corrects}"
        words = " ".join(f"{entry_words(one, units)}{instead}{who}".split())
        lines += paragraph(f"{one.number:>5} {mark} {one.day(zone_info)}  {words}", "", " " * 20)
        if back := taken_back_words(one, zone_info):
            lines += paragraph(" ".join(back.split()), " " * 20, " " * 20)
    return "".join(f"{line}\n" for line in lines) or "no notes\n"


def notes_rows(entries: Sequence[Entry], units: Units, zone_info: ZoneInfo) -> list[dict[str, Any]]:
    """The same for a program; SI, units in the keys."""
    return [
        {
            "number": one.number,
            "kind": kind_of(one),
            "day": one.day(zone_info).isoformat(),
            "zones": list(one.zones),
            "who": one.who,
            "written_utc": one.written_utc.isoformat(timespec="seconds"),
            "words": entry_words(one, units),
            "corrects": one.corrects,
            "stands": one.taken_back is None,
            "taken_back": None
            if one.taken_back is None
            else {
                "number": one.taken_back.number,
                "written_utc": one.taken_back.written_utc.isoformat(timespec="seconds"),
                "who": one.taken_back.who,
                "why": one.taken_back.why,
                "is_correction": one.taken_back.is_correction,
            },
        }
        | _figures(one)
        for one in sorted(entries, key=lambda entry: (entry.day(zone_info), entry.number))
    ]


def _figures(entry: Entry) -> dict[str, Any]:
    """The note's own figures."""
    what = entry.what
    if isinstance(what, MeasurementRow):
        return {"field_test": dict(what.said)}
    if isinstance(what, Note):
        return {}
    if isinstance(what, ObservationRow):
        return {"event": what.seen.event, "crop": what.seen.crop}
    if isinstance(what, Reading):
        return {"value": what.value, "unit": what.unit}
    return {"litres": what.litres, "open_s": what.open_s}
