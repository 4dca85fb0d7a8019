"""What a crop growth model of another house harvests from the water that `rowgate plan` asks for.

The model is WOFOST 7.2 (tests/support/cropmodel.py), with its own crops, calendar, leaves, roots
and evaporation. A season's plan of an invented garden at the model's place and on its weather, as
if no rain had fallen, is given to it as irrigation day by day. Beside it stands the model's
potential production: what would grow if water never lacked.

The model is run twice: with its crops' own thirst, by which a closed canopy loses reference ET, and
with the most that FAO-56 gives a full stand of crop in its standard climate, 1.20 of it (eq. 72),
which is also the upper end of the model's own range for that figure (CFET 0.8 to 1.2, from memory).
A thirsty crop is the sharper judge: with its own thirst the model's maize asks for two thirds of
what FAO-56 does, and would not feel a quarter less.

The model's maize yields a few per cent above its potential where it lacks a little; why was not
looked into, and only less is asked about here.
"""

from __future__ import annotations

import contextlib
import io
import json
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support.cropmodel import MAIZE, POTATO, Ground, Grown, Place, grow, place

from controller.cli import main
from crops.catalogue import load

pytestmark = pytest.mark.slow

SOIL = "loam"
OWN_THIRST, GREAT_THIRST = 1.0, 1.2
SCATTER_PCT = 15.0
AS_GOOD = 0.97  # of the potential yield; our choice: what a model can be believed to tell apart
# With a third less water. Our choice: more than any rounding, and less than the 37 to 42 % that
# yield response factors of 1.1 (potato) and 1.25 (maize; FAO-33, from memory) make of a third, for
# part of what is withheld would have dried or drained.
PLAIN_LOSS = 0.15


@dataclass(frozen=True)
class Case:
    """A crop on both sides.

    The first day is so chosen that the plants are up on the day the model's calendar has them up;
    the stages are the row of FAO-56, Table 11 (from memory), that lasts until the model's crop is
    ripe.
    """

    model: int
    crop: str
    sown: date
    emerges_in: int
    until: date
    stages: tuple[int, int, int, int]


CASES = {
    # Table 11: maize (grain), arid climate, 140 days; ripe in the model on 10 September.
    "maize": Case(
        MAIZE, "sweet_corn", date(2000, 4, 22), 8, date(2000, 9, 10), (25, 40, 45, 30)
    ),
    # Table 11: potato, semi-arid climate, 115 days; ripe in the model on 26 May.
    "potato": Case(POTATO, "potato", date(2000, 2, 1), 19, date(2000, 5, 26), (25, 30, 30, 30)),
}  # fmt: skip


# How a bed is computed, and what lies on it. The model knows no mulch: there its ground goes on
# losing what bare ground does, while the plan waters less.
WAYS = {"dual": ("dual", "none"), "straw": ("dual", "straw"), "single": ("single", "none")}


@dataclass(frozen=True)
class Season:
    """The depths that the plan brings to the ground on average, by day, and how evenly."""

    mean_mm: Mapping[date, float]
    evenness: float

    def times(self, share: float) -> dict[date, float]:
        return {day: share * mm for day, mm in self.mean_mm.items()}


def garden_text(at: Place, case: Case, way: str, *, scatter_pct: float) -> str:
    """A bed of three rows on a relay valve, every morning free."""
    coefficients, mulch = WAYS[way]
    row = '{ length = "6 m", every = "15 cm", bore = "1/16 in" }'
    planting = (
        f'{{ crop = "{case.crop}", sown = {case.sown}, until = {case.until}, '
        f"emerges_in = {case.emerges_in}, stages = {list(case.stages)} }}"
    )
    return f"""
[site]
name = "Invented plot"
latitude = {at.latitude_deg}
longitude = {at.longitude_deg}
elevation = "{at.elevation_m} m"
timezone = "UTC"
[supply]
static_pressure = "48 psi"
flow_test = {{ flow = "12 gal/min", pressure = "31 psi" }}
[watering]
window = [{{ from = "03:00", to = "08:00" }}]
drilling_scatter = "{scatter_pct} %"
coefficients = "{coefficients}"
[weather]
file = "weather.csv"
[[bed]]
name = "bed"
length = "6 m"
width = "2.1 m"
soil = "{SOIL}"
mulch = "{mulch}"
[[zone]]
name = "{case.crop}"
bed = "bed"
main_run = "6 m"
valve = {{ relay = 17, kind = "direct" }}
opening = {{ flow = "25 L/min" }}
row = [{row}, {row}, {row}]
planting = [{planting}]
"""


