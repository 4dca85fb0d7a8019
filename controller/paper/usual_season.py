"""A usual season as text and rows, for `check`: its water, which zones go short, what helps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from controller.check.usual_season import EVEN_ROW, Season, ZoneWater
from controller.check.what_helps import Help
from controller.garden.model import Garden
from controller.paper.amounts import Units
from controller.paper.plan_rows import short_row
from controller.wording.say import say


def season_lines(season: Season, garden: Garden) -> list[str]:
    """The water of a usual season, and of driest quarters that cost much; unwrapped."""
    units = Units(garden.us_units)
    given = units.volume(sum(water.litres for water in season.waters))
    names = list(dict.fromkeys(short.zone for short in season.short))
    outcomes = []
    if season.never:
        outcomes.append(f"no water at all, see the faults: {', '.join(season.never)}")
    if names:
        outcomes.append(f"short of water, see the cautions: {', '.join(names)}")
    outcome = "; ".join(outcomes) or "no crop goes short of water"
    lines = [
        f"{season.first} to {season.last}, on the reference ET that is usual here and without "
        f"rain: {given}; {outcome}."
    ]
    return lines + [_cost_words(w, units) for w in season.waters if w.worth_saying]


def season_row(season: Season, *, us: bool) -> dict[str, Any]:
    """The usual season for --json, every zone with its water."""
    return {
        "from": season.first.isoformat(),
        "to": season.last.isoformat(),
        "short": [
            {"zone": s.zone, "part": s.part, "crop": crop, **short_row(s, us=us)}
            for s, crop in zip(season.short, season.crops, strict=True)
        ],
        "never_watered": list(season.never),
        "helps": _help_rows(season.helps, us),
        "zones": [
            {
                "zone": w.zone,
                "litres": round(w.litres, 3),
                "past_driest_quarter_litres": round(w.past_litres, 3),
                "line_litres": round(w.line_litres, 3),
                "uniformity": round(w.uniformity, 4),
                "divided_by": round(w.divisor, 4),
                "driest_quarter_gets_fraction": round(min(1.0, w.uniformity / w.divisor), 4),
                "saving_litres": round(w.saving_litres, 3),
                "saving_fraction": round(w.saving_share, 4),
                "saving_at_uniformity": EVEN_ROW,
            }
            for w in season.waters
        ],
    }


def _help_rows(helps: Mapping[str, Help], us: bool) -> list[dict[str, Any]]:
    return [
        {
            "zone": zone,
            "change": None if found.change is None else say(found.change, us=us),
            "key": found.key or None,
            "together": found.together,
            "tried": [say(one, us=us) for one in found.tried],
            "stopped": found.stopped,
        }
        for zone, found in helps.items()
    ]


def _cost_words(water: ZoneWater, units: Units) -> str:
    saving = units.volume(water.saving_litres)
    return (
        f"{water.zone}: {units.volume(water.litres)}, of them "
        f"{units.volume(water.past_litres)} past its driest quarter (uniformity "
        f"{water.uniformity:.2f}; {units.volume(water.line_litres)} fill the line); rows at "
        f"{EVEN_ROW:.2f} would take {saving} less ({100 * water.saving_share:.0f} %)."
    )
