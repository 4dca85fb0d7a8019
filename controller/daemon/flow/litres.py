"""Litres of each valve, from the zones that were open at each moment and the flows of the network.

By time: every span between two changes of the open set has its own flows, so a zone that others
joined gets less credit for that time. By meter: the count over each such span is shared by those
flows; a zone that ran alone gets all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

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
    """Litres that passed one zone's valve over its span.

    Parameters
    ----------
    span : OpenSpan
        The opening asked about.
    others : iterable of OpenSpan
        Every other opening that may have overlapped it; those that did not change nothing.
    flow_l_s : callable
        Flow of a zone within a set of open zones. [L/s]

    Returns
    -------
    float
        The integral of the zone's flow over the really open sets. [L]
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
    """Litres that passed one zone's valve over its span, by a meter ahead of all of them.

    Parameters
    ----------
    span, others, flow_l_s
        As for `litres_of`.
    litres_between : callable
        What passed the meter between two monotonic moments. [L]

    Returns
    -------
    float
        The meter's litres, shared by computed flow wherever others were open too. [L]
    """
    total = 0.0
    for begins, ends, together in _pieces(span, others):
        flows = {zone: flow_l_s(zone, together) for zone in together}
        whole = sum(flows.values())
        share = flows[span.zone] / whole if whole > 0.0 else 1.0 / len(together)
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
