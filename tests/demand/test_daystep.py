"""The daily step on numbers and on arrays; FAO-56 Example 35 is in tests/published."""

from __future__ import annotations

from typing import Any

import numpy as np
from pytest import approx

from controller.demand.daystep import Asked, Wet, bucket_day, dual_day
from controller.demand.dual import exposed_fraction, wetted_fraction
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
    return [
        rng.uniform(0.1, 1.2, SEASONS),
        rng.uniform(1.2, 1.4, SEASONS),
        rng.uniform(0.0, 0.95, SEASONS),
        rng.uniform(0.2, 1.0, SEASONS),
        rng.uniform(15, 180, SEASONS),
        rew + rng.uniform(1, 20, SEASONS),
        rew,
        rng.uniform(0.2, 0.7, SEASONS),
        rng.uniform(0.05, 1.0, SEASONS),
        rng.random(SEASONS) < 0.5,
    ]


def test_three_hundred_seasons_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(4)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    zero = np.zeros(SEASONS)
    many = Wet(zero, zero, fields[8])
    ones = [Wet(0.0, 0.0, float(fields[8][n])) for n in range(SEASONS)]
    for day in range(DAYS):
        found = dual_day(
            many,
            Asked(eto[day], *fields),
            rain_mm=rain[day],
            watered_mm=given[day],
            maths=ARRAYS,
        )
        many = found.state
        for n in range(SEASONS):
            single = dual_day(
                ones[n],
                Asked(float(eto[day, n]), *(float(f[n]) for f in fields[:-1]), bool(fields[-1][n])),
                rain_mm=float(rain[day, n]),
                watered_mm=float(given[day, n]),
            )
            ones[n] = single.state
            if n % 37 == 0:
                assert found.evaporated_mm[n] == approx(single.evaporated_mm, abs=1e-9)
                assert found.stress[n] == approx(single.stress, abs=1e-9)
    for n in range(SEASONS):
        assert many.depletion_mm[n] == approx(ones[n].depletion_mm, abs=1e-9)
        assert many.surface_mm[n] == approx(ones[n].surface_mm, abs=1e-9)
        assert many.wetted[n] == ones[n].wetted


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


def test_rain_wets_all_and_a_dry_day_changes_nothing() -> None:
    # The errata's four cases: watering, rain with or without it, neither.
    def wetted(rain_mm: float, watered_mm: float) -> float:
        return wetted_fraction(
            before=0.55, rain_mm=rain_mm, watered_mm=watered_mm, line_fraction=0.3
        )  # type: ignore[no-any-return]

    assert (wetted(0, 5), wetted(2.9, 5), wetted(8, 5), wetted(8, 0)) == (0.3, 0.3, 1.0, 1.0)
    assert (wetted(0, 0), wetted(2.0, 0)) == (0.55, 0.55)


def test_shade_hides_a_strip_under_the_plants_but_not_ground_that_rain_has_wetted() -> None:
    # WORKED: 0.3 (1 - 2/3 * 0.6) = 0.18; after rain 1 - 0.6 = 0.4 either way.
    def exposed(wetted: float, under: bool) -> float:
        return exposed_fraction(cover=0.6, wetted=wetted, under_canopy=under)  # type: ignore[no-any-return]

    assert exposed(0.3, under=True) == approx(0.18)
    assert exposed(0.3, under=False) == approx(0.3)
    assert exposed(1.0, under=True) == exposed(1.0, under=False) == approx(0.4)
