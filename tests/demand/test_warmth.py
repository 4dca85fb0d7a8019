"""Degree days, and how soon seed comes up."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.plots import SPRING, day, planted

from controller.demand.emergence import LONGEST_SEEDBED_DAYS, emergence_of
from controller.demand.warmth import degree_days, emergence_rate, soil_temperature_c
from controller.errors import OutOfRange
from crops.catalogue import load

PEA, BEAN, LETTUCE = (load().crop(name) for name in ("pea", "bean", "lettuce"))
temperatures = st.floats(-40, 55)


# WORKED by the rule of Oregon State University Extension EM 9305, averaging with horizontal
# cut-offs at 10 and 30 °C: (11 + 25)/2 - 10; (18 + 30)/2 - 10; (10 + 12)/2 - 10; (10 + 10)/2 - 10.
@pytest.mark.parametrize(
    ("tmin", "tmax", "worked"), [(11, 25, 8.0), (18, 32, 14.0), (4, 12, 1.0), (2, 8, 0.0)]
)
def test_both_temperatures_are_clipped_before_they_are_averaged(tmin, tmax, worked):
    assert degree_days(tmin_c=tmin, tmax_c=tmax, base_c=10.0) == approx(worked, abs=1e-12)


def test_sweet_corns_cut_offs_in_fahrenheit_give_the_same_day():
    # PRINTED, EM 9305: sweet corn, base 50 °F, upper 86 °F. WORKED: 60 and 90 °F make
    # (60 + 86)/2 - 50 = 23 F days, which are 23 * 5/9 C days.
    tmin, tmax = ((f - 32) * 5 / 9 for f in (60, 90))
    corn = load().crop("sweet corn")
    found = degree_days(tmin_c=tmin, tmax_c=tmax, base_c=corn.gdd_base_c, upper_c=corn.gdd_upper_c)
    assert found == approx(23 * 5 / 9, abs=1e-9)


@given(tmin=temperatures, tmax=temperatures, base=st.floats(-5, 20), more=st.floats(0, 5))
def test_warmth_is_never_less_than_nothing_nor_more_than_the_cut_offs_leave(tmin, tmax, base, more):
    found = degree_days(tmin_c=tmin, tmax_c=tmax, base_c=base)
    assert 0.0 <= found <= 30.0 - base
    assert degree_days(tmin_c=tmin, tmax_c=tmax + more, base_c=base) >= found


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"tmin_c": float("nan"), "tmax_c": 20.0, "base_c": 5.0}, "tmin_c"),
        ({"tmin_c": 10.0, "tmax_c": 200.0, "base_c": 5.0}, "tmax_c"),
        ({"tmin_c": 10.0, "tmax_c": 20.0, "base_c": 30.0}, "upper_c"),
        ({"tmin_c": 10.0, "tmax_c": 20.0, "base_c": 5.0, "upper_c": 4.0}, "upper_c"),
    ],
)
def test_impossible_temperatures_are_refused(values, named):
    with pytest.raises(OutOfRange, match=named):
        degree_days(**values)


def test_soil_follows_the_last_seven_days_of_air():
    # WORKED: days of 1 to 10 °C; the last seven, 4 to 10, have the mean 7.
    assert soil_temperature_c(range(1, 11)) == approx(7.0, abs=1e-12)
    assert soil_temperature_c([6.0, 9.0]) == approx(7.5, abs=1e-12)
    assert soil_temperature_c([]) is None


# PRINTED, vegetable germination table (attributed to J. F. Harrington, from memory): pea 14, 9, 8,
# 6 days at 10, 15, 20, 25 °C; bean none at 10, then 16, 11, 8.
@pytest.mark.parametrize(
    ("crop", "soil", "days"),
    [(PEA, 10, 14), (PEA, 15, 9), (PEA, 20, 8), (PEA, 25, 6), (BEAN, 15, 16), (BEAN, 25, 8)],
)
def test_at_the_tables_temperatures_the_days_are_the_tables(crop, soil, days):
    assert 1.0 / emergence_rate(soil, crop.emergence_days) == approx(days, abs=1e-9)


def test_between_them_rates_lie_on_a_line_and_outside_they_hold_or_stop():
    # WORKED: halfway from 10 to 15 °C a pea goes (1/14 + 1/9)/2 of the way a day.
    assert emergence_rate(12.5, PEA.emergence_days) == approx((1 / 14 + 1 / 9) / 2, abs=1e-12)
    assert emergence_rate(35, PEA.emergence_days) == approx(1 / 6, abs=1e-12)
    assert emergence_rate(9.9, PEA.emergence_days) == 0.0
    assert emergence_rate(14.9, BEAN.emergence_days) == 0.0


def steady(mean_c, *, first=-10, length=120):
    return {
        (today := day(n, tmin_c=mean_c - 5, tmax_c=mean_c + 5)).day: today
        for n in range(first, first + length)
    }


# WORKED: 14 days at 10 °C; at 12.5 °C 1 / 0.09127 = 10.96, so on the eleventh day after sowing.
@pytest.mark.parametrize(("mean", "after"), [(10.0, 14), (12.5, 11), (20.0, 8), (30.0, 6)])
def test_seed_comes_up_after_the_tables_days_of_steady_warmth(mean, after):
    sown = planted("pea", 0, 90, transplanted=False)
    assert emergence_of(PEA, sown, steady(mean), None) == (SPRING + timedelta(days=after), False)


def test_cold_soil_before_sowing_slows_the_first_days():
    # WORKED: six days of 10 °C, then 20 °C from sowing. The soil has (60 + 20)/7 = 11.43 °C, then
    # 10/7 more each day; by the line from 1/14 at 10 to 1/9 at 15 and to 1/8 at 20 °C the days make
    # 0.083, 0.094, 0.105, 0.113, 0.117, 0.121, 0.125, 0.125: 0.883, and the ninth 1.008.
    cold = steady(10.0, length=10) | steady(20.0, first=0)
    sown = planted("pea", 0, 90, transplanted=False)
    assert emergence_of(PEA, sown, cold, None)[0] == SPRING + timedelta(days=9)


def test_where_nothing_is_known_two_weeks_are_taken():
    sown = planted("basil", 0, 90, transplanted=False)
    for crop in (load().crop("basil"), LETTUCE):  # no figures; figures but no temperatures
        assert emergence_of(crop, sown, {}, None) == (SPRING + timedelta(days=14), False)


def test_the_gardeners_own_days_go_before_the_table():
    sown = planted("pea", 0, 90, transplanted=False, emerges_days=50)
    assert emergence_of(PEA, sown, steady(20.0), None) == (SPRING + timedelta(days=50), False)


def test_normal_temperatures_stand_in_for_days_without_weather():
    sown = planted("pea", 0, 90, transplanted=False)
    assert emergence_of(PEA, sown, {}, lambda _: (15.0, 25.0))[0] == SPRING + timedelta(days=8)


def test_soil_too_cold_for_the_seed_is_given_up_in_the_end():
    sown = planted("bean", 0, 90, transplanted=False)
    end = SPRING + timedelta(days=LONGEST_SEEDBED_DAYS)
    assert emergence_of(BEAN, sown, steady(12.0), None) == (end, True)
