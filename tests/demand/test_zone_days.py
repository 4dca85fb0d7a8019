"""A number for each zone and day: as a dict, in a tenth of its memory."""

from __future__ import annotations

import tracemalloc
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.demand.soil.zone_days import ZoneDays

DAY = date(2031, 6, 1)
_keys = st.tuples(st.sampled_from(["a", "käse 7"]), st.dates(date(2030, 1, 1), date(2030, 1, 20)))


@given(
    st.lists(st.tuples(_keys, st.floats(allow_nan=False)), max_size=40),
    st.lists(_keys, max_size=10),
    st.dates(date(2029, 12, 30), date(2030, 1, 25)),
)
def test_it_is_what_a_dict_is(
    items: list[tuple[tuple[str, date], float]], gone: list[tuple[str, date]], first: date
) -> None:
    told, found = dict(items), ZoneDays(items, kind=float)
    assert found == told and told == found and len(found) == len(told)
    assert list(found) == [k for z in found.zones() for k in sorted(told) if k[0] == z]
    for key in gone:
        assert found.get(key) == told.get(key) and (key in found) == (key in told)
        if key in told:
            assert found[key] == told[key]
            del found[key], told[key]
        else:
            with pytest.raises(KeyError):
                found[key]
            with pytest.raises(KeyError):
                del found[key]
    assert found == told
    for zone in ("a", "b", "käse 7"):
        wanted = [(day, told[of, day]) for of, day in sorted(told) if of == zone]
        assert list(found.days_of(zone)) == wanted
    found.forget_before(first)
    assert found == {key: n for key, n in told.items() if key[1] >= first}


def test_whole_numbers_of_eight_bytes_are_kept_whole() -> None:
    most = 2**64 - 1
    marks = ZoneDays([(("a", DAY), most)], kind=int)
    assert marks["a", DAY] == most and isinstance(marks["a", DAY], int)


def test_a_season_takes_little() -> None:
    tracemalloc.start()
    try:
        kept = ZoneDays(kind=float)
        for n in range(200):
            for zone in ("a", "b", "c"):
                kept[zone, DAY + timedelta(n)] = n / 7
        size = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert size / len(kept) < 17  # 4 for the day and 8 for the number; a dict takes 200
