"""A garden's curves, one for each shape of row, and the zones that certainly cannot join others.

A zone may join where each zone of the set, itself included, keeps a share of the flow it has alone.
The network is linearised about the open set so that no head is computed too low: the main by its
tangents, the supply by a tangent near the new flow, each open zone by the chord from its present
flow to the least it must keep, and the joining zone by the chord from its flow alone. If a zone
then still has less head than its least flow needs, the set would starve it. A zone that is not
refused here may be refused when the set is solved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log

from controller.garden.model import Zone
from controller.hydraulics.network.assembly import valve_loss
from controller.hydraulics.network.geometry import DrilledHole, row_shape
from controller.hydraulics.network.main_tree import TAP, MainTree
from controller.hydraulics.network.march import Shape
from controller.hydraulics.network.quick_flow import QuickFlow, RowsAlike, Spans, ZoneLaw, quick_set
from controller.hydraulics.network.results import SetFlow
from controller.hydraulics.network.row_curves import RowCurve
from controller.hydraulics.network.supplies import held
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.hydraulics.network.tree_solver import losses, span_law
from controller.hydraulics.physics.orifice import Water
from controller.units import GRAVITY_M_S2

# Margin on heads and on flows before a zone is refused: tangents and chords bound a curve that
# bends one way, which friction between laminar and turbulent does not quite do. Our choice.
_SLACK, _SLACK_M = 0.005, 0.0005
_LEAST_M = 1e-6
# Zones with almost equal flows share a tangent of the supply: distance in the flow's logarithm.
_ALIKE = 0.4


@dataclass(frozen=True, slots=True)
class Need:
    """The least flow of a zone, and the head in the main that gives it; -inf where not known."""

    station: int
    least_m3_s: float
    head_m: float
    more_m2_s: float  # least further flow for each metre of head, up to its flow alone
    main_s_m2: float  # most loss in the main to it for each m3/s, up to its flow alone

    @property
    def starves_below_m(self) -> float:
        """Below this head it certainly gets less than its least flow."""
        return self.head_m - _SLACK * abs(self.head_m) - _SLACK_M


class Joining:
    """An open set, and the head that each of its zones can spare."""

    def __init__(
        self,
        laws: Sequence[ZoneLaw],
        needs: Sequence[Need],
        found: QuickFlow,
        spans: Spans,
        supply: SupplyCurve,
    ) -> None:
        """`found` is what flows in the set."""
        main, self._above, now = spans.as_open({law.station for law in laws} | spans.marks)
        self._spans, self._on, self._supply = spans, spans.seen_from(now), supply
        self._main, count = main, len(main)
        # The tap comes last, where index -1 finds it.
        self._chords, self._flows = [0.0] * (count + 1), [0.0] * (count + 1)
        self._spare: list[tuple[int, float]] = []  # head above that below which each starves
        for law, need in zip(laws, needs, strict=True):
            at, flow = now[law.station], found.flows_m3_s[law.zone]
            head = found.behind_m[law.zone] + law.loss * flow * flow
            self._flows[at] += flow
            spared = max(0.0, flow - need.least_m3_s)
            self._chords[at] += spared / max(_LEAST_M, head - need.head_m)
            self._spare.append((at, max(0.0, head - need.starves_below_m)))
        for i in range(count - 1, -1, -1):
            self._flows[self._above[i]] += self._flows[i]
        self._slopes, self._rests = losses(self._flows[:count], main)
        self._lost = [
            slope * flow + rest
            for slope, flow, rest in zip(self._slopes, self._flows, self._rests, strict=False)
        ]
        self._head = [0.0] * count + [found.tap_head_m]
        for i, above in enumerate(self._above):
            self._head[i] = self._head[above] - self._lost[i]
        self._near: dict[tuple[int, int], _Near] = {}

    def refuses(self, need: Need) -> bool:
        """Whether this zone certainly cannot join."""
        if need.head_m == -inf:
            return False
        place, between, stretch = self._on(need.station)
        level = round(log(need.least_m3_s) / _ALIKE)
        before = self._above[place] if between else place
        near = self._near.get((level, before))
        if near is None:
            near = self._near[level, before] = self._about(exp(_ALIKE * level), before)
        lost_s_m2 = need.main_s_m2 * self._spans.share_beyond(need.station, stretch)
        most, end_m = near.at_most, near.head_m
        if between:
            most, end_m, slope = near.towards[place]
            lost_s_m2 += slope
        # Its flow here, with its way from the set's pipes rather too long than too short.
        own = near.own
        over_m = end_m - need.head_m - (own + lost_s_m2) * need.least_m3_s
        drawn = need.least_m3_s
        if over_m > 0.0:
            drawn += need.more_m2_s * over_m / (1.0 + need.more_m2_s * (own + lost_s_m2))
        drawn *= 1.0 - _SLACK
        return drawn > most or near.head_m - own * drawn < need.starves_below_m

    def _about(self, more_m3_s: float, place: int) -> _Near:
        """The linear network with so much more flow drawn at or beyond a place."""
        count, above = len(self._above), self._above
        on_way, at = [], place
        while at != TAP:
            on_way.append(at)
            at = above[at]
        slopes, rests = self._slopes.copy(), self._rests.copy()
        raised = losses(
            [self._flows[i] + more_m3_s for i in on_way], [self._main[i] for i in on_way]
        )
        for i, slope, rest in zip(on_way, *raised, strict=True):
            slopes[i], rests[i] = slope, rest
        supply, flow = self._supply, self._flows[TAP] + more_m3_s
        step = 1e-4 * flow  # back, where the curve falls less steeply
        tap_slope = (supply.head_m(flow - step) - supply.head_m(flow)) / step
        # How far each tangent lies above its curve at the present flows.
        over_m = [
            lost - slope * flow - rest
            for lost, slope, flow, rest in zip(self._lost, slopes, self._flows, rests, strict=False)
        ]
        over_m.append(supply.head_m(flow) + tap_slope * more_m3_s - self._head[TAP])
        takes = self._chords.copy()
        for i in range(count - 1, -1, -1):
            takes[above[i]] += takes[i] / (1.0 + slopes[i] * takes[i])

        def changes(gain_m: Sequence[float], drawn_at: int | None) -> list[float]:
            """Change of the head at each place by these gains, and by 1 m3/s drawn at a place."""
            taken = [0.0] * (count + 1)
            if drawn_at is not None:
                taken[drawn_at] = 1.0
            for i in range(count - 1, -1, -1):
                taken[above[i]] += (takes[i] * gain_m[i] + taken[i]) / (1.0 + slopes[i] * takes[i])
            found = [0.0] * (count + 1)
            found[TAP] = (gain_m[TAP] - tap_slope * taken[TAP]) / (1.0 + tap_slope * takes[TAP])
            for i, before in enumerate(above):
                found[i] = (found[before] + gain_m[i] - slopes[i] * taken[i]) / (
                    1.0 + slopes[i] * takes[i]
                )
            return found

        def bears(falls: Sequence[float]) -> list[float]:
            """Flow that may be drawn until some open zone has just its least flow."""
            return [(spare + rise[at]) / max(1e-30, -falls[at]) for at, spare in self._spare]

        rise, none = changes(over_m, None), [0.0] * (count + 1)
        falls = changes(none, place)
        here = bears(falls)
        return _Near(
            head_m=self._head[place] + rise[place],
            own=-falls[place],
            at_most=min(here),
            towards={
                i: (
                    min(map(max, here, bears(changes(none, i)))),
                    self._head[i] + rise[i],
                    slopes[i],
                )
                for i, before in enumerate(above)
                if before == place
            },
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    """The linear network with a flow drawn at a place.

    `head_m` is the head there now, `own` its loss for each m3/s, and `at_most` the flow that leaves
    some open zone just its least. `towards` has for each piece that leads on: such a flow for a
    place on the way to its end, where each zone bears no more than at either end; the head at its
    end; its loss for each m3/s.
    """

    head_m: float
    own: float
    at_most: float
    towards: Mapping[int, tuple[float, float, float]]


# Tolerance and most steps of the search for the head of a zone's least flow.
_NEAR, _MOST_TRIES = 1e-5, 20
_LOWEST_M = 1e-3  # lowest head searched


class Curves:
    """The rows' curves, made when first needed, and the main that feeds them."""

    def __init__(self, main: MainTree, water: Water) -> None:
        self._water = water
        self._by_shape: dict[Shape, RowCurve] = {}
        self._main = main
        laws = [
            span_law(
                one.length_m,
                one.pipe.bore_m,
                one.pipe.roughness_m,
                one.loss_k,
                water.viscosity_m2_s,
                GRAVITY_M_S2,
            )
            for one in main.stretches
        ]
        self._spans = Spans(laws, main.above)

    def law(self, zone: Zone, holes: Sequence[Sequence[DrilledHole]], loss_k: float) -> ZoneLaw:
        """A zone with its valve; rows drilled alike share a curve, in one zone or in several."""
        counts: dict[tuple[Shape, float], int] = {}
        for row, of_row in zip(zone.rows, holes, strict=True):
            shaped = row_shape(row, of_row, self._water)
            if shaped is not None:
                counts[shaped] = counts.get(shaped, 0) + 1
        return ZoneLaw(
            zone=zone.name,
            station=self._main.place(zone),
            loss=valve_loss(zone, loss_k),
            rows=tuple(
                RowsAlike(curve=self._curve(shape), lowest_m=lowest_m, count=count)
                for (shape, lowest_m), count in counts.items()
            ),
        )

    def together(
        self, zones: Sequence[ZoneLaw], supply: SupplyCurve, *, roughly: bool = False
    ) -> QuickFlow | None:
        """Flows of these zones together; None where the curves are not valid (`quick_set`)."""
        return quick_set(
            zones,
            self._spans,
            static_head_m=supply.static_head_m,
            supply_k=supply.k,
            exponent=supply.exponent,
            limits=supply.law[3],
            roughly=roughly,
        )

    def need(self, law: ZoneLaw, alone: QuickFlow, least_share: float) -> Need:
        """The least flow that a zone must keep, a share of its flow alone, and the head for it."""
        most = alone.flows_m3_s[law.zone]
        has_m = alone.behind_m[law.zone] + law.loss * most * most
        least, by_itself = least_share * most, replace(law, station=TAP)
        low, high, head = 0.0, has_m, least_share**2 * has_m
        for _ in range(_MOST_TRIES if most > 0.0 else 0):
            found = None if head < _LOWEST_M else self.together([by_itself], held(head))
            if found is None:
                break
            flow = found.flows_m3_s[law.zone]
            if abs(flow - least) <= _NEAR * least:
                return Need(
                    station=law.station,
                    least_m3_s=least,
                    head_m=head,
                    more_m2_s=(most - least) / max(1e-6, has_m - head),
                    main_s_m2=(alone.tap_head_m - has_m) / most,
                )
            low, high = (head, high) if flow < least else (low, head)
            head = head * (least / flow) ** 2 if flow > 0.0 else high
            if not low < head < high:
                head = 0.5 * (low + high)
        return Need(law.station, least, -inf, 0.0, 0.0)

    def joining(
        self,
        laws: Sequence[ZoneLaw],
        needs: Sequence[Need],
        found: QuickFlow,
        supply: SupplyCurve,
    ) -> Joining:
        """The head that an open set can spare; `found` are its flows."""
        return Joining(laws, needs, found, self._spans, supply)

    def _curve(self, shape: Shape) -> RowCurve:
        if shape not in self._by_shape:
            self._by_shape[shape] = RowCurve(shape, self._water.viscosity_m2_s)
        return self._by_shape[shape]


def quick_from(exact: SetFlow) -> QuickFlow:
    """The same figures from the exact tree."""
    return QuickFlow(
        flows_m3_s={zone.zone: zone.flow_m3_s for zone in exact.zones.values()},
        dry_holes={zone.zone: zone.dry_holes for zone in exact.zones.values()},
        behind_m={zone.zone: zone.valve_head_m for zone in exact.zones.values()},
        tap_head_m=exact.tap_head_m,
    )
