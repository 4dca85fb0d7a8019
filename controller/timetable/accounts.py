"""A zone's soil-water accounts: one for each part, and how its litres reach them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from controller.demand.facts import Part
from controller.demand.ledger import advance
from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Zone
from controller.hydraulics.lines import Lines
from controller.units import mm_from_litres

_DAY = timedelta(days=1)


class ZoneAccount:
    """The ledgers of one zone. Each part's begins with its first planting, or the first weather.

    `shares` are the parts' shares of the zone's flow: a litre that passes the valve reaches each
    part by its rows' holes, whatever its crop.
    """

    def __init__(self, zone: Zone, parts: tuple[Part, ...], lines: Lines) -> None:
        self.zone, self.parts = zone, parts
        self.ledgers: tuple[list[LedgerDay], ...] = tuple([] for _ in parts)
        self.shares = _shares(zone, parts, lines)

    def take_over(self, carried: Sequence[Sequence[LedgerDay]]) -> None:
        """Begin with accounts carried already, one for each part, where there are any."""
        for ledger, days in zip(self.ledgers, carried, strict=False):
            ledger[:] = days

    def carry_to(
        self,
        days: Mapping[date, DayInput],
        litres: Mapping[tuple[str, date], float],
        *,
        last: date,
    ) -> None:
        """Carry the accounts from their beginning, or from where they stand, to `last`."""
        if not self.zone.plantings or not days:
            return
        day = max(self.zone.plantings[0].start, min(days))
        for ledger in self.ledgers:
            if ledger:
                day = max(day, ledger[-1].day + _DAY)
        name = self.zone.name
        while day <= last:
            self.credit(days[day], litres.get((name, day), 0.0))
            day += _DAY

    def credit(self, today: DayInput, litres: float) -> None:
        """One day on, every litre credited; before a part's first planting, nothing."""
        for part, share, ledger in zip(self.parts, self.shares, self.ledgers, strict=True):
            if not part.plantings or today.day < part.plantings[0].planting.start:
                continue
            ground_m2 = part.ground_m2
            watered = mm_from_litres(litres * share, ground_m2) if ground_m2 > 0.0 else 0.0
            ledger.append(
                advance(ledger[-1] if ledger else None, part=part, today=today, watered_mm=watered)
            )

    @property
    def begun(self) -> bool:
        """Whether any part has an account."""
        return any(self.ledgers)


def _shares(zone: Zone, parts: tuple[Part, ...], lines: Lines) -> tuple[float, ...]:
    if len(parts) == 1:
        return (1.0,)
    rows = lines.open_set(frozenset((zone.name,))).zones[zone.name].rows
    flows = [sum(rows[number - 1].flow_m3_s for number in part.rows) for part in parts]
    total = sum(flows)
    if total <= 0.0:
        ground_m2 = sum(part.ground_m2 for part in parts)
        return tuple(part.ground_m2 / ground_m2 for part in parts)
    return tuple(flow / total for flow in flows)
