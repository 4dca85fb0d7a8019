"""What one day of weather may say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.weather import FIRST

from controller.demand.climate.reference_et import reference_et
from controller.weather.day import LIMITS, VALUES, WeatherDay, check_day

any_figure = st.none() | st.floats(allow_nan=True, allow_infinity=True)


def test_every_figure_has_its_limits() -> None:
    assert set(LIMITS) == set(VALUES)


@pytest.mark.parametrize("name", VALUES)
def test_a_figure_at_its_limit_stays_and_one_beyond_goes(name: str) -> None:
    limit = LIMITS[name]
    for inside in (limit.low, limit.high):
        day = WeatherDay(day=FIRST).with_(**{name: inside})
        assert check_day(day) == (day, ())
    for outside in (math.nextafter(limit.low, -1e9), math.nextafter(limit.high, 1e9), math.nan):
        checked, findings = check_day(WeatherDay(day=FIRST).with_(**{name: outside}))
        assert checked.value(name) is None
        assert findings[0].fields == (name,)
        assert findings[0].dropped


def test_the_most_sun_of_any_day_is_that_of_the_pole_at_midsummer() -> None:
    # FAO-56 (1998) eq. 21, 23, 24 at latitude -90 on 21 December (day 355). WORKED.
    nearness = 1 + 0.033 * math.cos(2 * math.pi * 355 / 365)
    declination = 0.409 * math.sin(2 * math.pi * 355 / 365 - 1.39)
    above_the_air = 24 * 60 / math.pi * 0.0820 * nearness * math.pi * -math.sin(declination)
    assert LIMITS["solar_mj_m2"].high == pytest.approx(above_the_air, abs=0.1)


def test_a_dew_point_above_the_warmest_hour_is_left_out() -> None:
    checked, findings = check_day(WeatherDay(day=FIRST, tmax_c=18.0, dewpoint_c=19.5))
    assert checked.known() == {"tmax_c": 18.0}
    assert "dew point 19.5 °C" in findings[0].found
    assert check_day(WeatherDay(day=FIRST, tmax_c=18.0, dewpoint_c=18.9))[1] == ()


def test_more_vapour_than_the_air_can_hold_is_left_out() -> None:
    # FAO-56 (1998), annex 2, table 2.3: e0(21 degC) = 2.487 kPa. PRINTED (from memory).
    kept, _ = check_day(WeatherDay(day=FIRST, tmax_c=20.0, vapour_pressure_kpa=2.48))
    gone, findings = check_day(WeatherDay(day=FIRST, tmax_c=20.0, vapour_pressure_kpa=2.50))
    assert kept.vapour_pressure_kpa == 2.48
    assert gone.vapour_pressure_kpa is None
    assert "at most 2.49 kPa" in findings[0].allowed


@pytest.mark.parametrize(
    ("low", "mean", "high", "right"),
    [(30, 50, 80, True), (50, 50, 50, True), (30, None, 80, True), (31, 30.4, 80, True),
     (80, None, 30, False), (50.5, None, 50, False), (30, 90, 80, False), (60, 50, 80, False),
     (None, 90, 80, False)],
)  # fmt: skip
def test_humidities_stand_in_rising_order(
    low: float | None, mean: float | None, high: float | None, right: bool
) -> None:
    day = WeatherDay(day=FIRST, rh_min_pct=low, rh_mean_pct=mean, rh_max_pct=high)
    checked, findings = check_day(day)
    assert (checked == day) is right
    assert bool(findings) is not right
    assert right or not checked.known()


def test_sun_is_odd_above_a_clear_day_and_impossible_above_the_air() -> None:
    def look(solar_mj_m2: float) -> tuple[float | None, list[bool]]:
        day = WeatherDay(day=FIRST, solar_mj_m2=solar_mj_m2)
        checked, findings = check_day(day, clear_sky_mj_m2=lambda _: 30.0)
        return checked.solar_mj_m2, [f.dropped for f in findings]

    assert look(31.5) == (31.5, [])
    assert look(31.6) == (31.6, [False])
    assert look(40.0) == (40.0, [False])
    assert look(40.1) == (None, [True])


@given(values=st.fixed_dictionaries(dict.fromkeys(VALUES, any_figure)))
def test_checking_a_checked_day_finds_nothing_more(values: dict[str, float | None]) -> None:
    checked, findings = check_day(WeatherDay(day=FIRST).with_(**values))
    assert check_day(checked) == (checked, ())
    gone = {name for finding in findings for name in finding.fields}
    assert all(checked.value(n) == values[n] for n in VALUES if n not in gone)


@given(
    values=st.fixed_dictionaries(
        {
            name: st.none() | st.floats(limit.low - 1.0, limit.high + 1.0)
            for name, limit in LIMITS.items()
        }
    )
)
def test_whatever_passes_the_checks_is_in_range_for_reference_et(
    values: dict[str, float | None],
) -> None:
    day, _ = check_day(WeatherDay(day=FIRST).with_(**values))
    if day.tmin_c is None or day.tmax_c is None:
        return
    known = day.known()
    for not_asked in ("rain_mm", "rain_chance_pct"):
        known.pop(not_asked, None)
    found = reference_et(day=FIRST, latitude_deg=47.0, elevation_m=400.0, **known)  # type: ignore[arg-type]
    assert math.isfinite(found.eto_mm_day)
