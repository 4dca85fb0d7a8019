"""Supplies and openings as gardeners tell them, and those that cannot be."""

from __future__ import annotations

import pytest

from controller.errors import GardenFileError
from controller.garden.model import Garden
from controller.garden.plumbing import Opening, SupplyKind
from controller.garden.read import read_garden_text
from controller.garden.show import show_filled
from controller.hydraulics.physics.pipe import PIPES

MAINS = """\
static_pressure = "48 psi"
flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }"""
BARREL = """\
kind = "barrel"
level = "4 ft"
falls_to = "1 ft"
holds = "50 gal"
flow_test = { fill = "5 gal", seconds = 60 }"""
REGULATOR = """\
kind = "regulator"
set_pressure = "25 psi"
flow_test = { flow = "3 gal/min", pressure = "23 psi" }"""
PUMP = """\
kind = "pump"
switch_on = "30 psi"
switch_off = "50 psi"
tank = "20 gal"
flow_test = { flow = "10 gal/min", pressure = "40 psi" }"""
BEFORE = """
static_pressure = "50 psi"
flow_test_before = { flow = "8 gal/min", pressure = "25 psi" }"""
ROW = '{ length = "11 ft", every = "6 in", bore = "1/16 in", face = "up" }'


def a_file(*, supply: str = MAINS, zone: str = "", row: str = ROW) -> str:
    """One invented zone, twelve lines and what the test adds."""
    return f"""\
[site]
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
[supply]
{supply}
[[zone]]
name = "leeks"
{zone}
row = [{row}]
"""


def read(text: str) -> Garden:
    return read_garden_text(text, pipes=PIPES)


def fault(text: str) -> str:
    with pytest.raises(GardenFileError) as caught:
        read(text)
    assert len(caught.value.faults) == 1, caught.value.faults
    return caught.value.faults[0]


def test_a_supply_without_a_kind_is_the_mains_and_says_so() -> None:
    garden = read(a_file())
    assert garden.supply.kind is SupplyKind.MAINS
    assert garden.supply.water_temp_c == 15.0
    told = show_filled(garden.filled)
    assert "kind = mains: supply" in told
    assert any(line.startswith("water_temperature = 59 F") for line in told)


def test_a_barrel_has_a_level_that_falls_and_what_it_holds_between() -> None:
    supply = read(a_file(supply=BARREL)).supply
    assert supply.kind is SupplyKind.BARREL
    # WORKED: 4 ft, 1 ft; 50 gal of 3.785412 L; 5 gal in 60 s from the open tap.
    assert (supply.static_head_m, supply.falls_to_m) == pytest.approx((1.2192, 0.3048))
    assert supply.holds_m3 == pytest.approx(0.1892706, rel=1e-6)
    assert (supply.test_head_m, supply.test_flow_m3_s) == pytest.approx((0.0, 3.15451e-4), rel=1e-5)


def test_a_barrel_falls_to_its_tap_unless_said() -> None:
    supply = read(a_file(supply=BARREL.replace('falls_to = "1 ft"\n', ""))).supply
    assert supply.falls_to_m == 0.0


def test_a_regulator_is_what_it_is_set_to_and_its_test() -> None:
    supply = read(a_file(supply=REGULATOR + '\nwater_temperature = "50 F"')).supply
    assert supply.kind is SupplyKind.REGULATOR
    # WORKED: 25 psi of 0.70434 m; 50 F is 10 C.
    assert supply.static_head_m == pytest.approx(17.6085, rel=1e-4)
    assert supply.water_temp_c == pytest.approx(10.0)


def test_a_regulator_nobody_tested_falls_by_a_fifth_and_says_so() -> None:
    garden = read(a_file(supply=REGULATOR.rsplit("\n", 1)[0]))
    supply = garden.supply
    assert supply.test_assumed
    # WORKED: 20 psi of 0.70434 m at 5 gal/min of 6.30902e-5 m3/s, straight.
    assert supply.test_head_m == pytest.approx(20 * 0.70434, rel=1e-4)
    assert supply.test_flow_m3_s == pytest.approx(5 * 6.30902e-5, rel=1e-5)
    assert supply.exponent == 1.0
    told = "\n".join(show_filled(garden.filled))
    assert "flow_test = 20 psi at 5 gal/min (nobody tested it" in told


