"""What `new` asks, and the garden file that it makes of the answers."""

from __future__ import annotations

import random
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.typist import NOON, Person, known, made

from controller.check.place_checks import cities
from controller.cli.new.answers import CropNames, coordinates, some_day, timezone
from controller.cli.new.questions import garden_text
from controller.cli.new.talk import Talk, one_of
from controller.cli.new.towns import Towns
from controller.errors import QuantityError
from controller.garden.plumbing import Device, Face, SupplyKind, ValveKind, Walls
from crops.catalogue import load

PLACE = ["Invented", "zurich", "47.1, 8.2", "us", "1350 ft", "climate", "humid"]
TAP = ["tap", "48 psi", "5 gal", "40", "3/4"]
GROUND = ["leeks", "2", "4 ft", "sandy loam", "straw"]
ROWS = ["11 ft", "3/4", "1/16 in", "6 in", "1", "down"]
VALVE = ["18 ft", "-4 in", "diaphragm", "17", "1.5 L/min"]
CROP = ["leek", "set out", "2031-04-22", "2031-10-10"]
BED = [*GROUND, *ROWS, *VALVE, *CROP]
LIKE = ["like", "kale", "24 ft", "GPIO 5", "1.2 L/min", "kale", "sown", "2031-07-08", "15 November"]
BALL = ["30 ft", "0 ft", "ball stays", "22", "23", "9 s", "full"]
OTHER = ["other", "berries", "1", "3 ft", "", "", *ROWS, *BALL, "strawb", "standing", "1 may", ""]
WHOLE = [*PLACE, *TAP, *BED, *LIKE, *OTHER, "no"]
# Silent reading of English, mean of 190 studies: 238 words a minute (Brysbaert 2019, Journal of
# Memory and Language 109, abstract, from memory). Three seconds to think and two keys a second,
# with one finger: our choice.
WORDS_A_MINUTE, THINK_S, KEY_S = 238.0, 3.0, 0.5


def test_the_answers_stand_in_the_garden() -> None:
    text, person, talk, garden = made(WHOLE)
    assert not person.left and not talk.ended
    site = garden.site
    assert (site.name, site.latitude_deg, site.longitude_deg) == ("Invented", 47.1, 8.2)
    assert (site.timezone, garden.us_units) == ("Europe/Zurich", True)
    # WORKED: 1350 ft of 0.3048 m; 5 gal of 231 in3 in 40 s.
    assert site.elevation_m == pytest.approx(411.48)
    assert garden.supply.test_flow_m3_s == pytest.approx(5 * 231 * 0.0254**3 / 40)
    assert 'size = "3/4 in"' in text
    leeks, kale, berries = garden.zones
    assert [len(zone.rows) for zone in garden.zones] == [2, 2, 1]
    assert (leeks.bed.soil, leeks.bed.mulch, leeks.valve.relay_line) == ("sandy_loam", "straw", 17)
    # WORKED: 4 ft over two rows; 1/16 in; 1.5 L/min.
    assert leeks.rows[0].ground_width_m == pytest.approx(2 * 0.3048)
    assert leeks.rows[0].drilling.bore_m == pytest.approx(0.0254 / 16)
    assert leeks.opening.alone_flow_m3_s == pytest.approx(0.0015 / 60)
    assert leeks.valve.device is Device.DIAPHRAGM
    # Like the one before, but for what was asked.
    assert kale.rows == leeks.rows and kale.valve.relay_line == 5
    assert kale.opening.alone_flow_m3_s == pytest.approx(0.0012 / 60)  # WORKED
    assert kale.bed.mulch == "straw"
    assert (kale.plantings[0].start, kale.plantings[0].until) == (
        date(2031, 7, 8),
        date(2031, 11, 15),
    )
    assert not kale.plantings[0].transplanted
    # Other: what Enter took over.
    assert (berries.bed.soil, berries.bed.mulch) == ("sandy_loam", "straw")
    assert (berries.valve.device, berries.valve.close_line) == (Device.BALL_STAYS, 23)
    assert berries.valve.opens_in_s == 9.0
    assert berries.plantings[0].years_before is None
    assert '# stand-in: soil sandy loam; as in "kale"' in text
    assert text.startswith("# The garden file of Invented")


