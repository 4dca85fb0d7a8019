"""Plantings of the model, and what is wrong between their keys: dates, rows, stages."""

from __future__ import annotations

from datetime import date
from itertools import combinations

from controller.garden.faults import Faults
from controller.garden.lines import Path
from controller.garden.model import Planting
from controller.garden.written import WrittenPlanting, WrittenZone

_LONGEST_WAIT_DAYS = 300  # from setting out in autumn to the first spring; our choice


def planting_of(written: WrittenPlanting) -> Planting:
    """One planting of the model."""
    return Planting(
        crop=written.crop,
        start=_start_of(written) or date.min,
        until=written.until,
        transplanted=written.sown is None,
        stage_days=written.stages,
        rows=written.rows or (),
        spacing_m=written.apart_m,
        plant_lines=written.lines or 1,
        supported=written.supports or False,
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
    """The growing years a planting had here before its first day; None: it is established."""
    start = _start_of(written)
    if written.planted_year is not None and start is not None:
        return max(start.year - written.planted_year, 0)
    if written.established or (written.sown is None and written.transplanted is None):
        return None
    return 0


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
    """What is said of how long a perennial stands there fits together; at most one fault."""
    out, begins, year = planting.transplanted, planting.grows_from, planting.planted_year
    start = _start_of(planting)
    key, words = "", ""
    if planting.sown is not None:
        said = {"from": begins, "established": planting.established or None, "planted_year": year}
        key = next((key for key, found in said.items() if found is not None), "")
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
    """Stages are told in days, in warmth, or by the packet."""
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
