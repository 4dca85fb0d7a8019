"""A usual season as text and rows, for `check`: which zones go short, what helps, the cost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from controller.garden.model import Garden
from controller.paper.amounts import volume
from controller.paper.printout import short_row
from controller.timetable.check.finding import Finding, caution
from controller.timetable.check.usual_season import EVEN_ROW, Season, ZoneWater
from controller.timetable.check.what_helps import Help
from controller.timetable.packing.fit_day import NO_WINDOW
from controller.timetable.records import Short
from controller.wording.say import say


def season_findings(season: Season, *, us: bool) -> list[Finding]:
    """A caution for each zone that goes short: from when, how much, why, and what helps."""
    found = []
    for zone in dict.fromkeys(short.zone for short in season.short):
        mine = [
            (short, crop)
            for short, crop in zip(season.short, season.crops, strict=True)
            if short.zone == zone
        ]
        short, crop = min(mine, key=lambda pair: pair[0].least_stress)
        where = f" ({short.part})" if short.part else ""
        words = (
            f"in a usual season without rain its {crop.replace('_', ' ')}{where} goes short of "
            f"water, {_days(short.days)} from {short.first} on; at worst, on {short.worst_day}, it "
            f"finds {100 * short.least_stress:.0f} % of what it asks for "
            f"({_reason(short, us)})"
        )
        helps = _help_words(season.helps[zone])
        found.append(caution(f'zone "{zone}"', f"{words}; {helps}" if helps else words))
    return found


def season_lines(season: Season, garden: Garden) -> list[str]:
    """The water of a usual season, and of driest quarters that cost much; unwrapped."""
    us = garden.us_units
    given = volume(sum(water.litres for water in season.waters), us=us)
    names = list(dict.fromkeys(short.zone for short in season.short))
    outcome = "no crop goes short of water"
    if names:
        outcome = f"short of water, see the cautions: {', '.join(names)}"
    lines = [
        f"{season.first} to {season.last}, on the reference ET that is usual here and without "
        f"rain: {given}; {outcome}."
    ]
    return lines + [_cost_words(w, us) for w in season.waters if w.worth_saying]


def season_row(season: Season, *, us: bool) -> dict[str, Any]:
    """The usual season for --json, every zone with its water."""
    return {
        "from": season.first.isoformat(),
        "to": season.last.isoformat(),
        "short": [
            {"zone": s.zone, "part": s.part, "crop": crop, **short_row(s, us=us)}
            for s, crop in zip(season.short, season.crops, strict=True)
        ],
        "helps": _help_rows(season.helps),
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


def _reason(short: Short, us: bool) -> str:
    if short.reason is None:
        return ""
    if short.reason == NO_WINDOW:
        return "no window on those days"
    return say(short.reason, us=us)


def _help_words(found: Help) -> str:
    tried = ", ".join(found.tried)
    if found.change:
        return f"{found.change} would keep it supplied"
    if found.together:
        return f"none of these alone would keep it supplied, all together would: {tried}"
    if found.stopped:
        until = f"{tried} would not keep it supplied, and " if tried else ""
        return f"{until}the garden is too large to try more"
    if len(found.tried) > 1:
        return f"not even all of these together would keep it supplied: {tried}"
    return f"{tried} would not keep it supplied" if tried else ""


def _help_rows(helps: Mapping[str, Help]) -> list[dict[str, Any]]:
    return [
        {
            "zone": zone,
            "change": found.change or None,
            "key": found.key or None,
            "together": found.together,
            "tried": list(found.tried),
            "stopped": found.stopped,
        }
        for zone, found in helps.items()
    ]


def _cost_words(water: ZoneWater, us: bool) -> str:
    saving = volume(water.saving_litres, us=us)
    return (
        f"{water.zone}: {volume(water.litres, us=us)}, of them "
        f"{volume(water.past_litres, us=us)} past its driest quarter (uniformity "
        f"{water.uniformity:.2f}; {volume(water.line_litres, us=us)} fill the line); rows at "
        f"{EVEN_ROW:.2f} would take {saving} less ({100 * water.saving_share:.0f} %)."
    )


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
