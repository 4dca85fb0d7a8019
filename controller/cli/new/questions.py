"""What `new` asks, in the order in which a person who stands in the garden can answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.check.place_checks import cities, of_site
from controller.cli.new.answers import CropNames, coordinates, pipe_size, timezone
from controller.cli.new.beds import Beds
from controller.cli.new.talk import Answer, Question, StandIn, Talk, menu, one_of
from controller.cli.new.toml import MARK, comment, entry, inline, quoted, remarks
from controller.cli.new.towns import Town, Towns
from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.model import Site
from controller.units import head_m_from_psi, m3_s_from_gal_min
from controller.wording.say import say

UNITS = {"us": "feet, gallons, psi", "metric": "metres, litres, kPa or bar"}
SOURCES = {
    "online": "public services are asked for this place, from now on every day",
    "file": "a weather file of your own, beside the garden file",
    "climate": "nothing is asked; the usual weather of a kind of climate stands in",
}
CLIMATES = {
    "arid": "desert",
    "semi-arid": "dry grassland, long dry summers",
    "sub-humid": "rain in most months, some dry weeks in summer",
    "humid": "rain every week or two all the year",
    "very humid": "rain on most days",
}
SUPPLIES = {
    "tap": "a tap of the house or the street",
    "regulator": "a tap with a pressure regulator behind it",
    "pump": "a pump with a pressure tank",
    "barrel": "a barrel or tank that stands higher than the beds",
}
# Nothing is fetched for a person who was not asked.
_UNASKED_SOURCE = StandIn(text="climate", why="nobody was asked, so no service is")
# From memory: an open garden tap of a house gives 4 to 10 gal/min, one below a barrel much less.
_TAP_M3_S, _BARREL_M3_S = m3_s_from_gal_min(6.0), m3_s_from_gal_min(2.5)
_SWITCH_APART_PSI = 20.0  # a pressure switch stops so much above its start: common practice
_HIGHEST_START_M = head_m_from_psi(200.0)
_HALFWAY_DEG = 45.0
_YES_NO = {"yes": "", "no": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the dialogue knows before it begins.

    `fault` gives the first fault of a garden file's text, None if it reads; `machine_zone` is the
    time zone of this machine, "" if that says nothing of the place.
    """

    crops: CropNames
    fault: Callable[[str], str | None]
    now_utc: datetime
    machine_zone: str = ""
    towns: Towns | None = None
    folder: Path = Path()


def garden_text(talk: Talk, known: Known) -> str:
    """The text of a garden file, made of the answers."""
    return _Garden(talk, known).text()


