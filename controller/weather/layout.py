"""How a station's log is laid out: what stands between cells, and which column means what."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.weather import headings as hd
from controller.weather.rows import Notes
from controller.weather.stamps import Written, written_of

SEPARATORS = (";", "\t", "|", ",")
HEADER_WITHIN = 40  # lines before which the header must have come: our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How the table is laid out: what stands between cells, where the header ends, its columns."""

    separator: str
    header_line: int
    body_at: int
    width: int
    headings: tuple[hd.Heading, ...]

    stamps_at: tuple[int, ...]
    in_utc: bool

    def stamp(self, cells: Sequence[str]) -> Written | None:
        """The line's date and time of day, from one cell or two; None where there is none."""
        texts = [cells[at] for at in self.stamps_at]
        if len(texts) > 1:
            texts.insert(0, " ".join(texts[:2]))  # "date" for the day beside "time" for both
        for text in texts:
            found = written_of(text)
            if found is not None and found.time_s is not None:
                if self.in_utc and found.utc_offset_s is None:
                    return replace(found, utc_offset_s=0)
                return found
        return None

    def stamp_text(self, cells: Sequence[str]) -> str:
        """What stands where date and time should, for a person."""
        return repr(" ".join(cells[at] for at in self.stamps_at)[:40])


def layout_of(lines: Sequence[tuple[int, str]]) -> Layout | None:
    """The table's layout, or None where no header of a station's log is found."""
    head = lines[:HEADER_WITHIN]
    for depth in (1, 2):
        for at in range(len(head) - depth):
            for separator in SEPARATORS:
                found = _layout_at(lines, at, depth, separator)
                if found is not None:
                    return found
    return None


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line; none where it cannot be split."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except (csv.Error, StopIteration):
        return []


def _layout_at(
    lines: Sequence[tuple[int, str]], at: int, depth: int, separator: str
) -> Layout | None:
    rows = [cells_of(line.lstrip("# \ufeff"), separator) for _, line in lines[at : at + depth]]
    width = len(rows[0])
    while width > 1 and not any(row[width - 1] for row in rows if len(row) >= width):
        width -= 1  # a separator at the end of the line
    if width < 2 or any(len(row) < width for row in rows):
        return None
    body_at = at + depth
    if depth == 1 and body_at < len(lines):
        below = cells_of(lines[body_at][1], separator)
        if len(below) >= width and not any(re.search(r"\d{2}", cell) for cell in below):
            rows.append([f"({cell})" if cell else "" for cell in below])  # a line of units
            body_at += 1
    texts = [" ".join(row[n] for row in rows if row[n]) for n in range(width)]
    if any(written_of(text) is not None for text in texts):
        return None
    found = tuple(hd.heading_of(n, text) for n, text in enumerate(texts))
    whens = [h for kind in (hd.DATE_ONLY, hd.TIME) for h in found if h.meaning == kind]
    whens = [h for h in whens if h.rank == 0] or whens  # local time where there is one
    meanings = {h.meaning for h in found} - {None}
    stamps = meanings & {hd.TIME, hd.DATE_ONLY}
    first_body = next((ln for _, ln in lines[body_at:] if not ln.lstrip().startswith("#")), None)
    if not stamps or not meanings - stamps or first_body is None:
        return None
    if abs(len(cells_of(first_body, separator)) - width) > 1:
        return None
    return Layout(
        separator=separator,
        header_line=lines[at][0],
        body_at=body_at,
        width=width,
        headings=found,
        stamps_at=tuple(h.at for h in whens),
        in_utc=whens[0].rank < 0,
    )


def chosen_columns(layout: Layout, notes: Notes) -> dict[str, hd.Heading]:
    """The one column for each quantity; what is not used is named with its reason."""
    by_meaning: dict[str, list[hd.Heading]] = {}
    for h in layout.headings:
        if h.meaning is None and h.reason:
            notes.remark(layout.header_line, f"column {h.text} is not used: {h.reason}")
        if h.meaning is not None and h.meaning not in (hd.TIME, hd.DATE_ONLY):
            by_meaning.setdefault(h.meaning, []).append(h)
    rains = [name for name in by_meaning if name.startswith("rain")]
    if len(rains) > 1:
        best = max(rains, key=lambda name: max(_plainness(h) for h in by_meaning[name]))
        _drop(by_meaning, set(rains) - {best}, "another column of rain is plainer", layout, notes)
    if hd.SUN in by_meaning:
        _drop(by_meaning, {hd.SUN_ENERGY}, "the sun's power is used", layout, notes)
    chosen = {}
    for name, found in by_meaning.items():
        top = max(_plainness(h) for h in found)
        best_ones = [h for h in found if _plainness(h) == top]
        if len(best_ones) > 1:
            twice = " and ".join(h.text for h in best_ones)
            notes.fault(layout.header_line, twice, f"{len(best_ones)} columns of one meaning",
                        "allowed is one; none is used: rename the others")  # fmt: skip
            continue
        for h in found:
            if h is not best_ones[0]:
                notes.remark(
                    layout.header_line,
                    f"column {h.text} is not used: {best_ones[0].text} is plainer",
                )
        chosen[name] = best_ones[0]
    return chosen


def _plainness(h: hd.Heading) -> tuple[bool, int]:
    """Of two columns of one meaning the one whose unit is said, then the one more plainly named."""
    return h.to_si is not None, h.rank


def _drop(
    by_meaning: dict[str, list[hd.Heading]],
    names: set[str],
    why: str,
    layout: Layout,
    notes: Notes,
) -> None:
    for name in sorted(names & set(by_meaning)):
        for h in by_meaning.pop(name):
            notes.remark(layout.header_line, f"column {h.text} is not used: {why}")
