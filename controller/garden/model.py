"""The garden model: frozen values in SI, without parsing.

Heights (`*_rise_m`, `*_height_m`) are relative to the tap, positive upward, if not stated
otherwise. Defaults are for gardens made in code; those of a file are in `schema`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import StrEnum
from zoneinfo import ZoneInfo

from controller.garden.plumbing import (
    Master,
    Opening,
    Pipe,
    Row,
    Run,
    Supply,
    Valve,
    ValveKind,
)


class Action(StrEnum):
    """The action on a finding of the flow meter, mildest first."""

    NOTE = "note"
    HOLD_ZONE = "hold zone"
    HOLD_GARDEN = "hold garden"
    SHUT_MASTER = "shut master"


class FlowFinding(StrEnum):
    """The findings of a flow meter."""

    CLOGGED = "clogged"  # clearly less than computed
    BURST = "burst"  # clearly more: a burst, or an end cap that came off
    NOT_OPENED = "not opened"  # almost no flow while a valve should be open
    NOT_CLOSED = "not closed"  # flow goes on after the last valve has shut
    LEAK = "leak"  # flow while all valves have long been shut
    CHANGED = "changed"  # different from past weeks
    MISCOUNTED = "miscounted"  # clearly too little for all zones, or more than any tap gives


class SensorKind(StrEnum):
    """The sensors on an input pin, without the meter."""

    RAIN_SWITCH = "rain switch"  # wet: nothing opens by plan
    RAIN_GAUGE = "rain gauge"  # a tipping bucket
    FREEZE_SWITCH = "freeze switch"  # cold: nothing opens by plan


class Coefficients(StrEnum):
    """How crop water use is computed: single or dual crop coefficient (FAO-56)."""

    SINGLE = "single"
    DUAL = "dual"


class UnlikeRows(StrEnum):
    """The part of a zone for which a dose is made when its rows hold mixed crops."""

    NEEDIEST = "neediest"
    MEAN = "mean"


class Satisfy(StrEnum):
    """The ground for which a dose is made: its driest quarter, or its mean."""

    DRIEST_QUARTER = "driest quarter"
    MEAN = "mean"


class HandWater(StrEnum):
    """The water of a hand valve that counts without a note."""

    AS_PRINTED = "as printed"
    AS_CONFIRMED = "as confirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The place of the garden. Latitude is positive north, longitude positive east."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    coastal: bool = False

    @property
    def zone_info(self) -> ZoneInfo:
        """The time zone as the standard library knows it."""
        return ZoneInfo(self.timezone)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A flow meter with pulses on an input pin, before all zones.

    `by_litres`: an opening ends when its litres have passed; its time is the limit. Below
    `least_flow_l_s` the meter may stand still. `actions` has the action on each finding.
    """

    line: int
    litres_per_pulse: float
    least_flow_l_s: float = 0.0
    by_litres: bool = False
    active_low: bool = True
    debounce_s: float = 0.002
    actions: Mapping[FlowFinding, Action] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A switch or a tipping-bucket gauge on an input pin; `mm_per_tip` belongs to the gauge."""

    kind: SensorKind
    line: int
    active_low: bool = True
    debounce_s: float = 0.1
    mm_per_tip: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthAddress:
    """The address of the daemon's health page: loopback by default; no port: no page."""

    port: int | None = None
    address: str = "127.0.0.1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planting:
    """A crop in a zone from `start` (sown or set out) to `until`, both days included.

    `rows` are its rows of the zone, numbered from 1; empty: all of them. Plants stand `spacing_m`
    apart in `plant_lines` lines along each row. `by_warmth`: stages go by growing degree days over
    the crop's base, not by days; `stage_warmth` are their lengths in degree days, if the gardener
    knows them.

    For a perennial, `years_before` are its growing years here before `start`: 0 for plants set out
    then, None for an established stand. `grows_from` is the first day of its growing year, if that
    is not `start`: plants set out in autumn grow from spring on.
    """

    crop: str
    start: date
    until: date
    transplanted: bool = True
    stage_days: tuple[int, int, int, int] | None = None  # None: from the crop table
    rows: tuple[int, ...] = ()
    spacing_m: float | None = None  # None: from the crop table
    plant_lines: int = 1
    supported: bool = False  # on stakes, a frame or a trellis
    by_warmth: bool = False
    stage_warmth: tuple[float, float, float, float] | None = None  # [degree C * day]
    emerges_days: int | None = None  # from sowing; None: by the warmth of the soil
    harvest_days: int | None = None  # to the first harvest, by the packet; None: by the crop table
    years_before: int | None = 0
    grows_from: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A cover over a bed from `begins` to `until`, both days included.

    `kind` is one of `controller.garden.covers.KINDS`. Under it, reference ET and rain are those
    outside times `eto_factor` and `rain_factor`. `is_film`: the air under it is still and moist.
    `warmer_c` is added to the temperatures.
    """

    kind: str
    eto_factor: float
    rain_factor: float
    begins: date = date.min
    until: date = date.max
    is_film: bool = False
    warmer_c: float = 0.0

    def stands_on(self, day: date) -> bool:
        """Whether it is over the bed on this day."""
        return self.begins <= day <= self.until


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A bed: its soil and its keeper. Roots end at `rooting_limit_m`.

    `mulch` is one of "none", "straw", "leaves", "compost", "bark", "grass", "plastic" on the share
    `mulch_cover` of the surface; it lets in the share `mulch_rain` of the rain (None: by its kind,
    `controller.garden.values.rain_through`). `exposure` multiplies the water use of its plants:
    above 1 for a small bed in wind or among hot paving, below 1 for a sheltered one. `holds_rain`:
    a frame or a hollow prevents runoff. The factors of `covers` on the same day multiply, also with
    `mulch_rain`.
    """

    name: str
    length_m: float | None = None
    width_m: float | None = None
    soil: str = "loam"
    mulch: str = "none"
    mulch_cover: float = 1.0
    mulch_rain: float | None = None
    keeper: str = ""
    rooting_limit_m: float | None = None
    exposure: float = 1.0
    holds_rain: bool = False
    covers: tuple[Cover, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A zone: what one valve waters."""

    name: str
    bed: Bed
    main_run_m: float  # along the main from the tap, or along its run of a forked main
    rise_m: float  # height of the zone's outlet over the tap
    valve: Valve
    opening: Opening
    rows: tuple[Row, ...]
    plantings: tuple[Planting, ...]  # in order of start; on one row they do not overlap
    take_off_k: float = 4.0  # tee, elbows and the valve's body, on the first row's pipe
    daily_cap_m3: float = 1.0
    refill_at: float | None = None  # None: the garden's
    hand_water: HandWater | None = None  # None: the garden's
    unlike_rows: UnlikeRows = UnlikeRows.NEEDIEST
    run: str = ""  # its run of a forked main; "": the main does not fork

    @property
    def ground_m2(self) -> float:
        """Ground that this zone serves: the sum over its rows in use. [m2]"""
        return sum(row.ground_m2 for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A watering window: local times of day on weekdays (0 = Monday).

    A window whose end is not after its start runs into the next day.
    """

    opens: time
    closes: time
    weekdays: frozenset[int] = frozenset(range(7))
    valves: frozenset[ValveKind] = frozenset(ValveKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A hold: nothing opens; local times, without the end. No zones: all zones."""

    begins: datetime  # naive, local
    ends: datetime
    zones: frozenset[str] = frozenset()
    reason: str = ""


MOST_VISITS, MOST_TURNS = 12, 200  # a day, and a visit; wide limits, our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Watering:
    """The watering settings of a garden.

    `refill_at` is the share of readily available water that may be gone before a dose is due; None:
    by the crop's stage. `satisfy` is the ground for which a dose is made. `hand_water` is the rule
    for hand valves without a note. Up to `most_open` zones are open together, each with at least
    `least_share` of its flow alone. A depth of `basin_mm` may stand on the wetted strip. A keeper
    makes up to `hand_visits` visits a day, with up to `hand_turns` openings of hand valves each.
    """

    windows: tuple[Window, ...]
    holds: tuple[Hold, ...] = ()
    refill_at: float | None = None
    satisfy: Satisfy = Satisfy.DRIEST_QUARTER
    hand_water: HandWater = HandWater.AS_PRINTED
    most_open: int = 3
    least_share: float = 0.5
    basin_mm: float = 10.0
    drilling_scatter: float = 0.05  # coefficient of variation of hand-drilled holes
    level_error_m: float = 0.003  # standard deviation of a hole's height from that of the file
    shortest_pulse_s: float = 5.0
    coefficients: Coefficients = Coefficients.DUAL
    forecast_trust: float = 0.5  # share of expected rain that may lower a dose; 0: none
    settling_days: int = 7  # after setting out, with water at every chance
    hand_visits: int = 1
    hand_turns: int = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherSource:
    """The sources of weather, best first: `file`, then each of `services`.

    `file`, `normals_file` and `climate_table` are relative to the garden file. `file_kind` is one
    of "own", "station-log", "ghcn-daily", "gsod", or "auto" (found from the file itself).
    `normals_file` has years of days, from which the garden's normals are made. `climate_table` has
    monthly values, for the days of the year without a normal. `climate` (FAO-56, Table 16: "arid",
    "semi-arid", "sub-humid", "humid", "very humid") is only the last resort. `contact` is sent to
    services that require one. A forecast below `frost_hold_c` holds all watering; None: no hold.
    """

    file: str | None = None
    file_kind: str = "auto"
    services: tuple[str, ...] = ()
    wind_height_m: float = 2.0
    normals_file: str | None = None
    climate_table: str | None = None
    climate: str = "sub-humid"
    contact: str = ""
    frost_hold_c: float | None = 0.0

    @property
    def online(self) -> bool:
        """Whether a public service is used."""
        return bool(self.services)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The relay board. `pins` names the pin driver: "lgpio" on a board, "mock" elsewhere.

    `resistors`: each relay input has a resistor of its own to its off side. `battery_clock`: the
    board keeps the time itself, and needs no network to set its clock.
    """

    pins: str = "lgpio"
    active_low: bool = True
    resistors: bool = False
    chip: int | None = None
    battery_clock: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnCrop:
    """The gardener's own crop, or changes to one of the table; None keeps the table's value."""

    name: str
    like: str | None
    changes: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSoil:
    """The gardener's own soil, or changes to one of the table."""

    name: str
    like: str | None
    changes: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A default that was filled in: its key in the file, and its value as printed."""

    where: str  # 'zone "leeks", row 1'
    key: str
    shown: str  # in the gardener's own units
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Garden:
    """The garden of one file.

    `runs` are those of a main that forks, each after the one it leaves, and `main` is then the
    widest pipe at the tap; with none of them `main` is all of it.
    """

    site: Site
    supply: Supply
    main: Pipe
    watering: Watering
    weather: WeatherSource
    board: Board
    beds: tuple[Bed, ...]
    zones: tuple[Zone, ...]
    own_crops: tuple[OwnCrop, ...] = ()
    own_soils: tuple[OwnSoil, ...] = ()
    runs: tuple[Run, ...] = ()
    master: Master | None = None
    meter: Meter | None = None
    sensors: tuple[Sensor, ...] = ()
    health: HealthAddress = HealthAddress()
    us_units: bool = False  # show gallons, inches, psi
    twelve_hours: bool = False  # show clock times as in 5:30 pm
    filled: tuple[Filled, ...] = field(default=())
    path: str = ""

    def zone(self, name: str) -> Zone:
        """The zone of that name; KeyError if there is none."""
        for zone in self.zones:
            if zone.name == name:
                return zone
        raise KeyError(name)
