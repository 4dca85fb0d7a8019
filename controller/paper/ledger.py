"""The soil-water ledger and reference ET, day by day, with the source of each day."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta

from controller.demand.climate.reference_et import ReferenceEt
from controller.demand.records import ASSUMED, PLANNED, LedgerDay
from controller.demand.soil.mulch import mulch_of
from controller.garden.model import Bed, Coefficients, Garden
from controller.paper.amounts import Units
from controller.paper.text import WIDTH, day_cell, day_in_year, paragraph, short_day
from controller.units import litres_from_mm
from controller.weather.source_priority import (
    CLIMATE_TABLE,
    DAYS_BEFORE,
    FORECAST,
    FORECAST_KEPT,
    NORMAL,
    SEASON,
    STATION,
)

_SERVICE = "service"
_UNKNOWN = "*"  # neither measured nor on any step that is known
# From the best step down: its mark, and what it is. The first step that a table has is not marked.
_STEPS: Mapping[str, tuple[str, str]] = {
    STATION: (" ", "the garden's own station"),
    _SERVICE: ("1", "the first service"),
    "second service": ("2", "the second service"),
    "third service": ("3", "the third service"),
    "fourth service": ("4", "the fourth service"),
    "fifth service": ("5", "a service further down"),
    FORECAST: ("f", "a forecast"),
    FORECAST_KEPT: ("k", "a kept forecast, for nobody measured"),
    DAYS_BEFORE: ("b", "the days before, for there was no weather"),
    NORMAL: ("n", "what is normal in this garden, for there was no weather"),
    CLIMATE_TABLE: ("m", "the monthly climate table, for there was no weather"),
    SEASON: ("s", "the season's table, for there was no weather"),
}
_DAY = timedelta(days=1)


def step_words(rung: str) -> str:
    """The name of a step, for a person; its own name if it is none of the ladder's."""
    return _STEPS[rung][1] if rung in _STEPS else rung


def lower_services(rungs: Iterable[str]) -> list[str]:
    """The services among these steps that are not the first one asked, best first."""
    met = set(rungs)
    services = [rung for rung in _STEPS if rung.endswith(_SERVICE) and rung in met]
    return services if STATION in met else [rung for rung in services if rung != _SERVICE]


class SourceMarks:
    """The steps of a table's days."""

    def __init__(self, days: Iterable[LedgerDay]) -> None:
        self._by_day: dict[date, tuple[str, bool]] = {}
        for row in days:
            self._by_day.setdefault(row.day, (row.rung, row.measured))
        met = {rung for rung, _ in self._by_day.values()}
        measured = [rung for rung in (STATION, _SERVICE) if rung in met]
        self._first = measured[0] if measured else ""

    def mark(self, row: LedgerDay) -> str:
        """One character: a blank for a day on the first step."""
        return self._mark(row.rung, row.measured)

    def words(self) -> list[str]:
        """The days by step, best step first; empty if no step is known."""
        spans: dict[str, list[date]] = {}
        for day in sorted(self._by_day):
            rung, measured = self._by_day[day]
            if rung or not measured:
                spans.setdefault(rung, []).append(day)
        if not spans:
            return []
        order = [
            *(rung for rung in _STEPS if rung in spans),
            *(r for r in spans if r not in _STEPS),
        ]
        return [
            f"{self._mark(rung, False)} {step_words(rung) or 'a forecast or a stand-in'}: "
            f"{spans_words(spans[rung])}"
            for rung in order
        ]

    def _mark(self, rung: str, measured: bool) -> str:
        if rung in _STEPS:
            return " " if rung == self._first else _STEPS[rung][0]
        return " " if measured else _UNKNOWN


def spans_words(days: Sequence[date]) -> str:
    """Sorted days as spans, as in "3 July, 5 to 9 July 2031"."""
    spans: list[list[date]] = []
    for day in days:
        if spans and day - spans[-1][1] == _DAY:
            spans[-1][1] = day
        else:
            spans.append([day, day])
    words = []
    for number, (first, last) in enumerate(spans):
        follows = spans[number + 1][0] if number + 1 < len(spans) else None
        # The year stands once, at the end of a run of spans of one year.
        close = follows is None or follows.year != last.year
        end = short_day(last) if close else day_in_year(last)
        if first == last:
            words.append(end)
        elif first.year != last.year:
            words.append(f"{short_day(first)} to {end}")
        elif first.month == last.month:
            words.append(f"{first.day} to {end}")
        else:
            words.append(f"{day_in_year(first)} to {end}")
    return ", ".join(words)


DUAL = Coefficients.DUAL.value
_METHOD = {
    Coefficients.SINGLE.value: "single crop coefficient",
    DUAL: "dual crop coefficients",
}


