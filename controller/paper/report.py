"""The logbook on paper: what each zone, bed, keeper or month got; what a copy holds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.hydraulics.calibration.calibrated import BAND
from controller.logbook.files import Contents
from controller.logbook.records import HowKnown, MeterSpan, SumRow, Sums
from controller.paper.amounts import Units
from controller.paper.ledger import lower_services, step_words
from controller.paper.text import (
    csv_text,
    day_cell,
    day_in_year,
    long_day,
    open_time,
    paragraph,
    short_day,
)
from controller.timetable.flooding import FLOODING_EFFICIENCY, Comparison
from controller.timetable.unwritten import zones_as_printed
from controller.units import gal_from_m3, m3_from_l

_NAME = 21
_KIB = 1024.0
# How litres are known: the word in a key of a row, and the words for a person.
_HOW = {
    HowKnown.TIMED: ("timed", "timed: open time by computed flow"),
    HowKnown.METERED: ("metered", "metered"),
    HowKnown.BY_HAND: ("by_hand", "by hand, as reported by who gave it"),
    HowKnown.HEARTBEAT: ("cut_by_crash", "cut by a crash: as far as signs of life show"),
    HowKnown.NONE: ("not_known", "not known; counted as nothing"),
}


def report_text(
    sums: Sums, garden: Garden, *, by: str, first: date, last: date, begun: date | None = None
) -> str:
    """The report in 80 columns, in litres, or in US gallons where the garden file has them.

    `begun` is the first day of the logbook, which knows of days before it by notes alone.
    """
    units = Units(garden.us_units)
    year = by == "month"
    head = (by, "waterings", *(("with", "without") if year else ("open", "")))
    volume = "gal" if units.us else "L"
    lines = [
        *paragraph(f"{garden.site.name}: water given, by {by}", then=""),
        f"{long_day(first)} to {long_day(last)}",
        "",
        _columns(
            "", "", *(("days", "days") if year else ("", "")), "by relay", "by hand", "assumed"
        ),
        _columns(*head, *(f"{volume}" for _ in range(3))),
    ]
    rule = "-" * max(map(len, lines[-2:]))
    lines.append(rule)
    name = ""
    for row in sums.rows:
        if row.month and row.name != name:
            lines.append(_columns(row.name, *[""] * 6))
        name = row.name
        shown = f"  {_month(row.month)}" if row.month else _month(name) if year else name
        lines.append(_sum_line(shown, row, units, year=year))
    lines += [rule, _sum_line("all", sums.total, units, year=year), ""]
    lines += _how_known(sums.total, units)
    known = []
    if begun is not None and first < begun:
        known.append(
            f"the logbook was begun on {short_day(begun)}; of the days before it has only what "
            "was noted later"
        )
    for remark in (*known, *_rules(garden), *_remarks(sums)):
        lines += paragraph(f"Note: {remark}.", "  ", "  ", at_hyphens=False)
    return "\n".join(lines).rstrip() + "\n"


def _month(text: str) -> str:
    """As in "June 2031"."""
    day = date.fromisoformat(f"{text}-01")
    return f"{day_in_year(day).split()[1]} {day.year}"


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

    number: int
    day: date
    kind: str
    words: str
    zone: str = ""
    who: str = ""


def written_text(written: Sequence[Written]) -> str:
    """People's notes, day by day; empty without notes."""
    lines = ["", "Written down"] if written else []
    for one in written:
        who = f" ({one.who})" if one.who else ""
        # What would move a terminal's cursor or colours is shown as a question mark.
        line = " ".join(f"{one.words}{who}".split())
        plain = "".join(sign if sign.isprintable() else "?" for sign in line)
        lines += paragraph(f"{one.number:>5}  {one.day}  {plain}", "", " " * 19)
    return "".join(f"{line}\n" for line in lines)


