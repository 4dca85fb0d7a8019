"""One garden as frozen values in SI; no parsing here.

Heights (`*_rise_m`, `*_height_m`) are against the tap, positive upward, unless said.
Every optional key of the garden file has been filled by the time one of these exists.
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
    """What a finding of the flow meter does, from the mildest on."""

    NOTE = "note"
    HOLD_ZONE = "hold zone"
    HOLD_GARDEN = "hold garden"
    SHUT_MASTER = "shut master"


class FlowFinding(StrEnum):
    """What a flow meter can find."""

    CLOGGED = "clogged"  # clearly less than computed
    BURST = "burst"  # clearly more: a burst, or an end that has popped off
    NOT_OPENED = "not opened"  # next to nothing while a valve should be open
    NOT_CLOSED = "not closed"  # it flows on after the last valve has shut
    LEAK = "leak"  # it flows while all has long been shut
    CHANGED = "changed"  # not what it was in past weeks
    MISCOUNTED = "miscounted"  # all zones clearly too little, or more than any tap gives


class SensorKind(StrEnum):
    """What may hang on an input pin besides the meter."""

    RAIN_SWITCH = "rain switch"  # wet: nothing opens by plan
    RAIN_GAUGE = "rain gauge"  # a tipping bucket
    FREEZE_SWITCH = "freeze switch"  # cold: nothing opens by plan


class Coefficients(StrEnum):
    """How a crop's use is computed: one crop coefficient, or plant and soil apart (FAO-56)."""

    SINGLE = "single"
    DUAL = "dual"


class UnlikeRows(StrEnum):
    """Whom a zone is watered for when its rows hold different crops."""

    NEEDIEST = "neediest"
    MEAN = "mean"


class Satisfy(StrEnum):
    """Whom a dose is for: the driest quarter of the ground, or its mean."""

    DRIEST_QUARTER = "driest quarter"
    MEAN = "mean"


