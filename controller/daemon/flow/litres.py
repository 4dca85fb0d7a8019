"""The litres of each opening, by time and by meter, and how much of them is credited.

By time: every span between two changes of the open set has its own flows, so a zone that others
joined gets less credit for that time. By meter: the count over each such span is shared by those
flows; a zone that ran alone gets all of it.

A meter that misses pulses looks like holes that clog. Where nothing separates the two, the least
within the computed flow's band is credited, so that a bed neither gets its water again and again
nor dries out. The meter is trusted where another zone's flow was right on the same day. It may
lengthen a zone's day only so far.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from math import inf

from controller.daemon.flow.rules import (
    BELIEVABLE,
    COUNTS_OFF,
    LEAST_COUNTS,
    ComputedFlow,
    passing_shares,
)
from controller.timetable.records import Pulse

FlowOf = Callable[[str, frozenset[str]], float]
"""A zone's flow while a set of zones is open. [L/s]"""
LitresBetween = Callable[[float, float], float]
"""What passed the meter between two moments of the monotonic clock. [L]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSpan:
    """A zone that was open from one monotonic moment to another, of one boot."""

    zone: str
    from_mono_s: float
    to_mono_s: float


def litres_of(span: OpenSpan, others: Iterable[OpenSpan], flow_l_s: FlowOf) -> float:
    """Litres that passed one zone's valve over its span: its flow over the really open sets. [L]

    `others` are the openings that may have overlapped it; those that did not change nothing.
    """
    return sum(
        flow_l_s(span.zone, together) * (ends - begins)
        for begins, ends, together in _pieces(span, others)
    )


def metered_of(
    span: OpenSpan,
    others: Iterable[OpenSpan],
    flow_l_s: FlowOf,
    litres_between: LitresBetween,
) -> float:
    """The meter's litres of one zone over its span, as for `litres_of`. [L]

    They are shared by computed flow wherever others were open too.
    """
    total = 0.0
    for begins, ends, together in _pieces(span, others):
        flows = {zone: flow_l_s(zone, together) for zone in together}
        all_l_s = sum(flows.values())
        share = flows[span.zone] / all_l_s if all_l_s > 0.0 else 1.0 / len(together)
        total += litres_between(begins, ends) * share
    return total


def _pieces(
    span: OpenSpan, others: Iterable[OpenSpan]
) -> Iterator[tuple[float, float, frozenset[str]]]:
    """The pieces of the span in which the open set stayed the same, each with that set."""
    beside = [other for other in others if other.zone != span.zone]
    edges = {span.from_mono_s, span.to_mono_s}
    for other in beside:
        edges |= {
            edge
            for edge in (other.from_mono_s, other.to_mono_s)
            if span.from_mono_s < edge < span.to_mono_s
        }
    for begins, ends in pairwise(sorted(edges)):
        together = {o.zone for o in beside if o.from_mono_s <= begins and o.to_mono_s >= ends}
        yield begins, ends, frozenset(together | {span.zone})


class OpenSpans:
    """The openings under way and those that overlapped them; forgotten when all is shut."""

    def __init__(self) -> None:
        self._open: dict[str, float] = {}
        self._ends: dict[str, float] = {}  # of those that are closing
        self._shut: list[OpenSpan] = []

    def opened(self, zone: str, mono_s: float) -> None:
        """Take in that a zone's valve has opened, or will open."""
        self._open[zone] = mono_s

    def closing(self, zone: str, mono_s: float | None) -> None:
        """End what counts of this opening then, though it is not over; None: it does not end."""
        self._ends.pop(zone, None)
        if mono_s is not None:
            self._ends[zone] = mono_s

    def closed(self, zone: str, mono_s: float, flow_l_s: FlowOf) -> float:
        """Take in that a zone's valve has closed: the litres of that opening. [L]"""
        self.closing(zone, None)
        span = self._span(zone, mono_s)
        del self._open[zone]
        litres = litres_of(span, self._beside(span), flow_l_s)
        self._shut.append(span)
        if not self._open:
            self._shut.clear()
        return litres

    def so_far(self, zone: str, mono_s: float, flow_l_s: FlowOf) -> float:
        """Litres of an opening still under way. [L]"""
        span = self._span(zone, mono_s)
        return litres_of(span, self._beside(span), flow_l_s)

    def metered(
        self, zone: str, mono_s: float, flow_l_s: FlowOf, litres_between: LitresBetween
    ) -> float:
        """The meter's litres of an opening still under way, up to a moment. [L]"""
        span = self._span(zone, mono_s)
        return metered_of(span, self._beside(span), flow_l_s, litres_between)

    def together(self, zone: str, mono_s: float) -> frozenset[str]:
        """The zones open at any moment of an opening still under way, itself with them."""
        span = self._span(zone, mono_s)
        pieces = _pieces(span, self._beside(span))
        return frozenset((zone,)).union(*(together for _, _, together in pieces))

    @property
    def earliest_mono_s(self) -> float | None:
        """When the earliest opening still needed began; None if there is none. [s]"""
        moments = [*self._open.values(), *(span.from_mono_s for span in self._shut)]
        return min(moments, default=None)

    def since(self, zone: str) -> float | None:
        """When a zone opened, on the monotonic clock; None if it is shut. [s]"""
        return self._open.get(zone)

    def _span(self, zone: str, mono_s: float) -> OpenSpan:
        """An opening up to a moment; without length while it has not begun."""
        since, ends = self._open[zone], min(mono_s, self._ends.get(zone, mono_s))
        return OpenSpan(zone=zone, from_mono_s=since, to_mono_s=max(since, ends))

    def _beside(self, span: OpenSpan) -> list[OpenSpan]:
        under_way = [self._span(zone, span.to_mono_s) for zone in self._open if zone != span.zone]
        return [*self._shut, *under_way]


