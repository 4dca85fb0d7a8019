"""Pictures of the flow along a zone's rows: SVG for a page, bars for a terminal or a pipe."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10
from zlib import crc32

from controller.garden.model import Watering
from controller.hydraulics.network.results import RowFlow, ZoneFlow
from controller.hydraulics.network.row_shares import (
    GOOD_VARIATION,
    MOST_VARIATION,
    HoleShare,
    RowShares,
    row_shares,
)
from controller.paper.amounts import Units

_WIDE, _LEFT, _RIGHT, _TOP, _BOTTOM, _PANEL = 760, 64, 116, 62, 44, 190
_MOST_BARS = 40
_INK, _THIN, _WATER, _WEAK, _LIMIT = "#26323c", "#c9d1d6", "#2b6c8f", "#c4762a", "#8a949b"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axes:
    """The scales that all panels of a picture share, in the gardener's units."""

    units: Units
    x_ticks: list[float]
    y_ticks: list[float]

    def x(self, distance: float) -> float:
        """Where a distance from the inlet lies."""
        return _LEFT + (_WIDE - _RIGHT - _LEFT) * distance / self.x_ticks[-1]

    def up(self, flow: float) -> float:
        """How high a flow stands over the foot of its panel."""
        return (_PANEL - 22) * flow / self.y_ticks[-1]


def row_picture_svg(zone: ZoneFlow, watering: Watering, units: Units) -> str:
    """One panel for each row: each hole's flow over its distance, with class limits."""
    most = max((h.flow_m3_s for row in zone.rows for h in row.holes), default=0.0)
    longest = max((h.x_m for row in zone.rows for h in row.holes), default=0.0)
    axes = _Axes(
        units=units,
        x_ticks=_ticks(units.distance(longest), 8),
        y_ticks=_ticks(units.hole_flow(most), 4),
    )
    shares = [row_shares(row, watering) for row in zone.rows]
    heading = f"{zone.zone}: what each hole gives"
    high = _TOP + len(zone.rows) * (_PANEL + _BOTTOM) + 8
    # Several pictures may stand on one page, and ids are the page's.
    own = f"{crc32(zone.zone.encode()):08x}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE} {high}" width="{_WIDE}" '
        f'height="{high}" role="img" aria-labelledby="title-{own} desc-{own}" '
        'font-family="system-ui, sans-serif" font-size="12">',
        f'<title id="title-{own}">{escape(heading)}</title>',
        f'<desc id="desc-{own}">{escape(_described(shares))}</desc>',
        f'<rect width="{_WIDE}" height="{high}" fill="#ffffff"/>',
        f'<text x="{_LEFT}" y="24" font-size="16" fill="{_INK}">{escape(heading)}</text>',
        *_legend(shares),
    ]
    for number, shared in enumerate(shares, 1):
        top = _TOP + (number - 1) * (_PANEL + _BOTTOM)
        parts += _panel(number, shared, axes, top)
    foot = _TOP + len(zone.rows) * (_PANEL + _BOTTOM) - 6
    parts.append(
        _text(
            (_LEFT + _WIDE - _RIGHT) / 2,
            foot,
            f"distance from the inlet, {units.distance_unit}",
            "middle",
        )
    )
    return "\n".join([*parts, "</svg>"]) + "\n"


def row_bars(row: RowFlow, units: Units, width: int) -> list[str]:
    """One bar for each hole, or a mean bar for neighbours if there are many; no drain holes.

    A bar is relative to the strongest hole; the rule below marks 10 and 20 % less. At least 60
    columns.
    """
    width, unit = max(60, width), units.hole_flow_unit
    drilled = [h for h in row.holes if h.kind == "hole"]
    most = max((h.flow_m3_s for h in drilled), default=0.0)
    if most <= 0.0:
        return ["no hole gives water"]
    decimals = max(0, 2 - floor(log10(units.hole_flow(most))))
    each = ceil(len(drilled) / _MOST_BARS)
    room = max(10, width - len(f"{'':>9} {'':>8} || {'':>6} {unit}"))
    lines = []
    for group in (drilled[i : i + each] for i in range(0, len(drilled), each)):
        first, last = group[0].number, group[-1].number
        label = f"{first}-{last}" if last > first else f"{first}"
        at_m = sum(h.x_m for h in group) / len(group)
        where = f"{units.distance(at_m):5.1f} ft" if units.us else f"{at_m:6.2f} m"
        running = [h.flow_m3_s for h in group if not h.plugged]
        mean = sum(running) / len(running) if running else 0.0
        bar = "#" * min(room, round(room * mean / most))
        shown = f"{units.hole_flow(mean):>6.{decimals}f} {unit}" if mean > 0.0 else "   dry"
        lines.append(f"{label:>9} {where} |{bar:<{room}}| {shown if running else 'plugged'}")
    rule = ["-"] * room
    for share in (1 - GOOD_VARIATION, 1 - MOST_VARIATION):
        rule[round(room * share) - 1] = "|"
    words = f"{100 * (1 - MOST_VARIATION):.0f} and {100 * (1 - GOOD_VARIATION):.0f} %"
    return [
        *lines,
        f"{'':>18} +{''.join(rule)}+",
        f"{'':>18}  marks: {words} of the strongest hole",
    ]


