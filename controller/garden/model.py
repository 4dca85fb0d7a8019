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


class Face(StrEnum):
    """Where the holes of a row look."""

    DOWN = "down"
    UP = "up"
    SIDE = "side"


class Walls(StrEnum):
    """Whether the drill went through one wall of the pipe or straight through both."""

    ONE = "one"
    BOTH = "both"


class SupplyKind(StrEnum):
    """What feeds the tap: mains, a barrel whose level falls, a regulator, a pump with its tank."""

    MAINS = "mains"
    BARREL = "barrel"
    REGULATOR = "regulator"
    PUMP = "pump"


class ValveKind(StrEnum):
    """Who moves the valve: a relay of the board, or a person."""

    RELAY = "relay"
    HAND = "hand"


class Device(StrEnum):
    """What a relay moves.

    A diaphragm solenoid is shut by the water's own pressure; a direct one by its spring; a ball
    that returns is driven back by a spring or a capacitor when the current goes; a ball that stays
    has a line to open and a line to close, and without current stays where it is.
    """

    DIAPHRAGM = "diaphragm"
    DIRECT = "direct"
    BALL_RETURNS = "ball returns"
    BALL_STAYS = "ball stays"


class Action(StrEnum):
    """What a finding of the flow meter does, from the mildest on."""

    NOTE = "note"
    HOLD_ZONE = "hold zone"
    HOLD_GARDEN = "hold garden"
    SHUT_MASTER = "shut master"