BandOf = Callable[[frozenset[str]], ComputedFlow]
MORE_THAN_PLAN = 0.25  # of a zone's planned seconds in a day, on the meter's word; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What an opening gave, by the meter and by time, and which zones ran at any moment of it.

    `seconds` is how long the meter counted for it.
    """

    zones: frozenset[str]
    metered_l: float
    timed_l: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Credited:
    """The litres credited, and whether they are the meter's own. [L]"""

    litres: float
    by_meter: bool


class Credit:
    """Decides whether to trust the meter; remembers which sets it was right for today.

    `band_of` gives the flow of a set and its error, `most_l_s` what the open tap gives.
    """

    def __init__(self, litres_per_pulse: float, band_of: BandOf, most_l_s: float = inf) -> None:
        self._per_pulse_l, self._band_of, self._most_l_s = litres_per_pulse, band_of, most_l_s
        self._right: set[frozenset[str]] = set()
        self._day: date | None = None
        # By set: counted less than the band allows, over its openings until they balance. [L]
        self._short_l: dict[frozenset[str], float] = {}

    def of(self, counted: Counted, day: date) -> Credited:
        """What is credited of an opening that is over, planned for that day.

        The meter's litres where they lie within the band, or where a zone that did not run with
        these was seen right on that day; the band's least where they lie below it, and what time
        says where no tap gives so much. A pulse of the meter counts on from one opening to the
        next, so the two that may be missing are of all openings together: each by itself would let
        a meter of a litre a pulse count nothing of small doses. Our own rule, by
        `rules.passing_shares`.
        """
        if day != self._day:
            self._right, self._day = set(), day
        if self.is_absurd(counted.metered_l, counted.seconds):
            self._right.discard(counted.zones)
            return Credited(litres=counted.timed_l, by_meter=False)
        band = self._band_of(counted.zones)
        if not band.is_known or counted.timed_l <= 0.0:
            return Credited(litres=counted.metered_l, by_meter=True)
        low, high = passing_shares(band)
        off_l = COUNTS_OFF * self._per_pulse_l
        short_l = self._short_l.get(counted.zones, 0.0)
        short_l = max(0.0, short_l + low * counted.timed_l - counted.metered_l)
        if short_l > off_l:
            self._right.discard(counted.zones)
            if any(not right & counted.zones for right in self._right):
                return Credited(litres=counted.metered_l, by_meter=True)
            self._short_l[counted.zones] = off_l
            return Credited(litres=counted.metered_l + short_l - off_l, by_meter=False)
        self._short_l[counted.zones] = short_l
        enough = counted.metered_l >= LEAST_COUNTS * self._per_pulse_l
        if enough and counted.metered_l <= high * counted.timed_l + off_l:
            self._right.add(counted.zones)
        return Credited(litres=counted.metered_l, by_meter=True)

    def is_absurd(self, metered_l: float, seconds: float) -> bool:
        """Whether no tap gives so much, so that the count is not water."""
        most_l = BELIEVABLE * self._most_l_s * seconds + LEAST_COUNTS * self._per_pulse_l
        return metered_l > most_l


