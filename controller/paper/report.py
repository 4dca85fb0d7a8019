"""The logbook on paper: what each zone, bed, keeper or month got; what a copy holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from controller.garden.model import Garden
from controller.hydraulics.calibration.calibrated import BAND
from controller.logbook.files import Contents
from controller.logbook.records import HowKnown, SumRow, Sums
from controller.paper.amounts import Units
from controller.paper.ledger import lower_services, step_words
from controller.paper.text import csv_text, long_day, open_time, paragraph, short_day
from controller.timetable.flooding import FLOODING_EFFICIENCY, Comparison
from controller.units import gal_from_m3, m3_from_l

_NAME = 32
_KIB = 1024.0
# How litres are known: the word in a key of a row, and the words for a person.
_HOW = {
    HowKnown.TIMED: ("timed", "timed: open time by computed flow"),
    HowKnown.METERED: ("metered", "metered"),
    HowKnown.BY_HAND: ("by_hand", "by hand, as told by who gave it"),
    HowKnown.HEARTBEAT: ("cut_by_crash", "cut by a crash: as far as signs of life tell"),
    HowKnown.NONE: ("not_known", "not known; counted as nothing"),
}


def report_text(sums: Sums, garden: Garden, *, by: str, first: date, last: date) -> str:
    """The report in 80 columns; US gallons beside litres where the garden file has them."""
    units = Units(garden.us_units)
    lines = [
        *paragraph(f"{garden.site.name}: water given, by {by}", then=""),
        f"{long_day(first)} to {long_day(last)}",
        "",
        _columns(by, "pulses", "open", "litres", "US gal" if units.us else ""),
    ]
    rule = "-" * len(lines[-1])
    lines.append(rule)
    lines += [_sum_line(row, units) for row in sums.rows]
    lines += [rule, _sum_line(sums.total, units), ""]
    lines += _how_known(sums.total, units)
    for remark in _remarks(sums):
        lines += paragraph(f"Note: {remark}.", "  ", "  ")
    return "\n".join(lines).rstrip() + "\n"


def band_text(by_zone: Sums, errors: Mapping[str, float], units: Units) -> str:
    """The error of litres by computed flow: two standard errors of each zone's flow, alone."""
    lines = ["", "Timed litres, give or take"]
    for row in by_zone.rows:
        if row.name in errors:
            timed = row.litres_by_how.get(HowKnown.TIMED, 0.0)
            shown = f"{units.volume(timed)} ± {units.volume(BAND * errors[row.name] * timed)}"
            lines += paragraph(f"{row.name}: {shown}", "  ", "  ")
    if len(lines) == 2:
        lines.append("  none were timed")
    return "\n".join(lines) + "\n"


def flooding_text(found: Comparison | None, units: Units) -> str:
    """The same depth by flooding, with the efficiencies it is computed from; empty without any."""
    if found is None:
        return ""
    share = 100 * abs(found.saved_fraction)
    words = (
        f"Flooding the same ground at an efficiency of {100 * FLOODING_EFFICIENCY:.0f} % would "
        f"have taken {units.volume(found.flooding_litres)}; this took "
        f"{units.volume(found.timetable_litres)} at {100 * found.efficiency:.0f} %, "
        f"{share:.0f} % {'less' if found.saved_fraction >= 0 else 'more'} (waterings of which the "
        "logbook has what reached the roots)."
    )
    return "\n".join(["", *paragraph(words)]) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A person's note of a day: words, a reading, or a field test."""

    day: date
    kind: str
    words: str
    zone: str = ""
    who: str = ""


def written_text(written: Sequence[Written]) -> str:
    """People's notes, day by day; empty without notes."""
    lines = ["", "Written down"] if written else []
    for one in written:
        zone, who = f"{one.zone}: " if one.zone else "", f" ({one.who})" if one.who else ""
        words = one.words if one.kind == "words" else f"{one.kind} {one.words}"
        # What would move a terminal's cursor or colours is shown as a question mark.
        line = " ".join(f"{zone}{words}{who}".split())
        plain = "".join(sign if sign.isprintable() else "?" for sign in line)
        lines += paragraph(f"{one.day}  {plain}", "  ", " " * 14)
    return "".join(f"{line}\n" for line in lines)


def written_rows(written: Sequence[Written]) -> list[dict[str, str]]:
    """The same for --json."""
    return [asdict(one) | {"day": one.day.isoformat()} for one in written]


def report_rows(sums: Sums) -> list[dict[str, object]]:
    """One flat row for each zone, bed, keeper or month, for --json and --csv; SI, not rounded."""
    return [_flat(sums, row) for row in sums.rows]


def report_csv(sums: Sums) -> str:
    """The same rows as CSV; with no rows, the header alone."""
    return csv_text(list(_flat(sums, sums.total)), report_rows(sums))


