"""How long the morning's plan takes; run with --benchmark-only, and -s for the figures.

The garden and its weather are invented.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import log, pi, sin
from time import perf_counter, process_time
from typing import Any

import numpy as np
import pytest
from support.gardens import a_garden, a_row, a_zone
from support.given import WRITTEN

from controller.daemon.garden_reload import Accepted
from controller.daemon.planning import plan
from controller.demand.soil.daily_balance import DayDemand, Stores, dual_day
from controller.garden.model import Coefficients, Garden, Planting
from controller.garden.plumbing import Opening, Supply
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.gather import PAST_DAYS
from controller.timetable.plan import Given, Grounds, Weather
from controller.timetable.records import Pulse, Timetable
from controller.units import head_m_from_psi, m3_s_from_gal_min, m3_s_from_l_min
from controller.weather.day import WeatherDay
from crops.catalogue import load

# real time: speed is what is measured, by benchmarks and slow tests

ZONES = 60
TODAY = date(2031, 7, 10)
DAY = timedelta(days=1)
OPENINGS = (
    Opening(angle_deg=0.0),
    Opening(alone_flow_m3_s=m3_s_from_l_min(4.0)),
    Opening(angle_deg=45.0),
    Opening(alone_flow_m3_s=m3_s_from_l_min(1.5)),
)
CROPS = ("leek", "tomato", "kale", "carrot", "potato", "lettuce", "strawberry", "beet", "pumpkin")


def a_large_garden(coefficients: Coefficients, count: int = ZONES) -> Garden:
    """Sixty zones, or so many, of a crop each, sown, set out and perennial, of one to three rows.

    All on relay valves: unthrottled, half turned, and set to a flow; a third of them diaphragms,
    which want pressure before them to shut, and a fourth balls that travel.
    """
    zones = [
        a_zone(
            f"z{number:02d}",
            relay=number,
            valve=replace(
                a_zone().valve,
                relay_line=number,
                least_closing_head_m=head_m_from_psi(10) if number % 3 == 0 else 0.0,
                opens_in_s=8.0 if number % 4 == 1 else 0.0,
                closes_in_s=8.0 if number % 4 == 1 else 0.0,
            ),
            opening=OPENINGS[number % len(OPENINGS)],
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
        for number in range(count)
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


def a_morning(
    coefficients: Coefficients, *, kept_for_days: int, **rules: Any
) -> Callable[[], Timetable]:
    """The daemon's own plan of a morning, its garden accepted and its rows' curves known.

    The flows of its sets are not: each morning has sets of its own.
    """
    garden = a_large_garden(coefficients)
    garden = replace(garden, watering=replace(garden.watering, **rules))
    accepted = Accepted(garden=garden, grounds=Grounds(garden, load()), lines=Lines(garden))
    weather = Weather(rows=rows_of_weather(), order=("a service",))
    given = Given(litres={}, slots={}, soaking_until_utc={})

    def replan() -> Timetable:
        accepted.lines._quick.clear()
        return plan(
            accepted,
            garden,
            weather,
            now_utc=datetime(2031, 7, 10, 0, 2, tzinfo=UTC),
            given=given,
            last_pulses=(),
        )

    if kept_for_days:  # its litres are those that a new one would take for given
        ground_m2 = {zone.name: zone.ground_m2 for zone in garden.zones}
        litres: defaultdict[tuple[str, date], float] = defaultdict(float)
        for row in replan().ledger:
            if row.day < TODAY and row.watered_mm > 0.0:
                litres[row.zone, row.day] += row.watered_mm * ground_m2[row.zone]
        given = replace(given, litres=dict(litres), record=WRITTEN)

    timetable = replan()
    assert len({dose.zone for dose in timetable.doses}) > ZONES // 3
    assert most_at_once(timetable.pulses) == garden.watering.most_open >= 2
    return replan


def most_at_once(pulses: Sequence[Pulse]) -> int:
    """The most valves open at one moment."""
    return max(sum(p.opens_utc <= q.opens_utc < p.closes_utc for p in pulses) for q in pulses)


# What a day of many doses can ask: all zones due each morning, small basins, sets of up to six.
HARD = {"refill_at": 0.02, "basin_mm": 5.0, "most_open": 6, "least_share": 0.8}


@pytest.mark.benchmark(group="sixty zones planned anew")
@pytest.mark.parametrize("kept_for_days", [0, PAST_DAYS], ids=["logbook new", "logbook full"])
def test_sixty_zones_with_92_days_gone(benchmark: Any, kept_for_days: Any) -> None:
    dual = a_morning(Coefficients.DUAL, kept_for_days=kept_for_days)
    single = a_morning(Coefficients.SINGLE, kept_for_days=kept_for_days)
    hard = a_morning(Coefficients.DUAL, kept_for_days=kept_for_days, **HARD)
    benchmark.pedantic(dual, rounds=5)
    dual_s, single_s, hard_s = best_s(dual, 3), best_s(single, 3), best_s(hard, 3)
    print(
        f"\n60 zones, {PAST_DAYS} days gone, logbook {kept_for_days} days old: "
        f"dual {1e3 * dual_s:.0f} ms, single {1e3 * single_s:.0f} ms, "
        f"{dual_s / single_s:.2f} times as long; hard days {1e3 * hard_s:.0f} ms"
    )
    assert dual_s < 3.0 * single_s
    assert hard_s < 4.0 * dual_s
    # Half a second is promised; a new logbook, its days gone computed twice, is not there yet.
    assert dual_s < (0.5 if kept_for_days else 0.75)


def plans_s(count: int, rules: Mapping[str, Any]) -> tuple[float, float]:
    """What a daemon's first plan takes, nothing known but the garden file; and the next one. [s]"""
    garden = a_large_garden(Coefficients.DUAL, count)
    garden = replace(garden, watering=replace(garden.watering, **rules))
    weather = Weather(rows=rows_of_weather(), order=("a service",))
    begun = process_time()
    accepted = Accepted(garden=garden, grounds=Grounds(garden, load()), lines=Lines(garden))
    ended = [begun]
    for _ in range(2):
        plan(
            accepted,
            garden,
            weather,
            now_utc=datetime(2031, 7, 10, 0, 2, tzinfo=UTC),
            given=Given(litres={}, slots={}, soaking_until_utc={}),
            last_pulses=(),
        )
        ended.append(process_time())
    return ended[1] - ended[0], ended[2] - ended[1]


