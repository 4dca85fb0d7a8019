"""CSV that a spreadsheet shows, and never takes for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

# What spreadsheets begin a formula with, and what they skip before one (common practice).
_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A header, then the rows; with no rows, the header alone."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=header, lineterminator="\n")
    writer.writeheader()
    writer.writerows(map(cells, rows))
    return out.getvalue()


def cells(row: Mapping[str, object]) -> dict[str, object]:
    """The row with an apostrophe before each text that a spreadsheet would work out.

    Numbers stay as they are, negative ones too, also where they are written as text. Lists are
    joined with a plus sign.
    """
    return {name: _cell(value) for name, value in row.items()}


def _cell(value: object) -> object:
    if isinstance(value, list):
        value = "+".join(map(str, value))
    if not isinstance(value, str) or not value.startswith(_BEGINS_FORMULA) or _is_number(value):
        return value
    return f"'{value}"


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text == text.strip()
