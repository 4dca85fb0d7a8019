"""Plantings, the ground they stand in, habits of watering, and where weather comes from."""

from __future__ import annotations

import importlib
from datetime import date
from typing import Any

import pytest
from support.garden_files import TEN_LINES, faults, in_zone, read, with_planting

from controller.errors import QuantityError
from controller.garden import values
from controller.garden.model import Coefficients, Planting, UnlikeRows

LEEK = 'crop = "leek", sown = 2031-04-01, until = 2031-09-01'
SET_OUT = 'crop = "leek", transplanted = 2031-04-22, until = 2033-09-01'
ROW = '{ length = "11 ft", every = "6 in", bore = "1/16 in" }'


def rows(count: int, *plantings: str) -> str:
    """The ten lines with so many rows."""
    return with_planting(*plantings).replace(ROW, ", ".join([ROW] * count))


def watering(line: str) -> str:
    return TEN_LINES + f"[watering]\n{line}\n"


def weather(line: str) -> str:
    return TEN_LINES + f"[weather]\n{line}\n"


def told(text: str) -> dict[tuple[str, str], str]:
    return {(one.where, one.key): one.shown for one in read(text).filled}


def the_planting(more: str) -> Planting:
    (planting,) = read(with_planting(f"{LEEK}, {more}")).zones[0].plantings
    return planting