class HandWater(StrEnum):
    """What water through a hand valve counts when nobody wrote it down."""

    AS_PRINTED = "as printed"
    AS_CONFIRMED = "as confirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the garden lies. Latitude north positive, longitude east positive."""

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
    """A flow meter with pulses on an input pin, ahead of all zones.

    `by_litres`: a pulse ends when its litres have passed, its time standing behind as the limit.
    `least_flow_l_s`: below it the meter may stand still. `actions` says what each finding does.
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
    """A switch or a tipping gauge on an input pin; `mm_per_tip` is the gauge's."""

    kind: SensorKind
    line: int
    active_low: bool = True
    debounce_s: float = 0.1
    mm_per_tip: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthAddress:
    """Where the running daemon may be looked at: loopback unless asked; no port: nowhere."""

    port: int | None = None
    address: str = "127.0.0.1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planting:
    """A crop in a zone from `start` (sown or set out) to `until`, both days included.

    `rows` are the zone's rows it stands on, numbered from 1; none named: all of them. Plants stand
    `spacing_m` apart in `plant_lines` lines along each row. `by_warmth`: stages advance with the
    growing degree days of the crop's base instead of the days; `stage_warmth` are their lengths in
    degree days, where the gardener knows them.

    Of a perennial, `years_before` are the growing years it had here before `start`: 0 for plants
    set out then, None for so many that they are established. `grows_from` is the day on which its
    growing year begins, where that is not `start`: set out in autumn, it grows from spring on.
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
    harvest_days: int | None = None  # to the first picking, by the packet; None: by the crop table
    years_before: int | None = 0
    grows_from: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """What stands over a bed from `begins` to `until`, both days included.

    `kind` is one of `controller.garden.covers.KINDS`. Of what is outside, `eto_factor` of the
    reference ET and `rain_factor` of the rain are left under it; `is_film`: the air under it is
    still and moist; `warmer_c` is added to the day's temperatures.
    """

    kind: str
    eto_factor: float
    rain_factor: float
    begins: date = date.min
    until: date = date.max
    is_film: bool = False
    warmer_c: float = 0.0

    def stands_on(self, day: date) -> bool:
        """Whether it is over the bed on that day."""
        return self.begins <= day <= self.until


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A bed: its soil and who looks after it. `rooting_limit_m` is where roots must stop.

    `mulch` is one of "none", "straw", "leaves", "compost", "bark", "grass", "plastic" on
    `mulch_cover` of the surface, and `mulch_rain` of the rain gets in (None: by what lies there,
    `controller.garden.values.rain_through`). `exposure` multiplies what its plants
    lose: above 1 for a small bed in wind or amid hot paving, below for a sheltered one.
    `holds_rain`: a frame or a hollow lets no rain run off. Where `covers` stand over it on the same
    day, their factors multiply, with `mulch_rain` too.
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
    """What one valve waters."""

    name: str
    bed: Bed
    main_run_m: float  # along the main from the tap, or along its run of a main that forks
    rise_m: float  # the zone's outlet against the tap
    valve: Valve
    opening: Opening
    rows: tuple[Row, ...]
    plantings: tuple[Planting, ...]  # in order of start; on any one row not overlapping
    take_off_k: float = 4.0  # tee, elbows and the valve's body, on the first row's pipe
    daily_cap_m3: float = 1.0
    refill_at: float | None = None  # None: the garden's
    hand_water: HandWater | None = None  # None: the garden's
    unlike_rows: UnlikeRows = UnlikeRows.NEEDIEST
    run: str = ""  # the run of the main it hangs on; "": the main does not fork

    @property
    def ground_m2(self) -> float:
        """Ground this zone serves: the sum over its rows in use. [m2]"""
        return sum(row.ground_m2 for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """When watering is allowed: local times of day on weekdays (0 = Monday).

    A window whose end is not after its start runs past midnight into the next day.
    """

    opens: time
    closes: time
    weekdays: frozenset[int] = frozenset(range(7))
    valves: frozenset[ValveKind] = frozenset(ValveKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A stretch in which nothing opens; local times, the end excluded. No zones: all zones."""

    begins: datetime  # naive, local
    ends: datetime
    zones: frozenset[str] = frozenset()
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watering:
    """The garden's habits.

    `refill_at` is the share of readily available water that may be gone before a dose is due, None:
    by the crop's stage; `satisfy` whom a dose is for; `hand_water` what counts of hand valves where
    nobody wrote anything down; `most_open` zones may be open together, each keeping at least
    `least_share` of the flow it has alone; `basin_mm` of water may stand on the wetted strip.
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
    level_error_m: float = 0.003  # standard deviation of a hole's height from what the file says
    shortest_pulse_s: float = 5.0
    coefficients: Coefficients = Coefficients.DUAL
    forecast_trust: float = 0.5  # share of likely rain to come that may lower a dose; 0: none
    settling_days: int = 7  # after setting out, in which a zone is watered at every chance


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherSource:
    """Where days of weather come from, best first: `file`, then each of `services`.

    `file`, `normals_file` and `climate_table` are relative to the garden file; `file_kind` is one
    of "own", "station-log", "ghcn-daily", "gsod", or "auto" (told from the file itself).
    `normals_file` holds years of days, of which the garden's normals are made; `climate_table` what
    is usual by month, for the days of the year that have no normal. `climate` (FAO-56, Table 16:
    "arid", "semi-arid", "sub-humid", "humid", "very humid") is for the last resort alone. `contact`
    is told to services that want to know who asks. Below `frost_hold_c`, forecast, nothing is
    watered; None: never held.
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
        """Whether any public service is asked."""
        return bool(self.services)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The relay board. `pins` names the pin driver: "lgpio" on a board, "mock" elsewhere.

    `battery_clock`: the board keeps time by itself, so its clock need not be set by the network.
    """

    pins: str = "lgpio"
    active_low: bool = True
    chip: int | None = None
    battery_clock: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnCrop:
    """A crop of the gardener's own, or changes to one of the table; None keeps the table's."""

    name: str
    like: str | None
    changes: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSoil:
    """A soil of the gardener's own, or changes to one of the table."""

    name: str
    like: str | None
    changes: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A default that was filled in: the key as written in the file, and the value as shown."""

    where: str  # 'zone "leeks", row 1'
    key: str
    shown: str  # in the gardener's own units
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Garden:
    """All of one garden file.

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
    filled: tuple[Filled, ...] = field(default=())
    path: str = ""

    def zone(self, name: str) -> Zone:
        """The zone of that name; KeyError if there is none."""
        for zone in self.zones:
            if zone.name == name:
                return zone
        raise KeyError(name)
