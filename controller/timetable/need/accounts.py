"""A zone's soil-water accounts: one for each part, and how its litres reach them.

Each account is that of its driest quarter. Of the litres that pass the valve, those that fill the
line land on its lowest holes; of the rest each part gets its share by its rows' holes, and credits
it times the uniformity that a dose is divided by.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta

from controller.demand.plants.stages import SETTLING_LEAST_MM
from controller.demand.records import DayInput
from controller.demand.soil.ground import Part
from controller.demand.soil.packed_days import LedgerRows
from controller.demand.soil.water_balance import advance, corrected_by_reading
from controller.garden.model import UnlikeRows, Watering, Zone
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.uniformity import dose_divisor, real_uniformity
from controller.timetable.records import WaterIn
from controller.units import l_from_m3, mm_from_litres

# How long before a zone's first planting its bare ground is followed; our choice. The layer that
# dries by evaporation has long forgotten by then with what it began.
BARE_BEFORE = timedelta(days=45)
# How long before a planting rain matters to how dry its top is; our choice.
RAIN_DAYS = 30


class ZoneAccount:
    """The ledgers of one zone. They begin on `begins`, or with the first day, as bare ground.

    `shares` are the parts' shares of the zone's flow: a litre that passes the valve reaches each
    part by its rows' holes, whatever its crop. `divisors` are what a dose for each part is divided
    by, `divisor` that for the whole zone; `driest` is what the zone's driest quarter really gets
    of its mean. `wet_m2` is the ground that the zone's rows wet. `watered_in`: each planting is
    taken to be soaked by hand on its first day, for whoever asks what the line does after that.
    """

    def __init__(
        self,
        zone: Zone,
        parts: tuple[Part, ...],
        lines: Lines,
        watering: Watering,
        *,
        watered_in: bool = False,
    ) -> None:
        self.zone, self.parts = zone, parts
        self._soaked_on = (
            frozenset(each.planting.start for part in parts for each in part.plantings)
            if watered_in
            else frozenset()
        )
        starts = [each.planting.start for part in parts for each in part.plantings]
        self.begins = min(starts) - BARE_BEFORE if starts else None
        self.ledgers = tuple(LedgerRows() for _ in parts)
        alone = lines.open_set(frozenset((zone.name,))).zones[zone.name]
        self.shares = _shares(parts, alone)
        self.driest = real_uniformity(alone.holes, watering)
        self.divisor = dose_divisor(self.driest, watering)
        self.divisors = tuple(self._divisor_of(part, alone, watering) for part in parts)
        self.line_litres = l_from_m3(lines.line(zone.name).drains_m3)
        self.wet_m2 = sum(part.ground_m2 * part.line_fraction for part in parts)

    def begin_anew(self) -> None:
        """Forget what was carried."""
        for ledger in self.ledgers:
            ledger.clear()

    def credit(
        self, today: DayInput, litres: float, *, stored_litres: float | None, water_from: str
    ) -> None:
        """One day on, also on bare ground before the first planting; where nothing is ever
        planted, nothing.

        `litres` passed the valve, and `stored_litres` of them the driest quarter got as it was
        logged (None: as today's figures say, the line filled once).
        """
        if stored_litres is None:
            stored_litres = self.stored_of(litres)
        even_litres = min(stored_litres / self.divisor, litres)
        rows = zip(self.parts, self.shares, self.divisors, self.ledgers, strict=True)
        for part, share, divisor, ledger in rows:
            if not part.plantings or self.begins is None or today.day < self.begins:
                continue
            watered = stored = 0.0
            if part.ground_m2 > 0.0 and litres > 0.0:
                watered = mm_from_litres(litres * share, part.ground_m2)
                credited = mm_from_litres(even_litres * share * divisor, part.ground_m2)
                stored = min(credited, watered)
            before = ledger[-1] if ledger else None
            if today.day in self._soaked_on and _begins(part, today.day):
                before = None
            ledger.append(
                advance(
                    before,
                    part=part,
                    today=today,
                    watered_mm=watered,
                    stored_mm=stored,
                    water_from=water_from,
                )
            )

    def to_water_in(self, first: date, fallen_mm: Callable[[date], float]) -> Iterator[WaterIn]:
        """What is set out from `first` on and finds dry ground: how much to water in by hand.

        `fallen_mm` tells the rain that a gauge has caught of a day.
        """
        for part, ledger in zip(self.parts, self.ledgers, strict=True):
            for row in reversed(ledger):
                if row.day < first:
                    break
                if row.day_of_planting != 1 or row.crop is None or part.ground_m2 <= 0.0:
                    continue
                facts = part.planting_on(row.day)
                if facts is None or not facts.planting.transplanted:
                    continue
                given_mm = (row.watered_mm - row.passed_mm) / row.wetted_fraction
                lacking_mm = row.start_depletion_mm + row.handed_over_mm - given_mm
                lacking_mm -= fallen_mm(row.day)
                if lacking_mm >= SETTLING_LEAST_MM:
                    wet_m2 = part.ground_m2 * part.line_fraction
                    yield WaterIn(
                        zone=row.zone,
                        part=row.part,
                        day=row.day,
                        crop=row.crop,
                        lacking_mm=lacking_mm,
                        litres=lacking_mm * wet_m2 / self.divisor,
                        rain_unknown_days=sum(
                            not past.rain_known and 0 < (row.day - past.day).days <= RAIN_DAYS
                            for past in ledger
                        ),
                    )

    def as_read(self, moisture: float) -> None:
        """The last evening as a person read it, a share of volume; of rows that are all alike."""
        if len(self.parts) == 1 and self.ledgers[0]:
            capacity = self.parts[0].soil.field_capacity
            self.ledgers[0].put_last(
                corrected_by_reading(
                    self.ledgers[0][-1], moisture=moisture, field_capacity=capacity
                )
            )

    def stored_of(self, litres: float) -> float:
        """What the driest quarter gets of litres given in one go, by today's figures. [L]"""
        return max(0.0, litres - self.line_litres) * self.divisor

    def stands_on(self, day: date) -> bool:
        """Whether anything stands on the zone that day, and has an account."""
        return any(self.ledgers) and any(part.planting_on(day) for part in self.parts)

    def _divisor_of(self, part: Part, alone: ZoneFlow, watering: Watering) -> float:
        """That of the part's own rows where a dose is for the neediest of them."""
        if not part.name or self.zone.unlike_rows is not UnlikeRows.NEEDIEST:
            return self.divisor
        holes = (hole for number in part.rows for hole in alone.rows[number - 1].holes)
        return dose_divisor(real_uniformity(holes, watering), watering)


def _begins(part: Part, day: date) -> bool:
    """Whether something is sown or set out there that day."""
    facts = part.planting_on(day)
    return facts is not None and facts.planting.start == day


def _shares(parts: Sequence[Part], alone: ZoneFlow) -> tuple[float, ...]:
    if len(parts) == 1:
        return (1.0,)
    flows = [sum(alone.rows[number - 1].flow_m3_s for number in part.rows) for part in parts]
    total = sum(flows)
    if total <= 0.0:
        ground_m2 = sum(part.ground_m2 for part in parts)
        return tuple(part.ground_m2 / ground_m2 for part in parts)
    return tuple(flow / total for flow in flows)
