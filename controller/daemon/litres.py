"""Litres by time: what passed each valve, from who was open when and what the network then gives.

There is no meter in this sum. Every span between two changes of the open set has its own flows, so
a zone that others joined is credited less for that while.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise

FlowOf = Callable[[str, frozenset[str]], float]
"""A zone's flow while a set of zones is open. [L/s]"""


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
    near = [
        other
        for other in others
        if other.zone != span.zone
        and other.from_mono_s < span.to_mono_s
        and other.to_mono_s > span.from_mono_s
    ]
    edges = {span.from_mono_s, span.to_mono_s}
    for other in near:
        edges |= {
            edge
            for edge in (other.from_mono_s, other.to_mono_s)
            if span.from_mono_s < edge < span.to_mono_s
        }
    total = 0.0
    for begins, ends in pairwise(sorted(edges)):
        together = {o.zone for o in near if o.from_mono_s <= begins and o.to_mono_s >= ends}
        total += flow_l_s(span.zone, frozenset(together | {span.zone})) * (ends - begins)
    return total


class OpenSpans:
    """The openings under way, and those that overlapped them; forgotten when all is shut."""

    def __init__(self) -> None:
        self._open: dict[str, float] = {}
        self._shut: list[OpenSpan] = []

    def opened(self, zone: str, mono_s: float) -> None:
        """A zone's valve has opened."""
        self._open[zone] = mono_s

    def closed(self, zone: str, mono_s: float, flow_l_s: FlowOf) -> float:
        """A zone's valve has closed: the litres of that opening. [L]"""
        span = OpenSpan(zone=zone, from_mono_s=self._open.pop(zone), to_mono_s=mono_s)
        litres = litres_of(span, self._beside(span), flow_l_s)
        self._shut.append(span)
        if not self._open:
            self._shut.clear()
        return litres

    def so_far(self, zone: str, mono_s: float, flow_l_s: FlowOf) -> float:
        """Litres of an opening still under way. [L]"""
        span = OpenSpan(zone=zone, from_mono_s=self._open[zone], to_mono_s=mono_s)
        return litres_of(span, self._beside(span), flow_l_s)

    def since(self, zone: str) -> float | None:
        """When a zone opened, on the monotonic clock; None if it is shut. [s]"""
        return self._open.get(zone)

    def _beside(self, span: OpenSpan) -> list[OpenSpan]:
        under_way = [
            OpenSpan(zone=zone, from_mono_s=since, to_mono_s=span.to_mono_s)
            for zone, since in self._open.items()
            if zone != span.zone
        ]
        return [*self._shut, *under_way]
