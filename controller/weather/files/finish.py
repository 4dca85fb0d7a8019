"""The last step of reading a weather file, the same for every kind: its checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from controller.weather.day import ClearSky, Suspicion, WeatherDay, unit_suspicions
from controller.weather.files.table import DATE, Notes, Row
from controller.weather.series_checks import NAMED, odd_series, spans


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherFile:
    """The usable days of a file in order, with remarks and faults about the rest."""

    days: tuple[WeatherDay, ...]
    remarks: tuple[str, ...]
    faults: tuple[str, ...]
    kind: str = "own"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileForm:
    """How a kind of file writes its days; `names` has the file's column for each field.

    With `own_units` a column may be mislabelled: its figures are compared with other units. With
    `count_empty` a remark says how many days each column leaves out.
    """

    kind: str
    names: Mapping[str, str]
    own_units: bool
    header_line: int = 1
    count_empty: bool = True


def finished(
    rows: Sequence[Row], notes: Notes, form: FileForm, clear_sky_mj_m2: ClearSky | None = None
) -> WeatherFile:
    """Check the days one by one and together."""
    names = form.names
    if not rows:
        notes.faults.append((0, f"{notes.file}: no line with a day under the header"))
    if form.own_units:
        written = [row.written for row in rows]
        for suspicion in unit_suspicions(written, names, clear_sky_mj_m2=clear_sky_mj_m2):
            _report_suspicion(suspicion, rows, form, notes)
    for row in rows:
        row.check(clear_sky_mj_m2, names, notes)
    _report_odd(notes)
    days = _without_duplicates(rows, notes)
    _report_gaps(rows, notes)
    if form.count_empty:
        notes.remarks += [f"{notes.file}: {text}" for text in _empty_cells(rows, names)]
    notes.remarks += [
        f"{notes.file}: {text}" for text in odd_series(days, names, clear_sky_mj_m2=clear_sky_mj_m2)
    ]
    return WeatherFile(
        days=tuple(days),
        remarks=tuple(notes.remarks),
        faults=tuple(text for _, text in sorted(notes.faults, key=lambda fault: fault[0])),
        kind=form.kind,
    )


def _report_suspicion(
    suspicion: Suspicion, rows: Sequence[Row], form: FileForm, notes: Notes
) -> None:
    column = form.names[suspicion.field]
    if not suspicion.refused:
        notes.remark(form.header_line, f"column {column}: {suspicion.found}")
        return
    notes.fault(
        form.header_line,
        column,
        suspicion.found,
        "nothing is converted on a guess: the column is not used; name it for its true unit",
    )
    for row in rows:
        row.written = row.checked = row.written.with_(**{suspicion.field: None})


def _report_odd(notes: Notes) -> None:
    """Odd figures one by one, or together if a column has many of them."""
    for column in dict.fromkeys(odd.column for odd in notes.odd):
        same = [odd for odd in notes.odd if odd.column == column]
        if len(same) <= NAMED:
            for odd in same:
                notes.remark(odd.line, f"{column}: {odd.text}")
            continue
        notes.remark(
            same[0].line,
            f"{column}: {same[0].text}; {len(same)} days are like this: "
            f"{spans(odd.day for odd in same)}",
        )


def _without_duplicates(rows: Sequence[Row], notes: Notes) -> list[WeatherDay]:
    by_day: dict[date, list[Row]] = {}
    for row in rows:
        by_day.setdefault(row.written.day, []).append(row)
    days = []
    for day, same in sorted(by_day.items()):
        lines = " and ".join(str(row.line) for row in same)
        if len(same) > 1 and any(row.written != same[0].written for row in same):
            notes.fault(
                same[-1].line,
                DATE,
                f"{day} with other figures on lines {lines}",
                "allowed is one line a day; none of them is used",
            )
            continue
        if len(same) > 1:
            notes.remark(same[-1].line, f"{day} stands alike on lines {lines}; used once")
        days.append(same[0].checked)
    return days


def _report_gaps(rows: Sequence[Row], notes: Notes) -> None:
    """One remark for each gap between the dates of the lines."""
    line_of = {row.written.day: row.line for row in rows}
    for before, after in pairwise(sorted(line_of)):
        gap = [before + timedelta(days=n) for n in range(1, (after - before).days)]
        if gap:
            span = f"{gap[0]}" if len(gap) == 1 else f"{gap[0]} to {gap[-1]} ({len(gap)} days)"
            notes.remark(line_of[after], f"no usable line for {span}, before {after}")


def _empty_cells(rows: Sequence[Row], names: Mapping[str, str]) -> list[str]:
    counts = {field: sum(row.written.value(field) is None for row in rows) for field in names}
    return [
        f"{names[field]}: no figure on {count} of {len(rows)} days"
        + ("; unknown rain is not taken as none" if field == "rain_mm" else "")
        for field, count in counts.items()
        if count
    ]