def ledger_rows(days: Iterable[LedgerDay]) -> list[dict[str, object]]:
    """One row for each zone, part and day, for --json and --csv; SI.

    What the single coefficient does not separate, and unknown rain, is None.
    """
    return [_row(day) for day in days]


def plant_litres(day: LedgerDay) -> tuple[float, float]:
    """What one plant drew that day, and what it and its ground lost together. [L]

    The single coefficient does not separate the two: both are the latter.
    """
    ground_m2 = day.ground_m2 / day.plants
    together = litres_from_mm(day.used_mm, ground_m2)
    if day.coefficients != DUAL:
        return together, together
    return litres_from_mm(day.transpired_mm, ground_m2), together


def _row(d: LedgerDay) -> dict[str, object]:
    apart = d.coefficients == DUAL
    drew: tuple[float, float] | None = None
    if d.plants > 0.0 and d.ground_m2 > 0.0:
        drew = plant_litres(d)
    return {
        "zone": d.zone,
        "part": d.part,
        "date": d.day.isoformat(),
        "account": d.account,
        "crop": d.crop,
        "stage": d.stage,
        "phase": d.phase,
        "day_of_planting": d.day_of_planting,
        "coefficients": d.coefficients,
        "method": _METHOD.get(d.coefficients, d.coefficients),
        "eto_mm": round(d.eto_mm, 4),
        "eto_method": d.method,
        "rung": d.rung,
        "measured": d.measured,
        "kc": round(d.kc, 4),
        "kcb": round(d.kcb, 4) if apart else None,
        "ke": round(d.ke, 4) if apart else None,
        "exposure": round(d.exposure, 4),
        "etc_mm": round(d.etc_mm, 4),
        "stress": round(d.stress, 4),
        "salt_stress": round(d.salt_stress, 4),
        "used_mm": round(d.used_mm, 4),
        "transpired_mm": round(d.transpired_mm, 4) if apart else None,
        "evaporated_mm": round(d.evaporated_mm, 4) if apart else None,
        "rain_mm": round(d.rain_mm, 4) if d.rain_known else None,
        "rain_unused_mm": round(d.rain_unused_mm, 4),
        "runoff_mm": round(d.runoff_mm, 4),
        "snow_mm": round(d.snow_mm, 4),
        "watered_mm": round(d.watered_mm, 4),
        "water_from": d.water_from,
        "passed_mm": round(d.passed_mm, 4),
        "drained_mm": round(d.drained_mm, 4),
        "handed_over_mm": round(d.handed_over_mm, 4),
        "start_depletion_mm": round(d.start_depletion_mm, 4),
        "depletion_mm": round(d.depletion_mm, 4),
        "wetted_fraction": round(d.wetted_fraction, 4),
        "wet_depletion_mm": round(d.wet_depletion_mm, 4),
        "rest_depletion_mm": round(d.rest_depletion_mm, 4),
        "wet_drained_mm": round(d.wet_drained_mm, 4),
        "wet_kc": round(d.wet_kc, 4),
        "surface_depletion_mm": round(d.surface_depletion_mm, 4) if apart else None,
        "rest_surface_depletion_mm": round(d.rest_surface_depletion_mm, 4) if apart else None,
        "kc_max_base": round(d.kc_max_base, 4) if apart else None,
        "dry_days": d.dry_days,
        "exposed_fraction": round(d.exposed_fraction, 4) if apart else None,
        "cover": round(d.cover, 4),
        "root_depth_m": round(d.root_depth_m, 4),
        "taw_mm": round(d.taw_mm, 4),
        "raw_mm": round(d.raw_mm, 4),
        "depletion_fraction": round(d.depletion_fraction, 4),
        "plants": round(d.plants, 1),
        "ground_m2": round(d.ground_m2, 4),
        "plant_litres": None if drew is None else round(drew[0], 4),
        "plant_and_ground_litres": None if drew is None else round(drew[1], 4),
    }


_STAGES = {"development": "develops"}
_FROM = {ASSUMED: "a", PLANNED: "p"}  # what is written down has no mark
_PLANT_DAYS = 7  # so many last days are shown plant by plant; our choice


def ledger_text(
    days: Sequence[LedgerDay],
    remarks: Iterable[str],
    garden: Garden,
    allowed: Callable[[LedgerDay], float | None] = lambda row: None,
) -> str:
    """A table for each zone; depths in mm or hundredths of inches.

    `allowed` gives what may be missing before a bed is watered, in mm.
    """
    lines = _Sheet(days, garden, allowed).lines()
    for remark in remarks:
        lines += paragraph(f"Note: {remark}.", then="  ")
    return "\n".join(lines).rstrip() + "\n"


