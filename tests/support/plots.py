"""Small made-up zones and days for the ledger's tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil.ground import Part, Season, parts_of
from controller.demand.soil.water_balance import advance
from controller.garden.model import Bed, Coefficients, Planting, Zone
from controller.garden.plumbing import Opening, Valve, ValveKind
from crops.catalogue import Crop, Soil

SPRING = date(2031, 4, 1)


def plot(*plantings: Planting, rooting_limit_m: float | None = None, **bed: object) -> Zone:
    """A zone with nothing in it but what the ledger reads; no rain runs off unless said."""
    return Zone(
        name="invented plot",
        bed=Bed(
            name="invented bed",
            rooting_limit_m=rooting_limit_m,
            **{"holds_rain": True, **bed},  # type: ignore[arg-type]
        ),
        main_run_m=5.0,
        rise_m=0.0,
        valve=Valve(kind=ValveKind.HAND),
        opening=Opening(angle_deg=0.0),
        rows=(),
        plantings=plantings,
    )


def planted(crop: str, first: int, length: int, **more: object) -> Planting:
    """A planting that starts `first` days after 1 April and stands `length` days."""
    start = SPRING + timedelta(days=first)
    return Planting(crop=crop, start=start, until=start + timedelta(days=length - 1), **more)  # type: ignore[arg-type]


def day(
    number: int, *, eto_mm: float = 5.0, rain_mm: float | None = 0.0, **more: object
) -> DayInput:
    """The day `number` days after 1 April, calm and of middling humidity unless said."""
    return DayInput(
        day=SPRING + timedelta(days=number),
        eto_mm=eto_mm,
        method="given",
        rain_mm=rain_mm,
        **more,  # type: ignore[arg-type]
    )


def days(weather: Sequence[tuple[float, float | None]]) -> list[DayInput]:
    """A run of days from 1 April, each of an ETo and a rain."""
    return [day(i, eto_mm=eto, rain_mm=rain) for i, (eto, rain) in enumerate(weather)]


def ground(
    zone: Zone,
    soil: Soil,
    crop_for: Callable[[str], Crop],
    run: Iterable[DayInput] = (),
    *,
    coefficients: Coefficients = Coefficients.SINGLE,
    **facts: object,
) -> Part:
    """A plot as the ledger takes it: one part, its whole ground wetted unless said."""
    season = Season(
        crop_for=crop_for, days={today.day: today for today in run}, coefficients=coefficients
    )
    (part,) = parts_of(zone, soil, season)
    return replace(part, **facts)  # type: ignore[arg-type]


def ledger_over(
    part: Part,
    run: Sequence[DayInput],
    watered_mm: Mapping[date, float],
    previous: LedgerDay | None = None,
) -> list[LedgerDay]:
    """The part's water balance over a run of days; a day that is not in `watered_mm` got none."""
    ledger = []
    for today in run:
        previous = advance(
            previous, part=part, today=today, watered_mm=watered_mm.get(today.day, 0.0)
        )
        ledger.append(previous)
    return ledger
