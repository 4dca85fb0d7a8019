"""What is said of any wiring: the lines for the file are right, and nobody is left out."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st
from support.gardens import a_garden, a_zone

from controller.cli.walk.findings import Finding, Tried, WalkRecord, findings

NAMES = ["leeks", "peas, then kale", "beans", 'the "new" bed', "salad", "corn"]
FIRST_LINE = 10


@st.composite
def wirings(draw: st.DrawFn) -> dict[str, str | None]:
    """By the zone whose line it is in the file, the zone whose valve the line moves, if any."""
    count = draw(st.integers(2, len(NAMES)))
    names = NAMES[:count]
    really = draw(st.permutations(names))
    dead = draw(st.sets(st.sampled_from(names), max_size=count - 1))
    return {
        asked: None if asked in dead else moved for asked, moved in zip(names, really, strict=True)
    }


def _found(wiring: dict[str, str | None]) -> tuple[dict[str, int], list[Finding]]:
    lines = {name: FIRST_LINE + number for number, name in enumerate(wiring)}
    garden = a_garden(*(a_zone(name, line) for name, line in lines.items()))
    tries = [
        Tried(
            zone=asked,
            line=lines[asked],
            open_s=15.0,
            seen=frozenset(() if moved is None else (moved,)),
            clicked=None if moved else False,
            stopped=True if moved else None,
        )
        for asked, moved in wiring.items()
    ]
    return lines, findings(WalkRecord(garden=garden, flow_l_s=lambda _: 0.05, tries=tries))


@given(wirings())
def test_the_numbers_to_write_are_those_of_the_lines_that_move_the_zones(
    wiring: dict[str, str | None],
) -> None:
    lines, found = _found(wiring)
    asked_by_line = {line: asked for asked, line in lines.items()}
    written: dict[str, int] = {}
    lost: set[str] = set()
    for finding in found:
        for change in finding.change:
            number = re.fullmatch(r'zone "(.*)": relay = (\d+)', change)
            if number is not None:
                assert number[1] not in written
                written[number[1]] = int(number[2])
            else:
                left = re.fullmatch(r'zone "(.*)": the line that moves it is not found yet', change)
                assert left is not None
                lost.add(left[1])
    # Whatever is to be written is true of the wires.
    for zone, line in written.items():
        assert wiring[asked_by_line[line]] == zone
    moved = {zone for zone in wiring.values() if zone is not None}
    for zone in wiring:
        if wiring[zone] == zone:
            assert zone not in written and zone not in lost
        elif zone in moved:
            assert zone in written  # its true line was seen, so it is said
    assert lost <= set(wiring) - moved


@given(wirings())
def test_every_line_that_is_not_right_is_in_a_finding(wiring: dict[str, str | None]) -> None:
    lines, found = _found(wiring)
    words = " ".join(finding.words for finding in found)
    for asked, moved in wiring.items():
        right = moved == asked
        told = re.search(rf"\bline {lines[asked]}\b", words) is not None
        nothing_anywhere = any(f.kind == "nothing anywhere" for f in found)
        assert told == (not right) or nothing_anywhere


@given(st.integers(2, len(NAMES)))
def test_a_good_wiring_has_no_finding(count: int) -> None:
    _, found = _found({name: name for name in NAMES[:count]})
    assert found == []
