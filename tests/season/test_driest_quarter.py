"""Whether the driest quarter of a bed really drinks what its account says, over whole seasons.

The plan's waterings are given to four hundred strips of ground, each with its own share of every
watering and an account of its own, which this file keeps by FAO-56 (1998), eq. 84 to 88, and which
shares no code with the project. The shares are those of a normal distribution whose lowest quarter
gets the uniformity times the mean (Keller and Karmeli 1974, from memory). Garden and crop are
invented: 5 mm a day, out of soil that holds 84 mm, of which 42 mm readily.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from statistics import NormalDist, fmean

import pytest
from pytest import approx
from support.gardens import a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.mornings import catalogue

from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Bed, Coefficients, OwnCrop, Planting, Satisfy, Watering, Window
from controller.garden.plumbing import Opening, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.results import HoleFlow
from controller.hydraulics.network.uniformity import real_uniformity
from controller.timetable.plan import Grounds, Installation, Span, plan_garden
from controller.units import l_from_m3, m3_s_from_l_min

DAY = timedelta(days=1)
START = date(2031, 5, 1)
DAYS, ETC_MM, TAW_MM, RAW_MM = 120, 5.0, 84.0, 42.0
NEED_MM = DAYS * ETC_MM
STRIPS = 400
ALL_DAY = Window(opens=time(3), closes=time(20))
DAILY, SELDOM = 1e-6, 0.45  # shares of RAW that are passed every day, and every fourth
EVEN_CROP = OwnCrop(
    name="invented",
    like="lettuce",
    changes={
        **dict.fromkeys(("kc_ini", "kc_mid", "kc_end", "kcb_ini", "kcb_mid", "kcb_end"), 1.0),
        "days_initial": 1,
        "days_development": 1,
        "days_mid": 200,
        "root_min_m": 0.6,  # in loam, 140 mm a metre
        "root_max_m": 0.6,
        "depletion_fraction": 0.5,
        "spread_m": 2.0,
    },
)


@dataclass(frozen=True)
class Season:
    """The plan's own ledger, and what it spread over the ground by day, its line once filled."""

    ledger: Sequence[LedgerDay]
    spread_mm: Mapping[date, float]
    uniformity: float

    @property
    def applied_mm(self) -> float:
        return sum(self.spread_mm.values())


def weather(rain_mm: float = 0.0, every: int = 0) -> dict[date, DayInput]:
    days = even_days(START, START + (DAYS + 9) * DAY, eto_mm=ETC_MM)
    for n in range(every, DAYS, every) if every else ():
        day = START + n * DAY
        days[day] = replace(days[day], rain_mm=rain_mm)
    return days


def season(
    uniformity: float,
    days: Mapping[date, DayInput],
    *,
    crop: str = "invented",
    refill_at: float | None = DAILY,
    cap_mm: float = 1000.0,
    coefficients: Coefficients = Coefficients.SINGLE,
    satisfy: Satisfy = Satisfy.DRIEST_QUARTER,
    length: int = DAYS,
) -> Season:
    """A bed of that low-quarter uniformity, all of it wetted, planned from day two on."""
    drilling = replace(a_row().drilling, walls=Walls.BOTH)
    zone = a_zone(
        rows=(a_row(5.0, ground_width_m=0.4, drilling=drilling),),
        bed=Bed(name="bed", holds_rain=True),
        plantings=(Planting(crop=crop, start=START, until=START + (length + 9) * DAY),),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(12.0)),
    )
    lines = Lines(a_garden(zone))
    fill_mm = l_from_m3(lines.line("a").drains_m3) / zone.ground_m2
    holes = lines.open_set(frozenset("a")).zones["a"].holes
    garden = a_garden(
        replace(zone, daily_cap_m3=(cap_mm + fill_mm) * zone.ground_m2 / 1000.0),
        own_crops=(EVEN_CROP,),
        watering=Watering(
            windows=(ALL_DAY,),
            drilling_scatter=scatter_for(holes, uniformity),
            level_error_m=0.0,
            refill_at=refill_at,
            coefficients=coefficients,
            satisfy=satisfy,
            settling_days=0,
            basin_mm=60.0,
        ),
    )
    timetable = plan_garden(
        Installation(garden, Grounds(garden, catalogue()), lines),
        days,
        Span(first=START + DAY, count=length - 1),
        given=NOTHING_GIVEN,
    )
    spread = dict.fromkeys((d.day for d in timetable.ledger), 0.0)
    for pulse in timetable.pulses:
        spread[pulse.day] += pulse.litres / zone.ground_m2 - fill_mm
    return Season(timetable.ledger, spread, uniformity)


