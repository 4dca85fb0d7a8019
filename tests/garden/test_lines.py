"""On which line a key stands."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.garden.faults import LineFinder

TEXT = """\
# one zone
units = "us"
[site]
name = '''
  two
  lines'''
"quoted # key" = 1   # remark with [brackets] = { }
where.it.lies = [
  1, # one
  [2,
   3],
]

[[zone]]
name = "a \\" [b] # not a remark"
row = [
  { length = "11 ft", drain = { bore = "1/16 in", every = "4 ft" } },

  { length = "9 ft" },
]
[zone.valve]
relay = 17
[[zone]]
name = "c"
[[zone.row]]
length = "8 ft"
[[zone.row]]
length = "7 ft"
[zone.row.drain]
bore = "2 mm"
"""
# WORKED: counted by eye in the text above.
PLACES = [
    (("units",), 2),
    (("site",), 3),
    (("site", "name"), 4),
    (("site", "quoted # key"), 7),
    (("site", "where", "it", "lies"), 8),
    (("site", "where", "it", "lies", 1), 10),
    (("site", "where", "it", "lies", 1, 1), 11),
    (("zone", 0), 14),
    (("zone", 0, "name"), 15),
    (("zone", 0, "row", 0, "drain", "every"), 17),
    (("zone", 0, "row", 1, "length"), 19),
    (("zone", 0, "valve", "relay"), 22),
    (("zone", 1), 23),
    (("zone", 1, "row", 0, "length"), 26),
    (("zone", 1, "row", 1), 27),
    (("zone", 1, "row", 1, "drain", "bore"), 30),
]


@pytest.mark.parametrize(("place", "line_no"), PLACES)
def test_a_key_is_found_on_its_line(place: Any, line_no: float) -> None:
    assert LineFinder(TEXT).line(place) == line_no


def test_a_key_that_is_missing_is_sought_at_the_table_around_it() -> None:
    finder = LineFinder(TEXT)
    assert finder.line(("zone", 0, "row", 1, "bore")) == 19
    assert finder.line(("zone", 1, "valve", "relay")) == 23
    assert finder.line(("nowhere", 3)) == 1


def _paths(data: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every path that the standard library's reader sees."""
    steps: Any = data.items() if isinstance(data, dict) else ()
    steps = enumerate(data) if isinstance(data, list) else steps
    for step, inner in steps:
        yield (*at, step)
        yield from _paths(inner, (*at, step))


def test_every_key_the_standard_reader_sees_has_a_line() -> None:
    finder = LineFinder(TEXT)
    assert [p for p in _paths(tomllib.loads(TEXT)) if not finder.has(p)] == []


SCRAPS = [
    *("a", "b", ".", " = ", "[", "]", "[[", "]]", "{", "}", ",", "\n", '"', "'", '"""', "'''"),
    *("# x", "1", "\\", '"c"', "2031-01-01", "[[z]]\n", "[z.y]\n", "a = 1\n"),
    "b = { c = [1] }\n",
]


@given(st.lists(st.sampled_from(SCRAPS), max_size=25).map("".join))
def test_the_walk_ends_on_any_text_and_agrees_with_the_standard_reader(text: str) -> None:
    finder = LineFinder(text)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert [p for p in _paths(data) if not finder.has(p)] == []


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from(["", "# x", "[t]"])), max_size=12))
def test_a_key_is_on_the_line_it_was_written_on(gaps: Any) -> None:
    lines, wanted = [], {}
    for number, (blank, between) in enumerate(gaps):
        lines += [""] * blank
        if between == "[t]":
            lines.append(f"[t{number}]")
        elif between:
            lines.append(between)
        lines.append(f"k{number} = [1,")
        wanted[number] = len(lines)
        lines.append("  2]")
    text = "\n".join(lines)
    finder = LineFinder(text)
    for place in _paths(tomllib.loads(text)):
        if isinstance(place[-1], str) and place[-1].startswith("k"):
            number = int(place[-1][1:])
            assert finder.line(place) == wanted[number]
            assert finder.line((*place, 1)) == wanted[number] + 1