def written_rows(written: Sequence[Written]) -> list[dict[str, Any]]:
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
        **({} if sums.by == "month" else {"month": row.month}),
        "first_day": sums.first.isoformat(),
        "last_day": sums.last.isoformat(),
        "waterings": row.waterings,
        "days_with_water": row.days,
        "days_without_water": row.days_without,
        "pulses": row.pulses,
        "pulses_cut_by_crash": row.pulses_cut,
        "pulses_without_open_time": row.pulses_untimed,
        "open_s": row.open_s,
        "given_litres": row.litres,
        "of_it_by_relay_litres": row.relay_litres,
        "of_it_by_hand_litres": row.hand_litres,
        "assumed_as_printed_litres": row.assumed_litres,
        "assumed_as_printed_waterings": row.assumed_waterings,
        **known,
    }


def _columns(name: str, count: str, one: str, other: str, *amounts: str) -> str:
    """One line of the table, never wider than the page."""
    short = name if len(name) <= _NAME else name[: _NAME - 1] + "…"
    figures = "".join(f" {amount:>10}" for amount in amounts)
    middle = f"{one:>5} {other:>7}" if other else f"{one:>13}"
    return f"  {short:<{_NAME}} {count:>9}{middle}{figures}".rstrip()


def _sum_line(name: str, row: SumRow, units: Units, *, year: bool) -> str:
    opened = open_time(row.open_s) + ("+" if row.pulses_untimed else "")
    if row.pulses_untimed == row.pulses:
        opened = "?" if row.pulses else "-"
    middle = (str(row.days), str(row.days_without)) if year else (opened, "")
    litres = (row.relay_litres, row.hand_litres, row.assumed_litres)
    return _columns(name, str(row.waterings), *middle, *(_figure(each, units) for each in litres))


def _figure(litres: float, units: Units) -> str:
    """A volume without its unit; a stroke for none."""
    if litres == 0.0:
        return "-"
    return _gallons(litres) if units.us else f"{litres:,.1f}"


def _rules(garden: Garden) -> list[str]:
    """How hand valves count where nobody reported their water."""
    hand = [zone.name for zone in garden.zones if zone.valve.kind is ValveKind.HAND]
    printed = [name for name in hand if name in zones_as_printed(garden)]
    confirmed = [name for name in hand if name not in printed]
    rules = []
    if printed:
        rules.append(
            f"water that nobody reported counts as printed (zones by hand: {'; '.join(printed)}). "
            "What the daemon's sheet had is under assumed; what was planned on other days is "
            "marked in balance. Neither is under by relay or by hand"
        )
    if confirmed:
        rules.append(
            f"water that nobody reported does not count (zones by hand: {'; '.join(confirmed)})"
        )
    return rules


def _how_known(total: SumRow, units: Units) -> list[str]:
    """How the litres are known, a line for each kind; none where nothing was given."""
    lines = []
    if total.litres_by_how:
        lines.append("How the litres are known")
        for how, litres in total.litres_by_how.items():
            lines.append(f"  {_HOW[how][1]:<48}{_amount(litres, units):>27}")
        lines.append(f"  {'reported in all':<48}{_amount(total.litres, units):>27}")
    else:
        lines.append("  No water is written down for these days.")
    if total.assumed_waterings:
        words = f"assumed as printed, {_times(total.assumed_waterings, 'watering')}; in no sum"
        lines.append(f"  {words:<48}{_amount(total.assumed_litres, units):>27}")
    return [*lines, ""]


def _amount(litres: float, units: Units) -> str:
    return f"{_gallons(litres)} gal" if units.us else f"{litres:,.1f} L"


def _remarks(sums: Sums) -> list[str]:
    remarks = []
    if sums.total.pulses_untimed:
        remarks.append(
            f"+ or ? as the open time: {_times(sums.total.pulses_untimed, 'note')} of water by "
            "hand came without it"
        )
    if sums.total.pulses_cut:
        remarks.append(
            f"a crash ended {_times(sums.total.pulses_cut, 'opening')}; only water known to have "
            "flowed is in the sum"
        )
    for count, words in ((sums.missed, "their time went by"), (sums.refused, "refused")):
        if count:
            remarks.append(f"planned but not given: {_times(count, 'opening')} ({words})")
    for rung in lower_services(sums.zone_days_by_rung):
        remarks.append(
            f"{sums.zone_days_by_rung[rung]} of {sums.zone_days} zone-days of the ledger go by "
            f"{step_words(rung)}"
        )
    if sums.stand_in_zone_days:
        remarks.append(
            f"{sums.stand_in_zone_days} of {sums.zone_days} zone-days of the ledger go by a "
            f"stand-in for the weather ({'; '.join(sums.stand_ins)})"
        )
    if sums.forecast_zone_days:
        remarks.append(
            f"{sums.forecast_zone_days} of {sums.zone_days} zone-days of the ledger go by a "
            "forecast, not on measured weather"
        )
    return remarks


