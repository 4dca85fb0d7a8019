"""The plumbing of the model: frozen values in SI, without parsing."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


class Face(StrEnum):
    """The direction of a row's holes."""

    DOWN = "down"
    UP = "up"
    SIDE = "side"


class Walls(StrEnum):
    """Whether holes go through one wall of the pipe or through both."""

    ONE = "one"
    BOTH = "both"


class SupplyKind(StrEnum):
    """The kind of supply: mains, a barrel whose level falls, a regulator, a pump with a tank."""

    MAINS = "mains"
    BARREL = "barrel"
    REGULATOR = "regulator"
    PUMP = "pump"


class ValveKind(StrEnum):
    """What moves the valve: a relay of the board, or a person."""

    RELAY = "relay"
    HAND = "hand"


class Device(StrEnum):
    """The device that a relay moves.

    Water pressure shuts a diaphragm solenoid; a spring shuts a direct one. A returning ball valve
    is driven back by a spring or a capacitor without current. A staying ball valve has a line to
    open and a line to close, and without current it does not move.
    """

    DIAPHRAGM = "diaphragm"
    DIRECT = "direct"
    BALL_RETURNS = "ball returns"
    BALL_STAYS = "ball stays"


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeRegulator:
    """The mains before a regulator: static head, flow test, and the regulator's own loss.

    `test_flow_m3_s` is None without a test. Fully open, at its drop-out, the regulator loses
    `open_loss_m` at `open_flow_m3_s`; the loss goes with the square of the flow.
    """

    static_head_m: float
    test_head_m: float = 0.0
    test_flow_m3_s: float | None = None
    open_loss_m: float = 0.0
    open_flow_m3_s: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A pump with its tank; a pressure switch starts it at `on_head_m`, stops it at `off_head_m`.

    Heads are gauge heads at the tank. `pre_charge_head_m` is that of the air in the empty tank,
    `shut_off_head_m` that of the pump against a shut valve. `well_yield_m3_s` is the lasting flow
    of the well; None: it has no limit.
    """

    on_head_m: float
    off_head_m: float
    tank_m3: float
    pre_charge_head_m: float
    shut_off_head_m: float
    well_yield_m3_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """The supply curve: head at the tap = static - k * flow**exponent, through the test point.

    `static_head_m` is the head without flow: the mains' pressure, a regulator's setting, the middle
    of a pump's switch pressures, or the level of a full barrel, at which its flow test was made. A
    barrel falls to `falls_to_m` above the tap and gives `holds_m3` on the way, if the gardener
    knows that. A regulator's test is made behind it, if it is not `test_assumed`; a pump's test
    while it runs without a pause.
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
    # Not in the text that marks field tests (hydraulics/calibration/result.py adds them): so tests
    # of supplies without them stay valid.
    before: BeforeRegulator | None = field(default=None, repr=False)
    test_assumed: bool = field(default=False, repr=False)
    pump: Pump | None = field(default=None, repr=False)
    still_as_written: str = field(default="", repr=False)  # static_pressure in the garden file


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


class Begins(StrEnum):
    """How water enters a run."""

    STRAIGHT = "straight on"
    SIDE = "side branch"
    BULL_HEAD = "bull head"  # into the branch of a tee, out at both ends


# Loss coefficients on the velocity in the pipe that begins there.
# A side branch: a dividing tee by Crane TP-410 (its formulas as the library `fluids` has them)
# gives 4.6, 2.2 and 1.7 for pipes of one size with 0.5, 0.8 and all of the water going into the
# branch, and 1.7 to 0.65 for a branch one size smaller; handbooks print 1.0 to 1.5 for threaded
# tees. Straight on: -0.05 to 0.1 while most of the water goes on; into a smaller pipe a sharp
# reducer adds 0.2 to 0.3 for one size, 0.33 to 0.45 for two. Round figures among these are our
# choice; half as much more or less is how well a real tee is known.
STRAIGHT_K, STRAIGHT_SMALLER_K = 0.1, 0.4
SIDE_K, SIDE_SMALLER_K, BULL_HEAD_K = 1.5, 1.3, 1.5
# A sharp entrance from a hose, tap or tank (handbooks).
ENTRANCE_K = 0.5
# A threaded or glued elbow, a coupling (handbooks, from memory); what nobody knows: 1 +- 1.
FITTINGS_K = {"elbow": 0.9, "coupling": 0.1, "other": 1.0}


