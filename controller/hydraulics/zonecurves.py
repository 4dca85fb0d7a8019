"""A garden's curves: one for each shape of row, in the small tree's terms; kept with its lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

from controller.garden.model import Zone
from controller.hydraulics.assembly import valve_loss
from controller.hydraulics.curves import RowCurve
from controller.hydraulics.flows import SetFlow
from controller.hydraulics.gradient import span_law
from controller.hydraulics.hole import Water
from controller.hydraulics.joining import Joining, Need
from controller.hydraulics.maintree import TAP, MainTree
from controller.hydraulics.network import SupplyCurve
from controller.hydraulics.quick import QuickFlow, RowsAlike, Spans, ZoneLaw, quick_set
from controller.hydraulics.rowmarch import Shape
from controller.hydraulics.rowshape import DrilledHole, row_shape
from controller.hydraulics.supplies import held
from controller.units import GRAVITY_M_S2

# How near a zone's least flow is met, and in how many steps, to know the head it asks for.
_NEAR, _MOST_TRIES = 1e-5, 20
_LOWEST_M = 1e-3  # lower heads than this are not looked for


class Curves:
    """The rows' curves, made as zones ask for them, and the main they hang on."""

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
        """What these zones give together; None where the curves cannot tell (`quick_set`)."""
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
        """The least flow that a zone must keep of what it has alone, and the head for it."""
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
        """What an open set can spare; `found` is what flows in it."""
        return Joining(laws, needs, found, self._spans, supply)

    def _curve(self, shape: Shape) -> RowCurve:
        if shape not in self._by_shape:
            self._by_shape[shape] = RowCurve(shape, self._water.viscosity_m2_s)
        return self._by_shape[shape]


def quick_from(exact: SetFlow) -> QuickFlow:
    """The same figures from the whole tree."""
    return QuickFlow(
        flows_m3_s={zone.zone: zone.flow_m3_s for zone in exact.zones.values()},
        dry_holes={zone.zone: zone.dry_holes for zone in exact.zones.values()},
        behind_m={zone.zone: zone.valve_head_m for zone in exact.zones.values()},
        tap_head_m=exact.tap_head_m,
    )