@dataclass(frozen=True, slots=True, kw_only=True)
class DayGiven:
    """A zone's day so far: how long it was open, and how much of that gave nothing by the meter.

    `lacking_s` is how much less was credited than by time, in seconds of the computed flow.
    """

    open_s: float
    lacking_s: float


def held_to_plan(
    pulses: Sequence[Pulse],
    given: Mapping[tuple[str, date], DayGiven],
    shortest_s: Mapping[str, float],
) -> tuple[list[Pulse], list[tuple[str, date]]]:
    """The pulses of a plan, with no zone-day longer than the meter may make it, and what was cut.

    `given` is what each zone was given on each day already, `shortest_s` the shortest opening of
    each zone; a rest below it stays owed. [s] Our own rule: open + planned <= (1 +
    `MORE_THAN_PLAN`) (open + planned - lacking), in seconds; in the brackets is what would have
    been planned by time.
    """
    left_s: dict[tuple[str, date], float] = {}
    for key, day_given in given.items():
        planned_s = sum(p.open_s for p in pulses if (p.zone, p.day) == key)
        by_time_s = day_given.open_s + planned_s - day_given.lacking_s
        most_s = max(0.0, (1.0 + MORE_THAN_PLAN) * by_time_s - day_given.open_s)
        if planned_s > most_s:
            left_s[key] = most_s
    cut = sorted(left_s)
    kept: list[Pulse] = []
    for pulse in sorted(pulses, key=lambda p: p.opens_utc):
        key = (pulse.zone, pulse.day)
        if key not in left_s:
            kept.append(pulse)
            continue
        open_s = min(pulse.open_s, left_s[key])
        if open_s < min(pulse.open_s, shortest_s.get(pulse.zone, 0.0)) or open_s <= 0.0:
            left_s[key] = 0.0
            continue
        left_s[key] -= open_s
        kept.append(_shortened(pulse, open_s))
    return kept, cut


def short_words(counted: Counted, credited_l: float) -> str:
    """Text: the meter counted less than the band allows, in an opening too short to judge."""
    return (
        f"the meter counted {counted.metered_l:.1f} L where time says {counted.timed_l:.1f} L; "
        f"{credited_l:.1f} L are credited, by the least that passes of these openings together; "
        "look at the line, and at the meter"
    )


def cut_words(given: DayGiven) -> str:
    """Text for the keeper: a zone's day is not made longer."""
    return (
        f"open for {given.open_s:.0f} s today, of which {given.lacking_s:.0f} s gave nothing by "
        f"the meter; it gets no more than {100.0 * MORE_THAN_PLAN:.0f} % above its plan in a day, "
        "and the rest stays owed"
    )


def day_given(
    openings: Iterable[tuple[str, date, float, float, float]],
) -> dict[tuple[str, date], DayGiven]:
    """Sum up openings: zone, day, seconds open, litres credited, and the flow computed. [s, L, L/s]

    Each opening counts by how much less was credited than by time; more is no lack.
    """
    found: dict[tuple[str, date], DayGiven] = {}
    for zone, day, open_s, litres, flow_l_s in openings:
        lacking_s = max(0.0, open_s - litres / flow_l_s) if flow_l_s > 0.0 else 0.0
        before = found.get((zone, day), DayGiven(open_s=0.0, lacking_s=0.0))
        found[zone, day] = DayGiven(
            open_s=before.open_s + open_s, lacking_s=before.lacking_s + lacking_s
        )
    return found


def _shortened(pulse: Pulse, open_s: float) -> Pulse:
    """The pulse, shortened; its litres shrink with its time."""
    if open_s >= pulse.open_s:
        return pulse
    return replace(
        pulse,
        open_s=open_s,
        closes_utc=pulse.closes_utc - timedelta(seconds=pulse.open_s - open_s),
        litres=pulse.litres * open_s / pulse.open_s,
    )
