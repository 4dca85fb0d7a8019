"""The daily step on numbers and on arrays; FAO-56 Example 35 is in tests/published."""

from __future__ import annotations

from typing import Any

import numpy as np
from pytest import approx

from controller.demand.daystep import Asked, Stores, bucket_day, dual_day
from controller.demand.dual import exposed_fraction
from controller.demand.maths import Maths


class _Arrays:
    """numpy's own three."""

    least = staticmethod(np.minimum)
    most = staticmethod(np.maximum)
    choose = staticmethod(np.where)


ARRAYS: Maths = _Arrays()
SEASONS, DAYS = 300, 120


def weather(rng: np.random.Generator) -> tuple[Any, Any, Any]:
    eto = rng.uniform(0.0, 9.0, (DAYS, SEASONS))
    rain = np.where(rng.random((DAYS, SEASONS)) < 0.25, rng.exponential(7.0, (DAYS, SEASONS)), 0.0)
    given = np.where(rng.random((DAYS, SEASONS)) < 0.3, rng.uniform(0, 15, (DAYS, SEASONS)), 0.0)
    return eto, rain, given


def asked(rng: np.random.Generator) -> list[Any]:
    """Fields of `Asked` after the demand, one row a field, one column a season."""
    rew = rng.uniform(2, 12, SEASONS)
    taw = rng.uniform(15, 180, SEASONS)
    return [
        rng.uniform(0.1, 1.2, SEASONS),
        rng.uniform(1.2, 1.4, SEASONS),
        rng.uniform(0.0, 0.95, SEASONS),
        rng.uniform(0.2, 1.0, SEASONS),
        taw,
        taw * rng.uniform(0.1, 0.8, SEASONS),
        rew + rng.uniform(1, 20, SEASONS),
        rew,
        np.where(rng.random(SEASONS) < 0.2, 1.0, rng.uniform(0.05, 1.0, SEASONS)),
        np.where(rng.random(SEASONS) < 0.2, 0.0, rng.uniform(0.0, 1.0, SEASONS)),
        rng.random(SEASONS) < 0.5,
    ]


def of_season(fields: list[Any], n: int, demand_mm: float) -> Asked:
    return Asked(demand_mm, *(float(field[n]) for field in fields[:-1]), bool(fields[-1][n]))


def test_three_hundred_seasons_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(4)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    many = Stores(*(np.zeros(SEASONS) for _ in range(4)))
    ones = [Stores(0.0, 0.0, 0.0, 0.0)] * SEASONS
    for day in range(DAYS):
        found = dual_day(
            many,
            Asked(eto[day], *fields),
            rain_mm=rain[day],
            stored_mm=given[day],
            maths=ARRAYS,
        )
        many = found.state
        for n in range(SEASONS):
            single = dual_day(
                ones[n],
                of_season(fields, n, float(eto[day, n])),
                rain_mm=float(rain[day, n]),
                stored_mm=float(given[day, n]),
            )
            ones[n] = single.state
            if n % 37 == 0:
                assert [figure[n] for figure in found[1:]] == approx(list(single[1:]), abs=1e-9)
    for n in range(SEASONS):
        assert [figure[n] for figure in many] == approx(list(ones[n]), abs=1e-9)


def test_two_stores_make_and_lose_no_water() -> None:
    rng = np.random.default_rng(6)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    wet = fields[8]
    state = Stores(*(np.zeros(SEASONS) for _ in range(4)))
    for day in range(DAYS):
        found = dual_day(
            state,
            Asked(eto[day], *fields),
            rain_mm=rain[day],
            stored_mm=given[day],
            maths=ARRAYS,
        )
        before, after = (wet * s.wet_mm + (1.0 - wet) * s.rest_mm for s in (state, found.state))
        lost = found.transpired_mm + found.evaporated_mm + found.drained_mm
        assert after == approx(before - rain[day] - given[day] + lost, abs=1e-9)
        assert min(found.transpired_mm.min(), found.evaporated_mm.min()) >= -1e-12
        state = found.state
        for depth, most in zip(state, (fields[4], fields[4], fields[6], fields[6]), strict=True):
            assert (depth >= -1e-12).all() and (depth <= most + 1e-12).all()