# Each: a file, the line and place it is found at, and what is said.
BROKEN = [
    (
        in_zone('mulch = "starw"'),
        'line 9, zone "leeks", mulch: found "starw"; did you mean "straw"? a mulch is "none", "str',
    ),
    (in_zone("mulch = true"), 'mulch: found true; a mulch is "none", "straw", '),
    (
        in_zone("mulch_rain = 0.4"),
        "mulch_rain: found it without a mulch; name that too, as in mulch = ",
    ),
    (
        in_zone("mulch_cover = 0.8"),
        "mulch_cover: found it without a mulch; name that too, as in mulch = ",
    ),
    (
        in_zone('mulch = "straw"\nmulch_cover = 80'),
        'line 10, zone "leeks", mulch_cover: found 80; a share is a number from 0 to 1, as in 0.6',
    ),
    (
        in_zone("exposure = 3"),
        "exposure: found 3; an exposure is a bare number from 0.5 to 2.5, as in 1.2",
    ),
    (in_zone('holds_rain = "yes"'), 'holds_rain: found "yes"; allowed is true or false'),
    (
        in_zone('bed = "t1"\nexposure = 1.2') + '[[bed]]\nname = "t1"\n',
        'line 10, zone "leeks", exposure: found 1.2; exposure belongs to the bed "t1", not to a',
    ),
    (
        in_zone('unlike_rows = "neadiest"'),
        'unlike_rows: found "neadiest"; did you mean "neediest"? unlike_rows is "neediest" or "me',
    ),
    (
        TEN_LINES.replace('supply = { static_pressure = "48 psi"', 'supply = { salt = "1.2"'),
        'line 1, supply, salt: found "1.2"; the salt in the water needs its unit, as in "1.2 dS/m"',
    ),
    (
        TEN_LINES.replace("supply = { ", 'supply = { salt = "1200 mS/cm", '),
        'supply, salt: found "1200 mS/cm"; the salt in the water is 0 to 20 dS/m, as in "1.2 dS/m"',
    ),
    (with_planting(f"{LEEK}, rows = [2]"), "planting 1, rows: found row 2; this zone has one row"),
    (
        rows(3, f"{LEEK}, rows = [1, 4]"),
        "planting 1, rows: found row 4; this zone has rows 1 to 3",
    ),
    (
        with_planting(f"{LEEK}, rows = [0]"),
        "rows: found 0; a row's number is a whole number from 1",
    ),
    (with_planting(f"{LEEK}, rows = []"), "rows: found []; rows are a list of the zone's rows by"),
    (with_planting(f"{LEEK}, rows = true"), "rows: found true; rows are a list of the zone's"),
    (with_planting(f"{LEEK}, apart = 18"), "apart: found 18; how far plants stand apart needs its"),
    (
        with_planting(f'{LEEK}, apart = "18 m"'),
        'apart: found "18 m"; how far plants stand apart is 5 mm to 10 m',
    ),
    (with_planting(f"{LEEK}, lines = 0"), "lines: found 0; how many lines of plants is a whole"),
    (with_planting(f'{LEEK}, supports = "stakes"'), "supports: found "),
    (
        with_planting(f'{LEEK}, emerges_in = "1 day 2"'),
        'emerges_in: found "1 day 2"; emerges_in is in days or weeks, as in "12 days"',
    ),
    (
        with_planting(f"{LEEK}, harvest_in = 5"),
        'harvest_in: found 5; harvest_in is 15 to 400 whole days, as in 75 or "75 days"',
    ),
    (
        with_planting(f'{LEEK}, harvest_in = "106 days", stages = [20, 45, 60, 15]'),
        "planting 1, harvest_in: found stages as well; the packet's days make the stages",
    ),
    (
        with_planting(f'{LEEK}, emerges_in = "1.5 days"'),
        'emerges_in: found "1.5 days"; emerges_in is 1 to 120 whole days, as in 12 or "12 days"',
    ),
    (
        with_planting(
            'crop = "leek", transplanted = 2031-04-22, until = 2031-10-10, emerges_in = 12'
        ),
        "planting 1, emerges_in: found 12 days for a crop that was transplanted, which is up",
    ),
    (
        with_planting('crop = "leek", sown = 2031-04-22, established = true, until = 2031-10-10'),
        "planting 1, established: found sown as well; it is for a perennial that was set out, or",
    ),
    (
        with_planting('crop = "leek", sown = 2031-04-22, from = 2031-04-22, until = 2031-10-10'),
        "planting 1, from: found sown as well; it is for a perennial that was set out, or",
    ),
    (
        with_planting(f"{SET_OUT}, from = 2031-04-01"),
        "planting 1, from: found 2031-04-01; the growing year of plants set out on 2031-04-22 "
        "begins then or within 300 days",
    ),
    (
        with_planting(f"{SET_OUT}, established = true, planted_year = 2029"),
        "planting 1, planted_year: found established = true as well; a perennial has one of the",
    ),
    (
        with_planting(f"{SET_OUT}, from = 2031-04-22, planted_year = 2029"),
        "planting 1, planted_year: found transplanted and from as well, which say how old",
    ),
    (
        with_planting(f"{SET_OUT}, from = 2031-04-22, established = true"),
        "planting 1, established: found transplanted and from as well, which say how old",
    ),
    (
        with_planting('crop = "leek", from = 2031-04-22, established = false, until = 2031-10-10'),
        "planting 1, established: found false, with from; plants newly set out have transplanted",
    ),
    (
        with_planting('crop = "leek", from = 2031-04-22, planted_year = 2032, until = 2033-10-10'),
        "planting 1, planted_year: found 2032, which is after the first day, 2031-04-22",
    ),
    (
        with_planting(f"{LEEK}, planted_year = 29"),
        "planting 1, planted_year: found 29; ",
    ),
    (
        with_planting('crop = "leek", from = 2031-04-22, until = 2031-04-10'),
        "planting 1, until: found 2031-04-10; the last day is not before the first, 2031-04-22",
    ),
    (
        with_planting('crop = "leek", sown = 2031-04-22, until = 2031-05-02, emerges_in = 12'),
        "emerges_in: found 12 days, which is after the planting ends on 2031-05-02",
    ),
    (
        with_planting(f'{LEEK}, stages_by = "heat"'),
        'stages_by: found "heat"; what moves its stages is "days" or "warmth"',
    ),
    (
        with_planting(f"{LEEK}, stages_warmth = [250, 500, 700, 300]"),
        'stages_warmth: found 250; the warmth of a stage needs its unit, as in "250 C days"',
    ),
    (
        with_planting(f'{LEEK}, stages_warmth = ["250 C days"]'),
        'stages_warmth: found ["250 C days"]; stages by warmth are four sums of degree days',
    ),
    (
        with_planting(f"{LEEK}, stages = [9, 9, 9, 9], stages_warmth = {['9 C days'] * 4}"),
        "planting 1, stages_warmth: found stages as well; a planting's stages are written in days",
    ),
    (
        with_planting(f'{LEEK}, stages_by = "days", stages_warmth = {["9 C days"] * 4}'),
        'planting 1, stages_warmth: found stages_by = "days" with it; degree days belong to',
    ),
    (watering("forecast_trust = 1.5"), "watering, forecast_trust: found 1.5; a share is a number"),
    (
        watering('coefficients = "duel"'),
        'watering, coefficients: found "duel"; did you mean "dual"? coefficients is "single" or',
    ),
    (
        watering("settling_days = -1"),
        "watering, settling_days: found -1; settling_days is 0 to 60 whole days, as in 7",
    ),
    (
        weather('online = ["open-meto"]'),
        'weather, online: found "open-meto"; did you mean "open-meteo"? a service is',
    ),
    (weather("online = 1"), "weather, online: found 1; allowed is true, false, or a list of serv"),
    (
        weather("online = [1]"),
        'weather, online: found 1; a service is "open-meteo", "met-norway", "nasa',
    ),
    (
        weather('online = ["open-meteo", "met-norway"]'),
        'weather, online: found "met-norway" without a contact; it answers only those who say who',
    ),
    (weather('online = "nws"'), 'weather, online: found "nws" without a contact; it answers only'),
    (weather('contact = "me"'), 'weather, contact: found "me"; a contact is a mail address or a'),
    (weather('contact = "ü@example.org"'), "weather, contact: found "),
    (
        weather('file = "w.csv"\nfile_kind = "gshd"'),
        'line 13, weather, file_kind: found "gshd"; did you mean "gsod"? a kind of weather file is',
    ),
    (
        weather('file_kind = "gsod"'),
        'weather, file_kind: found "gsod" without a file; name that too, as in file = ',
    ),
    (weather('climate = "wet"'), 'weather, climate: found "wet"; a climate is "arid", "semi-a'),
    (weather("frost_hold = 34"), 'frost_hold: found 34; a frost hold needs its unit, as in "34 F"'),
    (
        weather('frost_hold = "34 C"'),
        'frost_hold: found "34 C"; a frost hold is from 14 F to 50 F (-10 C to 10 C), as in "34',
    ),
]


