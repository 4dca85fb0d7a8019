"""Invented gardens for the hydraulics tests: one tap, one main, rows as the test asks."""

from __future__ import annotations

from typing import Any

from controller.garden.model import Bed, Board, Garden, Site, Watering, WeatherSource, Zone
from controller.garden.plumbing import Drilling, Face, Opening, Row, Run, Supply, Valve, ValveKind
from controller.hydraulics.physics.pipe import PIPES

BED = Bed(name="invented bed")
# The reference house counts a psi as 0.70307 m.
PSI_M = 0.70307
GPM_M3_S = 6.30902e-5


def a_drilling(**changes: Any) -> Drilling:
    """1/16 in every 6 in from 3 in on, to the side (no height against the pipe), Cd 0.80."""
    values: dict[str, Any] = {
        "bore_m": 0.0015875,
        "every_m": 0.1524,
        "first_m": 0.0762,
        "face": Face.SIDE,
        "discharge_coefficient": 0.80,
    }
    return Drilling(**(values | changes))


def a_row(drilling: Drilling | None = None, **changes: Any) -> Row:
    """A level 8 ft row of 3/4 in pipe: 16 holes."""
    values: dict[str, Any] = {
        "length_m": 2.4384,
        "pipe": PIPES["3/4 in"],
        "drilling": drilling or a_drilling(),
        "ground_width_m": 0.3,
    }
    return Row(**(values | changes))


def a_zone(name: str, *rows: Row, **changes: Any) -> Zone:
    """A zone 6 m from the tap at its height, its valve full open."""
    values: dict[str, Any] = {
        "bed": BED,
        "main_run_m": 6.0,
        "rise_m": 0.0,
        "valve": Valve(kind=ValveKind.HAND),
        "opening": Opening(angle_deg=0.0),
        "rows": rows or (a_row(),),
        "plantings": (),
    }
    return Zone(name=name, **(values | changes))


def a_garden(
    *zones: Zone,
    supply: Supply | None = None,
    runs: tuple[Run, ...] = (),
    us_units: bool = False,
) -> Garden:
    """A garden on a tap of 50 psi static and 8 gal/min at 25 psi, with a 1 in main or runs."""
    return Garden(
        site=Site(
            name="Nowhere", latitude_deg=45.0, longitude_deg=0.0, elevation_m=0.0, timezone="UTC"
        ),
        supply=supply
        or Supply(static_head_m=50 * PSI_M, test_head_m=25 * PSI_M, test_flow_m3_s=8 * GPM_M3_S),
        main=PIPES["1 in"],
        runs=runs,
        watering=Watering(windows=()),
        weather=WeatherSource(),
        board=Board(),
        beds=(BED,),
        zones=zones,
        us_units=us_units,
    )