def begin_k(begins: Begins, before: Pipe, pipe: Pipe) -> float:
    """Loss coefficient from one pipe into another, on the velocity in the second."""
    smaller = pipe.bore_m < 0.95 * before.bore_m
    if begins is Begins.BULL_HEAD:
        return BULL_HEAD_K
    if begins is Begins.SIDE:
        return SIDE_SMALLER_K if smaller else SIDE_K
    if smaller:
        return STRAIGHT_SMALLER_K
    if pipe.bore_m > 1.05 * before.bore_m:
        # Borda and Carnot, a sudden widening.
        return STRAIGHT_K + ((pipe.bore_m / before.bore_m) ** 2 - 1.0) ** 2
    return STRAIGHT_K


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A run of a forked main: one pipe from the tap, or from another run, to its end.

    It leaves the run `parent` ("" for the tap) at `from_m`. `loss_k` is the loss coefficient of its
    entry and its fittings, on the velocity in this pipe; with `tees_counted` it includes the tees
    of the zones along it.
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

    Stations are `every_m` apart, the first `first_m` from the inlet. Each has `group` holes around
    it, `group_gap_m` apart along the pipe; holes through both walls count twice. Drain holes, if
    any, look down, `drain_every_m` apart, the first at half of that.
    """

    bore_m: float
    every_m: float
    first_m: float
    group: int = 1
    group_gap_m: float = 0.0254  # 1 in
    walls: Walls = Walls.ONE
    face: Face = Face.DOWN
    drain_bore_m: float | None = None
    drain_every_m: float | None = None
    discharge_coefficient: float | None = None  # None: from wall over bore


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One lateral in the ground.

    Heights are relative to the zone's outlet (`Zone.rise_m`): the row's inlet and its far end. The
    middle is relative to the straight line between these (sag negative, hump positive).
    `ground_width_m` is the width of the ground that this row serves: its area is length times
    width.
    """

    length_m: float
    pipe: Pipe
    drilling: Drilling
    ground_width_m: float
    inlet_height_m: float = 0.0
    middle_height_m: float = 0.0
    far_height_m: float = 0.0
    wetted_width_m: float | None = None  # None: by soil, or the whole width if drilled through
    plugged: bool = False  # the whole row is not in use
    plugged_holes: tuple[int, ...] = ()  # numbered from 1 at the inlet
    plugged_beyond_m: float | None = None

    @property
    def ground_m2(self) -> float:
        """Ground that this row serves. [m2]"""
        return 0.0 if self.plugged else self.length_m * self.ground_width_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The opening of the zone's valve. Exactly one of these is set, or `unknown`.

    `angle_deg` is the handle's angle from fully open (0 = fully open); `loss_k` is a loss
    coefficient on the velocity in the first row's pipe. The others were measured with only this
    zone open, and the loss follows from them: `alone_flow_m3_s` is its flow; `stream_m` is the
    height of the first open hole's stream; `reach_m` is its reach to the side, on ground
    `reach_drop_m` below the hole. `turned`: the pipe was turned for this, so that the hole looked
    up or level.
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

    `device` is None for a hand valve. A staying ball valve has `close_line`, too.
    `opens_in_s` and `closes_in_s` are its travel from shut to open and back. A diaphragm does not
    shut with less than `least_closing_head_m` before it. `assumed`: the garden file has neither its
    kind nor that pressure, and a diaphragm is assumed.
    """

    kind: ValveKind
    relay_line: int | None = None
    longest_open_s: float = 3600.0
    least_closing_head_m: float = 0.0
    assumed: bool = False
    device: Device | None = None
    close_line: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0
    shortest_pulse_s: float | None = None  # None: the garden's


@dataclass(frozen=True, slots=True, kw_only=True)
class Master:
    """A valve before all zones: open `leads_s` before the first, `lags_s` after the last."""

    valve: Valve
    leads_s: float = 2.0
    lags_s: float = 2.0