def test_a_regulator_may_have_its_mains_before_it() -> None:
    loss = '\nopen_loss = { flow = "4 gal/min", pressure = "2 psi" }'
    before = read(a_file(supply=REGULATOR + BEFORE + loss)).supply.before
    assert before is not None
    assert before.static_head_m == pytest.approx(50 * 0.70434, rel=1e-4)
    assert before.test_head_m == pytest.approx(25 * 0.70434, rel=1e-4)
    assert before.test_flow_m3_s == pytest.approx(8 * 6.30902e-5, rel=1e-5)
    assert before.open_loss_m == pytest.approx(2 * 0.70434, rel=1e-4)
    assert before.open_flow_m3_s == pytest.approx(4 * 6.30902e-5, rel=1e-5)
    bare = read(a_file(supply=REGULATOR + '\nstatic_pressure = "50 psi"')).supply.before
    assert bare is not None
    assert bare.test_flow_m3_s is None


def test_a_pump_has_its_switch_its_tank_and_two_defaults() -> None:
    garden = read(a_file(supply=PUMP))
    supply = garden.supply
    assert supply.pump is not None
    # WORKED: 28 psi of air, 62.5 psi shut, 40 psi between, of 0.70434 m; 20 gal are 75.7 L.
    heads = (supply.pump.pre_charge_head_m, supply.pump.shut_off_head_m, supply.static_head_m)
    assert heads == pytest.approx((28 * 0.70434, 62.5 * 0.70434, 40 * 0.70434), rel=1e-4)
    assert supply.pump.tank_m3 == pytest.approx(0.0757, abs=1e-4)
    told = show_filled(garden.filled)
    assert "pre_charge = 28 psi (2 psi (14 kPa) below switch_on): supply" in told
    assert any(line.startswith("shut_off = 62.5 psi") for line in told)
    given = PUMP + '\npre_charge = "25 psi"\nshut_off = "70 psi"\nwell_yield = "10 L/min"'
    pump = read(a_file(supply=given)).supply.pump
    assert pump is not None
    own = (pump.pre_charge_head_m, pump.shut_off_head_m, pump.well_yield_m3_s)
    assert own == pytest.approx((25 * 0.70434, 70 * 0.70434, 1 / 6000), rel=1e-4)


def test_a_pump_may_be_tested_with_a_bucket_and_its_gauge() -> None:
    bucket = PUMP.replace('flow = "10 gal/min"', 'fill = "5 gal", seconds = 30')
    assert read(a_file(supply=bucket)).supply.test_flow_m3_s == pytest.approx(
        10 * 6.30902e-5, rel=1e-5
    )


@pytest.mark.parametrize(
    ("written", "opening"),
    [
        ('"Full"', Opening(angle_deg=0.0)),
        ('"unknown"', Opening(unknown=True)),
        ('{ stream = "3 in" }', Opening(stream_m=3 * 0.0254)),
        ('{ stream = "8 cm", turned = true }', Opening(stream_m=0.08, turned=True)),
        (
            '{ reach = "2 ft", drop = "6 in", turned = true }',
            Opening(reach_m=0.6096, reach_drop_m=0.1524, turned=True),
        ),
    ],
)
def test_an_opening_may_be_seen_or_unknown(written: str, opening: Opening) -> None:
    (zone,) = read(a_file(zone=f"opening = {written}")).zones
    assert zone.opening.stream_m == pytest.approx(opening.stream_m)
    assert zone.opening.reach_m == pytest.approx(opening.reach_m)
    assert zone.opening.reach_drop_m == pytest.approx(opening.reach_drop_m)
    assert zone.opening.turned == opening.turned
    assert zone.opening.unknown == opening.unknown
    assert zone.opening.angle_deg == opening.angle_deg