def test_enter_alone_makes_a_garden_and_says_of_each_stand_in_that_it_is_one() -> None:
    text, person, talk, garden = made([""] * 60)
    assert not talk.ended
    assert garden.weather.online
    (zone,) = garden.zones
    assert zone.valve.kind is ValveKind.HAND and zone.plantings[0].start == NOON.date()
    city = cities()["Europe/Zurich"]
    assert garden.site.latitude_deg == pytest.approx(city.latitude_deg, abs=0.01)
    assert not garden.us_units
    taken = [line for line in person.shown if line.startswith("  Taken: ")]
    marked = text.count("# stand-in: ")
    assert len(taken) == marked > 15


@pytest.mark.parametrize("words", ["don't know", "Don\u2019t know", " dk "])
def test_do_not_know_is_like_enter(words: str) -> None:
    assert made([words] * 60)[0] == made([""] * 60)[0]


@pytest.mark.parametrize("end", [EOFError, KeyboardInterrupt])
def test_wherever_the_answers_end_the_file_reads_and_keeps_them(
    end: type[BaseException],
) -> None:
    """A second, for every count of answers is tried."""
    step = 1 if end is EOFError else 7
    for count in range(1, len(WHOLE), step):
        text, person, talk, garden = made(WHOLE[:count], end=end)
        assert talk.ended and talk.answered == count and not person.left
        assert garden.site.name == "Invented"
        assert "The answers ended before the last question" in text
        assert (garden.site.latitude_deg == 47.1) == (count > 2)
        assert not garden.weather.online  # nobody was asked
        if count > len([*PLACE, *TAP]):
            assert garden.zones[0].name == "leeks"
        assert len(garden.zones) == 1 + (count > WHOLE.index("like")) + (
            count > WHOLE.index("other")
        )


def test_back_goes_one_question_back_and_further() -> None:
    straight = made(WHOLE)[0]
    # After each answer a wrong one to the next question would stand; back takes it away again.
    for at in (1, 3, 8, 13, 20, 30, len(WHOLE) - 2):
        assert made([*WHOLE[:at], "back", *WHOLE[at - 1 :]])[0] == straight
    assert made([*WHOLE[:20], "back", "B", "back", *WHOLE[17:]])[0] == straight
    # Into another branch: a pump, then the tap after all.
    pump = [*PLACE, "pump", "30 psi", "50 psi", "back", "back", "back", *WHOLE[len(PLACE) :]]
    assert made(pump)[0] == straight
    first = made(["back", "back", *WHOLE])
    assert first[0] == straight
    assert first[1].shown.count("This is the first question.") == 2


def test_each_bad_answer_says_what_was_found_and_what_is_allowed() -> None:
    bad = {
        2: ["147.6, 8", "north", "47,6"],
        3: ["both"],
        4: ["1350", "9000 m"],
        8: ["0 psi", "48", "48 ft"],
        10: ["never", "0"],
        11: ["30 in"],
        13: ["0", "51", "two", "1.5"],
        14: ["4", "4 psi"],
        15: ["mud"],
        17: ["11", "0 ft"],
        19: ["2 in", "0.01 in"],
        20: ["30 ft", "1/32 in"],
        21: ["99", "7", "0"],
        22: ["inwards"],
        24: ["60 m", "120 ft"],
        25: ["motor"],
        26: ["1", "28", "seventeen"],
        27: ["open", "95 deg", "0 L/min"],
        28: ["to", "xyzzy"],
        30: ["2031-02-30", "soon", "31 april"],
        31: ["2031-04-21"],
        33: ["Leeks"],
        35: ["17"],
    }
    told: list[str] = []
    for at, answer in enumerate(WHOLE):
        told += [*bad.get(at, []), answer]
    text, person, _, _ = made(told)
    assert text == made(WHOLE)[0]
    wrong = [line for line in person.shown if line.startswith("Found ")]
    assert len(wrong) == sum(map(len, bad.values()))
    said = " ".join(" ".join(person.shown).split())
    assert (
        'Found "to", with which 4 begin: Tomatillo; Tomato on stakes; Tomato, unstaked; Jerusalem'
        in said
    )
    assert 'Found "xyzzy"' in said and "17 again" in said


