"""The README's first promises: two commands, their true output, and pages that exist."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from controller.cli import main
from controller.weather.files.table import COLUMNS, DATE, MEASURED

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```\w*\n(.*?)^```$", README, re.S | re.M)


def test_the_job_comes_first_in_one_paragraph() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# Rowgate"
    assert paragraph.startswith("Rowgate waters garden beds")
    assert "\n" not in paragraph


def test_the_first_two_blocks_are_one_line_each_and_need_nothing_but_python() -> None:
    for block in BLOCKS[:2]:
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv ")
    assert BLOCKS[0].rstrip().endswith("bin/rowgate plan")
    assert BLOCKS[1].rstrip().endswith("bin/pytest")


def test_the_output_shown_is_the_output(capsys: pytest.CaptureFixture[str]) -> None:
    shown = BLOCKS[2]
    assert main(["plan"]) == 0
    printed = capsys.readouterr().out
    start, _, end = shown.partition("[...]\n")
    assert len(start) > 1000
    assert printed.startswith(start)
    assert end
    assert end in printed


def test_the_example_in_the_readme_reads(tmp_path: Path) -> None:
    text = next(b for b in BLOCKS if "[[zone]]" in b)
    assert text.count("\n") <= 11
    path = tmp_path / "garden.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["check", str(path)]) == 0


@pytest.mark.parametrize(
    "page",
    ["README.md", "DEVELOPERS.md", *(f"docs/{p.name}" for p in (ROOT / "docs").glob("*.md"))],
)
def test_every_link_between_pages_leads_somewhere(page: str) -> None:
    path = ROOT / page
    for target, place in re.findall(r"\]\(([^)#:]*)(?:#([^)]+))?\)", path.read_text("utf-8")):
        there = path.parent / target if target else path
        assert there.exists(), f"{page}: {target}"
        assert not place or place in _places(there), f"{page}: {target}#{place}"


def _places(page: Path) -> list[str]:
    """What a heading is called in a link: small letters, hyphens for spaces, no other signs."""
    headings = re.findall(r"^#+ (.*)$", page.read_text("utf-8"), re.M)
    return [re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings]


def test_the_first_page_of_the_docs_leads_to_every_other() -> None:
    first = (ROOT / "docs/README.md").read_text(encoding="utf-8")
    for page in sorted((ROOT / "docs").iterdir()):
        assert page.name == "README.md" or f"]({page.name})" in first, page.name


def test_the_picture_says_what_it_shows_and_each_part_has_its_page() -> None:
    picture = ElementTree.parse(ROOT / "docs/installation.svg").getroot()
    names = {
        name: picture.find(f"{{http://www.w3.org/2000/svg}}{name}") for name in ("title", "desc")
    }
    assert all(found is not None and len(found.text or "") > 40 for found in names.values())
    words = [each.text or "" for each in picture.iter("{http://www.w3.org/2000/svg}text")]
    numbers = {int(found) for each in words for found in re.findall(r"^\d+", each)}
    assert numbers == set(range(1, 16))
    first = (ROOT / "docs/README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d.*?) \| .* \| (\[.*) \|$", first, re.M)
    told = {int(number) for parts, _ in rows for number in re.findall(r"\b\d+", parts)}
    assert told == numbers


def test_the_weather_page_lists_the_columns_that_are_read() -> None:
    names = [
        (DATE, "the local day, as 2031-06-01 (needed)"),
        *((column.name, column.means) for column in COLUMNS),
        (MEASURED, "no for a forecast; without this column every day is taken as measured"),
    ]
    listed = "\n".join(f"{name:<20} {means}" for name, means in names)
    assert listed in (ROOT / "docs/weather-file.md").read_text(encoding="utf-8")
