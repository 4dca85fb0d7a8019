"""Beds under cover in a plan: the weather of each zone, with messages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from controller.demand.climate.under_cover import days_under, rain_under
from controller.garden.model import Cover, Garden
from controller.messages import Message, Value
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


def _what(cover: Cover) -> Message:
    share = cover.rain_factor
    rain = Message("cover.share_of_rain", {"share": share})
    if share in (0.0, 1.0):
        rain = Message("cover.all_rain" if share else "cover.no_rain")
    return Message("cover.one", {"cover": dated(cover), "eto": cover.eto_factor, "rain": rain})


def dated(cover: Cover) -> Message:
    """A cover with its dates, as in "the high tunnel from 2031-03-01 until 2031-10-31"."""
    begins: Value = ""
    if cover.begins != date.min:
        begins = Message("cover.begins", {"day": cover.begins})
    ends: Value = ""
    if cover.until != date.max:
        ends = Message("cover.ends", {"day": cover.until})
    return Message("cover.dated", {"kind": cover.kind, "begins": begins, "ends": ends})
