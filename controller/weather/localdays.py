"""From hours in UTC to the garden's own civil days, which a clock change makes 23 or 25 h long.

Two kinds of figures come in: points, true at one moment and joined here by straight lines, and
stretches, each with one figure for all of it. Whatever does not cover the whole of a day gives
nothing for that day: part of a day's rain is not the day's rain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A length of time, its end excluded."""

    begins_utc: datetime
    ends_utc: datetime

    @property
    def seconds(self) -> float:
        """How long it is. [s]"""
        return (self.ends_utc - self.begins_utc).total_seconds()

    @property
    def middle_utc(self) -> datetime:
        """The moment half-way."""
        return self.begins_utc + (self.ends_utc - self.begins_utc) / 2

    def holds(self, at_utc: datetime) -> bool:
        """Whether that moment lies in it."""
        return self.begins_utc <= at_utc < self.ends_utc

    def shared_s(self, other: Span) -> float:
        """How much of it lies in the other one, too. [s]"""
        begins_utc = max(self.begins_utc, other.begins_utc)
        return max(0.0, (min(self.ends_utc, other.ends_utc) - begins_utc).total_seconds())


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One figure for all of a span: a sum over it, or a state that lasts through it."""

    span: Span
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One figure at one moment."""

    at_utc: datetime
    value: float


def local_day(day: date, zone: ZoneInfo) -> Span:
    """From one midnight there to the next: 24 h, or 23 or 25 where the clocks change."""
    return Span(begins_utc=_midnight_utc(day, zone), ends_utc=_midnight_utc(day + _DAY, zone))


def sum_over(day: Span, parts: Sequence[Stretch]) -> float | None:
    """The day's share of sums over stretches, each spread evenly over its own; None if not all."""
    if not is_covered(day, parts):
        return None
    return sum(p.value * p.span.shared_s(day) / p.span.seconds for p in parts)


def mean_over(day: Span, parts: Sequence[Stretch]) -> float | None:
    """The day's mean of a state, each figure weighing as long as it lasts; None if not all day."""
    if not is_covered(day, parts):
        return None
    return sum(p.value * p.span.shared_s(day) for p in parts) / day.seconds


def within(day: Span, parts: Sequence[Stretch]) -> list[float]:
    """The figures of all stretches that reach into the day."""
    return [p.value for p in parts if p.span.shared_s(day) > 0.0]


def centred_in(day: Span, parts: Sequence[Stretch]) -> list[float]:
    """The figures of the stretches whose middle lies in the day.

    For the highest or lowest of a stretch that goes past midnight, which belongs to one day only:
    the one that has more of it. Our choice.
    """
    return [p.value for p in parts if day.holds(p.span.middle_utc)]


def is_covered(day: Span, parts: Sequence[Stretch]) -> bool:
    """Whether stretches that do not overlap leave nothing of the day out."""
    left_out_s = day.seconds - sum(p.span.shared_s(day) for p in parts)
    return day.seconds > 0.0 and abs(left_out_s) < 1.0


def mean_of_points(day: Span, points: Sequence[Point], *, longest_gap: timedelta) -> float | None:
    """The day's mean along straight lines from point to point (trapezoids).

    `points` are in order of time. None where none stands at or before the day's beginning or at or
    after its end, or two are further apart than `longest_gap`.
    """
    if not reaches(day, points):
        return None
    area = 0.0
    for left, right in pairwise(points):
        gap = Span(begins_utc=left.at_utc, ends_utc=right.at_utc)
        shared_s = gap.shared_s(day)
        if shared_s == 0.0:
            continue
        if right.at_utc - left.at_utc > longest_gap:
            return None
        ends = [_between(left, right, max(left.at_utc, day.begins_utc))]
        ends.append(_between(left, right, min(right.at_utc, day.ends_utc)))
        area += sum(ends) / 2.0 * shared_s
    return area / day.seconds


def reaches(day: Span, points: Sequence[Point]) -> bool:
    """Whether there are points at or before the day's beginning, and at or after its end."""
    return (
        bool(points)
        and day.seconds > 0.0  # a few zones have left a date out altogether
        and points[0].at_utc <= day.begins_utc
        and points[-1].at_utc >= day.ends_utc
    )


def in_turn(stretches: Sequence[Stretch], *, sums: bool) -> list[Stretch]:
    """The stretches in order, each ending where the next begins, so that none counts twice.

    Of a sum that is cut short, the even share of what is left remains.
    """
    ordered = sorted(stretches, key=lambda s: s.span.begins_utc)
    found: list[Stretch] = []
    following = [*ordered[1:], None][: len(ordered)]
    for one, after in zip(ordered, following, strict=True):
        span = one.span
        if after is not None and after.span.begins_utc < span.ends_utc:
            span = Span(begins_utc=span.begins_utc, ends_utc=after.span.begins_utc)
        if span.seconds > 0.0:
            share = span.seconds / one.span.seconds if sums else 1.0
            found.append(Stretch(span=span, value=one.value * share))
    return found


def _midnight_utc(day: date, zone: ZoneInfo) -> datetime:
    """Where the clocks skip midnight, the moment they do; where it comes twice, the first."""
    return datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)


def _between(left: Point, right: Point, at_utc: datetime) -> float:
    share = (at_utc - left.at_utc) / (right.at_utc - left.at_utc)
    return left.value + share * (right.value - left.value)
