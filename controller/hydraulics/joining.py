"""Which zones can surely not join those that are open: seen at once, without solving each set.

A zone may join where each of the set, itself included, keeps a share of the flow it has alone.
About the open set the network is made linear so that no head comes out too low: the main by its
tangents, the supply by one near the flow that would be drawn; each open zone by the chord from its
flow now down to the least it must keep, and the one that joins by the chord from its flow alone.
Where even so a zone finds less head than its least flow asks for, the set would starve it. What is
not refused here may be refused by the set itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log

from controller.hydraulics.gradient import losses
from controller.hydraulics.maintree import TAP
from controller.hydraulics.network import SupplyCurve
from controller.hydraulics.quick import QuickFlow, Spans, ZoneLaw

# Heads may be so much lower, and flows so much less, before a zone is refused: tangents and chords
# bound what bends one way, which water between laminar and turbulent does not quite. Our choice.
_SLACK, _SLACK_M = 0.02, 0.002
_LEAST_M = 1e-6
# Zones that draw alike share a tangent of the supply: how far apart in the flow's logarithm.
_ALIKE = 0.4


@dataclass(frozen=True, slots=True)
class Need:
    """The least flow of a zone, and the head in the main where it hangs that gives it so much."""

    station: int
    least_m3_s: float
    head_m: float
    more_m2_s: float  # what it draws beyond for each metre more, at least, up to its flow alone
    main_s_m2: float  # what the main to it loses for each m3/s, at most, up to its flow alone

    @property
    def starves_below_m(self) -> float:
        """Below this head it surely gets less than its least."""
        return self.head_m - _SLACK * abs(self.head_m) - _SLACK_M


class Joining:
    """An open set, and what each of its zones can spare."""

    def __init__(
        self,
        laws: Sequence[ZoneLaw],
        needs: Sequence[Need],
        found: QuickFlow,
        spans: Spans,
        supply: SupplyCurve,
    ) -> None:
        """`found` is what flows in the set."""
        main, self._above, now = spans.as_open({law.station for law in laws})
        self._spans, self._on, self._supply = spans, spans.seen_from(now), supply
        count = len(main)
        # The tap comes last, where index -1 finds it.
        chords, flows, self._head = [0.0] * (count + 1), [0.0] * (count + 1), [0.0] * count
        self._head.append(found.tap_head_m)
        self._spare: list[tuple[int, float]] = []  # head above that below which each starves
        for law, need in zip(laws, needs, strict=True):
            at, flow = now[law.station], found.flows_m3_s[law.zone]
            head = found.behind_m[law.zone] + law.loss * flow * flow
            flows[at] += flow
            chords[at] += max(0.0, flow - need.least_m3_s) / max(_LEAST_M, head - need.head_m)
            self._spare.append((at, max(0.0, head - need.starves_below_m)))
        for i in range(count - 1, -1, -1):
            flows[self._above[i]] += flows[i]
        self._drawn = flows[TAP]
        self._slopes, rests = losses(flows[:count], main)
        # What takes more the higher the head: at each place, and seen from the one above.
        self._takes = chords
        for i in range(count - 1, -1, -1):
            chords[self._above[i]] += chords[i] / (1.0 + self._slopes[i] * chords[i])
        for i, above in enumerate(self._above):
            self._head[i] = self._head[above] - self._slopes[i] * flows[i] - rests[i]
        self._near: dict[int, _Near] = {}

    def refuses(self, need: Need) -> bool:
        """Whether this zone can surely not join."""
        level = round(log(need.least_m3_s) / _ALIKE)
        near = self._near.get(level)
        if near is None:
            near = self._near[level] = self._about(exp(_ALIKE * level))
        place, between, stretch = self._on(need.station)
        before, most = place, near.at_most[place]
        lost_s_m2 = need.main_s_m2 * self._spans.share_beyond(need.station, stretch)
        if between:
            before, most = self._above[place], near.between[place]
            lost_s_m2 += self._slopes[place]
        # What it draws here, its way from the set's pipes counted too long rather than too short.
        own = near.own[before]
        over_m = near.head[place] - need.head_m - (own + lost_s_m2) * need.least_m3_s
        drawn = need.least_m3_s
        if over_m > 0.0:
            drawn += need.more_m2_s * over_m / (1.0 + need.more_m2_s * (own + lost_s_m2))
        drawn *= 1.0 - _SLACK
        return drawn > most or near.head[before] - own * drawn < need.starves_below_m

    def _about(self, more_m3_s: float) -> _Near:
        """The linear network, the supply as where so much more is drawn."""
        supply, flow = self._supply, self._drawn + more_m3_s
        step = 1e-4 * flow  # back, where the curve falls less steeply
        tap_slope = (supply.head_m(flow - step) - supply.head_m(flow)) / step
        over_m = supply.head_m(flow) + tap_slope * more_m3_s - self._head[TAP]
        rise = [0.0] * len(self._takes)
        rise[TAP] = max(0.0, over_m) / (1.0 + tap_slope * self._takes[TAP])
        for i, above in enumerate(self._above):
            rise[i] = rise[above] / (1.0 + self._slopes[i] * self._takes[i])
        places = [*range(len(self._above)), TAP]
        drops = [self._drops(place, tap_slope) for place in places]
        bears = [
            [(spare + rise[at]) / max(1e-30, each[at]) for at, spare in self._spare]
            for each in drops
        ]
        return _Near(
            head=[head + more for head, more in zip(self._head, rise, strict=True)],
            own=[drops[place][place] for place in places],
            at_most=[min(each) for each in bears],
            between=[
                min(max(a, b) for a, b in zip(bears[i], bears[above], strict=True))
                for i, above in enumerate(self._above)
            ],
        )

    def _drops(self, place: int, tap_slope: float) -> list[float]:
        """By how much the head falls at each place for each m3/s drawn at one of them."""
        drawn = [0.0] * len(self._takes)
        drawn[place] = 1.0
        for i in range(len(self._above) - 1, -1, -1):
            drawn[self._above[i]] += drawn[i] / (1.0 + self._slopes[i] * self._takes[i])
        found = [0.0] * len(self._takes)
        found[TAP] = tap_slope * drawn[TAP] / (1.0 + tap_slope * self._takes[TAP])
        for i, above in enumerate(self._above):
            slope = self._slopes[i]
            found[i] = (found[above] + slope * drawn[i]) / (1.0 + slope * self._takes[i])
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    """The linear network by place, the tap last: heads now; the head lost there for each m3/s drawn
    there; the draw there that leaves some open zone just its least, and the same for a draw on the
    way to the place, where each zone bears no more than at either end."""

    head: Sequence[float]
    own: Sequence[float]
    at_most: Sequence[float]
    between: Sequence[float]
