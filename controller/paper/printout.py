"""The timetable as a sheet of text: on a terminal, in a pipe, or on the shed door.

One line is one opening. What the sheet stands on comes before the days, what it leaves open after
them, and the reasons at the end, if they are asked for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import TypeVar

from controller.garden import show
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.calibration.calibrated import BAND, Bands
from controller.messages import Message
from controller.paper.amounts import Units
from controller.paper.reasons import notes_text, reasons_text
from controller.paper.rounds import (
    ROUND_PAUSE,
    hand_minutes,
    keeper_of,
    opening_words,
    rounds_of,
)
from controller.paper.sheet_head import head_lines, why_empty
from controller.paper.text import (
    WIDTH,
    clock_cell,
    clock_time,
    day_in_year,
    long_day,
    open_time,
    paragraph,
    weekday_and_day,
)
from controller.timetable.records import NotFitted, Pulse, Timetable, WaterIn, WhyDry
from controller.wording.say import say

# Lines on a page: at six lines an inch they fit on Letter paper with margins of half an inch, and
# on A4; at 10.5 pt with single spacing, too. Our choice.
PAGE_LINES = 60

_BEGUN = 3  # lines at most at the top of a page after the first one
_LEAST = 6  # lines of a block that is cut, at the foot of a page; our choice
_MOST_SUMS = 12  # of more zones the sheet has the sum alone; our choice
_MOST_LEFT = 7  # days of one reason are listed each; our choice
_MOST_KEEPERS = 3  # in the heading of a round; our choice

_T = TypeVar("_T", Pulse, NotFitted, WaterIn)
_DAY = timedelta(days=1)
_NAME, _OPENING, _GAVE = 21, 12, "____"
_BOX = "[ ] "
_CLOCK = 8  # characters of a time of day
_wrapped = partial(paragraph, at_hyphens=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a sheet shows beside the openings.

    With `bands`, each time and each volume has its plus-or-minus: two standard errors, by which the
    litres may be off if the time is kept, or the time if the litres are. `zones` are those of the
    sheet (None: all), and `whose` says in words which they are. `twelve_hours`: None is the
    garden's own clock. `why`: the reasons are gathered at the end.
    """

    bands: Bands | None = None
    why: bool = False
    printed: date | None = None
    zones: frozenset[str] | None = None
    whose: str = ""
    twelve_hours: bool | None = None


def of_zones(timetable: Timetable, zones: frozenset[str]) -> Timetable:
    """The timetable of these zones alone; the ledger stays whole."""
    return replace(
        timetable,
        pulses=tuple(p for p in timetable.pulses if p.zone in zones),
        doses=tuple(d for d in timetable.doses if d.zone in zones),
        not_fitted=tuple(n for n in timetable.not_fitted if n.zone in zones),
        short=tuple(s for s in timetable.short if s.zone in zones),
        no_water=tuple(n for n in timetable.no_water if n.zone in zones),
        water_in=tuple(w for w in timetable.water_in if w.zone in zones),
        remarks=tuple(r for r in timetable.remarks if _is_about(r, zones)),
    )


def _is_about(remark: Message, zones: frozenset[str]) -> bool:
    """Whether a remark is about the garden, or about one of these zones."""
    zone = remark.values.get("zone")
    several = remark.values.get("zones")
    named = {zone} if isinstance(zone, str) else {*several} if isinstance(several, tuple) else zones
    return not zones.isdisjoint(named)


def timetable_text(
    timetable: Timetable, garden: Garden, look: Look | None = None, after: Sequence[str] = ()
) -> str:
    """The whole sheet in 80 columns, in one piece; `after` are lines for its end."""
    sheet = _Sheet.of(timetable, garden, look or Look())
    lines: list[str] = []
    for block in (*sheet.blocks(), after):
        lines += [*block, ""]
    return "\n".join(lines).rstrip() + "\n"


