"""The questions about the beds: their ground, their drilled rows, their valve, what grows there.

Each bed has one valve, so a bed here is a zone too.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from controller.cli.new.answers import CropNames, pipe_size, some_day, whole
from controller.cli.new.talk import Answer, Question, StandIn, Talk, menu, one_of
from controller.cli.new.toml import entry, inline, quoted, remarks
from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.device_schema import RELAY
from controller.garden.device_schema import opening as read_opening
from crops.entry import Crop

MOST_ROWS, MOST_BEDS = 50, 100
SOILS = {
    "sand": "gritty, falls apart",
    "loamy sand": "gritty, just holds a shape",
    "sandy loam": "gritty, a ball that breaks when touched",
    "loam": "crumbly, a ball that can be handled",
    "silt loam": "smooth as flour",
    "clay loam": "a ball that can be rolled to a thick finger",
    "sandy clay loam": "the same, with grit",
    "silty clay loam": "the same, smooth",
    "clay": "sticky when wet, rolls to a thin string",
    "raised-bed mix": "compost and bought soil in a frame",
}
VALVES = {
    "hand": "turned by hand; the sheet says when",
    "diaphragm": "solenoid valve, mostly 24 V, that water pressure shuts",
    "direct": "solenoid valve that a spring shuts, at any pressure",
    "ball returns": "motor ball valve that shuts by itself without current",
    "ball stays": "motor ball valve driven open and shut by two relays",
}
FACES = {
    "down": "at the bottom of the pipe",
    "side": "level to one side",
    "up": "at its top",
    "through": "drilled through both walls, top and bottom",
}
ANOTHER = {
    "no": "that is all",
    "like": "one like the last: only name, distance, relay, throttle and crop are asked",
    "other": "one that differs, with the last one's figures in the brackets",
}
ANNUAL = {"sown": "in the bed", "set out": "as young plants"}
PERENNIAL = {"set out": "as young plants", "standing": "grown there before this season"}
_KEYS = {"sown": "sown", "set out": "transplanted", "standing": "from"}
# GPIO 4 to 8 rest high at power-on, which keeps active-low relays off (from memory); then those
# without a second use on the 40-pin header (from memory), then the others.
_LIKED = (4, 5, 6, 7, 8, 17, 22, 23, 24, 25, 27, 16, 26, 12, 13, 18, 19, 20, 21)
_LINES = (*_LIKED, *(line for line in range(2, 28) if line not in _LIKED))
_TRIAL_ROW = {"bore": '"1.5 mm"'}
_LATER = """\
# A second crop later in the year is one more table in planting; it begins after
# the other's last day. Plants unusually far apart: add apart = "18 in" there.
"""


class Beds:
    """Asks for one bed after another."""

    def __init__(
        self,
        talk: Talk,
        *,
        crops: CropNames,
        fault: Callable[[str], str | None],
        top: str,
        us: bool,
        today: date,
    ) -> None:
        self._talk, self._crops, self._fault = talk, crops, fault
        self._top, self._us, self._today = top, us, today
        self._names: list[str] = []
        self._lines: set[int] = set()
        self._before: dict[str, Answer] = {}
        self._now: dict[str, Answer] = {}
        self._like = False

    def lines(self) -> list[str]:
        """All beds and zones of the file."""
        made: list[str] = []
        more = "other"
        while more != "no":
            self._like = more == "like"
            self._now = {}
            made += self._bed()
            self._before = self._now
            if len(self._names) == MOST_BEDS:
                break
            more = self._talk.ask(
                Question(
                    words="Another bed: no, like (this one) or other",
                    more="\n".join(menu(ANOTHER)),
                    read=one_of("this", ANOTHER),
                    stand_ins=[StandIn(text="no")],
                )
            ).value
        return made

    def _bed(self) -> list[str]:
        """One bed with its zone."""
        number = len(self._names) + 1
        self._talk.say(f"\nBed {number}: go there, with a tape measure")
        name = self._name()
        ground = self._ground()
        row = self._row()
        run = self._ask(
            "run",
            "How far from the tap, along the pipe",
            v.RUN,
            StandIn(text=self._own("20 ft", "6 m"), why="a guess"),
            anew=True,
        )
        rise = self._ask(
            "rise",
            "Height above the tap (minus: below it)",
            lambda found: self._in_zone(v.HEIGHT(found), rise=quoted(found)),
            StandIn(text=self._own("0 in", "0 cm"), why="taken as level with the tap"),
            more="A bed a foot lower gets a little more. A hose full of water is a level.",
        )
        valve = self._valve()
        how_far = self._ask(
            "opening",
            "The valve when it waters: full, or the flow you throttle it to",
            self._opening,
            StandIn(text="full", why="taken as wide open"),
            anew=not self._was_full(),  # no two throttled valves stand alike
            more='As in "1.5 L/min" or "0.4 gal/min", measured with this bed alone open. '
            '"unknown" if it is throttled and nobody measured.',
        )
        planting = self._planting()
        zone = [
            "[[zone]]",
            f"name = {quoted(name)}",
            f"bed = {quoted(name)}",
            *entry("main_run", run),
            *entry("rise", rise),
            *valve,
            *entry("opening", how_far, how_far.value),
            *row,
            *(_LATER.splitlines() if number == 1 else []),
            *planting,
            "",
        ]
        return ["[[bed]]", f"name = {quoted(name)}", *ground, "", *zone]

    # ---- the ground ------------------------------------------------------------------------------

    def _name(self) -> str:
        taken = {name.casefold() for name in self._names}

        def new_name(found: str) -> str:
            name: str = v.text("a name", "leeks")(found)
            if name.casefold() in taken:
                raise QuantityError(f"found {q.spell(name)} again; each bed has a name of its own")
            return name

        free = next(
            one for n in range(len(taken) + 1, 2 * MOST_BEDS) if (one := f"bed {n}") not in taken
        )
        name = self._talk.ask(
            Question(words="Name of the bed", read=new_name, stand_ins=[StandIn(text=free)])
        )
        self._names.append(name.value)
        return str(name.value)

    def _ground(self) -> list[str]:
        """The lines of the bed; how many rows it has is asked on the way."""
        rows = self._ask(
            "rows",
            "How many drilled rows lie in it",
            whole("how many rows", 1, MOST_ROWS),
            StandIn(text="1", why="a guess"),
            more="Drilled pipes that this valve feeds, taken as alike here; the file may differ.",
        )
        wide_us, wide_metric = 2 * rows.value, 60 * rows.value
        width = self._ask(
            "width",
            "Width of the bed, across the rows",
            v.WIDTH,
            StandIn(
                text=self._own(f"{wide_us} ft", f"{wide_metric} cm"),
                why="a guess: 2 ft (60 cm) for each row",
            ),
            more="The ground that the rows water, path not counted. It decides how many litres.",
            own=True,
        )
        soil = self._ask(
            "soil",
            f"Soil: {', '.join(SOILS)}",
            one_of("a soil", SOILS),
            StandIn(text="loam", why="a guess: the middle one"),
            more="Wet a handful and knead it (hints from memory):\n" + "\n".join(menu(SOILS)),
            shown=True,
        )
        mulch = self._ask(
            "mulch",
            f"Mulch: {', '.join(v.MULCHES)}",
            v.mulch,
            StandIn(text="none", why="taken as bare"),
            more="What covers the ground between the plants.",
        )
        return [
            *entry("width", width),
            *entry("soil", soil, quoted(soil.value.replace(" ", "_").replace("-", "_"))),
            *entry("mulch", mulch, quoted(mulch.value)),
        ]

    # ---- the rows --------------------------------------------------------------------------------

    def _row(self) -> list[str]:
        """The rows of the zone; all are alike."""
        table: dict[str, str] = {}

        def fits(key: str, read: v.Reader) -> v.Reader:
            """It reads, and fits on the row with what is known so far."""

            def check(found: str) -> str:
                value = read(found)
                written = quoted(value if isinstance(value, str) else found)
                self._in_zone(None, row={**table, key: written})
                return written

            return check

        def face(found: str) -> str:
            chosen = one_of("a face", FACES)(found)
            return 'walls = "both"' if chosen == "through" else f"face = {quoted(chosen)}"

        def group(found: str) -> str:
            holes = whole("a group", 1, 50)(found)
            self._in_zone(None, row={**table, "group": str(holes)})
            return str(holes)

        length = self._ask(
            "length",
            "Length of a row, from its first pipe end to its cap",
            fits("length", v.ROW_LENGTH),
            StandIn(text=self._own("10 ft", "3 m"), why="a guess"),
        )
        table["length"] = length.value
        pipe = self._ask(
            "pipe",
            "Pipe of the rows",
            fits("pipe", pipe_size(self._fault)),
            StandIn(text="3/4 in", why="a guess: a common size"),
            more="Its nominal size, as printed on the pipe: 1/2 in to 2 in, schedule 40.",
        )
        table["pipe"] = pipe.value
        bore = self._ask(
            "bore",
            "Bore of the holes: the drill's size",
            fits("bore", v.BORE),
            StandIn(text=self._own("1/16 in", "1.5 mm"), why="a guess: a common drill"),
            more="As printed on the drill. A tenth more bore is a fifth more water.",
        )
        table["bore"] = bore.value
        every = self._ask(
            "every",
            "One hole, or one group of holes, every",
            fits("every", v.SPACING),
            StandIn(text=self._own("6 in", "15 cm"), why="a guess"),
            StandIn(text=length.text, why="a guess: the row is short"),
            more="From one hole to the next; the first is taken half of that from the inlet.",
        )
        table["every"] = every.value
        holes = self._ask(
            "group",
            "Holes at each of these places",
            group,
            StandIn(text="1", why="taken as single holes"),
            more="Some drill three holes close together at each plant.",
        )
        looks = self._ask(
            "face",
            f"Holes face {', '.join(FACES)}",
            face,
            StandIn(text="down", why="a guess"),
            more="\n".join(menu(FACES)),
        )
        pairs = [("length", length.value), ("every", every.value), ("bore", bore.value)]
        pairs += [("pipe", pipe.value)] if pipe.value != '"3/4 in"' or pipe.why else []
        pairs += [("group", holes.value)] if holes.value != "1" else []
        key, _, value = looks.value.partition(" = ")
        pairs.append((key, value))
        named = [("rows:", self._now["rows"]), ("length", length), ("pipe", pipe), ("bore", bore)]
        named += [("every", every), ("holes at each place:", holes), ("holes look", looks)]
        count = self._now["rows"].value
        return [*remarks(*named), "row = [", *([f"  {inline(pairs)},"] * count), "]"]

    # ---- the valve -------------------------------------------------------------------------------

    def _valve(self) -> list[str]:
        """The line of the valve, with remarks."""
        kind = self._ask(
            "valve",
            "The valve",
            one_of("a valve", VALVES),
            StandIn(text="hand", why="taken as one that only a person opens"),
            menu_of=VALVES,
            shown=True,
        )
        named = [("valve:", kind)]
        pairs = [("hand", "true")]
        free = [line for line in _LINES if line not in self._lines]
        needed = 2 if kind.value == "ball stays" else 1
        if kind.value != "hand" and len(free) < needed:
            self._talk.say(
                "All lines of the board are in use; this valve is taken as a hand valve."
            )
        elif kind.value != "hand":
            relay = self._relay("Number of the relay's GPIO line")
            named.append(("relay", relay))
            pairs = [("relay", str(relay.value)), ("kind", quoted(kind.value))]
            if kind.value.startswith("ball"):
                if kind.value == "ball stays":
                    close = self._relay("GPIO line of the relay that drives it shut")
                    named.append(("relay that shuts it", close))
                    pairs.append(("close_relay", str(close.value)))
                travel = self._ask(
                    "travel",
                    "Time from shut to open",
                    _travel,
                    StandIn(
                        text="15 s",
                        why="a guess: the longest usual (from memory), so that it shuts: time it",
                    ),
                )
                named.append(("travel", travel))
                pairs.append(("opens_in", quoted(travel.text)))
        return [*remarks(*named), f"valve = {inline(pairs)}"]

    def _relay(self, words: str) -> Answer:
        """A free line of the board; there is one."""

        def read(found: str) -> int:
            try:
                line = int(RELAY(int(found) if found.isascii() and found.isdigit() else found))
            except QuantityError:
                raise QuantityError(
                    f"found {q.spell(found)}; a GPIO line is a number from 2 to 27, as in 17"
                ) from None
            if line in self._lines:
                raise QuantityError(f"found {line} again; each relay has a line of its own")
            return line

        free = next(line for line in _LINES if line not in self._lines)
        answer = self._talk.ask(
            Question(
                words=words,
                read=read,
                stand_ins=[StandIn(text=str(free), why="a guess: wire it so, or write yours")],
                more="GPIO 2 to 27 of the 40-pin header, not the number of the pin.",
            )
        )
        self._lines.add(answer.value)
        return answer

    def _opening(self, found: str) -> str:
        """The TOML of an opening."""
        small = found.casefold()
        as_text = small in ("full", "unknown") or small.endswith(("deg", "°", "%"))
        written = quoted(small) if as_text else inline([("flow", quoted(found))])
        try:
            read_opening(small if as_text else {"flow": found})
        except QuantityError:
            raise QuantityError(
                f'found {q.spell(found)}; allowed is "full", a flow as in "1.5 L/min", the '
                'handle\'s turn from full open as in "40 deg", or "unknown"'
            ) from None
        self._in_zone(None, opening=written)
        return written

    # ---- what grows there ------------------------------------------------------------------------

    def _planting(self) -> list[str]:
        """The planting of the zone."""
        before = self._before.get("crop")
        stand_ins = [StandIn(text="lettuce", why="a guess: it wants little water, and often")]
        if before is not None:
            why = before.why or f"as in {self._last_name()}"
            stand_ins = [StandIn(text=before.value.name, why=why)]
        crop = self._talk.ask(
            Question(
                words='What grows there (its first letters; "?" lists all)',
                read=self._crops.read,
                stand_ins=stand_ins,
                more=self._crops.listed(),
                shown=lambda crop: crop.label,
            )
        )
        self._now["crop"] = crop
        plant: Crop = crop.value
        begins = PERENNIAL if plant.perennial else ANNUAL
        begun = self._talk.ask(
            Question(
                words=f"Was it {' or '.join(begins)}",
                read=one_of("this", begins),
                stand_ins=[
                    StandIn(text="standing" if plant.perennial else "set out", why="a guess")
                ],
                more="\n".join(menu(begins)),
                shown=str,
            )
        )
        start = self._talk.ask(
            Question(
                words="Its first leaves this season"
                if begun.value == "standing"
                else "On which day",
                read=lambda found: some_day(found, self._today),
                stand_ins=[StandIn(text=f"{self._today}", why="a guess: today")],
                more="As in 2031-04-22, 22 April, today, or -10 for ten days ago.",
                shown=str,
            )
        )
        days = sum(plant.stage_days)
        last = min(start.value + timedelta(days=days - 1), date(v.LAST_YEAR, 12, 31))

        def last_day(found: str) -> date:
            day = some_day(found, self._today, near=last)
            if day < start.value:
                raise QuantityError(
                    f"found {day}; the last day is not before the first, {start.value}"
                )
            return day

        until = self._talk.ask(
            Question(
                words="Last day in the ground this season",
                read=last_day,
                stand_ins=[StandIn(text=f"{last}", why=f"{days} days, as in the crop's table")],
                shown=str,
            )
        )
        pairs = [
            ("crop", quoted(plant.name)),
            (_KEYS[begun.value], str(start.value)),
            ("until", str(until.value)),
        ]
        named = [("crop", crop), ("it was", begun), ("first day", start), ("last day", until)]
        return [*remarks(*named), f"planting = [{inline(pairs)}]"]

    # ---- small parts -----------------------------------------------------------------------------

    def _ask(
        self,
        key: str,
        words: str,
        read: v.Reader,
        *stand_ins: StandIn,
        more: str = "",
        menu_of: dict[str, str] | None = None,
        shown: bool = False,
        anew: bool = False,
        own: bool = False,
    ) -> Answer:
        """An answer that the next bed takes over: as it is, or (`anew`) as a stand-in.

        With `own`, the stand-in of a bed that differs is its own.
        """
        before = self._before.get(key)
        if self._like and before is not None and not anew:
            self._now[key] = before
            return before
        offered = list(stand_ins)
        if before is not None and not own:
            why = before.why or f"as in {self._last_name()}"
            text = str(before.value) if shown else before.text  # "loam", also where it was "4"
            offered = [StandIn(text=text, why=why), *offered]
        answer = self._talk.ask(
            Question(
                words=words,
                read=read,
                stand_ins=offered,
                more=more,
                menu=() if menu_of is None else menu(menu_of),
                shown=str if shown else None,
            )
        )
        self._now[key] = answer
        return answer

    def _was_full(self) -> bool:
        before = self._before.get("opening")
        return before is not None and before.value == quoted("full")

    def _last_name(self) -> str:
        return f'"{self._names[-2]}"' if len(self._names) > 1 else "the bed before"

    def _own(self, us: str, metric: str) -> str:
        return us if self._us else metric

    def _in_zone(
        self,
        value: object,
        *,
        row: dict[str, str] | None = None,
        rise: str = '"0 m"',
        opening: str = '"full"',
    ) -> object:
        """The value, if a zone with it reads; `QuantityError` with the fault else."""
        table = {"length": '"3 m"', **_TRIAL_ROW, **(row or {})}
        table.setdefault("every", table["length"])
        zone = [
            *("[[zone]]", 'name = "a"', "valve = { hand = true }", f"rise = {rise}"),
            *(f"opening = {opening}", f"row = [{inline(table.items())}]"),
        ]
        wrong = self._fault("\n".join([self._top, *zone]))
        if wrong is not None:
            raise QuantityError(wrong)
        return value


def _travel(found: str) -> float:
    seconds = q.parse(found, q.DURATION, what="a valve's travel", example='"8 s"')
    if not 0.5 <= seconds <= 300.0:
        raise QuantityError(
            f'found {q.spell(found)}; a valve\'s travel is 0.5 s to 5 min, as in "8 s"'
        )
    return seconds