class _Sheet:
    """The tables of some days, in the garden's units."""

    def __init__(
        self,
        days: Sequence[LedgerDay],
        garden: Garden,
        allowed: Callable[[LedgerDay], float | None],
    ) -> None:
        self._days, self._allowed = days, allowed
        self._units = Units(garden.us_units)
        self._beds = {zone.name: zone.bed for zone in garden.zones}
        self._marks = SourceMarks(days)

    def lines(self) -> list[str]:
        """The heading, the tables, the weather they stand on."""
        lines = self._heading()
        for (zone, part), rows in _tables(self._days).items():
            name = f"{zone}, {part}" if part else zone
            lines += self._table(name, rows, self._beds.get(zone))
        return lines + self._weather()

    def _heading(self) -> list[str]:
        days = self._days
        if not days:
            return ["No account of these days: nothing is planted there.", ""]
        unit = "inches" if self._units.us else "mm"
        words = f"Depths in {unit}, of the driest quarter of the ground. "
        if any(row.coefficients == DUAL for row in days):
            words += (
                "Kcb is for what plants draw, Ke for what the open ground between them loses (dual "
                "coefficients). "
            )
        if any(row.coefficients != DUAL for row in days):
            words += "Kc is a single coefficient, for plants and soil together. "
        words += (
            "Ks: the share of its need that the crop finds; under 1 it is short. Past: ran off, "
            "drained below the roots, or went to wetter ground than the driest quarter; over all "
            "of the ground, as are used, rain and given. Gone: missing at the end of the day from "
            "the ground that the line wets. At: where watering begins. "
            "Felt: where the crop feels it."
        )
        if any(row.water_from == ASSUMED for row in days):
            words += " Given, with an a: nobody wrote it down, it counts as printed."
        if any(row.water_from == PLANNED for row in days):
            words += " With a p: planned."
        if any(row.phase for row in days):
            words += " Seedbed, settling and dry-down are shown in place of the stage."
        if any(not row.rain_known for row in days):
            words += " A ? is rain unknown."
        return [*paragraph(words, then=""), ""]

    def _table(self, name: str, rows: Sequence[LedgerDay], bed: Bed | None) -> list[str]:
        apart = any(row.coefficients == DUAL for row in rows)
        lines = [*paragraph(name, then=""), "-" * min(len(name), WIDTH)]
        for words in (_accounts(rows), _ground(rows[-1], bed)):
            lines += paragraph(words, "  ", "  ")
        lines.append(_header(apart=apart))
        year = rows[0].day.year
        for row in rows:
            if row.day.year != year:
                year = row.day.year
                lines.append(f"  {year}")
            lines.append(self._line(row, apart=apart))
        return [*lines, *self._plants(rows), ""]

    def _line(self, row: LedgerDay, *, apart: bool) -> str:
        def cell(mm: float, width: int = 5) -> str:
            # What rounds to nought is written so, also from below.
            shown = self._units.depth_figure(mm)
            return f"{shown.removeprefix('-') if float(shown) == 0.0 else shown:>{width}}"

        stage = _STAGES.get(row.stage, row.stage)
        own = f"{row.kcb:>4.2f} {row.ke:>4.2f}" if apart else f"{row.kc:>4.2f}"
        rain = cell(row.rain_mm - row.rain_unused_mm) if row.rain_known else f"{'?':>5}"
        past = cell(row.runoff_mm + row.drained_mm + row.passed_mm)
        bounds = f"{'':>5} {'':>5}"
        if row.crop is not None:
            allowed_mm = self._allowed(row)
            at = f"{'':>5}" if allowed_mm is None else cell(allowed_mm)
            bounds = f"{at} {cell(row.raw_mm)}"
        line = (
            f"{self._marks.mark(row)} {day_cell(row.day)} {row.phase or stage:<8} "
            f"{cell(row.eto_mm, 4)} {own} {row.stress:>4.2f} {cell(row.used_mm)} {rain} "
            f"{cell(row.watered_mm)}{_FROM.get(row.water_from, ' ')} {past} "
            f"{cell(row.wet_depletion_mm)} {bounds}"
        )
        return line.rstrip()

    def _plants(self, rows: Sequence[LedgerDay]) -> list[str]:
        """The plants of the last days, and how much each of them drew a day."""
        standing = [row for row in rows if row.plants > 0.0 and row.ground_m2 > 0.0][-_PLANT_DAYS:]
        if not standing:
            return []
        last = standing[-1]
        count = max(round(last.plants), 1)
        area = self._units.area(last.ground_m2 / last.plants)
        words = f"{count:,} plant{'' if count == 1 else 's'}, each on {area}"
        if last.cover >= 0.005:
            words += f", shade {100 * last.cover:.0f} % of the ground on {day_in_year(last.day)}"
        return [*paragraph(f"{words}.", "  ", "  "), *self._plant_by_day(standing)]

    def _plant_by_day(self, rows: Sequence[LedgerDay]) -> list[str]:
        """A small table: what one plant lost on each of these days."""

        def line(name: str, cells: Iterable[str]) -> str:
            return f"  {name:<17}" + "".join(f" {cell:>6}" for cell in cells)

        amount, unit = self._units.plant_figure, "gallons" if self._units.us else "litres"
        lost = [plant_litres(row) for row in rows]
        lines = [line(f"{unit} a plant", (day_cell(r.day) for r in rows))]
        if any(row.coefficients == DUAL for row in rows):
            lines.append(line("  drew", (amount(drew) for drew, _ in lost)))
        return [*lines, line("  with its ground", (amount(together) for _, together in lost))]

    def _weather(self) -> list[str]:
        """The weather the days stand on, with the marks; and snow on the ground."""
        lines = []
        for words in self._marks.words():
            lines += paragraph(words, then="    ")
        lying = {row.day: row.snow_mm for row in self._days if row.snow_mm > 0.0}
        if lying:
            depth = self._units.depth
            packs = ", ".join(f"{day_in_year(d)} {depth(mm)}" for d, mm in sorted(lying.items()))
            lines += paragraph(f"water lying as snow at the end of the day: {packs}", "  ")
        return ["The weather of these days", *lines, ""] if lines else []