def planned(garden: Path, case: Case) -> Season:
    """The whole season by the command that prints the sheet."""
    days = (case.until - case.sown).days + 1
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(
            [
                "plan",
                *("--from", str(case.sown)),
                *("--days", str(days)),
                *("--state", str(garden.parent)),
                "--json",
                str(garden),
            ]
        )
    assert code == 0, err.getvalue()
    sheet = json.loads(out.getvalue())
    assert not sheet["not_fitted"]
    (ground_m2,) = {dose["ground_m2"] for dose in sheet["doses"]}
    (evenness,) = {dose["evenness"] for dose in sheet["doses"]}
    mean_mm: dict[date, float] = defaultdict(float)
    for pulse in sheet["timetable"]:
        mean_mm[date.fromisoformat(pulse["opens"][:10])] += pulse["litres"] / ground_m2
    return Season(mean_mm, evenness)


Harvests = Mapping[tuple[str, float], Grown]


@pytest.fixture(scope="module")
def harvest(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Harvests]:
    """What each season brings, by what is given and by the thirst; looked up once."""
    home = tmp_path_factory.mktemp("model")
    at = place(home)

    @cache
    def grown(name: str, way: str) -> Harvests:
        case, folder = CASES[name], tmp_path_factory.mktemp("garden")
        soil, crop = load().soil(SOIL), load().crop(case.crop)
        (folder / "weather.csv").write_text(at.weather_csv, encoding="utf-8")

        def season(scatter_pct: float) -> Season:
            text = garden_text(at, case, way, scatter_pct=scatter_pct)
            (folder / "garden.toml").write_text(text, encoding="utf-8")
            return planned(folder / "garden.toml", case)

        even, uneven = season(0.0), season(SCATTER_PCT)
        assert even.evenness > 0.98
        # WORKED: 1 - 1.27 * 0.15 = 0.8095, and by squares what an even line lacks beside it.
        assert uneven.evenness == pytest.approx(0.8095, abs=0.005)
        found: dict[Any, Any] = {}
        for thirst in (OWN_THIRST, GREAT_THIRST):
            crops = grow(
                home,
                case.model,
                Ground(
                    field_capacity=soil.field_capacity,
                    wilting_point=soil.wilting_point,
                    roots_m=crop.root_min_m,  # as deep as Rowgate lets them go
                ),
                begins=case.sown,
                thirst=thirst,
                irrigations={
                    "even": even.mean_mm,
                    "driest quarter": uneven.times(uneven.evenness),
                    "a third withheld": even.times(2 / 3),
                    "nothing": {},
                },
            )
            found |= {(given, thirst): one for given, one in crops.items()}
        return found

    return grown


SEASONS = [(name, way) for name in CASES for way in WAYS]
BOTH = pytest.mark.parametrize(("name", "way"), SEASONS)


def share_of_potential(found: Harvests, given: str, thirst: float) -> float:
    """Of the yield that grows where water never lacks; printed for -rP and docs/numbers.md."""
    one = found[given, thirst]
    share = one.yield_kg_ha / found["potential", thirst].yield_kg_ha
    print(
        f"{given}, thirst {thirst}: {one.irrigated_mm:.0f} mm given, "
        f"{one.transpired_mm:.0f} drunk, {one.evaporated_mm:.0f} dried, "
        f"{one.drained_mm:.0f} below the roots, {one.short_days} days short; "
        f"{one.yield_kg_ha:.0f} kg/ha, {share:.3f} of the potential"
    )
    return share


@pytest.mark.parametrize("name", CASES)
def test_the_model_has_the_crop_up_and_ripe_when_the_garden_file_says(
    name: str, harvest: Any
) -> None:
    case, found = CASES[name], harvest(name, "dual")["potential", OWN_THIRST]
    assert found.emerged == case.sown + timedelta(days=case.emerges_in)
    assert found.ripe == case.until
    assert abs(sum(case.stages) - (case.until - case.sown).days) <= 2
    # With nothing at all there is nothing: the season cannot live on what the soil holds.
    assert share_of_potential(harvest(name, "dual"), "nothing", OWN_THIRST) < 0.05


@BOTH
def test_water_by_the_plan_grows_what_water_without_end_would(
    name: str, way: Any, harvest: Any
) -> None:
    found = harvest(name, way)
    for thirst in (OWN_THIRST, GREAT_THIRST):
        assert share_of_potential(found, "even", thirst) >= AS_GOOD


@BOTH
def test_so_does_the_driest_quarter_of_a_row_drilled_unevenly(
    name: str, way: Any, harvest: Any
) -> None:
    """Where it gets the low-quarter uniformity of the mean depth, drilled with 15 % scatter."""
    found = harvest(name, way)
    shares = {t: share_of_potential(found, "driest quarter", t) for t in (OWN_THIRST, GREAT_THIRST)}
    assert min(shares.values()) >= AS_GOOD, shares


@BOTH
def test_a_third_less_water_is_a_plain_loss(name: str, way: Any, harvest: Any) -> None:
    """To a thirsty crop; to one with the model's own thirst the plan leaves a margin.

    Against what all of the water grows, which for maize may be above the potential.
    """
    found = harvest(name, way)
    share_of_potential(found, "a third withheld", OWN_THIRST)
    left = share_of_potential(found, "a third withheld", GREAT_THIRST)
    assert left / share_of_potential(found, "even", GREAT_THIRST) <= 1.0 - PLAIN_LOSS