def test_a_place_that_does_not_fit_its_clock_is_asked_about() -> None:
    west = [*PLACE[:2], "47.1, -98.2"]
    text, person, _, _ = made([*west, "no", *WHOLE[2:]])
    assert text == made(WHOLE)[0]
    said = " ".join(" ".join(person.shown).split())
    assert "longitude -98.2 does not fit Europe/Zurich" in said
    assert made([*west, "yes", *WHOLE[3:]])[3].site.longitude_deg == -98.2
    assert made(west)[3].site.longitude_deg == -98.2  # it was answered, so it is kept
    south = made([*PLACE[:2], "47.1 S, 8.2 E", "", *WHOLE[2:]])
    assert south[0] == text


def test_a_pump_a_regulator_and_a_barrel() -> None:
    rest = ["", *BED, "no"]
    pump = ["pump", "30 psi", "25 psi", "50 psi", "", "", "30", "52 psi", "40 psi"]
    _, person, _, garden = made([*PLACE, *pump, *rest])
    supply = garden.supply
    assert supply.kind is SupplyKind.PUMP and supply.pump is not None
    # WORKED: 30, 50 and 40 psi of 0.70434 m; the stand-ins 20 gal and 5 gal in 30 s.
    heads = (supply.pump.on_head_m, supply.pump.off_head_m, supply.test_head_m)
    assert heads == pytest.approx((30 * 0.70434, 50 * 0.70434, 40 * 0.70434), rel=1e-4)
    assert supply.pump.tank_m3 == pytest.approx(20 * 231 * 0.0254**3)
    assert supply.test_flow_m3_s == pytest.approx(10 * 231 * 0.0254**3 / 60)
    said = " ".join(person.shown)
    assert 'Found "25 psi"; a pump stops at more than 30 psi' in said
    assert 'Found "52 psi"; at 50 psi the pump stops: open more' in said
    _, _, _, garden = made([*PLACE, "regulator", "25 psi", *rest])
    assert garden.supply.kind is SupplyKind.REGULATOR and garden.supply.test_assumed
    _, _, _, garden = made([*PLACE, "4", "3 ft", "10 L", "90", *rest[:-23], *BED, "no"])
    assert garden.supply.kind is SupplyKind.BARREL
    assert garden.supply.static_head_m == pytest.approx(3 * 0.3048)  # WORKED


def test_holes_as_they_are_drilled() -> None:
    rows = ["4 m", "", "1.5 mm", "60 cm", "3", "through"]
    _, _, _, garden = made([*PLACE, *TAP, *GROUND, *rows, *VALVE, *CROP, "no"])
    drilling = garden.zones[0].rows[1].drilling
    assert (drilling.group, drilling.walls) == (3, Walls.BOTH)
    rows[-1] = "s"
    _, _, _, garden = made([*PLACE, *TAP, *GROUND, *rows, *VALVE, *CROP, "no"])
    assert garden.zones[0].rows[1].drilling.face is Face.SIDE