def _tables(days: Iterable[LedgerDay]) -> Mapping[tuple[str, str], list[LedgerDay]]:
    """The days of each account: zones in their order, the parts of a zone together."""
    zones: dict[str, dict[str, list[LedgerDay]]] = {}
    for row in days:
        zones.setdefault(row.zone, {}).setdefault(row.part, []).append(row)
    return {(zone, part): rows for zone, parts in zones.items() for part, rows in parts.items()}


def _accounts(rows: Sequence[LedgerDay]) -> str:
    """The plantings there in these days, one after the other."""
    names = []
    for account in dict.fromkeys(row.account for row in rows):
        crop, _, start = account.partition(" from ")
        shown = crop.replace("_", " ")
        try:
            names.append(f"{shown} from {short_day(date.fromisoformat(start))}")
        except ValueError:
            names.append(shown)
    return ", then ".join(names)


def _ground(last: LedgerDay, bed: Bed | None) -> str:
    """What makes this ground lose differently from a plain one; empty for a plain one."""
    words = []
    if last.wetted_fraction < 0.995:
        words.append(f"the line wets {100 * last.wetted_fraction:.0f} % of the ground")
    if bed is not None and bed.mulch != "none" and bed.mulch_cover > 0.0:
        lies = mulch_of(bed.mulch, bed.mulch_cover, bed.mulch_rain)
        words.append(f"{bed.mulch} mulch on {100 * lies.cover:.0f} % of the ground")
        if lies.rain_share < 1.0:
            words.append(f"{100 * lies.rain_share:.0f} % of the rain gets in")
    if last.exposure != 1.0:
        kind = "exposed" if last.exposure > 1.0 else "sheltered"
        words.append(f"{kind}: {last.exposure:.2f} times the loss of open ground")
    if last.salt_stress < 1.0:
        words.append(f"salts may leave plants {100 * last.salt_stress:.0f} % of what they ask for")
    return "; ".join(words)


def _header(*, apart: bool) -> str:
    own = f"{'Kcb':>4} {'Ke':>4}" if apart else f"{'Kc':>4}"
    rest = "".join(f" {name:>5}" for name in ("used", "rain", "given"))
    last = "".join(f" {name:>5}" for name in ("past", "gone", "at", "felt"))
    return f"  {'day':<6} {'stage':<8} {'ETo':>4} {own} {'Ks':>4}{rest} {last}"


def eto_rows(days: Iterable[tuple[date, ReferenceEt | None]]) -> list[dict[str, object]]:
    """One row for each day; a day without temperatures has no figure."""
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
    """One line for each day."""
    lines = [f"{'day':<10}  {'ETo mm':>6}  how"]
    for row in rows:
        eto = row["eto_mm"]
        shown = f"{eto:6.2f}" if isinstance(eto, float) else "     -"
        lines.append(f"{row['date']}  {shown}  {row['method']}")
    known = [r["eto_mm"] for r in rows if isinstance(r["eto_mm"], float)]
    total = sum(v for v in known if isinstance(v, float))
    lines.append(f"{'sum':<10}  {total:6.1f}  of {len(known)} of {len(rows)} days")
    return "\n".join(lines) + "\n"
