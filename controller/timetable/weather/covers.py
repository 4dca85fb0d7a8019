"""Beds under cover in a plan: the weather of each zone, with messages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from controller.demand.climate.under_cover import days_under, rain_under
from controller.garden.model import Cover, Garden
from controller.garden.show import listed
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


def cover_messages(garden: Garden, first: date, last: date) -> list[str]:
    """Messages on covers in these days, once for all zones under the same ones."""
    zones: dict[tuple[Cover, ...], list[str]] = {}
    for zone in garden.zones:
        standing = tuple(c for c in zone.bed.covers if c.begins <= last and first <= c.until)
        if standing:
            zones.setdefault(standing, []).append(zone.name)
    return [
        f"{listed(names)}: under {' and '.join(map(_what, covers))}; ETo and rain are as the bed "
        f"has them under it"
        for covers, names in zones.items()
    ]


def _what(cover: Cover) -> str:
    rain = {0.0: "no rain", 1.0: "all rain"}.get(
        cover.rain_factor, f"{cover.rain_factor:g} of the rain"
    )
    return f"{dated(cover)} ({cover.eto_factor:.2f} of the reference ET outside, {rain})"


def dated(cover: Cover) -> str:
    """A cover with its dates, as in "the high tunnel from 2031-03-01 until 2031-10-31"."""
    begins = "" if cover.begins == date.min else f" from {cover.begins}"
    ends = "" if cover.until == date.max else f" until {cover.until}"
    return f"the {cover.kind}{begins}{ends}"