def timetable_pages(
    timetable: Timetable, garden: Garden, look: Look | None = None, after: Sequence[str] = ()
) -> list[str]:
    """The sheet cut into pages of `PAGE_LINES` lines; a day is cut only if it fills a page."""
    sheet = _Sheet.of(timetable, garden, look or Look())
    blocks, days = [*sheet.blocks(), list(after)], sheet.day_blocks()
    first, week = blocks[0], [line for block in blocks[1 : 1 + len(days)] for line in block]
    loose = len(first) + 1 + len(week) + len(days) - 1
    if loose > PAGE_LINES >= len(first) + 1 + len(week):
        blocks[1 : 1 + len(days)] = [week]  # without blank lines they fit on one page
    pages: list[list[str]] = [[]]
    begun = 0  # lines at the top of this page that belong to no block
    for block in blocks:
        at = 0
        while at < len(block):
            page, rest = pages[-1], block[at:]
            gap = 1 if len(page) > begun else 0
            left = PAGE_LINES - len(page) - gap
            if gap and len(rest) > left and (len(rest) <= PAGE_LINES - _BEGUN or left < _LEAST):
                page = sheet.begun_page(len(pages) + 1, columns=block in days)
                begun = len(page)
                pages.append(page)
                continue
            page += [""] * gap + rest[:left]
            at += len(rest[:left])
            if at < len(block):
                page = sheet.begun_page(len(pages) + 1, columns=block in days)
                begun = len(page)
                pages.append(page)
    return ["\n".join(page).rstrip() + "\n" for page in pages]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One sheet, with what all of its lines need."""

    timetable: Timetable
    garden: Garden
    look: Look
    zones: tuple[Zone, ...]
    twelve_hours: bool
    units: Units
    pulses: dict[date, list[Pulse]] = field(default_factory=dict)
    # What is not given on several days, by its zone and its reason.
    repeated: Mapping[tuple[str, str], Sequence[NotFitted]] = field(default_factory=dict)

    @classmethod
    def of(cls, timetable: Timetable, garden: Garden, look: Look) -> _Sheet:
        zones = tuple(z for z in garden.zones if look.zones is None or z.name in look.zones)
        if look.zones is not None:
            timetable = of_zones(timetable, look.zones)
        return cls(
            timetable=timetable,
            garden=garden,
            look=look,
            zones=zones,
            twelve_hours=(garden.twelve_hours if look.twelve_hours is None else look.twelve_hours),
            units=Units(garden.us_units),
            pulses=_by_day(timetable.pulses),
            repeated=_repeated(timetable, us=garden.us_units),
        )

    def blocks(self) -> list[list[str]]:
        """What stays together on a page, from the head to the reasons."""
        days = self.day_blocks()
        found = [self._head(), *days]
        if days and self.timetable.pulses:
            found[1] = [self._columns(), *found[1]]
        found += [
            self._not_given(),
            self._short(),
            self._no_water(),
            self._sums(),
            notes_text(self.timetable.remarks, us=self.units.us),
        ]
        if self.look.why:
            found += reasons_text(self.timetable, self.zones, self.units)
        return [block for block in found if block]

    def begun_page(self, number: int, *, columns: bool) -> list[str]:
        """The first lines of a page after the first one."""
        title = f"{self.garden.site.name}, {self._span()}"
        page = f"page {number}"
        lines = [f"{_cut(title, WIDTH - len(page) - 2):<{WIDTH - len(page)}}{page}", ""]
        return [*lines, self._columns()] if columns else lines

    def _head(self) -> list[str]:
        title = f"{self.garden.site.name}: when to water"
        if self.look.whose:
            title += f", {self.look.whose}"
        words = f"Clock times of {self.garden.site.timezone}."
        if self.look.printed is not None:
            words = f"Printed {long_day(self.look.printed)}. {words}"
        return [
            *_wrapped(title, "", ""),
            self._span(),
            *_wrapped(words, "", "  "),
            *head_lines(self.timetable, self.zones, self.units),
        ]

    def _span(self) -> str:
        first, last = self.timetable.first, self.timetable.last
        if first == last:
            return long_day(first)
        begins = weekday_and_day(first) if first.year == last.year else long_day(first)
        return f"{begins} to {long_day(last)}"

    def _columns(self) -> str:
        """The names of the columns, each over its own."""
        given = "gave" if any(p.valve is ValveKind.HAND for p in self.timetable.pulses) else ""
        if self.look.bands is not None:
            return f"{'':4}{'open':>8} {'shut':>8}  {'zone':<19}{'time':>8} ± {'':<6}amount ±"
        return (
            f"{'':4}{'open':>8} {'shut':>8}  {'zone':<{_NAME}} {'open to':<{_OPENING}} "
            f"{'time':>7} {'amount':>9} {given}"
        ).rstrip()

    def day_blocks(self) -> list[list[str]]:
        """One block a day; days without anything to do share a line."""
        timetable = self.timetable
        if not (timetable.pulses or timetable.not_fitted or timetable.water_in):
            return [why_empty(timetable, self.zones, self.units)]
        left, water_in = _by_day(timetable.not_fitted), _by_day(timetable.water_in)
        blocks: list[list[str]] = []
        idle: dict[date, bool] = {}  # whether something is left out on it
        day = timetable.first
        while day <= timetable.last:
            walk, openings = self._openings(self.pulses.get(day, []))
            lines = [
                *openings,
                *self._water_in(water_in.get(day, [])),
                *self._left(left.get(day, [])),
            ]
            if lines:
                blocks += _idle(idle)
                idle = {}
                heading = f"{weekday_and_day(day)}, {walk}" if walk else weekday_and_day(day)
                blocks.append([_cut(heading, WIDTH), *lines])
            else:
                if idle and idle[day - _DAY] != (day in left):
                    blocks += _idle(idle)
                    idle = {}
                idle[day] = day in left
            day += _DAY
        return [*blocks, *_idle(idle)]

    def _water_in(self, found: list[WaterIn]) -> list[str]:
        """What is set out that day, and how much water it needs."""
        lines: list[str] = []
        for each in found:
            name = f"{each.zone}, {each.part}" if each.part else each.zone
            unknown = ""
            if each.rain_unknown_days:
                unknown = f"; rain unknown on {each.rain_unknown_days} d before"
            words = (
                f"{name}: {each.crop.replace('_', ' ')} is set out; water it in by hand with "
                f"{self.units.volume(each.litres)} along its rows "
                f"({self.units.depth(each.lacking_mm)} is missing there{unknown}) and note it; "
                "else the line makes it up from the next day on"
            )
            lines += _wrapped(words, _BOX, "    ")
        return lines

    def _openings(self, pulses: list[Pulse]) -> tuple[str, list[str]]:
        """What the day's heading says of who walks, and a line for each opening."""
        rounds = rounds_of((p for p in pulses if p.valve is ValveKind.HAND), self.garden)
        relays = [p for p in pulses if p.valve is not ValveKind.HAND]
        heads = [_round(n, rounds, self._keepers(walk)) for n, walk in enumerate(rounds, 1)]
        lines: list[str] = []
        for number, walk in enumerate(rounds):
            lines += [f"    {heads[number]}"] if number else []
            lines += self._walk(walk)
        if relays and rounds:
            lines.append("    by the board")
        first = heads[0] if heads else "by the board" if relays else ""
        return first, [*lines, *map(self._pulse, relays)]

    def _walk(self, walk: Sequence[Pulse]) -> list[str]:
        """The lines of a round; before a long pause, until when the keeper waits."""
        lines: list[str] = []
        shut: dict[str, datetime] = {}
        opened: set[str] = set()
        several = len(self._keepers(walk)) > 1
        for pulse in walk:
            keeper = keeper_of(pulse, self.garden)
            before = shut.get(keeper, pulse.opens_utc)
            if pulse.opens_utc - before > ROUND_PAUSE:
                opens = pulse.opens_utc.astimezone(self.garden.site.zone_info)
                until = clock_cell(opens, self.twelve_hours)
                lines.append(f"    {keeper} waits" if several and keeper else "    wait")
                lines[-1] += f" until {until}"
                if pulse.zone in opened:
                    lines[-1] += ", while the soil takes the water in"
            opened.add(pulse.zone)
            shut[keeper] = max(before, pulse.closes_utc)
            lines.append(self._pulse(pulse))
        return lines

    def _keepers(self, walk: Iterable[Pulse]) -> list[str]:
        """Whose beds the round goes to, where that helps: several keepers share the garden."""
        if len({zone.bed.keeper for zone in self.zones}) < 2:
            return []
        keepers = dict.fromkeys(keeper_of(p, self.garden) for p in walk)
        return [keeper for keeper in keepers if keeper]

    def _pulse(self, pulse: Pulse) -> str:
        zone_info, twelve = self.garden.site.zone_info, self.twelve_hours
        opens = pulse.opens_utc.astimezone(zone_info)
        closes = pulse.closes_utc.astimezone(zone_info)
        box, given = _BOX, _GAVE
        opened = opening_words(self.garden.zone(pulse.zone), us=self.garden.us_units)
        if pulse.valve is ValveKind.HAND:
            minutes = hand_minutes(pulse.open_s)
            if minutes is None:
                time = open_time(pulse.open_s) if pulse.open_s >= 60.0 else _seconds(pulse.open_s)
                shut = clock_time(_whole_second(closes), twelve)
                if len(shut) > _CLOCK:
                    shut = shut[:-3]  # the opening beside it says am or pm
            else:
                time = f"{minutes} min"
                later = pulse.opens_utc + timedelta(minutes=minutes)
                shut = clock_cell(later.astimezone(zone_info), twelve)
        else:
            # What a person sees of it: open within these minutes.
            box, given, opened = "    ", "", f"relay {pulse.relay_line}"
            time = open_time(pulse.open_s)
            full = closes if not (closes.second or closes.microsecond) else closes + _MINUTE
            shut = clock_cell(full, twelve)
        begin = f"{box}{clock_cell(opens, twelve):>8} {shut:>8}  "
        amount = self.units.volume(pulse.litres)
        if self.look.bands is not None:
            band = BAND * self.look.bands.error(pulse.zone, pulse.together)
            off = self.units.volume(pulse.litres * band).partition(" ")[0]
            return (
                f"{begin}{_cut(pulse.zone, 19):<19}{time:>8} ±{open_time(pulse.open_s * band):<7}"
                f"{amount:>9} ±{off:<5} {given}"
            ).rstrip()
        return (
            f"{begin}{_cut(pulse.zone, _NAME):<{_NAME}} {_cut(opened, _OPENING):<{_OPENING}} "
            f"{time:>7} {amount:>9} {given}"
        ).rstrip()

    def _left(self, found: list[NotFitted]) -> list[str]:
        """What is not given that day alone; what one reason holds back together."""
        reasons: dict[str, list[str]] = {}
        for item in found:
            reason = say(item.reason, us=self.units.us)
            if (item.zone, reason) not in self.repeated:
                amount = f"{item.zone}, {self.units.volume(item.litres)}"
                reasons.setdefault(reason, []).append(amount)
        lines: list[str] = []
        for reason, amounts in reasons.items():
            lines += _wrapped(f"not given: {'; '.join(amounts)}: {reason}", "    ")
        return lines

    def _not_given(self) -> list[str]:
        """What one reason holds back on several days, gathered."""
        lines: list[str] = []
        for (zone, reason), items in self.repeated.items():
            shown = [self.units.volume(item.litres) for item in items]
            days = [day_in_year(item.day) for item in items]
            if len(items) > _MOST_LEFT:
                by_size = sorted(items, key=lambda item: item.litres)
                least, most = (self.units.volume(by_size[at].litres) for at in (0, -1))
                when = f"on {len(items)} days from {days[0]} to {days[-1]}, {least} to {most}"
            else:
                when = ", ".join(
                    f"{d} {v}".replace(" ", "\xa0") for d, v in zip(days, shown, strict=True)
                )
            words = _wrapped(f"{zone}: {reason}: {when}", "  ")
            lines += [line.replace("\xa0", " ") for line in words]  # no amount is cut
        if lines:
            lines += _wrapped("What is left on one day is part of the next day's amount.", "  ")
        return _under("Not given", lines)

    def _short(self) -> list[str]:
        """The zones whose crops will go short: from when, how much, and what limits the water."""
        lines: list[str] = []
        for short in self.timetable.short:
            name = f"{short.zone}, {short.part}" if short.part else short.zone
            days = "that day" if short.days == 1 else f"{short.days} days"
            words = (
                f"{name}: from {day_in_year(short.first)}, {days}; at worst on "
                f"{day_in_year(short.worst_day)} the crop finds {100 * short.least_stress:.0f} % "
                f"of what it asks for; in all {self.units.depth(short.lost_mm)} less than it wants"
            )
            if short.reason:
                words += f" ({say(short.reason, us=self.units.us)})"
            lines += _wrapped(words, "  ")
        return _under("Short of water", lines)

    def _no_water(self) -> list[str]:
        """The zones that get no water in these days, and why; those with one reason together."""
        names: dict[str, list[str]] = {}
        gathered = {zone for zone, _ in self.repeated}
        for none in self.timetable.no_water:
            if none.why is WhyDry.NOT_GIVEN and none.zone in gathered:
                continue
            name = f"{none.zone}, {none.part}" if none.part else none.zone
            words = f" ({none.why}): {say(none.message, us=self.units.us)}"
            names.setdefault(words, []).append(name)
        lines: list[str] = []
        for words, zones in names.items():
            lines += _wrapped(f"{'; '.join(zones)}{words}", "  ")
        return _under("Without water", lines)

    def _sums(self) -> list[str]:
        """The water of the span: of all zones, then of each."""
        litres: dict[str, float] = defaultdict(float)
        for pulse in self.timetable.pulses:
            litres[pulse.zone] += pulse.litres
        if not litres:
            return []
        words = f"In all {self.units.volume(sum(litres.values()))}"
        if 1 < len(litres) <= _MOST_SUMS:
            each = (
                f"{zone.name} {self.units.volume(litres[zone.name]).partition(' ')[0]}"
                for zone in self.zones
                if zone.name in litres
            )
            words += f": {'; '.join(each)}"
        return _wrapped(f"{words}.", "", "  ")


