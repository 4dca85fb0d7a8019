"""A handful of questions, and a garden file that reads."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.garden.model import Garden
from controller.garden.new_garden import ask_new
from controller.garden.plumbing import SupplyKind, ValveKind
from controller.garden.read import read_garden_text
from controller.hydraulics.physics.pipe import PIPES

CROPS = ["leek", "carrot", "tomato_staked"]
PLACE = ["Invented", "us", "47.6", "8,1", "", "Europe/Zurich"]
TAP = ["48 psi", "5 gal", "40"]
ZONE = ["leeks", "17", "18 ft", "leek", "2031-04-22", "", "2031-10-10", "11 ft", "", "6 in"]


class Person:
    """Gives the answers in turn and keeps the questions."""

    def __init__(self, answers: Iterable[str]) -> None:
        self.answers = list(answers)
        self.asked: list[str] = []

    def __call__(self, question: str, default: str) -> str:
        self.asked.append(question)
        return self.answers.pop(0)


def made(answers: Iterable[str]) -> tuple[str, Person, Garden]:
    person = Person(answers)
    text = ask_new(person, known_crops=CROPS)
    assert person.answers == []
    return text, person, read_garden_text(text, pipes=PIPES, known_crops=CROPS)


def test_the_answers_stand_in_the_garden() -> None:
    text, person, garden = made([*PLACE, *TAP, *ZONE, "no", ""])
    assert len(person.asked) == 21
    assert (garden.site.name, garden.site.latitude_deg, garden.site.longitude_deg) == (
        *("Invented", 47.6, 8.1),
    )
    assert garden.us_units
    (zone,) = garden.zones
    assert (zone.name, zone.valve.relay_line) == ("leeks", 17)
    (row,) = zone.rows
    # WORKED: the default 1/16 in; 11 ft of 0.3048 m; 5 gal of 231 in3 in 40 s.
    assert row.drilling.bore_m == pytest.approx(0.0254 / 16)
    assert row.length_m == pytest.approx(3.3528)
    assert garden.supply.test_flow_m3_s == pytest.approx(5 * 231 * 0.0254**3 / 40)
    assert zone.plantings[0].transplanted
    assert text.startswith("# The garden file of Invented.")


def test_a_pump_is_asked_for_its_switch_its_tank_and_one_bucket() -> None:
    pump = ["Pump", "30 psi", "25 psi", "50 psi", "", "", "30", "52 psi", "40 psi"]
    _, person, garden = made([*PLACE, *pump, *ZONE, "no", ""])
    supply = garden.supply
    assert supply.kind is SupplyKind.PUMP and supply.pump is not None
    # WORKED: 30, 50 and 40 psi of 0.70434 m; the default 20 gal; 5 gal in 30 s.
    heads = (supply.pump.on_head_m, supply.pump.off_head_m, supply.test_head_m)
    assert heads == pytest.approx((30 * 0.70434, 50 * 0.70434, 40 * 0.70434), rel=1e-4)
    assert supply.pump.tank_m3 == pytest.approx(20 * 231 * 0.0254**3)
    assert supply.test_flow_m3_s == pytest.approx(10 * 231 * 0.0254**3 / 60)
    wrong = [question for question in person.asked if question.startswith("found ")]
    assert wrong[0].startswith('found "25 psi"; a pump stops at more than 30 psi')
    assert wrong[1].startswith('found "52 psi"; at 50 psi the pump stops: open more')


def test_a_perennial_that_stands_there_already_is_established() -> None:
    _, _, garden = made([*PLACE, *TAP, *ZONE[:5], "established", *ZONE[6:], "no", ""])
    (planting,) = garden.zones[0].plantings
    assert planting.years_before is None
    assert planting.transplanted


def test_a_bad_answer_is_asked_for_again_with_what_is_wrong_with_it() -> None:
    place = [*PLACE[:2], "147.6", "north", *PLACE[2:5], "Zurich", PLACE[5]]
    tap = ["48", "0 psi", *TAP[:2], "never", TAP[2]]
    first = [*ZONE[:6], "2031-04-21", *ZONE[6:9], "30 ft", ZONE[9]]
    again = ["leeks", "kale", "17", "hand", *ZONE[2:3], "lek", *ZONE[3:]]
    _, person, garden = made(
        [*place, *tap, *first, "perhaps", "yes", *again, "no", "my station.csv"]
    )
    assert garden.weather.file == "my station.csv"
    wrong = [question for question in person.asked if question.startswith("found ")]
    assert [question.split(";")[0] for question in wrong] == [
        *('found "147.6"', 'found "north"', 'found "Zurich"', 'found "48"', 'found "0 psi"'),
        *('found "never"', "found 2031-04-21", 'found "30 ft"', 'found "perhaps"'),
        *('found "leeks" again', "found 17 again", 'found "lek"'),
    ]
    assert 'did you mean "leek"?' in wrong[-1]
    assert [zone.valve.kind for zone in garden.zones] == [ValveKind.RELAY, ValveKind.HAND]


number = st.floats(0.5, 60.0).map(lambda value: f"{value:.2f}")
lengths = st.tuples(number, st.sampled_from([" ft", " m", "ft"])).map("".join)
names = st.text(
    st.characters(categories=["L", "N", "P", "Zs", "S"], exclude_characters="|"), max_size=12
).filter(lambda name: name.strip().isprintable())
dates = st.dates(date(1900, 1, 1), date(2199, 12, 31))  # what a garden file takes


@st.composite
def answers(draw: st.DrawFn) -> list[str]:
    """Answers of every sort, the bad among them; each question ends with a good one."""
    bad = st.lists(st.sampled_from(["x", "-1 furlong", "| ", "nan", "1e999"]), max_size=1)
    good_zone_names = iter(f"zone {n}" for n in range(99))
    free_relays = iter(range(2, 28))
    told = [draw(names), draw(st.sampled_from(["us", "Metric", ""]))]
    told += [
        *draw(bad),
        str(draw(st.floats(-90, 90))),
        *draw(bad),
        str(draw(st.integers(-180, 180))),
    ]
    told += [draw(lengths), *draw(bad), draw(st.sampled_from(["UTC", "America/Denver"]))]
    told += [*draw(bad), draw(number) + " psi", draw(number) + " gal", draw(number)]
    for left in range(draw(st.integers(0, 2)), -1, -1):
        valve = draw(st.sampled_from(["hand", "HAND", ""])) if draw(st.booleans()) else ""
        valve = valve or f"{draw(st.sampled_from(['', 'GPIO']))}{next(free_relays)}"
        first, last = sorted([draw(dates), draw(dates)])
        told += [next(good_zone_names) + draw(st.sampled_from(["", ' "x"', " \\", " # ü"])), valve]
        told += [draw(lengths), *draw(bad), draw(st.sampled_from(CROPS)), f"{first}"]
        told += [
            draw(st.sampled_from(["sown", "transplanted", "established", ""])),
            f"{last}",
            draw(lengths),
        ]
        told += [
            draw(st.sampled_from(["1/16 in", "2 mm", ""])),
            draw(st.sampled_from(["5 cm", ""])),
        ]
        told.append("yes" if left else draw(st.sampled_from(["no", "n", ""])))
    told.append(draw(st.sampled_from(["", "online", "weather.csv", 'my "own".csv'])))
    return told


@given(answers())
def test_whatever_was_answered_the_file_reads_without_a_fault(told: Any) -> None:
    person = Person(told)
    text = ask_new(person, known_crops=CROPS)
    assert person.answers == []
    garden = read_garden_text(text, pipes=PIPES, known_crops=CROPS)
    assert len(garden.zones) == text.count("[[zone]]")
