"""Ground for the water balance: rows of a zone under one succession of crops.

A zone whose rows all hold the same plantings is one part. If they differ, rows with the same
plantings make a part, and each part has a water balance of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from controller.demand.plants.canopy import cover_at_full_size
from controller.demand.plants.course import Course
from controller.demand.plants.degree_days import Ground, NormalSpread
from controller.demand.plants.development import ground_of
from controller.demand.plants.observations import allotted
from controller.demand.records import DayInput, Observation
from controller.demand.soil.mulch import Mulch, mulch_of
from controller.demand.soil.salinity import salt_stress_of
from controller.garden.model import Coefficients, Planting, Zone
from controller.garden.plumbing import Row
from controller.messages import Message
from crops.catalogue import Crop, Soil

Temperatures = Callable[[date], tuple[float, float] | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantingFacts:
    """One planting: its crop, its course through the season, the density of its plants."""

    planting: Planting
    crop: Crop
    course: Course
    name: str  # as the account is called
    cover_full: float | None  # ground shaded by full-grown plants; None: the table's field
    plants: float
    salt_stress: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Rows of one zone under one succession of plantings, and their ground.

    `line_fraction` is the share of that ground that the drilled rows wet; `under_canopy` whether
    that lies below the plants; `curve_number` is None if no rain runs off.
    """

    zone: str
    name: str  # "" for the whole zone
    ground_m2: float
    soil: Soil
    plantings: tuple[PlantingFacts, ...]
    mulch: Mulch
    line_fraction: float = 1.0
    under_canopy: bool = True
    rooting_limit_m: float | None = None
    exposure: float = 1.0
    curve_number: float | None = None
    coefficients: Coefficients = Coefficients.DUAL
    rows: tuple[int, ...] = ()  # numbered from 1
    remarks: tuple[Message, ...] = ()  # of the first part: observations of nothing in the zone

    def planting_on(self, day: date) -> PlantingFacts | None:
        """The planting that stands there on a day; None: bare ground."""
        for facts in self.plantings:
            if facts.planting.start <= day <= facts.course.ends:
                return facts
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """Inputs of courses and canopies that are the same for a whole garden."""

    crop_for: Callable[[str], Crop]
    days: Mapping[date, DayInput]
    observations: Sequence[Observation] = ()
    normal_temps: Temperatures | None = None
    normal_spread: NormalSpread | None = None
    settling_days: int = 7
    salt_ds_m: float | None = None
    latitude_deg: float | None = None
    coefficients: Coefficients = Coefficients.DUAL


def parts_of(
    zone: Zone, soil: Soil, season: Season, *, wetted_m2: Callable[[Row], float] | None = None
) -> tuple[Part, ...]:
    """The parts of a zone, in order of their rows; one part if all rows hold the same.

    `wetted_m2` is the ground that a row wets [m2]; None: all of its ground. Each part has a water
    balance of its own.
    """
    groups = row_groups(zone)
    seen = [s for s in season.observations if s.zone == zone.name]
    # An observation of another part's crop fits the zone, so remarks are made for the whole zone.
    _, strange = allotted(zone.plantings, seen)
    return tuple(
        _part(
            zone,
            soil,
            season,
            rows,
            plantings,
            wetted_m2,
            name="" if len(groups) == 1 else rows_named(rows),
            seen=seen,
            remarks=() if number else strange,
        )
        for number, (rows, plantings) in enumerate(groups)
    )


def row_groups(zone: Zone) -> list[tuple[tuple[int, ...], tuple[Planting, ...]]]:
    """Numbers of the rows in use, grouped by the plantings that stand on them.

    Rows are numbered from 1. One group without rows if no row is in use.
    """
    groups: dict[tuple[Planting, ...], list[int]] = {}
    for number, row in enumerate(zone.rows, 1):
        if not row.plugged:
            standing = tuple(p for p in zone.plantings if not p.rows or number in p.rows)
            groups.setdefault(standing, []).append(number)
    if not groups:
        return [((), zone.plantings)]
    return [(tuple(rows), plantings) for plantings, rows in groups.items()]


def rows_named(rows: Sequence[int]) -> str:
    """Row numbers in words.

    Examples
    --------
    >>> rows_named([2]), rows_named([1, 2, 4])
    ('row 2', 'rows 1, 2 and 4')
    """
    if len(rows) == 1:
        return f"row {rows[0]}"
    return f"rows {', '.join(map(str, rows[:-1]))} and {rows[-1]}"


def _part(
    zone: Zone,
    soil: Soil,
    season: Season,
    rows: tuple[int, ...],
    plantings: tuple[Planting, ...],
    wetted_m2: Callable[[Row], float] | None,
    *,
    name: str,
    seen: Sequence[Observation],
    remarks: tuple[Message, ...],
) -> Part:
    bed, used = zone.bed, [zone.rows[number - 1] for number in rows]
    ground_m2 = sum(row.ground_m2 for row in used)
    wetted = ground_m2 if wetted_m2 is None else sum(wetted_m2(row) for row in used)
    fraction = wetted / ground_m2 if ground_m2 > 0.0 else 1.0
    of_each, _ = allotted(plantings, seen)
    mulch = mulch_of(bed.mulch, bed.mulch_cover, bed.mulch_rain)
    ground = ground_of(mulch, soil, south=(season.latitude_deg or 0.0) < 0.0)
    return Part(
        zone=zone.name,
        name=name,
        ground_m2=ground_m2,
        soil=soil,
        plantings=tuple(
            _planting(planting, season, used, mine, ground)
            for planting, mine in zip(plantings, of_each, strict=True)
        ),
        line_fraction=min(max(fraction, 0.01), 1.0),
        under_canopy=fraction < 0.99,
        rooting_limit_m=bed.rooting_limit_m,
        mulch=mulch,
        exposure=bed.exposure,
        curve_number=None if bed.holds_rain else soil.curve_number,
        coefficients=season.coefficients,
        rows=rows,
        remarks=remarks,
    )


def _planting(
    planting: Planting,
    season: Season,
    rows: Sequence[Row],
    seen: Sequence[Observation],
    ground: Ground,
) -> PlantingFacts:
    crop = season.crop_for(planting.crop)
    spacing_m = planting.spacing_m or crop.in_row_spacing_m
    return PlantingFacts(
        planting=planting,
        crop=crop,
        course=Course(
            crop,
            planting,
            season.days,
            observations=seen,
            normal_temps=season.normal_temps,
            normal_spread=season.normal_spread,
            settling_days=season.settling_days,
            ground=ground,
            latitude_deg=season.latitude_deg,
        ),
        name=f"{planting.crop} from {planting.start.isoformat()}",
        cover_full=_cover(crop, planting, spacing_m, rows),
        plants=sum(row.length_m for row in rows) / spacing_m * planting.plant_lines,
        salt_stress=salt_stress_of(crop, season.salt_ds_m),
    )


def _cover(crop: Crop, planting: Planting, spacing_m: float, rows: Sequence[Row]) -> float | None:
    """Mean cover of the rows; None if the crop's spread or the ground is unknown."""
    ground_m2 = sum(row.ground_m2 for row in rows)
    if crop.spread_m is None or ground_m2 <= 0.0:
        return None
    covered = sum(
        row.ground_m2
        * cover_at_full_size(
            spread_m=crop.spread_m,
            spacing_m=spacing_m,
            line_gap_m=row.ground_width_m / planting.plant_lines,
        )
        for row in rows
    )
    return covered / ground_m2
