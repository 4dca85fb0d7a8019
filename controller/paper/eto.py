"""Reference ET day by day, as rows and as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from controller.demand.eto import ReferenceEt


def eto_rows(days: Iterable[tuple[date, ReferenceEt | None]]) -> list[dict[str, object]]:
    """One row a day; a day without temperatures has no figure, and says so."""
    rows: list[dict[str, object]] = []
    for day, found in days:
        row: dict[str, object] = {
            "date": day.isoformat(),
            "eto_mm": None if found is None else round(found.eto_mm_day, 4),
            "method": "none: a temperature is missing" if found is None else found.method,
            "humidity": "" if found is None else found.humidity_rung,
            "radiation": "" if found is None else found.radiation_rung,
            "wind": "" if found is None else found.wind_rung,
        }
        rows.append(row)
    return rows


def eto_text(rows: Sequence[dict[str, object]]) -> str:
    """One line a day."""
    lines = [f"{'day':<10}  {'ETo mm':>6}  how"]
    for row in rows:
        eto = row["eto_mm"]
        shown = f"{eto:6.2f}" if isinstance(eto, float) else "     -"
        lines.append(f"{row['date']}  {shown}  {row['method']}")
    known = [r["eto_mm"] for r in rows if isinstance(r["eto_mm"], float)]
    total = sum(v for v in known if isinstance(v, float))
    lines.append(f"{'sum':<10}  {total:6.1f}  of {len(known)} of {len(rows)} days")
    return "\n".join(lines) + "\n"
