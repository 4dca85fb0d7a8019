"""Beds, zones, rows and plantings of the model."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import combinations

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.covers import KINDS, SHADE_SLOPE, WHITENED, WrittenCover
from controller.garden.faults import Faults, Path, instead
from controller.garden.from_file.defaults import Filling
from controller.garden.from_file.hardware import valve_of
from controller.garden.from_file.supply import place_of
from controller.garden.model import Bed, Cover, Planting, Zone
from controller.garden.plumbing import Drilling, Row, Run
from controller.garden.schema import (
    WrittenBed,
    WrittenGround,
    WrittenPlanting,
    WrittenRow,
    WrittenZone,
)
from controller.garden.values import rain_through

_LONGEST_WAIT_DAYS = 300  # from setting out in autumn to the first spring; our choice


def _planting_of(written: WrittenPlanting) -> Planting:
    """One planting of the model."""
    return Planting(
        crop=written.crop,
        start=_start_of(written) or date.min,
        until=written.until,
        transplanted=written.sown is None,
        stage_days=written.stages,
        rows=written.rows,
        spacing_m=written.apart_m,
        plant_lines=written.lines,
        supported=written.supports,
        by_warmth=written.by_warmth or written.stages_warmth is not None,
        stage_warmth=written.stages_warmth,
        emerges_days=written.emerges_days,
        harvest_days=written.harvest_days,
        years_before=_years_before(written),
        grows_from=written.grows_from if written.transplanted else None,
    )


def _start_of(written: WrittenPlanting) -> date | None:
    return written.transplanted or written.sown or written.grows_from


def _years_before(written: WrittenPlanting) -> int | None:
    """Growing years of a planting before its first day; None: it is established."""
    start = _start_of(written)
    if written.planted_year is not None and start is not None:
        return max(start.year - written.planted_year, 0)
    if written.established or (written.sown is None and written.transplanted is None):
        return None
    return 0


def _stand_together(plantings: tuple[Planting, ...]) -> bool:
    """Whether two plantings of a zone stand on a common day."""
    return any(
        one.start <= other.until and other.start <= one.until
        for one, other in combinations(plantings, 2)
    )


def check_plantings(zone: WrittenZone, at: Path, faults: Faults) -> None:
    """Add the faults of the plantings of the zone at `at`."""
    spans: list[tuple[date, date, int]] = []
    for number, planting in enumerate(zone.planting):
        place: Path = (*at, "planting", number)
        _check_stages(planting, place, faults)
        _check_rows(planting, zone, at, place, faults)
        start = _start_of(planting)
        dates: list[Path] = [(*place, key) for key in ("sown", "transplanted", "from", "until")]
        _check_standing(planting, place, faults)
        if start is None:
            faults.add(
                place,
                "found neither of sown and transplanted; a planting has one of the two, as in "
                "transplanted = 2031-04-22, or from, where a perennial stands there already",
                needs=dates[:3],
            )
        elif planting.sown is not None and planting.transplanted is not None:
            faults.add(
                place,
                "found both of sown and transplanted; a planting has one of the two, "
                "as in transplanted = 2031-04-22",
                needs=dates[:2],
            )
        elif start is not None and planting.until < start:
            faults.add(
                (*place, "until"),
                f"found {planting.until}; the last day is not before the first, {start}",
                needs=dates,
            )
        elif start is not None and not any(map(faults.is_spoiled, dates)):
            _check_emergence(planting, start, place, faults)
            spans.append((start, planting.until, number))
    _check_overlaps(sorted(spans), zone, at, faults)


def _check_standing(planting: WrittenPlanting, place: Path, faults: Faults) -> None:
    """Check the keys of a perennial's age against each other; at most one fault."""
    out, begins, year = planting.transplanted, planting.grows_from, planting.planted_year
    start = _start_of(planting)
    key, words = "", ""
    if planting.sown is not None:
        given = {"from": begins, "established": planting.established or None, "planted_year": year}
        key = next((key for key, found in given.items() if found is not None), "")
        words = "found sown as well; it is for a perennial that was set out, or stands there"
    elif out and begins and not 0 <= (begins - out).days <= _LONGEST_WAIT_DAYS:
        key = "from"
        words = (
            f"found {begins}; the growing year of plants set out on {out} begins then or within "
            f"{_LONGEST_WAIT_DAYS} days"
        )
    elif planting.established and year is not None:
        key = "planted_year"
        words = "found established = true as well; a perennial has one of the two"
    elif planting.established and out and begins:
        key = "established"
        words = "found transplanted and from as well, which say how old the planting is"
    elif planting.established is False and begins and not out and year is None:
        key = "established"
        words = (
            "found false, with from; plants newly set out have transplanted, younger ones that "
            "stand there already have planted_year"
        )
    elif year is not None and out and begins:
        key = "planted_year"
        words = "found transplanted and from as well, which say how old the planting is"
    elif year is not None and start is not None and year > start.year:
        key = "planted_year"
        words = f"found {year}, which is after the first day, {start}"
    if key:
        others = ("sown", "transplanted", "from", "established", "planted_year")
        faults.add((*place, key), words, needs=[(*place, one) for one in others if one != key])