def _described(shares: list[RowShares]) -> str:
    """The picture as text, for people who do not see it."""
    sentences = []
    for number, shared in enumerate(shares, 1):
        running = [h for h in shared.holes if h.kind == "hole" and not h.plugged]
        if not running or max(h.flow_m3_s for h in running) <= 0.0:
            sentences.append(f"Row {number}: no hole gives water.")
            continue
        low, high = (f(running, key=lambda h: h.flow_m3_s) for f in (min, max))
        sentences.append(
            f"Row {number}: {len(running)} holes, {shared.dry_holes} dry; uniformity "
            f"{100 * shared.uniformity:.0f} % ({shared.grade}); hole {high.number} gives most, "
            f"hole {low.number} {100 * shared.variation:.0f} % less."
        )
    return " ".join(sentences)


def _legend(shares: list[RowShares]) -> list[str]:
    """The meaning of the marks; only those that occur."""
    holes = [h for shared in shares for h in shared.holes]
    entries = [("a hole", _dot(0, 0, _WATER))]
    if any(h.low_quarter and not _dry(h) for h in holes):
        entries.append(("of the weakest quarter", _dot(0, 0, _WEAK)))
    if any(h.kind == "drain" for h in holes):
        entries.append(("drain hole", _diamond(0, 0)))
    if any(h.plugged for h in holes):
        entries.append(("plugged", _cross(0, 0)))
    if any(_dry(h) for h in holes):
        entries.append(("dry", _ring(0, 0)))
    parts, at = [], float(_LEFT + 4)
    for words, mark in entries:
        parts.append(f'<g transform="translate({at:.0f} 42)">{mark}</g>')
        parts.append(_text(at + 9, 46, words, "start"))
        at += 26 + 6.6 * len(words)
    return parts


def _panel(number: int, shared: RowShares, axes: _Axes, top: int) -> list[str]:
    """One row: grid, class limits, then a stem and a dot for each hole."""
    units, foot, right = axes.units, top + _PANEL, _WIDE - _RIGHT
    parts = [
        _text(_LEFT, top + 10, f"row {number}: {units.hole_flow_unit} from each hole", "start"),
        _text(right, top + 10, _verdict(shared), "end"),
    ]
    for tick in axes.y_ticks:
        level = foot - axes.up(tick)
        parts.append(_line(_LEFT, level, right, level, _INK if tick == 0 else _THIN))
        parts.append(_text(_LEFT - 7, level + 4, _number(tick), "end"))
    for tick in axes.x_ticks:
        parts.append(_line(axes.x(tick), foot, axes.x(tick), foot + 5, _INK))
        parts.append(_text(axes.x(tick), foot + 19, _number(tick), "middle"))
    strongest = max((h.flow_m3_s for h in shared.holes if h.kind == "hole"), default=0.0)
    if strongest > 0.0:
        for share, words in ((GOOD_VARIATION, "good"), (MOST_VARIATION, "fair")):
            level = foot - axes.up((1 - share) * units.hole_flow(strongest))
            parts.append(_line(_LEFT, level, right, level, _LIMIT, dashed=True))
            parts.append(_text(right + 6, level + 4, f"{100 * share:.0f} % less: {words}", "start"))
    for hole in shared.holes:
        at = axes.x(units.distance(hole.x_m))
        level = foot - axes.up(units.hole_flow(hole.flow_m3_s))
        if hole.plugged:
            parts.append(_cross(at, foot))
        elif _dry(hole):
            parts.append(_ring(at, foot))
        elif hole.kind == "drain":
            parts.append(_diamond(at, level))
        else:
            colour = _WEAK if hole.low_quarter else _WATER
            parts.append(_line(at, foot, at, level, colour))
            parts.append(_dot(at, level, colour))
    return parts


def _verdict(shared: RowShares) -> str:
    if shared.uniformity <= 0.0:
        return "the weakest quarter gets nothing"
    dry = f", {shared.dry_holes} dry" if shared.dry_holes else ""
    return (
        f"uniformity {100 * shared.uniformity:.0f} % ({shared.grade}), "
        f"spread {100 * shared.variation:.0f} %{dry}"
    )


def _dry(hole: HoleShare) -> bool:
    return hole.flow_m3_s <= 0.0 and not hole.plugged


def _ticks(most: float, wanted: int) -> list[float]:
    """Round numbers from 0 to at least `most`, about `wanted` steps."""
    if most <= 0.0:
        return [0.0, 1.0]
    rough = most / wanted
    power = 10.0 ** floor(log10(rough))
    step = next(f * power for f in (1.0, 2.0, 2.5, 5.0, 10.0) if f * power >= rough * (1 - 1e-9))
    return [i * step for i in range(ceil(most / step - 1e-9) + 1)]


def _number(value: float) -> str:
    return f"{value:.6g}"


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{_INK}">{escape(words)}</text>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, *, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="5 4"' if dashed else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{colour}" stroke-width="1"{dash}/>'
    )


def _dot(x: float, y: float, colour: str) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{colour}"/>'


def _ring(x: float, y: float) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="#ffffff" stroke="{_WEAK}" '
        'stroke-width="1.5"/>'
    )


def _cross(x: float, y: float) -> str:
    d = f"M{x - 3:.1f} {y - 3:.1f}l6 6m0 -6l-6 6"
    return f'<path d="{d}" stroke="{_INK}" stroke-width="1.5" fill="none"/>'


def _diamond(x: float, y: float) -> str:
    return f'<path d="M{x:.1f} {y - 5:.1f}l4 5l-4 5l-4 -5z" fill="{_LIMIT}"/>'