@pytest.mark.benchmark(group="plans of up to six hundred zones")
@pytest.mark.parametrize(
    ("counts", "rules", "first", "anew"),
    # What is held lies a little over what was found, since a busy machine moves it by 0.05.
    # RECORDED: see docs/numbers.md.
    [((60, 120, 240, 600), {}, 1.15, 1.2), ((60, 120, 240), HARD, 1.6, 1.5)],
    ids=["up to three open", "hard days"],
)
def test_a_zone_costs_as_much_among_six_hundred_as_among_sixty(
    benchmark: Any, counts: Any, rules: Any, first: float, anew: float
) -> None:
    found = [plans_s(count, rules) for count in counts[:-1]]
    found.append(benchmark.pedantic(plans_s, args=(counts[-1], rules), rounds=1))
    firsts, anews = ([seconds[number] for seconds in found] for number in (0, 1))
    powers = fitted_power(counts, firsts), fitted_power(counts, anews)
    for what, all_s, power in zip(("first", "next"), (firsts, anews), powers, strict=True):
        shown = ", ".join(f"{count}: {s:.1f}" for count, s in zip(counts, all_s, strict=True))
        print(f"\n{what} plan, zones: seconds of the processor: {shown}; power {power:.2f}")
    assert powers[0] <= first
    assert powers[1] <= anew


def fitted_power(counts: Sequence[int], costs: Sequence[float]) -> float:
    """Slope of a straight line through the logarithms, by least squares."""
    xs, ys = [log(count) for count in counts], [log(cost) for cost in costs]
    x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
    over = sum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True))
    return over / sum((x - x_mean) ** 2 for x in xs)


class _Arrays:
    least = staticmethod(np.minimum)
    most = staticmethod(np.maximum)
    choose = staticmethod(np.where)


@pytest.mark.benchmark(group="three hundred seasons of 120 days")
def test_arrays_take_many_seasons_at_once(benchmark: Any) -> None:
    seasons, length = 300, 120
    rng = np.random.default_rng(7)
    eto = rng.uniform(0.0, 9.0, (length, seasons))
    rain = np.where(rng.random((length, seasons)) < 0.25, rng.exponential(7.0, eto.shape), 0.0)
    rest = (1.0, 1.25, 0.6, 1.0, 80.0, 32.0, 20.0, 9.0, 0.4, 0.8, True)

    def at_once() -> float:
        state = Stores(*(np.zeros(seasons) for _ in range(4)))
        for day in range(length):
            found = dual_day(
                state, DayDemand(eto[day], *rest), rain_mm=rain[day], stored_mm=0.0, maths=_Arrays()
            )
            state = found.state
        return float(state.wet_mm.sum())

    eto_rows, rain_rows = eto.tolist(), rain.tolist()

    def one_by_one() -> float:
        total = 0.0
        for season in range(seasons):
            state = Stores(0.0, 0.0, 0.0, 0.0)
            for day in range(length):
                found = dual_day(
                    state,
                    DayDemand(eto_rows[day][season], *rest),
                    rain_mm=rain_rows[day][season],
                    stored_mm=0.0,
                )
                state = found.state
            total += state.wet_mm
        return total

    assert benchmark(at_once) == pytest.approx(one_by_one(), abs=1e-6)
    at_once_s, one_by_one_s = best_s(at_once, 5), best_s(one_by_one, 2)
    print(
        f"\n300 seasons of 120 days: one by one {1e3 * one_by_one_s:.0f} ms, as arrays "
        f"{1e3 * at_once_s:.1f} ms, {one_by_one_s / at_once_s:.0f} times faster"
    )
    assert at_once_s < one_by_one_s / 3.0