def _check_stages(planting: WrittenPlanting, place: Path, faults: Faults) -> None:
    """Stages are given in days, in warmth, or by the packet: in one form only."""
    for key in ("stages", "stages_warmth"):
        if planting.harvest_days is not None and getattr(planting, key) is not None:
            faults.add(
                (*place, "harvest_in"),
                f"found {key} as well; the packet's days make the stages where you do not write "
                "them",
                needs=[(*place, key)],
            )
            return
    if planting.stages_warmth is None:
        return
    if planting.stages is not None:
        faults.add(
            (*place, "stages_warmth"),
            "found stages as well; a planting's stages are written in days or in warmth, "
            "not in both",
            needs=[(*place, "stages")],
        )
    elif planting.by_warmth is False:
        faults.add(
            (*place, "stages_warmth"),
            'found stages_by = "days" with it; degree days belong to stages_by = "warmth"',
            needs=[(*place, "stages_by")],
        )


def _check_rows(
    planting: WrittenPlanting, zone: WrittenZone, at: Path, place: Path, faults: Faults
) -> None:
    """A planting's rows must exist."""
    count = len(zone.row)
    has = "one row" if count == 1 else f"rows 1 to {count}"
    for number in planting.rows:
        if number > count > 0:
            faults.add(
                (*place, "rows"),
                f"found row {number}; this zone has {has}",
                needs=[(*at, "row")],
            )


def _check_emergence(planting: WrittenPlanting, start: date, place: Path, faults: Faults) -> None:
    """Only a sown planting emerges, and before its last day."""
    days = planting.emerges_days
    if days is None:
        return
    if planting.sown is None:
        faults.add(
            (*place, "emerges_in"),
            f"found {days} days for a crop that was transplanted, which is up; it belongs to a "
            f"sown one",
        )
    elif days > (planting.until - start).days:
        faults.add(
            (*place, "emerges_in"),
            f"found {days} days, which is after the planting ends on {planting.until}",
        )


def _check_overlaps(
    spans: list[tuple[date, date, int]], zone: WrittenZone, at: Path, faults: Faults
) -> None:
    """A row has one planting at a time; one fault for each planting that begins too early."""
    everywhere = range(1, max(len(zone.row), 1) + 1)
    last: dict[int, tuple[date, int]] = {}  # row -> last day and number of its planting
    for start, until, number in spans:
        rows = zone.planting[number].rows or everywhere
        taken = [row for row in rows if row in last and start <= last[row][0]]
        if taken:
            earlier_until, earlier = last[taken[0]]
            faults.add(
                (*at, "planting", number),
                f"found its first day {start}; planting {earlier + 1} stands until "
                f"{earlier_until}, {_one_at_a_time(zone, taken[0])}",
                needs=[
                    *((*at, "planting", one, "rows") for one in (earlier, number)),
                    (*at, "row"),
                ],
            )
        for row in rows:
            last[row] = max(last.get(row, (date.min, number)), (until, number))


def _one_at_a_time(zone: WrittenZone, row: int) -> str:
    if len(zone.row) < 2:
        return "and a zone has one planting at a time"
    if all(planting.rows for planting in zone.planting):
        return f"and row {row} has one planting at a time"
    return (
        "and a row has one planting at a time; those that stand side by side name their rows, "
        f"as in rows = [{row}]"
    )


# our choice: a path and a crop on either side; used only where no bed tells its width.
_GROUND_WIDTH_M = 0.6096  # 24 in
# our choice: no soil and crop we know may lack more than this before it is due, so a zone that
# gets more in one day has something broken. Never under 40 L, so that small beds can be flushed.
_CAP_MM, _LEAST_CAP_M3 = 60.0, 0.040


