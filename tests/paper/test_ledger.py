"""The ledger on paper and as rows: what a gardener reads of each account."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any

import pytest
from support.gardens import a_garden, a_zone
from support.logbook import a_ledger_day

from controller.demand.records import ASSUMED, PLANNED, RECORDED, LedgerDay
from controller.garden.model import Bed
from controller.paper.ledger import ledger_rows, ledger_text, spans_words

FIRST = date(2031, 6, 28)
GARDEN = a_garden(
    a_zone("leeks", bed=Bed(name="north", mulch="straw", mulch_cover=0.8)), a_zone("plain")
)


def _dual(n: int = 0, zone: str = "leeks", **more: object) -> LedgerDay:
    """A day of dual coefficients; 44 plants on 4.4 m2, so a mm is 0.1 L a plant."""
    values: dict[str, object] = {
        "coefficients": "dual", "kc": 1.04, "kcb": 0.83, "ke": 0.21, "etc_mm": 5.0,
        "used_mm": 5.0, "transpired_mm": 4.0, "evaporated_mm": 1.0, "cover": 0.34,
        "plants": 44.0, "ground_m2": 4.4, "rung": "station",
    }  # fmt: skip
    return a_ledger_day(zone, day=FIRST + timedelta(days=n), **(values | more))


def _text(*days: LedgerDay, us: bool = False) -> str:
    return ledger_text(days, ("the remark",), replace(GARDEN, us_units=us))


def _lines(text: str) -> list[list[str]]:
    return [line.split() for line in text.splitlines()]


def _row(text: str, day: str) -> str:
    return next(line for line in text.splitlines() if line[2:8].strip() == day)


def _wide() -> list[LedgerDay]:
    """Two parts, every step, great figures, over the turn of a year."""
    rungs = ["station", "service", "second service", "forecast kept", "days before", "normal"]
    rungs += ["season", "forecast", "an unheard-of step"]
    return [
        _dual(
            180 + n, "the long zone by the south wall of the old potting shed, second terrace",
            part=part, rung=rung, measured=n < 3, phase="dry-down", eto_mm=12.3,
            transpired_mm=14.0, evaporated_mm=11.0, rain_mm=181.3, runoff_mm=52.0,
            drained_mm=104.0, depletion_mm=112.3, raw_mm=140.2, watered_mm=123.4, snow_mm=33.0,
            salt_stress=0.9, exposure=1.4, plants=1234.0, ground_m2=500.0,
        )
        for part in ("row 1", "rows 2, 3, 4 and 5")
        for n, rung in enumerate(rungs)
    ]  # fmt: skip


@pytest.mark.parametrize("us", [True, False])
def test_no_line_is_wider_than_a_terminal(us: bool) -> None:
    for days in ([_dual()], _wide(), [a_ledger_day(n) for n in ("leeks", "plain")]):
        text = _text(*days, us=us)
        assert max(map(len, text.splitlines())) <= 80


def test_plants_and_soil_stand_apart_and_the_heading_says_by_which_coefficients() -> None:
    text = _text(_dual(stress=0.91, passed_mm=0.4, wet_depletion_mm=8.2))
    assert "dual coefficients" in " ".join(text.split()) and "single" not in text
    header = next(line for line in _lines(text) if line[:2] == ["day", "stage"])
    row = _row(text, "28 Jun").split()
    cells = dict(zip(header[1:], row[2:], strict=False))
    assert cells == {
        "stage": "develops", "ETo": "4.8", "Kcb": "0.83", "Ke": "0.21", "Ks": "0.91",
        "used": "5.0", "rain": "1.0", "given": "2.5", "past": "0.4", "gone": "8.2", "at": "13.5",
    }  # fmt: skip


def test_where_watering_begins_stands_between_what_is_gone_and_what_is_felt() -> None:
    row = _dual(wet_depletion_mm=8.2)
    text = ledger_text([row], (), GARDEN, lambda day: 0.6 * day.raw_mm)
    assert _row(text, "28 Jun").split()[-3:] == ["8.2", "8.1", "13.5"]


def test_water_that_nobody_wrote_down_has_a_mark_and_so_has_what_is_planned() -> None:
    text = _text(
        _dual(0, water_from=RECORDED), _dual(1, water_from=ASSUMED), _dual(2, water_from=PLANNED)
    )
    given = [_row(text, f"{n} Jun").split() for n in (28, 29, 30)]
    assert [row[9] for row in given] == ["2.5", "2.5a", "2.5p"]
    words = " ".join(text.split())
    assert "with an a: nobody wrote it down" in words and "With a p: planned." in words
    assert "with an a" not in _text(_dual(water_from=RECORDED))


def test_a_single_coefficient_is_shown_as_one() -> None:
    text = _text(a_ledger_day("leeks", day=FIRST))
    assert "a single coefficient" in " ".join(text.split()) and "dual" not in text
    header = next(line for line in _lines(text) if line[:2] == ["day", "stage"])
    assert header[3:6] == ["Kc", "Ks", "used"] and "Ke" not in header
    cells = _row(text, "28 Jun").split()
    assert (cells[4], cells[6]) == ("0.83", "3.9")


@pytest.mark.parametrize("us", [True, False])
def test_a_row_of_the_table_closes_where_the_line_wets_all(us: bool) -> None:
    """WORKED: 20.0 + 5 - (30 - 2) - 2.5 + (6 + 9.1 + 0.4) = 10.0."""
    day = _dual(
        start_depletion_mm=20.0, rain_mm=30.0, rain_unused_mm=2.0, runoff_mm=6.0,
        drained_mm=9.1, passed_mm=0.4, handed_over_mm=0.0, depletion_mm=10.0,
        wet_depletion_mm=10.0,
    )  # fmt: skip
    cells = _row(_text(day, us=us), "28 Jun").split()[7:]
    used, rain, given, past, gone = (float(cell) for cell in cells[:5])
    start = 20.0 / 25.4 if us else 20.0
    assert gone == pytest.approx(start + used - rain - given + past, abs=0.03)


def test_inches_are_hundredths_and_gallons_stand_for_litres() -> None:
    text = _text(_dual(watered_mm=25.4), us=True)
    assert "inches" in text and " 1.00 " in _row(text, "28 Jun")
    # WORKED: 4 mm on 0.1 m2 is 0.4 L, 0.4 / 3.785411784 = 0.1057 US gal; 0.1 m2 is 1.0764 sq ft.
    assert ["drew", "0.106"] in _lines(text)
    assert "44 plants, each on 1.08 sq ft" in text


def test_a_plant_s_litres_stand_beside_the_depth() -> None:
    days = [_dual(n, transpired_mm=1.0 + n, used_mm=2.0 + n) for n in range(9)]
    lines = _lines(_text(*days))
    assert ["drew", *(f"{0.1 * (1 + n):.2f}" for n in range(2, 9))] in lines
    assert ["with", "its", "ground", *(f"{0.1 * (2 + n):.2f}" for n in range(2, 9))] in lines
    assert "44 plants, each on 0.10 m2, shade 34 % of the ground on 6 July." in _text(*days)


def test_bare_ground_has_no_plants_to_tell_of() -> None:
    bare = _dual(account="bare", crop=None, stage="bare", plants=0.0, kcb=0.0)
    text = _text(bare)
    assert "a plant" not in text and "\n  bare\n" in text


def test_mulch_and_exposure_are_said_only_where_there_are_any() -> None:
    text = _text(_dual(exposure=1.25), _dual(zone="plain"))
    leeks, plain = text.split("\nplain\n")
    assert "straw mulch on 80 % of the ground; exposed: 1.25 times the loss" in leeks
    assert "mulch" not in plain and "exposed" not in plain and "sheltered" not in plain
    assert "sheltered: 0.80 times" in _text(_dual(exposure=0.8))


def test_each_part_has_its_table_and_its_own_crop() -> None:
    text = _text(
        _dual(part="row 1"),
        _dual(part="rows 2 and 3", account="onion from 2031-04-02", crop="onion"),
        _dual(1, part="row 1"),
    )
    first, second = text.split("leeks, row 1\n")[1].split("leeks, rows 2 and 3\n")
    assert "leek from 20 April 2031" in first and "onion from 2 April 2031" in second
    assert sum(line.endswith("13.5") for line in first.splitlines()) == 2


def test_a_phase_stands_in_place_of_the_stage() -> None:
    text = _text(_dual(phase="seedbed"))
    assert _row(text, "28 Jun").split()[2] == "seedbed"
    assert "Seedbed, settling and dry-down are shown in place of the stage" in " ".join(
        text.split()
    )
    assert "Seedbed" not in _text(_dual())


def test_days_below_the_first_step_are_marked_and_listed() -> None:
    days = [
        _dual(0), _dual(1), _dual(2, rung="second service"),
        _dual(3, rung="normal", measured=False), _dual(4, rung="normal", measured=False),
    ]  # fmt: skip
    text = _text(*days)
    marks = [line[0] for line in text.splitlines() if line.endswith("13.5")]
    assert marks == [" ", " ", "2", "n", "n"]
    weather = text.split("The weather of these days\n")[1].splitlines()
    assert weather[0] == "  the garden's own station: 28 to 29 June 2031"
    assert weather[1] == "2 the second service: 30 June 2031"
    assert weather[2].startswith("n what is normal in this garden")
    assert weather[2].endswith("1 to 2 July 2031")


def test_without_a_station_the_first_service_is_the_first_step() -> None:
    assert _row(_text(_dual(rung="service")), "28 Jun")[0] == " "
    marked = _text(_dual(rung="service"), _dual(1))
    assert _row(marked, "28 Jun")[0] == "1" and _row(marked, "29 Jun")[0] == " "


def test_a_day_from_before_the_ladder_is_marked_where_nobody_measured_it() -> None:
    text = _text(a_ledger_day("leeks", day=FIRST, measured=False))
    assert _row(text, "28 Jun")[0] == "*"
    assert "* a forecast or a stand-in: 28 June 2031" in text
    assert "The weather of" not in _text(a_ledger_day("leeks", day=FIRST))


def test_unknown_rain_and_snow_that_lies_are_said() -> None:
    text = _text(_dual(rain_known=False), _dual(1, snow_mm=12.0))
    assert _row(text, "28 Jun").split()[8] == "?" and "A ? is rain unknown" in text
    assert "snow at the end of the day: 29 June 12.0 mm" in text


def test_a_turn_of_the_year_is_said_between_the_rows() -> None:
    days = [replace(_dual(), day=date(2031, 12, 31)), replace(_dual(), day=date(2032, 1, 1))]
    assert ["2032"] in _lines(_text(*days))


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (["2031-07-03"], "3 July 2031"),
        (["2031-07-03", "2031-07-04", "2031-07-06"], "3 to 4 July, 6 July 2031"),
        (["2031-06-30", "2031-07-01"], "30 June to 1 July 2031"),
        (["2031-12-31", "2032-01-01"], "31 December 2031 to 1 January 2032"),
        (["2031-12-30", "2032-01-01"], "30 December 2031, 1 January 2032"),
    ],
)
def test_spans_are_short(days: list[str], words: str) -> None:
    assert spans_words([date.fromisoformat(day) for day in days]) == words


def test_every_field_of_a_ledger_day_is_a_column() -> None:
    renamed = {"day": "date", "rain_known": "rain_mm", "method": "eto_method"}
    (row,) = ledger_rows([_dual()])
    kept = [f for f in fields(LedgerDay) if f.compare]  # the rest is worked with alone
    assert {renamed.get(f.name, f.name) for f in kept} <= set(row)
    assert (row["coefficients"], row["method"]) == ("dual", "dual crop coefficients")
    assert (row["plant_litres"], row["plant_and_ground_litres"]) == (0.4, 0.5)


def test_what_is_not_known_is_none_and_not_nought() -> None:
    (row,) = ledger_rows([a_ledger_day(rain_known=False)])
    none = {name for name, value in row.items() if value is None}
    assert none == {
        "kcb", "ke", "transpired_mm", "evaporated_mm", "surface_depletion_mm",
        "rest_surface_depletion_mm", "kc_max_base", "exposed_fraction",
        "rain_mm", "plant_litres", "plant_and_ground_litres",
    }  # fmt: skip


def test_a_row_for_programs_closes() -> None:
    day = _dual(start_depletion_mm=4.5675, handed_over_mm=0.0625, runoff_mm=0.5)
    day = replace(
        day,
        depletion_mm=4.5675 - (1.25 - 0.25 - 0.5) - 2.5 + 5.0 + 0.0 + 0.0625,
    )
    rows: Any = ledger_rows([day])
    (r,) = rows
    closes = (
        r["start_depletion_mm"] - (r["rain_mm"] - r["rain_unused_mm"] - r["runoff_mm"])
        - r["watered_mm"] + r["used_mm"] + r["drained_mm"] + r["handed_over_mm"]
    )  # fmt: skip
    assert r["depletion_mm"] == pytest.approx(closes, abs=5e-4)
    assert r["used_mm"] == pytest.approx(r["transpired_mm"] + r["evaporated_mm"], abs=5e-4)
