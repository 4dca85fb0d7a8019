"""What `check` and the plan say of flows that are not to be relied on."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from support.findings import where_of, words_of
from support.gardens import a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.said import reasons_of, said

from controller.check.cautions import findings
from controller.garden.model import Garden
from controller.garden.plumbing import Drilling, Face, Opening, Supply, SupplyKind
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import Corrections
from controller.timetable.need.jobs import Grounds
from controller.timetable.plan import Installation, Span, plan_garden
from controller.timetable.records import Timetable
from controller.units import m3_s_from_gal_min, m3_s_from_l_min
from crops.catalogue import load

CATALOGUE = load()
UP = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762, face=Face.UP)
BARREL = Supply(
    static_head_m=1.2,
    test_head_m=0.3,
    test_flow_m3_s=m3_s_from_gal_min(5),
    kind=SupplyKind.BARREL,
    falls_to_m=0.3,
    holds_m3=0.19,
)


def words(garden: Garden, corrections: Corrections | None = None) -> str:
    lines = Lines(garden) if corrections is None else Lines(garden, corrections=corrections)
    found = findings(garden, Grounds(garden, CATALOGUE), lines)
    return "\n".join(f"{f.weight} {where_of(f)}: {words_of(f)}" for f in found)


def planned(garden: Garden, corrections: Corrections | None = None) -> Timetable:
    first = date(2031, 7, 1)
    lines = Lines(garden) if corrections is None else Lines(garden, corrections=corrections)
    days = even_days(first - timedelta(days=10), first + timedelta(days=4))
    grounds = Grounds(garden, CATALOGUE)
    return plan_garden(
        Installation(garden, grounds, lines), days, Span(first=first, count=4), given=NOTHING_GIVEN
    )


def test_an_unknown_opening_is_said_by_check_with_its_band() -> None:
    said = words(a_garden(a_zone(opening=Opening(unknown=True))))
    # Computed with EPANET 2.2 for this row: 1.63 L/min at K 1e5, 5.1 at 1e4, 14.2 at 1e3.
    assert "a middle flow, 5.08 L/min alone" in said
    assert "(from 1.63 L/min to 14.2" in said


def test_an_unknown_opening_is_said_by_the_plan_and_by_each_dose() -> None:
    timetable = planned(a_garden(a_zone(opening=Opening(unknown=True)), a_zone("b", 27)))
    doubts = [remark for remark in said(timetable.remarks) if "how far its valve is open" in remark]
    assert len(doubts) == 1
    assert doubts[0].startswith('zone "a": ')
    doses = {dose.zone: reasons_of(dose.why) for dose in timetable.doses}
    assert doses["a"].endswith("; its opening is unknown, its flow a guess")
    assert "unknown" not in doses["b"]


def test_a_measured_opening_is_no_guess_any_more() -> None:
    garden = a_garden(a_zone(opening=Opening(unknown=True)))
    measured = Corrections(valve_k={"a": 3e4})
    assert "unknown" not in words(garden, measured)
    assert not any("unknown" in remark for remark in said(planned(garden, measured).remarks))


def test_a_barrel_says_how_its_flow_falls() -> None:
    said = words(a_garden(a_zone(), supply=BARREL))
    assert "while the barrel falls from 1.2 m to 30 cm it gives" in said
    assert "at the end. Its times are computed at the" in said


def test_a_throttled_row_on_a_barrel_follows_its_fall_too() -> None:
    slow = a_zone(opening=Opening(alone_flow_m3_s=m3_s_from_l_min(2.0)))
    said = words(a_garden(slow, supply=BARREL))
    # WORKED: as the root of the level: 2.0 * sqrt(1.2/0.75) = 2.53, 2.0 * sqrt(0.3/0.75) = 1.26,
    # and the rows' own need of head makes it a little steeper.
    assert "it gives 2.5" in said
    assert "and 1.2" in said


def test_holes_that_run_dry_at_the_end_of_a_barrel_are_told() -> None:
    garden = a_garden(a_zone(rise_m=0.35, rows=(a_row(8),)), supply=BARREL)
    assert "at the end, where 16 of its holes are dry" in words(garden)


def test_a_barrel_too_small_for_a_hot_day_is_told() -> None:
    big = a_zone(rows=(a_row(40), a_row(40)))
    said = words(a_garden(big, supply=replace(BARREL, holds_m3=0.05)))
    assert "caution supply: a hot day asks for" in said
    assert "the barrel gives 50 L" in said
    assert "the barrel gives" not in words(a_garden(a_zone(), supply=BARREL))


def test_mains_say_nothing_of_a_fall() -> None:
    assert "falls from" not in words(a_garden())


def test_a_stream_above_two_psi_is_told() -> None:
    row = a_row(8, drilling=UP)
    tall = words(a_garden(a_zone(rows=(row,), opening=Opening(stream_m=1.5))))
    assert "the air takes an eighth of the height and more" in tall
    low = words(a_garden(a_zone(rows=(row,), opening=Opening(stream_m=0.2))))
    assert "the air takes" not in low


def test_a_row_that_never_fills_is_told_with_the_way_out() -> None:
    zone = a_zone(
        rows=(a_row(20, far_height_m=0.05),),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(1.6)),
    )
    said = words(a_garden(zone))
    assert "never fills beyond" in said
    assert "open the valve until it gives about" in said
