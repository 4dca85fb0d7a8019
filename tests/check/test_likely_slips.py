"""Likely slips in a garden file, and relays that come on at power-on."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.findings import where_of, words_of
from support.garden_files import TEN_LINES, in_zone, read
from support.gardens import a_garden, a_row, a_zone

from controller.check.cautions import findings
from controller.check.finding import Finding
from controller.check.likely_slips import (
    LAST_HIGH_LINE,
    LEAST_TAP_M,
    MOST_TAP_M,
    of_beds,
    of_pressure,
    of_start,
    of_zone_rows,
)
from controller.garden.model import Bed, Board, Garden
from controller.garden.plumbing import Master, Opening, Valve, ValveKind
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.jobs import Grounds
from controller.units import m3_s_from_l_min, psi_from_head_m
from crops.catalogue import load


def _on_tap(still: str, running: str) -> Garden:
    return read(TEN_LINES.replace('"48 psi"', f'"{still}"').replace('"31 psi"', f'"{running}"'))


# WORKED, by NIST SP 811: 1 psi is 6.894757 kPa, 1 bar 100 kPa. 4 bar are 58.0 psi; 48 psi 330.9 kPa
# and 331 kPa 48.0 psi; 290 kPa are 42.1 psi.
@pytest.mark.parametrize(
    ("still", "running", "meant"),
    [
        ("4 psi", "2 psi", "4 bar would be 400 kPa"),
        ("3,3 psi", "2 psi", "3,3 bar would be 330 kPa"),
        ("48 kPa", "31 kPa", "48 psi would be 330.9 kPa"),
        ("290 psi", "200 psi", "290 kPa would be 290 kPa"),
    ],
)
def test_a_pressure_in_the_wrong_unit_is_named_with_the_other(
    still: str, running: str, meant: str
) -> None:
    garden = replace(_on_tap(still, running), us_units=False)
    (found,) = of_pressure(garden)
    assert (found.weight, where_of(found)) == ("caution", "supply")
    assert words_of(found) == (
        f'static_pressure is "{still}", and a tap has 10 to 120 psi (0.7 to 8.3 bar) with nothing '
        f"running; {meant}. Look at the gauge's scale, and write its unit"
    )


def test_a_pressure_that_fits_no_unit_is_to_be_read_again() -> None:
    # WORKED: the bounds that the sentence names; 3 m of water are 3 x 998.2 x 9.80665 Pa, 29.4 kPa.
    assert psi_from_head_m(LEAST_TAP_M) == pytest.approx(10.0)
    assert psi_from_head_m(MOST_TAP_M) == pytest.approx(120.0)
    (low,) = of_pressure(_on_tap("0.5 bar", "0.2 bar"))
    assert 'water from a barrel is kind = "barrel"' in words_of(low)
    (high,) = of_pressure(_on_tap("12 bar", "3 bar"))
    assert "put a regulator before the main" in words_of(high)
    in_code = a_garden(supply=replace(a_garden().supply, static_head_m=3.0, test_head_m=1.0))
    (said,) = of_pressure(in_code)
    assert "static_pressure is 29.4 kPa" in words_of(said)


@pytest.mark.parametrize("still", ["10 psi", "48 psi", "5 bar", "120 psi"])
def test_a_usual_pressure_says_nothing(still: str) -> None:
    assert of_pressure(_on_tap(still, "9 psi")) == []


def test_the_mains_before_a_regulator_are_looked_at_and_its_setting_is_not() -> None:
    text = TEN_LINES.replace(
        'static_pressure = "48 psi", flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }',
        'kind = "regulator", set_pressure = "8 psi", static_pressure = "48 psi"',
    )
    assert of_pressure(read(text)) == []
    (found,) = of_pressure(
        read(text.replace('static_pressure = "48 psi"', 'static_pressure = "9 psi"'))
    )
    assert "9 psi" in words_of(found)


def _on_board(*relays: int, master: int | None = None, **board: bool) -> Garden:
    zones = [a_zone(f"zone {line}", relay=line) for line in relays]
    ahead = None if master is None else Master(valve=Valve(kind=ValveKind.RELAY, relay_line=master))
    return a_garden(*zones, board=Board(pins="lgpio", **board), master=ahead)


# PRINTED: BCM2835 ARM Peripherals (Broadcom, 2012), table 6-31, column "Pull": GPIO 0 to 8 are
# "High", GPIO 9 to 27 "Low".
STARTS_HIGH = {number: number <= 8 for number in range(28)}


@pytest.mark.parametrize("active_low", [True, False])
def test_a_relay_that_is_on_at_its_lines_level_at_reset_is_named(active_low: bool) -> None:
    assert STARTS_HIGH[LAST_HIGH_LINE] and not STARTS_HIGH[LAST_HIGH_LINE + 1]
    for line in range(2, 28):
        found = of_start(_on_board(line, active_low=active_low))
        assert bool(found) == (STARTS_HIGH[line] != active_low), line


def test_what_to_do_about_relays_at_power_on_is_said_once_for_all() -> None:
    (found,) = of_start(_on_board(4, 27, 17))
    assert where_of(found) == "board"
    assert words_of(found) == (
        '"zone 27" and "zone 17" may open at power-on, until the daemon runs: GPIO 17 and 27 start '
        "low, and an active-low relay is on at low (Raspberry Pi; other boards: see theirs). Move "
        "these relays to GPIO 4 to 8, or fit 10 kilohm from each relay input to 3.3 V and write "
        "resistors = true in [board]. A line gpio=17,27=op,dh in the board's config.txt switches "
        "it off within seconds"
    )
    (high,) = of_start(_on_board(4, active_low=False))
    assert "to GPIO 9 to 27, or fit 10 kilohm from each relay input to ground" in words_of(high)


def test_no_water_comes_at_power_on_with_resistors_or_behind_a_master_at_rest() -> None:
    assert of_start(_on_board(17, resistors=True)) == []
    assert of_start(_on_board(17, master=4)) == []
    assert len(of_start(_on_board(17, master=22))) == 1
    assert of_start(a_garden(a_zone(relay=17))) == []  # mock pins drive nothing
    assert of_start(a_garden(a_zone(relay=None), board=Board(pins="lgpio"))) == []
    assert read(in_zone("valve = { relay = 17 }") + "[board]\nresistors = true\n").board.resistors


def test_a_bed_without_a_zone_is_named() -> None:
    garden = a_garden()
    spare = replace(garden, beds=(*garden.beds, Bed(name="spare", length_m=3.0, width_m=1.0)))
    assert of_beds(garden) == []
    (found,) = of_beds(spare)
    assert where_of(found) == 'bed "spare"'
    assert 'no zone waters it: add bed = "spare" to the zone that does' in words_of(found)


def test_a_row_longer_than_its_bed_is_named() -> None:
    rows = (a_row(20), a_row(40))
    first_m, second_m = (row.length_m for row in rows)
    assert second_m > 1.1 * first_m

    def over(bed: Bed) -> list[Finding]:
        return of_zone_rows(replace(a_zone(rows=rows), bed=bed))

    bed = a_zone().bed
    (found,) = over(replace(bed, length_m=first_m, width_m=1.0))
    assert where_of(found).endswith(", row 2")
    assert "what its holes give beyond the bed is lost" in words_of(found)
    (both,) = of_zone_rows(
        replace(a_zone(rows=(a_row(20), a_row(40), a_row(40))), bed=replace(bed, length_m=first_m))
    )
    assert where_of(both).endswith(", row 2 and 3")
    assert words_of(both).startswith("each is ")
    # The pipe's end may stick out; a bed may be wider than long; not every bed has a length.
    assert over(replace(bed, length_m=second_m / 1.04, width_m=1.0)) == []
    assert over(replace(bed, length_m=1.0, width_m=second_m)) == []
    assert over(replace(bed, length_m=None)) == []


def test_all_of_them_are_findings_of_check() -> None:
    slow = Opening(alone_flow_m3_s=m3_s_from_l_min(2.5))
    zone = a_zone(relay=17, opening=slow)
    zone = replace(zone, bed=replace(zone.bed, length_m=0.5, width_m=0.5))
    garden = a_garden(zone, board=Board(pins="lgpio"))
    garden = replace(
        garden,
        beds=(*garden.beds, Bed(name="spare")),
        supply=replace(garden.supply, static_head_m=100.0),
    )
    codes = {f.message.code for f in findings(garden, Grounds(garden, load()), Lines(garden))}
    assert {"check.high_tap", "check.starts_low", "check.no_zone_here", "check.row_over_bed"} <= (
        codes
    )