@pytest.mark.parametrize(("text", "said"), BROKEN)
def test_a_mistake_is_said_with_its_place_and_what_is_allowed(text: str, said: str) -> None:
    found = faults(text)
    assert any(said in fault for fault in found), found


@pytest.mark.parametrize(
    ("written", "mulch"),
    [("Straw", "straw"), ("hay", "straw"), ("wood  chips", "bark"), ("clippings", "grass")],
)
def test_a_mulch_reads_by_what_gardeners_call_it(written: str, mulch: str) -> None:
    (zone,) = read(in_zone(f'mulch = "{written}"')).zones
    assert zone.bed.mulch == mulch
    assert zone.bed.mulch_cover == 1.0


def test_a_zone_without_a_bed_tells_of_its_ground_itself() -> None:
    (zone,) = read(
        in_zone('mulch = "bark"\nmulch_cover = 0.5\nexposure = 0.9\nholds_rain = true')
    ).zones
    bed = zone.bed
    assert (bed.mulch, bed.mulch_cover, bed.exposure, bed.holds_rain) == ("bark", 0.5, 0.9, True)


def test_the_rain_under_a_mulch_is_a_figure_of_its_own() -> None:
    (zone,) = read(in_zone('mulch = "film"\nmulch_rain = "40 %"')).zones
    assert zone.bed.mulch_rain == pytest.approx(0.4)
    # WORKED: 3 x 0.02 + 0.25 = 0.31 of what falls on the film; half of the ground is open.
    (zone,) = read(in_zone('mulch = "plastic"\nmulch_cover = 0.5')).zones
    assert zone.bed.mulch_rain == pytest.approx(0.5 + 0.5 * 0.31)
    assert told(in_zone('mulch = "plastic"'))[('zone "leeks"', "mulch_rain")] == "0.31"
    (zone,) = read(in_zone('mulch = "straw"')).zones
    assert zone.bed.mulch_rain is None
    assert ('zone "leeks"', "mulch_rain") not in told(in_zone('mulch = "straw"'))