def in_row(changes: str) -> str:
    return a_file(row=ROW.replace(" }", f", {changes} }}"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # supplies
        (a_file(supply=MAINS.split("\n")[1]), "static_pressure: found nothing; the pressure at"),
        (a_file(supply=MAINS + '\nlevel = "4 ft"'), 'kind = "mains"; level belongs to a barrel'),
        (
            a_file(supply=BARREL + '\nstatic_pressure = "48 psi"'),
            'kind = "barrel"; static_pressure belongs to a mains or a regulator',
        ),
        (a_file(supply=BARREL.replace('level = "4 ft"\n', "")), "level: found nothing; how high"),
        (
            a_file(supply=BARREL.replace('"1 ft"', '"5 ft"')),
            "falls_to: found 5 ft; a barrel that waters falls below its level when full, 4 ft",
        ),
        (
            a_file(supply=BARREL.replace('"4 ft"', "4")),
            "level: found 4; a level of water needs its",
        ),
        (a_file(supply=BARREL.replace('"4 ft"', '"-4 ft"')), 'found "-4 ft"; a level of water is'),
        (
            a_file(supply=REGULATOR.replace('"23 psi"', '"31 psi"')),
            "pressure: found 31 psi; with water running it is below set_pressure, 25 psi",
        ),
        (
            a_file(supply=REGULATOR + '\nstatic_pressure = "20 psi"'),
            "set_pressure: found 25 psi; a regulator only lowers",
        ),
        (
            a_file(
                supply=REGULATOR.replace(
                    'flow = "3 gal/min", pressure = "23 psi"', 'fill = "5 gal", seconds = 60'
                )
            ),
            "found a bucket under the open tap, with which a regulator is wide open",
        ),
        (a_file(supply=MAINS.split("\n")[0]), "flow_test: found nothing; what the tap gives"),
        (
            a_file(supply=REGULATOR + "\n" + BEFORE.rsplit("\n", 1)[1]),
            "flow_test_before: found it without static_pressure, measured before the regulator",
        ),
        (
            a_file(supply=REGULATOR + '\nopen_loss = { flow = "4 gal/min", pressure = "2 psi" }'),
            "open_loss: found it without flow_test_before",
        ),
        (
            a_file(supply=REGULATOR + BEFORE + '\nopen_loss = { pressure = "2 psi" }'),
            "open_loss: found not quite a loss",
        ),
        (
            a_file(supply=REGULATOR + BEFORE.replace('"25 psi"', '"55 psi"')),
            "found 55 psi; with water running it is below static_pressure, 50 psi",
        ),
        (
            a_file(supply=REGULATOR.replace("3 gal/min", "8 gal/min") + BEFORE.replace("8", "5")),
            "found 23 psi behind the regulator; at that flow what was measured before it leaves no",
        ),
        (
            a_file(supply=PUMP.replace('"50 psi"', '"20 psi"')),
            "switch_off: found 20 psi; a pump stops at more pressure than it starts at, 30 psi",
        ),
        (
            a_file(supply=PUMP + '\npre_charge = "31 psi"'),
            "pre_charge: found 31 psi; over switch_on, 30 psi, the tank is empty before",
        ),
        (
            a_file(supply=PUMP + '\nshut_off = "50 psi"'),
            "shut_off: found 50 psi; a pump that comes no higher against a shut valve never",
        ),
        (
            a_file(supply=PUMP.replace('"40 psi"', '"50 psi"')),
            "flow_test, pressure: found 50 psi; while the pump runs without a pause it is below",
        ),
        (
            a_file(
                supply=PUMP.replace(
                    'flow = "10 gal/min", pressure = "40 psi"', 'fill = "5 gal", seconds = 60'
                )
            ),
            "found a bucket without the gauge at the tank",
        ),
        (a_file(supply=PUMP.replace('tank = "20 gal"\n', "")), "tank: found nothing; the whole"),
        (
            a_file(supply=PUMP.rsplit("\n", 1)[0]),
            "flow_test: found nothing; what the pump gives with so much running",
        ),
        (
            a_file(supply=PUMP + '\nset_pressure = "40 psi"'),
            'found it with kind = "pump"; set_pressure belongs to a regulator',
        ),
        (a_file(supply=PUMP.replace('"20 gal"', "20")), "tank: found 20; a volume needs its unit"),
        (
            a_file(supply=MAINS + '\nkind = "well"'),
            'a supply is "mains", "barrel", "regulator" or "pump"',
        ),
        (
            a_file(supply=MAINS.replace('"31 psi"', '"50 psi"')),
            "found 50 psi; with water running it is below static_pressure, 48 psi",
        ),
        (a_file(supply=MAINS + "\nwater_temperature = 15"), "temperature needs its unit, as in"),
        (a_file(supply=MAINS + '\nwater_temperature = "60 C"'), "temperature is 0 C to 45 C"),
        # openings
        (a_file(zone="opening = { stream = 3 }"), "a stream's height over its hole needs its unit"),
        (a_file(zone='opening = { stream = "-3 in" }'), "its hole is 1 mm to 30 m"),
        (a_file(zone='opening = { stream = "0 in" }'), "its hole is 1 mm to 30 m"),
        (
            a_file(zone='opening = { stream = "3 in", turned = 1 }'),
            "opening: found turned = 1; it is true where the pipe was turned to look",
        ),
        (a_file(zone='opening = { reach = "2 ft" }'), "found a reach without a drop"),
        (
            a_file(zone='opening = { stream = "3 in", flow = "1 L/min" }'),
            "found a table of flow, stream; an opening is",
        ),
        (
            a_file(zone='opening = { stream = "120 ft" }'),
            "a stream's height over its hole is 1 mm to 30 m",
        ),
        (
            a_file(zone='opening = { stream = "90 ft" }', supply=BARREL),
            "found a stream 90 ft high; from a hole at 0 in the supply throws less than 4 ft",
        ),
        (
            a_file(zone='opening = { stream = "3 in" }', row=ROW.replace("up", "down")),
            "found a stream of holes that look down; it is read from a hole that looks up: turn",
        ),
        (
            a_file(zone='opening = { reach = "2 ft", drop = "6 in" }'),
            "holes that look up; it is read from a hole that looks level to the side: turn the",
        ),
        # heights
        (
            a_file(zone='rise = "5 ft"', supply=BARREL),
            "rise: found row 1 at 5 ft above the tap; the still water rises no higher than 4 ft",
        ),
        (
            a_file(row=ROW.replace(" }", ', inlet = "5 ft", far_end = "5 ft" }'), supply=BARREL),
            "row 1: found row 1 at 5 ft above the tap",
        ),
        # drillings
        (in_row("group = 2, group_gap = '2 mm'").replace("1/16", "1/8"), "run into one slot"),
        (a_file(row=ROW.replace('"6 in"', '"3 mm"').replace("1/16", "1/8")), "run into one slot"),
        (
            in_row("drain = { bore = '4 mm', every = '3 mm' }"),
            "drain, every: found 0.118 in; holes of 0.157 in so close",
        ),
        (
            a_file(row=ROW.replace('"1/16 in"', '"0.2 mm"')),
            "is a long narrow pipe whose flow is not",
        ),
        (
            a_file(row=ROW.replace('"1/16 in"', '"3/4 in", pipe = "1/2 in"')),
            "a hole is smaller than the pipe's inside",
        ),
        (a_file(row=ROW.replace('"1/16 in"', '"-1/16 in"')), "a bore is 0.1 mm to 20 mm"),
    ],
)
def test_what_cannot_be_names_its_key_and_the_reason(text: str, said: str) -> None:
    assert said in fault(text)


def test_a_plugged_row_may_lie_higher_than_the_water() -> None:
    high = ', inlet = "5 ft", far_end = "5 ft", plugged = true }'
    rows = ROW + ", " + ROW.replace(" }", high)
    assert len(read(a_file(row=rows, supply=BARREL)).zones[0].rows) == 2


def test_a_hole_of_any_width_may_be_measured_instead() -> None:
    narrow = ROW.replace('"1/16 in"', '"0.2 mm", discharge_coefficient = 0.6')
    assert read(a_file(row=narrow)).zones[0].rows[0].drilling.discharge_coefficient == 0.6