class ZoneBuilder:
    """The beds and zones of one file."""

    def __init__(self, filling: Filling, runs: Sequence[Run]) -> None:
        self.filling, self.runs = filling, runs
        written = filling.written
        named = {bed.name: self._bed(bed, number) for number, bed in enumerate(written.bed)}
        self.zones = tuple(
            self._zone(zone, number, named) for number, zone in enumerate(written.zone)
        )
        lone = {zone.bed.name: zone.bed for zone in self.zones if zone.bed.name not in named}
        self.beds = (*named.values(), *lone.values())

    def _bed(self, bed: WrittenBed, number: int) -> Bed:
        at: Path = ("bed", number)
        return replace(
            self._ground(bed, bed.name, at, "our choice: the middling soil"),
            length_m=bed.length_m,
            width_m=bed.width_m,
            rooting_limit_m=bed.rooting_limit_m,
        )

    def _ground(self, ground: WrittenGround, name: str, at: Path, soil_why: str) -> Bed:
        """The ground of a bed, or of a zone without a bed."""
        used = self.filling.used(at, ground)
        mulch, cover, rain = used.mulch, ground.mulch_cover, ground.mulch_rain
        if mulch != "none":
            cover = used.mulch_cover
            if mulch == "plastic":
                through = rain_through(mulch, cover)
                why = "film on a flat bed; our choice, on one field's figure"
                rain = self.filling.default(at, "mulch_rain", rain, through, f"{through:.2f}", why)
        for key in ("mulch_cover", "mulch_rain"):
            if mulch == "none" and self.filling.faults.is_written((*at, key)):
                self.filling.faults.add(
                    (*at, key),
                    'found it without a mulch; name that too, as in mulch = "straw"',
                    needs=[(*at, "mulch")],
                )
        return Bed(
            name=name,
            soil=self.filling.default(at, "soil", ground.soil, "loam", "loam", soil_why),
            mulch=mulch,
            mulch_cover=cover,
            mulch_rain=rain,
            keeper=ground.keeper,
            exposure=ground.exposure,
            holds_rain=ground.holds_rain,
            covers=self._covers(ground.cover or (), at),
        )

    def _covers(self, written: tuple[WrittenCover, ...], at: Path) -> tuple[Cover, ...]:
        """The covers over a bed, or over a zone alone."""
        one: Path = (*at, "cover")
        return tuple(
            self._cover(cover, one if len(written) == 1 else (*one, number))
            for number, cover in enumerate(written)
        )

    def _cover(self, written: WrittenCover, at: Path) -> Cover:
        kind = KINDS[written.kind]
        eto_factor, why = kind.eto_factor, f"{written.kind}: {kind.eto_why}"
        if eto_factor is None:
            eto_factor = 1.0 - SHADE_SLOPE * (written.shade or 0.0)
        if written.whitened:
            eto_factor *= WHITENED
            why += f"; whitened, x {WHITENED:g}: Fernandez and others"
        return Cover(
            kind=written.kind,
            begins=written.begins or date.min,
            until=written.until or date.max,
            eto_factor=self.filling.default(
                at, "eto_factor", written.eto_factor, eto_factor, f"{eto_factor:.2f}", why
            ),
            rain_factor=self.filling.default(
                at,
                "rain_factor",
                written.rain_factor,
                kind.rain_factor,
                f"{kind.rain_factor:g}",
                f"{written.kind}: {kind.rain_why}",
            ),
            is_film=kind.is_film,
            warmer_c=kind.warmer_c,
        )

    def _bed_of(self, zone: WrittenZone, at: Path, beds: Mapping[str, Bed]) -> Bed:
        """The bed of a zone, or its own."""
        if zone.bed is None:
            if zone.name in beds:
                self.filling.faults.add(
                    at, f'a bed has that name: write bed = "{zone.name}" in the zone'
                )
            return self._ground(zone, zone.name, at, "our choice: no bed tells")
        for key in WrittenGround.model_fields:
            if key != "cover" and self.filling.faults.is_written((*at, key)):
                self.filling.faults.add(
                    (*at, key),
                    f"found {q.spell(getattr(zone, key))}; {key} belongs to the bed "
                    f"{q.spell(zone.bed)}, not to a zone in it",
                )
        if zone.bed not in beds:
            self.filling.faults.add(
                (*at, "bed"),
                f"found {q.spell(zone.bed)}; {instead(zone.bed, beds, called='beds')}",
                needs=[("bed", n, "name") for n in range(len(self.filling.written.bed))],
            )
        bed = beds.get(zone.bed, Bed(name=zone.bed))
        # A cover may stand over a part of a bed: the zone's own cover replaces the bed's.
        return bed if zone.cover is None else replace(bed, covers=self._covers(zone.cover, at))

    def _zone(self, zone: WrittenZone, number: int, beds: Mapping[str, Bed]) -> Zone:
        at: Path = ("zone", number)
        used = self.filling.used(at, zone)
        bed = self._bed_of(zone, at, beds)
        in_bed = [z for z in self.filling.written.zone if zone.bed and z.bed == zone.bed]
        rows_in_bed = sum(len(z.row) for z in in_bed)
        rows = tuple(
            self._row(row, (*at, "row", n), bed, rows_in_bed) for n, row in enumerate(zone.row)
        )
        if not rows:
            self.filling.faults.add(
                (*at, "row"), "found an empty list; a zone needs at least one row"
            )
        cap_m3 = max(_LEAST_CAP_M3, _CAP_MM * sum(row.ground_m2 for row in rows) / 1000.0)
        cap_m3 = math.ceil(cap_m3 * 100.0 - 1e-9) / 100.0
        cap_shown = show.show_volume(cap_m3, self.filling.us)
        cap_why = "our choice: 60 mm over its ground, at least 40 L"
        plantings = tuple(sorted(map(_planting_of, zone.planting), key=lambda p: (p.start, p.rows)))
        unlike_rows = (used if _stand_together(plantings) else zone).unlike_rows
        run, main_run_m = place_of(self.filling, zone, at, self.runs)
        return Zone(
            name=zone.name,
            bed=bed,
            run=run,
            main_run_m=main_run_m,
            rise_m=used.rise_m,
            valve=valve_of(self.filling, used.valve, (*at, "valve")),
            opening=used.opening,
            rows=rows,
            plantings=plantings,
            take_off_k=used.take_off_k,
            daily_cap_m3=self.filling.default(
                at, "daily_cap", zone.daily_cap_m3, cap_m3, cap_shown, cap_why
            ),
            refill_at=zone.refill_at,
            hand_water=zone.hand_water,
            unlike_rows=unlike_rows,
        )

    def _row(self, row: WrittenRow, at: Path, bed: Bed, rows_in_bed: int) -> Row:
        used = self.filling.used(at, row)
        if bed.width_m is not None and rows_in_bed:
            width_m = bed.width_m / rows_in_bed
            rows = "one row" if rows_in_bed == 1 else f"{rows_in_bed} rows"
            why = f"the bed's width over its {rows}"
        else:
            width_m, why = _GROUND_WIDTH_M, "our choice: no bed has a width"
        width = show.show_length(width_m, self.filling.us)
        return Row(
            length_m=row.length_m,
            pipe=self.filling.pipe((*at, "pipe"), used.pipe),
            drilling=self._drilling(row, at),
            ground_width_m=self.filling.default(at, "width", row.width_m, width_m, width, why),
            inlet_height_m=used.inlet_height_m,
            middle_height_m=used.middle_height_m,
            far_height_m=used.far_height_m,
            wetted_width_m=row.wetted_width_m,
            plugged=row.plugged,
            plugged_holes=row.plugged_holes,
            plugged_beyond_m=row.plugged_beyond_m,
        )

    def _drilling(self, row: WrittenRow, at: Path) -> Drilling:
        used = self.filling.used(at, row)
        first_m = row.every_m / 2.0
        first = show.show_length(first_m, self.filling.us)
        return Drilling(
            group=used.group,
            group_gap_m=(used if row.group > 1 else row).group_gap_m,
            discharge_coefficient=used.discharge_coefficient,
            bore_m=row.bore_m,
            every_m=row.every_m,
            first_m=self.filling.default(
                at, "first", row.first_m, first_m, first, "half a spacing"
            ),
            walls=used.walls,
            face=used.face,
            drain_bore_m=row.drain.bore_m if row.drain else None,
            drain_every_m=row.drain.every_m if row.drain else None,
        )
