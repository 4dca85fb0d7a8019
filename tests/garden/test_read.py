"""A garden file to a garden, and every mistake in it at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.garden_files import TEN_LINES, faults, in_zone, read, with_planting, with_row

from controller.errors import GardenFileError
from controller.garden.model import Coefficients, OwnCrop, OwnSoil, UnlikeRows
from controller.garden.plumbing import Face, ValveKind, Walls
from controller.garden.read import read_garden
from controller.garden.show import show_filled
from controller.hydraulics.physics.pipe import PIPES


def test_ten_lines_are_enough_for_one_zone() -> None:
    assert TEN_LINES.count("\n") == 10
    garden = read(TEN_LINES)
    (zone,) = garden.zones
    (row,) = zone.rows
    # WORKED: 11 ft of 12 in; 6 in of 25.4 mm; half a spacing; 24 in.
    assert row.length_m == pytest.approx(3.3528, rel=1e-12)
    assert row.drilling.every_m == pytest.approx(0.1524, rel=1e-12)
    assert row.drilling.first_m == pytest.approx(0.0762, rel=1e-12)
    assert row.ground_width_m == pytest.approx(0.6096, rel=1e-12)
    assert zone.valve.kind is ValveKind.HAND
    assert (zone.bed.name, zone.bed.soil) == ("leeks", "loam")
    assert zone.opening.angle_deg == 0.0
    assert garden.us_units
    (planting,) = zone.plantings
    assert (planting.start, planting.transplanted) == (date(2031, 4, 22), True)


def test_every_default_is_told_with_a_place_and_in_the_gardeners_units() -> None:
    told = {(one.where, one.key): one.shown for one in read(TEN_LINES).filled}
    assert told[('zone "leeks", row 1', "first")] == "3 in"
    assert told[('zone "leeks", row 1', "width")] == "2 ft"
    assert told[('zone "leeks", row 1', "pipe")] == "3/4 in"
    assert told[('zone "leeks"', "valve")] == "hand = true"
    assert told[("main", "size")] == "1 in"
    assert told[("watering", "window")] == "18:00 to 20:00 for hand valves"
    metric = read('units = "metric"\n' + TEN_LINES)
    told = {(one.where, one.key): one.shown for one in metric.filled}
    assert told[('zone "leeks", row 1', "first")] == "7.6 cm"
    assert not metric.us_units


def test_a_default_written_into_the_file_changes_nothing() -> None:
    garden = read(TEN_LINES)
    said = (
        '{ length = "11 ft", every = "6 in", bore = "1/16 in", first = "3 in", pipe = "3/4 in", '
        'group = 1, walls = "one", face = "down", width = "2 ft", inlet = "0 in", '
        'middle = "0 in", far_end = "0 in" }'
    )
    text = with_row(said).replace(
        'name = "leeks"\n',
        'name = "leeks"\nmain_run = "0 in"\nrise = "0 in"\nvalve = { hand = true, '
        'longest_open = "1 h" }\nopening = "full"\ntake_off_k = 4.0\nsoil = "loam"\n',
    )
    written = read(text)
    kept: dict[str, Any] = {"daily_cap_m3": garden.zones[0].daily_cap_m3}
    assert replace(written.zones[0], **kept) == garden.zones[0]
    assert len(written.filled) < len(garden.filled)


def test_equal_defaults_are_shown_as_one_line() -> None:
    two_rows = with_row(
        '{ length = "11 ft", every = "6 in", bore = "1/16 in" }, '
        '{ length = "9 ft", every = "6 in", bore = "1/16 in" }'
    )
    lines = show_filled(read(two_rows).filled)
    assert 'face = down: zone "leeks", row 1; zone "leeks", row 2' in lines


FULL = """\
units = "metric"
[site]
name = "Invented"
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
coastal = true
[supply]
static_pressure = "3,3 bar"
salt = "1200 uS/cm"
flow_test = { fill = "10 L", seconds = 20 }
exponent = 1.9
[main]
size = { bore = "28 mm", wall = "2 mm" }
[[bed]]
name = "north"
length = "4 m"
width = "1.2 m"
soil = "clayish"
mulch = "straw"
mulch_cover = "80 %"
exposure = 1.2
holds_rain = true
keeper = "Odile"
rooting_limit = "45 cm"
[[zone]]
name = "a"
bed = "north"
main_run = "6 m"
rise = "-10 cm"
valve = { relay = "GPIO17", longest_open = "20 min", least_closing_pressure = "20 kPa" }
opening = { flow = "1,5 L/min" }
take_off_k = 6.5
daily_cap = "90 L"
refill_at = "40 %"
unlike_rows = "mean"
[[zone.planting]]
crop = "blue leek"
sown = 2031-07-01
until = 2031-10-01
rows = [1]
apart = "45 cm"
lines = 2
emerges_in = "12 days"
stages = [20, 30, 40, 10]
stages_by = "days"
[[zone.planting]]
crop = "leek"
transplanted = "2031-03-01"
until = 2031-06-30
supports = true
stages_warmth = ["250 C days", "900 F days", "700 °C·d", "300 C-days"]
[[zone.planting]]
crop = "carrot"
sown = 2031-07-10
until = 2031-10-01
rows = 2
emerges_in = 9
harvest_in = "106 days"
stages_by = "warmth"
[[zone.row]]
length = "4 m"
pipe = "1 in"
bore = "1.5 mm"
every = "15 cm"
first = "5 cm"
group = 2
group_gap = "3 cm"
walls = "both"
face = "side"
drain = { bore = "2 mm", every = "1 m" }
width = "50 cm"
wetted_width = "30 cm"
inlet = "1 cm"
middle = "-2 cm"
far_end = "3 cm"
plugged_holes = [7, 3]
plugged_beyond = "3 m"
discharge_coefficient = 0.62
[[zone.row]]
length = "4 m"
bore = "1.5 mm"
every = "15 cm"
plugged = true
[[zone]]
name = "b"
bed = "north"
valve = { hand = true }
opening = "40 deg"
row = [{ length = "4 m", bore = "1.5 mm", every = "15 cm" }]
[watering]
window = [
  { from = "22:00", to = "06:30", days = ["mon", "Thursday"], valves = "relay" },
  { from = 18:00:00, to = "20:00", valves = "any" },
]
hold = [
  { from = 2031-07-08, to = 2031-07-09, zones = ["a"], reason = "guests" },
  { from = 2031-08-01T06:00:00, to = "2031-08-01 12:00" },
]
refill_at = 0.6
most_open = 2
hand_visits = 3
hand_turns = 20
least_share = 0.7
basin = "8 mm"
drilling_scatter = 0.1
level_error = "1/4 in"
shortest_pulse = "10 s"
coefficients = "single"
forecast_trust = "30 %"
settling_days = 10
[weather]
file = "station.csv"
file_kind = "station-log"
online = ["nws", "open-meteo"]
contact = "gardener@example.org"
wind_height = "10 m"
normals = "years.csv"
climate = "semi-arid"
frost_hold = "34 F"
[board]
pins = "mock"
relays = "active high"
chip = 4
[[crop]]
name = "blue leek"
like = "leek"
kc_mid = 1.05
spread_m = 0.25
days_mid = 40
[[soil]]
name = "clayish"
like = "loam"
field_capacity = 0.33
curve_number = 70
"""


def test_every_key_reads_into_the_model() -> None:
    garden = read(FULL)
    near = pytest.approx
    assert garden.site.coastal
    assert garden.supply.test_flow_m3_s == near(0.0005, rel=1e-12)  # WORKED: 10 L in 20 s
    assert (garden.supply.test_head_m, garden.supply.exponent) == (0.0, 1.9)
    assert (garden.main.bore_m, garden.main.wall_m) == (near(0.028), near(0.002))
    assert garden.supply.salt_ds_m == near(1.2)  # WORKED: 1 dS/m is 1000 uS/cm
    bed = garden.beds[0]
    assert (bed.soil, bed.mulch, bed.keeper) == ("clayish", "straw", "Odile")
    assert (bed.mulch_cover, bed.exposure, bed.holds_rain) == (0.8, 1.2, True)
    assert (bed.length_m, bed.width_m, bed.rooting_limit_m) == (4.0, 1.2, near(0.45))
    a, b = garden.zones
    assert a.bed is bed
    assert (a.main_run_m, a.rise_m, a.take_off_k) == (6.0, near(-0.1), 6.5)
    assert (a.valve.relay_line, a.valve.longest_open_s) == (17, 1200.0)
    # WORKED: 20 kPa / (998.2 kg/m3 * 9.80665 m/s2)
    assert a.valve.least_closing_head_m == near(20e3 / 998.2 / 9.80665, rel=1e-9)
    assert a.opening.alone_flow_m3_s == near(1.5e-3 / 60)
    assert (a.daily_cap_m3, a.refill_at) == (near(0.09), near(0.4))
    row, out_of_use = a.rows
    drilling = row.drilling
    assert (row.pipe, out_of_use.pipe) == (PIPES["1 in"], PIPES["3/4 in"])
    assert (drilling.bore_m, drilling.every_m, drilling.first_m) == near((0.0015, 0.15, 0.05))
    assert (drilling.group, drilling.group_gap_m) == (2, near(0.03))
    assert (drilling.walls, drilling.face) == (Walls.BOTH, Face.SIDE)
    assert (drilling.drain_bore_m, drilling.drain_every_m) == (near(0.002), 1.0)
    assert drilling.discharge_coefficient == 0.62
    assert (row.ground_width_m, row.wetted_width_m) == (0.5, near(0.3))
    assert (row.inlet_height_m, row.middle_height_m, row.far_height_m) == near((0.01, -0.02, 0.03))
    assert (row.plugged_holes, row.plugged_beyond_m) == ((3, 7), 3.0)
    assert out_of_use.plugged
    # WORKED: 1.2 m of bed over its three rows, in both zones.
    assert b.rows[0].ground_width_m == near(0.4)
    assert (b.valve.kind, b.opening.angle_deg) == (ValveKind.HAND, 40.0)
    leek, blue, carrot = a.plantings  # in order of time
    assert (leek.crop, blue.crop, carrot.crop) == ("leek", "blue leek", "carrot")
    assert (leek.rows, blue.rows, carrot.rows) == ((), (1,), (2,))
    assert (leek.transplanted, blue.transplanted) == (True, False)
    assert (blue.stage_days, blue.by_warmth, blue.stage_warmth) == ((20, 30, 40, 10), False, None)
    assert leek.by_warmth
    assert leek.stage_warmth == near((250.0, 500.0, 700.0, 300.0))  # WORKED: 900 F days / 1.8
    assert (carrot.by_warmth, carrot.stage_warmth) == (True, None)
    assert (blue.spacing_m, blue.plant_lines, leek.spacing_m) == (near(0.45), 2, None)
    assert (leek.supported, blue.supported) == (True, False)
    assert (blue.harvest_days, carrot.harvest_days) == (None, 106)
    assert (leek.emerges_days, blue.emerges_days, carrot.emerges_days) == (None, 12, 9)
    assert a.unlike_rows is UnlikeRows.MEAN
    night, evening = garden.watering.windows
    assert (night.opens, night.closes) == (time(22), time(6, 30))
    assert night.weekdays == {0, 3}
    assert night.valves == {ValveKind.RELAY}
    assert evening.opens == time(18)
    guests, morning = garden.watering.holds
    # A plain date at the end of a hold is meant with the whole of that day.
    assert (guests.begins, guests.ends) == (datetime(2031, 7, 8), datetime(2031, 7, 10))
    assert (morning.begins, morning.ends) == (datetime(2031, 8, 1, 6), datetime(2031, 8, 1, 12))
    assert guests.zones == {"a"}
    watering = garden.watering
    assert (watering.refill_at, watering.most_open, watering.least_share) == (0.6, 2, 0.7)
    assert (watering.hand_visits, watering.hand_turns) == (3, 20)
    assert (watering.basin_mm, watering.shortest_pulse_s) == (near(8.0), 10.0)
    assert (watering.drilling_scatter, watering.level_error_m) == (0.1, near(0.00635))
    assert (watering.coefficients, watering.settling_days) == (Coefficients.SINGLE, 10)
    assert watering.forecast_trust == near(0.3)
    weather = garden.weather
    assert (weather.file, weather.file_kind) == ("station.csv", "station-log")
    assert (weather.services, weather.online) == (("nws", "open-meteo"), True)
    assert (weather.contact, weather.wind_height_m) == ("gardener@example.org", 10.0)
    assert (weather.normals_file, weather.climate) == ("years.csv", "semi-arid")
    assert weather.frost_hold_c == near(2.0 / 1.8)  # WORKED: 34 F
    assert (garden.board.pins, garden.board.active_low, garden.board.chip) == ("mock", False, 4)
    assert garden.own_crops == (
        OwnCrop(
            name="blue leek",
            like="leek",
            changes={"kc_mid": 1.05, "spread_m": 0.25, "days_mid": 40},
        ),
    )
    assert garden.own_soils == (
        OwnSoil(name="clayish", like="loam", changes={"field_capacity": 0.33, "curve_number": 70}),
    )


@pytest.mark.parametrize(
    ("written", "angle_deg"),
    # WORKED: 90 * (1 - share)
    [('"full"', 0.0), ('"30 deg"', 30.0), ("1", 0.0), ("0.6", 36.0), ('"25 %"', 67.5)],
)
def test_an_opening_may_be_a_turn_or_a_share(written: str, angle_deg: float) -> None:
    (zone,) = read(in_zone(f"opening = {written}")).zones
    assert zone.opening.angle_deg == pytest.approx(angle_deg)


def test_an_opening_may_be_a_loss() -> None:
    (zone,) = read(in_zone("opening = { loss_k = 30000 }")).zones
    assert zone.opening.loss_k == 30000.0


# Each: a file, the line and place it is found at, and what is said.
BROKEN = [
    (
        with_row('{ length = "11 ft", every = "6 in", bore = 1.5 }'),
        'garden.toml, line 9, zone "leeks", row 1, bore: found 1.5; a bore needs its unit, '
        'as in "1.5 mm" or "1/16 in"',
    ),
    (
        with_row('{ length = "11 ft", evry = "6 in", every = "6 in", bore = "1/16 in" }'),
        'line 9, zone "leeks", row 1, evry: found an unknown key; did you mean "every"?',
    ),
    (with_row('{ length = "11 ft", every = "6 in" }'), "row 1, bore: found nothing; a row needs"),
    (
        with_row('{ length = "11 ft", every = "6 in", bore = "1/16 in", pipe = "5/8 in" }'),
        'row 1, pipe: found "5/8 in"; a pipe size is one of "1/2 in"',
    ),
    (
        with_row('{ length = "11 ft", every = "6 in", bore = "1/16 in", pipe = "30 psi" }'),
        'garden.toml, line 9, zone "leeks", row 1, pipe: found "30 psi"; a pipe size is one of',
    ),
    (
        with_row('{ length = "9 ft", every = "6 in", bore = "17 mm", pipe = "1/2 in" }'),
        "row 1, bore: found 0.669 in; a hole is smaller than the pipe's inside",
    ),
    (
        with_row('{ length = "9 ft", every = "6 in", bore = "1/16 in", first = "10 ft" }'),
        "row 1, first: found the first hole at 10 ft; it lies on the pipe, which is 9 ft long",
    ),
    (
        with_row(
            '{ length = "9 ft", every = "4 ft", bore = "1/16 in", first = "1 ft", group = 3 }'
        ),
        "row 1, first: found holes past its end; all holes of a group lie on the pipe",
    ),
    (
        with_row('{ length = "9 ft", every = "2 in", bore = "1/16 in", group = 3 }'),
        "row 1, group: found 3, which is 2 in long; a group is shorter than its spacing",
    ),
    (
        with_row('{ length = "9 ft", every = "1 ft", bore = "1/16 in", plugged_holes = [10] }'),
        "row 1, plugged_holes: found hole 10; this row has holes 1 to 9",
    ),
    (
        with_row('{ length = "9 ft", every = "1 ft", bore = "2 mm", plugged_beyond = "9 ft" }'),
        "row 1, plugged_beyond: found 9 ft; the pipe is 9 ft long",
    ),
    (
        with_row('{ length = "9 ft", every = "1 ft", bore = "2 mm", drain = { bore = "2 mm" } }'),
        "row 1, drain, every: found nothing; drain holes need a spacing",
    ),
    (TEN_LINES.replace("47.6", "147.6"), "line 3, site, latitude: found 147.6; a latitude is"),
    (TEN_LINES.replace("Zurich", "Zurick"), 'timezone: found "Europe/Zurick"; did you mean "Euro'),
    (TEN_LINES.replace("Europe/Zurich", "Europe"), 'line 6, site, timezone: found "Europe"'),
    (TEN_LINES.replace('"31 psi"', '"51 psi"'), "pressure: found 51 psi; with water running it is"),
    (
        TEN_LINES.replace('{ flow = "7.5 gal/min", pressure = "31 psi" }', '{ fill = "5 gal" }'),
        "line 1, supply, flow_test: found not quite one test; allowed is a flow and the pressure",
    ),
    (TEN_LINES.replace("leek", "leeek", 3), 'crop: found "leeek"; did you mean "leek"?'),
    (in_zone('soil = "lome"'), 'line 9, zone "leeks", soil: found "lome"; did you mean "loam"?'),
    (in_zone('bed = "t1"'), 'line 9, zone "leeks", bed: found "t1"; beds: none'),
    (
        in_zone('bed = "t1"\nsoil = "loam"') + '[[bed]]\nname = "t1"\n',
        'soil: found "loam"; soil belongs to the bed "t1", not to a zone in it',
    ),
    (TEN_LINES + '[[bed]]\nname = "leeks"\n', 'a bed has that name: write bed = "leeks"'),
    (in_zone("valve = { relay = true }"), "valve, relay: found true; a relay is a GPIO number"),
    (in_zone("valve = { relay = 17.0 }"), "valve, relay: found 17.0; a relay is a GPIO number"),
    (in_zone("valve = { relay = 1 }"), "valve, relay: found 1; a relay is a GPIO number from 2"),
    (in_zone("valve = {}"), "valve: found neither relay nor hand; a valve is { relay = 17 } or"),
    (in_zone("valve = { relay = 17, hand = true }"), "valve: found both relay and hand"),
    (in_zone('opening = "wide"'), 'opening: found "wide"; an opening is in deg'),
    (in_zone('opening = "90 deg"'), 'opening: found "90 deg"; an opening is "full"'),
    (in_zone("opening = 0"), 'opening: found 0; an opening is "full"'),
    (in_zone("opening = { flow = 3 }"), "opening: found 3; a flow measured with this zone alone"),
    (in_zone("planting = 3").rsplit("planting", 1)[0], "planting: found 3; each planting starts"),
    (
        with_planting('crop = "leek", sown = "22.4.2031", until = 2031-10-10'),
        'planting 1, sown: found "22.4.2031"; a date is year-month-day, as in 2031-04-22',
    ),
    (
        with_planting('crop = "leek", sown = 2031-04-22, until = 2031-04-21'),
        "planting 1, until: found 2031-04-21; the last day is not before the first, 2031-04-22",
    ),
    (
        with_planting('crop = "leek", until = 2031-04-21'),
        "planting 1: found neither of sown and transplanted; a planting has one of the two",
    ),
    (
        with_planting(
            'crop = "leek", sown = 2031-06-01, until = 2031-09-01',
            'crop = "leek", sown = 2031-04-01, until = 2031-06-01',
        ),
        "planting 1: found its first day 2031-06-01; planting 2 stands until 2031-06-01",
    ),
    (
        with_planting('crop = "leek", sown = 2031-04-01, until = 2031-06-01, stages = [1, 2]'),
        "planting 1, stages: found [1, 2]; stages are four numbers of days",
    ),
    (
        TEN_LINES + '[watering]\nwindow = [{ from = "05:00", to = "05:00" }]\n',
        'watering, window 1, to: found "05:00", the same as from',
    ),
    (
        TEN_LINES + '[watering]\nwindow = [{ from = "25:00", to = "05:00" }]\n',
        'watering, window 1, from: found "25:00"; a time is "00:00" to "23:59"',
    ),
    (
        TEN_LINES + '[watering]\nwindow = [{ from = "4:00", to = "05:00", valves = "relay" }]\n',
        'found no window for hand valves; zone "leeks" would never be watered',
    ),
    (
        TEN_LINES + "[watering]\nhold = [{ from = 2031-07-08, to = 2031-07-07 }]\n",
        "watering, hold 1, to: found 2031-07-07; a hold ends after it begins, 2031-07-08",
    ),
    (
        TEN_LINES + '[watering]\nhold = [{ from = 2031-07-08, to = 2031-07-08, zones = "leks" }]\n',
        'watering, hold 1, zones: found "leks"; did you mean "leeks"?',
    ),
    (
        TEN_LINES + '[[crop]]\nname = "gourd"\nkc_mid = 1\n',
        'line 11, crop "gourd": found neither like nor kc_ini, kc_end, height_m',
    ),
    (TEN_LINES + '[[crop]]\nname = "x"\nlike = "lek"\n', 'like: found "lek"; did you mean "leek"?'),
    (
        TEN_LINES + '[[soil]]\nname = "x"\nfield_capacity = 0.1\nwilting_point = 0.2\n',
        'soil "x", wilting_point: found 0.2; it is below field_capacity, 0.1',
    ),
    (TEN_LINES.replace("[[zone]]", "[zone]"), "found a table; each zone starts with [[...zone]]"),
    (TEN_LINES.split("[[zone]]")[0], "zone: found nothing; at least one [[zone]] is needed"),
    (
        TEN_LINES.replace("[site]", "[site]\nname = 3"),
        "line 3, site, name: found 3; a name is text",
    ),
    (TEN_LINES + "[zones]\n", 'line 11, zones: found an unknown key; did you mean "zone"?'),
    (TEN_LINES.replace('"leeks"', '"a|b"'), 'name: found "a|b"; a name is one short line'),
    ("", "line 1, site: found nothing; a [site] with latitude"),
]


@pytest.mark.parametrize(("text", "said"), BROKEN)
def test_a_mistake_is_said_with_its_place_and_what_is_allowed(text: str, said: str) -> None:
    found = faults(text)
    assert any(said in fault for fault in found), found


def test_all_mistakes_are_said_at_once_in_the_order_of_the_lines() -> None:
    text = FULL
    for good, bad in [
        ("latitude = 47.6", "latitude = 97.6"),
        ('timezone = "Europe/Zurich"', 'timezone = "Zurich"'),
        ('soil = "clayish"', 'soil = "clayisch"'),
        ('main_run = "6 m"', "main_run = 6"),
        ("group = 2", "group = 2.0"),
        ('bed = "north"\nvalve = { hand', 'bed = "nord"\nvalve = { hand'),
        ('days = ["mon", "Thursday"]', 'days = ["moonday", "Donnerstag"]'),
        ("most_open = 2", "most_opened = 2"),
        ('pins = "mock"', 'pins = "mocked"'),
        ("kc_mid = 1.05", 'kc_mid = "1.05"'),
        ('like = "loam"', 'like = "loom"'),
    ]:
        assert good in text
        text = text.replace(good, bad, 1)
    found = faults(text)
    assert len(found) == 11, found
    lines = [int(fault.split("line ")[1].split(",")[0]) for fault in found]
    assert lines == sorted(lines)
    for line_no, fault in zip(lines, found, strict=True):
        key = fault.split(": found ")[0].split(", ")[-1]
        assert key in text.split("\n")[line_no - 1], fault


def test_a_mistake_is_not_said_again_through_what_leans_on_it() -> None:
    # The bore does not read, so whether it fits the pipe cannot be told.
    assert len(faults(with_row('{ length = "11 ft", every = "6 in", bore = "wide" }'))) == 1
    # The time to fill the bucket does not read, so whether the test is whole cannot be told.
    test = '{ flow = "7.5 gal/min", pressure = "31 psi" }'
    assert len(faults(TEN_LINES.replace(test, '{ fill = "5 gal", seconds = "x" }'))) == 1
    # The bed's name does not read, so the zone in it is not blamed.
    assert len(faults(in_zone('bed = "t1"') + "[[bed]]\nname = 1\n")) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = 1\nlength = 11 ft\n", "line 2: not valid TOML: expected newline"),
        ("a = 1\nlength = 11 ft\n", 'a quantity stands in quotes, as in "11 ft"'),
        ('row = [{ length = "1 ft",\n  bore = "2 mm" }]', "line 1: not valid TOML"),
        ('row = [{ length = "1 ft",\n  bore = "2 mm" }]', "under [[zone.row]] instead"),
        ("a = 1\n\na = 2\n", "line 3: not valid TOML: cannot overwrite a value"),
        ("[site", "line 1: not valid TOML"),
        ("until = 22.4.2031", "line 1: not valid TOML"),
        ("a = " + "[" * 5000, "deeper than 16 within each other"),
        ("a = " + "9" * 5000, "a number of 5000 digits; allowed are 40"),
    ],
)
def test_what_is_no_toml_is_said_with_its_line(text: str, said: str) -> None:
    (fault,) = faults(text)
    assert said in fault


def test_a_file_is_named_as_it_was_given(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEN_LINES.encode())
    assert read_garden(path, pipes=PIPES).path == str(path)
    path.write_bytes(b"name = '\xe9'")
    with pytest.raises(GardenFileError, match=r"mine\.toml: not UTF-8"):
        read_garden(path, pipes=PIPES)
    with pytest.raises(GardenFileError, match="cannot be read: No such file"):
        read_garden(tmp_path / "none.toml", pipes=PIPES)


def test_known_names_may_be_judged_by_the_caller() -> None:
    def judge(name: str) -> str | None:
        return None if name == "leek" else "did you mean the other one?"

    assert read(TEN_LINES, known_crops=judge).zones
    (fault,) = faults(TEN_LINES.replace('"leek"', '"leak"'), known_crops=judge)
    assert fault.endswith('found "leak"; did you mean the other one?')


def test_a_relay_belongs_to_one_zone() -> None:
    text = in_zone("valve = { relay = 17 }")
    zone = text[text.index("[[zone]]") :].replace("leeks", "kale")
    found = faults(text + zone.replace("17", '"gpio17"'))
    assert found == [
        'garden.toml, line 14, zone "kale", valve, relay: found 17, which is the relay of zone '
        '"leeks"; each has a pin of its own'
    ]


def test_a_garden_of_relays_alone_gets_the_morning_window_only() -> None:
    garden = read(in_zone("valve = { relay = 17 }"))
    assert [w.opens for w in garden.watering.windows] == [time(5)]


anything = st.recursive(
    st.none() | st.booleans() | st.integers(-99, 99) | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["name", "row", "bore", "flow", "from", "x"]), inner)
    ),
    max_leaves=6,
)


def _toml(value: Any) -> str:
    """A value as TOML text; None has none."""
    if value is None:
        return '"none"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08X}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return repr(value)


@given(st.integers(0, FULL.count("\n") - 1), anything)
def test_whatever_stands_at_a_key_it_reads_or_is_refused_in_our_words(
    number: int, value: Any
) -> None:
    lines = FULL.splitlines()
    key = lines[number].split(" = ")[0]
    if "=" not in lines[number] or not key.isidentifier() or lines[number].endswith("["):
        return
    lines[number] = f"{key} = {_toml(value)}"
    try:
        read("\n".join(lines))
    except GardenFileError as error:
        for fault in error.faults:
            assert fault.startswith("garden.toml, line ") or "not valid TOML" in fault


@given(st.text(max_size=60))
def test_any_text_reads_or_is_refused_in_our_words(text: str) -> None:
    with pytest.raises(GardenFileError):
        read(text)


def test_a_round_has_a_turn_for_each_hand_zone_of_a_keeper_and_twelve_at_least() -> None:
    more = (
        '[[zone]]\nname = "z{}"\nrow = [{{ length = "11 ft", every = "6 in", bore = "1/16 in" }}]\n'
    )
    for count, turns in ((3, 12), (15, 16)):  # with the one that the ten lines have
        garden = read(TEN_LINES + "".join(more.format(n) for n in range(count)))
        assert garden.watering.hand_turns == turns
        assert any((f.key, f.shown) == ("hand_turns", str(turns)) for f in garden.filled)
