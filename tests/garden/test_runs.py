"""A main that forks, in the garden file: its runs, where zones hang on them, and every mistake."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import permutations

import pytest
from support.garden_files import FORKED, TEN_LINES, faults, forked, in_zone, read

from controller.garden.plumbing import ENTRANCE_K
from controller.hydraulics.network import main_tree
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.pipe import PIPES

FT = 0.3048


def test_runs_are_read_with_their_sizes_and_losses() -> None:
    garden = read(FORKED)
    trunk, left, right, frame = garden.runs
    assert [run.name for run in garden.runs] == ["trunk", "left arm", "right arm", "cold frame"]
    assert [run.parent for run in garden.runs] == ["", "trunk", "trunk", "right arm"]
    # WORKED: 30 ft; the arms leave the trunk's end, the frame 10 ft along the right arm.
    assert (trunk.from_m, left.from_m, right.from_m, frame.from_m) == pytest.approx(
        (0.0, 30 * FT, 30 * FT, 10 * FT), rel=1e-12
    )
    assert [run.pipe for run in garden.runs] == [
        PIPES[size] for size in ("1 in", "3/4 in", "1 in", "1/2 in")
    ]
    # WORKED: an entrance; a smaller side branch and two elbows; an equal and a smaller side branch.
    assert [run.loss_k for run in garden.runs] == pytest.approx([0.5, 1.3 + 2 * 0.9, 1.5, 1.3])
    assert not any(run.tees_counted for run in garden.runs)
    assert garden.main == PIPES["1 in"]
    assert vars(main_tree)["ENTRANCE_K"] is ENTRANCE_K  # one figure, however the main is written


def test_a_zone_hangs_along_its_run_or_at_its_end() -> None:
    garden = read(FORKED)
    assert [(zone.run, zone.main_run_m) for zone in garden.zones] == [
        ("left arm", pytest.approx(40 * FT)),
        ("right arm", pytest.approx(20 * FT)),
        ("cold frame", pytest.approx(12 * FT)),
    ]


def test_what_was_filled_in_is_told() -> None:
    told = {(one.where, one.key): (one.shown, one.why) for one in read(FORKED).filled}
    assert told[('main, run "trunk"', "loss_k")] == ("0.5", "the entrance from the tap")
    assert told[('main, run "left arm"', "along")] == ("30 ft", 'the end of the run "trunk"')
    assert told[('main, run "left arm"', "begins")] == (
        "side branch",
        "others go on from there",
    )
    assert told[('main, run "left arm"', "loss_k")] == (
        "3.1",
        "side branch; our choice, with 2 x elbow",
    )
    assert told[('zone "leeks"', "along")] == ("40 ft", 'the end of the run "left arm"')
    assert ("main", "size") not in told
    assert ('zone "leeks"', "main_run") not in told


def test_defaults_written_into_the_file_change_nothing() -> None:
    garden = read(FORKED)
    written = read(
        forked(
            ('size = "3/4 in"', 'size = "3/4 in"\nalong = "30 ft"\nbegins = "side branch"'),
            ('run = "left arm"', 'run = "left arm"\nalong = "40 ft"'),
        )
    )
    assert written.runs == garden.runs
    assert written.zones == garden.zones
    assert len(written.filled) == len(garden.filled) - 3


@pytest.mark.parametrize(
    ("words", "loss_k", "counted"),
    [
        ('begins = "straight on"', 0.1, False),
        ('begins = "bull head"', 1.5, False),
        ('fittings = "other"', 2.5, False),
        ("fittings = []", 1.5, False),
        ("loss_k = 2", 2.0, True),
        ("loss_k = 0", 0.0, True),
    ],
)
def test_how_a_run_begins_and_what_is_in_it(words: str, loss_k: float, counted: bool) -> None:
    text = forked(('length = "25 ft"\n', f'length = "25 ft"\n{words}\n'))
    right = read(text).runs[2]
    # WORKED from garden/plumbing.py, which has the sources: a side branch has 1.5, and what nobody
    # knows adds 1.0.
    assert (right.loss_k, right.tees_counted) == (pytest.approx(loss_k), counted)


def test_the_only_run_from_an_end_goes_straight_on() -> None:
    arm = 'name = "left arm"\nfrom = "trunk"\n'
    left = read(forked((arm, arm + 'along = "12 ft"\n'))).runs
    # WORKED: the right arm now goes on alone from the trunk's end, of the same size.
    assert [run.loss_k for run in left] == pytest.approx([0.5, 1.3 + 1.8, 0.1, 1.3])


def test_a_main_of_one_run_needs_no_naming_of_it() -> None:
    start = TEN_LINES.index("[[zone]]")
    run = '[[main.run]]\nname = "main"\nfrom = "tap"\nlength = "20 ft"\nsize = "3/4 in"\n'
    garden = read(TEN_LINES[:start] + run + TEN_LINES[start:])
    assert garden.zones[0].run == "main"
    assert garden.zones[0].main_run_m == pytest.approx(20 * FT)
    assert garden.main == PIPES["3/4 in"]


def blocks() -> tuple[str, list[str], str]:
    """The forked file before its runs, its runs, and after them."""
    first, last = FORKED.index("[[main.run]]"), FORKED.index("[[zone]]")
    runs = re.split(r"(?=\[\[main\.run\]\])", FORKED[first:last])
    return FORKED[:first], [run for run in runs if run], FORKED[last:]


def test_the_order_of_runs_in_the_file_and_their_names_change_no_flow() -> None:
    before, runs, after = blocks()
    opened = frozenset(("leeks", "carrots", "salad"))
    as_written = Lines(read(FORKED)).zone_flows(opened)
    for order in permutations(runs):
        garden = read(before + "".join(order) + after)
        assert Lines(garden).zone_flows(opened) == pytest.approx(as_written, rel=1e-7)
    renamed = FORKED.replace("trunk", "zz").replace("left arm", "a b").replace("right arm", "0")
    assert Lines(read(renamed)).zone_flows(opened) == pytest.approx(as_written, rel=1e-7)


def test_a_run_in_two_of_one_size_without_a_loss_changes_no_flow() -> None:
    whole = forked(('fittings = ["elbow", "elbow"]', "loss_k = 3.1"))
    halved = whole.replace(
        'length = "40 ft"\nsize = "3/4 in"\nloss_k = 3.1\n',
        'length = "15 ft"\nsize = "3/4 in"\nloss_k = 3.1\n'
        '[[main.run]]\nname = "left end"\nfrom = "left arm"\nlength = "25 ft"\n'
        'size = "3/4 in"\nloss_k = 0\n',
    ).replace('run = "left arm"', 'run = "left end"')
    opened = frozenset(("leeks", "carrots", "salad"))
    one = Lines(read(whole)).zone_flows(opened)
    assert Lines(read(halved)).zone_flows(opened) == pytest.approx(one, rel=1e-7)


def test_a_main_of_one_pipe_gives_the_same_figures_with_no_runs_at_all() -> None:
    garden = read(in_zone('main_run = "20 ft"'))
    assert garden.runs == ()
    assert garden.zones[0].run == ""
    start = TEN_LINES.index("[[zone]]")
    run = '[[main.run]]\nname = "m"\nfrom = "tap"\nlength = "20 ft"\nsize = "1 in"\n'
    as_run = read(TEN_LINES[:start] + run + TEN_LINES[start:])
    opened = frozenset(("leeks",))
    assert Lines(as_run).open_set(opened) == Lines(garden).open_set(opened)
    assert replace(as_run.zones[0], run="") == garden.zones[0]


TRUNK_FROM_TAP = 'name = "trunk"\nfrom = "tap"'


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        (
            TRUNK_FROM_TAP,
            'name = "trunk"\nfrom = "left arm"',
            12,
            'main, run "trunk", from: found a loop: "trunk" from "left arm" from "trunk"; the main '
            "branches like a tree from the tap, so that water comes to each place one way only",
        ),
        (TRUNK_FROM_TAP, 'name = "trunk"\nfrom = "trunk"', 12, 'loop: "trunk" from "trunk"'),
        (TRUNK_FROM_TAP, 'name = "trunk"\nfrom = "cold frame"', 12, 'from "cold frame" from "ri'),
        (
            'from = "right arm"',
            'from = "rigth arm"',
            28,
            'found "rigth arm"; a run begins at the tap or at another run: did you mean "right ',
        ),
        (
            'size = "1/2 in"\n',
            "",
            26,
            'main, run "cold frame", size: found nothing; the size of every run is needed',
        ),
        ('length = "12 ft"\n', "", 26, "length: found nothing; a run of the main needs its length"),
        ('from = "tap"\n', "", 10, "from: found nothing; where a run begins is needed"),
        ('name = "trunk"\n', "", 10, "run 1, name: found nothing; a run of the main needs a name"),
        (
            'along = "20 ft"',
            'along = "30 ft"',
            40,
            'zone "carrots", along: found 30 ft; the run "right arm" is 25 ft long',
        ),
        (
            'along = "10 ft"',
            'along = "30 ft"',
            29,
            'along: found 30 ft; the run "right arm" it leaves is 25 ft long',
        ),
        ('from = "tap"', 'from = "tap"\nalong = "3 ft"', 13, "found it at the tap; along is for a"),
        ('from = "tap"', 'from = "tap"\nbegins = "side branch"', 13, "found it at the tap; begins"),
        (
            'run = "left arm"',
            'run = "left harm"',
            34,
            'found "left harm"; did you mean "left arm"?',
        ),
        (
            'run = "left arm"\n',
            "",
            32,
            'zone "leeks": found no run; a zone says which run of the main it hangs on: "trunk", '
            '"left arm", "right arm", "cold frame"',
        ),
        (
            'run = "left arm"',
            'run = "left arm"\nmain_run = "5 ft"',
            35,
            "main_run: found 5 ft; where the main has runs, a zone says which it hangs on",
        ),
        (
            "[[main.run]]",
            '[main]\nsize = "1 in"\n[[main.run]]',
            11,
            "beside [[main.run]]; each run",
        ),
        ('size = "1/2 in"', 'size = "7/8 in"', 31, "a pipe size is one of"),
        ('["elbow", "elbow"]', '["bend"]', 20, 'a fitting is "elbow", "coupling" or "other"'),
        ('["elbow", "elbow"]', '["elbow"]\nloss_k = 2', 20, "found it beside loss_k"),
        ('length = "12 ft"', 'length = "0 ft"', 30, "a length of main is 1 cm to 2 km"),
        ("fittings =", "fitings =", 20, 'did you mean "fittings"?'),
    ],
)
def test_a_mistake_in_the_main_is_said_once_with_its_place(
    old: str, new: str, line: int, said: str
) -> None:
    (fault,) = faults(forked((old, new)))
    assert f"line {line}," in fault
    assert said in fault


@pytest.mark.parametrize(
    ("name", "said"),
    [("Left Arm", "again; each run has a name of its own"), ("TAP", "that is the tap's own name")],
)
def test_a_run_has_a_name_of_its_own(name: str, said: str) -> None:
    swaps = [(f'{key} = "cold frame"', f'{key} = "{name}"') for key in ("name", "run")]
    (fault,) = faults(forked(*swaps))
    assert f'line 27, main, run "{name}", name: found "{name}"' in fault
    assert said in fault


@pytest.mark.parametrize("line", ['run = "trunk"', 'along = "3 ft"'])
def test_a_zone_names_no_run_where_there_are_none(line: str) -> None:
    (fault,) = faults(in_zone(line))
    assert "without any [[main.run]]" in fault