def test_weather_of_a_file_needs_the_file(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text("date\n", encoding="utf-8")
    told = [*PLACE[:5], "file", "yours.csv", "mine.csv", "arid", *TAP, *BED, "no"]
    _, person, _, garden = made(told, known(tmp_path))
    assert (garden.weather.file, garden.weather.climate) == ("mine.csv", "arid")
    assert any(line.startswith('Found "yours.csv"; there is no such file') for line in person.shown)


def test_a_short_row_has_a_stand_in_that_fits() -> None:
    _, _, _, garden = made([*PLACE, *TAP, *GROUND, "2 in", "", "", "", "", "", *VALVE, *CROP, "no"])
    # WORKED: one hole in the middle of two inches.
    assert garden.zones[0].rows[0].drilling.every_m == pytest.approx(2 * 0.0254)


def test_a_first_sheet_takes_less_than_ten_minutes_to_type() -> None:
    """Two beds: read each line, think, type with one finger; the walk itself is not in it."""
    two = [*PLACE, *TAP, *BED, *LIKE, "no"]
    _, person, _, _ = made(two)
    words = sum(len(line.split()) for line in [*person.shown, *person.asked])
    keys = sum(len(answer) + 1 for answer in two)
    assert len(person.asked) == len(two)
    taken_s = words / WORDS_A_MINUTE * 60.0 + THINK_S * len(two) + KEY_S * keys
    assert taken_s < 600.0, (len(two), keys, words)


# ---- single answers ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("47.61, 8.13", (47.61, 8.13)),
        ("47.61,8.13", (47.61, 8.13)),
        ("47,6 8,1", (47.6, 8.1)),
        ("47,6; 8,1", (47.6, 8.1)),
        ("33.9 S, 18.4 E", (-33.9, 18.4)),
        ("33.9S 70.6w", (-33.9, -70.6)),
        ("-33.9 -70", (-33.9, -70.0)),
        ("47.6° N 8.1° E", (47.6, 8.1)),
    ],
)
def test_coordinates_as_maps_show_them(written: str, read: tuple[float, float]) -> None:
    assert coordinates(written) == read


@pytest.mark.parametrize("written", ["47,6", "47.6", "47.6 8.1 3", "-47.6 S 8", "91, 0", "0 181"])
def test_other_coordinates_are_refused(written: str) -> None:
    with pytest.raises(QuantityError, match=r"^found "):
        coordinates(written)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2031-05-02", date(2031, 5, 2)),
        ("2 May", date(2031, 5, 2)),
        ("May 2nd 2030", None),
        ("may 2, 2030", date(2030, 5, 2)),
        ("28. dec", date(2030, 12, 28)),
        ("today", date(2031, 4, 20)),
        ("Tomorrow", date(2031, 4, 21)),
        ("-20", date(2031, 3, 31)),
        ("31 april", None),
        ("5", None),
    ],
)
def test_days_as_people_write_them(written: str, read: date | None) -> None:
    if read is None:
        with pytest.raises(QuantityError, match=r"^found "):
            some_day(written, NOON.date())
    else:
        assert some_day(written, NOON.date()) == read


def test_a_time_zone_by_its_city() -> None:
    assert timezone("zurich") == timezone("Europe/Zurich") == "Europe/Zurich"
    assert timezone("los angeles") == "America/Los_Angeles"
    with pytest.raises(QuantityError, match="did you mean"):
        timezone("Europe/Zurick")


def test_crops_by_their_first_letters() -> None:
    crops = CropNames(load())
    assert crops.read("lee").name == "leek"
    assert crops.read("Pea").name == "pea"  # a whole name is not the beginning of others
    assert crops.read("courg").name == "summer_squash_zucchini"
    assert len(crops.listed().splitlines()) < 40
    for crop in load().crops():
        assert crop.label in crops.listed()
        assert crops.read(crop.label) == crop


def test_a_word_of_a_menu_by_number_or_beginning() -> None:
    read = one_of("a thing", {"sand": "", "sandy loam": "", "clay": ""})
    assert [read(said) for said in ("sand", "2", "c", "SANDY")] == [
        *("sand", "sandy loam", "clay", "sandy loam"),
    ]
    for wrong in ("s", "4", "0", ""):
        with pytest.raises(QuantityError):
            read(wrong)


