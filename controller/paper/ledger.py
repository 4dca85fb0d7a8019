"""The soil-water ledger as a person reads it, and as rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from controller.demand.records import LedgerDay
from controller.units import in_from_mm


def ledger_text(days: Sequence[LedgerDay], remarks: Iterable[str], *, us: bool) -> str:
    """A table a zone; depths in mm or hundredths of inches, over the whole ground served."""
    unit = "inches" if us else "mm"
    lines = [
        f"Depths in {unit} over the whole ground a zone's rows serve. Gone: missing from",
        "the soil at the end of the day; easy: what may be missing before the crop feels",
        "it. A star marks a day that is forecast or stood in for; ? is rain unknown.",
        "",
    ]
    for zone, rows in groupby(days, key=lambda d: d.zone):
        lines += [zone, "-" * len(zone)]
        lines.append(
            f"  {'day':<10}  {'stage':<11} {'ETo':>5} {'Kc':>5} {'used':>6} {'rain':>6} "
            f"{'given':>6} {'drained':>7} {'gone':>6} {'easy':>6}"
        )
        lines += [_line(row, us=us) for row in rows]
        lines.append("")
    lines += [f"Note: {remark}." for remark in remarks]
    return "\n".join(lines).rstrip() + "\n"


def _line(row: LedgerDay, *, us: bool) -> str:
    def depth(mm: float) -> str:
        return f"{in_from_mm(mm):.2f}" if us else f"{mm:.1f}"

    counted = row.rain_mm - row.rain_unused_mm - row.runoff_mm
    rain = depth(counted) if row.rain_known else "?"
    mark = " " if row.measured else "*"
    return (
        f"  {row.day.isoformat()}{mark} {row.stage:<11} {depth(row.eto_mm):>5} {row.kc:>5.2f} "
        f"{depth(row.used_mm):>6} {rain:>6} {depth(row.watered_mm):>6} "
        f"{depth(row.drained_mm):>7} {depth(row.depletion_mm):>6} {depth(row.raw_mm):>6}"
    )


def ledger_rows(days: Iterable[LedgerDay]) -> list[dict[str, object]]:
    """One row a zone and day, for --json and --csv; SI."""
    return [
        {
            "zone": d.zone,
            "date": d.day.isoformat(),
            "account": d.account,
            "crop": d.crop,
            "stage": d.stage,
            "day_of_planting": d.day_of_planting,
            "method": "single crop coefficient",
            "eto_mm": round(d.eto_mm, 4),
            "eto_method": d.method,
            "kc": round(d.kc, 4),
            "etc_mm": round(d.etc_mm, 4),
            "stress": round(d.stress, 4),
            "used_mm": round(d.used_mm, 4),
            "rain_mm": round(d.rain_mm, 4) if d.rain_known else None,
            "rain_unused_mm": round(d.rain_unused_mm, 4),
            "runoff_mm": round(d.runoff_mm, 4),
            "watered_mm": round(d.watered_mm, 4),
            "drained_mm": round(d.drained_mm, 4),
            "handed_over_mm": round(d.handed_over_mm, 4),
            "start_depletion_mm": round(d.start_depletion_mm, 4),
            "depletion_mm": round(d.depletion_mm, 4),
            "root_depth_m": round(d.root_depth_m, 4),
            "taw_mm": round(d.taw_mm, 4),
            "raw_mm": round(d.raw_mm, 4),
            "depletion_fraction": round(d.depletion_fraction, 4),
            "measured": d.measured,
        }
        for d in days
    ]
