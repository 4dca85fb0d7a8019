"""What the flow watch can find, listed beforehand; and that it then finds it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from pytest import approx
from support.gardens import a_row, a_zone
from support.metered import a_metered_garden, plugged, true_flow

from controller.cli import main
from controller.daemon.flow.findable import (
    Findable,
    findable,
    findable_lines,
    findable_remarks,
    leak_from_l_s,
)
from controller.garden.model import Garden, Meter
from controller.garden.plumbing import Opening
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED
from controller.units import m3_s_from_l_min

METER = '\n[meter]\npin = 22\npulses_per = "450 per L"\n'
EXAMPLE = Path(__file__).parents[2] / "config" / "example-garden.toml"


def _found(garden: Garden) -> dict[str, Findable]:
    made = findable(garden, Lines(garden), NOTHING_MEASURED, Bands(garden, None))
    return {one.zone: one for one in made}


def test_a_fifth_clogged_is_the_flow_with_every_fifth_hole_plugged() -> None:
    """Zone a has 16 holes; the third and every fifth from there on are 3, 8 and 13. WORKED."""
    garden = a_metered_garden()
    alone = frozenset("a")
    clogged = true_flow(Lines(plugged(garden, "a", (3, 8, 13))))(alone)
    assert _found(garden)["a"].clogged == approx(
        clogged / true_flow(Lines(garden))(alone) - 1.0, abs=1e-4
    )


def test_a_throttled_valve_hides_what_lies_behind_it() -> None:
    """RECORDED: open, a lost cap adds a half; at a fifteenth of the flow next to nothing."""
    throttled = Opening(alone_flow_m3_s=m3_s_from_l_min(2.0))
    garden = a_metered_garden(a_zone("a", 17), a_zone("b", 22, opening=throttled))
    found = _found(garden)
    a, b = found["a"], found["b"]
    assert a.lost_cap > 0.2
    assert a.clogged < -0.05
    assert 0.0 <= b.lost_cap < 0.02
    assert -0.02 < b.clogged <= 0.0
    assert (a.lost_cap_within_days, b.lost_cap_within_days) == (0, None)
    assert b.decided_by == "valve"
    said = " ".join(findable_remarks(tuple(found.values()), garden))
    assert '"b": the valve decides the flow, and a lost end cap hardly changes it' in said


def test_the_row_where_a_lost_cap_changes_least_is_the_one_told() -> None:
    near, far = a_row(6.0), a_row(30.0)
    one, other = (
        _found(a_metered_garden(a_zone("a", 17, rows=rows)))["a"]
        for rows in ((near, far), (far, near))
    )
    assert one.lost_cap == approx(other.lost_cap, rel=1e-3)
    assert 0.0 < one.lost_cap < _found(a_metered_garden(a_zone("a", 17)))["a"].lost_cap


def test_one_zone_alone_needs_a_larger_change_than_two() -> None:
    """-9 % here: shown beside another zone, not without one."""
    alone, beside = a_metered_garden(a_zone("a", 17)), a_metered_garden()
    assert _found(alone)["a"].clogged == approx(_found(beside)["a"].clogged, abs=1e-4)
    assert _found(alone)["a"].clogged_within_days is None
    assert _found(beside)["a"].clogged_within_days == 7


def test_what_flows_too_slowly_for_the_meter_is_said_to_be_out_of_its_sight() -> None:
    slow = a_metered_garden(least_flow_l_s=1.0)
    found = _found(slow)
    assert not found["a"].counted
    assert found["a"].clogged_within_days is None
    assert "the meter may stand still at so small a flow" in " ".join(
        findable_remarks(tuple(found.values()), slow)
    )


@pytest.mark.parametrize(
    ("least_flow_l_s", "litres_per_pulse", "leak_l_s"),
    # WORKED: ten pulses of 0.45 L within an hour are 4.5 / 3600 L/s.
    [(1.0 / 60.0, 0.0025, 1.0 / 60.0), (0.0, 0.45, 0.00125)],
)
def test_a_leak_is_promised_from_the_meters_least_flow_on(
    least_flow_l_s: float, litres_per_pulse: float, leak_l_s: float
) -> None:
    meter = Meter(line=5, litres_per_pulse=litres_per_pulse, least_flow_l_s=least_flow_l_s)
    assert leak_from_l_s(meter) == approx(leak_l_s)


def test_hand_valves_and_gardens_without_a_meter_have_no_table() -> None:
    assert _found(replace(a_metered_garden(), meter=None)) == {}
    assert list(_found(a_metered_garden(a_zone("a", 17), a_zone("h", None)))) == ["a"]
    assert findable_lines(()) == []


def test_check_prints_it_in_eighty_columns_and_as_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "garden.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8") + METER, encoding="utf-8")
    (tmp_path / "example-weather.csv").write_text(
        EXAMPLE.with_name("example-weather.csv").read_text(encoding="utf-8"), encoding="utf-8"
    )
    assert main(["check", str(file), "--all"]) == 0
    text = capsys.readouterr().out
    part = text[text.index("What the flow meter can find") :]
    heading, *rows = part.splitlines()[1:9]
    assert heading.split() == [
        "zone",
        "lost",
        "end",
        "cap",
        "a",
        "fifth",
        "clogged",
        "found",
        "after",
    ]
    assert len(rows) == 7
    assert all(len(line) <= 80 for line in text.splitlines())
    assert main(["check", str(file), "--json"]) == 0
    meter = json.loads(capsys.readouterr().out)["meter"]
    assert [zone["zone"] for zone in meter["zones"]][:1] == ["leeks"]
    assert meter["leak_found_from_l_s"] == approx(1.0 / 60.0)
    assert main(["check", str(EXAMPLE), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["meter"] is None