def scatter_for(holes: Sequence[HoleFlow], uniformity: float) -> float:
    """The scatter with which the holes come to a uniformity, by halving."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        habits = Watering(windows=(), drilling_scatter=middle, level_error_m=0.0)
        low, high = (middle, high) if real_uniformity(holes, habits) > uniformity else (low, middle)
    return low


def ground_day(missing_mm: float, entering_mm: float) -> tuple[float, float, float]:
    """Missing at the end, used and drained, of one day of one strip: FAO-56, eq. 84 to 88."""
    missing = missing_mm - entering_mm
    stress = min(max((TAW_MM - missing) / (TAW_MM - RAW_MM), 0.0), 1.0)
    used = min(stress * ETC_MM, TAW_MM - missing)
    return max(missing + used, 0.0), used, max(-missing - used, 0.0)


@dataclass(frozen=True)
class Strips:
    """What the strips used and drained, means of a season. [mm]"""

    low_quarter: float
    mean: float
    drained: float


def followed(found: Season, days: Mapping[date, DayInput]) -> Strips:
    """Each strip of ground by itself."""
    share = NormalDist(1.0, (1.0 - found.uniformity) / 1.2711).inv_cdf
    used, drained = [], []
    for number in range(STRIPS):
        gets, missing = max(share((number + 0.5) / STRIPS), 0.0), 0.0
        drunk = lost = 0.0
        for day, spread_mm in found.spread_mm.items():
            rain = days[day].rain_mm or 0.0
            missing, use, past = ground_day(missing, gets * spread_mm + rain)
            drunk, lost = drunk + use, lost + past
        used.append(drunk)
        drained.append(lost)
    return Strips(fmean(used[: STRIPS // 4]), fmean(used), fmean(drained))


def account_alone(
    uniformity: float, days: Mapping[date, DayInput], *, at_mm: float, cap_mm: float
) -> float:
    """What the rule asks for, by an account of this file's own. [mm]"""
    missing = applied = 0.0
    for n in range(DAYS):
        gross = min(missing / uniformity, cap_mm) if missing >= at_mm else 0.0
        applied += gross
        rain = days[START + n * DAY].rain_mm or 0.0
        missing, _, _ = ground_day(missing, gross * uniformity + rain)
    return applied


# RECORDED, by a script that shares no code with either side: what is applied, what the low quarter
# used, what all used on average, and what drained. [mm]
CASES = {
    "dry, daily": (0.80, (0.0, 0), DAILY, 1000.0, (744, 591, 598, 150)),
    "dry, every fourth day": (0.80, (0.0, 0), SELDOM, 1000.0, (725, 589, 597, 146)),
    "12 mm each fortnight": (0.80, (12.0, 15), DAILY, 1000.0, (700, 598, 599, 187)),
    "dry, a cap of 5.5 mm a day": (0.80, (0.0, 0), DAILY, 5.5, (655, 569, 592, 74)),
    "dry, very uneven": (0.65, (0.0, 0), DAILY, 1000.0, (915, 569, 592, 328)),
}


@pytest.mark.parametrize("name", CASES)
def test_strips_of_ground_drink_what_the_account_of_the_low_quarter_says(name: str) -> None:
    uniformity, rain, refill_at, cap_mm, recorded = CASES[name]
    days = weather(*rain)
    found = season(uniformity, days, refill_at=refill_at, cap_mm=cap_mm)
    at_mm = 0.0 if refill_at == DAILY else 20.0
    alone = account_alone(uniformity, days, at_mm=at_mm, cap_mm=cap_mm)
    # Pulses are timed to a tenth of a second: 0.02 mm of the 6 mm of a day, half of it either way.
    assert found.applied_mm == approx(alone, abs=0.02 * DAYS)
    strips = followed(found, days)
    got = (found.applied_mm, strips.low_quarter, strips.mean, strips.drained)
    assert got == approx(recorded, abs=2.0)


def test_in_a_dry_season_the_low_quarter_gets_what_it_needs() -> None:
    days = weather()
    low = followed(season(0.80, days), days).low_quarter
    assert low >= 0.97 * NEED_MM
    # Its own driest places never do: at 0.65 they take three more parts in a hundred with them.
    assert followed(season(0.65, days), days).low_quarter >= 0.94 * NEED_MM
    # A dose for the mean leaves it short of a tenth, which is what such a garden has asked for.
    mean = season(0.80, days, satisfy=Satisfy.MEAN)
    assert followed(mean, days).low_quarter < 0.90 * NEED_MM


@pytest.mark.parametrize("uniformity", [0.65, 0.80, 0.95])
def test_what_is_applied_is_drunk_by_the_low_quarter_or_passes(uniformity: float) -> None:
    """WORKED: applied x uniformity = what the account used + what it misses more than before."""
    found = season(uniformity, weather())
    used = sum(d.used_mm for d in found.ledger)
    missing = found.ledger[-1].depletion_mm - found.ledger[0].start_depletion_mm
    assert found.applied_mm * uniformity == approx(used - missing, abs=0.1)
    assert sum(d.drained_mm for d in found.ledger) == approx(0.0, abs=1e-9)
    assert used == approx(NEED_MM, abs=1e-6)
    for day in found.ledger:
        got, spread = day.watered_mm - day.passed_mm, found.spread_mm[day.day]
        assert got == approx(spread * uniformity, abs=1e-9)


def test_water_over_a_dry_season_grows_as_one_over_the_uniformity() -> None:
    """Lettuce, planned by the usual rules: 0.99 against 0.68, and never short in either."""
    uneven, even = (
        season(
            uniformity,
            weather(),
            crop="lettuce",
            refill_at=None,
            coefficients=Coefficients.DUAL,
            length=75,
        )
        for uniformity in (0.68, 0.99)
    )
    assert uneven.applied_mm / even.applied_mm == approx(0.99 / 0.68, rel=0.02)
    with_the_line = [sum(d.watered_mm for d in found.ledger) for found in (uneven, even)]
    assert with_the_line[0] / with_the_line[1] == approx(0.99 / 0.68, rel=0.07)
    for found in (uneven, even):
        assert min(d.stress for d in found.ledger) == 1.0
