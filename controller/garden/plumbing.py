"""Pipes, holes, valves and the supply as frozen values in SI; no parsing here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


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
    # Not in the text that field tests are marked with (hydraulics/calibration/result.py adds them):
    # what was tested of supplies without them stays tested.
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
