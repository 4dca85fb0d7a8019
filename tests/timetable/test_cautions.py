"""What `check` finds in gardens that read well and water badly."""

from __future__ import annotations

from dataclasses import replace

from support.gardens import EVERY_DAY, a_garden, a_row, a_zone

from controller.garden.model import Garden, Opening, Row, ValveKind, Watering, Window
from controller.hydraulics.lines import Lines
from controller.timetable.cautions import Finding, findings
from controller.timetable.jobs import Grounds
from controller.units import head_m_from_psi, m3_s_from_l_min
from crops.catalogue import load


def _found(garden: Garden) -> list[Finding]:
    return findings(garden, Grounds(garden, load()), Lines(garden))


def _words(garden: Garden) -> str:
    return "\n".join(f"{f.weight}: {f.words}" for f in _found(garden))


def test_a_sound_throttled_row_has_nothing_to_say() -> None:
    slow = Opening(alone_flow_m3_s=m3_s_from_l_min(2.5))
    assert _found(a_garden(a_zone(opening=slow))) == []


def test_a_row_higher_than_the_water_rises_is_a_fault() -> None:
    garden = a_garden(a_zone(rise_m=60.0))
    assert "fault: no hole of it gives water" in _words(garden)


def test_holes_that_stay_dry_are_counted() -> None:
    low = a_garden(
        a_zone(rows=(a_row(20, far_height_m=0.6),), opening=Opening(angle_deg=0.0)),
        supply=replace(a_garden().supply, static_head_m=0.4, test_head_m=0.05),
    )
    assert "of its holes stay dry even when it runs alone" in _words(low)


def test_a_diaphragm_valve_without_pressure_to_close_is_a_fault() -> None:
    zone = a_zone(rows=(a_row(20), a_row(20), a_row(20)))
    valve = replace(zone.valve, least_closing_head_m=head_m_from_psi(8))
    assert "wants 8.0 psi to close" in _words(a_garden(replace(zone, valve=valve)))
    # Throttled by hand behind it, the pressure stands before the valve.
    slow = Opening(alone_flow_m3_s=m3_s_from_l_min(2.5))
    throttled = replace(zone, valve=valve, opening=slow)
    assert "to close" not in _words(a_garden(throttled))


def test_seconds_are_too_short_to_turn_by_hand() -> None:
    assert "too short to time by hand" in _words(a_garden(a_zone(relay=None)))


def test_a_window_for_nobody_is_a_fault() -> None:
    hand_only = Window(
        opens=EVERY_DAY.opens, closes=EVERY_DAY.closes, valves=frozenset({ValveKind.HAND})
    )
    garden = a_garden(watering=Watering(windows=(hand_only,)))
    assert "fault: no window lets relay valves water" in _words(garden)


def test_a_long_row_waters_unevenly_and_is_told_so() -> None:
    assert "the driest quarter gets" in _words(a_garden(a_zone(rows=(a_row(90),))))


def test_a_daily_cap_under_a_hot_day_is_told() -> None:
    assert "over its daily cap" in _words(a_garden(a_zone(daily_cap_m3=0.002)))


def test_an_empty_zone_is_told() -> None:
    assert "nothing is planted" in _words(a_garden(a_zone(plantings=())))


def test_faults_come_before_cautions() -> None:
    garden = a_garden(a_zone("a", plantings=()), a_zone("b", relay=27, rise_m=60.0))
    assert _found(garden)[0].weight == "fault"


def test_the_drilling_of_the_trade_suits_its_crops_and_another_is_told() -> None:
    """`common practice, no source`: close crops every 6 in, big plants in groups each few feet."""
    grouped = replace(
        a_row(), drilling=replace(a_row().drilling, every_m=1.2, first_m=0.6, group=3)
    )
    slow = Opening(alone_flow_m3_s=m3_s_from_l_min(2.0))

    def words(crop: str, row: Row) -> str:
        planting = replace(a_zone().plantings[0], crop=crop)
        return _words(a_garden(a_zone(rows=(row,), plantings=(planting,), opening=slow)))

    assert "stays dry" not in words("carrot", a_row())
    assert "stays dry" not in words("tomato_staked", grouped)
    assert "stays dry" in words("carrot", grouped)