def test_plantings_overlap_in_time_only_on_different_rows() -> None:
    other = 'crop = "carrot", sown = 2031-05-01, until = 2031-08-01'
    (zone,) = read(rows(2, f"{LEEK}, rows = [1]", f"{other}, rows = [2]")).zones
    assert [planting.rows for planting in zone.plantings] == [(1,), (2,)]
    assert zone.unlike_rows is UnlikeRows.NEEDIEST
    (fault,) = faults(rows(2, f"{LEEK}, rows = [1]", f"{other}, rows = [1, 2]"))
    assert fault.endswith(
        "planting 2: found its first day 2031-05-01; planting 1 stands until 2031-09-01, "
        "and row 1 has one planting at a time"
    )
    (fault,) = faults(rows(2, LEEK, f"{other}, rows = [2]"))
    assert fault.endswith(
        "and a row has one planting at a time; those that stand side by side name their rows, "
        "as in rows = [2]"
    )


def test_an_overlap_is_found_beyond_the_planting_just_before() -> None:
    # The second is short and over; the first still stands in row 1 when the third comes.
    short = 'crop = "carrot", sown = 2031-04-10, until = 2031-05-10, rows = [2]'
    late = 'crop = "carrot", sown = 2031-06-01, until = 2031-08-01, rows = [1]'
    (fault,) = faults(rows(2, f"{LEEK}, rows = [1]", short, late))
    assert "planting 3: found its first day 2031-06-01; planting 1 stands until" in fault


def test_rows_that_do_not_read_are_blamed_once() -> None:
    other = 'crop = "carrot", sown = 2031-05-01, until = 2031-08-01, rows = [2]'
    (fault,) = faults(rows(2, f"{LEEK}, rows = one", other).replace("= one", '= "one"'))
    assert 'rows: found "one"' in fault


def test_stages_in_days_may_be_moved_by_warmth() -> None:
    planting = the_planting('stages = [20, 30, 40, 10], stages_by = "warmth"')
    assert (planting.by_warmth, planting.stage_days) == (True, (20, 30, 40, 10))
    assert planting.stage_warmth is None


def test_what_is_not_said_of_a_planting_is_left_to_the_crop_table() -> None:
    planting = the_planting("lines = 1")
    assert (planting.rows, planting.spacing_m, planting.emerges_days) == ((), None, None)
    assert (planting.supported, planting.by_warmth, planting.plant_lines) == (False, False, 1)


def test_days_may_be_bare_or_told() -> None:
    read_days = values.days_of("a wait", 1, 30, 5)
    assert [read_days(found) for found in (12, "12 days", "2 weeks")] == [12, 12, 14]
    for found in (0, 31, 12.0, True, "31 days", 10**30, "0 days", None):
        with pytest.raises(QuantityError):
            read_days(found)


def test_the_defaults_that_matter_are_told() -> None:
    said = told(TEN_LINES)
    assert said[("watering", "coefficients")] == "dual"
    assert said[("watering", "forecast_trust")] == "0.5"
    assert said[("watering", "settling_days")] == "7"
    assert said[("weather", "frost_hold")] == "32 F"
    assert said[("weather", "climate")] == "sub-humid"
    assert ('zone "leeks"', "mulch_cover") not in said
    assert ('zone "leeks"', "unlike_rows") not in said
    garden = read(TEN_LINES)
    assert garden.watering.coefficients is Coefficients.DUAL
    assert (garden.watering.forecast_trust, garden.watering.settling_days) == (0.5, 7)
    assert (garden.weather.frost_hold_c, garden.weather.climate) == (0.0, "sub-humid")
    assert garden.supply.salt_ds_m is None


