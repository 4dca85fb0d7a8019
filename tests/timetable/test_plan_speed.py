"""How long the morning's plan takes; run with --benchmark-only, and -s for the figures.

The garden and its weather are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import pi, sin
from time import perf_counter

import numpy as np
import pytest
from support.gardens import a_garden, a_row, a_zone

from controller.daemon.gardenfile import Accepted
from controller.daemon.planning import plan
from controller.demand.daystep import Asked, Wet, dual_day
from controller.garden.model import Coefficients, Garden, Planting, Supply
from controller.hydraulics.lines import Lines
from controller.timetable.days import demand_days
from controller.timetable.gather import PAST_DAYS
from controller.timetable.onweather import Weather
from controller.timetable.plan import NOTHING_GIVEN, Grounds, assume_before
from controller.units import head_m_from_psi, m3_s_from_gal_min
from controller.weather.day import WeatherDay
from crops.catalogue import load

ZONES = 60
TODAY = date(2031, 7, 10)
DAY = timedelta(days=1)
CROPS = ("leek", "tomato", "kale", "carrot", "potato", "lettuce", "strawberry", "beet", "pumpkin")


def a_large_garden(coefficients: Coefficients) -> Garden:
    """Sixty zones of a crop each, sown, set out and perennial, of one to three rows."""
    zones = [
        a_zone(
            f"z{number:02d}",
            relay=None,
            main_run_m=2.0 + number,
            rows=tuple(a_row(6.0 + number % 5 + n) for n in range(1 + number % 3)),
            plantings=(
                Planting(
                    crop="spinach", start=date(2031, 3, 1), until=date(2031, 4, 14),
                    transplanted=False,
                ),
                Planting(
                    crop=CROPS[number % len(CROPS)],
                    start=date(2031, 4, 20) + (number % 7) * DAY,
                    until=date(2031, 10, 10),
                    transplanted=number % 2 == 0,
                ),
            ),
        )
        for number in range(ZONES)
    ]  # fmt: skip
    return a_garden(
        *zones,
        supply=Supply(
            static_head_m=head_m_from_psi(50),
            test_head_m=head_m_from_psi(25),
            test_flow_m3_s=m3_s_from_gal_min(20),
        ),
        watering=replace(a_garden().watering, coefficients=coefficients, basin_mm=25.0),
    )


def rows_of_weather() -> tuple[WeatherDay, ...]:
    """What a service hands over: 92 days gone, today and a week to come."""
    days = []
    for off in range(-PAST_DAYS, 8):
        turn = sin(2.0 * pi * off / 11.0)
        days.append(
            WeatherDay(
                day=TODAY + off * DAY,
                tmin_c=11.0 + 3.0 * turn,
                tmax_c=23.0 + 5.0 * turn,
                rh_mean_pct=62.0 - 8.0 * turn,
                wind_m_s=2.0 + turn,
                wind_height_m=10.0,
                solar_mj_m2=20.0 + 6.0 * turn,
                rain_mm=9.0 if off % 8 == 3 else 0.0,
                rain_chance_pct=None if off < 0 else 60.0,
                source="a service model" if off < 0 else "a service forecast",
                measured=False,
                modelled=off < 0,
            )
        )
    return tuple(days)


def best_s(job: Callable[[], object], times: int) -> float:
    """The shortest of several runs: what the machine can do when nothing else asks it. [s]"""
    found = []
    for _ in range(times):
        begun = perf_counter()
        job()
        found.append(perf_counter() - begun)
    return min(found)


def a_morning(coefficients: Coefficients, *, kept_for_days: int) -> Callable[[], object]:
    """The daemon's own plan of a morning, its garden accepted and its hydraulics known."""
    garden = a_large_garden(coefficients)
    accepted = Accepted(garden=garden, grounds=Grounds(garden, load()), lines=Lines(garden))
    weather = Weather(rows=rows_of_weather(), order=("a service",))
    given = NOTHING_GIVEN
    if kept_for_days:  # its litres are those that a new one would take for given
        days = demand_days(weather.rows, garden.site, last=TODAY).days
        assumed = assume_before(
            garden, accepted.grounds, accepted.lines, days, given, kept_from=TODAY
        )
        given = replace(given, litres=assumed.litres)

    def replan() -> object:
        return plan(
            accepted,
            garden,
            weather,
            now_utc=datetime(2031, 7, 10, 0, 2, tzinfo=UTC),
            given=given,
            last_pulses=(),
            kept_from=TODAY - kept_for_days * DAY,
        )

    timetable = replan()
    assert len({dose.zone for dose in timetable.doses}) > ZONES // 3  # type: ignore[attr-defined]
    return replan


@pytest.mark.benchmark(group="sixty zones planned anew")
@pytest.mark.parametrize("kept_for_days", [0, PAST_DAYS], ids=["logbook new", "logbook full"])
def test_sixty_zones_with_92_days_gone(benchmark, kept_for_days):
    dual = a_morning(Coefficients.DUAL, kept_for_days=kept_for_days)
    single = a_morning(Coefficients.SINGLE, kept_for_days=kept_for_days)
    benchmark.pedantic(dual, rounds=5)
    dual_s, single_s = best_s(dual, 3), best_s(single, 3)
    print(
        f"\n60 zones, {PAST_DAYS} days gone, logbook {kept_for_days} days old: "
        f"dual {1e3 * dual_s:.0f} ms, single {1e3 * single_s:.0f} ms, "
        f"{dual_s / single_s:.2f} times as long"
    )
    assert dual_s < 3.0 * single_s


class _Arrays:
    least = staticmethod(np.minimum)
    most = staticmethod(np.maximum)
    choose = staticmethod(np.where)


@pytest.mark.benchmark(group="three hundred seasons of 120 days")
def test_arrays_take_many_seasons_at_once(benchmark):
    seasons, length = 300, 120
    rng = np.random.default_rng(7)
    eto = rng.uniform(0.0, 9.0, (length, seasons))
    rain = np.where(rng.random((length, seasons)) < 0.25, rng.exponential(7.0, eto.shape), 0.0)
    rest = (1.0, 1.25, 0.6, 1.0, 80.0, 20.0, 9.0, 0.4, 0.4, True)

    def at_once() -> float:
        state = Wet(np.zeros(seasons), np.zeros(seasons), np.full(seasons, 0.4))
        for day in range(length):
            found = dual_day(
                state, Asked(eto[day], *rest), rain_mm=rain[day], watered_mm=0.0, maths=_Arrays()
            )
            state = found.state
        return float(state.depletion_mm.sum())

    eto_rows, rain_rows = eto.tolist(), rain.tolist()

    def one_by_one() -> float:
        total = 0.0
        for season in range(seasons):
            state = Wet(0.0, 0.0, 0.4)
            for day in range(length):
                found = dual_day(
                    state,
                    Asked(eto_rows[day][season], *rest),
                    rain_mm=rain_rows[day][season],
                    watered_mm=0.0,
                )
                state = found.state
            total += state.depletion_mm
        return total

    assert benchmark(at_once) == pytest.approx(one_by_one(), abs=1e-6)
    at_once_s, one_by_one_s = best_s(at_once, 5), best_s(one_by_one, 2)
    print(
        f"\n300 seasons of 120 days: one by one {1e3 * one_by_one_s:.0f} ms, as arrays "
        f"{1e3 * at_once_s:.1f} ms, {one_by_one_s / at_once_s:.0f} times faster"
    )
    assert at_once_s < one_by_one_s / 3.0