class FlowFinding(StrEnum):
    """What a flow meter can find."""

    CLOGGED = "clogged"  # clearly less than reckoned
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
    """How a crop's use is reckoned: one crop coefficient, or plant and soil apart (FAO-56)."""

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
class BeforeRegulator:
    """The mains before a regulator: still and in a flow test there, and the regulator's own loss.

    `test_flow_m3_s` is None where nobody tested. Wide open, at its drop-out, the regulator loses
    `open_loss_m` at `open_flow_m3_s`, and as the square of the flow.
    """

    static_head_m: float
    test_head_m: float = 0.0
    test_flow_m3_s: float | None = None
    open_loss_m: float = 0.0
    open_flow_m3_s: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A pump that a pressure switch starts at `on_head_m` and stops at `off_head_m`, and its tank.

    Heads are gauge heads at the tank. `pre_charge_head_m` is that of the air in the empty tank,
    `shut_off_head_m` that of the pump against a shut valve. A well gives no more than
    `well_yield_m3_s` for long; None: as much as the pump lifts.
    """

    on_head_m: float
    off_head_m: float
    tank_m3: float
    pre_charge_head_m: float
    shut_off_head_m: float
    well_yield_m3_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What the tap gives: head at the tap = static - k * flow**exponent through the test point.

    `static_head_m` is the head of the still tap: the mains' pressure, what a regulator is set to,
    the middle between a pump's switch pressures, or the level of a full barrel, at which its flow
    test was made. A barrel falls to `falls_to_m` above the tap and gives `holds_m3` on the way,
    where the gardener said. A regulator's test is made behind it, unless it is `test_assumed`; a
    pump's while it runs without a pause.
    """

    static_head_m: float
    test_head_m: float
    test_flow_m3_s: float
    exponent: float = 2.0
    kind: SupplyKind = SupplyKind.MAINS
    falls_to_m: float | None = None
    holds_m3: float | None = None
    water_temp_c: float = 15.0
    salt_ds_m: float | None = None  # electrical conductivity of the water; None: not salty
    tested_on: date | None = None  # day of the flow test
    # Not in the text that field tests are marked with (hydraulics/fitted.py adds them): what was
    # tested of supplies without them stays tested.
    before: BeforeRegulator | None = field(default=None, repr=False)
    test_assumed: bool = field(default=False, repr=False)
    pump: Pump | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A pipe size: inside diameter, wall, roughness."""

    label: str
    bore_m: float
    wall_m: float
    roughness_m: float = 1.5e-6

    @property
    def outside_m(self) -> float:
        """Outside diameter. [m]"""
        return self.bore_m + 2.0 * self.wall_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A run of a main that forks: one pipe from the tap, or from another run, to where it ends.

    `parent` is the run it leaves, "" for the tap, and `from_m` how far along that. `loss_k` is on
    the velocity in this pipe, of the way into it and of its fittings; with `tees_counted` the tees
    of the zones along it are in it too.
    """

    name: str
    parent: str = ""
    from_m: float = 0.0
    length_m: float
    pipe: Pipe
    loss_k: float
    tees_counted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilling:
    """The hole pattern of a row.

    Stations stand `every_m` apart, the first `first_m` from the inlet; each has `group` holes,
    `group_gap_m` apart along the pipe, around the station; `walls` both doubles every hole.
    Drain holes, where there are any, look down, `drain_every_m` apart from half of that on.
    """

    bore_m: float
    every_m: float
    first_m: float
    group: int = 1
    group_gap_m: float = 0.025
    walls: Walls = Walls.ONE
    face: Face = Face.DOWN
    drain_bore_m: float | None = None
    drain_every_m: float | None = None
    discharge_coefficient: float | None = None  # None: from wall over bore


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One lateral in the ground.

    Heights are against the zone's outlet (`Zone.rise_m`): the row's inlet, its middle against the
    straight line from inlet to far end (sag negative, hump positive), and its far end.
    `ground_width_m` is the width of ground this row serves: its area is length times that.
    """

    length_m: float
    pipe: Pipe
    drilling: Drilling
    ground_width_m: float
    inlet_height_m: float = 0.0
    middle_height_m: float = 0.0
    far_height_m: float = 0.0
    wetted_width_m: float | None = None  # None: by soil, or the whole width if drilled through
    plugged: bool = False  # the whole row is out of use
    plugged_holes: tuple[int, ...] = ()  # numbered from 1 at the inlet
    plugged_beyond_m: float | None = None

    @property
    def ground_m2(self) -> float:
        """Ground this row serves. [m2]"""
        return 0.0 if self.plugged else self.length_m * self.ground_width_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """How far the zone's valve opens. Exactly one of these is set, or `unknown`.

    `angle_deg` is the handle's turn from full open (0 = full open); `loss_k` a loss coefficient on
    the velocity in the first row's pipe. The others were seen with only this zone open, and the
    loss is found from them: `alone_flow_m3_s` its flow; `stream_m` how high the first open hole
    throws over its mouth; `reach_m` how far it throws to the side onto ground `reach_drop_m` below
    its mouth. `turned`: the pipe was turned for that look, so that the hole looked up or level.
    """

    angle_deg: float | None = None
    loss_k: float | None = None
    alone_flow_m3_s: float | None = None
    stream_m: float | None = None
    reach_m: float | None = None
    reach_drop_m: float | None = None
    turned: bool = False
    unknown: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Valve:
    """The zone's valve. `relay_line` is a BCM GPIO number; None for a hand valve.

    `device` is None where the gardener has not said what the relay moves. A ball that stays has
    `close_line`, too. `opens_in_s` and `closes_in_s` are its travel from shut to open and back.
    Under `least_closing_head_m` of water before it a diaphragm does not shut.
    """

    kind: ValveKind
    relay_line: int | None = None
    longest_open_s: float = 3600.0
    least_closing_head_m: float = 0.0
    device: Device | None = None
    close_line: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0
    shortest_pulse_s: float | None = None  # None: the garden's


@dataclass(frozen=True, slots=True, kw_only=True)
class Master:
    """A valve ahead of all zones: open `leads_s` before the first, `lags_s` after the last."""

    valve: Valve
    leads_s: float = 2.0
    lags_s: float = 2.0


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
    `controller.garden.growing.rain_through`). `exposure` multiplies what its plants
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