class _Garden:
    """One run through the questions."""

    def __init__(self, talk: Talk, known: Known) -> None:
        self._talk, self._known, self._us = talk, known, True

    def text(self) -> str:
        """Ask everything."""
        name = self._talk.ask(
            Question(
                words="What is the garden called",
                read=v.text("a name", "our garden"),
                stand_ins=[StandIn(text="our garden")],
                more="Any name of one line; it stands on top of each sheet.",
            )
        )
        site, zone = self._place(name)
        today = self._known.now_utc.astimezone(ZoneInfo(zone)).date()
        weather = self._weather()
        supply = self._supply()
        main = self._talk.ask(
            Question(
                words="Pipe of the main, from the tap to the beds",
                read=pipe_size(self._known.fault),
                stand_ins=[StandIn(text="1 in", why="a guess: a common size")],
                more="Its nominal size, as printed on the pipe: 1/2 in to 2 in, schedule 40.",
            )
        )
        units = "us" if self._us else "metric"
        top = [f"units = {quoted(units)}", "", "[site]", *site, "", "[supply]", *supply, ""]
        top += ["[main]", *entry("size", main, quoted(main.value)), ""]
        beds = Beds(
            self._talk,
            crops=self._known.crops,
            fault=self._known.fault,
            top="\n".join(top),
            us=self._us,
            today=today,
        )
        body = "\n".join([*top, *beds.lines(), "[weather]", *weather]) + "\n"
        return "\n".join(self._head(name.text, today, body)) + "\n" + body

    def _head(self, name: str, today: date, body: str) -> list[str]:
        count = sum(line.startswith(f"# {MARK}:") for line in body.splitlines())
        lines = comment(f"The garden file of {name}, written by rowgate new on {today}.")
        if self._talk.ended:
            lines += comment(
                "The answers ended before the last question; what was not asked is a stand-in too."
            )
        if count:
            lines += comment(
                f'Lines above which "{MARK}" stands are not of your garden yet: measure, write '
                "yours, and take the remark out."
            )
        lines += comment("What is not written here has a default: rowgate check lists them.")
        return [*lines, *comment('A quantity carries its unit: "11 ft", "3.4 m", "28 L/min".'), ""]

    # ---- the place -------------------------------------------------------------------------------

    def _place(self, name: Answer) -> tuple[list[str], str]:
        """The lines of [site], and the time zone."""
        self._talk.say("\nThe place: for sun, weather and clock")
        town = self._town()
        if town is not None:
            zone = Answer(text=town.timezone, value=town.timezone)
            place = Answer(text="", value=(town.latitude_deg, town.longitude_deg))
            country = town.country
        else:
            zone = self._zone()
            city = cities().get(zone.value)
            country = "" if city is None else city.country
            place = self._coordinates(name.text, zone.value)
        units = self._talk.ask(
            Question(
                words="Units you measure in: us or metric (each answer may have others)",
                read=one_of("units", UNITS),
                stand_ins=[StandIn(text="us" if country == "US" else "metric")],
            )
        )
        self._us = units.value == "us"
        elevation = self._talk.ask(
            Question(
                words="Height above the sea",
                read=v.ELEVATION,
                stand_ins=[StandIn(text=self._own("300 ft", "100 m"), why="a guess: low land")],
                more="From a map, or a phone's compass. Thin air dries a little less.",
            )
        )
        latitude, longitude = place.value
        lines = [
            f"name = {quoted(name.text)}",
            *([] if town is None else comment(f"the place is that of {town.label}")),
            *remarks(("place", place)),
            f"latitude = {latitude!r}",
            f"longitude = {longitude!r}",
            *entry("elevation", elevation),
            *entry("timezone", zone, quoted(zone.value)),
        ]
        return lines, zone.value

    def _town(self) -> Town | None:
        """The town nearest to the garden; None without a list, or where none is near."""
        towns = self._known.towns
        if towns is None:
            return None

        def read(found: str) -> Town | None:
            return None if found == "none" else towns.town(found)

        answer = self._talk.ask(
            Question(
                words="Nearest town, with its state or country if need be",
                read=read,
                stand_ins=[StandIn(text="none")],
                more='As in "Springfield, MO". Enter: none, and you write coordinates.',
                shown=lambda town: "" if town is None else _town_shown(town),
            )
        )
        town: Town | None = answer.value
        return town

    def _zone(self) -> Answer:
        here = self._known.machine_zone
        stand_ins = [StandIn(text=here, why="that of this machine")] if here else []
        return self._talk.ask(
            Question(
                words="Time zone, or its city",
                read=timezone,
                stand_ins=[*stand_ins, StandIn(text="UTC", why="a guess, surely wrong by hours")],
                more='As in "Europe/Zurich", "zurich" or "America/Denver".',
                shown=str,
            )
        )

    def _coordinates(self, name: str, zone: str) -> Answer:
        """Latitude and longitude, once they fit the time zone or the person keeps them."""
        answer = self._talk.ask(
            Question(
                words="Latitude and longitude, in degrees",
                read=coordinates,
                stand_ins=[_place_of_zone(zone, self._known.now_utc)],
                more='As a map or a phone shows them: "47.61, 8.13" or "33.9 S, 18.4 E".',
            )
        )
        if answer.why:
            return answer
        latitude, longitude = answer.value
        site = Site(
            name=name,
            latitude_deg=latitude,
            longitude_deg=longitude,
            elevation_m=0.0,
            timezone=zone,
        )
        doubts = [one for one in of_site(site) if not one.code.startswith("check.fixed")]
        for doubt in doubts:
            self._talk.say(f"Found {answer.text}; {say(doubt, us=True)}.")
        if doubts:
            kept = self._talk.ask(
                Question(
                    words="Keep this place all the same, yes or no",
                    read=one_of("this", _YES_NO),
                    stand_ins=[StandIn(text="no")],
                    unasked=StandIn(text="yes"),
                )
            )
            if kept.value == "no":
                self._talk.back(2)
        return answer

    def _weather(self) -> list[str]:
        """The lines of [weather]."""
        source = self._talk.ask(
            Question(
                words="Where does the weather come from",
                menu=menu(SOURCES),
                read=one_of("a source", SOURCES),
                stand_ins=[StandIn(text="online")],
                unasked=_UNASKED_SOURCE,
                shown=str,
            )
        )
        if source.value == "online":
            return ["online = true"]
        lines = remarks(("weather by", source))
        if source.value == "file":
            name = self._talk.ask(
                Question(
                    words="Name of the file",
                    read=self._weather_file,
                    stand_ins=[
                        StandIn(text="none", why="no file is named; the climate stands in"),
                    ],
                    more="docs/weather-file.md says what it may look like.",
                )
            )
            lines += remarks(("file", name))
            lines += [] if name.text == "none" else [f"file = {quoted(name.text)}"]
        climate = self._talk.ask(
            Question(
                words="The climate in the growing season",
                menu=menu(CLIMATES),
                read=one_of("a climate", CLIMATES),
                stand_ins=[StandIn(text="sub-humid", why="a guess: the middle one")],
                shown=str,
            )
        )
        return [*lines, *entry("climate", climate, quoted(climate.value))]

    def _weather_file(self, found: str) -> str:
        if found != "none" and not (self._known.folder / found).is_file():
            raise QuantityError(
                f"found {q.spell(found)}; there is no such file in {self._known.folder.resolve()}: "
                'copy it there first, or write "none"'
            )
        return found

    # ---- the water -------------------------------------------------------------------------------

    def _supply(self) -> list[str]:
        """The lines of [supply]."""
        self._talk.say("\nThe water: go to the tap, with a bucket and a watch")
        kind = self._talk.ask(
            Question(
                words="Where does the water come from",
                menu=menu(SUPPLIES),
                read=one_of("a supply", SUPPLIES),
                stand_ins=[StandIn(text="tap", why="a guess: the usual one")],
                shown=str,
            )
        )
        ask: Mapping[str, Callable[[], list[str]]] = {
            "tap": self._tap,
            "regulator": self._regulator,
            "pump": self._pump,
            "barrel": self._barrel,
        }
        return [*remarks(("water from a", kind)), *ask[kind.value]()]

    def _tap(self) -> list[str]:
        still = self._pressure(
            "Pressure at the tap, nothing running (a gauge on the tap)",
            StandIn(
                text=self._own("50 psi", "350 kPa"),
                why="a guess: houses have 40 to 60 psi, 280 to 410 kPa (common practice)",
            ),
            _some_pressure,
        )
        return [*entry("static_pressure", still), *self._bucket(_TAP_M3_S, "the tap wide open")]

    def _regulator(self) -> list[str]:
        setting = self._pressure(
            "Pressure that the regulator is set to, as printed on it",
            StandIn(
                text=self._own("25 psi", "170 kPa"),
                why="a guess: usual for drip lines",
            ),
            _some_pressure,
        )
        return ['kind = "regulator"', *entry("set_pressure", setting)]

    def _pump(self) -> list[str]:
        def starts(found: str) -> float:
            head_m = _some_pressure(found)
            if head_m > _HIGHEST_START_M:
                raise QuantityError(f"found {q.spell(found)}; a pump starts at 200 psi at most")
            return head_m

        def above_start(found: str) -> float:
            head_m = _some_pressure(found)
            if head_m <= on.value:
                raise QuantityError(f"found {q.spell(found)}; a pump stops at more than {on.text}")
            return head_m

        def below_stop(found: str) -> float:
            head_m = _some_pressure(found)
            if head_m >= off.value:
                raise QuantityError(
                    f"found {q.spell(found)}; at {off.text} the pump stops: open more until it "
                    "runs on"
                )
            return head_m

        on = self._pressure(
            "Pressure at which the pump starts",
            StandIn(text=self._own("30 psi", "200 kPa"), why="a guess: the usual setting"),
            starts,
        )
        stops_psi = on.value / head_m_from_psi(1.0) + _SWITCH_APART_PSI
        off = self._pressure(
            "Pressure at which it stops",
            StandIn(text=f"{stops_psi:.1f} psi", why="20 psi above the start (common practice)"),
            above_start,
        )
        tank = self._talk.ask(
            Question(
                words="Whole volume of the pressure tank",
                read=v.VOLUME,
                stand_ins=[StandIn(text=self._own("20 gal", "80 L"), why="a guess")],
                more="As its plate says, air and water together.",
            )
        )
        seconds, fill = self._bucket_answers(_TAP_M3_S, "so much open that the pump runs on")
        gauge = self._pressure(
            "Gauge at the tank meanwhile, its needle still",
            StandIn(text=on.text, why="a guess: where the pump starts"),
            below_stop,
        )
        return [
            'kind = "pump"',
            *entry("switch_on", on),
            *entry("switch_off", off),
            *entry("tank", tank),
            *_flow_test(fill, seconds, gauge),
        ]

    def _barrel(self) -> list[str]:
        level = self._talk.ask(
            Question(
                words="Height of the water above the tap, the barrel full",
                read=_some_level,
                stand_ins=[StandIn(text=self._own("3 ft", "1 m"), why="a guess")],
            )
        )
        return [
            'kind = "barrel"',
            *entry("level", level),
            *self._bucket(_BARREL_M3_S, "the tap wide open"),
        ]

    def _bucket(self, usual_m3_s: float, how: str) -> list[str]:
        seconds, fill = self._bucket_answers(usual_m3_s, how)
        return _flow_test(fill, seconds)

    def _bucket_answers(self, usual_m3_s: float, how: str) -> tuple[Answer, Answer]:
        """Seconds and volume of a bucket filled."""
        fill = self._talk.ask(
            Question(
                words=f"Size of a bucket to fill, {how}",
                read=v.VOLUME,
                stand_ins=[StandIn(text=self._own("5 gal", "10 L"), why="a guess")],
            )
        )
        fills_s = min(max(fill.value / usual_m3_s, 1.0), 86400.0)
        flow = self._own("gal/min", "L/min")
        usual = usual_m3_s / (m3_s_from_gal_min(1.0) if self._us else 1.0 / 60000.0)
        seconds = self._talk.ask(
            Question(
                words="Seconds until it is full",
                read=_seconds,
                stand_ins=[
                    StandIn(
                        text=f"{fills_s:.0f}",
                        why=f"a guess: such taps give some {usual:.2g} {flow} (from memory)",
                    )
                ],
                more="Open the tap, hold the bucket under it, and count until it is full. This "
                "figure decides much: a minute with a bucket is well spent.",
            )
        )
        return seconds, fill

    # ---- small parts -----------------------------------------------------------------------------

    def _pressure(self, words: str, stand_in: StandIn, read: v.Reader) -> Answer:
        return self._talk.ask(Question(words=words, read=read, stand_ins=[stand_in]))

    def _own(self, us: str, metric: str) -> str:
        return us if self._us else metric