_MINUTE = timedelta(minutes=1)


def _round(number: int, rounds: Sequence[object], keepers: Sequence[str]) -> str:
    """The heading of a round: its number where there are several, and whose beds it goes to."""
    words = f"round {number} of {len(rounds)}" if len(rounds) > 1 else "by hand"
    if not keepers or len(keepers) > _MOST_KEEPERS:
        return words
    return _cut(f"{words}, {show.listed(keepers)}", WIDTH - 30)


def _whole_second(moment: datetime) -> datetime:
    return (moment + timedelta(seconds=0.5)).replace(microsecond=0)


def _seconds(open_s: float) -> str:
    """A time of less than a minute."""
    return f"{open_s:.0f} s" if open_s >= 9.95 else f"{open_s:.1f} s"


def _repeated(timetable: Timetable, *, us: bool) -> Mapping[tuple[str, str], Sequence[NotFitted]]:
    found: dict[tuple[str, str], list[NotFitted]] = defaultdict(list)
    for item in timetable.not_fitted:
        found[item.zone, say(item.reason, us=us)].append(item)
    return {key: items for key, items in found.items() if len(items) > 1}


def _idle(idle: Mapping[date, bool]) -> list[list[str]]:
    """Days in a row without anything to do, in one line, and whether something is left out."""
    if not idle:
        return []
    days = list(idle)
    span = weekday_and_day(days[0])
    if len(days) > 1:
        span += f" {'and' if len(days) == 2 else 'to'} {weekday_and_day(days[-1])}"
    why = 'nothing is opened, see "Not given"' if idle[days[0]] else "no zone needs water"
    return [[f"{span}: {why}"]]


def _under(title: str, lines: list[str]) -> list[str]:
    return [title, "-" * len(title), *lines] if lines else []


def _by_day(items: Iterable[_T]) -> dict[date, list[_T]]:
    found: dict[date, list[_T]] = defaultdict(list)
    for item in items:
        found[item.day].append(item)
    return found


def _cut(name: str, width: int) -> str:
    return name if len(name) <= width else name[: width - 3] + "..."
