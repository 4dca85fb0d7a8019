"""Beds under cover in a plan: the weather of each zone, with messages and cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from controller.demand.climate.under_cover import days_under, rain_under
from controller.garden.model import Cover, Garden, Zone
from controller.messages import Message, Value
from controller.timetable.check.finding import Finding, caution
from controller.timetable.need.jobs import JobMaker


def by_zone(outside: JobMaker) -> dict[str, JobMaker]:
    """The job maker of each zone, with the weather under the covers of its bed."""
    of_covers: dict[tuple[Cover, ...], JobMaker] = {}
    for zone in outside.garden.zones:
        covers = zone.bed.covers
        if covers not in of_covers:
            of_covers[covers] = _under(covers, outside)
    return {zone.name: of_covers[zone.bed.covers] for zone in outside.garden.zones}


def _under(covers: Sequence[Cover], outside: JobMaker) -> JobMaker:
    if not covers:
        return outside
    return replace(
        outside,
        days=days_under(covers, outside.days),
        coming_mm=rain_under(covers, outside.coming_mm),
        given=replace(outside.given, fallen_mm=rain_under(covers, outside.given.fallen_mm)),
    )


def cover_messages(garden: Garden, first: date, last: date) -> list[Message]:
    """Messages on covers in these days, once for all zones under the same ones."""
    zones: dict[tuple[Cover, ...], list[str]] = {}
    for zone in garden.zones:
        standing = tuple(c for c in zone.bed.covers if c.begins <= last and first <= c.until)
        if standing:
            zones.setdefault(standing, []).append(zone.name)
    return [
        Message("cover.zones", {"zones": tuple(names), "covers": tuple(map(_what, covers))})
        for covers, names in zones.items()
    ]


def of_covers(zone: Zone, garden: Garden) -> list[Finding]:
    """Cautions of `check`: a cover over no planting, salt that no rain leaches."""
    where, found = f'zone "{zone.name}"', []
    for cover in zone.bed.covers:
        if not _touches(cover, zone) and not _serves_another(cover, zone, garden):
            found.append(
                caution(where, f"{_dated(cover)} stands over no planting; look at its dates")
            )
    salt = garden.supply.salt_ds_m
    dry = [c for c in zone.bed.covers if c.rain_factor == 0.0 and _touches(c, zone)]
    if salt and dry and zone.plantings:
        found.append(
            caution(
                where,
                f"{_dated(dry[0])} keeps all rain out, and the water has {salt:g} dS/m of salt: no "
                "rain washes it down, so all leaching must come from the line; where the crop's "
                "bounds are known the doses have it, else water the bed through now and then, and "
                "leave it open in winter if you can",
            )
        )
    return found


def _what(cover: Cover) -> Message:
    share = cover.rain_factor
    rain = Message("cover.share_of_rain", {"share": share})
    if share in (0.0, 1.0):
        rain = Message("cover.all_rain" if share else "cover.no_rain")
    begins: Value = ""
    if cover.begins != date.min:
        begins = Message("cover.begins", {"day": str(cover.begins)})
    ends: Value = ""
    if cover.until != date.max:
        ends = Message("cover.ends", {"day": str(cover.until)})
    dated: dict[str, Value] = {"kind": cover.kind, "begins": begins, "ends": ends}
    return Message("cover.one", {**dated, "eto": cover.eto_factor, "rain": rain})


def _dated(cover: Cover) -> str:
    """A cover with its dates, as in "the high tunnel from 2031-03-01 until 2031-10-31"."""
    begins = "" if cover.begins == date.min else f" from {cover.begins}"
    ends = "" if cover.until == date.max else f" until {cover.until}"
    return f"the {cover.kind}{begins}{ends}"


def _touches(cover: Cover, zone: Zone) -> bool:
    return not zone.plantings or any(
        cover.begins <= p.until and p.start <= cover.until for p in zone.plantings
    )


def _serves_another(cover: Cover, zone: Zone, garden: Garden) -> bool:
    """Whether the same cover of the bed stands over a planting of another zone."""
    return any(
        other.bed.name == zone.bed.name and cover in other.bed.covers and _touches(cover, other)
        for other in garden.zones
        if other is not zone and other.plantings
    )
