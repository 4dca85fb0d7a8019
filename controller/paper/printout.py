"""The timetable as text: on a terminal, in a pipe, or on the shed door."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from functools import partial
from typing import TypeVar

from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.hydraulics.calibration.calibrated import BAND, Bands
from controller.messages import Message
from controller.paper.amounts import Units
from controller.paper.text import clock_time, day_in_year, long_day, open_time, paragraph
from controller.timetable.flooding import FLOODING_EFFICIENCY, against_flooding
from controller.timetable.need.dose import SHARE_USED_UP
from controller.timetable.records import Dose, NotFitted, Pulse, Short, Timetable, WaterIn
from controller.wording.say import say

_T = TypeVar("_T", Pulse, NotFitted, WaterIn)
_NAME = 24
_wrapped = partial(paragraph, at_hyphens=False)


def timetable_text(timetable: Timetable, garden: Garden, bands: Bands | None = None) -> str:
    """The whole timetable in 80 columns: a line for each pulse, and the reason under each dose.

    With bands, each time and each volume has its plus-or-minus: two standard errors, by which the
    litres may be off if the time is kept, or the time if the litres are.
    """
    lines = [
        f"{garden.site.name}: dry-run timetable",
        _span(timetable.first, timetable.last),
        f"Clock times of {garden.site.timezone}. Open is minutes:seconds.",
        "",
    ]
    doses = {(d.day, d.zone): d for d in timetable.doses}
    pulses, left = _by_day(timetable.pulses), _by_day(timetable.not_fitted)
    water_in = _by_day(timetable.water_in)
    day = timetable.first
    while day <= timetable.last:
        lines += [long_day(day), "-" * len(long_day(day))]
        by_hand = _water_in(water_in.get(day, []), garden)
        by_line = _one_day(pulses.get(day, []), left.get(day, []), doses, garden, bands)
        lines += [*by_hand, *by_line] if by_hand or by_line else ["  no zone needs water"]
        lines.append("")
        day += timedelta(days=1)
    lines += _short(timetable, garden)
    lines += _no_water(timetable, garden)
    lines += _sums(timetable, garden)
    lines += _flooding(timetable, garden)
    for remark in timetable.remarks:
        lines += _wrapped(f"Note: {say(remark, us=garden.us_units)}.", "  ")
    return "\n".join(lines).rstrip() + "\n"


def _span(first: date, last: date) -> str:
    return long_day(first) if first == last else f"{long_day(first)} to {long_day(last)}"


def _water_in(found: list[WaterIn], garden: Garden) -> list[str]:
    """What is set out that day, and how much water it needs."""
    lines: list[str] = []
    units = Units(garden.us_units)
    for each in found:
        name = f"{each.zone}, {each.part}" if each.part else each.zone
        unknown = ""
        if each.rain_unknown_days:
            unknown = f"; rain unknown on {each.rain_unknown_days} d before"
        words = (
            f"{name}: {each.crop.replace('_', ' ')} is set out; water it in by hand with "
            f"{units.volume(each.litres)} along its rows ({units.depth(each.lacking_mm)} is "
            f"missing there{unknown}) and note it; else the line makes it up from the next day on"
        )
        lines += _wrapped(words, "  ")
    return lines


def _one_day(
    pulses: list[Pulse],
    left: list[NotFitted],
    doses: Mapping[tuple[date, str], Dose],
    garden: Garden,
    bands: Bands | None,
) -> list[str]:
    lines: list[str] = []
    units = Units(garden.us_units)
    explained: set[str] = set()
    for pulse in pulses:
        lines.append(_pulse_line(pulse, garden, bands))
        if pulse.zone not in explained:
            explained.add(pulse.zone)
            lines += _wrapped(why_line(doses[pulse.day, pulse.zone], units), " " * 12)
    for item in left:
        amount, reason = units.volume(item.litres), say(item.reason, us=garden.us_units)
        lines += _wrapped(f"not given: {item.zone}, {amount}: {reason}", "  ")
    return lines


def _pulse_line(pulse: Pulse, garden: Garden, bands: Bands | None) -> str:
    units = Units(garden.us_units)
    opens = clock_time(pulse.opens_utc.astimezone(garden.site.zone_info))
    by = "by hand" if pulse.valve is ValveKind.HAND else f"relay {pulse.relay_line}"
    if bands is not None:
        band = BAND * bands.error(pulse.zone, pulse.together)
        off = units.volume(pulse.litres * band).partition(" ")[0]
        amount, _, unit = units.volume(pulse.litres).partition(" ")
        return (
            f"  {opens:<9} {_cut(pulse.zone, _NAME - 4):<{_NAME - 4}} {open_time(pulse.open_s):>7} "
            f"±{open_time(pulse.open_s * band):<7} {amount:>6} ±{off:<6} {unit:<3}  {by}"
        )
    return (
        f"  {opens:<9} {_cut(pulse.zone):<{_NAME}} {open_time(pulse.open_s):>8} open"
        f" {units.volume(pulse.litres):>10}  {by}"
    )


def why_line(dose: Dose, units: Units) -> str:
    """The reason in one line: stage, ETo, Kc, what is gone against what may be, rain counted."""
    why = dose.why
    rain = f"rain counted {units.depth(why.rain_mm)}"
    if why.rain_unknown_days:
        rain += f" (unknown on {why.rain_unknown_days} d)"
    eto = f"ETo {units.depth(why.eto_mm)}"
    if why.stands_in:
        eto += " (stand-in)"
    stage = "" if why.stage == "bare" else f", {why.stage}"
    crop = why.account.partition(" from ")[0].replace("_", " ")
    # That the allowed share is used up stands in the figures already.
    words = _joined((r for r in why.reasons if r != SHARE_USED_UP), us=units.us)
    return (
        f"{crop}{stage}: {eto}, Kc {why.kc:.2f}; gone {units.depth(why.depletion_mm)}, watered at "
        f"{units.depth(why.allowed_mm)}, felt at {units.depth(why.raw_mm)}; {rain}"
        + (f"; {words}" if words else "")
    )


def _joined(reasons: Iterable[Message], *, us: bool) -> str:
    return "; ".join(say(reason, us=us) for reason in reasons)


def _short(timetable: Timetable, garden: Garden) -> list[str]:
    """The zones whose crops will go short: from when, how much, and what limits the water."""
    if not timetable.short:
        return []
    lines = ["Short of water", "--------------"]
    for short in timetable.short:
        name = f"{short.zone}, {short.part}" if short.part else short.zone
        days = "that day" if short.days == 1 else f"{short.days} days"
        lost = Units(garden.us_units).depth(short.lost_mm)
        words = (
            f"{name}: from {day_in_year(short.first)}, {days}; at worst on "
            f"{day_in_year(short.worst_day)} the crop finds {100 * short.least_stress:.0f} % of "
            f"what it asks for; in all {lost} less than it wants"
        )
        if short.reason:
            words += f" ({say(short.reason, us=garden.us_units)})"
        lines += _wrapped(words, "  ")
    return [*lines, ""]


def _no_water(timetable: Timetable, garden: Garden) -> list[str]:
    """The zones that get no water in these days, and why."""
    if not timetable.no_water:
        return []
    lines = ["Without water", "-------------"]
    for none in timetable.no_water:
        name = f"{none.zone}, {none.part}" if none.part else none.zone
        words = say(none.message, us=garden.us_units)
        lines += _wrapped(f"{name}: {none.why}: {words}", "  ")
    return [*lines, ""]


def no_water_rows(timetable: Timetable, *, us: bool) -> list[dict[str, object]]:
    """One row for each reason that a zone, or a part of it, gets no water, for --json."""
    return [
        {"zone": n.zone, "part": n.part, "why": n.why.value, "words": say(n.message, us=us)}
        for n in timetable.no_water
    ]


def short_rows(timetable: Timetable, *, us: bool) -> list[dict[str, object]]:
    """One row for each part of a zone that goes short, for --json."""
    return [short_row(short, us=us) for short in timetable.short]


def short_row(short: Short, *, us: bool) -> dict[str, object]:
    """One part of a zone that goes short, for --json."""
    return {
        "zone": short.zone,
        "part": short.part,
        "from": short.first.isoformat(),
        "days": short.days,
        "least_stress": round(short.least_stress, 4),
        "worst_date": short.worst_day.isoformat(),
        "lost_mm": round(short.lost_mm, 3),
        "reason": "" if short.reason is None else say(short.reason, us=us),
    }


def water_in_rows(timetable: Timetable) -> list[dict[str, object]]:
    """One row for each planting set out into ground that lacks water, for --json."""
    return [
        {
            "zone": w.zone,
            "part": w.part,
            "date": w.day.isoformat(),
            "crop": w.crop,
            "lacking_mm": round(w.lacking_mm, 3),
            "litres": round(w.litres, 3),
            "rain_unknown_days": w.rain_unknown_days,
        }
        for w in timetable.water_in
    ]


def _sums(timetable: Timetable, garden: Garden) -> list[str]:
    """The sums of the span, by zone."""
    litres: dict[str, float] = defaultdict(float)
    seconds: dict[str, float] = defaultdict(float)
    for pulse in timetable.pulses:
        litres[pulse.zone] += pulse.litres
        seconds[pulse.zone] += pulse.open_s
    if not litres:
        return []
    units = Units(garden.us_units)
    lines = ["In all", "------"]
    for zone in garden.zones:
        if zone.name in litres:
            lines.append(
                f"  {_cut(zone.name):<{_NAME + 10}} {open_time(seconds[zone.name]):>8} open"
                f" {units.volume(litres[zone.name]):>10}"
            )
    total = units.volume(sum(litres.values()))
    return [*lines, f"  {'all zones':<{_NAME + 10}} {'':>8}      {total:>10}", ""]


def _flooding(timetable: Timetable, garden: Garden) -> list[str]:
    """The same depth by flooding, with the efficiencies it is computed from."""
    found = against_flooding(timetable)
    if found is None:
        return []
    units = Units(garden.us_units)
    words = (
        f"Flooding the same ground at an efficiency of {100 * FLOODING_EFFICIENCY:.0f} % would "
        f"take {units.volume(found.flooding_litres)}; this takes "
        f"{units.volume(found.timetable_litres)} at {100 * found.efficiency:.0f} %, "
    )
    share = 100 * abs(found.saved_fraction)
    words += f"{share:.0f} % {'less' if found.saved_fraction >= 0 else 'more'}."
    return [*_wrapped(words, ""), ""]


def timetable_rows(
    timetable: Timetable, garden: Garden, bands: Bands | None = None
) -> list[dict[str, object]]:
    """One row for each pulse, for --csv and --json; SI, local times with their offset."""
    zone_info = garden.site.zone_info

    def local(moment: datetime) -> str:
        return moment.astimezone(zone_info).isoformat(timespec="milliseconds")

    return [
        {
            "zone": p.zone,
            "opens": local(p.opens_utc),
            "closes": local(p.closes_utc),
            "open_s": p.open_s,
            "litres": round(p.litres, 3),
            "valve": p.valve.value,
            "relay_line": p.relay_line,
            "slot": p.slot,
            "together": list(p.together),
        }
        | (
            {}
            if bands is None
            else {"standard_error_fraction": round(bands.error(p.zone, p.together), 5)}
        )
        for p in timetable.pulses
    ]


def dose_rows(timetable: Timetable, *, us: bool) -> list[dict[str, object]]:
    """One row for each dose, for --json."""
    return [
        {
            "zone": d.zone,
            "date": d.day.isoformat(),
            "net_mm": round(d.net_mm, 3),
            "ground_m2": round(d.ground_m2, 4),
            "evenness": round(d.evenness, 4),
            "line_litres": round(d.line_litres, 3),
            "pulses": d.pulses,
            "litres": round(d.litres, 3),
            "already_litres": round(d.already_litres, 3),
            "why": {
                "account": d.why.account,
                "stage": d.why.stage,
                "eto_mm": round(d.why.eto_mm, 3),
                "method": d.why.method,
                "kc": round(d.why.kc, 4),
                "depletion_mm": round(d.why.depletion_mm, 3),
                "allowed_mm": round(d.why.allowed_mm, 3),
                "raw_mm": round(d.why.raw_mm, 3),
                "rain_mm": round(d.why.rain_mm, 3),
                "rain_unknown_days": d.why.rain_unknown_days,
                "stand_in_days": d.why.stand_in_days,
                "words": _joined(d.why.reasons, us=us),
            },
        }
        for d in timetable.doses
    ]


def left_rows(timetable: Timetable, *, us: bool) -> list[dict[str, object]]:
    """One row for each watering that found no place, for --json."""
    return [
        {
            "zone": n.zone,
            "date": n.day.isoformat(),
            "litres": round(n.litres, 3),
            "reason": say(n.reason, us=us),
        }
        for n in timetable.not_fitted
    ]


def flooding_row(timetable: Timetable) -> dict[str, object] | None:
    """The comparison with flooding, for --json."""
    found = against_flooding(timetable)
    if found is None:
        return None
    return {
        "net_litres": round(found.net_litres, 3),
        "timetable_litres": round(found.timetable_litres, 3),
        "timetable_efficiency": round(found.efficiency, 4),
        "flooding_litres": round(found.flooding_litres, 3),
        "flooding_efficiency": FLOODING_EFFICIENCY,
        "saved_fraction": round(found.saved_fraction, 4),
    }


def _by_day(items: Iterable[_T]) -> dict[date, list[_T]]:
    found: dict[date, list[_T]] = defaultdict(list)
    for item in items:
        found[item.day].append(item)
    return found


def _cut(name: str, width: int = _NAME) -> str:
    return name if len(name) <= width else name[: width - 3] + "..."