def test_a_default_is_told_only_where_it_is_used() -> None:
    assert told(in_zone('mulch = "straw"'))[('zone "leeks"', "mulch_cover")] == "1"
    assert ("watering", "settling_days") not in told(with_planting(LEEK))
    assert ("weather", "climate") not in told(weather('normals = "years.csv"'))
    other = 'crop = "carrot", sown = 2031-05-01, until = 2031-08-01, rows = [2]'
    assert told(rows(2, f"{LEEK}, rows = [1]", other))[('zone "leeks"', "unlike_rows")]


@pytest.mark.parametrize(
    ("written", "services"),
    [
        ("online = true", ("open-meteo",)),
        ('online = true\ncontact = "https://example.org"', ("open-meteo", "met-norway")),
        ("online = false", ()),
        ('online = false\ncontact = "a@example.org"', ()),
        ("online = []", ()),
        ('online = "nasa-power"', ("nasa-power",)),
        ('online = ["NASA-power", "open-meteo", "nasa-power"]', ("nasa-power", "open-meteo")),
        ('online = ["nws"]\ncontact = "a@example.org"', ("nws",)),
    ],
)
def test_services_are_asked_in_the_order_they_are_named(written: str, services: Any) -> None:
    source = read(weather(written)).weather
    assert source.services == services
    assert source.online is bool(services)


def test_true_is_told_as_the_services_it_stands_for() -> None:
    assert told(weather("online = true"))[("weather", "online")] == "open-meteo"
    text = weather('online = true\ncontact = "a@example.org"')
    assert told(text)[("weather", "online")] == "open-meteo, met-norway"


@pytest.mark.parametrize(("written", "held_c"), [("off", None), ("-2 C", -2.0), ("32 F", 0.0)])
def test_a_frost_hold_is_a_temperature_or_off(written: str, held_c: float | None) -> None:
    found = read(weather(f'frost_hold = "{written}"')).weather.frost_hold_c
    # WORKED: 32 F is 0 C.
    assert found == (None if held_c is None else pytest.approx(held_c))


@pytest.mark.parametrize(
    ("words", "module", "name"),
    [
        (values.MULCHES, "controller.demand.soil.mulch", "KINDS"),
        (values.CLIMATES, "controller.demand.climate.usual_et", "CLIMATES"),
        (values.SERVICES, "controller.weather.online.services", "SERVICES"),
        (values.FILE_KINDS[1:], "controller.weather.files.reader", "KINDS"),
    ],
)
def test_a_word_of_the_file_is_one_that_the_room_below_it_knows(
    words: str, module: str, name: str
) -> None:
    known = getattr(importlib.import_module(module), name)
    assert tuple(words) == tuple(known)


# Each: how a perennial's first day is written; its first day, growing years before, growing from.
@pytest.mark.parametrize(
    ("written", "start", "years_before", "grows_from"),
    [
        ("transplanted = 2031-04-10", date(2031, 4, 10), 0, None),
        ("transplanted = 2031-04-10, established = true", date(2031, 4, 10), None, None),
        ("transplanted = 2031-04-10, established = false", date(2031, 4, 10), 0, None),
        ("transplanted = 2031-04-10, planted_year = 2029", date(2031, 4, 10), 2, None),
        (
            "transplanted = 2030-10-20, from = 2031-03-15",
            *(date(2030, 10, 20), 0, date(2031, 3, 15)),
        ),
        ("from = 2031-03-15", date(2031, 3, 15), None, None),
        ("from = 2031-03-15, established = true", date(2031, 3, 15), None, None),
        ("from = 2031-03-15, planted_year = 2029", date(2031, 3, 15), 2, None),
        ("from = 2031-03-15, planted_year = 2031", date(2031, 3, 15), 0, None),
        ("sown = 2031-03-15", date(2031, 3, 15), 0, None),
    ],
)
def test_how_old_a_perennial_is_reads(
    written: str, start: Any, years_before: Any, grows_from: Any
) -> None:
    text = with_planting(f'crop = "leek", {written}, until = 2034-10-10')
    (planting,) = read(text).zones[0].plantings
    assert (planting.start, planting.years_before) == (start, years_before)
    assert planting.grows_from == grows_from
    assert planting.transplanted is ("sown" not in written)
