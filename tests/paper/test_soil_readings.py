"""Soil moisture that was read, beside the ledger's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from support.gardens import a_garden, even_days
from support.given import NOTHING_GIVEN

from controller.demand.records import LedgerDay
from controller.errors import InputError
from controller.hydraulics.network.garden_lines import Lines
from controller.logbook.records import Reading
from controller.paper.soil_readings import BY_FEEL, BY_VOLUME, KIND, moisture_from, soil_checks
from controller.timetable.plan import Grounds, Installation, Span, plan_garden
from crops.catalogue import load

DAY = date(2031, 6, 1)


@pytest.fixture(scope="module")
def row() -> LedgerDay:
    """A day of a real ledger."""
    garden, first = a_garden(), DAY - timedelta(days=10)
    timetable = plan_garden(
        Installation(garden, Grounds(garden, load()), Lines(garden)),
        even_days(first, DAY + timedelta(days=2)),
        Span(first=DAY, count=2),
        given=NOTHING_GIVEN,
    )
    return next(r for r in timetable.ledger if r.day == DAY)


def _read(value: float, unit: str = BY_VOLUME, zone: str = "a", day: date = DAY) -> Reading:
    return Reading(
        id=1,
        at_utc=datetime(2031, 6, 1, 18, tzinfo=UTC),
        kind=KIND,
        value=value,
        unit=unit,
        day=day,
        zone=zone,
        who="",
    )


@pytest.mark.parametrize(
    ("words", "value", "unit"),
    [
        ("21", 21.0, BY_VOLUME),
        ("21 %", 21.0, BY_VOLUME),
        ("7.5%", 7.5, BY_VOLUME),
        ("Dry", 0.0, BY_FEEL),
        ("moist", 1.0, BY_FEEL),
        ("wet", 2.0, BY_FEEL),
    ],
)
def test_a_percentage_or_a_word_reads(words: str, value: float, unit: str) -> None:
    assert moisture_from(words) == (value, unit)


@pytest.mark.parametrize("words", ["", "damp", "71", "-1", "nan", "inf", "21 mm"])
def test_what_is_neither_is_refused(words: str) -> None:
    with pytest.raises(InputError):
        moisture_from(words)


def test_the_ledgers_moisture_is_field_capacity_less_what_is_missing(row: LedgerDay) -> None:
    """WORKED: 45 mm missing from 0.5 m of roots are 9 points under field capacity (29 %)."""
    at = replace(row, wet_depletion_mm=45.0, depletion_mm=20.0, root_depth_m=0.5)
    (check,) = soil_checks([_read(22.0)], [at], {"a": 0.29})
    assert (check.read, check.computed) == ("22 % by volume", "20 % in the depth of the roots")
    assert not check.far
    (far,) = soil_checks([_read(26.0)], [at], {"a": 0.29})
    assert far.far
    assert "look at the soil. Likely causes: water or rain that nobody wrote down" in far.words
    (far,) = soil_checks([_read(14.0)], [at], {"a": 0.29})
    assert far.far and "Likely causes: water that did not come" in far.words
    assert 'rowgate note soil "a" PERCENT --start' in far.words


@pytest.mark.parametrize(
    ("depletion_mm", "feels"), [(0.0, "wet"), (9.0, "wet"), (11.0, "moist"), (41.0, "dry")]
)
def test_the_ledger_is_put_as_a_hand_would_feel_it(
    row: LedgerDay, depletion_mm: float, feels: str
) -> None:
    at = replace(row, wet_depletion_mm=depletion_mm, taw_mm=100.0, raw_mm=40.0)
    for value, word in enumerate(("dry", "moist", "wet")):
        (check,) = soil_checks([_read(float(value), BY_FEEL)], [at], {"a": 0.29})
        assert check.computed == feels
        assert check.far is (word != feels)


def test_readings_of_other_days_and_zones_are_left_out(row: LedgerDay) -> None:
    other = [_read(20.0, day=DAY + timedelta(days=3)), _read(20.0, zone="gone")]
    assert soil_checks(other, [row], {"a": 0.29}) == []


def test_every_part_of_a_zone_is_set_beside_the_reading(row: LedgerDay) -> None:
    parts = [replace(row, part="row 1"), replace(row, part="row 2")]
    checks = soil_checks([_read(20.0)], parts, {"a": 0.29})
    assert [c.part for c in checks] == ["row 1", "row 2"]
    assert "a, row 1" in checks[0].words
