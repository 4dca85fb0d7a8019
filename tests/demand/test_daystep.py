"""The daily step on numbers and on arrays; FAO-56 Example 35 is in tests/published."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pytest import approx

from controller.demand.soil.daily_balance import (
    DayDemand,
    Stores,
    bucket_day,
    dual_day,
    evaporation_coefficients,
    exposed_fraction,
    exposed_fractions,
    kc_max,
    kc_max_base,
)
from controller.demand.soil.soil_water import Maths


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
    """Fields of `DayDemand` after the demand, one row a field, one column a season."""
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


def of_season(fields: list[Any], n: int, demand_mm: float) -> DayDemand:
    rest: list[Any] = [*(float(field[n]) for field in fields[:-1]), bool(fields[-1][n])]
    return DayDemand(demand_mm, *rest)


def test_three_hundred_seasons_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(4)
    eto, rain, given = weather(rng)
    fields = asked(rng)
    many = Stores(*(np.zeros(SEASONS) for _ in range(4)))
    ones = [Stores(0.0, 0.0, 0.0, 0.0)] * SEASONS
    for day in range(DAYS):
        found = dual_day(
            many,
            DayDemand(eto[day], *fields),
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
            DayDemand(eto[day], *fields),
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
    depletion_mm: float, surface_mm: float, asked: DayDemand, rain_mm: float, given_mm: float
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
        wants = DayDemand(eto[day], *fields)
        dry = dual_day(dry, wants, rain_mm=rain[day], stored_mm=given[day], maths=ARRAYS).state
        wet = dual_day(wet, wants, rain_mm=wetter[day], stored_mm=given[day], maths=ARRAYS).state
        never_short &= dry.wet_mm <= fields[5]
        assert (wet.wet_surface_mm <= dry.wet_surface_mm + 1e-9)[never_short].all()
        assert (wet.wet_mm <= dry.wet_mm + 1e-9)[never_short].all()
    assert never_short.sum() > SEASONS / 4


def test_a_bucket_of_arrays_is_the_bucket_of_each_number() -> None:
    rng = np.random.default_rng(5)
    taw = rng.uniform(5, 200, SEASONS)
    inputs: dict[str, Any] = {
        "depletion_mm": taw * rng.random(SEASONS),
        "taw_mm": taw,
        "raw_mm": taw * rng.random(SEASONS),
        "entering_mm": rng.exponential(5.0, SEASONS),
        "demand_mm": rng.uniform(0, 12, SEASONS),
    }
    many = bucket_day(**inputs, maths=ARRAYS)
    for n in range(SEASONS):
        one = bucket_day(**{name: value[n] for name, value in inputs.items()})
        assert [figure[n] for figure in many] == approx(list(one), abs=1e-9)


def test_shade_hides_a_strip_under_the_plants_but_not_ground_that_rain_has_wetted() -> None:
    # WORKED: 0.3 (1 - 2/3 * 0.6) = 0.18; after rain 1 - 0.6 = 0.4 either way.
    def exposed(wetted: float, under: bool) -> float:
        return exposed_fraction(cover=0.6, wetted=wetted, under_canopy=under)  # type: ignore[no-any-return]

    assert exposed(0.3, under=True) == approx(0.18)
    assert exposed(0.3, under=False) == approx(0.3)
    assert exposed(1.0, under=True) == exposed(1.0, under=False) == approx(0.4)


# WORKED by hand, the module's own equations (FAO-56 (1998), eq. 71, 74, 77, 80, 84, 88) on numbers:
# the line wets 0.4 of the ground, in the open, and roots reach half of the rest.
HALF = DayDemand(
    demand_mm=5.0, kcb=0.5, kc_max=1.1, cover=0.3, evaporation_factor=1.0, taw_mm=40.0,
    raw_mm=20.0, tew_mm=20.0, rew_mm=9.0, line_fraction=0.4, reach=0.5, under_canopy=False,
)  # fmt: skip


def test_a_day_of_two_stores_by_hand() -> None:
    found = dual_day(Stores(25.0, 30.0, 12.0, 16.0), HALF, rain_mm=2.0, stored_mm=2.0)
    # The strip gets 2 + 2 / 0.4 = 7 mm: 18 are missing there, 5 of its surface; 28 and 14 beside.
    # Open are 0.4 and 0.3 of the ground. Energy is 0.6: Ke of the strip min(0.6, 0.44), what is
    # left to the rest 0.16, under its Kr 6/11 x 0.6 = 0.327 and 0.3 x 1.1.
    assert found.evaporated_mm == approx(5.0 * (0.44 + 0.16))
    assert found.exposed == approx(0.7)
    # Ks is 1 and 12/20. The strip draws 0.4 / (0.4 + 0.3 x 0.6) = 0.69 of 2.5 mm.
    assert (found.stress, found.transpired_mm) == (1.0, approx(2.5))
    assert found.etc_mm == approx(5.5)
    drawn = 2.5 * 0.4 / 0.58
    assert found.state.wet_mm == approx(18.0 + (drawn + 2.2) / 0.4)
    assert found.state.rest_mm == approx(28.0 + (2.5 - drawn + 0.8) / 0.6)
    assert found.state.wet_surface_mm == approx(5.0 + 2.2 / 0.4)
    assert found.state.rest_surface_mm == approx(14.0 + 0.8 / 0.3)
    assert found.wet_kc == approx((0.4 / 0.58 * 0.5 + 0.44) / 0.4)
    assert (found.drained_mm, found.wet_drained_mm) == (0.0, 0.0)


def test_a_mulch_leaves_its_share_of_what_both_surfaces_lose() -> None:
    half = HALF._replace(evaporation_factor=0.5)
    found = dual_day(Stores(25.0, 30.0, 12.0, 16.0), half, rain_mm=2.0, stored_mm=2.0)
    assert found.evaporated_mm == approx(1.5) and found.transpired_mm == approx(2.5)
    assert found.wet_kc == approx((0.4 / 0.58 * 0.5 + 0.22) / 0.4)


def test_two_dry_stores_give_what_the_better_one_gives() -> None:
    # WORKED: Ks 4/20 and 2/20: a fifth of 2.5 mm, by 0.4 x 0.2 to 0.3 x 0.1.
    found = dual_day(Stores(36.0, 38.0, 20.0, 20.0), HALF, rain_mm=0.0, stored_mm=0.0)
    assert (found.stress, found.transpired_mm) == (approx(0.2), approx(0.5))
    assert found.evaporated_mm == 0.0
    assert found.state.wet_mm == approx(36.0 + 0.5 * 8 / 11 / 0.4)
    assert found.state.rest_mm == approx(38.0 + 0.5 * 3 / 11 / 0.6)


def test_the_rest_alone_serves_as_far_as_twice_its_share_of_the_roots() -> None:
    # WORKED: 0.3 of 0.7 of the roots, doubled, is 6/7; an unstressed crop would draw 4/7 of its
    # water from the strip.
    found = dual_day(Stores(40.0, 10.0, 20.0, 20.0), HALF, rain_mm=0.0, stored_mm=0.0)
    assert (found.stress, found.transpired_mm) == (approx(6 / 7), approx(2.5 * 6 / 7))
    assert found.state.wet_mm == 40.0
    assert found.wet_kc == approx(4 / 7 * 0.5 / 0.4)
    # With more than half of the roots beside the strip, it serves whole.
    wide = dual_day(
        Stores(40.0, 10.0, 20.0, 20.0), HALF._replace(reach=1.0), rain_mm=0.0, stored_mm=0.0
    )
    assert wide.stress == 1.0


def test_a_small_store_that_runs_out_within_the_day_is_stress() -> None:
    # WORKED: 0.05 of 40 mm are 2 of the 10 asked for; the rest has none.
    small = HALF._replace(demand_mm=10.0, kcb=1.0, kc_max=1.0, line_fraction=0.05)
    found = dual_day(Stores(0.0, 40.0, 20.0, 20.0), small, rain_mm=0.0, stored_mm=0.0)
    assert (found.stress, found.transpired_mm) == (approx(0.2), approx(2.0))
    assert found.state.wet_mm == approx(40.0)


def test_each_store_drains_what_it_cannot_hold() -> None:
    # WORKED: 20 mm of rain and 4 / 0.4 of the line on 5 mm missing: 25 mm of the strip, 10 over
    # all; 12 mm of the rest, 7.2 over all.
    still = HALF._replace(demand_mm=0.0)
    found = dual_day(Stores(5.0, 8.0, 0.0, 0.0), still, rain_mm=20.0, stored_mm=4.0)
    assert found.wet_drained_mm == approx(25.0)
    assert found.drained_mm == approx(10.0 + 7.2)
    assert found.state == Stores(0.0, 0.0, 0.0, 0.0)


def test_a_surface_gives_no_more_than_it_holds_nor_than_its_root_zone_does() -> None:
    # WORKED: 1 mm is left of the surface on each of 0.4 and 0.3 of the ground.
    idle = HALF._replace(demand_mm=50.0, kcb=0.0, rew_mm=19.0)
    found = dual_day(Stores(19.0, 19.0, 19.0, 19.0), idle, rain_mm=0.0, stored_mm=0.0)
    assert found.evaporated_mm == approx(0.7)
    # 0.5 mm of a shallow root zone, over 0.4 and 0.6 of the ground: 0.2 and 0.3.
    shallow = idle._replace(taw_mm=10.0, raw_mm=5.0)
    found = dual_day(Stores(9.5, 9.5, 9.0, 9.0), shallow, rain_mm=0.0, stored_mm=0.0)
    assert found.evaporated_mm == approx(0.2 + 0.3)
    # What the surface of 0.3 lacks is part of what the root zone of 0.6 does, and twice as deep.
    assert found.state == Stores(approx(10.0), approx(10.0), approx(9.5), approx(10.0))


# PRINTED, FAO-56 (1998), chapter 7, on Kc max: 1.1 where wettings follow each other within two
# days, 1.2 from four on; between them straight, our choice.
@pytest.mark.parametrize(
    ("before", "dry_days", "rained", "watered", "after"),
    [
        (1.2, 0.0, False, True, (1.1, 0.0)),
        (1.2, 1.0, False, True, (1.1, 0.0)),
        (1.1, 2.0, False, True, (1.15, 0.0)),
        (1.1, 3.0, False, True, (1.2, 0.0)),
        (1.1, 9.0, False, True, (1.2, 0.0)),
        (1.15, 2.0, False, False, (1.15, 3.0)),
        (1.2, 0.0, True, False, (1.1, 0.0)),
        (1.2, 2.0, True, False, (1.15, 0.0)),
        (1.1, 9.0, True, False, (1.1, 0.0)),  # rain never raises it
        (1.1, 9.0, True, True, (1.2, 0.0)),
    ],
)
def test_the_energy_of_wet_ground_goes_by_how_often_it_is_wetted(
    before: float, dry_days: float, rained: bool, watered: bool, after: tuple[float, float]
) -> None:
    found = kc_max_base(before=before, dry_days=dry_days, rained=rained, watered=watered)
    assert found == approx(after)


def test_plants_that_draw_nearly_all_leave_a_twentieth_to_the_ground() -> None:
    # PRINTED, FAO-56 (1998), eq. 72: Kc max is 1.2 in the tables' climate, and at least Kcb + 0.05.
    air = {"wind_2m_m_s": 2.0, "rh_min_pct": 45.0, "height_m": 1.0}
    assert kc_max(kcb=1.14, **air) == approx(1.2)
    assert kc_max(kcb=1.25, **air) == approx(1.3)


# WORKED, FAO-56 (1998), eq. 75 and Example 34: in the open the lesser of fw and 1 - fc.
@pytest.mark.parametrize(
    ("cover", "wetted", "under", "shares"),
    [
        (0.6, 0.3, True, (0.18, 0.22)),
        (0.6, 0.3, False, (0.3, 0.1)),
        (0.8, 0.3, False, (0.2, 0.0)),
        (0.6, 1.0, True, (0.4, 0.0)),
        (0.995, 0.3, False, (0.01, 0.0)),
    ],
)
def test_open_ground_is_shared_by_strip_and_rest(
    cover: float, wetted: float, under: bool, shares: tuple[float, float]
) -> None:
    found = exposed_fractions(cover=cover, wetted=wetted, under_canopy=under)
    assert found == approx(shares)


# WORKED, eq. 71 with Kc max 1.2, Kcb 0.15 (energy 1.05), 0.3 and 0.5 of the ground open: the strip
# takes at most 0.3 x 1.2 = 0.36, the rest 0.6, and together no more than the wetter one's Kr lets.
@pytest.mark.parametrize(
    ("wet_kr", "rest_kr", "shares"),
    [
        (1.0, 1.0, (0.36, 0.6)),
        (1.0, 0.5, (0.36, 0.525)),
        (0.5, 0.1, (0.36, 0.105)),
        (0.2, 0.5, (0.21, 0.315)),
        (0.2, 0.0, (0.21, 0.0)),
        (0.0, 1.0, (0.0, 0.6)),
    ],
)
def test_the_strip_takes_of_the_energy_first(
    wet_kr: float, rest_kr: float, shares: tuple[float, float]
) -> None:
    found = evaporation_coefficients(
        wet_kr=wet_kr, rest_kr=rest_kr, kcb=0.15, kc_max=1.2, wet_open=0.3, rest_open=0.5
    )
    assert found == approx(shares)
