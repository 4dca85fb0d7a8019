"""The soil-water accounts of a zone, one for each part.

Each account is that of the part's driest quarter. Of the litres that pass the valve, some fill the
line and come out at its lowest holes. The rest reaches the parts by their rows' holes. A part is
credited with its share, times the uniformity by which a dose is divided.
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

# The account of the bare ground begins so long before a zone's first planting; our choice. After
# that time the surface layer no longer depends on the depletion with which it began.
BARE_BEFORE = timedelta(days=45)
# Rain of so many days before a planting decides how dry its surface layer is; our choice.
RAIN_DAYS = 30


class ZoneAccount:
    """The ledgers of one zone. They begin on `begins`, or with the first day, as bare ground.

    `shares` are the parts' shares of the zone's flow; they follow from the holes alone, not from
    the crops. A dose for a part is divided by its entry in `divisors`, one for the whole zone by
    `divisor`. `driest` is what the zone's driest quarter gets, as a share of the mean. `wet_m2` is
    the ground that the zone's rows wet, `alone_l_s` its flow with no other zone open. With
    `watered_in`, each planting counts as soaked by hand on its first day.
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
        self.alone_l_s = l_from_m3(alone.flow_m3_s)
        self.shares = _shares(parts, alone)
        self.driest = real_uniformity(alone.holes, watering)
        self.divisor = dose_divisor(self.driest, watering)
        self.divisors = tuple(self._divisor_of(part, alone, watering) for part in parts)
        self.line_litres = l_from_m3(lines.line(zone.name).drains_m3)
        self.wet_m2 = sum(part.ground_m2 * part.line_fraction for part in parts)

    def begin_anew(self) -> None:
        """Empty all ledgers."""
        for ledger in self.ledgers:
            ledger.clear()

    def credit(
        self, today: DayInput, litres: float, *, stored_litres: float | None, water_from: str
    ) -> None:
        """Add one day to each ledger, also on bare ground before the first planting.

        A part that is never planted has no ledger. `litres` passed the valve. Of these the driest
        quarter got `stored_litres`, as logged; None: computed from today's network, with the line
        filled once.
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
        """How much to water in by hand, for plants set out from `first` on into dry ground.

        `fallen_mm` gives the rain of a day in the garden's gauge.
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
        """Set the last evening to a soil moisture that a person read, as a share of volume.

        A zone of mixed crops is left as it is.
        """
        if len(self.parts) == 1 and self.ledgers[0]:
            capacity = self.parts[0].soil.field_capacity
            self.ledgers[0].put_last(
                corrected_by_reading(
                    self.ledgers[0][-1], moisture=moisture, field_capacity=capacity
                )
            )

    def stored_of(self, litres: float) -> float:
        """What the driest quarter gets of litres given in one pulse, by today's network. [L]"""
        return max(0.0, litres - self.line_litres) * self.divisor

    def stands_on(self, day: date) -> bool:
        """Whether a planting with an account stands on the zone that day."""
        return any(self.ledgers) and any(part.planting_on(day) for part in self.parts)

    def _divisor_of(self, part: Part, alone: ZoneFlow, watering: Watering) -> float:
        """The divisor of the part's own rows, if a dose is for the neediest; else the zone's."""
        if not part.name or self.zone.unlike_rows is not UnlikeRows.NEEDIEST:
            return self.divisor
        holes = (hole for number in part.rows for hole in alone.rows[number - 1].holes)
        return dose_divisor(real_uniformity(holes, watering), watering)


def _begins(part: Part, day: date) -> bool:
    """Whether a planting begins there on that day."""
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
