"""The layout of a station's log: separator, header, and the meaning of each heading.

The list of words is our own. A column whose meaning or unit is unclear is left out and named: a
figure in the wrong unit does more harm than none.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from controller import units
from controller.weather.files.table import Notes
from controller.weather.station_log.timestamps import WrittenTime, written_of

TIME, DATE_ONLY = "time", "date"
# The meanings of a column. Rain is a counter that restarts at midnight, a counter that runs on, or
# the amount since the reading before; for a plain "rain" the figures decide.
TEMP, HUMIDITY, DEW, WIND, SUN, SUN_ENERGY = "temp", "humidity", "dew", "wind", "sun", "sun energy"
RAIN_DAY, RAIN_TOTAL, RAIN_AMOUNT, RAIN_PLAIN = "rain day", "rain total", "rain amount", "rain"

ToSi = Callable[[float], float]


def _same(value: float) -> float:
    return value


_UNITS: dict[str, dict[str, ToSi]] = {
    TEMP: {
        **dict.fromkeys(("c", "°c", "ºc", "degc", "deg c", "deg. c", "celsius", "°"), _same),
        **dict.fromkeys(("f", "°f", "ºf", "degf", "deg f", "deg. f", "fahrenheit"), units.c_from_f),
    },
    HUMIDITY: dict.fromkeys(("%", "pct", "percent", "% rh", "%rh", ""), _same),
    WIND: {
        **dict.fromkeys(("m/s", "m s", "mps", "m/sec", "m.s-1", "ms-1"), _same),
        **dict.fromkeys(("km/h", "km h", "kmh", "kph", "km/hr", "kmph"), units.m_s_from_km_h),
        **dict.fromkeys(("mph", "mi/h", "mi/hr", "miles/h"), units.m_s_from_mph),
        **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), units.m_s_from_knot),
    },
    SUN: dict.fromkeys(("w/m2", "w/m²", "w/m^2", "w m2", "wm-2", "w.m-2", "w/sqm", "w/m"), _same),
    SUN_ENERGY: {
        **dict.fromkeys(("ly", "langley", "langleys", "cal/cm2"), units.mj_m2_from_langley),
        **dict.fromkeys(("mj/m2", "mj/m²", "mj/m^2"), _same),
        **dict.fromkeys(("kwh/m2", "kwh/m²"), lambda v: v * 3.6),
        **dict.fromkeys(("wh/m2", "wh/m²"), lambda v: v * 0.0036),
        **dict.fromkeys(("kj/m2", "kj/m²"), lambda v: v / 1000.0),
        **dict.fromkeys(("j/cm2", "j/cm²"), lambda v: v / 100.0),
    },
    RAIN_PLAIN: {
        **dict.fromkeys(("mm", "l/m2", "l/m²", "millimetres", "millimeters"), _same),
        "cm": lambda cm: cm * 10.0,
        **dict.fromkeys(("in", "inch", "inches", '"'), units.mm_from_in),
    },
}
_UNITS[DEW] = _UNITS[TEMP]
del _UNITS[TEMP]["°"]  # the scale is missing
for _kind in (RAIN_DAY, RAIN_TOTAL, RAIN_AMOUNT):
    _UNITS[_kind] = _UNITS[RAIN_PLAIN]
UNIT_HELP = {TEMP: "(°C) or (°F)", DEW: "(°C) or (°F)", WIND: "(m/s), (km/h), (mph) or (knots)",
              SUN: "(W/m2)"}  # fmt: skip
_RAIN_UNIT_HELP = "(mm) or (in)"

_INDOORS = {"in", "int", "room", "house", "console"}
_EXTREME = {"hi", "high", "max", "maximum", "peak", "lo", "low", "min", "minimum"}
_NOT_THE_AIR = ("soil", "leaf", "water", "batter", "wet bulb", "wetbulb", "heat index",
                "heatindex", "feels", "apparent", "chill", "humidex",
                "greenhouse", "case ", "panel")  # fmt: skip
_PER_HOUR = re.compile(r"(mm|in|inch|cm)\s*/\s*h(r|our)?\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """One column: its position, heading, meaning, and the conversion to our unit.

    `meaning` is None for a column that is not used; `reason` says why, or is empty if we do not
    need such a column. `to_si` is None if the heading names no unit. Of two columns with one
    meaning, the one with the higher `rank` is clearer; a time in UTC has -1.
    """

    at: int
    text: str
    meaning: str | None
    to_si: ToSi | None = None
    reason: str = ""
    rank: int = 0


def heading_of(at: int, text: str) -> Heading:
    """The meaning of a column heading."""
    shown = " ".join(text.split())
    spaced = re.sub(r"([a-z0-9])([A-Z][a-z])", r"\1 \2", shown).lower()
    in_brackets = re.findall(r"[(\[]([^)\]]*)[)\]]", spaced)
    words_text = re.sub(r"[(\[][^)\]]*[)\]]", " ", spaced)
    words = [w for w in re.split(r"[^a-z0-9°º%²]+", words_text) if w]
    words += [w for inside in in_brackets for w in re.split(r"[^a-z]+", inside) if len(w) > 3]
    meaning, reason, rank = _meaning(" ".join(words) + " ", set(words), spaced)
    if meaning is None or meaning in (TIME, DATE_ONLY):
        utc = any(word in spaced for word in ("utc", "gmt"))
        return Heading(at=at, text=shown, meaning=meaning, reason=reason, rank=-1 if utc else 0)
    candidates = [c.strip() for c in in_brackets] + _endings(words_text)
    to_si = unit_of(meaning, candidates)
    if meaning == SUN and to_si is None:
        to_si = unit_of(SUN_ENERGY, candidates)
        meaning = SUN if to_si is None else SUN_ENERGY
    if meaning == HUMIDITY and to_si is None:
        to_si = _same  # all stations use percent; a fraction would be noticed
    return Heading(at=at, text=shown, meaning=meaning, to_si=to_si, rank=rank)


def unit_of(meaning: str, candidates: Sequence[str]) -> ToSi | None:
    """The conversion from the first of these words that is a unit of that meaning."""
    table = _UNITS[meaning]
    for candidate in candidates:
        word = " ".join(candidate.lower().split())
        if word in table:
            return table[word]
    return None


def unit_help(meaning: str) -> str:
    """How a heading may name its unit, as text for a person."""
    return UNIT_HELP.get(meaning, _RAIN_UNIT_HELP)


def _endings(text: str) -> list[str]:
    """Possible units at the end of a heading without brackets: "wind m/s", "temp_c"."""
    plain = re.sub(r"[\s_,;:]+", " ", text).strip()
    parts = plain.split(" ")
    return [" ".join(parts[-n:]) for n in (2, 1) if len(parts) > n]


def _meaning(text: str, words: set[str], heading: str) -> tuple[str | None, str, int]:
    """The meaning, the reason why it is not used, and its rank."""
    if any(stem in text for stem in _NOT_THE_AIR):
        return None, "not the air's own figure", 0
    if "gust" in text:
        return None, "a gust is not the mean wind", 0
    if "wind" in text:
        return _wind(words)
    if "rain" in text or "precip" in text:
        return _rain(text, words, heading)
    if words & {"uv", "index"}:
        return None, "", 0
    if any(stem in text for stem in ("solar", "radiat", "irradi", "pyranom")):
        if words & _EXTREME:
            return None, "the highest of a while, not a reading", 0
        return SUN, "", 1 if words & {"avg", "average", "mean"} else 0
    for meaning, found in (
        (DEW, "dew" in text),
        (HUMIDITY, "humid" in text or bool(words & {"hum", "rh"})),
        (TEMP, "temp" in text),
    ):
        if found:
            return _of_the_air(meaning, text, words)
    if words & {"time", "datetime", "timestamp"} or ("date" in words and "time" in text):
        return TIME, "", 0
    if words & {"date", "day"}:
        return DATE_ONLY, "", 0
    return None, "", 0


def _wind(words: set[str]) -> tuple[str | None, str, int]:
    if words & {"dir", "direction", "bearing", "run", "sector", "compass", "degrees"}:
        return None, "", 0
    if words & _EXTREME:
        return None, "the highest of a while is not the mean wind", 0
    return WIND, "", 1 if words & {"avg", "average", "mean"} else 0


def _rain(text: str, words: set[str], heading: str) -> tuple[str | None, str, int]:
    if "rate" in words or "rate " in text or "intens" in text or _PER_HOUR.search(heading):
        return None, "a rate of rain is never summed as rain", 0
    if words & {"yesterday", "chance", "probability", "type", "duration"}:
        return None, "", 0
    if words & {"hour", "hourly", "1h", "24h", "last", "hr", "hrs", "hours", "minutes"}:
        return None, "a sum that slides along with the clock", 0
    if words & {"day", "daily", "today", "midnight"} or "daily" in text:
        return RAIN_DAY, "", 5
    for stems, rank in (
        (("total", "year", "annual", "cumul", "counter", "accum", "season", "since"), 4),
        (("month",), 2),
        (("week",), 1),
        (("event", "storm"), 0),
    ):
        if any(stem in text for stem in stems):
            return RAIN_TOTAL, "", rank
    if words & {"interval", "amount", "increment"}:
        return RAIN_AMOUNT, "", 3
    return RAIN_PLAIN, "", 3


def _of_the_air(meaning: str, text: str, words: set[str]) -> tuple[str | None, str, int]:
    if any(stem in text for stem in ("indoor", "inside")) or words & _INDOORS:
        return None, "from indoors", 0
    if words & _EXTREME:
        return None, "the extreme of a while, not a reading", 0
    outdoors = any(stem in text for stem in ("outdoor", "outside")) or bool(words & {"out", "air"})
    return meaning, "", 1 if outdoors else 0


SEPARATORS = (";", "\t", "|", ",")
HEADER_WITHIN = 40  # the header stands within so many lines: our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The layout of the table: separator, end of the header, columns."""

    separator: str
    header_line: int
    body_at: int
    width: int
    headings: tuple[Heading, ...]

    stamps_at: tuple[int, ...]
    in_utc: bool

    def stamp(self, cells: Sequence[str]) -> WrittenTime | None:
        """The line's date and time of day, from one cell or two; None if there is none."""
        texts = [cells[at] for at in self.stamps_at]
        if len(texts) > 1:
            texts.insert(0, " ".join(texts[:2]))  # "date" has the day, and "time" both
        for text in texts:
            found = written_of(text)
            if found is not None and found.time_s is not None:
                if self.in_utc and found.utc_offset_s is None:
                    return replace(found, utc_offset_s=0)
                return found
        return None

    def stamp_text(self, cells: Sequence[str]) -> str:
        """The cells of date and time, as text for a person."""
        return repr(" ".join(cells[at] for at in self.stamps_at)[:40])


