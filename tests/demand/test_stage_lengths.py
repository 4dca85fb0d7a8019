"""Longer and quicker varieties than the table's, and crops that are picked for weeks."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from pytest import approx
from support.plots import planted

from controller.demand.plants.course import Course
from controller.demand.plants.stages import crop_on, first_picking_days, packet_scale, stage_days_of
from crops.catalogue import load

CORN, TOMATO, BEAN, LETTUCE = map(load().crop, ("sweet corn", "tomato", "bush bean", "lettuce"))


def test_a_tomato_of_the_table_is_first_picked_after_75_days() -> None:
    # PRINTED (from memory): tomato of 30/40/45/30 days, first ripe fruit about 75 days after it is
    # set out.
    assert TOMATO.stage_days == (30, 40, 45, 30)
    assert first_picking_days(TOMATO) == approx(75.0, abs=0.6)
    assert first_picking_days(CORN) == sum(CORN.stage_days)


def test_a_long_corn_goes_through_each_stage_longer() -> None:
    # WORKED: 106 days over the table's sum; each stage times that, within half a day.
    scale = 106 / sum(CORN.stage_days)
    found = stage_days_of(CORN, planted("sweet corn", 0, 106, harvest_days=106))
    assert found == tuple(round(days * scale) for days in CORN.stage_days)
    assert abs(sum(found) - 106) <= 2


# PRINTED, FAO-56 table 11, maize (from memory): three rows of three lengths. One scaled to another
# by its sum misses each stage by a few days only.
@pytest.mark.parametrize("row", [(20, 35, 40, 30), (30, 50, 60, 40)])
def test_maize_of_one_row_scaled_is_maize_of_another(
    row: tuple[int, int, int, int],
) -> None:
    maize = replace(CORN, stage_days=(25, 40, 45, 30))
    planting = planted("sweet corn", 0, sum(row), harvest_days=sum(row))
    for found, printed in zip(stage_days_of(maize, planting), row, strict=True):
        assert abs(found - printed) <= 3


def test_packets_stretch_no_further_than_a_crop_can() -> None:
    assert packet_scale(CORN, 400) == 1.6
    assert packet_scale(CORN, 15) == 0.6


def test_a_crop_picked_for_weeks_keeps_its_leaves_until_the_end() -> None:
    for length in (145, 180):
        planting = planted("tomato", 0, length)
        assert stage_days_of(TOMATO, planting) == (30, 40, 45 + length - 145, 30)
    assert stage_days_of(TOMATO, planted("tomato", 0, 100)) == TOMATO.stage_days


def test_a_quick_tomato_is_full_grown_sooner_and_picked_as_long() -> None:
    planting = planted("tomato", 0, 145, harvest_days=60)
    # WORKED: 60 over 74.5 days is 0.805: 24 and 32 days; mid fills up to 145 - 30.
    assert stage_days_of(TOMATO, planting) == (24, 32, 59, 30)


def test_pickings_late_in_summer_have_full_leaves_and_their_water() -> None:
    planting = planted("bush bean", 0, 126)
    at = Course(BEAN, planting, {}).on(planting.start + timedelta(days=100))
    found = crop_on(BEAN, at, supported=False, wind_2m_m_s=2.0, rh_min_pct=45.0)
    assert at.stage == "mid"
    assert found.kcb == approx(BEAN.kcb_mid, abs=1e-9)  # once the table's end value, for weeks


def test_own_stages_perennials_and_others_stay_as_they_are() -> None:
    own = (10, 20, 30, 10)
    assert stage_days_of(TOMATO, planted("tomato", 0, 180, stage_days=own)) == own
    assert stage_days_of(LETTUCE, planted("lettuce", 0, 180)) == LETTUCE.stage_days
    berry = load().crop("strawberry")
    days = stage_days_of(berry, planted("strawberry", 0, 400, harvest_days=60))
    assert days == berry.stage_days


def test_by_the_gardeners_own_degree_days_nothing_is_filled_up() -> None:
    planting = planted("tomato", 0, 180, stage_warmth=(300.0, 400.0, 500.0, 300.0))
    assert stage_days_of(TOMATO, planting) == TOMATO.stage_days