def _times(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _gallons(litres: float) -> str:
    return f"{gal_from_m3(m3_from_l(litres)):,.1f}"


METER_RULE = (
    "a pulse counts to the reading after its end; water by hand of the day of a reading counts "
    "before it. Unexplained is what the meter counted beside both: the house, a leak, a note that "
    "is missing; below 0 the meter counted less than pulses and notes"
)


def meter_text(spans: Sequence[MeterSpan], garden: Garden) -> str:
    """What pulses, notes and meter say from one reading to the next; 80 columns."""
    units = Units(garden.us_units)
    if not spans:
        return "".join(
            f"{line}\n"
            for line in paragraph(
                "Two readings of the water meter are needed in these days: rowgate note meter "
                '"81234 L", and again some days later.',
                then="",
            )
        )
    lines = [
        *paragraph(f"{garden.site.name}: the water meter, reading by reading", then=""),
        f"all in {'US gallons' if units.us else 'litres'}",
        "",
        _meter_line("from", "to", "pulses", "by hand", "meter", "unexplained"),
    ]
    rule = "-" * len(lines[-1])
    lines.append(rule)
    for span in spans:
        days = (
            f"{day_cell(span.first_day)} {span.first_day.year}",
            (f"{day_cell(span.last_day)} {span.last_day.year}"),
        )
        parts = (span.relay_litres, span.hand_litres)
        lines.append(
            _meter_line(*days, *(_plain(p, units) for p in parts), *_by_meter(span, units))
        )
    known = [span for span in spans if span.meter_litres is not None]
    if len(known) > 1:
        sums = (
            math.fsum(span.relay_litres for span in known),
            math.fsum(span.hand_litres for span in known),
            math.fsum(span.meter_litres or 0.0 for span in known),
            math.fsum(span.unexplained_litres or 0.0 for span in known),
        )
        lines += [rule, _meter_line("all", "", *(_plain(each, units) for each in sums))]
    lines.append("")
    remarks = [METER_RULE]
    if len(known) < len(spans):
        remarks.append(
            "? where the meter was exchanged or read less than before: what it counted in between "
            "is not known, and not in the sums"
        )
    assumed = math.fsum(span.assumed_litres for span in known)
    if assumed > 0.0:
        remarks.append(
            f"{_amount(assumed, units)} of hand valves count as printed, since nobody "
            "reported them: they are under unexplained, if they were given"
        )
    for remark in remarks:
        lines += paragraph(f"Note: {remark}.", "  ", "  ", at_hyphens=False)
    return "\n".join(lines) + "\n"


def _by_meter(span: MeterSpan, units: Units) -> tuple[str, str]:
    if span.meter_litres is None or span.unexplained_litres is None:
        return "?", "?"
    return _plain(span.meter_litres, units), _plain(span.unexplained_litres, units)


def _plain(litres: float, units: Units) -> str:
    return _gallons(litres) if units.us else f"{litres:,.1f}"


def _meter_line(begins: str, ends: str, *figures: str) -> str:
    return f"  {begins:<12} {ends:<12}" + "".join(f" {each:>12}" for each in figures)


def meter_rows(spans: Sequence[MeterSpan]) -> list[dict[str, object]]:
    """The same for --json and --csv."""
    return [
        {
            "first_day": span.first_day.isoformat(),
            "last_day": span.last_day.isoformat(),
            "first_reading_litres": span.first.value,
            "last_reading_litres": span.last.value,
            "pulses_litres": span.relay_litres,
            "by_hand_litres": span.hand_litres,
            "assumed_as_printed_litres": span.assumed_litres,
            "meter_litres": span.meter_litres,
            "unexplained_litres": span.unexplained_litres,
        }
        for span in spans
    ]


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