def layout_of(lines: Sequence[tuple[int, str]]) -> Layout | None:
    """The table's layout; None if it has no header of a station's log."""
    head = lines[:HEADER_WITHIN]
    for depth in (1, 2):
        for at in range(len(head) - depth):
            for separator in SEPARATORS:
                found = _layout_at(lines, at, depth, separator)
                if found is not None:
                    return found
    return None


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line; empty if it cannot be split."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except (csv.Error, StopIteration):
        return []


def _layout_at(
    lines: Sequence[tuple[int, str]], at: int, depth: int, separator: str
) -> Layout | None:
    rows = [cells_of(line.lstrip("# \ufeff"), separator) for _, line in lines[at : at + depth]]
    width = len(rows[0])
    while width > 1 and not any(row[width - 1] for row in rows if len(row) >= width):
        width -= 1  # a separator at the end of the line
    if width < 2 or any(len(row) < width for row in rows):
        return None
    body_at = at + depth
    if depth == 1 and body_at < len(lines):
        below = cells_of(lines[body_at][1], separator)
        if len(below) >= width and not any(re.search(r"\d{2}", cell) for cell in below):
            rows.append([f"({cell})" if cell else "" for cell in below])  # a line of units
            body_at += 1
    texts = [" ".join(row[n] for row in rows if row[n]) for n in range(width)]
    if any(written_of(text) is not None for text in texts):
        return None
    found = tuple(heading_of(n, text) for n, text in enumerate(texts))
    whens = [h for kind in (DATE_ONLY, TIME) for h in found if h.meaning == kind]
    whens = [h for h in whens if h.rank == 0] or whens  # local time if there is one
    meanings = {h.meaning for h in found} - {None}
    stamps = meanings & {TIME, DATE_ONLY}
    first_body = next((ln for _, ln in lines[body_at:] if not ln.lstrip().startswith("#")), None)
    if not stamps or not meanings - stamps or first_body is None:
        return None
    if abs(len(cells_of(first_body, separator)) - width) > 1:
        return None
    return Layout(
        separator=separator,
        header_line=lines[at][0],
        body_at=body_at,
        width=width,
        headings=found,
        stamps_at=tuple(h.at for h in whens),
        in_utc=whens[0].rank < 0,
    )


