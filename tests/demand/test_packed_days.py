"""Packed days come out as they went in, and take what is said."""

from __future__ import annotations

import tracemalloc
from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.demand.records import LedgerDay
from controller.demand.soil.packed_days import (
    TAIL_DAYS,
    JoinedRows,
    LedgerRows,
    carried,
    rows_since,
)

DAY = date(2031, 6, 1)
_figure = st.floats(allow_nan=False, allow_infinity=False)
_OF = {
    "float": _figure,
    "int": st.integers(0, 400),
    "bool": st.booleans(),
    "str": st.sampled_from(["", "leeks", "käse 7", "mid"]),
    "str | None": st.sampled_from([None, "leek"]),
    "tuple[float, ...]": st.lists(_figure, max_size=7).map(tuple),
}


def _of_values(values: dict[str, Any]) -> LedgerDay:
    return LedgerDay(**values)


@st.composite
def _ledgers(draw: st.DrawFn) -> list[LedgerDay]:
    count = draw(st.integers(0, TAIL_DAYS + 4))
    found = [
        _of_values(
            {
                f.name: DAY + timedelta(n) if f.name == "day" else draw(_OF[str(f.type)])
                for f in fields(LedgerDay)
            }
        )
        for n in range(count)
    ]
    return found * draw(st.integers(1, 4))  # some blocks of them, where there are many


def _a_day(n: int, zone: str = "a", **other: Any) -> LedgerDay:
    values: dict[str, object] = {
        f.name: {"float": 0.5, "int": 1, "bool": True, "str": "x", "str | None": None}.get(
            str(f.type), ()
        )
        for f in fields(LedgerDay)
    }
    return LedgerDay(**(values | {"zone": zone, "day": DAY + timedelta(n)} | other))  # type: ignore[arg-type]


@given(_ledgers())
def test_what_goes_in_comes_out(days: list[LedgerDay]) -> None:
    rows = LedgerRows(days)
    assert list(rows) == days
    assert [row.draws_mm for row in rows] == [day.draws_mm for day in days]  # not compared by ==
    assert [type(row.day_of_planting) for row in rows] == [int] * len(days)
    assert list(reversed(rows)) == days[::-1]
    assert [rows[n] for n in range(-len(days), len(days))] == days + days
    assert rows[1:-2] == days[1:-2]
    assert JoinedRows([rows]) == days


@given(_ledgers(), st.lists(st.integers(0, 1), max_size=3))
def test_a_balance_carried_on_is_that_carried_anew(days: list[LedgerDay], more: list[int]) -> None:
    def step(before: tuple[object, ...], *fields: object) -> tuple[object, ...]:
        return (*before, fields)

    def asked(rows: Sequence[LedgerDay], of: int) -> tuple[object, ...]:
        return carried(rows, of, ("account", "wet_drained_mm", "zone"), step, ())

    rows = LedgerRows(days)
    for of in (0, *more):
        wanted = tuple((d.account, d.wet_drained_mm, d.zone) for d in days)
        assert asked(rows, of) == asked(days, of) == wanted
        if days:  # the last is changed, and more follow
            changed, added = replace(days[-1], wet_drained_mm=3.25), days[-9:]
            rows.put_last(changed)
            rows += added
            days = [*days[:-1], changed, *added]
    rows.clear()
    assert asked(rows, 0) == ()


def test_a_number_out_of_reach_is_none() -> None:
    rows = LedgerRows([_a_day(0)])
    with pytest.raises(IndexError):
        rows[1]
    with pytest.raises(IndexError):
        JoinedRows([rows])[-2]


def test_the_last_day_may_be_changed_and_all_forgotten() -> None:
    rows = LedgerRows(_a_day(n) for n in range(TAIL_DAYS + 2))
    changed = replace(rows[-1], depletion_mm=3.0)
    rows.put_last(changed)
    assert rows[-1] == changed and len(rows) == TAIL_DAYS + 2
    rows.clear()
    assert not rows and list(rows) == []


def test_the_days_since_one_are_the_same_packed_or_not() -> None:
    days = [_a_day(n) for n in range(30)]
    since = DAY + timedelta(5)
    assert rows_since(LedgerRows(days), since) == rows_since(days, since) == days[5:]
    both = JoinedRows([LedgerRows(days), LedgerRows(_a_day(n, "b") for n in range(3))])
    assert rows_since(both, DAY + timedelta(2)) == [*days[2:], _a_day(2, "b")]


@pytest.mark.parametrize("at", [0, TAIL_DAYS + 1], ids=["a packed day", "a late day"])
@pytest.mark.parametrize("field", list(fields(LedgerDay)), ids=lambda f: f.name)
def test_a_mark_differs_where_anything_compared_does(field: object, at: int) -> None:
    name, kind = field.name, str(field.type)  # type: ignore[attr-defined]
    days = [_a_day(n) for n in range(TAIL_DAYS + 2)]
    other: Any = {
        "float": 0.5 + 1e-15,
        "int": 2,
        "bool": False,
        "str": "y",
        "str | None": "y",
        "date": DAY + timedelta(99),
        "tuple[float, ...]": (1.0,),
    }[kind]
    changed = [*days]
    changed[at] = replace(days[at], **{name: other})
    before = [mark for _, _, mark in LedgerRows(days).marks()]
    after = [mark for _, _, mark in LedgerRows(changed).marks()]
    assert (before == after) == (name == "draws_mm")
    assert [(zone, day) for zone, day, _ in LedgerRows(changed).marks()] == [
        (row.zone, row.day) for row in changed
    ]


def test_a_mark_is_the_same_packed_or_not() -> None:
    days = [_a_day(n, depletion_mm=n / 7) for n in range(TAIL_DAYS + 5)]
    packed = {day: mark for _, day, mark in LedgerRows(days).marks()}
    for day in days:
        ((_, _, mark),) = LedgerRows([day]).marks()
        assert mark == packed[day.day]


def test_a_season_takes_a_third_of_its_packed_days() -> None:
    """Our choice of a bound: days as different from each other as a dry summer's are."""
    odd = [(at, f) for at, f in enumerate(fields(LedgerDay)) if str(f.type) == "float" and at % 2]
    values: list[dict[str, Any]] = [
        {f.name: (n + 1) / (at + 3) for at, f in odd} for n in range(200)
    ]
    days = [_a_day(n, **value) for n, value in enumerate(values)]
    rows = LedgerRows(days)
    tracemalloc.start()
    try:
        kept = LedgerRows(days)
        size = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert kept[0] == rows[0] == days[0]
    assert size / (200 - TAIL_DAYS) < 250


def test_ledgers_go_on_by_zone_and_part_and_stay_packed() -> None:
    days = [_a_day(n) for n in range(40)]
    late = [_a_day(n, "b", part="row 2") for n in range(3)]
    before = JoinedRows([LedgerRows(late[:2]), LedgerRows(), LedgerRows(days[:30])])
    found = before.continued([*late[2:], *days[30:], _a_day(0, "c")])
    assert list(found) == [*days, *late, _a_day(0, "c")]
    assert found.since(DAY + timedelta(2)) == [*days[2:], late[2]]
    assert found.since(DAY, "b") == late
