"""A garden file that is too large or too deep is refused before anything parses it."""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import pytest

from controller.errors import GardenFileError
from controller.garden.size import MOST_BYTES, MOST_DEEP, MOST_WORDS, require_size
from controller.inputs.garden_loader import garden_from_file, garden_from_text
from crops.catalogue import load

CATALOGUE = load()
ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "config" / "example-garden.toml").read_text(encoding="utf-8")

TOO_MUCH = {
    "500 names in a header": ("[" + ".".join(["a"] * 500) + "]\n", "deeper than 16"),
    "500 names in a key": (".".join(["a"] * 500) + " = 1\n", "deeper than 16"),
    "500 quoted names": (".".join(['"a.b"'] * 500) + " = 1\n", "deeper than 16"),
    "names apart": (" . ".join(["a"] * 500) + " = 1\n", "deeper than 16"),
    "a header of 100 kB": ("[" + ".".join(["a"] * 50_000) + "]\n", "deeper than 16"),
    "500 lists": ("a = " + "[" * 500 + "]" * 500, "deeper than 16"),
    "lists on many lines": ("a = " + "[\n" * 500 + "]\n" * 500, "deeper than 16"),
    "500 tables": ("a = " + "{a = " * 500 + "1" + "}" * 500, "deeper than 16"),
    "tables of dotted keys": ("a = " + "{a.b.c.d = " * 90 + "1" + "}" * 90, "deeper than 16"),
    "a dotted key under a deep header": ("[a.b.c.d.e.f.g.h.i]\nj.k.l.m.n.o.p.q = 1\n", "deeper"),
    "many keys": ("a = 1\n" * 26_000, "more than 50000 keys and values"),
    "a large file": ("#" * (MOST_BYTES + 1), "larger than 500 kB"),
    "digits": ("a = " + "1" * 3000, "found a number of 3000 digits; allowed are 40"),
    "more digits than Python reads": ("a = " + "1" * 5000, "found a number of 5000 digits"),
    "hexadecimal digits": ("a = 0x" + "f" * 20_000, "found a number of 20002 digits"),
    "digits of a float": ("a = " + "1" * 3000 + ".5", "found a number of 3000 digits"),
    "digits after the dot": ("a = 1." + "1" * 3000, "found a number of 3000 digits"),
}


@pytest.mark.parametrize("which", TOO_MUCH)
def test_too_much_is_refused_with_the_limit_and_costs_little(which: str) -> None:
    text, words = TOO_MUCH[which]
    tracemalloc.start()
    try:
        began = time.process_time()  # real time: what took minutes must take seconds
        with pytest.raises(GardenFileError, match=words) as refused:
            garden_from_text(text, "garden.toml", CATALOGUE)
        assert time.process_time() - began < 5.0
        # The names of 100 kB took 4 GB, by the square of their number.
        assert tracemalloc.get_traced_memory()[1] < 20e6
    finally:
        tracemalloc.stop()
    assert len(refused.value.faults) == 1
    assert refused.value.faults[0].startswith("garden.toml")
    assert len(refused.value.faults[0]) < 200


def test_the_line_is_where_it_goes_too_far() -> None:
    text = 'a = """\n[[[[\n"""\nb = ' + "[" * (MOST_DEEP + 1)
    with pytest.raises(GardenFileError, match=r"garden\.toml, line 4: tables and lists"):
        require_size(text, "garden.toml")


def test_a_large_file_is_refused_from_the_disk_too(tmp_path: Path) -> None:
    file = tmp_path / "garden.toml"
    with file.open("wb") as sparse:
        sparse.truncate(5_000_000_000)  # it takes no room on the disk, and would in memory
    with pytest.raises(GardenFileError, match="larger than 500 kB"):
        garden_from_file(file, CATALOGUE)


@pytest.mark.parametrize(
    "text",
    [
        EXAMPLE,
        EXAMPLE.replace("\n", "\r\n"),
        "# " + "[{" * 600 + "\n" + EXAMPLE,
        *(f"a = {quotes}{'[{.' * 600}{quotes}\n" for quotes in ("'", '"', "'''", '"""')),
        'a = "\\"' + "[" * 600 + '"\n',
        'a = """x""""\nb = """""\n[""" # """\n' * 20,
        "a = 'C:\\'\nb = [1]\n" * 400,
        "".join(f"[a.b.c.d]\nx{n}.y = [1.5, {{z = 2.5}}]\n[[e.f]]\n" for n in range(2000)),
        "a = [" + "1.25, " * 9000 + "]\n",
    ],
)
def test_brackets_and_dots_in_words_and_side_by_side_are_no_depth(text: str) -> None:
    require_size(text, "garden.toml")


def test_what_fits_the_limits_is_read_in_seconds_and_little_memory() -> None:
    """The worst that fits, of the kinds tried: headers of many names."""
    text = "".join(f"[{'.'.join(f'a{n}' for _ in range(14))}]\n" for n in range(MOST_WORDS // 15))
    assert len(text) < MOST_BYTES
    tracemalloc.start()
    try:
        with pytest.raises(GardenFileError) as refused:
            garden_from_text(text, "garden.toml", CATALOGUE)
        assert tracemalloc.get_traced_memory()[1] < 80e6
    finally:
        tracemalloc.stop()
    assert len(refused.value.faults) == 201
    assert refused.value.faults[-1].endswith("more faults, left out here")


def test_a_garden_of_500_zones_is_within() -> None:
    head, _, zones = EXAMPLE.partition("[[zone]]")
    count = zones.count("[[zone]]") + 1
    many = head + ("[[zone]]" + zones) * (500 // count)
    assert len(many) < MOST_BYTES
    require_size(many, "garden.toml")


@pytest.mark.parametrize("year", ["0001", "1899", "2200", "9999"])
@pytest.mark.parametrize("quotes", ["", '"'])
def test_a_date_beyond_all_gardens_is_a_fault(year: str, quotes: str) -> None:
    begin = EXAMPLE.index("until = ") + len("until = ")
    end = begin + len("2031-01-01")
    text = f"{EXAMPLE[:begin]}{quotes}{year}-12-31{quotes}{EXAMPLE[end:]}"
    with pytest.raises(GardenFileError, match="the year is 1900 to 2199"):
        garden_from_text(text, "garden.toml", CATALOGUE)