def one_store(
    depletion_mm: float, surface_mm: float, asked: Asked, rain_mm: float, given_mm: float
) -> tuple[float, float, float]:
    """FAO-56 (1998), eq. 71, 74, 77, 80, 84-86 and 88, all ground wetted by the line."""
    entering = rain_mm + given_mm
    few = max(1.0 - asked.cover, 0.01)
    surface = max(min(surface_mm, asked.tew_mm) - entering, 0.0)
    kr = min(max((asked.tew_mm - surface) / (asked.tew_mm - asked.rew_mm), 0.0), 1.0)
    ke = min(kr * (asked.kc_max - asked.kcb), few * asked.kc_max) * asked.evaporation_factor
    missing = depletion_mm - entering
    room = asked.taw_mm - missing
    lost = min(ke * asked.demand_mm, few * (asked.tew_mm - surface), max(room, 0.0))
    ks = min(max((asked.taw_mm - missing) / (asked.taw_mm - asked.raw_mm), 0.0), 1.0)
    drawn = min(ks * asked.kcb * asked.demand_mm, room - lost)
    after = missing + lost + drawn
    after_mm = min(max(after, 0.0), asked.taw_mm)
    # Ours, not the paper's: a full root zone has a full surface.
    return after_mm, min(surface + lost / few, after_mm / few), max(-after, 0.0)


def test_where_the_line_wets_all_the_ground_there_is_one_store() -> None:
    rng = np.random.default_rng(8)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    fields[8] = np.ones(SEASONS)
    for n in range(0, SEASONS, 7):
        state, depletion, surface = Stores(0.0, 0.0, 0.0, 0.0), 0.0, 0.0
        for day in range(DAYS):
            wants = of_season(fields, n, float(eto[day, n]))
            water = (float(rain[day, n]), float(given[day, n]))
            found = dual_day(state, wants, rain_mm=water[0], stored_mm=water[1])
            depletion, surface, drained = one_store(depletion, surface, wants, *water)
            state = found.state
            assert state.wet_mm == state.rest_mm == approx(depletion, abs=1e-9)
            assert state.wet_surface_mm == approx(surface, abs=1e-9)
            assert found.drained_mm == approx(drained, abs=1e-9)


def test_more_rain_leaves_the_wetted_ground_no_drier() -> None:
    """Nor its surface; whatever the rest does, as long as the crop has not gone short: a crop that
    has draws more after rain, and its bed was due long before."""
    rng = np.random.default_rng(9)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    fields[8] = np.maximum(fields[8], 0.1)
    fields[4] = 400.0 + fields[4]
    fields[5] = fields[4] * rng.uniform(0.1, 0.7, SEASONS)
    wetter = rain + np.where(rng.random(rain.shape) < 0.1, rng.exponential(4.0, rain.shape), 0.0)
    dry = wet = Stores(*(np.zeros(SEASONS) for _ in range(4)))
    never_short = np.full(SEASONS, True)
    for day in range(DAYS):
        wants = Asked(eto[day], *fields)
        dry = dual_day(dry, wants, rain_mm=rain[day], stored_mm=given[day], maths=ARRAYS).state
        wet = dual_day(wet, wants, rain_mm=wetter[day], stored_mm=given[day], maths=ARRAYS).state
        never_short &= dry.wet_mm <= fields[5]
        assert (wet.wet_surface_mm <= dry.wet_surface_mm + 1e-9)[never_short].all()
        assert (wet.wet_mm <= dry.wet_mm + 1e-9)[never_short].all()
    assert never_short.sum() > SEASONS / 4


def test_a_bucket_of_arrays_is_the_bucket_of_each_number() -> None:
    rng = np.random.default_rng(5)
    taw = rng.uniform(5, 200, SEASONS)
    inputs = {
        "depletion_mm": taw * rng.random(SEASONS),
        "taw_mm": taw,
        "raw_mm": taw * rng.random(SEASONS),
        "entering_mm": rng.exponential(5.0, SEASONS),
        "demand_mm": rng.uniform(0, 12, SEASONS),
    }
    many = bucket_day(**inputs, maths=ARRAYS)
    for n in range(SEASONS):
        one = bucket_day(**{name: float(value[n]) for name, value in inputs.items()})
        assert [figure[n] for figure in many] == approx(list(one), abs=1e-9)


def test_shade_hides_a_strip_under_the_plants_but_not_ground_that_rain_has_wetted() -> None:
    # WORKED: 0.3 (1 - 2/3 * 0.6) = 0.18; after rain 1 - 0.6 = 0.4 either way.
    def exposed(wetted: float, under: bool) -> float:
        return exposed_fraction(cover=0.6, wetted=wetted, under_canopy=under)  # type: ignore[no-any-return]

    assert exposed(0.3, under=True) == approx(0.18)
    assert exposed(0.3, under=False) == approx(0.3)
    assert exposed(1.0, under=True) == exposed(1.0, under=False) == approx(0.4)