def _flat(sums: Sums, row: SumRow) -> dict[str, object]:
    known = {f"{key}_litres": row.litres_by_how.get(how, 0.0) for how, (key, _) in _HOW.items()}
    return {
        sums.by: row.name,
        "first_day": sums.first.isoformat(),
        "last_day": sums.last.isoformat(),
        "pulses": row.pulses,
        "pulses_cut_by_crash": row.pulses_cut,
        "pulses_without_open_time": row.pulses_untimed,
        "open_s": row.open_s,
        "given_litres": row.litres,
        **known,
    }


def _columns(name: str, pulses: str, opened: str, litres: str, gallons: str) -> str:
    """One line of the table, never wider than the page."""
    short = name if len(name) <= _NAME else name[: _NAME - 1] + "…"
    line = f"  {short:<{_NAME}} {pulses:>7} {opened:>11} {litres:>11}"
    return f"{line} {gallons:>11}" if gallons else line


def _sum_line(row: SumRow, units: Units) -> str:
    opened = open_time(row.open_s) + ("+" if row.pulses_untimed else "")
    if row.pulses_untimed == row.pulses:
        opened = "?" if row.pulses else "-"
    gallons = _gallons(row.litres) if units.us else ""
    return _columns(row.name, str(row.pulses), opened, f"{row.litres:,.1f}", gallons)


def _how_known(total: SumRow, units: Units) -> list[str]:
    """How the litres are known, a line for each kind; none where nothing was given."""
    if not total.litres_by_how:
        return ["  No water is written down for these days.", ""]
    lines = ["How the litres are known"]
    for how, litres in total.litres_by_how.items():
        line = f"  {_HOW[how][1]:<44} {litres:>19,.1f}"
        lines.append(f"{line} {_gallons(litres):>11}" if units.us else line)
    return [*lines, ""]


def _remarks(sums: Sums) -> list[str]:
    remarks = []
    if sums.total.pulses_untimed:
        remarks.append(
            f"+ or ? as the open time: {_times(sums.total.pulses_untimed, 'watering')} by hand "
            "came without it"
        )
    if sums.total.pulses_cut:
        remarks.append(
            f"a crash ended {_times(sums.total.pulses_cut, 'pulse')}; only water known to have "
            "flowed is in the sum"
        )
    for count, words in ((sums.missed, "their time went by"), (sums.refused, "refused")):
        if count:
            remarks.append(f"planned but not given: {_times(count, 'pulse')} ({words})")
    if sums.assumed:
        remarks.append(
            f"taken as done as printed, and in no sum above: {_times(sums.assumed, 'watering')} by "
            f"hand, {sums.assumed_litres:,.1f} L"
        )
    for rung in lower_services(sums.zone_days_by_rung):
        remarks.append(
            f"{sums.zone_days_by_rung[rung]} of {sums.zone_days} zone-days of the ledger stood on "
            f"{step_words(rung)}"
        )
    if sums.stand_in_zone_days:
        remarks.append(
            f"{sums.stand_in_zone_days} of {sums.zone_days} zone-days of the ledger stood on a "
            f"stand-in for the weather ({'; '.join(sums.stand_ins)})"
        )
    if sums.forecast_zone_days:
        remarks.append(
            f"{sums.forecast_zone_days} of {sums.zone_days} zone-days of the ledger stood on a "
            "forecast, not on measured weather"
        )
    return remarks


def _times(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _gallons(litres: float) -> str:
    return f"{gal_from_m3(m3_from_l(litres)):,.1f}"


def copy_text(contents: Contents, *, source: str, copy: str) -> str:
    """Name the copy and say what is in it."""
    lines = [
        f"{source}",
        f"is copied to {copy}: {contents.size_bytes / _KIB:,.0f} KiB, read through and sound.",
        "It holds",
    ]
    if contents.first_day is None or contents.last_day is None:
        lines.append("  no water given yet")
    else:
        lines.append(
            f"  {contents.pulses} pulses, {contents.litres:,.0f} L, "
            f"{short_day(contents.first_day)} to {short_day(contents.last_day)}"
        )
    lines += [
        f"  {contents.ledger_days} days of ledger, zone by zone",
        f"  {contents.weather_days} days of weather",
        f"  {contents.field_tests} field tests, {contents.observations} things seen, "
        f"{contents.readings} readings, {contents.notes} notes",
        "The garden file is not in it; keep a copy of that, too.",
    ]
    return "\n".join(lines) + "\n"


def copy_row(contents: Contents) -> dict[str, Any]:
    """The same for a program."""
    return {
        "size_bytes": contents.size_bytes,
        "first_day": contents.first_day and contents.first_day.isoformat(),
        "last_day": contents.last_day and contents.last_day.isoformat(),
        "pulses": contents.pulses,
        "litres": contents.litres,
        "ledger_zone_days": contents.ledger_days,
        "weather_days": contents.weather_days,
        "readings": contents.readings,
        "notes": contents.notes,
        "field_tests": contents.field_tests,
        "observations": contents.observations,
    }
