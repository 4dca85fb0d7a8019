"""Plantings of the model, and what is wrong between their keys: dates, rows, stages."""

from __future__ import annotations

from datetime import date
from itertools import combinations

from controller.garden.faults import Faults
from controller.garden.lines import Path
from controller.garden.model import Planting
from controller.garden.written import WrittenPlanting, WrittenZone


def planting_of(written: WrittenPlanting) -> Planting:
    """One planting of the model."""
    return Planting(
        crop=written.crop,
        start=written.transplanted or written.sown or date.min,
        until=written.until,
        transplanted=written.transplanted is not None,
        stage_days=written.stages,
        rows=written.rows or (),
        spacing_m=written.apart_m,
        plant_lines=written.lines or 1,
        supported=written.supports or False,
        by_warmth=written.by_warmth or written.stages_warmth is not None,
        stage_warmth=written.stages_warmth,
        emerges_days=written.emerges_days,
    )


def stand_together(plantings: tuple[Planting, ...]) -> bool:
    """Whether two plantings of a zone are ever in the ground on the same day."""
    return any(
        one.start <= other.until and other.start <= one.until
        for one, other in combinations(plantings, 2)
    )


def check_plantings(zone: WrittenZone, at: Path, faults: Faults) -> None:
    """Note what is wrong with the plantings of the zone at `at`."""
    spans: list[tuple[date, date, int]] = []
    for number, planting in enumerate(zone.planting):
        place: Path = (*at, "planting", number)
        _check_stages(planting, place, faults)
        _check_rows(planting, zone, at, place, faults)
        start = planting.transplanted or planting.sown
        dates: list[Path] = [(*place, key) for key in ("sown", "transplanted", "until")]
        if (planting.sown is None) == (planting.transplanted is None):
            said = "neither" if start is None else "both"
            faults.add(
                place,
                f"found {said} of sown and transplanted; a planting has one of the two, "
                f"as in transplanted = 2031-04-22",
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


def _check_stages(planting: WrittenPlanting, place: Path, faults: Faults) -> None:
    """Stages are told in days or in warmth."""
    if planting.stages_warmth is None:
        return
    if planting.stages is not None:
        faults.add(
            (*place, "stages_warmth"),
            "found stages as well; a planting's stages are told in days or in warmth, not in both",
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
    """The rows a planting names are there."""
    count = len(zone.row)
    has = "one row" if count == 1 else f"rows 1 to {count}"
    for number in planting.rows or ():
        if number > count > 0:
            faults.add(
                (*place, "rows"),
                f"found row {number}; this zone has {has}",
                needs=[(*at, "row")],
            )


def _check_emergence(planting: WrittenPlanting, start: date, place: Path, faults: Faults) -> None:
    """Only what was sown comes up, and before it is pulled."""
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
    """A row holds one planting at a time; said once for each planting that comes too early."""
    everywhere = range(1, max(len(zone.row), 1) + 1)
    last: dict[int, tuple[date, int]] = {}  # row -> until when it is taken, and by which planting
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
