"""Small invented gardens for tests, built without a garden file."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

from controller.demand.records import DayInput
from controller.garden.model import (
    Bed,
    Board,
    Garden,
    Planting,
    Site,
    Watering,
    WeatherSource,
    Window,
    Zone,
)
from controller.garden.plumbing import Drilling, Face, Opening, Row, Supply, Valve, ValveKind
from controller.hydraulics.physics.pipe import PIPES
from controller.units import head_m_from_psi, m3_s_from_gal_min, m_from_ft, m_from_in

EVERY_DAY = Window(opens=time(5), closes=time(8))


def a_row(length_ft: float = 8.0, **more: Any) -> Row:
    """A level row of 3/4 in pipe, 1/16 in holes every 6 in, looking down."""
    plain = Row(
        length_m=m_from_ft(length_ft),
        pipe=PIPES["3/4 in"],
        drilling=Drilling(
            bore_m=m_from_in(1 / 16), every_m=m_from_in(6), first_m=m_from_in(3), face=Face.DOWN
        ),
        ground_width_m=0.6,
    )
    return replace(plain, **more)


def a_zone(name: str = "a", relay: int | None = 17, **more: Any) -> Zone:
    """One row of leeks in loam on its own valve, 15 ft down the main."""
    plain = Zone(
        name=name,
        bed=Bed(name=f"bed {name}", soil="loam", keeper="Odile"),
        main_run_m=m_from_ft(15),
        rise_m=0.0,
        valve=Valve(kind=ValveKind.HAND if relay is None else ValveKind.RELAY, relay_line=relay),
        opening=Opening(angle_deg=0.0),
        rows=(a_row(),),
        plantings=(Planting(crop="leek", start=date(2031, 4, 20), until=date(2031, 10, 10)),),
    )
    return replace(plain, **more)


def a_garden(*zones: Zone, **more: Any) -> Garden:
    """A garden of these zones on a tap of 50 psi that gives 8 gal/min at 25 psi."""
    zones = zones or (a_zone(),)
    plain = Garden(
        site=Site(
            name="Invented plot",
            latitude_deg=47.1,
            longitude_deg=8.2,
            elevation_m=430.0,
            timezone="Europe/Zurich",
        ),
        supply=Supply(
            static_head_m=head_m_from_psi(50),
            test_head_m=head_m_from_psi(25),
            test_flow_m3_s=m3_s_from_gal_min(8),
        ),
        main=PIPES["1 in"],
        watering=Watering(windows=(EVERY_DAY,)),
        weather=WeatherSource(),
        board=Board(pins="mock"),
        beds=tuple(zone.bed for zone in zones),
        zones=zones,
    )
    return replace(plain, **more)


def even_days(
    first: date, last: date, *, eto_mm: float = 5.0, rain_mm: float | None = 0.0
) -> dict[date, DayInput]:
    """The same weather every day."""
    days, day = {}, first
    while day <= last:
        days[day] = DayInput(day=day, eto_mm=eto_mm, method="test", rain_mm=rain_mm)
        day += timedelta(days=1)
    return days