def chosen_columns(layout: Layout, notes: Notes) -> dict[str, Heading]:
    """The column of each quantity; a column that is not used is named with the reason."""
    by_meaning: dict[str, list[Heading]] = {}
    for h in layout.headings:
        if h.meaning is None and h.reason:
            notes.remark(layout.header_line, f"column {h.text} is not used: {h.reason}")
        if h.meaning is not None and h.meaning not in (TIME, DATE_ONLY):
            by_meaning.setdefault(h.meaning, []).append(h)
    rains = [name for name in by_meaning if name.startswith("rain")]
    if len(rains) > 1:
        best = max(rains, key=lambda name: max(_plainness(h) for h in by_meaning[name]))
        _drop(by_meaning, set(rains) - {best}, "another column of rain is plainer", layout, notes)
    if SUN in by_meaning:
        _drop(by_meaning, {SUN_ENERGY}, "the sun's power is used", layout, notes)
    chosen = {}
    for name, found in by_meaning.items():
        top = max(_plainness(h) for h in found)
        best_ones = [h for h in found if _plainness(h) == top]
        if len(best_ones) > 1:
            twice = " and ".join(h.text for h in best_ones)
            notes.fault(layout.header_line, twice, f"{len(best_ones)} columns of one meaning",
                        "allowed is one; none is used: rename the others")  # fmt: skip
            continue
        for h in found:
            if h is not best_ones[0]:
                notes.remark(
                    layout.header_line,
                    f"column {h.text} is not used: {best_ones[0].text} is plainer",
                )
        chosen[name] = best_ones[0]
    return chosen


def _plainness(h: Heading) -> tuple[bool, int]:
    """Sort key for columns of one meaning: those with a unit first, then by rank."""
    return h.to_si is not None, h.rank


def _drop(
    by_meaning: dict[str, list[Heading]],
    names: set[str],
    why: str,
    layout: Layout,
    notes: Notes,
) -> None:
    for name in sorted(names & set(by_meaning)):
        for h in by_meaning.pop(name):
            notes.remark(layout.header_line, f"column {h.text} is not used: {why}")