def _flow_test(fill: Answer, seconds: Answer, gauge: Answer | None = None) -> list[str]:
    pairs = [("fill", quoted(fill.text)), ("seconds", repr(seconds.value))]
    named = [("bucket of", fill), ("seconds", seconds)]
    if gauge is not None:
        pairs.append(("pressure", quoted(gauge.text)))
        named.append(("pressure", gauge))
    return [*remarks(*named), f"flow_test = {inline(pairs)}"]


def _place_of_zone(zone: str, now_utc: datetime) -> StandIn:
    """The place of the zone's city; without one, halfway to the pole by the clock's longitude."""
    city = cities().get(zone)
    if city is not None:
        return StandIn(
            text=f"{city.latitude_deg:.2f}, {city.longitude_deg:.2f}",
            why="the place of the time zone's city",
        )
    offset = now_utc.astimezone(ZoneInfo(zone)).utcoffset()
    hours = 0.0 if offset is None else offset.total_seconds() / 3600.0
    east_deg = (hours * 15.0 + 180.0) % 360.0 - 180.0
    return StandIn(
        text=f"{_HALFWAY_DEG:.2f}, {east_deg:.2f}",
        why="a guess: halfway to the North Pole",
    )


def _town_shown(town: Town) -> str:
    return f"{town.label}: {town.latitude_deg:.2f}, {town.longitude_deg:.2f}, {town.timezone}"


def _some_pressure(found: str) -> float:
    head_m: float = v.PRESSURE(found)
    if head_m <= 0.0:
        raise QuantityError(f"found {q.spell(found)}; water needs a pressure to flow")
    return head_m


def _some_level(found: str) -> float:
    level_m: float = v.LEVEL(found)
    if level_m <= 0.0:
        raise QuantityError(f"found {q.spell(found)}; water needs a height to flow")
    return level_m


def _seconds(found: str) -> float:
    try:
        number = float(found.replace(",", "."))
    except ValueError:
        return v.seconds(found)
    return v.seconds(number)
