"""The timetable as rows for a program: --json and --csv, in SI, times with their offset."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from controller.garden.model import Garden
from controller.hydraulics.calibration.calibrated import Bands
from controller.messages import Message
from controller.timetable.flooding import FLOODING_EFFICIENCY, Comparison, against_flooding
from controller.timetable.records import Short, Timetable
from controller.wording.say import say


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
            "bed": garden.zone(p.zone).bed.name,
            "keeper": garden.zone(p.zone).bed.keeper,
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


def flooding_row(timetable: Timetable) -> dict[str, object] | None:
    """The comparison with flooding, for --json."""
    return comparison_row(against_flooding(timetable))


def comparison_row(found: Comparison | None) -> dict[str, object] | None:
    """A comparison with flooding, for --json."""
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


def _joined(reasons: Iterable[Message], *, us: bool) -> str:
    return "; ".join(say(reason, us=us) for reason in reasons)