def _town(
    name: str, state: str, country: str, people: int, place: tuple[float, float]
) -> dict[str, object]:
    return {
        "name": name,
        "admin1code": state,
        "countrycode": country,
        "population": people,
        "latitude": place[0],
        "longitude": place[1],
        "timezone": "Europe/Zurich" if country == "CH" else "America/Chicago",
        "alternatenames": ["Zuerich"] if country == "CH" else [],
    }


# Well-known towns; public geography, rounded. The numbers of people are invented.
TOWNS = Towns(
    [
        _town("Zürich", "25", "CH", 300_000, (47.4, 8.5)),
        _town("Springfield", "MO", "US", 170_000, (37.2, -93.3)),
        _town("Springfield", "IL", "US", 110_000, (39.8, -89.6)),
    ],
    {"CH": "Switzerland", "US": "United States"},
    {"MO": "Missouri", "IL": "Illinois"},
)


def test_a_town_gives_place_zone_and_units() -> None:
    by_town = [*TAP, *BED, "no"]
    told = ["Invented", "springfield", "Springfield, Illinois", "", "", "climate", "", *by_town]
    text, person, _, garden = made(told, known(towns=TOWNS))
    site = garden.site
    assert (site.latitude_deg, site.timezone) == (39.8, "America/Chicago")
    assert garden.us_units
    assert "the name of 2 towns: Springfield, MO, US; Springfield, IL, US" in " ".join(person.shown)
    assert "# the place is that of Springfield, IL, US" in text
    for name in ("zurich", "Zuerich, CH", "ZÜRICH, switzerland"):
        assert TOWNS.town(name).name == "Zürich"
    with pytest.raises(QuantityError, match="no town"):
        TOWNS.town("Zürich, US")
    # Without one near, the coordinates are asked for.
    assert made(["Invented", "", *WHOLE[1:]], known(towns=TOWNS))[3].site.longitude_deg == 8.2


# ---- any answers ---------------------------------------------------------------------------------

ANY = [
    *("", "", "", "?", "back", "dk", "x", "nan", "1e999", "| ", "-1 furlong", "yes", "no", "0"),
    *("1", "2", "3", "4", "5", "22", "like", "other", "standing", "set out", "hand", "ball stays"),
    *("5 gal", "0.01 mL", "900 m3", "1 psi", "199 psi", "289 psi", "2 in", "11 ft", "90 m"),
    *("1 cm", "1.5 mm", "19 mm", "2 mm", "-50 m", "59 m", "86400", "0.5", "300 s", "1900-01-01"),
    *("2199-12-31", "1 mar", "UTC", "Asia/Kolkata", "Pacific/Kiritimati", "89.9, 179.9", "-80 -1"),
    *("unknown", "45 deg", "60 %", "0.1 L/min", "5 m3/h", "garlic", "citrus", "apple", "lawn"),
    *('my "own" \\ bed', "ü # ]]", "'''", "pump", "barrel", "regulator", "file", "2 in"),
]


@settings(deadline=None, max_examples=30)
@given(st.randoms(use_true_random=False), st.integers(1, 90))
def test_whatever_is_answered_the_file_reads_without_a_fault(
    told: random.Random, many: int
) -> None:
    """Seconds, for each answer that must fit reads a small garden file."""
    text, _, talk, garden = made([told.choice(ANY) for _ in range(many)])
    assert talk.ended or garden.zones
    assert len(garden.zones) == text.count("[[zone]]")
    assert max(map(len, text.splitlines())) < 220


def test_nothing_answered_is_known() -> None:
    person = Person([])
    talk = Talk(person.line, person.say)
    talk.run(lambda asked: garden_text(asked, known()))
    assert talk.ended and talk.answered == 0
